"""Engines and heads for tests of the breathing model; invented but for what the trade says."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from core.job import BenchSheet, CamLobe, Engine, Job, Sides, Valve
from tests.core.jobs import job, sheet

INCH_M = 0.0254
CFM_M3_S = 0.3048**3 / 60
HP_W = 745.69987
Flows = Mapping[float, float]  # lift in inches: cfm at 28 inH2O

# A large two-valve eight-cylinder race engine: 7.4 L, a race cam on 1.7:1 rockers.
ENGINE = Engine(
    cylinders=8,
    bore_m=4.25 * INCH_M,
    stroke_m=4.00 * INCH_M,
    rod_length_m=6.0 * INCH_M,
    compression_ratio=13.0,
    redline_rad_s=7500 * np.pi / 30,
)
VALVES = Sides(
    Valve(2.10 * INCH_M, 1, 11 / 32 * INCH_M, 1.86 * INCH_M, np.pi / 4, 0.060 * INCH_M),
    Valve(1.60 * INCH_M, 1, 11 / 32 * INCH_M, 1.38 * INCH_M, np.pi / 4, 0.080 * INCH_M),
)


def race_cam(duration_deg: float, centreline_deg: float) -> CamLobe:
    """Return a lobe of 0.700 in at the valve; its duration is taken at 0.050 in of the tappet."""
    return CamLobe(
        lift_m=0.700 / 1.7 * INCH_M,
        duration_rad=np.radians(duration_deg),
        at_lift_m=0.050 * INCH_M,
        at="tappet",
        rocker_ratio=1.7,
        centreline_rad=np.radians(centreline_deg),
    )


CAMS = Sides(race_cam(262, 106), race_cam(268, 112))
INTAKE = {0.1: 58, 0.2: 122, 0.3: 178, 0.4: 220, 0.5: 246, 0.6: 260, 0.7: 268}
EXHAUST = {0.1: 48, 0.2: 92, 0.3: 128, 0.4: 154, 0.5: 172, 0.6: 182, 0.7: 187}


def times(flows: Flows, factor: float) -> Flows:
    """Return a curve times a factor."""
    return {lift: flow * factor for lift, flow in flows.items()}


def stage_sheets(name: str, intake: Flows | None, exhaust: Flows | None, **more: Any) -> list[BenchSheet]:
    """Return a stage's sheets from {lift in inches: cfm}."""
    found = []
    for side, flows in (("intake", intake), ("exhaust", exhaust)):
        if flows is not None:
            si = {lift * INCH_M: flow * CFM_M3_S for lift, flow in flows.items()}
            found.append(sheet(si, f"{name}-{side}.csv", side, **more))
    return found


def power_job(stages: Mapping[str, tuple[Flows | None, Flows | None]], **more: Any) -> Job:
    """Return a job from {stage: (intake, exhaust)}; one set-up a side, on a bench that repeats to 0.5 %."""
    sheets = {name: stage_sheets(name, *flows) for name, flows in stages.items()}
    return job(sheets, **{"engine": ENGINE, "valves": VALVES, "cams": CAMS} | more)


def engine(**changed: Any) -> Engine:
    """Return the engine with some of it changed."""
    return replace(ENGINE, **changed)
