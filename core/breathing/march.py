"""The equations of one cylinder and its port, and how they are stepped through a cycle.

All cases go side by side through explicit midpoint steps. The state is an array of rows, a
column a case; masses flow per radian of crank, so that speed appears only in the areas and
in the runner's inertia.

Two increments are exact whatever the step: that of the volume, and that of the burned share.
The heat transfer coefficient in the first half of a step is that of the step before, which
leaves the scheme second order, since the first half only places the midpoint.

With some hundred cases an array operation costs little more than its call. So every one
writes into a buffer made once, rows are views made once, and a number that meets an array is
an array without dimensions, which numpy need not convert.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from core.breathing.burn import burn_start, burned_share
from core.breathing.cases import Cases, Cylinder, half_steps
from core.breathing.heat import CLOSED, COMBUSTION_M_S_K, EXCHANGE, heat_transfer_coefficient
from core.breathing.intake import Intake
from core.breathing.valve_flow import Place, ValveFlow

Array = NDArray[np.float64]

# Rows of the state. Cylinder and port alternate, so that both are worked on at once.
MASS, PORT_MASS, ENERGY, PORT_ENERGY, BURNED, PORT_BURNED, RUNNER = range(7)
STATE = 7  # rows that must repeat; after them what adds up over a cycle
WORK, WALL_HEAT, EXHAUST_ENTHALPY, INTAKE_ENTHALPY = range(7, 11)
ROWS = 11

MOTORED_EXPONENT = 1.3  # of the motored pressure that Woschni's burning term is taken from (judgement)


class _Rows:
    """A state or its rate of change, with its rows and pairs of rows at hand."""

    def __init__(self, count: int):
        self.all = np.zeros((ROWS, count))
        self.mass, self.port_mass, self.energy, self.port_energy = self.all[:4]
        self.burned, self.port_burned, self.runner, self.work = self.all[4:8]
        self.wall_heat, self.exhaust_enthalpy, self.intake_enthalpy = self.all[8:]
        self.masses, self.energies, self.burneds = self.all[0:2], self.all[2:4], self.all[4:6]


class March:
    """One set of cases on its way through crank angles; runners come before prescribed waves."""

    def __init__(self, cylinder: Cylinder, cases: Cases):
        self.cylinder, self.cases = cylinder, cases
        self.angles = half_steps(cylinder.step_rad)
        self.peak_pa = np.zeros(len(cases))
        self._state, self._middle, self._rate = (_Rows(len(cases)) for _ in range(3))
        self._step, self._half_step = scalars([cylinder.step_rad, cylinder.step_rad / 2])
        self._of_crank()
        self._of_cases()
        self._buffers(len(cases))

    @property
    def state(self) -> Array:
        """Return where the cases are, shape (11, cases)."""
        return self._state.all

    def _of_crank(self) -> None:
        """Tabulate what depends on crank angle alone."""
        cylinder, step = self.cylinder, self.cylinder.step_rad
        self.volume = cylinder.crank.volume(self.angles)
        half, whole = np.diff(self.volume) / (step / 2), np.diff(self.volume[::2]) / step
        self._growth = scalars(np.ravel(np.column_stack([half[::2], whole])))  # dV/dangle of each half step
        self._inverse_volume = (1 / self.volume).tolist()
        self._wall_m2 = scalars(cylinder.crank.wall_area(self.angles))
        self._motored = scalars(-((self.volume[0] / self.volume) ** MOTORED_EXPONENT))
        self._exchange = cylinder.exchange.tolist()
        self._wave_out = scalars(cylinder.exhaust_wave)

    def _of_cases(self) -> None:
        """Work out what depends on the case alone."""
        cylinder, cases, gas = self.cylinder, self.cases, self.cylinder.gas
        slow = 1 / cases.speed_rad_s
        self._area_in = _per_case(cylinder.intake.area_m2, cases.intake, slow)
        self._area_out = _per_case(cylinder.exhaust.area_m2, cases.exhaust, slow)
        start = burn_start(cases.burn_centre_rad, cases.burn_duration_rad)
        ends = (start + cases.burn_duration_rad).max() + cylinder.step_rad
        burning = np.flatnonzero((self.angles >= start.min()) & (self.angles <= ends))
        shares = burned_share((self.angles[burning, None] - start) / cases.burn_duration_rad)
        self._burned = dict(zip(burning.tolist(), shares, strict=True))
        piston_m_s = cylinder.crank.piston_speed(cases.speed_rad_s)
        self._exchange_speed, self._closed_speed = EXCHANGE * piston_m_s, CLOSED * piston_m_s
        self._heat_level = cases.heat_level * slow / gas.r_j_kg_k
        self._wall_rt = gas.r_j_kg_k * cases.wall_temperature_k
        self._exhaust_wave_pa = cases.exhaust_wave * cases.ambient_pa
        self._outside_rt = gas.r_j_kg_k * cases.exhaust_temperature_k

    def _buffers(self, count: int) -> None:
        gas = self.cylinder.gas
        self._places = np.empty((3, 2, count))  # density, enthalpy, burned share of cylinder and port
        self._pressures, self._rts, self._a, self._b = np.empty((4, 2, count))
        self._cylinder, self._port = (Place(self._pressures[i], *self._places[:, i]) for i in (0, 1))
        self._outside = Place(*np.ones((4, count)))
        self._outside.enthalpy[:] = gas.enthalpy(self.cases.exhaust_temperature_k, 1.0)
        self._rt = self._rts[0]
        self._inverse_volumes = np.empty((2, count))
        self._inverse_volumes[1] = 1 / self.cases.port_volume_m3
        self._heat, self._gas_speed, self._one, self._two = np.zeros((4, count))
        self._in, self._out = ValveFlow(gas.gamma_intake, count), ValveFlow(gas.gamma_exhaust, count)
        self._intake = Intake(self.cylinder, self.cases, self._port)
        self._zero, self._twice_r = scalars([0.0, 2 * gas.r_j_kg_k])
        self._cold, self._hotter = scalars([gas.fresh[0], gas.burned[0] - gas.fresh[0]])
        self._slope, self._steeper = scalars([2 * gas.fresh[1], 2 * (gas.burned[1] - gas.fresh[1])])

    # one cycle ----------------------------------------------------------------------------

    def begin(self, state: Array) -> None:
        """Put the cases at the start of a cycle, in a state of shape (7, cases)."""
        gas = self.cylinder.gas
        self.state[:STATE] = state
        self.state[STATE:] = 0.0
        self.peak_pa[:] = 0.0
        self.fresh_kg = state[MASS] - state[BURNED]  # what will burn
        self._fuel_j = self.fresh_kg * self.cases.fuel_energy_j_kg
        start_k = gas.temperature(state[ENERGY] / state[MASS], state[BURNED] / state[MASS])
        self._start_pa = state[MASS] * gas.r_j_kg_k * start_k / self.volume[0]
        swept = self.cylinder.crank.swept_m3
        self._burning_speed = COMBUSTION_M_S_K * swept * start_k / (self.volume[0] * self._start_pa)

    def steps(self, first: int, last: int) -> None:
        """Go from step ``first`` to step ``last`` of the cycle."""
        state, middle, rate = self._state, self._middle, self._rate.all
        for n in range(first, last):
            at = 2 * n
            self._rates(at, state, n == first)
            np.multiply(rate, self._half_step, out=middle.all)
            np.add(middle.all, state.all, out=middle.all)
            self._burn(middle, at, at + 1)
            self._rates(at + 1, middle, True)
            np.multiply(rate, self._step, out=rate)
            np.add(state.all, rate, out=state.all)
            self._burn(state, at, at + 2)

    def cycle(self) -> None:
        """Go through the whole cycle."""
        self.steps(0, self.angles.size // 2)

    def _burn(self, state: _Rows, since: int, until: int) -> None:
        """Let the share of the charge burn that burns between two points of the grid."""
        after = self._burned.get(until)
        if after is None:
            return
        one, two = self._one, self._two
        np.subtract(after, self._burned.get(since, self._zero), out=one)
        np.multiply(one, self._fuel_j, out=two)
        np.add(state.energy, two, out=state.energy)
        np.multiply(one, self.fresh_kg, out=one)
        np.add(state.burned, one, out=state.burned)
        np.maximum(self.peak_pa, self._cylinder.pressure, out=self.peak_pa)

    # rates of change ----------------------------------------------------------------------

    def _rates(self, at: int, state: _Rows, anew: bool) -> None:
        """Work out the change of the state per radian at a point of the grid."""
        rate, cylinder, port = self._rate, self._cylinder, self._port
        self._thermodynamics(at, state)
        self._work_and_heat(at, anew)
        area_in, area_out = self._area_in.get(at), self._area_out.get(at)
        through = None if area_in is None else self._in.flow(port, cylinder, area_in)
        self._intake.rates(at, state.runner, rate, through)
        out = None if area_out is None else self._exhaust(at, area_out)
        if through is None:
            rate.mass.fill(0.0)
            rate.burned.fill(0.0)
        else:
            mass, enthalpy, burned = through
            np.subtract(rate.port_mass, mass, out=rate.port_mass)
            np.subtract(rate.port_energy, enthalpy, out=rate.port_energy)
            np.subtract(rate.port_burned, burned, out=rate.port_burned)
            np.add(rate.energy, enthalpy, out=rate.energy)
            np.copyto(rate.mass, mass)
            np.copyto(rate.burned, burned)
        if out is None:
            rate.exhaust_enthalpy.fill(0.0)
        else:
            mass, enthalpy, burned = out
            np.subtract(rate.mass, mass, out=rate.mass)
            np.subtract(rate.energy, enthalpy, out=rate.energy)
            np.subtract(rate.burned, burned, out=rate.burned)
            np.copyto(rate.exhaust_enthalpy, enthalpy)

    def _thermodynamics(self, at: int, state: _Rows) -> None:
        """Work out pressure, density, enthalpy and burned share of cylinder and port."""
        a, b, rt = self._a, self._b, self._rts
        density, energy, burned = self._places
        np.divide(state.energies, state.masses, out=energy)
        np.divide(state.burneds, state.masses, out=burned)
        np.multiply(burned, self._hotter, out=a)
        np.add(a, self._cold, out=a)
        np.multiply(burned, self._steeper, out=b)
        np.add(b, self._slope, out=b)
        np.multiply(b, energy, out=b)
        np.multiply(a, a, out=rt)
        np.add(b, rt, out=b)
        np.sqrt(b, out=b)
        np.add(a, b, out=a)
        np.divide(energy, a, out=rt)
        np.multiply(rt, self._twice_r, out=rt)
        np.add(energy, rt, out=energy)  # now enthalpy
        self._inverse_volumes[0].fill(self._inverse_volume[at])
        np.multiply(state.masses, self._inverse_volumes, out=density)
        np.multiply(density, rt, out=self._pressures)

    def _work_and_heat(self, at: int, anew: bool) -> None:
        rate, one = self._rate, self._one
        np.multiply(self._cylinder.pressure, self._growth[at], out=rate.work)
        if anew:
            self._heat_coefficient(at)
        np.subtract(self._rt, self._wall_rt, out=one)
        np.multiply(one, self._wall_m2[at], out=one)
        np.multiply(one, self._heat, out=rate.wall_heat)
        np.add(rate.work, rate.wall_heat, out=one)
        np.negative(one, out=rate.energy)

    def _heat_coefficient(self, at: int) -> None:
        pressure, speed = self._cylinder.pressure, self._exchange_speed
        if not self._exchange[at]:
            speed = self._gas_speed
            np.multiply(self._start_pa, self._motored[at], out=speed)
            np.add(speed, pressure, out=speed)
            np.maximum(speed, self._zero, out=speed)
            np.multiply(speed, self._burning_speed, out=speed)
            np.add(speed, self._closed_speed, out=speed)
        bore, r = self.cylinder.crank.bore_m, self.cylinder.gas.r_j_kg_k
        coefficient = heat_transfer_coefficient(bore, pressure, self._rt / r, speed)
        np.multiply(self._heat_level, coefficient, out=self._heat)

    def _exhaust(self, at: int, area: Array) -> Array:
        """Return what flows out through the exhaust valve: mass, enthalpy and burned mass."""
        outside = self._outside
        np.multiply(self._exhaust_wave_pa, self._wave_out[at], out=outside.pressure)
        np.add(outside.pressure, self.cases.back_pressure_pa, out=outside.pressure)
        np.divide(outside.pressure, self._outside_rt, out=outside.density)
        return self._out.flow(self._cylinder, outside, area)


def scalars(values: ArrayLike) -> list[Array]:
    """Return numbers as arrays without dimensions.

    Parameters
    ----------
    values : array_like, shape (n,)
        Numbers.

    Returns
    -------
    list of ndarray, shape ()
        One a number.
    """
    return [np.array(value) for value in np.asarray(values, float)]


def _per_case(area_m2: Array, which: NDArray[np.intp], slow: Array) -> dict[int, Array]:
    """Return the area over speed of each case, under the points of the grid where any is open."""
    open_at = np.flatnonzero(np.any(area_m2 > 0, axis=1))
    table = area_m2[np.ix_(open_at, which)] * slow
    return dict(zip(open_at.tolist(), table, strict=True))
