"""What one run of the model is given: a cylinder, its valves' areas, and many cases of the rest."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from core.breathing.crank import Crank
from core.breathing.gas import Gas
from core.job import SIDES

Array = NDArray[np.float64]

START_RAD = -np.pi / 3
"""Crank angle at which a cycle starts and ends, both valves shut: 60 deg before firing."""
CYCLE_RAD = 4 * np.pi


@dataclass(frozen=True, eq=False)
class Openings:
    """Effective areas of one side's valves over the crank angles of a grid.

    Attributes
    ----------
    area_m2 : ndarray, shape (grid, k)
        Effective area of all valves of the side, for k different openings. [m2]
    """

    area_m2: Array


@dataclass(frozen=True, eq=False)
class Cases:
    """What differs from case to case: arrays of one length, a value a case.

    Attributes
    ----------
    prescribed : ndarray of bool
        The structure before the port: a prescribed wave, else a runner.
    speed_rad_s : ndarray
        Speed of the crank. [rad/s]
    intake, exhaust : ndarray of int
        Which of the openings of each side.
    runner_length_m, runner_area_m2, port_volume_m3 : ndarray
        Lumped intake: length and area of the runner [m] [m2], volume before the valve. [m3]
    runner_loss : ndarray
        Loss over the dynamic pressure in the runner, both ways. [1]
    ambient_pa, intake_temperature_k : ndarray
        Air before the runner. [Pa] [K]
    back_pressure_pa : ndarray
        Mean pressure behind the exhaust valve. [Pa]
    intake_wave, exhaust_wave : ndarray
        Height of the prescribed waves, over ambient pressure; the runner has no intake wave. [1]
    exhaust_temperature_k : ndarray
        Burned gas that comes back through the exhaust valve. [K]
    burn_duration_rad, burn_centre_rad : ndarray
        Wiebe's duration, and where half is burned. [rad]
    fuel_energy_j_kg : ndarray
        Heat released by each kg of fresh charge. [J/kg]
    heat_level : ndarray
        Factor on Woschni's coefficient. [1]
    wall_temperature_k : ndarray
        Temperature of all walls. [K]
    """

    prescribed: NDArray[np.bool_]
    speed_rad_s: Array
    intake: NDArray[np.intp]
    exhaust: NDArray[np.intp]
    runner_length_m: Array
    runner_area_m2: Array
    port_volume_m3: Array
    runner_loss: Array
    ambient_pa: Array
    intake_temperature_k: Array
    back_pressure_pa: Array
    intake_wave: Array
    exhaust_wave: Array
    exhaust_temperature_k: Array
    burn_duration_rad: Array
    burn_centre_rad: Array
    fuel_energy_j_kg: Array
    heat_level: Array
    wall_temperature_k: Array

    def __len__(self) -> int:
        """Return the number of cases."""
        return self.speed_rad_s.size

    def take(self, which: Array) -> Cases:
        """Return some of the cases."""
        return Cases(**{field.name: getattr(self, field.name)[which] for field in fields(self)})


def joined(parts: list[Cases]) -> Cases:
    """Return several sets of cases as one.

    Parameters
    ----------
    parts : list of Cases
        At least one.

    Returns
    -------
    Cases
        In the same order.
    """
    names = [field.name for field in fields(Cases)]
    return Cases(**{name: np.concatenate([getattr(part, name) for part in parts]) for name in names})


@dataclass(frozen=True, eq=False)
class Cylinder:
    """What all cases of a run share.

    Attributes
    ----------
    crank : Crank
        Sizes and compression ratio.
    gas : Gas
        Properties.
    step_rad : float
        Step of crank angle; a cycle holds a whole number of them. [rad]
    intake, exhaust : Openings
        Areas on the grid of `half_steps(step_rad)`.
    intake_wave, exhaust_wave : ndarray, shape (grid,)
        Shape of each prescribed wave, about -1 to 1. [1]
    exchange : ndarray of bool, shape (grid,)
        Where the gas moves as it does with valves open, for heat transfer.
    """

    crank: Crank
    gas: Gas
    step_rad: float
    intake: Openings
    exhaust: Openings
    intake_wave: Array
    exhaust_wave: Array
    exchange: NDArray[np.bool_]

    def rough(self) -> Cylinder:
        """Return the same with twice the step, where a cycle then still holds a whole number of them."""
        if self.exchange.size % 4 != 1:  # two points a step, and the end
            return self
        rows = {name: getattr(self, name)[::2] for name in ("intake_wave", "exhaust_wave", "exchange")}
        sides = {side: Openings(getattr(self, side).area_m2[::2]) for side in SIDES}
        return replace(self, step_rad=2 * self.step_rad, **sides, **rows)


def half_steps(step_rad: float) -> Array:
    """Return the crank angles of a cycle at every half step, both ends included.

    Parameters
    ----------
    step_rad : float
        Step. [rad]

    Returns
    -------
    ndarray, shape (2 n + 1,)
        Crank angles from `START_RAD` on. [rad]

    Raises
    ------
    ValueError
        If no whole number of steps makes a cycle.
    """
    steps = round(CYCLE_RAD / step_rad)
    if abs(steps * step_rad / CYCLE_RAD - 1) > 1e-9:
        raise ValueError(f"step_rad is {step_rad:g}. A cycle must hold a whole number of steps.")
    return START_RAD + np.arange(2 * steps + 1) * (step_rad / 2)
