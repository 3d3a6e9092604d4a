"""Rates of change, moment by moment, against the same equations written apart in plain floats.

``breathing_scalar`` knows of no grid, no buffers and no company; here it is asked at states that
no cycle may ever reach: flows both ways, choked, nearly at rest, a port almost empty.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import quad

from core.breathing.cases import START_RAD, Cases, Cylinder, Openings, half_steps, joined
from core.breathing.gas import Gas
from core.breathing.march import BURNED, ENERGY, MASS, PORT_ENERGY, RUNNER, STATE, WALL_HEAT, WORK, March
from core.breathing.nozzle import flux_polynomial
from core.breathing.valve_flow import Place, ValveFlow
from tests.core.breathing_scalar import Scalar, valve_flow
from tests.core.cylinders import COARSE, CRANK, DEG, Profiles, cases, shut

Array = NDArray[np.float64]

ENGINE = Profiles()
EACH = 8  # cases with a runner, and as many with waves
OPENINGS = (1.0, 0.7, 1.2)  # areas of each side, over those of the engine

# Degrees of crank, zero at firing, on half steps of both kinds.
SHUT = (-60, -40.25, -9.5, 5, 19.75, 59.5, 650)
OPEN = (100.25, 250, 300.25, 345, 360, 371.25, 430.5, 560.75, 627.25)


def some_cases(rng: np.random.Generator) -> Cases:
    """Return cases that differ in everything, those with a runner first."""

    def drawn(prescribed: bool) -> Cases:
        def between(low: float, high: float) -> Array:
            return rng.uniform(low, high, EACH)

        return cases(
            between(2000, 9000),
            between(0.15, 0.6),
            prescribed,
            intake=rng.integers(0, len(OPENINGS), EACH),
            exhaust=rng.integers(0, len(OPENINGS), EACH),
            runner_area_m2=between(8e-4, 2.5e-3),
            port_volume_m3=between(1e-4, 6e-4),
            runner_loss=between(0.2, 1.5),
            ambient_pa=between(8e4, 1.04e5),
            intake_temperature_k=between(270, 340),
            back_pressure_pa=between(9e4, 1.5e5),
            intake_wave=between(-0.2, 0.2) if prescribed else 0.0,
            exhaust_wave=between(-0.2, 0.2),
            exhaust_temperature_k=between(700, 1200),
            burn_duration_rad=between(40, 80) * DEG,
            burn_centre_rad=between(0, 15) * DEG,
            fuel_energy_j_kg=between(2e6, 3e6),
            heat_level=between(0.5, 1.5),
            wall_temperature_k=between(380, 480),
        )

    return joined([drawn(False), drawn(True)])


def filled(pressure_pa: Array, volume_m3: Array, temperature_k: Array, burned: Array) -> Array:
    """Return mass, energy and burned mass of a filled volume."""
    mass = pressure_pa * volume_m3 / (Gas().r_j_kg_k * temperature_k)
    return np.array([mass, mass * Gas().energy(temperature_k, burned), mass * burned])


def some_state(rng: np.random.Generator, some: Cases, volume_m3: float) -> Array:
    """Return a state of 0.4 to 5 times ambient pressure, and a port from nearly nothing to twice that."""
    count = len(some)
    cylinder_pa = some.ambient_pa * np.exp(rng.uniform(-1.0, 1.6, count))
    port_pa = some.ambient_pa * np.exp(rng.uniform(-4.0, 0.7, count))
    level = rng.random(count) < 0.3  # so near to each other that the root is smoothed
    port_pa = np.where(level, cylinder_pa * (1 + rng.normal(0, 2e-3, count)), port_pa)
    state = np.empty((STATE, count))
    state[0:6:2] = filled(cylinder_pa, volume_m3, rng.uniform(300, 2600, count), rng.random(count))
    state[1:6:2] = filled(port_pa, some.port_volume_m3, rng.uniform(270, 900, count), rng.random(count))
    state[RUNNER] = rng.normal(0, 0.2, count) / some.speed_rad_s
    return state


def bent_wave(angle: Array) -> Array:
    """Return a wave whose slope a difference over half steps gives exactly: a parabola between two levels."""
    return 0.4 - np.clip((angle - 430 * DEG) / (170 * DEG), -1, 1) ** 2


def cylinder(step_rad: float) -> Cylinder:
    """Return the engine with several openings."""
    made = ENGINE.cylinder(step_rad)
    several = {
        side: Openings(getattr(made, side).area_m2 * np.array(OPENINGS)) for side in ("intake", "exhaust")
    }
    return replace(made, **several, intake_wave=bent_wave(half_steps(step_rad)))


def alone(some: Cases, index: int) -> Scalar:
    """Return one of the cases for the plain equations: the flux by its polynomial, and burning left out."""
    case = replace(some.take(np.array([index])), burn_centre_rad=np.array([-100.0]))
    intake, exhaust = (OPENINGS[which[0]] for which in (case.intake, case.exhaust))
    return replace(
        ENGINE.scalar(case),
        intake_area_m2=lambda angle: float(ENGINE.intake_area_m2(angle)) * intake,
        exhaust_area_m2=lambda angle: float(ENGINE.exhaust_area_m2(angle)) * exhaust,
        intake_wave=lambda angle: float(bent_wave(angle)),
        flux=lambda share, gamma: float(np.polyval(flux_polynomial(gamma), share)),
    )


def plain_rates(one: Scalar, begun: Array, state: Array, at: int) -> Array:
    """Return the rates per radian of the 11 rows, laid out as the package does.

    The piston's work is that of the volume's mean slope over the half or whole step that it stands for.
    """
    speed, half = one.value("speed_rad_s"), COARSE / 2
    angle = START_RAD + at * half
    per_second = np.append([1, 1, 1, 1, 1, 1, speed], np.zeros(4))
    begin, now = (np.append(part, np.zeros(4)) * per_second for part in (begun, state))
    rates = np.array(one.rates(begin)(angle / speed, now)) / speed
    rates[RUNNER] /= speed
    from_, until = (angle - half, angle + half) if at % 2 else (angle, angle + half)
    pressure = one.gas_state(state[MASS], state[ENERGY], state[BURNED], one.volume(angle)[0])[0]
    work = pressure * (one.volume(until)[0] - one.volume(from_)[0]) / (until - from_)
    rates[ENERGY] += rates[WORK] - work
    rates[WORK] = work
    return rates


def assert_rates_agree(some: Cases, at: int, begun: Array, state: Array) -> None:
    """Compare the rates of all cases at a point of the grid, in a cycle that began in a state."""
    march = March(cylinder(COARSE), some)
    march.begin(begun)
    march.state[:STATE] = state
    march._rates(at, march._state, True)
    each = range(len(some))
    expected = [plain_rates(alone(some, index), begun[:, index], state[:, index], at) for index in each]
    for found, wanted in zip(march._rate.all, np.transpose(expected), strict=True):
        # Rounding alone: 1e-9, and in a difference of large terms 1e-12 of the largest rate of its kind.
        assert found == pytest.approx(wanted, rel=1e-9, abs=1e-12 * np.max(np.abs(wanted)))


def point(degrees: float) -> int:
    """Return the point of the grid at a crank angle."""
    return round((degrees * DEG - START_RAD) / (COARSE / 2))


@pytest.mark.parametrize("degrees", SHUT + OPEN)
def test_rates_are_those_of_the_plain_equations(degrees):
    rng = np.random.default_rng(point(degrees))
    some = some_cases(rng)
    begun, state = (some_state(rng, some, CRANK.volume(angle * DEG)) for angle in (-60, degrees))
    assert_rates_agree(some, point(degrees), begun, state)


@pytest.mark.parametrize("half", [slice(EACH), slice(EACH, None)], ids=["runners", "waves"])
def test_rates_of_one_kind_alone(half):
    rng = np.random.default_rng(2)
    some = some_cases(rng)
    begun, state = (some_state(rng, some, CRANK.volume(angle * DEG)) for angle in (-60, 430.5))
    assert_rates_agree(some.take(half), point(430.5), begun[:, half], state[:, half])


def test_a_port_that_is_all_but_on_its_wave_takes_in_air_or_gives_of_its_own():
    # Valves shut, a level wave: what is wanted is less than 1 J/rad, in half of the cases outwards.
    rng = np.random.default_rng(1)
    some = some_cases(rng).take(np.arange(EACH, 2 * EACH))
    begun = some_state(rng, some, CRANK.volume(-60 * DEG))
    off = np.resize([3e-5, -3e-5], EACH)
    port_pa = some.ambient_pa * (1 + some.intake_wave * bent_wave(650 * DEG)) * (1 + off)
    state = some_state(rng, some, CRANK.volume(650 * DEG))
    state[1:6:2] = filled(port_pa, some.port_volume_m3, np.full(EACH, 400.0), np.full(EACH, 0.3))
    assert_rates_agree(some, point(650), begun, state)


def test_runners_come_first():
    mixed = joined([cases([4000], prescribed=True), cases([4000])])
    with pytest.raises(ValueError, match=r"^cases are not in order. Those with a runner must come first.$"):
        March(ENGINE.cylinder(), mixed)


@pytest.mark.parametrize("gamma", [1.3, 1.37, 1.4])
def test_flow_through_a_valve(gamma):
    rng = np.random.default_rng(7)
    share = np.concatenate([np.geomspace(1e-7, 0.99, 120), [0.0]])
    share = np.concatenate([share, share])
    forth = np.arange(share.size) < share.size / 2
    high = rng.uniform(2e4, 8e6, share.size)
    pressures = np.where(forth, (high, high * (1 - share)), (high * (1 - share), high))
    others = rng.uniform(((0.1,), (2e5,), (0.0,)), ((20.0,), (3e6,), (1.0,)), (2, 3, share.size))
    area = rng.uniform(1e-6, 3e-3, share.size)
    first, second = (Place(pressure, *rest) for pressure, rest in zip(pressures, others, strict=True))
    found = ValveFlow(gamma, share.size).flow(first, second, area)
    sides = [np.array([one.pressure, one.density, one.enthalpy, one.burned]).T for one in (first, second)]
    expected = [valve_flow(*case) for case in zip(area, [gamma] * share.size, *sides, strict=True)]
    # 2e-5 for the polynomial, and the plain power's own rounding where the drop is 1e-7 of a pressure.
    assert np.array(found) == pytest.approx(np.array(expected).T, rel=2.1e-5)


def burned_until(one: Scalar, angle: float) -> float:
    """Return the share that has burned, from where burning begins."""
    duration, centre = one.value("burn_duration_rad"), one.value("burn_centre_rad")
    begins = centre - duration * np.cbrt(-np.log(1 - 0.5 * (1 - np.exp(-5))) / 5)
    return quad(one.burning, begins, np.clip(angle, begins, begins + duration), epsrel=1e-12)[0]


def test_a_charge_burns_by_the_integral_of_its_rate():
    step, rng = 1 * DEG, np.random.default_rng(3)
    some = replace(some_cases(rng), heat_level=np.zeros(2 * EACH))
    march = March(shut(step), some)
    begun = some_state(rng, some, march.volume[0])
    march.begin(begun)
    fresh = begun[MASS] - begun[BURNED]
    each = [ENGINE.scalar(some.take(np.array([index]))) for index in range(len(some))]
    for first, last in ((0, 20), (20, 55), (55, 57), (57, 130), (130, 720)):
        march.steps(first, last)
        shares = [burned_until(one, START_RAD + last * step) for one in each]
        burned = fresh * shares
        assert march.state[BURNED] - begun[BURNED] == pytest.approx(burned, rel=1e-9, abs=1e-12)
        heat = burned * some.fuel_energy_j_kg
        assert march.state[ENERGY] + march.state[WORK] - begun[ENERGY] == pytest.approx(
            heat, rel=1e-9, abs=1e-9
        )


def test_the_peak_is_the_highest_pressure_of_this_cycle():
    step, rng = 0.5 * DEG, np.random.default_rng(4)
    some = replace(some_cases(rng), heat_level=np.zeros(2 * EACH))
    made = shut(step)
    march = March(made, some)
    begun = some_state(rng, some, march.volume[0])
    for share in (1.0, 0.4):
        march.begin(share * begun)
        highest = np.zeros(2 * EACH)
        for n in range(240):
            march.steps(n, n + 1)
            pressure = march.state[ENERGY] * (made.gas.gamma_intake - 1) / march.volume[2 * n + 2]
            highest = np.maximum(highest, pressure)
        # Looked at every half step, a little before what burns in it has burned.
        assert march.peak_pa == pytest.approx(highest, rel=1e-3)


def test_a_cycle_knows_nothing_of_the_one_before():
    rng = np.random.default_rng(5)
    some = some_cases(rng)
    march, fresh = (March(cylinder(COARSE), some) for _ in range(2))
    before, begun = (some_state(rng, some, march.volume[0]) for _ in range(2))
    march.begin(before)
    march.steps(0, 300)
    march.begin(begun)
    march.cycle()
    fresh.begin(begun)
    fresh.steps(0, 1440)
    assert march.state.tolist() == fresh.state.tolist()
    assert march.peak_pa.tolist() == fresh.peak_pa.tolist()


@pytest.mark.parametrize("degrees", [300, 480])
def test_a_step_goes_by_the_rate_in_its_middle(degrees):
    # The exhaust pushes out while the intake opens; the intake alone. Without heat, whose coefficient lags.
    at = point(degrees)
    rng = np.random.default_rng(at)
    some = replace(some_cases(rng), heat_level=np.zeros(2 * EACH))
    march = March(cylinder(COARSE), some)
    begun = some_state(rng, some, march.volume[0])
    march.begin(begun)
    march.state[:STATE] = some_state(rng, some, march.volume[at])
    expected = march.state.T.copy()
    march.steps(at // 2, at // 2 + 5)
    for index, state in enumerate(expected):
        one = alone(some, index)
        for on in range(at, at + 10, 2):
            middle = state + COARSE / 2 * plain_rates(one, begun[:, index], state[:STATE], on)
            state += COARSE * plain_rates(one, begun[:, index], middle[:STATE], on + 1)
    for found, wanted in zip(march.state, expected.T, strict=True):
        assert found == pytest.approx(wanted, rel=1e-9, abs=1e-12 * np.max(np.abs(wanted)))


@pytest.mark.outside
def test_half_the_step_leaves_a_quarter_of_the_error():
    # Valves shut, burning, with heat: from 60 deg before to 80 deg after firing, against scipy's LSODA.
    case = cases(4500)
    begun = np.array([[8e-4], [2.4e-4], [180.0], [55.0], [1e-4], [1e-5], [1e-4]])
    exact = replace(ENGINE.scalar(case), rtol=1e-11).part(begun[:, 0], -60 * DEG, 80 * DEG)
    errors = []
    for step in (0.5, 0.25, 0.125):
        march = March(ENGINE.cylinder(step * DEG), case)
        march.begin(begun)
        march.steps(0, round(140 / step))
        errors.append(march.state[:, 0] - exact)
    for row in (ENERGY, PORT_ENERGY, RUNNER, WORK, WALL_HEAT):
        coarse, half, quarter = (abs(error[row]) for error in errors)
        assert coarse > 3.8 * half > 3.8**2 * quarter
        if row != RUNNER:  # which swings through nothing
            assert coarse < 4e-5 * abs(exact[row])  # a small part of the 1e-3 that a cycle is allowed
