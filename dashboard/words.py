"""Every verdict and sentence that a person reads, in one place (numbers: ``figures``).

Functions that put a person's own words (stage names, currencies, set-up notes) into a
sentence take ``safe``: what to do to those words, so that a screen can make them inert.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from core.ceiling import no_ceiling_because
from core.job import SIDES, Finding, Side
from core.results import Ceiling, Gain, Review, StageResult, Verdict
from core.units import METRIC, NO_BREAK_SPACE, UnitSet, label, show, to_display
from dashboard.figures import counted, figure, joined, places, span
from dashboard.look import VERDICT_MARK

Safe = Callable[[str], str]

ALL_WORK = "all work"
NOT_MEASURED = "not measured"
BASELINE = "baseline"
BEYOND_CAM = "beyond cam"
NOT_OPENED = "this cam stops at"
CAVEAT = "An estimate for comparing stages of work. Only a dynamometer measures power."
CEILING_TITLE = "Flow ceiling: a level, not a gain"
JUDGED_TOGETHER = (
    "A gain may exceed its ± and still be too close to call: the ± is for one lift, "
    "the verdict judges all lifts of a comparison together."
)
VERDICTS_MEAN = (
    "Of 20 such ± with no doubt beside them, about 19 hold the true gain. A clear gain or loss is more than "
    "this bench shows by chance where nothing changed. What is too close to call may be either, or nothing."
)
ROUNDED = (
    "Every number is rounded by itself: a sum or a difference of shown ones may be off in its last digit."
)
POINTS_AND_BANDS = "Points are readings, lines are interpolation, bands are ± for telling stages apart."
MARKS = " · ".join(f"{mark} {verdict}" for verdict, mark in VERDICT_MARK.items())

_AIR = {
    "ISO 2533": "standard air ISO 2533 (15\u00a0°C, 1013.25\u00a0hPa, dry, {density})",
    "29.92 inHg 60 degF dry": "air of 29.92\u00a0inHg, 60\u00a0°F, dry ({density})",
    "29.92 inHg 68 degF dry": "air of 29.92\u00a0inHg, 68\u00a0°F, dry ({density})",
    "0.075 lb/ft3": "air of 0.075\u00a0lb/ft³ ({density})",
    "99 kPa 25 degC dry": "air of 99\u00a0kPa, 25\u00a0°C, dry ({density})",
}


_DIFFERENCES = {"test pressure stated": "the test pressure is stated for one only"}


# --- verdicts --------------------------------------------------------------------------


def verdict_words(verdict: Verdict) -> str:
    """Return a verdict that does not break over two lines when it is a clear one."""
    return verdict.replace(" ", NO_BREAK_SPACE) if verdict.startswith("clear") else verdict


def short_doubts(gain: Gain, review: Review) -> list[str]:
    """Return the same for inside a chart, where ``doubts`` stands beneath it."""
    said = [_other_ports(gain)] if gain.different_ports else []
    said += ["another set-up"] if gain.same_setup is False else []
    return [*said, "no test pressure"] if _is_unscaled(gain, review) else said


def doubts(gain: Gain, safe: Safe = str, *, review: Review | None = None) -> tuple[str, ...]:
    """Return what must stand beside a comparison's verdict; with its review, all of it."""
    said = []
    if gain.different_ports:
        spread = "their spread is in the ±" if gain.port_spread_known else "their own spread is not known"
        spread = "other ports of either may differ" if gain.against == "target" else spread
        said.append(f"measured in {_other_ports(gain)}; {spread}")
    if gain.same_setup is False:
        differences = [_DIFFERENCES.get(name, name) for name in gain.setup_differences]
        said.append(f"another set-up: {safe('; '.join(differences))}")
    if review is not None and _is_unscaled(gain, review):
        said.append("no test pressure stated; the same is taken for both")
    return tuple(said)


def _other_ports(gain: Gain) -> str:
    return "another head" if gain.against == "target" else "different ports"


def _is_unscaled(gain: Gain, review: Review) -> bool:
    """Return whether neither flow could be scaled to the reference; of one alone, the set-ups differ."""
    curve = next(stage.side(gain.side) for stage in review.stages if stage.name == gain.stage)
    return gain.same_setup is not False and not curve.at_reference


# --- what is compared --------------------------------------------------------------------


def measured(review: Review, side: Side) -> tuple[StageResult, ...]:
    """Return the stages that have a curve on this side."""
    return tuple(stage for stage in review.stages if stage.side(side) is not None)


def whole_gain(review: Review, side: Side) -> Gain | None:
    """Return the last measured stage against the baseline."""
    stages = measured(review, side)
    return review.gain(stages[-1].name, side, "baseline") if stages else None


def step_gains(review: Review) -> list[Gain]:
    """Return every stage against the one before, in the order of work."""
    steps = [review.gain(stage.name, side, "previous") for stage in review.stages for side in SIDES]
    return [gain for gain in steps if gain and gain.summary]


def total_price(review: Review) -> float | None:
    """Return what all measured work after the first stage cost, None where a price is missing."""
    done = [stage for stage in review.stages if stage.intake or stage.exhaust]
    prices = [stage.price for stage in done[1:]]
    return None if not prices or None in prices else float(sum(prices))


def is_priced(review: Review) -> bool:
    """Return whether the job states any price."""
    return any(stage.price is not None for stage in review.stages)


# --- what was noticed -------------------------------------------------------------------

# Housekeeping of the shop that concerns no number shown; every doubt about a number stays.
_SHOP_ONLY = frozenset(
    {"unknown-key", "further-columns", "trailing-note", "lifts-sorted", "planned-measured"}
)


def findings_for(review: Review, *, customer: bool) -> list[Finding]:
    """Return what a reader is told, the gravest first."""
    return [finding for finding in review.findings if not (customer and finding.code in _SHOP_ONLY)]


def repeat_line(review: Review) -> str:
    """Return how much one re-set-up moves a reading, and how that is known; empty without curves."""
    said = []
    for one in review.repeatability:
        known = "assumed" if one.assumed else "from repeats"
        bench = f" on {one.bench}" if one.bench and len({r.bench for r in review.repeatability}) > 1 else ""
        share = f"{figure(100 * one.relative, places(100 * one.relative))}{NO_BREAK_SPACE}%"
        said.append(f"{one.side}{bench} {share} ({known})")
    return f"One re-set-up moves a reading by, as a standard uncertainty: {joined(said)}." if said else ""


# --- what stands beside every table and chart ------------------------------------------


def air(review: Review) -> str:
    """Return the air that every flow is stated in."""
    reference = review.reference
    density = f"{reference.density_kg_m3:.4f}{NO_BREAK_SPACE}kg/m³"
    return _AIR.get(reference.air, f"{reference.air} ({{density}})").format(density=density)


def conditions(review: Review, units: UnitSet) -> str:
    """Return unit, reference pressure and air, for beside every flow table and chart."""
    return f"Flow in {label('flow', units)} at {reference(review)}"


def reference(review: Review) -> str:
    """Return the same without the unit of flow: both sets of units show pressure alike."""
    pressure = show(review.reference.pressure_pa, "test pressure", METRIC)
    text = f"{pressure}, {air(review)}. ± is 95{NO_BREAK_SPACE}%."
    if not all(
        curve.at_reference for stage in review.stages for side in SIDES if (curve := stage.side(side))
    ):
        text += " Where no test pressure was stated, flow is shown as measured, not scaled."
    return text


def summary_name(gains: Sequence[Gain]) -> str:
    """Return what the single figure of these gains is: cam-weighted, a plain mean, or some of each."""
    weighted = [gain.cam_weighted is not None for gain in gains if gain.summary]
    if weighted and all(weighted):
        return "cam-weighted"
    return "cam-weighted, else mean" if any(weighted) else "mean over lift"


_WEIGHTINGS = {
    "cam-weighted": "cam-weighted: the mean over the time that the valve is open",
    "mean over lift": "the mean over all lifts that both curves reach: no cam is stated, or it opens further",
    "cam-weighted, else mean": (
        "cam-weighted where the cam is known and read to its lift (the mean over the time that the valve "
        "is open), else the mean over all lifts that both curves reach"
    ),
}


def weighting(gains: Sequence[Gain]) -> str:
    """Return what the single figure of these gains means."""
    return _WEIGHTINGS[summary_name(gains)]


def ladder_caption(review: Review) -> str:
    """Return what the gains of the ladder are, and what is meant by its verdicts."""
    against = f"Each stage stands against the one before, {ALL_WORK} against the baseline."
    return f"Each gain is {weighting(step_gains(review))}. {against} {VERDICTS_MEAN}"


def beyond_caption(review: Review, side: Side, units: UnitSet) -> str:
    """Return what is shown above the cam's lift, empty where nothing is."""
    net = review.cam_net_lift_m[side]
    tops = [curve.lift_m[-1] for stage in review.stages if (curve := stage.side(side)) and curve.lift_m]
    if net is None or not tops or max(tops) <= net:
        return ""
    return f"Lift above {show(net, 'lift', units)} is shown and not counted: this cam does not open it."


def flow_caption(review: Review, side: Side) -> str:
    """Return what the ± of single flows is, and how well they are known in all."""
    relative = [
        expanded / flow
        for stage in measured(review, side)
        for curve in [stage.side(side)]
        for flow, expanded in zip(curve.flow_m3_s, curve.expanded_uncertainty_m3_s, strict=True)
        if flow and expanded
    ]
    text = f"± is what tells these stages apart (95{NO_BREAK_SPACE}%)."
    if not relative:
        return text
    known = f"{span(100 * min(relative), 100 * max(relative))}{NO_BREAK_SPACE}%"
    return f"{text} With all that every stage shares, such as the calibration, a flow is known to ± {known}."


def ceiling_figure(ceiling: Ceiling, units: UnitSet) -> str:
    """Return a ceiling as ``about 150–240 kW``."""
    low, high = (to_display(value, "power", units) for value in (ceiling.low_w, ceiling.high_w))
    return f"about {span(low, high)}{NO_BREAK_SPACE}{label('power', units)}"


def ceiling_line(review: Review, units: UnitSet, safe: Safe = str) -> str:
    """Return the last stage's flow ceiling as a level, or why there is none."""
    engine = review.job.engine
    if not review.ceiling:
        why_not = (
            no_ceiling_because(engine)
            or "no intake flow of a whole cylinder was measured at a known test pressure"
        )
        return f"Not worked out, because {why_not}."
    last = review.ceiling[-1]
    count = engine.cylinders if engine and engine.cylinders else None
    cylinders = f" on {counted(count, 'cylinder')}" if count else ""
    return (
        f"A head that peaks at the flow of {safe(last.stage)} has been seen to feed "
        f"{ceiling_figure(last, units)}{cylinders}. "
        "This is a level, not a gain: work at low and middle lift does not show in it."
    )
