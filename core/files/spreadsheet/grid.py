"""A spreadsheet as plain cells: what stands where, and nothing that could run, grow or call out."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

CellKind = Literal["text", "number", "percent", "date", "unread"]
Area = tuple[int, int, int, int]  # first row and column, last row and column, counted from 0


@dataclass(frozen=True)
class Cell:
    """One cell that is not blank. Formulas are their stored values."""

    kind: CellKind
    text: str  # as a person would read it
    number: float | None = None  # of a number or a percentage; 0.62 for "62 %"
    date: dt.date | None = None


Row = tuple[Cell | None, ...]


@dataclass(frozen=True)
class Grid:
    """One sheet. All rows are of one length."""

    name: str
    rows: tuple[Row, ...]
    merged: tuple[Area, ...] = ()
    hidden: bool = False
    turned: bool = False  # rows and columns have changed places

    @property
    def width(self) -> int:
        """Return how many columns there are."""
        return len(self.rows[0]) if self.rows else 0

    def at(self, row: int, column: int) -> Cell | None:
        """Return a cell; None beyond the edges, too."""
        if 0 <= row < len(self.rows) and 0 <= column < self.width:
            return self.rows[row][column]
        return None

    def turn(self) -> Grid:
        """Return the sheet with rows and columns exchanged."""
        merged = tuple((c0, r0, c1, r1) for r0, c0, r1, c1 in self.merged)
        rows = tuple(zip(*self.rows, strict=True))
        return Grid(self.name, rows, merged, self.hidden, not self.turned)

    def place(self, row: int, column: int) -> str:
        """Return a cell's address as the spreadsheet shows it, for example ``B7``."""
        if self.turned:
            row, column = column, row
        return f"{letters(column)}{row + 1}"

    def line(self, column: int) -> str:
        """Return what to call a line of readings: ``column B``, or ``row 2`` in a turned sheet."""
        return f"row {column + 1}" if self.turned else f"column {letters(column)}"

    def texts(self) -> Iterator[tuple[int, int, Cell]]:
        """Yield every cell that is not blank, with its row and column."""
        for r, row in enumerate(self.rows):
            for c, cell in enumerate(row):
                if cell is not None:
                    yield r, c, cell


@dataclass(frozen=True)
class Book:
    """A whole spreadsheet file, or a pasted block."""

    name: str
    sheets: tuple[Grid, ...]


def letters(column: int) -> str:
    """Return a column's letters.

    Parameters
    ----------
    column : int
        Counted from 0.

    Returns
    -------
    str
        ``A``, ``B`` ... ``AA``.
    """
    text = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        text = chr(65 + rest) + text
    return text


def make_grid(
    name: str, cells: dict[tuple[int, int], Cell], merged: tuple[Area, ...] = (), hidden: bool = False
) -> Grid:
    """Return a sheet from the cells that are not blank.

    Parameters
    ----------
    name : str
        Of the sheet.
    cells : dict of (int, int) to Cell
        By row and column, counted from 0.
    merged : tuple of Area
        Cells that are merged.
    hidden : bool
        Whether the sheet is hidden.

    Returns
    -------
    Grid
        As large as its last cell.
    """
    height = 1 + max((r for r, _ in cells), default=-1)
    width = 1 + max((c for _, c in cells), default=-1)
    rows = tuple(tuple(cells.get((r, c)) for c in range(width)) for r in range(height))
    return Grid(name, rows, tuple(m for m in merged if m[0] < height and m[1] < width), hidden)


def number_text(value: float) -> str:
    """Return a stored number without the rubble of binary fractions.

    Parameters
    ----------
    value : float
        As stored.

    Returns
    -------
    str
        Up to 15 figures, as spreadsheets show them.
    """
    text = f"{value:.15g}"
    if "e" in text:
        text = f"{value:.20f}".rstrip("0").rstrip(".") if abs(value) < 1 else f"{value:.0f}"
    return text
