"""Rough power on paper: ranges with their caveat, what they are made of and rest on, and compression."""

from __future__ import annotations

from collections.abc import Callable

from core.power_results import PowerModel
from core.results import Review
from core.units import UnitSet, label, to_display
from dashboard import power_tables, power_words, words
from dashboard.charts.frame import tick_texts, ticks
from dashboard.handover.fonts import REGULAR, STRONG
from dashboard.handover.grid import FULL, Grid, Row, fitted_columns, natural_widths
from dashboard.handover.paper import LEFT, LOOK, MM_PER_PT, WIDTH, Paper
from dashboard.labels import shorten
from dashboard.look import TYPE_PT
from dashboard.power_tables import RangeRow
from dashboard.tables import Table

_SMALL = TYPE_PT["small"]
_ROW, _BAR, _FOOT = 8.4, 3.4, 6.0  # mm
_NAMES, _FIGURES = 52.0, 52.0  # mm left and right of the bars
_RANGE = 0.32  # opacity of a range's bar


def draw_power(paper: Paper, review: Review, units: UnitSet) -> None:
    """Set what the work may be worth and all that this rests on; compression stands by itself."""
    model = review.power
    if model is not None:
        rows = power_tables.range_rows(model)
        note = power_words.basis(model, units) if rows else ""
        paper.heading(power_words.TITLE, note, room=30.0 + (_ROW * len(rows) + _FOOT if rows else 0.0))
        paper.paragraph(power_words.answer(model, units), style=STRONG)
        if rows:
            paper.paragraph(words.CAVEAT, style=STRONG)
        for text in (power_words.anchor_line(model, units), *power_words.missing(model)):
            if text:
                paper.paragraph(text)
        if rows:
            _draw_ranges(paper, model, rows, units)
            _draw_what_it_rests_on(paper, review, model, rows, units)
    _draw_compression(paper, review, units)


def _draw_ranges(paper: Paper, model: PowerModel, rows: tuple[RangeRow, ...], units: UnitSet) -> None:
    """Draw a bar for each range on one scale: its ends, its middle as a tick, words beside it."""
    unit = label("power", units)
    height = _ROW * len(rows) + _FOOT
    paper.y += 2.0
    paper.need(height)
    low, high = power_tables.limits(rows, units)
    room = WIDTH - _NAMES - _FIGURES
    top = paper.y

    def across(value: float) -> float:
        return LEFT + _NAMES + (value - low) / ((high - low) or 1.0) * room

    said = "; ".join(f"{row.name} {power_words.cell(row.gain, units)}" for row in rows)
    with paper.tagged("Figure", f"Range of the gain near peak power, {unit}: {said}"):
        at = ticks(low, high, 5)
        for value in at:
            paper.set_draw_color(LOOK.rule_strong if value == 0 else LOOK.rule)
            paper.set_line_width(0.35 * MM_PER_PT)
            paper.line(across(value), top, across(value), top + height - _FOOT)
        for i, row in enumerate(rows):
            _draw_range(paper, row, top + _ROW * (i + 0.5), len(model.stages), across, units)
    texts = tick_texts(at, signed=True)
    texts[-1] += f" {unit}"
    with paper.tagged("P"):
        for value, text in zip(at, texts, strict=True):
            paper.line_of_text(
                across(value), top + height - 2.2, text, size=_SMALL, colour=LOOK.muted, align="centre"
            )
    paper.y = top + height


def _draw_range(
    paper: Paper, row: RangeRow, y: float, count: int, across: Callable[[float], float], units: UnitSet
) -> None:
    place = count - 1 if row.place is None else row.place
    colour = LOOK.line_colour(place, count)
    left, middle, right = (
        across(to_display(value, "power", units)) for value in vars(row.gain.gain_w).values()
    )
    if power_words.is_open(row.gain):
        with paper.local_context(draw_color=colour, line_width=0.3, dash_pattern=(0.8, 0.6, 0)):
            paper.rect(left, y - _BAR / 2, right - left, _BAR, style="D")
    else:
        with paper.local_context(fill_opacity=_RANGE, fill_color=colour):
            paper.rect(left, y - _BAR / 2, right - left, _BAR, style="F")
    paper.set_draw_color(colour)
    for x, points in ((left, 1.0), (right, 1.0), (middle, 2.0)):
        paper.set_line_width(points * MM_PER_PT)
        paper.line(x, y - _BAR / 2 - 0.4, x, y + _BAR / 2 + 0.4)
    size, style = TYPE_PT["table"], STRONG if row.place is None else REGULAR
    name_colour = LOOK.text if row.place is None else LOOK.text_colour(row.place, count)
    name = shorten(row.name, 28)
    paper.line_of_text(LEFT, y + 1.1, name, size=size, style=style, colour=name_colour)
    text = power_words.gain_text(row.gain, units)
    paper.line_of_text(LEFT + WIDTH, y + 1.1, text, size=size, style=style, align="right")


def _draw_what_it_rests_on(
    paper: Paper, review: Review, model: PowerModel, rows: tuple[RangeRow, ...], units: UnitSet
) -> None:
    whole = rows[-1]
    _draw_table(paper, "", power_tables.ranges(rows, review, units))
    paper.paragraph(power_words.SHARES_CAPTION, size=_SMALL, colour=LOOK.muted)
    title = power_words.parts_title(None if whole.place is None else whole.name)
    _draw_table(paper, title, power_tables.parts(whole.gain, units))
    paper.paragraph(power_words.PARTS_CAPTION, size=_SMALL, colour=LOOK.muted)
    _draw_table(paper, power_words.TAKEN_TITLE, power_tables.assumptions(model, units), small=True)
    for note in model.notes:
        paper.paragraph(note, size=_SMALL)
    paper.need(16.0)
    paper.y += 2.0
    paper.paragraph(power_words.LIMITS_TITLE, kind="H3", style=STRONG)
    for line in model.disclosures:
        paper.paragraph(f"– {line}", size=_SMALL)


def _draw_compression(paper: Paper, review: Review, units: UnitSet) -> None:
    paper.heading(power_words.LEDGER_TITLE, room=24.0)
    paper.paragraph(power_words.ledger_line(review))
    if not review.compression:
        return
    _draw_table(paper, "", power_tables.ledger(review.compression, units))
    base = review.compression[0].base
    paper.paragraph(power_words.LEDGER_CAPTION.format(base=base), size=_SMALL, colour=LOOK.muted)
    if deck := power_words.deck_line(review.compression, units):
        paper.paragraph(deck)
    if any(line.added_m3 > 0 for line in review.compression):
        paper.y += 0.8
        paper.paragraph(power_words.DECK_CAUTION, size=_SMALL)


def _draw_table(paper: Paper, title: str, table: Table, *, small: bool = False) -> None:
    size = _SMALL if small else TYPE_PT["table"]
    columns = fitted_columns(table.columns, natural_widths(paper, table.columns, table.rows, size), FULL)
    grid = Grid(paper, columns, [Row(row) for row in table.rows], size=size)
    paper.need(grid.room + (8.0 if title else 2.0))
    paper.y += 2.0
    if title:
        paper.paragraph(title, kind="H3", style=STRONG)
    grid.draw()
    paper.y += 1.4
