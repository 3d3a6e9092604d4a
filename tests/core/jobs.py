"""Jobs made in memory for tests: known truth, chosen noise, no files.

Readings are volume flows at the reference pressure in standard air on a bench that needs no
correction unless a test says so; what a test varies it passes in.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from core.constants import INCH_WATER_PA
from core.job import Air, Bench, BenchSheet, CamLobe, Job, Reading, Sides, Stage

LIFTS_M = tuple(np.arange(1, 11) * 1e-3)
PRESSURE_PA = 28 * INCH_WATER_PA
AIR = Air(
    barometer_pa=101325.0,
    air_temperature_k=288.15,
    humidity=0.0,
    meter_temperature_k=288.15,
    test_pressure_pa=PRESSURE_PA,
)
BENCH = Bench(
    name="bench",
    calibrated_at_pa=PRESSURE_PA,
    repeatability=0.005,
    lift_setting_m=0.0,
    calibration=0.015,
    test_pressure_reading_pa=1e-9,
    barometer_reading_pa=1e-9,
    temperature_reading_k=1e-9,
    humidity_reading=1e-9,
)
CAM = CamLobe(lift_m=0.010, duration_rad=np.deg2rad(252), at_lift_m=0.001)


def truth(lift_m: float) -> float:
    """Return a plausible intake flow [m3/s] for a lift [m]: curtain first, then the port."""
    return 0.12 * (1 - np.exp(-lift_m / 0.004))


def sheet(flows: Mapping[float, float], file: str, side: str = "intake", **more: Any) -> BenchSheet:
    """Return a sheet of one side from {lift: flow}."""
    rows = tuple(Reading(lift, line, flow_m3_s=flow) for line, (lift, flow) in enumerate(flows.items(), 9))
    readings = Sides(rows, ()) if side == "intake" else Sides((), rows)
    given: dict[str, Any] = {"port": "1", "date": dt.date(2026, 3, 14), "air": AIR, "bench": "bench"}
    return BenchSheet(file, readings, **(given | more))


def job(measured: Mapping[str, Sequence[BenchSheet]], /, **more: Any) -> Job:
    """Return a job from {stage: sheets}; the sheets get their stage's name, the stages a price of 100."""
    given: dict[str, Any] = {
        "stages": tuple(Stage(name, 100.0) for name in measured),
        "sheets": tuple(replace(one, stage=name) for name, found in measured.items() for one in found),
        "benches": (BENCH,),
        "cams": Sides(CAM, None),
    }
    return Job("test", "Test", fingerprint="0", **(given | more))


def noisy_sheets(
    rng: np.random.Generator,
    name: str,
    flow: Callable[[float], float],
    setups: int,
    of_setup: float = 0.005,
    of_sweep: float = 0.0,
    lifts_m: Sequence[float] = LIFTS_M,
    **more: Any,
) -> list[BenchSheet]:
    """Return set-ups of one port: relative noise of each set-up, and of each reading in it."""
    found = []
    for index in range(setups):
        moved = 1 + of_setup * rng.standard_normal()
        flows = {lift: flow(lift) * (moved + of_sweep * rng.standard_normal()) for lift in lifts_m}
        found.append(sheet(flows, f"{name}-{index}.csv", **more))
    return found
