"""ODS files to plain cells, read element by element: a repeat count is never multiplied out.

No library does this within bounds: those for ODS build every repeated row, and a blank sheet
states a million of them.
"""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Iterator
from dataclasses import dataclass, field
from xml.etree.ElementTree import Element

from defusedxml.ElementTree import iterparse

from core.files.spreadsheet.grid import Area, Cell, Grid, make_grid, number_text
from core.files.spreadsheet.guard import MAX_CELLS, MAX_COLUMNS, MAX_ROWS, Archive, refuse_far, refuse_many
from core.files.text import UnreadableError

_NAMESPACE = "urn:oasis:names:tc:opendocument:xmlns:"
_TABLE, _OFFICE, _TEXT, _STYLE = (f"{{{_NAMESPACE}{n}:1.0}}" for n in ("table", "office", "text", "style"))
_CALCULATED_TYPE = "{urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0}value-type"
_CELLS = (f"{_TABLE}table-cell", f"{_TABLE}covered-table-cell")
_NO_ROW = 1 << 40


@dataclass
class _Sheet:
    name: str
    hidden: bool
    cells: dict[tuple[int, int], Cell] = field(default_factory=dict)
    merged: list[Area] = field(default_factory=list)
    row: int = 0


def read_ods(archive: Archive) -> tuple[Grid, ...]:
    """Return the sheets of an ODS file.

    Parameters
    ----------
    archive : Archive
        A file that may be opened.

    Returns
    -------
    tuple of Grid
        Formulas as their stored values.

    Raises
    ------
    UnreadableError
        If a cell lies too far out, or the file is damaged inside.
    """
    try:
        content = io.BytesIO(archive.zip.read("content.xml"))
        return tuple(
            make_grid(sheet.name, sheet.cells, tuple(sheet.merged), sheet.hidden)
            for sheet in _sheets(content)
        )
    except UnreadableError:
        raise
    except Exception as error:  # whatever a damaged part may cause
        raise UnreadableError(
            f"The spreadsheet is damaged inside ({type(error).__name__}: {str(error)[:80]}).",
            "Open it in a spreadsheet program and save it anew.",
        ) from None


def _sheets(content: io.BytesIO) -> Iterator[_Sheet]:
    hidden_styles: set[str | None] = set()
    stack: list[_Sheet] = []  # a sheet within a sheet is drawn inside a cell, and is left alone
    total = 0
    for event, element in iterparse(content, events=("start", "end"), forbid_dtd=True):
        if event == "start":
            if element.tag == f"{_TABLE}table":
                name, style = element.get(f"{_TABLE}name", "sheet"), element.get(f"{_TABLE}style-name")
                stack.append(_Sheet(name, style in hidden_styles))
        elif element.tag == f"{_STYLE}style":
            properties = element.find(f"{_STYLE}table-properties")
            if properties is not None and properties.get(f"{_TABLE}display") == "false":
                hidden_styles.add(element.get(f"{_STYLE}name"))
        elif element.tag == f"{_TABLE}table-row" and stack:
            _add_row(stack[-1], element)
            element.clear()
        elif element.tag == f"{_TABLE}table" and stack:
            sheet = stack.pop()
            element.clear()
            total += len(sheet.cells)
            if total > MAX_CELLS:
                refuse_many()
            if not stack:
                yield sheet


def _add_row(sheet: _Sheet, element: Element) -> None:
    repeated = _count(element, "number-rows-repeated")
    column = 0
    found: list[tuple[int, Cell]] = []
    for one in element:
        if one.tag not in _CELLS:
            continue
        across = _count(one, "number-columns-repeated")
        cell = _cell(one) if one.tag == _CELLS[0] else None
        if cell is not None:
            if column + across > MAX_COLUMNS or sheet.row + repeated > MAX_ROWS:
                refuse_far(sheet.row + repeated, column + across)
            found += [(c, cell) for c in range(column, column + across)]
        down, wide = _count(one, "number-rows-spanned"), _count(one, "number-columns-spanned")
        if (down > 1 or wide > 1) and cell is not None:
            sheet.merged.append((sheet.row, column, sheet.row + down - 1, column + wide - 1))
        column += across
    for row in range(sheet.row, sheet.row + repeated) if found else ():
        for column, cell in found:
            sheet.cells[row, column] = cell
    if len(sheet.cells) > MAX_CELLS:
        refuse_many()
    sheet.row = min(sheet.row + repeated, _NO_ROW)


def _count(element: Element, name: str) -> int:
    count = int(element.get(f"{_TABLE}{name}", "1"))
    if not 1 <= count <= _NO_ROW:
        raise ValueError(f"{name} is {count}")
    return count


def _cell(element: Element) -> Cell | None:
    kind = element.get(f"{_OFFICE}value-type")
    text = "\n".join(_words(p) for p in element.findall(f"{_TEXT}p")).strip()
    if element.get(_CALCULATED_TYPE) == "error":
        return Cell("unread", text or "an error")
    if kind in ("float", "currency"):
        value = float(element.get(f"{_OFFICE}value", ""))
        return Cell("number", number_text(value), value)
    if kind == "percentage":
        value = float(element.get(f"{_OFFICE}value", ""))
        return Cell("percent", f"{number_text(value * 100)} %", value)
    if kind == "date":
        stated = element.get(f"{_OFFICE}date-value", "")[:10]
        return Cell("date", stated, date=dt.date.fromisoformat(stated))
    if kind == "time":
        return Cell("date", text)
    if kind is None and element.get(f"{_TABLE}formula") and not text:
        return Cell("unread", "a formula without a stored value")
    return Cell("text", text) if text else None


def _words(paragraph: Element) -> str:
    """Return a paragraph's text without the comments that hang on it."""
    parts = [paragraph.text or ""]
    for one in paragraph:
        if one.tag in (f"{_TEXT}s", f"{_TEXT}tab", f"{_TEXT}line-break"):
            parts.append(" ")
        elif one.tag != f"{_OFFICE}annotation":
            parts.append(_words(one))
        parts.append(one.tail or "")
    return "".join(parts)
