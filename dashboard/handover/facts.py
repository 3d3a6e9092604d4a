"""What must stand beside a number that goes public: test pressure, valve sizes, what the number is."""

from __future__ import annotations

from collections.abc import Sequence

from core.job import Job, Side
from core.units import NO_BREAK_SPACE, UnitSet, show
from dashboard import words
from dashboard.handover.compared import Compared
from dashboard.handover.typeface import lacks
from dashboard.words import Safe

BOXES = (
    "A box stands for a character that this document's typeface does not have; copied as text, it is there."
)


def about(job: Job) -> list[str]:
    """Return whose head it is, and when it was on the bench."""
    return [
        part for part in (job.customer, job.casting, job.serial_number, job.note, bench_days(job)) if part
    ]


def bench_days(job: Job) -> str:
    """Return the first and the last day on the bench, empty where none is stated."""
    days = sorted({sheet.date for sheet in job.sheets if sheet.date})
    if not days:
        return ""
    return f"bench day {days[0]}" if len(days) == 1 else f"bench days {days[0]} to {days[-1]}"


def boxed(job: Job) -> list[str]:
    """Return whichever names of a job the hand-over's own typeface cannot set whole."""
    said = (job.title, job.customer, job.casting, job.serial_number, job.note)
    said += tuple(stage.name for stage in job.stages)
    return [text for text in said if text and lacks(text)]


def boxes_note(job: Job, safe: Safe = str) -> str:
    """Return what to know before a PDF or a still with boxes leaves the shop, empty where there are none."""
    names = boxed(job)
    if not names:
        return ""
    return (
        f"In summary.pdf and the stills a box stands for every character of {safe(', '.join(names))} that "
        "their typeface does not have: it has Latin, Greek and Cyrillic letters. The other files have them "
        "all. For a public still, a name in those letters helps."
    )


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
