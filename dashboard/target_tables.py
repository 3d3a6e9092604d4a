"""Gaps to the target as finished text: the same cells on the screen and in the hand-over."""

from __future__ import annotations

from collections.abc import Sequence

from core.job import SIDES, Side, Sides
from core.results import Gain, Gap, Reached, Review, Third
from core.units import UnitSet, label
from dashboard import target_words
from dashboard.figures import NOTHING, lifts, percent, plus_minus
from dashboard.tables import SAME_LIFT, Table, gain_figure
from dashboard.words import BEYOND_CAM


def thirds(gap: Gap, units: UnitSet) -> Table:
    """Return the mean gap over each third of the lift in use, and what usually limits there."""
    columns = (
        f"Lift, {label('lift', units)}",
        f"Gap, {label('flow', units)}",
        "Gap",
        "Gap in C_f",
        "What usually limits there",
    )
    rows = tuple(
        (
            f"{third.part}, {target_words.bounds_of(third, units)}",
            third_gap(third, units),
            percent(third.gap_fraction, third.expanded_fraction),
            _coefficient_share(third),
            target_words.LIMITS[third.part],
        )
        for third in gap.thirds
    )
    return Table(columns, rows)


def third_gap(third: Third, units: UnitSet) -> str:
    """Return a third's mean gap; its sign is its standing, unless that cannot be called."""
    number = gain_figure(third.gap_m3_s, third.expanded_m3_s, units)
    return number if third.verdict.startswith("clear") else f"{number} {third.verdict}"


def _coefficient_share(third: Third) -> str:
    if third.coefficient_fraction is None or third.coefficient_expanded_fraction is None:
        return NOTHING
    return percent(third.coefficient_fraction, third.coefficient_expanded_fraction)


def by_lift(review: Review, gap: Gap, units: UnitSet) -> Table:
    """Return one stage's gap at each lift, in flow and in both coefficients."""
    gain = gap.gain
    columns = (
        f"Lift, {label('lift', units)}",
        f"Gap, {label('flow', units)}",
        "Standing",
        "Gap in C_f",
        "Gap in C_d",
    )
    rows, marked = [], []
    for i, (lift, text) in enumerate(zip(gain.lift_m, lifts(gain.lift_m, units), strict=True)):
        if gain.gain_m3_s[i] is None:
            continue
        beyond = _is_beyond(review, gain.side, lift)
        verdict = gain.verdict[i]
        rows.append(
            (
                f"{text} ({BEYOND_CAM})" if beyond else text,
                gain_figure(gain.gain_m3_s[i], gain.expanded_uncertainty_m3_s[i] or 0.0, units),
                "between readings" if verdict is None else target_words.STANDING[verdict],
                _pair(gain.coefficient_gain[i], gap.flow_coefficient_expanded[i]),
                _pair(gap.discharge_coefficient_gap[i], gap.discharge_coefficient_expanded[i]),
            )
        )
        marked.append(beyond)
    return Table(columns, tuple(rows), tuple(marked))


def coefficient_gaps(review: Review, gains: Sequence[Gain], units: UnitSet) -> Table:
    """Return stages against the target in flow coefficient, by lift; no rows where none is known."""
    gaps = [gap for gain in gains if review.target and (gap := review.target.gap(gain.stage, gain.side))]
    columns = [_by_key(gap) for gap in gaps]
    every = sorted({lift: None for gap, column in zip(gaps, columns, strict=True) for lift in column})
    rows = [
        (
            f"{text} ({BEYOND_CAM})" if _is_beyond(review, gaps[0].side, lift) else text,
            *(column.get(lift, NOTHING) for column in columns),
        )
        for lift, text in zip(every, lifts(every, units), strict=True)
    ]
    marked = tuple(_is_beyond(review, gaps[0].side, lift) for lift in every)
    return Table((f"Lift, {label('lift', units)}", *(gap.stage for gap in gaps)), tuple(rows), marked)


def _by_key(gap: Gap) -> dict[float, str]:
    pairs = zip(gap.gain.lift_m, gap.gain.coefficient_gain, gap.flow_coefficient_expanded, strict=True)
    return {round(lift, 7): _pair(change, expanded) for lift, change, expanded in pairs if change is not None}


def every_stage(review: Review) -> Table:
    """Return how much of the target each stage reaches, in flow and valve for valve."""
    sides = [side for side in SIDES if review.target.last(side)]
    columns = ["Stage"]
    for side in sides:
        columns += [f"{side.capitalize()} reached", f"{side.capitalize()}, valve for valve"]
    rows = []
    for stage in review.stages:
        gaps = [review.target.gap(stage.name, side) for side in sides]
        if any(gaps):
            cells = [
                _share(reached)
                for gap in gaps
                for reached in ((gap.reached, gap.reached_coefficient) if gap else (None, None))
            ]
            rows.append((stage.name, *cells))
    return Table(tuple(columns), tuple(rows))


def row(review: Review) -> Sides[str] | None:
    """Return what the last stage reaches on each side, for under the ladder; None without a target."""
    if review.target is None:
        return None
    reached = Sides(*(target_words.row_share(review.target.last(side)) for side in SIDES))
    return reached if reached.intake or reached.exhaust else None


def _share(reached: Reached | None) -> str:
    return NOTHING if reached is None else target_words.share(reached)


def _pair(value: float | None, expanded: float | None) -> str:
    return NOTHING if value is None else plus_minus(value, expanded or 0.0)


def _is_beyond(review: Review, side: Side, lift_m: float) -> bool:
    net = review.cam_net_lift_m[side]
    return net is not None and lift_m > net * SAME_LIFT
