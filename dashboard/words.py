"""Every verdict and sentence that a person reads, in one place (numbers: ``figures``).

Functions that put a person's own words (stage names, currencies, set-up notes) into a
sentence take ``safe``: what to do to those words, so that a screen can make them inert.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from core.job import SIDES, Finding, Side
from core.power import no_ceiling_because
from core.results import Ceiling, Gain, Review, StageResult, Summary, Verdict
from core.units import METRIC, NO_BREAK_SPACE, UnitSet, label, show, to_display
from dashboard.figures import counted, figure, money, percent, places, span
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


# --- the answer ------------------------------------------------------------------------


def measured(review: Review, side: Side) -> tuple[StageResult, ...]:
    """Return the stages that have a curve on this side."""
    return tuple(stage for stage in review.stages if stage.side(side) is not None)


def whole_gain(review: Review, side: Side) -> Gain | None:
    """Return the last measured stage against the baseline."""
    stages = measured(review, side)
    return review.gain(stages[-1].name, side, "baseline") if stages else None


def total_price(review: Review) -> float | None:
    """Return what all measured work after the first stage cost, None where a price is missing."""
    done = [stage for stage in review.stages if stage.intake or stage.exhaust]
    prices = [stage.price for stage in done[1:]]
    return None if not prices or None in prices else float(sum(prices))


def is_priced(review: Review) -> bool:
    """Return whether the job states any price."""
    return any(stage.price is not None for stage in review.stages)


def answer(review: Review, safe: Safe = str) -> str:
    """Return what the work bought, in one or two sentences."""
    wholes = {side: gain for side in SIDES if (gain := whole_gain(review, side)) and gain.summary}
    if not wholes:
        return _nothing_to_compare(review, safe)
    called = {side: gain for side, gain in wholes.items() if gain.summary.verdict != "too close to call"}
    open_ = {side: gain for side, gain in wholes.items() if side not in called}
    said = [_bought(review, called, safe)] if called else []
    blocked = {side: gain for side, gain in open_.items() if gain.same_setup is False}
    if open_ and not called and not blocked:
        said.append(_no_change(review, open_, safe))
    elif len(blocked) == len(wholes):
        said.append(f"No gain can be called, for the set-up was another: {_changes(blocked)}.")
    else:
        said += [_cannot_call(side, gain, safe) for side, gain in open_.items()]
    said += [_missing(review, side) for side in SIDES if side not in wholes]
    return " ".join(said)


def answer_doubts(review: Review, safe: Safe = str) -> list[str]:
    """Return the doubts that belong to the answer, a sentence each."""
    said: dict[str, list[str]] = {}
    for side in SIDES:
        gain = whole_gain(review, side)
        for doubt in doubts(gain, safe, review=review) if gain and gain.summary else ():
            said.setdefault(doubt, []).append(side)
    return [f"{' and '.join(sides).capitalize()}: {doubt}." for doubt, sides in said.items()]


def _payment(review: Review, safe: Safe) -> str | None:
    price = total_price(review)
    return safe(money(price, review.job.currency)) if price else None


def _bought(review: Review, gains: dict[Side, Gain], safe: Safe) -> str:
    ups = {side: gain for side, gain in gains.items() if gain.summary.verdict == "clear gain"}
    downs = {side: gain for side, gain in gains.items() if side not in ups}
    paid = _payment(review, safe)
    where = {side: _where(gain, len(gains)) for side, gain in gains.items()}
    once = len(set(where.values())) == 1

    def phrase(side: Side, gain: Gain) -> str:
        word = "more" if side in ups else "less"
        text = f"{_share_of(gain.summary)} {word} {side} flow"
        return text if once else f"{text} {where[side]}"

    rise = " and ".join(phrase(side, gain) for side, gain in ups.items())
    fall = " and ".join(phrase(side, gain) for side, gain in downs.items())
    if ups:
        lead = f"{paid} bought {rise}" if paid else f"The work brought {rise}"
        lead += f", but {fall}" if fall else ""
    else:
        lead = f"{paid} of work left {fall}" if paid else f"The work left {fall}"
    return f"{lead} {next(iter(where.values()))}." if once else f"{lead}."


def _share_of(summary: Summary) -> str:
    return percent(abs(summary.gain_fraction), summary.expanded_fraction, signed=False)


def _where(gain: Gain, sides: int) -> str:
    if gain.cam_weighted is None:
        return "over all lifts that both curves reach"
    return "where these cams work" if sides > 1 else "where this cam works"


def _no_change(review: Review, gains: dict[Side, Gain], safe: Safe) -> str:
    paid = _payment(review, safe)
    listed = _changes(gains)
    where = {_where(gain, len(gains)) for gain in gains.values()}
    place = f" {where.pop()}" if len(where) == 1 else ""
    lead = f"{paid} bought no" if paid else "The work brought no"
    return f"{lead} change in flow that this bench can tell: {listed}{place}, too close to call."


def _changes(gains: dict[Side, Gain]) -> str:
    return ", ".join(
        f"{side} {percent(gain.summary.gain_fraction, gain.summary.expanded_fraction)}"
        for side, gain in gains.items()
    )


def _cannot_call(side: Side, gain: Gain, safe: Safe) -> str:
    change = percent(gain.summary.gain_fraction, gain.summary.expanded_fraction)
    if gain.same_setup is False:
        return f"The {side} change, {change}, cannot be called: it was measured in another set-up."
    return f"The {side} change, {change}, is too close to call."


def _missing(review: Review, side: Side) -> str:
    stages = measured(review, side)
    if not stages:
        return f"The {side} was not measured."
    if len(stages) == 1:
        return f"The {side} was measured at one stage only, so there is no gain to show."
    return f"The {side} gain cannot be worked out; what to know says why."


def _nothing_to_compare(review: Review, safe: Safe) -> str:
    stages = [stage for stage in review.stages if stage.intake or stage.exhaust]
    if not stages:
        return "No flow can be shown yet: no stage has a usable reading."
    if len(stages) == 1:
        return f"One stage so far, {safe(stages[0].name)}. A gain needs a second one measured."
    return " ".join(["No gain can be worked out."] + [_missing(review, side) for side in SIDES])


def step_gains(review: Review) -> list[Gain]:
    """Return every stage against the one before, in the order of work."""
    steps = [review.gain(stage.name, side, "previous") for stage in review.stages for side in SIDES]
    return [gain for gain in steps if gain and gain.summary]


def steps(review: Review, safe: Safe = str) -> str:
    """Return which single steps are clear, empty where the answer has already said it."""
    gains = step_gains(review)
    if len({gain.stage for gain in gains}) < 2:
        return ""
    odd = [gain for gain in gains if gain.summary.verdict != "clear gain"]
    if not odd:
        return "Every step is a clear gain."
    if all(gain.same_setup is False for gain in gains):
        return "No step can be called: each was measured in another set-up than the one before."
    if len(odd) <= 3 and len(odd) < len(gains):
        count = ("one", "two", "three")[len(odd) - 1]
        kinds = {_standing(gain): None for gain in odd}
        listed = [_listed(kind, [gain for gain in odd if _standing(gain) == kind], safe) for kind in kinds]
        return f"Every step is a clear gain but {count}: {'; '.join(listed)}."
    counts = {verdict: sum(gain.summary.verdict == verdict for gain in gains) for verdict in VERDICT_MARK}
    kinds = [f"{n} {_many(verdict, n)}" for verdict, n in counts.items() if n]
    lost = [_step(gain, safe) for gain in gains if gain.summary.verdict == "clear loss"]
    sides = {gain.side for gain in gains}
    on = "intake and exhaust" if len(sides) == 2 else f"the {sides.pop()}"
    return f"Of {len(gains)} steps on {on}, {_and(kinds)}." + (f" Lost: {_and(lost)}." if lost else "")


def _step(gain: Gain, safe: Safe) -> str:
    return f"{safe(gain.stage)} on the {gain.side}"


def _standing(gain: Gain) -> str:
    return "another set-up" if gain.same_setup is False else gain.summary.verdict


def _listed(standing: str, gains: Sequence[Gain], safe: Safe) -> str:
    """Return steps that stand alike, as a clause."""
    one = len(gains) == 1
    names = _and([_step(gain, safe) for gain in gains])
    if standing == "another set-up":
        return f"{names} {'was' if one else 'were'} measured in another set-up and cannot be called"
    if standing == "too close to call":
        return f"{names} {'is' if one else 'are'} {standing}"
    return f"{names} {f'is a clear{NO_BREAK_SPACE}loss' if one else f'are clear{NO_BREAK_SPACE}losses'}"


def planned(review: Review, safe: Safe = str) -> str:
    """Return what is quoted and not yet measured, empty where there is nothing."""
    stages = [stage for stage in review.stages if stage.planned]
    if not stages:
        return ""
    named = [
        safe(stage.name)
        if stage.price is None
        else f"{safe(stage.name)} ({safe(money(stage.price, review.job.currency))})"
        for stage in stages
    ]
    lead = "Planned" if all(stage.price is None for stage in stages) else "Planned and only quoted"
    return f"{lead}: {_and(named)}. It is not counted above."


def _many(verdict: Verdict, count: int) -> str:
    if verdict == "too close to call":
        return f"{'is' if count == 1 else 'are'} too close to call"
    noun = verdict.replace("loss", "losses") if count > 1 and verdict.endswith("loss") else verdict
    noun = noun + "s" if count > 1 and verdict.endswith("gain") else noun
    return f"{'is a' if count == 1 else 'are'} {noun.replace(' ', NO_BREAK_SPACE)}"


def _and(parts: Sequence[str]) -> str:
    return parts[0] if len(parts) == 1 else ", ".join(parts[:-1]) + " and " + parts[-1]


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
    return f"One re-set-up moves a reading by, as a standard uncertainty: {_and(said)}." if said else ""


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


def weighting(name: str) -> str:
    """Return a single figure's name with what it means."""
    return {
        "cam-weighted": "cam-weighted, the mean over the time that the valve is open",
        "mean over lift": "the mean over all lifts that both curves reach",
    }.get(name, "cam-weighted, the mean over the time that the valve is open; else the mean over lift")


def ladder_caption(review: Review) -> str:
    """Return what the gains of the ladder are, and what is meant by its verdicts."""
    name = summary_name(step_gains(review))
    said = {
        "cam-weighted": "Gains are cam-weighted: the mean over the time that the valve is open",
        "mean over lift": "Gains are means over all lifts that both curves reach, as no cam is stated",
    }.get(name, "Gains are cam-weighted where the cam is known and read to its lift, else means over lift")
    against = f"Each stage stands against the one before, {ALL_WORK} against the baseline."
    return f"{said}. {against} {VERDICTS_MEAN}"


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
