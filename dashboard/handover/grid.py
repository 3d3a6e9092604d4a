"""Tables on paper: figures aligned at their decimal mark, verdicts beside or below, rows never cut."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from dashboard.handover.fonts import REGULAR, STRONG
from dashboard.handover.paper import LEFT, LOOK, MM_PER_PT, WIDTH, Paper
from dashboard.look import TYPE_PT
from dashboard.tables import Cell

# Where figures stand: at the column's right end, at its left end, with a verdict beside or below.
Kind = Literal["text", "right", "left", "beside", "below"]
Entry = str | Cell

GAP = 3.0  # between columns, mm
FULL = WIDTH + GAP  # columns of a full-width table add up to this: the last gap is in the margin
_SMALL = TYPE_PT["small"]
_HEAD = _SMALL + 0.6
_SMALLEST = 0.72  # how far a column's figures may shrink before they run into the next
_TOGETHER = 3  # last rows that stay on one page
_MOST_LINES = 12  # of one cell, far beyond any name that helps: a row has to fit a page
_WHOLE_PART = re.compile(r"[+−]?\d[\d\u202f]*")


@dataclass(frozen=True)
class Column:
    """One column: its heading, width in mm and what stands in it."""

    title: str
    width: float
    kind: Kind = "text"
    colour: str = LOOK.muted
    strong: bool = False


@dataclass(frozen=True)
class Row:
    """One row; ``shaded`` lies beyond the cam's lift, ``strong`` is the single figure."""

    entries: tuple[Entry, ...]
    strong: bool = False
    shaded: bool = False
    rule: Literal["", "light", "heavy"] = ""  # above it
    sample: int | None = None  # place of the stage whose line is drawn before the text


@dataclass(frozen=True)
class _Fit:
    """How a column's figures are set: type size, and widths before and after the decimal mark."""

    size: float
    whole: float = 0.0
    rest: float = 0.0

    @property
    def width(self) -> float:
        return self.whole + self.rest


def in_groups(count: int, most: int) -> list[slice]:
    """Split so many columns into as few groups as fit, of nearly equal size."""
    groups = -(-count // most)
    edges = [round(i * count / groups) for i in range(groups + 1)] if groups else []
    return [slice(a, b) for a, b in pairwise(edges)]


def natural_widths(
    paper: Paper, titles: Sequence[str], rows: Sequence[Sequence[str]], size: float
) -> list[float]:
    """Return the width that each column's longest text asks for; a heading may wrap between words."""
    return [
        max(
            *(paper.width_of(word, _HEAD) for word in title.split(" ")),
            *(paper.width_of(text, size) for text in column),
        )
        + GAP
        + 0.3
        for title, column in zip(titles, zip(*rows, strict=True), strict=True)
    ]


def fitted_columns(
    titles: Sequence[str], widths: Sequence[float], total: float, kind: Kind = "text"
) -> list[Column]:
    """Return columns as wide as asked for, with a share of the room left; else the widest give way."""
    cap = max(widths)
    while sum(min(width, cap) for width in widths) > total:
        cap -= 0.5
    spare = min((total - sum(min(width, cap) for width in widths)) / len(widths), 6.0)
    return [Column(title, min(width, cap) + spare, kind) for title, width in zip(titles, widths, strict=True)]


class Grid:
    """A table that knows its height before it is drawn.

    ``samples`` is the number of stages where rows begin with a sample of a stage's line.
    """

    def __init__(
        self,
        paper: Paper,
        columns: Sequence[Column],
        rows: Sequence[Row],
        *,
        size: float = TYPE_PT["table"],
        x: float = LEFT,
        samples: int = 0,
    ) -> None:
        self.paper, self.columns, self.rows, self.size, self.x = paper, columns, rows, size, x
        self.samples = samples
        self.step = size * MM_PER_PT * 1.29
        self.indent = 9.0 if samples else 0.0
        self.fits = [self._fit(i) for i in range(len(columns))]
        self.titles = [
            paper.wrapped(
                column.title,
                column.width - GAP,
                _HEAD,
                STRONG if column.strong else REGULAR,
                most=_MOST_LINES,
            )
            for column in columns
        ]
        self.heights = [self._height(row) for row in rows]

    @property
    def width(self) -> float:
        """Return the width without the last gap."""
        return sum(column.width for column in self.columns) - GAP

    @property
    def head_height(self) -> float:
        """Return the height of the heading row."""
        return max(len(lines) for lines in self.titles) * 3.5 + 3.0

    @property
    def height(self) -> float:
        """Return the height of the whole table on one page."""
        return self.head_height + sum(self.heights)

    @property
    def room(self) -> float:
        """Return what must be left on a page to begin the table there: all of it, if a page can hold it."""
        whole = self.height
        return whole if whole < 0.45 * self.paper.depth else self.head_height + sum(self.heights[:4])

    def draw(self) -> None:
        """Draw the table below what is there; on a new page its heading is repeated."""
        self.paper.need(self.room)
        self._draw_head()
        last = len(self.rows) - _TOGETHER
        for i, (row, height) in enumerate(zip(self.rows, self.heights, strict=True)):
            if self.paper.need(sum(self.heights[i:]) if i == last else height):
                self._draw_head()
            self._draw_row(row, height)

    # measuring ------------------------------------------------------------------------------

    def _fit(self, i: int) -> _Fit:
        column = self.columns[i]
        if column.kind == "text":
            return _Fit(self.size)
        parts = [(*_split(_number(row.entries[i])), _style(row)) for row in self.rows]
        figures = [part for part in parts if part[0]]
        whole = max((self.paper.width_of(a, self.size, style) for a, _, style in figures), default=0.0)
        rest = max((self.paper.width_of(b, self.size, style) for _, b, style in figures), default=0.0)
        words = max((self.paper.width_of(b, self.size, style) for a, b, style in parts if not a), default=0.0)
        rest = max(rest, words - whole)
        beside = self._beside(i) if column.kind == "beside" else 0.0
        scale = max(min(1.0, (column.width - GAP - beside) / ((whole + rest) or 1.0)), _SMALLEST)
        return _Fit(self.size * scale, whole * scale, rest * scale)

    def _beside(self, i: int) -> float:
        words = {row.entries[i].words for row in self.rows if isinstance(row.entries[i], Cell)}
        widest = max((self.paper.width_of(text, _SMALL) for text in words), default=0.0)
        return widest + 3.8 if widest else 0.0

    def _text_lines(self, i: int, row: Row) -> list[str]:
        indent = self.indent if i == 0 else 0.0
        room = self.columns[i].width - GAP - indent
        return self.paper.wrapped(str(row.entries[i]), room, self.size, _style(row), most=_MOST_LINES)

    def _height(self, row: Row) -> float:
        """Return a row's height: a line, or what its wrapped texts and verdicts below need."""
        lines = 1.0
        for i, (column, entry) in enumerate(zip(self.columns, row.entries, strict=True)):
            if column.kind == "text":
                lines = max(lines, len(self._text_lines(i, row)))
            elif column.kind == "below" and isinstance(entry, Cell):
                lines = max(lines, 1 + 0.86 * len(self._below(i, entry)))
        return self.step * (lines + (0.18 if lines == 1 and not self.samples else 0.5))

    def _below(self, i: int, cell: Cell) -> list[str]:
        """Return the small lines under a figure: its verdict, then its doubts."""
        room = self.columns[i].width - GAP
        doubts = [self.paper.wrapped(doubt, room, _SMALL, most=_MOST_LINES) for doubt in cell.doubts]
        lines = [line for doubt in doubts for line in doubt]
        return [cell.words, *lines] if cell.words else lines

    # drawing --------------------------------------------------------------------------------

    def _draw_head(self) -> None:
        paper, bottom, x = self.paper, self.paper.y + self.head_height, self.x
        with paper.tagged("P"):
            for column, lines in zip(self.columns, self.titles, strict=True):
                right = column.kind == "right"
                for n, line in enumerate(lines):
                    paper.line_of_text(
                        x + column.width - GAP if right else x,
                        bottom - 1.9 - 3.5 * (len(lines) - 1 - n),
                        line,
                        size=_HEAD,
                        style=STRONG if column.strong else REGULAR,
                        colour=column.colour,
                        align="right" if right else "left",
                    )
                x += column.width
        paper.rule(bottom - 0.3, x=self.x, width=self.width, strong=True)
        paper.y = bottom

    def _draw_row(self, row: Row, height: float) -> None:
        paper, x = self.paper, self.x
        if row.shaded:
            paper.set_fill_color(LOOK.beyond)
            paper.rect(self.x, paper.y, self.width, height, style="F")
        if row.rule:
            paper.rule(paper.y, x=self.x, width=self.width, strong=row.rule == "heavy")
        several = height > self.step * 1.3
        baseline = paper.y + self.step * (0.98 if several else 0.83)
        if row.sample is not None:
            paper.line_sample(self.x, baseline - 1.0, row.sample, self.samples)
        with paper.tagged("P"):
            for i, entry in enumerate(row.entries):
                if self.columns[i].kind == "text":
                    self._draw_text(i, row, x, baseline)
                else:
                    self._draw_figure(i, entry, row, x, baseline)
                x += self.columns[i].width
        paper.y += height

    def _draw_text(self, i: int, row: Row, x: float, baseline: float) -> None:
        colour, style, x = LOOK.text, _style(row), x + (self.indent if i == 0 else 0.0)
        if row.sample is not None and i == 0:
            colour = LOOK.text_colour(row.sample, self.samples)
            style = STRONG if row.sample == self.samples - 1 else style
        for n, line in enumerate(self._text_lines(i, row)):
            self.paper.line_of_text(
                x, baseline + n * self.step, line, size=self.size, style=style, colour=colour
            )

    def _draw_figure(self, i: int, entry: Entry, row: Row, x: float, baseline: float) -> None:
        column, fit, text = self.columns[i], self.fits[i], _number(entry)
        quiet = isinstance(entry, Cell) and entry.verdict not in ("clear gain", "clear loss")
        colour = LOOK.muted if quiet or row.shaded else LOOK.text
        start = x + column.width - GAP - fit.width if column.kind == "right" else x
        before = self.paper.width_of(_split(text)[0], fit.size, _style(row))
        shift = fit.whole - before if before else 0.0
        self.paper.line_of_text(
            start + shift, baseline, text, size=fit.size, style=_style(row), colour=colour
        )
        if not isinstance(entry, Cell):
            return
        if column.kind == "beside" and entry.verdict:
            self._draw_verdict(entry.verdict, entry.words, start + fit.width + 1.6, baseline, colour)
        elif column.kind == "below":
            for n, line in enumerate(self._below(i, entry), start=1):
                below = baseline + n * self.step * 0.86
                if n == 1 and entry.verdict:
                    self._draw_verdict(entry.verdict, line, start, below, colour)
                else:
                    self.paper.line_of_text(start, below, line, size=_SMALL, colour=LOOK.muted)

    def _draw_verdict(self, verdict: str, words: str, x: float, baseline: float, colour: str) -> None:
        self.paper.verdict_mark(verdict, x, baseline, size=_SMALL, colour=colour)
        self.paper.line_of_text(x + 2.2, baseline, words, size=_SMALL, colour=colour)


def _number(entry: Entry) -> str:
    return entry.number if isinstance(entry, Cell) else entry


def _style(row: Row) -> str:
    return STRONG if row.strong else REGULAR


def _split(text: str) -> tuple[str, str]:
    """Return a figure before and from its decimal mark; words stand wholly after it."""
    match = _WHOLE_PART.match(text)
    if match:
        return match.group(), text[match.end() :]
    return (text, "") if len(text) == 1 else ("", text)
