"""What Bench day says: can this day be trusted, and where does a number come from?"""

from __future__ import annotations

from core.calibration import ACTION
from core.job import Finding, Side
from core.results import Balance, PlateCheck, Review
from core.trail import ReadingTrail, Trail
from core.units import NO_BREAK_SPACE, UnitSet, label, show
from dashboard.figures import counted
from dashboard.words import Safe

Trust = tuple[str, str, str]  # level of the gravest finding, the sentence, what else to say

SHOP_ONLY = "This screen is the shop's. What concerns a number stands beside it on the other screens."
NOTICED = "What the review noticed, what to do, where"
NOTHING_NOTICED = "The review noticed nothing at all."
TRAIL_TITLE = "Where does this number come from?"
TRAIL_CAPTION = "Steps carry one digit more than the result supports, so that they can be followed."
NO_CURVE = "No stage has a curve yet, so there is no number to follow."
POINT_TITLE = "**From readings to the point**"
SHARES_TITLE = "**What its ± is made of**"
SHARES_CAPTION = (
    "Shares of the variance, the square of the standard uncertainty. What is alike on every stage "
    "cancels in a gain."
)
NO_SHARES = "A reading of this lift cannot be used, so there is no point and no ±."
CALIBRATION = "Calibration over the days"
CALIBRATION_CAPTION = (
    "Factor: certified over measured flow of the plate. The days within the limits are pooled into one "
    "factor; a day outside them keeps its own. The limits are "
    f"{ACTION:g} standard uncertainties of one plate reading beside the mean of the others."
)
NO_CALIBRATION = (
    "No calibration sheet in this job. A sheet with # role: calibration and the plate's certified flow "
    "shows whether the bench drifts."
)
LEAK = "Leak"
LEAK_CAPTION = "Read with the valves shut, shown at the reference; subtracted from every flow of its day."
NO_LEAK = "No leak sheet in this job. A sheet with # role: leak, read with the valves shut, is subtracted."
REPEATS = "Repeats"
REPEATS_CAPTION = (
    "Standard uncertainty of one re-set-up at the middle lifts. Degrees of freedom say how well it is known."
)
BALANCE = "Port balance of the finished head"
BALANCE_CAPTION = (
    "Short of the mean: the worst port at that lift, with its 95\u00a0% ± from the set-ups. "
    "Where the ± is larger than the shortfall, the bench cannot tell the ports apart."
)
WITHIN, OFF = "within limits", "off that day"


def trust(review: Review) -> Trust:
    """Return whether the day's readings can be used, in a sentence and a remark."""
    stops = [finding for finding in review.findings if finding.level == "stop"]
    looks = sum(finding.level == "look" for finding in review.findings)
    if not stops and not looks:
        return "note", "Nothing stands against this bench day", "Every reading is in use."
    readings = len({(f.file, f.line, f.side) for f in stops if f.lift_m is not None})
    others = sum(finding.lift_m is None for finding in stops)
    parts = []
    if readings:
        parts.append(f"{counted(readings, 'reading')} cannot be used")
    if others:
        parts.append(f"{counted(others, 'sweep')} cannot be used")
    if looks:
        verb = "wants" if looks == 1 else "want"
        parts.append(f"{looks} {verb} a check" if stops else f"{counted(looks, 'thing')} {verb} a check")
    said = ", ".join(parts)
    rest = "Whatever is stopped is left out of every curve." if stops else "Every reading is in use."
    return ("stop" if stops else "look"), said, rest


def findings_of_day(review: Review) -> tuple[list[Finding], list[Finding]]:
    """Return what wants doing, and what is only to be known."""
    grave = [finding for finding in review.findings if finding.level != "note"]
    return grave, [finding for finding in review.findings if finding.level == "note"]


def beside(reading: ReadingTrail, safe: Safe = str) -> str:
    """Return what further columns of its sheet say of a reading, empty where they say nothing."""
    held = "; ".join(f"{head} {cell}" for head, cell in reading.sheet.beside(reading.reading.line))
    return f"Beside it on the sheet, and not computed with: {safe(held)}." if held else ""


def point_name(trail: Trail, units: UnitSet, safe: Safe = str) -> str:
    """Return ``as cast, intake at 7 mm``."""
    return f"{safe(trail.stage)}, {trail.side} at {show(trail.lift_m, 'lift', units)}"


def port_name(port: str | None) -> str:
    """Return ``port 2``, or what an unnamed one is called."""
    return "the unnamed port" if port is None else f"port{NO_BREAK_SPACE}{port}"


def one_port(balance: Balance, safe: Safe = str) -> str:
    """Return why there is no balance on a side."""
    ports = ", ".join(port_name(port) for port in balance.ports)
    if len(balance.ports) > 1:
        return f"{balance.side.capitalize()}: no lift of {safe(balance.stage)} was read in every port."
    return f"{balance.side.capitalize()}: of {safe(balance.stage)} only {safe(ports)} was measured."


def flow_heading(units: UnitSet) -> str:
    """Return the unit of flow, as a heading."""
    return label("flow", units)


def side_heading(side: Side, stage: str, safe: Safe = str) -> str:
    """Return the heading of one side's balance."""
    return f"**{side.capitalize()}, {safe(stage)}**"


def plate_heading(check: PlateCheck, review: Review, safe: Safe = str) -> str:
    """Return the heading of one plate's history: its side, and its bench where there are several."""
    several = len({one.bench for one in review.calibration}) > 1
    bench = f", {safe(check.bench)}" if several and check.bench else ""
    return f"**{check.side.capitalize()}{bench}**"
