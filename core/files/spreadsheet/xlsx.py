"""XLSX files to plain cells: openpyxl, read-only, over a file that the guard has seen through."""

from __future__ import annotations

import datetime as dt
import re
import warnings

import openpyxl
from openpyxl.worksheet._read_only import ReadOnlyWorksheet

from core.files.spreadsheet.grid import Cell, Grid, make_grid, number_text
from core.files.spreadsheet.guard import Archive, SheetScan
from core.files.text import UnreadableError

_QUOTED = re.compile(r'"[^"]*"|\\.|\[[^\]]*\]')


def read_xlsx(archive: Archive) -> tuple[Grid, ...]:
    """Return the sheets of an XLSX file.

    Parameters
    ----------
    archive : Archive
        A file that may be opened.

    Returns
    -------
    tuple of Grid
        Formulas as their stored values; charts and macros are no cells.

    Raises
    ------
    UnreadableError
        If it is damaged inside.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of styles and extensions that no reading needs
            book = openpyxl.load_workbook(archive.zip.fp, read_only=True, data_only=True, keep_links=False)
            return tuple(_grid(sheet, archive) for sheet in book.worksheets)
    except UnreadableError:
        raise
    except Exception as error:  # a damaged part may fail anywhere inside the library
        raise UnreadableError(
            f"The spreadsheet is damaged inside ({type(error).__name__}: {str(error)[:80]}).",
            "Open it in a spreadsheet program and save it anew.",
        ) from None


def _grid(sheet: ReadOnlyWorksheet, archive: Archive) -> Grid:
    scan = archive.scans.get(sheet._worksheet_path)
    if scan is None:
        raise UnreadableError("A sheet lies where none belongs.", "Save the file anew.")
    cells: dict[tuple[int, int], Cell] = {}
    if scan.rows:
        for row in sheet.iter_rows(max_row=scan.rows, max_col=scan.columns):
            for one in row:
                if one.value is not None and (cell := _cell(one.value, one.number_format)):
                    cells[one.row - 1, one.column - 1] = cell
    for row, column in scan.without_value:
        text = "a formula without a stored value"
        cells[row - 1, column - 1] = Cell("unread", text)
    return make_grid(sheet.title, cells, _merged(scan), sheet.sheet_state != "visible")


def _merged(scan: SheetScan) -> tuple[tuple[int, int, int, int], ...]:
    return tuple((r0 - 1, c0 - 1, r1 - 1, c1 - 1) for r0, c0, r1, c1 in scan.merged)


def _cell(value: object, number_format: str) -> Cell | None:
    if isinstance(value, bool):
        return Cell("text", "yes" if value else "no")
    if isinstance(value, (int, float)):
        if "%" in _QUOTED.sub("", number_format or ""):
            return Cell("percent", f"{number_text(value * 100)} %", float(value))
        return Cell("number", number_text(value), float(value))
    if isinstance(value, dt.datetime):
        return Cell("date", value.date().isoformat(), date=value.date())
    if isinstance(value, dt.date):
        return Cell("date", value.isoformat(), date=value)
    if isinstance(value, (dt.time, dt.timedelta)):
        return Cell("date", str(value))
    text = str(value).strip()
    if text.startswith("#") and text.rstrip("!?").isupper():
        return Cell("unread", text)  # #DIV/0!, #VALUE!, #REF!
    return Cell("text", text) if text else None
