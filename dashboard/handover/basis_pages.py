"""The last pages: what to know, how to recompute, conditions, corrections, readings."""

from __future__ import annotations

from collections.abc import Sequence
from string import ascii_uppercase

from core.results import Review
from core.units import UnitSet
from dashboard import phrases
from dashboard.evidence import levels_mean
from dashboard.figures import NOTHING
from dashboard.handover import basis, facts
from dashboard.handover.derived import derived
from dashboard.handover.fonts import REGULAR, STRONG, has_boxes
from dashboard.handover.grid import FULL, GAP, Grid, Row, fitted_columns, natural_widths
from dashboard.handover.paper import LEFT, LOOK, WIDTH, Paper
from dashboard.look import TYPE_PT
from dashboard.tables import Table

READINGS = "Readings, and the flow that each was corrected to"

_SMALL = TYPE_PT["small"]
_PROSE = 8.2
_LONG = 40  # characters of a cell; what is longer and stands often is set once, under a letter
_LEVEL_COLUMN = 11.0
_HALF = (WIDTH - 6.0) / 2 - GAP / 2
_ROUNDING = 1e-6  # mm, of widths that are added up


def draw_basis(paper: Paper, review: Review, units: UnitSet) -> None:
    """Set everything that a sceptic needs, in the order in which it is asked for."""
    paper.heading(phrases.FINDINGS_TITLE, room=20.0)
    notices = basis.notices(review, units)
    for level, text in notices:
        _draw_notice(paper, level, text)
    if not notices:
        paper.paragraph(phrases.NOTHING_GRAVE)
    if levels := levels_mean(review.findings):
        paper.paragraph(levels, size=_SMALL, colour=LOOK.muted)
    paper.y += 1.0
    paper.paragraph(basis.CLEARANCES)
    paper.heading(phrases.RECOMPUTE_TITLE, room=30.0)
    for text in (*basis.how(review, units), *derived(review, units), *basis.equipment(review, units)):
        paper.paragraph(text, size=_PROSE)
        paper.y += 0.9
    for title, table in basis.tables(review, units):
        _draw_table(paper, title, table)
    _draw_readings(paper, basis.readings(review, units))
    if has_boxes(paper):
        paper.y += 2.0
        paper.paragraph(facts.BOXES, size=_SMALL, colour=LOOK.muted)


def _draw_notice(paper: Paper, level: str, text: str) -> None:
    style = {"stop": STRONG, "look": STRONG}.get(level, REGULAR)
    colour = LOOK.muted if level == "note" else LOOK.text
    paper.need(9.0)
    with paper.tagged("P"):
        paper.line_of_text(LEFT, paper.y + 3.18, level, size=TYPE_PT["body"], style=style, colour=colour)
    paper.paragraph(text, colour=colour, x=LEFT + _LEVEL_COLUMN, width=WIDTH - _LEVEL_COLUMN)
    paper.y += 0.6


def _draw_table(paper: Paper, title: str, table: Table) -> None:
    """Set a table's rows; what is the same in all of them stands once, in a line above."""
    shared = {
        i
        for i, column in enumerate(zip(*table.rows, strict=True))
        if i and len(column) > 1 and len(set(column)) == 1
    }
    titles = [text for i, text in enumerate(table.columns) if i not in shared]
    rows, legend = _lettered(
        titles, [[text for i, text in enumerate(row) if i not in shared] for row in table.rows]
    )
    columns = fitted_columns(titles, natural_widths(paper, titles, rows, _SMALL), FULL)
    grid = Grid(paper, columns, [Row(tuple(row)) for row in rows], size=_SMALL)
    first = table.rows[0]
    said = [f"{table.columns[i].lower()} {first[i]}" for i in sorted(shared) if first[i] != NOTHING]
    note = f"The same in every row: {'; '.join(said)}." if said else ""
    paper.heading(title, note, room=grid.room)
    grid.draw()
    paper.y += 1.2 if legend else 0.0
    for text in legend:
        paper.paragraph(text, size=_SMALL, colour=LOOK.muted)


def _lettered(titles: Sequence[str], rows: Sequence[Sequence[str]]) -> tuple[list[list[str]], list[str]]:
    """Return rows with a letter for each long text of a column that has few, and what each stands for."""
    columns, legend = [], []
    for title, column in zip(titles, zip(*rows, strict=True), strict=True):
        kinds = dict.fromkeys(column)
        if max(map(len, kinds)) <= _LONG or len(kinds) > len(ascii_uppercase) or len(kinds) > len(column) / 2:
            columns.append(column)
            continue
        letters = dict(zip(kinds, ascii_uppercase, strict=False))
        columns.append([letters[text] for text in column])
        legend += [f"{title} {letter}: {text}." for text, letter in letters.items()]
    return [list(row) for row in zip(*columns, strict=True)], legend


def _draw_readings(paper: Paper, sheets: list[basis.SheetReadings]) -> None:
    """Set the readings two sheets abreast where their tables are short and narrow enough."""
    waiting = [(one.title, _reading_grid(paper, one.table)) for one in sheets if one.table.rows]
    if not waiting:
        return
    first = max(_block_room(paper, *one) for one in waiting[:2])
    paper.heading(READINGS, room=first)
    while waiting:
        pair = waiting[:2]
        if any(grid.width > _HALF + _ROUNDING or grid.height > 0.8 * paper.depth for _, grid in pair):
            pair = pair[:1]
        waiting = waiting[len(pair) :]
        paper.need(max(_block_room(paper, *one) for one in pair))
        top, lowest = paper.y, 0.0
        for place, (title, grid) in enumerate(pair):
            paper.y, grid.x = top, LEFT + place * (_HALF + GAP)
            paper.paragraph(title, size=_SMALL, style=STRONG, x=grid.x, width=_block_width(grid))
            grid.draw()
            lowest = max(lowest, paper.y) if len(pair) > 1 else paper.y
        paper.y = lowest + 3.0


def _block_width(grid: Grid) -> float:
    return min(max(grid.width, _HALF), WIDTH)


def _block_room(paper: Paper, title: str, grid: Grid) -> float:
    return paper.height_of(title, _block_width(grid), _SMALL, STRONG) + grid.room


def _reading_grid(paper: Paper, table: Table) -> Grid:
    widths = natural_widths(paper, table.columns, table.rows, _SMALL)
    total = _HALF + GAP if sum(widths) <= _HALF + GAP else FULL
    columns = fitted_columns(table.columns, widths, total, "left")
    return Grid(paper, columns, [Row(row) for row in table.rows], size=_SMALL)
