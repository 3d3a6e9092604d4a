"""What single readings give away: more flow than a valve and its seat can pass."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from core.air import ideal_velocity
from core.constants import STANDARD_AIRS
from core.job import BenchSheet, Finding, Job, Level, Side, Valve
from core.ports import told_apart
from core.rows import Rows
from core.stages import valves_open
from core.valve import least_seat_area, lift_to_diameter

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Value = tuple[float | str, str]

# Flow over the isentropic flow of the least area between valve and seat (judgement: chamber
# and seat recover some pressure, so a little above 1 is possible, and much is not).
SUSPICIOUS, IMPOSSIBLE = 1.05, 1.25
LOW_LIFT = 0.08  # of the valve's diameter: below it the lift's zero decides


def of_rows(job: Job, rows: Rows) -> tuple[Flags, list[Finding]]:
    """Judge every reading against what its valve can pass.

    Parameters
    ----------
    job : Job
        Gives the valves.
    rows : Rows
        Readings of one side on one bench.

    Returns
    -------
    tuple
        ndarray of shape (n,), False for readings not to use; findings.

    References
    ----------
    Isentropic flow through the least seat area: Heywood (1988), sect. 6.3.2.
    """
    sound = rows.flows
    found = [_no_flow(rows, index) for index in np.flatnonzero(~sound).tolist()]
    share = _shares(job, rows)
    for index in np.flatnonzero(share > SUSPICIOUS).tolist():
        found.append(_too_much(job, rows, index, float(share[index])))
        sound[index] &= found[-1].level != "stop"
    return sound, found


def _no_flow(rows: Rows, index: int) -> Finding:
    sheet, reading = rows.sheets[index], rows.readings[index]
    text, cure = "{}, {} at {}: no flow.", "Take the reading again, or leave the cell blank."
    if np.isnan(rows.flow_m3_s[index]):
        text, cure = (
            "{}, {} at {}: cannot be turned into a flow.",
            "State the range in use, or give the flow.",
        )
        if reading.plate_drop_pa is not None and rows.bench.plate_diameter_m is None:
            cure = 'The plate is not known: add plate_diameter = "40 mm" to [[bench]] of job.toml.'
    elif rows.leak[index] > 0:
        text, cure = "{}, {} at {}: no flow is left after the leak.", "Check the leak sheet and the reading."
    values: tuple[Value, ...] = (
        (sheet.stage or sheet.file, "text"),
        (rows.side, "text"),
        (reading.lift_m, "lift"),
    )
    where = (sheet.file, reading.line, sheet.stage, rows.side, reading.lift_m)
    return Finding("stop", "no-flow", text, cure, values, *where)


def _shares(job: Job, rows: Rows) -> Array:
    """Return flow over the most that the least area can pass, nan without seat data or a test pressure."""
    most = np.full(rows.lift_m.size, np.nan)
    for sheet, mine in rows.by_sheet():
        valve = _valve(job, sheet, rows)
        count = valves_open(valve, [sheet])
        seat = (valve.diameter_m, valve.seat_angle_rad, valve.seat_width_m, valve.throat_diameter_m)
        if None in seat or valve.stem_diameter_m is None or count is None:
            continue
        if rows.correction.scaled[mine].any():
            lifts = tuple(rows.lift_m[mine].tolist())
            most[mine] = count * _most(rows.side, job.reference_pressure_pa, job.standard_air, valve, lifts)
    return rows.flow_m3_s / most


@lru_cache(maxsize=64)  # sheet after sheet reads one valve at the same lifts
def _most(side: Side, drop_pa: float, air: str, valve: Valve, lifts_m: tuple[float, ...]) -> Array:
    """Return the isentropic flow of one valve's least area at each lift."""
    standard = STANDARD_AIRS[air]
    area = least_seat_area(
        valve.diameter_m,
        np.array(lifts_m),
        valve.seat_angle_rad,
        valve.seat_width_m,
        valve.throat_diameter_m,
        valve.stem_diameter_m,
    )
    return area * ideal_velocity(side, drop_pa, standard.pressure_pa, standard.density_kg_m3)


def _valve(job: Job, sheet: BenchSheet, rows: Rows) -> Valve:
    if sheet.role == "target":
        return job.target.valves[rows.side] or Valve()
    return job.valve_of(sheet.stage or "", rows.side)


def _too_much(job: Job, rows: Rows, index: int, share: float) -> Finding:
    sheet, lift = rows.sheets[index], float(rows.lift_m[index])
    low = lift_to_diameter(_valve(job, sheet, rows).diameter_m, lift) < LOW_LIFT
    level: Level = "note" if low else "stop" if share > IMPOSSIBLE else "look"
    text = "{}, {} at {}: {} is {} of the most that this valve and seat can pass."
    if level == "stop":
        text += " It is left out."
    cure = "Check the lift zero and the seat width."
    if not low:
        cure = "Check the reading, its unit, the lift and the valve's sizes."
    values: tuple[Value, ...] = (
        (sheet.stage or sheet.file, "text"),
        (rows.side, "text"),
        (lift, "lift"),
        (float(rows.flow_m3_s[index]), "flow"),
        (share, "fraction"),
    )
    code = "flow-low-lift" if low else "flow-impossible" if level == "stop" else "flow-suspicious"
    return Finding(
        level, code, text, cure, values, sheet.file, rows.readings[index].line, sheet.stage, rows.side, lift
    )


def stopped_lifts(
    parts: Sequence[Rows], sound: Sequence[Flags]
) -> dict[tuple[str, str | None], frozenset[float]]:
    """Return the lifts of each stage and target at which a reading is not to be used.

    Parameters
    ----------
    parts : sequence of Rows
        Readings of one side, bench by bench.
    sound : sequence of ndarray, shape (n,)
        From of_rows.

    Returns
    -------
    dict
        Lifts in m under (role, stage name).
    """
    found: dict[tuple[str, str | None], set[float]] = {}
    for rows, good in zip(parts, sound, strict=True):
        for index in np.flatnonzero(~good):
            sheet = rows.sheets[index]
            lift = float(told_apart(rows.lift_m[index]))
            found.setdefault((sheet.role, sheet.stage), set()).add(lift)
    return {key: frozenset(lifts) for key, lifts in found.items()}
