"""Faults put into sound jobs of a usual size: how many are found, and what is said where none is."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from core.constants import CFM_M3_S
from core.job import SIDES, BenchSheet, Certificate, Finding, Job, Reading, Side, Sides
from core.review import review
from tests.core.jobs import AIR, BENCH, CAM, PRESSURE_PA, job, truth

LIFTS_M = tuple(np.arange(1, 12) * 1e-3)
FLOW = {"intake": 1.0, "exhaust": 0.75}
WORK = ((1.0, 0.0), (1.03, 0.02), (1.08, 0.01), (1.085, 0.0))  # of each stage: gain, and more at 4 mm
SETUPS = {"2": 3, "3": 2}  # of each port and stage
OF_PORT, OF_SETUP, OF_SWEEP = 0.008, 0.004, 0.002
LIFT_M = 0.014e-3  # of a set-up's zero, and of each lift
DAYS = tuple(dt.date(2026, 3, 14 + n) for n in range(len(WORK)))
PLATE_M3_S = 0.1
FIRST_LINE = 9

BAD = replace(BENCH, lift_setting_m=0.02e-3)


def sound_job(rng: np.random.Generator) -> Job:
    """Return a job without a fault: 4 stages, 2 ports, 5 set-ups a stage, a plate read every day."""
    ports = {(port, side): 1 + OF_PORT * rng.standard_normal() for port in SETUPS for side in SIDES}
    stages = {
        f"stage {k}": [
            _sheet(rng, k, port, n, {side: ports[port, side] for side in SIDES})
            for port, setups in SETUPS.items()
            for n in range(setups)
        ]
        for k in range(len(WORK))
    }
    made = job(stages, benches=(BAD,), cams=Sides(CAM, CAM))
    plates = [_plate(rng, side, day) for side in SIDES for day in DAYS]
    return replace(made, sheets=made.sheets + tuple(plates))


def _sheet(rng: np.random.Generator, k: int, port: str, n: int, of_port: dict[Side, float]) -> BenchSheet:
    gain, bend = WORK[k]
    zero = LIFT_M * rng.standard_normal()
    rows = {}
    for side in SIDES:
        level = FLOW[side] * gain * of_port[side] * (1 + OF_SETUP * rng.standard_normal())
        readings = []
        for line, lift in enumerate(LIFTS_M, FIRST_LINE):
            at = lift + zero + LIFT_M * rng.standard_normal()
            more = 1 + bend * np.exp(-(((lift - 0.004) / 0.0025) ** 2))
            flow = level * more * truth(at) * (1 + OF_SWEEP * rng.standard_normal())
            readings.append(Reading(lift, line, flow_m3_s=round(float(flow), 5)))
        rows[side] = tuple(readings)
    both = Sides(rows["intake"], rows["exhaust"])
    return BenchSheet(
        f"{k}-{port}-{n}.csv",
        both,
        port=port,
        date=DAYS[k],
        bench=BAD.name,
        air=replace(AIR, altitude_m=40.0),
    )


def _plate(rng: np.random.Generator, side: Side, day: dt.date) -> BenchSheet:
    read = PLATE_M3_S * (1 + BAD.repeatability * rng.standard_normal())
    rows = (Reading(0.0, FIRST_LINE, flow_m3_s=read),)
    return BenchSheet(
        f"plate {side} {day}.csv",
        Sides(rows, ()) if side == "intake" else Sides((), rows),
        role="calibration",
        date=day,
        bench=BAD.name,
        air=AIR,
        certificate=Certificate(side, PLATE_M3_S, PRESSURE_PA, "ISO 2533", 0.004),
    )


@dataclass(frozen=True)
class Spot:
    """Where a fault is put."""

    sheet: int
    side: Side
    row: int


Fault = Callable[[Job, Spot, np.random.Generator], tuple[Job, Callable[[Finding], bool]]]


def _with_sheet(made: Job, index: int, sheet: BenchSheet) -> Job:
    return replace(made, sheets=(*made.sheets[:index], sheet, *made.sheets[index + 1 :]))


def _cell(factor: Callable[[np.random.Generator, Spot], float]) -> Fault:
    """Return a fault that multiplies one reading; a finding on its line counts."""

    def put(made: Job, spot: Spot, rng: np.random.Generator) -> tuple[Job, Callable[[Finding], bool]]:
        sheet = made.sheets[spot.sheet]
        rows = list(sheet.readings[spot.side])
        old = rows[spot.row]
        rows[spot.row] = old._replace(flow_m3_s=old.flow_m3_s * factor(rng, spot))
        both = {side: sheet.readings[side] for side in SIDES} | {spot.side: tuple(rows)}
        changed = replace(sheet, readings=Sides(both["intake"], both["exhaust"]))
        found = lambda f: (f.file, f.line, f.side) == (sheet.file, old.line, spot.side)  # noqa: E731
        return _with_sheet(made, spot.sheet, changed), found

    return put


def _usual(spot: Spot) -> float:
    """Return the standard deviation of one reading beside the truth, relative."""
    lift = LIFTS_M[spot.row]
    steepness = (truth(lift + 1e-6) - truth(lift - 1e-6)) / 2e-6 / truth(lift)
    return float(np.sqrt(OF_SETUP**2 + OF_SWEEP**2 + 2 * (LIFT_M * steepness) ** 2))


def _sign(rng: np.random.Generator) -> int:
    return 1 if rng.random() < 0.5 else -1


def _unit_of_sheet(made: Job, spot: Spot, rng: np.random.Generator) -> tuple[Job, Callable[[Finding], bool]]:
    sheet, factor = made.sheets[spot.sheet], (1e-3 / CFM_M3_S) ** _sign(rng)
    both = (
        tuple(one._replace(flow_m3_s=one.flow_m3_s * factor) for one in sheet.readings[side])
        for side in SIDES
    )
    changed = replace(sheet, readings=Sides(*both))
    return (
        _with_sheet(made, spot.sheet, changed),
        lambda f: (
            (f.code, f.file)
            == (
                "unit-of-sheet",
                sheet.file,
            )
        ),
    )


def _swapped(made: Job, spot: Spot, _: np.random.Generator) -> tuple[Job, Callable[[Finding], bool]]:
    sheet = made.sheets[spot.sheet]
    changed = replace(sheet, readings=Sides(sheet.readings.exhaust, sheet.readings.intake))
    return (
        _with_sheet(made, spot.sheet, changed),
        lambda f: (
            (f.code, f.file)
            == (
                "sides-swapped",
                sheet.file,
            )
        ),
    )


def _copied(made: Job, spot: Spot, _: np.random.Generator) -> tuple[Job, Callable[[Finding], bool]]:
    flows = [index for index, one in enumerate(made.sheets) if one.role == "stage"]
    other = flows[(flows.index(spot.sheet) + 1) % len(flows)]
    changed = replace(made.sheets[spot.sheet], readings=made.sheets[other].readings)
    return _with_sheet(made, spot.sheet, changed), lambda f: f.code == "copied"


def _drifted(made: Job, spot: Spot, rng: np.random.Generator) -> tuple[Job, Callable[[Finding], bool]]:
    """Move the bench on one of its days by three times the U of a day against the others."""
    day = DAYS[rng.integers(len(DAYS))]
    of_difference = 2 * BAD.repeatability * (1 + 1 / (len(DAYS) - 1)) ** 0.5
    factor = 1 + _sign(rng) * 3 * of_difference
    sheets = tuple(
        replace(
            one,
            readings=Sides(
                *(
                    tuple(row._replace(flow_m3_s=row.flow_m3_s * factor) for row in one.readings[side])
                    for side in SIDES
                )
            ),
        )
        if one.date == day
        else one
        for one in made.sheets
    )
    return replace(made, sheets=sheets), lambda f: f.code in ("calibration-off", "calibration-drift")


def _warm(made: Job, spot: Spot, rng: np.random.Generator) -> tuple[Job, Callable[[Finding], bool]]:
    """Let a meter stand 10 to 25 K above the room, and say so on its sheet."""
    sheet = made.sheets[spot.sheet]
    warm = AIR.air_temperature_k + rng.uniform(10.0, 25.0)
    changed = replace(sheet, air=replace(sheet.air, meter_temperature_k=warm))
    return _with_sheet(made, spot.sheet, changed), lambda f: (f.code, f.file) == ("meter-warm", sheet.file)


FAULTS: dict[str, Fault] = {
    "decimal slip": _cell(lambda rng, spot: 10.0 ** _sign(rng)),
    "digits transposed, 8 %": _cell(lambda rng, spot: 1 + 0.08 * _sign(rng)),
    "one cell off by 6 sigma": _cell(lambda rng, spot: 1 + 6 * _usual(spot) * _sign(rng)),
    "unit of a cell": _cell(lambda rng, spot: (1e-3 / CFM_M3_S) ** _sign(rng)),
    "unit of a sheet": _unit_of_sheet,
    "sides swapped": _swapped,
    "drift of 3 U": _drifted,
    "copied numbers": _copied,
    "warm meter": _warm,
}


def raised(made: Job) -> list[Finding]:
    """Return what a review says above a note."""
    return [finding for finding in review(made).findings if finding.level != "note"]


def false_alarms(jobs: int, seed: int = 0) -> tuple[int, int, dict[str, int]]:
    """Return in how many sound jobs a `stop` and a `look` appear, and which."""
    rng = np.random.default_rng(seed)
    stops = looks = 0
    codes: dict[str, int] = {}
    for _ in range(jobs):
        found = raised(sound_job(rng))
        stops += any(one.level == "stop" for one in found)
        looks += any(one.level == "look" for one in found)
        for one in found:
            codes[one.code] = codes.get(one.code, 0) + 1
    return stops, looks, codes


def found_share(fault: str, jobs: int, seed: int = 0) -> float:
    """Return the share of jobs with one such fault in which it is found, where it is."""
    rng = np.random.default_rng([seed, *fault.encode()])
    hits = 0
    for _ in range(jobs):
        made = sound_job(rng)
        flows = [index for index, one in enumerate(made.sheets) if one.role == "stage"]
        spot = Spot(int(rng.choice(flows)), SIDES[int(rng.integers(2))], int(rng.integers(len(LIFTS_M))))
        changed, is_it = FAULTS[fault](made, spot, rng)
        hits += any(is_it(finding) for finding in raised(changed))
    return hits / jobs
