"""What must stand beside a number that goes public: test pressure, valve sizes, what the number is."""

from __future__ import annotations

from collections.abc import Sequence

from core.job import Job, Side
from core.units import NO_BREAK_SPACE, UnitSet, show
from dashboard import words
from dashboard.handover.compared import Compared


def measure(found: Sequence[Compared]) -> str:
    """Return what the compared flows are means of."""
    name = words.summary_name([one.gain for one in found])
    cams = "these cams hold the valves" if len(found) > 1 else "this cam holds the valve"
    return {
        "cam-weighted": f"Mean flow over the time that {cams} open",
        "mean over lift": "Mean flow over all lifts that both curves reach",
    }.get(name, "Mean flow over the time that the valve is open, else over lift")


def test_pressures(job: Job, found: Sequence[Compared], units: UnitSet) -> str:
    """Return at what pressure the compared stages were tested: ``25 inH2O``, ``10 inH2O to 28 inH2O``."""
    pressures = {
        reading.test_pressure_pa or sheet.air.test_pressure_pa
        for one in found
        for sheet in job.sheets
        if sheet.role == "stage" and sheet.stage in (one.gain.other, one.gain.stage)
        for reading in sheet.readings[one.side]
    }
    said = list(dict.fromkeys(show(one, "test pressure", units) for one in sorted(pressures - {None})))
    known = " to ".join(dict.fromkeys((said[0], said[-1]))) if said else ""
    if None in pressures:
        return "a pressure that was not stated" + (f", and at {known}" if known else "")
    return known


def valves(job: Job, found: Sequence[Compared], units: UnitSet) -> str:
    """Return the valves of the compared stages, empty where no size is stated."""
    said = []
    for one in found:
        before, after = (_valve(job, stage, one.side, units) for stage in (one.gain.other, one.gain.stage))
        if after:
            changed = f" (before: {before})" if before and before != after else ""
            said.append(f"{one.side} {after}{changed}")
    return f"Valves: {', '.join(said)}" if said else ""


def _valve(job: Job, stage: str, side: Side, units: UnitSet) -> str:
    valve = job.valve_of(stage, side)
    if valve.diameter_m is None:
        return ""
    size = show(valve.diameter_m, "length", units)
    count = valve.valves_per_cylinder or 1
    return size if count == 1 else f"{count}{NO_BREAK_SPACE}×{NO_BREAK_SPACE}{size}"
