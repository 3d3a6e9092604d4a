"""The shape of a spreadsheet: the same for the next one off the same form."""

from __future__ import annotations

import hashlib
from dataclasses import fields

from core.files.spreadsheet.amounts import amount
from core.files.spreadsheet.find import find_tables
from core.files.spreadsheet.grid import Book, Cell
from core.files.spreadsheet.headings import heading
from core.files.spreadsheet.view import Table


def signature(book: Book) -> str:
    """Return the shape of a spreadsheet: where its tables are and what its headings say but for names.

    Parameters
    ----------
    book : Book
        The spreadsheet.

    Returns
    -------
    str
        Twelve hexadecimal digits.
    """
    parts = []
    for i, sheet in enumerate(book.sheets):
        if not sheet.hidden:
            parts += [(i, *_shape(table)) for table in find_tables(sheet)]
    return hashlib.sha256(repr(parts).encode("utf-8")).hexdigest()[:12]


def _shape(table: Table) -> tuple[object, ...]:
    columns = [
        (column - table.lift, tuple(_kinds(level.text) for level in table.levels(column)))
        for column in table.columns
    ]
    return table.grid.turned, table.lift, table.rows[0], _kinds_over(table), tuple(columns)


def _kinds_over(table: Table) -> tuple[object, ...]:
    return tuple(_kinds(level.text) for level in table.levels(table.lift))


def _kinds(text: str) -> tuple[object, ...]:
    """Return what a heading says, without the name in it."""
    if amount(Cell("text", text)).kind != "text":
        return ("a number",)
    found = heading(text)
    left_out = ("text", "name", "pressure", "bare_pressure", "corrected_to", "port", "run", "setup")
    said = tuple((f.name, getattr(found, f.name)) for f in fields(found) if f.name not in left_out)
    return (*said, bool(found.name))
