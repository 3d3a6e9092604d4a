"""The bench sheet in hand: its text, and that text with one more reading in it.

Figures stay as they were typed, but for a decimal comma. Lifts that are still to be read are
rows with blank cells, so that the file alone says what is left to do.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from core.files.log import Log, folded
from core.files.sheet import KEYS
from core.files.table import split
from core.files.text import UnreadableError, decode
from core.job import SIDES, Side
from core.written import MINUS, UnitError, number

_OF_ONE_SHEET = ("stage", "port", "date", "time", "order", "setup", "note", "role")


@dataclass(frozen=True)
class Row:
    """One lift with what was read there, as written; blank where nothing was."""

    lift: str
    intake: str = ""
    exhaust: str = ""

    def side(self, side: Side) -> str:
        """Return what was read on one side."""
        return getattr(self, side)


@dataclass(frozen=True)
class Hand:
    """A bench sheet as it is typed."""

    head: tuple[tuple[str, str], ...]  # keys and values, as written
    lift_unit: str
    units: tuple[tuple[Side, str], ...]  # of the sides that have a column
    rows: tuple[Row, ...]

    def value(self, key: str) -> str:
        """Return what stands behind a key, nothing where it is not there."""
        return dict(self.head).get(key, "")

    def unit(self, side: Side) -> str | None:
        """Return the unit of a side's column."""
        return dict(self.units).get(side)

    @property
    def lifts(self) -> tuple[str, ...]:
        """Return the lifts as written."""
        return tuple(row.lift for row in self.rows)

    def is_empty(self) -> bool:
        """Return whether nothing has been read yet."""
        return not any(row.side(side) for row in self.rows for side in SIDES)

    def text(self) -> str:
        """Return the text of its file."""
        stream = io.StringIO()
        table = csv.writer(stream, lineterminator="\n")
        table.writerow([f"lift [{self.lift_unit}]", *(f"{side} [{unit}]" for side, unit in self.units)])
        table.writerows([[row.lift, *(row.side(side) for side, _ in self.units)] for row in self.rows])
        return "".join(f"# {key}: {value}\n" for key, value in self.head) + stream.getvalue()

    # one change each ----------------------------------------------------------------------

    def stating(self, values: Mapping[str, str]) -> Hand:
        """Return the sheet with other values in its head; a blank one takes its line away."""
        head = {key: values.get(key, value) for key, value in self.head}
        head |= {key: value for key, value in values.items() if key not in head}
        rank = {key: place for place, key in enumerate(KEYS)}
        kept = [(key, " ".join(value.split())) for key, value in head.items() if value.strip()]
        return replace(self, head=tuple(sorted(kept, key=lambda one: rank.get(one[0], len(rank)))))

    def reading(self, lift: str, side: Side, figures: str) -> Hand:
        """Return the sheet with a reading put in or, with blank figures, taken out."""
        rows = [replace(row, **{side: figures}) if row.lift == lift else row for row in self.rows]
        return replace(self, rows=tuple(rows))

    def measured_in(self, side: Side, unit: str) -> Hand:
        """Return the sheet with a column for a side."""
        units = dict(self.units) | {side: unit}
        return replace(self, units=tuple((one, units[one]) for one in SIDES if one in units))

    def planned(self, lifts: Iterable[str]) -> Hand:
        """Return the sheet with rows for these lifts, and those in which something was read."""
        rows = {figure_of(row.lift): row for row in self.rows if row.intake or row.exhaust}
        for lift in lifts:
            rows.setdefault(figure_of(lift), Row(lift))
        return replace(self, rows=tuple(rows[figure] for figure in sorted(rows)))

    def for_another(self) -> Hand:
        """Return a sheet for the next set-up: the same conditions, units and lifts."""
        head = [(key, value) for key, value in self.head if key in KEYS and key not in _OF_ONE_SHEET]
        return replace(self, head=tuple(head), rows=tuple(Row(row.lift) for row in self.rows))

    def next_lift(self, side: Side, after: str | None = None) -> str | None:
        """Return the next lift to read: the first blank one above another, else the first of all."""
        lifts = list(self.lifts)
        start = lifts.index(after) + 1 if after in lifts else 0
        rows = [*self.rows[start:], *self.rows[:start]]
        return next((row.lift for row in rows if not row.side(side)), None)


def from_text(data: bytes) -> Hand | None:
    """Return the sheet that a file of this form holds; None where it is written in another way."""
    found = _read(data)
    return found if found is not None and found.text().encode() == data else None


def any_form(data: bytes) -> Hand | None:
    """Return what could be read of a file, whatever its form."""
    return _read(data)


def _read(data: bytes) -> Hand | None:
    try:
        table = split(decode(data), Log(""))
    except UnreadableError:
        return None
    if table is None:
        return None
    columns = {head.name: head for head in table.heads}
    lift = columns.get("lift")
    if lift is None or not lift.unit:
        return None
    units = tuple((side, columns[side].unit) for side in SIDES if side in columns and columns[side].unit)
    head = []
    for _, comment in table.comments:
        key, colon, value = comment.partition(":")
        if colon:
            head.append((folded(key), value.strip()))
    rows: dict[float, Row] = {}
    for _, cells in table.rows:
        cell = {
            name: cells[one.index].strip() if one.index < len(cells) else "" for name, one in columns.items()
        }
        try:
            figure = number(cell["lift"], fractions=True, decimal_comma=table.decimal_comma)
        except UnitError:
            return None
        rows.setdefault(figure, Row(plain(cell["lift"]), *(cell.get(side, "") for side in SIDES)))
    return Hand(tuple(head), lift.unit, units, tuple(rows[figure] for figure in sorted(rows)))


def figure_of(written: str) -> float:
    """Return the number that was written; lifts may be fractions."""
    return number(written, fractions=True)


def plain(figures: str) -> str:
    """Return typed figures as they go into a file: a point for a comma, an ordinary minus sign."""
    figures = figures.strip().replace(MINUS, "-")
    return figures if "." in figures else figures.replace(",", ".")
