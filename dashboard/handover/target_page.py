"""One side against the target on paper: what is reached, where flow is missing, and the gap at each lift."""

from __future__ import annotations

from core.job import Side
from core.results import Review
from core.units import UnitSet
from dashboard import target_tables, target_words, words
from dashboard.handover.fonts import STRONG
from dashboard.handover.grid import FULL, Grid, Row, fitted_columns, natural_widths
from dashboard.handover.paper import LOOK, Paper
from dashboard.look import TYPE_PT
from dashboard.tables import Table

_SMALL = TYPE_PT["small"]


def draw_target(paper: Paper, review: Review, side: Side, units: UnitSet) -> None:
    """Set the last stage's gap to the target, nothing where there is none on this side."""
    gap = review.target.last(side) if review.target else None
    if gap is None or gap.reached is None:
        return
    thirds = _grid(paper, target_tables.thirds(gap, units))
    title = f"{side.capitalize()}: {gap.stage} against the target, {gap.gain.other}"
    paper.need(thirds.room + 34.0)
    paper.y += 1.0
    paper.bookmark(title, level=1)
    paper.paragraph(title, kind="H3", style=STRONG)
    for text in target_words.sentences(review, gap, units):
        paper.paragraph(text)
    thirds.draw()
    paper.y += 1.4
    paper.paragraph(target_words.TABLE_CAPTION, size=_SMALL, colour=LOOK.muted)
    lifts = _grid(paper, target_tables.by_lift(review, gap, units))
    paper.need(lifts.room + 9.0)
    paper.y += 1.0
    paper.paragraph(f"{title}, at each lift", style=STRONG)
    lifts.draw()
    paper.y += 1.4
    for doubt in words.doubts(gap.gain, review=review):
        paper.paragraph(f"{gap.stage}: {doubt}.", size=_SMALL, colour=LOOK.muted)


def _grid(paper: Paper, table: Table) -> Grid:
    size = TYPE_PT["table"]
    columns = fitted_columns(table.columns, natural_widths(paper, table.columns, table.rows, size), FULL)
    marked = table.marked or (False,) * len(table.rows)
    rows = [Row(row, shaded=beyond) for row, beyond in zip(table.rows, marked, strict=True)]
    return Grid(paper, columns, rows)
