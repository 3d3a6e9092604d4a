"""What a person reads about the target: how much of it is reached, where flow is missing, what to find."""

from __future__ import annotations

from core.job import SIDES, Side
from core.results import Gap, Reached, Review, TargetResult, Third, Verdict
from core.units import NO_BREAK_SPACE, UnitSet, label, show, to_display
from dashboard import phrases
from dashboard.figures import figure, lifts, percent, plus_minus
from dashboard.words import Safe

TITLE = "How far to the target"
CHART_CAPTION = (
    "The dotted line is the target. Bars are ± of the gap. Beneath: the mean gap over each third of the lift "
    "in use."
)
TABLE_CAPTION = (
    "Gaps are means over each third of the lift in use, and below 0 where flow is missing. In C_f both flows "
    "are divided by the area of their own valve heads, so a larger valve cannot hide a worse port. What "
    "limits is common practice, no source."
)
BY_LIFT = "At each lift: flow, C_f and C_d"
BY_LIFT_CAPTION = (
    "C_f is on valve head area, C_d on curtain area, both less those of the target with its own valves. "
    "Near the seat a valve flows by its circumference, so C_d is the fair one there; further up, C_f."
)
EVERY_STAGE = "Every stage: how much of the target it reaches"
EVERY_STAGE_CAPTION = (
    "Valve for valve: the same share of the flow coefficient, each head with its own valves."
)
NOTHING_TO_FIND = "Nothing is clearly missing at any lift in use."
OTHER_SETUP = "It was read in another set-up, so no gap can be called."

EMPTY_LEAD = "This job has no target yet."
EMPTY_CUSTOMER = "The shop has set no target for this job."
EMPTY_HELP = (
    "A target is a casting that the work is to reach. Give it in `job.toml` in one of three ways: bench "
    "sheets of it, a stage of another job in the same folder of jobs, or figures from a card or a page. "
    "State its valves, so that a larger valve does not hide a worse port."
)
EMPTY_WAYS = """\
[target]
name = "reference head"
sheets = ["reference_1.csv", "../references/reference_2.csv"]
[target.intake]
valve_diameter = "35 mm"

# or a stage of another job, whose valves and bench are taken with it:
[target]
job = "../other-job"
stage = "port polish"

# or typed, as corrected flows at one pressure and in one air:
[target]
name = "figures from a card"
[target.typed]
lift = [2, 4, 6, 8, 10]
lift_unit = "mm"
intake = [44.0, 80.5, 101.0, 112.5, 118.0]
flow_unit = "L/s"
test_pressure = "28 inH2O"
air = "ISO 2533"
uncertainty = "2 %"
"""

# Common practice, no source.
LIMITS = {
    "low": "seat and its angles, chamber wall beside the valve",
    "middle": "throat, bowl, short turn",
    "high": "the port's smallest section",
}
# A verdict on a gap: nothing was gained or lost, it is below the target or above it.
STANDING: dict[Verdict, str] = {
    "clear gain": f"clearly{NO_BREAK_SPACE}above",
    "clear loss": f"clearly{NO_BREAK_SPACE}below",
    "too close to call": "too close to call",
}


def share(reached: Reached) -> str:
    """Return a share of the target as ``93.3 ± 0.5 %``."""
    return percent(reached.fraction, reached.expanded_fraction, signed=False)


def last_gaps(review: Review) -> list[Gap]:
    """Return the gap of the last stage of each side that has one."""
    target = review.target
    return [gap for side in SIDES if target and (gap := target.last(side)) and gap.reached]


def answer(review: Review) -> str:
    """Return how much of the target the last stage reaches, a sentence a side."""
    gaps = last_gaps(review)
    if not gaps:
        return "Nothing can be compared with the target."
    return " ".join(side_answer(gap) for gap in gaps)


def side_answer(gap: Gap) -> str:
    """Return how much of the target one side of a stage reaches."""
    reached, side = share(gap.reached), f"The {gap.side}"
    if gap.gain.same_setup is False:
        return f"{side} reads {reached} of the target, but in another set-up: that cannot be called."
    called = gap.gain.summary.verdict
    if called == "clear gain":
        return f"{side} passes the target, at {reached} of it."
    if called == "too close to call":
        return f"{side}, at {reached} of the target, is too close to call apart from it."
    return f"{side} reaches {reached} of the target."


def row_share(gap: Gap | None) -> str:
    """Return what stands in the target's row under the ladder, empty where nothing can be said."""
    return "" if gap is None or gap.reached is None else f"{share(gap.reached)} reached"


def row_name(review: Review, safe: Safe = str) -> str:
    """Return the name of the target's row."""
    return f"target: {safe(review.target.name)}"


def where(gap: Gap, units: UnitSet) -> str:
    """Return where the missing flow sits, empty where nothing clear is missing."""
    shares = {third.part: third.share_of_missing for third in gap.thirds}
    if None in shares.values():
        return ""
    most = max(gap.thirds, key=lambda third: third.share_of_missing)
    if most.share_of_missing > 0.5:
        return f"Most of what is missing sits at {most.part} lift, {span_of(most, units)}."
    least = min(gap.thirds, key=lambda third: third.share_of_missing)
    if least.share_of_missing < 0.2 and least.part != "middle":
        others = [third for third in gap.thirds if third is not least]
        at = f"{others[0].part} and {others[1].part} lift"
        edges = _edges((others[0].from_m, others[1].to_m), units)
        return f"What is missing sits at {at}, {edges}."
    return "What is missing is spread over all of the lift in use."


def span_of(third: Third, units: UnitSet) -> str:
    """Return the lifts of a third, as ``3.3 to 6.7 mm``."""
    return _edges((third.from_m, third.to_m), units)


def bounds_of(third: Third, units: UnitSet) -> str:
    """Return the lifts of a third for a column that has their unit."""
    low, high = _edge(third.from_m, units), _edge(third.to_m, units)
    return {"low": f"to {high}", "middle": f"{low} to {high}", "high": f"from {low}"}[third.part]


def _edge(edge_m: float, units: UnitSet) -> str:
    return figure(to_display(edge_m, "lift", units), units.shown["lift"].digits - 1 if edge_m else 0)


def _edges(edges_m: tuple[float, float], units: UnitSet) -> str:
    low, high = (_edge(edge, units) for edge in edges_m)
    return f"{low} to {high}{NO_BREAK_SPACE}{label('lift', units)}"


def valve_for_valve(review: Review, gap: Gap, units: UnitSet) -> str:
    """Return how much is reached when the size of the valves is taken out, and what that means."""
    target = review.target
    if gap.reached_coefficient is None:
        return phrases.NO_TARGET_COEFFICIENTS
    reached, ratio = share(gap.reached_coefficient), gap.reached.fraction / gap.reached_coefficient.fraction
    theirs = valves(target, gap.side, units)
    lead = f"Valve for valve, in flow coefficient, it reaches {reached}"
    if ratio < 1 - 1e-6:
        short = gap.reached_coefficient.fraction + gap.reached_coefficient.expanded_fraction < 1
        rest = ": the rest of the gap goes with valve size" if short else ": the gap is one of valve size"
        rest = rest if gap.gain.summary.verdict == "clear loss" else ""
        return f"The target's valve is larger, {theirs}. {lead}{rest}."
    if ratio > 1 + 1e-6:
        return f"The target's valve is smaller, {theirs}. {lead}: the larger valve makes up the difference."
    return f"The target's valve is of the same size, {theirs}: flow and flow coefficient say the same."


def line(review: Review, units: UnitSet, safe: Safe = str) -> str:
    """Return what the target is, with its valves."""
    target = review.target
    sizes = [f"{side} {valves(target, side, units)}" for side in SIDES if target.diameter_m[side]]
    known = f", valves: {', '.join(sizes)}" if sizes else ""
    return f"Target: {safe(target.name)}{known}."


def valves(target: TargetResult, side: Side, units: UnitSet) -> str:
    """Return the size of the target's valves on one side, which must be known."""
    size, count = show(target.diameter_m[side], "length", units), target.valves[side]
    return size if count == 1 else f"{count} × {size}"


def to_find(gap: Gap, units: UnitSet, strong: Safe = str) -> str:
    """Return what flow at which lifts would reach the target: the two lifts that miss most."""
    if gap.gain.same_setup is False:
        return OTHER_SETUP
    if not gap.to_find:
        return NOTHING_TO_FIND
    most = gap.to_find[:2]
    texts = lifts([one.lift_m for one in most], units)
    said = []
    for one, lift in zip(most, texts, strict=True):
        flow, expanded = (to_display(v, "flow", units) for v in (one.flow_m3_s, one.expanded_m3_s))
        number = f"{plus_minus(flow, expanded, signed=False)}{NO_BREAK_SPACE}{label('flow', units)}"
        said.append(strong(f"{number} at {lift}{NO_BREAK_SPACE}{label('lift', units)}"))
    return f"To reach it, find {' and '.join(said)}."


def sentences(review: Review, gap: Gap, units: UnitSet) -> list[str]:
    """Return what one side's numbers say: what is reached, what is missing where, what the valves do."""
    found = f"{side_answer(gap)} {where(gap, units)}".strip()
    return [found, to_find(gap, units), valve_for_valve(review, gap, units)]
