"""The ladder: what each stage cost and gained, as rows of finished text."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from core.job import SIDES, Side, Sides
from core.results import Gain, Review, SideCurve, StageResult, Verdict
from core.units import NO_BREAK_SPACE, UnitSet, label, to_display
from dashboard import power_words, words
from dashboard.figures import NOTHING, figure, money, percent, places, significant, span
from dashboard.tables import SAME_LIFT, Cell, flow_figure, gain_figure, summary_cell


@dataclass(frozen=True)
class LadderRow:
    """One stage against the one before, or all work against the baseline."""

    stage: str
    place: int | None  # in the order of work; None for all work
    price: str
    gain: Sides[Cell]
    change: Sides[str]  # the same gain in percent
    at_peak: Sides[str]
    verdict_at_peak: Sides[Verdict | None]
    share: Sides[str]  # of the whole
    price_per_flow: Sides[str]
    power: str  # rough range; empty where the model was not worked out


def ladder(review: Review, units: UnitSet) -> tuple[LadderRow, ...]:
    """Return a row a stage in the order of work, and all work last where there is a gain."""
    rows = [_ladder_row(review, units, place, stage) for place, stage in enumerate(review.stages)]
    wholes = Sides(*(words.whole_gain(review, side) for side in SIDES))
    if not any(wholes[side] for side in SIDES):
        return tuple(rows)
    return (
        *rows,
        LadderRow(
            stage=words.ALL_WORK,
            place=None,
            price=money(words.total_price(review), review.job.currency),
            gain=_each(lambda side: summary_cell(wholes[side], review, units)),
            change=_each(lambda side: _change(wholes[side])),
            at_peak=_each(lambda side: _at_peak(wholes[side], units)),
            verdict_at_peak=_each(lambda side: _verdict_at_peak(wholes[side])),
            share=Sides(NOTHING, NOTHING),
            price_per_flow=_each(lambda side: _price_per_flow(wholes[side], review, units)),
            power=_power(review, None, units),
        ),
    )


def _ladder_row(review: Review, units: UnitSet, place: int, stage: StageResult) -> LadderRow:
    steps = Sides(*(review.gain(stage.name, side, "previous") for side in SIDES))

    def cell(side: Side) -> Cell:
        if steps[side] and steps[side].summary:
            return summary_cell(steps[side], review, units)
        curve = stage.side(side)
        if curve is None:
            return Cell("planned" if stage.planned else words.NOT_MEASURED)
        first = words.measured(review, side)[0].name == stage.name
        return Cell(_baseline(curve, units)) if first else Cell("not worked out")

    price = money(stage.price, review.job.currency)
    return LadderRow(
        stage=stage.name,
        place=place,
        price=f"{price} quoted" if stage.planned and stage.price is not None else price,
        gain=_each(cell),
        change=_each(lambda side: _change(steps[side])),
        at_peak=_each(lambda side: _at_peak(steps[side], units)),
        verdict_at_peak=_each(lambda side: _verdict_at_peak(steps[side])),
        share=_each(lambda side: _share(steps[side], words.whole_gain(review, side))),
        price_per_flow=_each(lambda side: _price_per_flow(steps[side], review, units)),
        power=_power(review, stage.name, units),
    )


def _power(review: Review, stage: str | None, units: UnitSet) -> str:
    return "" if review.power is None else power_words.ladder_cell(review.power, stage, units)


def _each(make: Callable[[Side], object]) -> Sides:
    return Sides(make("intake"), make("exhaust"))


def _baseline(curve: SideCurve, units: UnitSet) -> str:
    flow, expanded = curve.cam_weighted_flow_m3_s, curve.cam_weighted_expanded_m3_s
    if flow is None:
        flow, expanded = curve.mean_flow_m3_s, curve.mean_expanded_m3_s
    if flow is None:
        return words.BASELINE
    return f"{flow_figure(flow, expanded, units)} {words.BASELINE}"


def _change(gain: Gain | None) -> str:
    if gain is None or gain.summary is None:
        return NOTHING
    return percent(gain.summary.gain_fraction, gain.summary.expanded_fraction)


def _at_peak(gain: Gain | None, units: UnitSet) -> str:
    if gain is None or gain.at_peak_m3_s is None or gain.at_peak_expanded_m3_s is None:
        return NOTHING
    return gain_figure(gain.at_peak_m3_s, gain.at_peak_expanded_m3_s, units)


def _verdict_at_peak(gain: Gain | None) -> Verdict | None:
    if gain is None or gain.at_peak_m3_s is None:
        return None
    judged = [
        verdict
        for lift, verdict in zip(gain.lift_m, gain.verdict, strict=True)
        if verdict is not None and lift <= gain.usable_lift_m * SAME_LIFT
    ]
    return judged[-1] if judged else None


def _share(step: Gain | None, whole: Gain | None) -> str:
    """Return a clear step's share of a clear whole, rounded to what the step's ± supports."""
    if not step or not whole or not step.summary or not whole.summary:
        return NOTHING
    if step.summary.verdict == "too close to call" or whole.summary.verdict != "clear gain":
        return "not clear"
    if (step.other, step.stage) == (whole.other, whole.stage):
        return f"100{NO_BREAK_SPACE}%"
    share = 100 * step.summary.gain_m3_s / whole.summary.gain_m3_s
    uncertain = 100 * step.summary.expanded_uncertainty_m3_s / whole.summary.gain_m3_s
    return f"about {figure(share, min(places(uncertain), 0))}{NO_BREAK_SPACE}%"


def _price_per_flow(gain: Gain | None, review: Review, units: UnitSet) -> str:
    """Return what a unit of clear gain cost, as the range that the gain's ± makes of it."""
    if gain is None or gain.summary is None:
        return NOTHING
    if gain.price is None:
        return money(None, None)
    if gain.price_per_flow is None:
        return "no clear gain"
    if gain.price == 0:
        return NOTHING
    summary = gain.summary
    high, low = (
        to_display(summary.gain_m3_s + sign * summary.expanded_uncertainty_m3_s, "flow", units)
        for sign in (1, -1)
    )
    unit = label("flow", units)
    currency = f"{NO_BREAK_SPACE}{review.job.currency}" if review.job.currency else ""
    least = gain.price / high
    if low <= 0:
        return f"{significant(least)}{currency} per {unit} or more"
    return f"{span(least, gain.price / low)}{currency} per {unit}"
