"""Cylinders and cases for tests of the breathing model: invented sizes, profiles as formulas."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from core.breathing.cases import Cases, Cylinder, Openings, half_steps
from core.breathing.crank import Crank
from core.breathing.gas import Gas, constant_heat_gas
from tests.core.breathing_scalar import Scalar

Array = NDArray[np.float64]
DEG = np.pi / 180
RPM = np.pi / 30
COARSE, FINE = 0.5 * DEG, 0.25 * DEG
SIZE = np.array([1e-3, 6e-4, 300.0, 120.0, 1e-4, 2e-5, 5e-4])  # of a state's rows, about

CRANK = Crank(bore_m=0.1063, stroke_m=0.1016, rod_length_m=0.1524, compression_ratio=12.5)
MILD = Crank(bore_m=0.086, stroke_m=0.086, rod_length_m=0.143, compression_ratio=9.5)


class Profiles:
    """Areas and waves of one engine as functions of crank angle, for any grid and for LSODA."""

    def __init__(
        self,
        intake_m: float = 0.0533,
        exhaust_m: float = 0.0406,
        lift_m: float = 0.016,
        durations_deg: tuple[float, float] = (320, 325),
        centres_deg: tuple[float, float] = (108, 112),
        length: float = 1.0,
    ):
        self.intake_m, self.exhaust_m, self.lift_m, self.length = intake_m, exhaust_m, lift_m, length
        self.duration = tuple(one * DEG for one in durations_deg)
        self.centre = ((360 + centres_deg[0]) * DEG, (360 - centres_deg[1]) * DEG)

    def _area(self, angle: Array, side: int) -> Array:
        x = np.clip((angle - self.centre[side]) / (self.duration[side] / 2), -1, 1)
        head_m = (self.intake_m, self.exhaust_m)[side]
        lift_m = self.lift_m * (1 - x**2) ** 2
        return np.pi / 4 * head_m**2 * 0.612 * -np.expm1(-lift_m / head_m / 0.16) * self.length**2

    def intake_area_m2(self, angle: Array) -> Array:
        """Return the effective area of the intake."""
        return self._area(angle, 0)

    def exhaust_area_m2(self, angle: Array) -> Array:
        """Return the effective area of the exhaust."""
        return self._area(angle, 1)

    def intake_wave(self, angle: Array) -> Array:
        """Return one swing over the intake's open period."""
        share = np.clip((angle - self.centre[0]) / self.duration[0] + 0.5, 0, 1)
        return -np.sin(2 * np.pi * share)

    def exhaust_wave(self, angle: Array) -> Array:
        """Return half a swing over the exhaust's open period."""
        share = (angle - self.centre[1]) / self.duration[1] + 0.5
        return np.where((share > 0) & (share < 1), np.cos(np.pi * np.clip(share, 0, 1)), 0.0)

    @property
    def exchange(self) -> tuple[float, float]:
        """Return where the exhaust opens and the intake closes."""
        return self.centre[1] - self.duration[1] / 2, self.centre[0] + self.duration[0] / 2

    def cylinder(self, step: float = COARSE, crank: Crank = CRANK, gas: Gas | None = None) -> Cylinder:
        """Return a cylinder on the grid of a step."""
        grid = half_steps(step)
        first, last = self.exchange
        return Cylinder(
            crank,
            gas or Gas(),
            step,
            Openings(self.intake_area_m2(grid)[:, None]),
            Openings(self.exhaust_area_m2(grid)[:, None]),
            self.intake_wave(grid),
            self.exhaust_wave(grid),
            (grid >= first) & (grid <= last),
        )

    def scalar(self, case: Cases, crank: Crank = CRANK, gas: Gas | None = None) -> Scalar:
        """Return the same for LSODA, one case."""

        def plain(profile: Callable[[Array], Array]) -> Callable[[float], float]:
            return lambda angle: float(profile(np.float64(angle)))

        return Scalar(
            crank,
            gas or Gas(),
            case,
            "pulses" if case.prescribed[0] else "runner",
            plain(self.intake_area_m2),
            plain(self.exhaust_area_m2),
            plain(self.intake_wave),
            plain(self.exhaust_wave),
            self.exchange,
        )


def cases(rpm: ArrayLike, length_m: ArrayLike = 0.3, prescribed: bool = False, **changed: Any) -> Cases:
    """Return cases at speeds and runner lengths that are spread over each other."""
    speed, length = (np.ravel(one) for one in np.broadcast_arrays(np.asarray(rpm, float), length_m))
    section = 0.75 * np.pi / 4 * 0.0533**2
    given: dict[str, Any] = {
        "prescribed": prescribed,
        "speed_rad_s": speed * RPM,
        "intake": 0,
        "exhaust": 0,
        "runner_length_m": length,
        "runner_area_m2": section,
        "port_volume_m3": 0.5 * section * length,
        "runner_loss": 0.5,
        "ambient_pa": 101_325.0,
        "intake_temperature_k": 303.0,
        "back_pressure_pa": 106_000.0,
        "intake_wave": 0.1 if prescribed else 0.0,
        "exhaust_wave": 0.1 if prescribed else 0.0,
        "exhaust_temperature_k": 1000.0,
        "burn_duration_rad": 60 * DEG,
        "burn_centre_rad": 8 * DEG,
        "fuel_energy_j_kg": 2.64e6,
        "heat_level": 1.0,
        "wall_temperature_k": 450.0,
    } | changed
    whole = {"intake": int, "exhaust": int, "prescribed": bool}
    return Cases(
        **{k: np.full(speed.size, v, whole.get(k, float)) if np.ndim(v) == 0 else v for k, v in given.items()}
    )


def shut(step: float, crank: Crank = CRANK) -> Cylinder:
    """Return a cylinder of constant specific heat whose valves never open."""
    base = Profiles().cylinder(step, crank, constant_heat_gas())
    none = Openings(np.zeros((half_steps(step).size, 1)))
    return replace(base, intake=none, exhaust=none, exchange=np.zeros(half_steps(step).size, bool))
