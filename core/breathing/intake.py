"""What stands before the port: a lumped runner, or a prescribed pressure wave."""

from __future__ import annotations

from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from core.breathing.cases import Cases, Cylinder, half_steps
from core.breathing.valve_flow import Place

Array = NDArray[np.float64]

FOLLOWS_RAD = np.radians(1.5)
"""The port follows a prescribed wave within about this crank angle."""

THIN = 0.2
"""Share of ambient pressure below which a port gives less and less to a runner that still moves outwards.

A column of gas does not suck a port empty, as one of constant density would: it stretches.
"""


class PortRates(Protocol):
    """Rates of change that the intake fills in."""

    port_mass: Array
    port_energy: Array
    port_burned: Array
    runner: Array
    intake_enthalpy: Array


class Intake:
    """The flow into the port: the first cases through runners, the others as waves prescribe."""

    def __init__(self, cylinder: Cylinder, cases: Cases, port: Place):
        gas, count = cylinder.gas, len(cases)
        first_wave = count - np.count_nonzero(cases.prescribed)
        if np.any(cases.prescribed[:first_wave]):
            raise ValueError("cases are not in order. Those with a runner must come first.")
        runners, waves = slice(first_wave), slice(first_wave, None)
        self._runners, self._has = runners, (first_wave > 0, first_wave < count)
        self._one, self._two, self._flow = np.zeros((3, count))
        self._port = port
        self._air_enthalpy = gas.enthalpy(cases.intake_temperature_k, 0.0)
        self._zero = np.array(0.0)
        some = cases.take(runners)
        density = some.ambient_pa / (gas.r_j_kg_k * some.intake_temperature_k)
        self._inertance = some.runner_area_m2 / (some.runner_length_m * some.speed_rad_s**2)
        velocity = some.speed_rad_s / (density * some.runner_area_m2)  # for 1 kg/rad
        self._drag = self._inertance * some.runner_loss * density / 2 * velocity**2
        self._ambient_pa, self._runner_pa = some.ambient_pa, port.pressure[runners]
        self._push, self._loss = self._one[runners], self._two[runners]
        self._stretch, self._unit = 1 / (THIN * some.ambient_pa), np.array(1.0)
        self._thin = np.empty_like(some.ambient_pa)
        some = cases.take(waves)
        # Energy that the port takes up for a rise in pressure; the feedback mends what gamma leaves.
        stiffness = some.port_volume_m3 * some.ambient_pa / (gas.gamma_intake - 1)
        self._mean = stiffness / FOLLOWS_RAD
        self._swing = stiffness * some.intake_wave
        self._held = stiffness / some.ambient_pa / FOLLOWS_RAD
        slope = np.gradient(cylinder.intake_wave, half_steps(cylinder.step_rad))
        self._wave = [np.array(value) for value in cylinder.intake_wave / FOLLOWS_RAD + slope]
        self._waves, self._wave_pa, self._wave_enthalpy = waves, port.pressure[waves], port.enthalpy[waves]
        self._wave_air = self._air_enthalpy[waves]
        self._wanted, self._given, self._wave_flow = (x[waves] for x in (self._one, self._two, self._flow))

    def rates(
        self, at: int, runner: Array, rate: PortRates, through: tuple[Array, Array, Array] | None
    ) -> None:
        """Fill in what flows into the port, before anything flows out of it through the valve.

        Parameters
        ----------
        at : int
            Point of the grid.
        runner : ndarray
            Mass flow in the runner. [kg/rad]
        rate : PortRates
            Rates of change.
        through : tuple of ndarray, or None
            Flow through the intake valve; None while it is shut.
        """
        flow, inward, outward = self._flow, self._one, self._two
        if self._has[0]:
            moving = runner[self._runners]
            np.subtract(self._ambient_pa, self._runner_pa, out=self._push)
            np.multiply(self._push, self._inertance, out=self._push)
            np.abs(moving, out=self._loss)
            np.multiply(self._loss, moving, out=self._loss)
            np.multiply(self._loss, self._drag, out=self._loss)
            np.subtract(self._push, self._loss, out=rate.runner[self._runners])
            flow[self._runners] = moving
        if self._has[1]:
            self._prescribed(at, through)
        np.maximum(flow, self._zero, out=inward)
        np.minimum(flow, self._zero, out=outward)
        if self._has[0]:
            np.multiply(self._runner_pa, self._stretch, out=self._thin)
            np.minimum(self._thin, self._unit, out=self._thin)
            np.multiply(self._loss, self._thin, out=self._loss)  # the runners' part of what goes outward
        np.add(inward, outward, out=rate.port_mass)
        np.multiply(outward, self._port.burned, out=rate.port_burned)
        np.multiply(outward, self._port.enthalpy, out=outward)
        np.multiply(inward, self._air_enthalpy, out=inward)
        np.add(inward, outward, out=rate.port_energy)
        np.copyto(rate.intake_enthalpy, rate.port_energy)

    def _prescribed(self, at: int, through: tuple[Array, Array, Array] | None) -> None:
        """Let that flow into the port which keeps its pressure on the prescribed wave."""
        wanted, given = self._wanted, self._given
        np.multiply(self._swing, self._wave[at], out=wanted)
        np.add(wanted, self._mean, out=wanted)
        np.multiply(self._wave_pa, self._held, out=given)
        np.subtract(wanted, given, out=wanted)
        if through is not None:
            np.add(wanted, through[1][self._waves], out=wanted)
        source = np.where(wanted > 0, self._wave_air, self._wave_enthalpy)
        np.divide(wanted, source, out=self._wave_flow)
