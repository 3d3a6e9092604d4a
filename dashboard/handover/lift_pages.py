"""One side's flow and gains, lift by lift, in as many groups of columns as the stages need."""

from __future__ import annotations

from collections.abc import Sequence

from core.job import Side
from core.results import Review
from core.units import UnitSet, label
from dashboard import words
from dashboard.handover.fonts import STRONG
from dashboard.handover.grid import FULL, GAP, Column, Grid, Kind, Row, in_groups
from dashboard.handover.paper import LOOK, Paper
from dashboard.handover.target_page import draw_target
from dashboard.look import TYPE_PT
from dashboard.tables import GainTable, Table, flows, gains_by_lift

BY_LIFT = " by lift"
_MOST_FLOWS, _MOST_GAINS = 5, 3  # stages side by side
_WIDEST = 50.0
_SMALL = TYPE_PT["small"]


def draw_by_lift(paper: Paper, review: Review, side: Side, units: UnitSet) -> None:
    """Set one side's flows, then its gains over the stage before and over the baseline."""
    stages = words.measured(review, side)
    title = f"{side.capitalize()}{BY_LIFT}"
    if not stages:
        paper.heading(title, room=10.0)
        paper.paragraph(words.NOT_MEASURED, colour=LOOK.muted)
        return
    grids = _flow_grids(paper, review, flows(review, side, units))
    paper.heading(title, words.conditions(review, units), room=grids[0].room)
    for grid in grids:
        grid.draw()
        paper.y += 2.0
    paper.paragraph(words.flow_caption(review, side), size=_SMALL, colour=LOOK.muted)
    if len(stages) > 1:
        steps = gains_by_lift(review, side, "previous", units)
        _draw_gains(paper, review, steps, f"{side.capitalize()}: gain over the stage before", units)
    if len(stages) > 2:  # over two stages the baseline is the stage before
        whole = gains_by_lift(review, side, "baseline", units)
        _draw_gains(paper, review, whole, f"{side.capitalize()}: gain over {stages[0].name}", units)
    draw_target(paper, review, side, units)
    for text in (words.JUDGED_TOGETHER if len(stages) > 1 else "", words.beyond_caption(review, side, units)):
        if text:
            paper.paragraph(text, size=_SMALL, colour=LOOK.muted)


def _flow_grids(paper: Paper, review: Review, table: Table) -> list[Grid]:
    names = table.columns[1:]
    readings = sum(1 for row in table.rows if row[0][0].isdigit())
    grids = []
    for group in in_groups(len(names), _MOST_FLOWS):
        lifts = [row[0] for row in table.rows]
        columns = _columns(paper, review, table.columns[0], lifts, names[group], "left")
        rows = [
            Row(
                (row[0], *row[1:][group]),
                strong=i == readings,
                shaded=beyond,
                rule="heavy" if i == readings else _hairline(i, readings),
            )
            for i, (row, beyond) in enumerate(zip(table.rows, table.marked, strict=True))
        ]
        grids.append(Grid(paper, columns, rows))
    return grids


def _draw_gains(paper: Paper, review: Review, table: GainTable, title: str, units: UnitSet) -> None:
    whole, *by_lift = table.rows
    for group in in_groups(len(table.gains), _MOST_GAINS):
        gains = table.gains[group]
        lift = f"Lift, {label('lift', units)}"
        columns = _columns(
            paper, review, lift, [row.lift for row in table.rows], table.columns[group], "beside"
        )
        rows = [Row((whole.lift, *whole.cells[group]), strong=True)]
        rows += [
            Row(
                (row.lift, *row.cells[group]),
                shaded=row.beyond,
                rule=_hairline(i, len(by_lift)) if i else "heavy",
            )
            for i, row in enumerate(by_lift)
        ]
        grid = Grid(paper, columns, rows)
        paper.need(grid.room + 9.0)
        paper.y += 1.0
        paper.bookmark(title, level=1)
        paper.paragraph(f"{title}, {label('flow', units)}", kind="H3", style=STRONG)
        grid.draw()
        paper.y += 1.4
        for gain in gains:
            for doubt in words.doubts(gain, review=review):
                paper.paragraph(f"{gain.stage}: {doubt}.", size=_SMALL, colour=LOOK.muted)


def _columns(
    paper: Paper, review: Review, title: str, lifts: Sequence[str], names: Sequence[str], kind: Kind
) -> list[Column]:
    stages = [stage.name for stage in review.stages]
    first = max(paper.width_of(text, TYPE_PT["table"], STRONG) for text in lifts) + GAP + 1.0
    width = min((FULL - first) / len(names), _WIDEST)
    columns = [Column(title, first)]
    for name in names:
        place = stages.index(name)
        colour = LOOK.text_colour(place, len(stages))
        columns.append(Column(name, width, kind, colour, strong=place == len(stages) - 1))
    return columns


def _hairline(i: int, readings: int) -> str:
    """Return the rule above a lift: one every five."""
    return "light" if 0 < i < readings and i % 5 == 0 else ""
