"""Gains, flows and coefficients by lift as finished text: the same cells on every screen and in the PDF."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from core.air import ideal_velocity, incompressible_velocity
from core.constants import STANDARD_AIRS
from core.job import SIDES, Side
from core.results import Against, Gain, Numbers, Review, SideCurve, StageResult, Verdict
from core.units import NO_BREAK_SPACE, UnitSet, label, show, to_display
from dashboard import phrases, words
from dashboard.figures import NOTHING, figure, lifts, percent, places, plus_minus
from dashboard.look import VERDICT_MARK

SAME_LIFT = 1 + 1e-6


@dataclass(frozen=True)
class Cell:
    """A number, the verdict on it, and what must stand beside that verdict."""

    number: str
    verdict: Verdict | None = None
    doubts: tuple[str, ...] = ()

    @property
    def mark(self) -> str:
        """Return the verdict's mark, empty without a verdict."""
        return VERDICT_MARK[self.verdict] if self.verdict else ""

    @property
    def words(self) -> str:
        """Return the verdict in words, empty without a verdict."""
        return words.verdict_words(self.verdict) if self.verdict else ""

    def __str__(self) -> str:
        """Return all of it on one line."""
        return "; ".join([" ".join(filter(None, (self.number, self.words))), *self.doubts])


EMPTY = Cell(NOTHING)


@dataclass(frozen=True)
class Table:
    """Column headings and rows of text; ``marked`` rows lie beyond the cam's lift."""

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    marked: tuple[bool, ...] = ()


def apart(table: Table) -> tuple[Table, tuple[tuple[str, str], ...]]:
    """Return a table of several rows without the columns that say the same in all, and what those say."""
    alike = [len(table.rows) > 1 and len(set(column)) == 1 for column in zip(*table.rows, strict=True)]
    if not any(alike) or all(alike):
        return table, ()
    same = tuple(
        (head, cell) for head, cell, one in zip(table.columns, table.rows[0], alike, strict=True) if one
    )
    columns, *rows = (
        tuple(cell for cell, one in zip(row, alike, strict=True) if not one)
        for row in (table.columns, *table.rows)
    )
    return Table(columns, tuple(rows), table.marked), same


@dataclass(frozen=True)
class LiftRow:
    """One lift, or the single figure over all lifts, over every compared stage."""

    lift: str
    cells: tuple[Cell, ...]
    beyond: bool = False
    whole: bool = False


@dataclass(frozen=True)
class GainTable:
    """Gain by lift: a column for each comparison, the single figure first, lifts down."""

    gains: tuple[Gain, ...]
    rows: tuple[LiftRow, ...]

    @property
    def columns(self) -> tuple[str, ...]:
        """Return the stages that are compared."""
        return tuple(gain.stage for gain in self.gains)


def summary_cell(gain: Gain | None, review: Review, units: UnitSet) -> Cell:
    """Return a comparison's single figure with its verdict and doubts."""
    if gain is None or gain.summary is None:
        return EMPTY
    summary = gain.summary
    number = gain_figure(summary.gain_m3_s, summary.expanded_uncertainty_m3_s, units)
    return Cell(number, summary.verdict, words.doubts(gain, review=review))


def change_cell(gain: Gain, review: Review) -> Cell:
    """Return the same in percent, which is the same in any unit of flow."""
    if gain.summary is None:
        return EMPTY
    change = percent(gain.summary.gain_fraction, gain.summary.expanded_fraction)
    return Cell(change, gain.summary.verdict, words.doubts(gain, review=review))


def gain_figure(gain_m3_s: float, expanded_m3_s: float, units: UnitSet) -> str:
    """Return a gain in flow as ``+6.2 ± 0.6``, without its unit."""
    return plus_minus(to_display(gain_m3_s, "flow", units), to_display(expanded_m3_s, "flow", units))


def flow_figure(flow_m3_s: float, expanded_m3_s: float | None, units: UnitSet) -> str:
    """Return a flow with the digits that its uncertainty supports."""
    expanded = to_display(expanded_m3_s, "flow", units) if expanded_m3_s else 0.0
    decimals = places(expanded) if expanded > 0 else 1
    return figure(to_display(flow_m3_s, "flow", units), decimals)


def gains_by_lift(review: Review, side: Side, against: Against, units: UnitSet) -> GainTable:
    """Return the gain of every stage at every lift, the single figure first."""
    gains = [gain for stage in review.stages if (gain := review.gain(stage.name, side, against))]
    return gain_table(review, gains, units)


def gain_table(review: Review, gains: Sequence[Gain], units: UnitSet) -> GainTable:
    """Return these comparisons, all of one side, at every lift, the single figure first."""
    columns = [cells_by_lift(gain, units) for gain in gains]
    net = review.cam_net_lift_m[gains[0].side] if gains else None
    whole = LiftRow(
        words.summary_name(gains), tuple(summary_cell(gain, review, units) for gain in gains), whole=True
    )
    rows = [
        LiftRow(text, tuple(column.get(lift_key(lift), EMPTY) for column in columns), beyond)
        for text, lift, beyond in _lift_headings(_union(gain.lift_m for gain in gains), net, units)
    ]
    return GainTable(tuple(gains), (whole, *rows))


def cells_by_lift(gain: Gain, units: UnitSet) -> dict[float, Cell]:
    """Return one comparison's cells by the key of their lift."""
    cells = {}
    for lift, change, expanded, verdict, between in zip(
        gain.lift_m,
        gain.gain_m3_s,
        gain.expanded_uncertainty_m3_s,
        gain.verdict,
        gain.interpolated,
        strict=True,
    ):
        if change is None:
            continue
        number = gain_figure(change, expanded or 0.0, units)
        cells[lift_key(lift)] = Cell(f"{number} between readings" if between else number, verdict)
    return cells


def lift_key(lift_m: float) -> float:
    """Return a lift to a tenth of a micrometre: the same one, read in inches or in millimetres."""
    return round(lift_m, 7)


def _union(lift_sets: Iterable[Sequence[float]]) -> list[float]:
    return sorted({lift_key(lift): lift for lift_m in lift_sets for lift in lift_m}.values())


def _lift_headings(
    all_lifts: Sequence[float], net: float | None, units: UnitSet
) -> list[tuple[str, float, bool]]:
    headings = []
    for text, lift in zip(lifts(all_lifts, units), all_lifts, strict=True):
        beyond = net is not None and lift > net * SAME_LIFT
        headings.append((f"{text} ({words.BEYOND_CAM})" if beyond else text, lift, beyond))
    return headings


def _by_lift(
    review: Review, side: Side, units: UnitSet, cell: Callable[[SideCurve, int], str]
) -> tuple[tuple[StageResult, ...], list[tuple[str, ...]], list[bool]]:
    """Return the stages measured on a side, and a row of text a lift."""
    stages = words.measured(review, side)
    curves = [stage.side(side) for stage in stages]
    at = [{lift_key(lift): i for i, lift in enumerate(curve.lift_m)} for curve in curves]
    rows, marked = [], []
    for text, lift, beyond in _lift_headings(
        _union(curve.lift_m for curve in curves), review.cam_net_lift_m[side], units
    ):
        rows.append(
            (
                text,
                *(
                    cell(curve, places_at[lift_key(lift)]) if lift_key(lift) in places_at else NOTHING
                    for curve, places_at in zip(curves, at, strict=True)
                ),
            )
        )
        marked.append(beyond)
    return stages, rows, marked


def _heading(units: UnitSet) -> str:
    return f"Lift, {label('lift', units)}"


def flows(review: Review, side: Side, units: UnitSet) -> Table:
    """Return corrected flow by lift with the ± that tells stages apart; then mean and peak."""

    def cell(curve: SideCurve, i: int) -> str:
        return _plain_pair(curve.flow_m3_s[i], curve.expanded_bench_m3_s[i], units)

    stages, rows, marked = _by_lift(review, side, units, cell)
    curves = [stage.side(side) for stage in stages]
    extra = [
        ("cam-weighted", [(c.cam_weighted_flow_m3_s, c.cam_weighted_expanded_m3_s) for c in curves]),
        ("mean over lift", [(c.mean_flow_m3_s, c.mean_expanded_m3_s) for c in curves]),
    ]
    for name, pairs in extra:
        if any(flow is not None for flow, _ in pairs):
            rows.append((name, *(_plain_pair(flow, expanded, units) for flow, expanded in pairs)))
    rows.append(("peak in use", *(_peak(c.peak_flow_m3_s, c.peak_lift_m, c, units) for c in curves)))
    rows.append(("peak overall", *(_peak(c.highest_flow_m3_s, c.highest_lift_m, c, units) for c in curves)))
    marked += [False] * (len(rows) - len(marked))
    return Table((_heading(units), *(stage.name for stage in stages)), tuple(rows), tuple(marked))


def _plain_pair(flow: float | None, expanded: float | None, units: UnitSet) -> str:
    if flow is None:
        return NOTHING
    if expanded is None:
        return flow_figure(flow, None, units)
    return plus_minus(to_display(flow, "flow", units), to_display(expanded, "flow", units), signed=False)


def _peak(flow: float | None, lift: float | None, curve: SideCurve, units: UnitSet) -> str:
    if flow is None or lift is None:
        return NOTHING
    expanded = curve.expanded_bench_m3_s[curve.lift_m.index(lift)] if lift in curve.lift_m else None
    return f"{flow_figure(flow, expanded, units)} at {show(lift, 'lift', units)}"


def has_coefficients(review: Review, side: Side) -> bool:
    """Return whether the valve's size is known, so that there are coefficients."""
    curves = _curves(words.measured(review, side), side)
    return any(value is not None for curve in curves for value in curve.discharge_coefficient)


def coefficients(review: Review, side: Side, units: UnitSet, *, on: str = "curtain") -> Table:
    """Return the coefficient on ``curtain`` area (discharge) or on ``head`` area (flow), by lift.

    Lift over diameter stands in a column of its own where all stages share it, else in each cell.
    """
    stages = words.measured(review, side)
    by_lift = [
        dict(zip(map(lift_key, c.lift_m), c.lift_to_diameter, strict=True)) for c in _curves(stages, side)
    ]
    shared = len({tuple(sorted(one.items())) for one in by_lift}) == 1

    decimals = _coefficient_decimals(_curves(stages, side), on)

    def cell(curve: SideCurve, i: int) -> str:
        value, ratio = _coefficient(curve, on)[i], curve.lift_to_diameter[i]
        if value is None:
            return NOTHING
        text = figure(value, decimals[lift_key(curve.lift_m[i])])
        return text if shared or ratio is None else f"{text} at L/D {ratio:.3f}"

    stages, rows, marked = _by_lift(review, side, units, cell)
    columns = (_heading(units), *(stage.name for stage in stages))
    if shared and stages:
        ratios = stages[0].side(side).lift_to_diameter
        rows = [
            (row[0], NOTHING if ratio is None else f"{ratio:.3f}", *row[1:])
            for row, ratio in zip(rows, ratios, strict=True)
        ]
        columns = (columns[0], "L/D", *columns[1:])
    return Table(columns, tuple(rows), tuple(marked))


def coefficient_caption(review: Review, side: Side) -> str:
    """Return what the coefficients are set against, and what they would be against the other usual flow."""
    reference = review.reference
    ambient_pa = STANDARD_AIRS[reference.air].pressure_pa
    isentropic = ideal_velocity(side, reference.pressure_pa, ambient_pa, reference.density_kg_m3)
    less = 1 - isentropic / incompressible_velocity(reference.pressure_pa, reference.density_kg_m3)
    return phrases.COEFFICIENT_CAPTION.format(less=f"{figure(100 * less, 1)}{NO_BREAK_SPACE}%")


def _curves(stages: Sequence[StageResult], side: Side) -> list[SideCurve]:
    return [stage.side(side) for stage in stages]


def _coefficient(curve: SideCurve, on: str) -> Numbers:
    return curve.discharge_coefficient if on == "curtain" else curve.flow_coefficient


def _coefficient_decimals(curves: Sequence[SideCurve], on: str) -> dict[float, int]:
    """Return the decimals at each lift that what is known of every stage's flow supports."""
    decimals: dict[float, int] = {}
    for curve in curves:
        for lift, value, flow, expanded in zip(
            curve.lift_m,
            _coefficient(curve, on),
            curve.flow_m3_s,
            curve.expanded_uncertainty_m3_s,
            strict=True,
        ):
            known = places(value * expanded / flow) if value and flow and expanded else 3
            decimals[lift_key(lift)] = min(known, decimals.get(lift_key(lift), 3))
    return decimals


def exhaust_to_intake(review: Review, units: UnitSet) -> Table:
    """Return exhaust flow as a percentage of intake flow, by lift."""
    stages = [stage for stage in review.stages if stage.ratio_lift_m]
    at = [dict(zip(map(lift_key, s.ratio_lift_m), s.exhaust_to_intake, strict=True)) for s in stages]
    net = [lift for side in SIDES if (lift := review.cam_net_lift_m[side]) is not None]
    rows, marked = [], []
    for text, lift, beyond in _lift_headings(
        _union(s.ratio_lift_m for s in stages), max(net) if len(net) == 2 else None, units
    ):
        ratios = [one.get(lift_key(lift)) for one in at]
        rows.append(
            (text, *(NOTHING if r is None else f"{figure(100 * r, 0)}{NO_BREAK_SPACE}%" for r in ratios))
        )
        marked.append(beyond)
    return Table((_heading(units), *(stage.name for stage in stages)), tuple(rows), tuple(marked))
