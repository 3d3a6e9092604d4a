"""Text to a table: comment lines, column heads with their units, and rows of cells with line numbers."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

from core.files.fields import LONGEST_NAME
from core.files.log import Log
from core.units import UnitError, number, quoted

MAX_ROWS = 5_000
MAX_COLUMNS = 100
BLANKS = frozenset({"", "-", "\u2013", "\u2014", "\u2212"})

_HEAD = re.compile(r"(.*?)\s*[\[(]\s*(.*?)\s*[\])]")
_UNIT = re.compile(r"[\[(].*?[\])]")
_COMMA_DECIMAL = re.compile(r"[+\-\u2212]?(?:\d{4,},\d+|0*,\d+|0\d*,\d+|\d+,(?:\d{1,2}|\d{4,}))", re.ASCII)
_POINT_DECIMAL = re.compile(
    r"[+\-\u2212]?(?:\d{4,}\.\d+|0*\.\d+|0\d*\.\d+|\d+\.(?:\d{1,2}|\d{4,}))", re.ASCII
)
_KEY_WITHOUT_MARK = re.compile(r"[^\W\d][\w ]*:\s")
_WORD = re.compile(r"[^\W\d_]{3}")
_DIGIT = re.compile(r"\d")
_PLAIN_COLUMN = re.compile(r"(?:(?:\d{1,9}(?:\.\d{0,9})?|\.\d{1,9})?\n)*", re.ASCII)

_REMARK = "A remark belongs below the table, or behind a '#'."

Row = tuple[int, list[str]]


@dataclass(frozen=True)
class Head:
    """One column: its head as written, the name in it and the unit in its brackets."""

    index: int
    text: str
    name: str
    unit: str | None


@dataclass(frozen=True)
class Table:
    """A sheet, split but not yet understood."""

    comments: list[tuple[int, str]]
    heads: list[Head]
    header_line: int
    rows: list[Row]
    trailing: list[tuple[int, str]]
    decimal_comma: bool


def split(text: str, log: Log) -> Table | None:
    """Split a sheet's text into its parts.

    Parameters
    ----------
    text : str
        The whole file.
    log : Log
        Takes problems.

    Returns
    -------
    Table or None
        The parts; None, with a problem in the log, where there is no table.
    """
    comments, body, numbers = [], [], []
    delimiter = ""
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    for line_number, line in enumerate(lines, start=1):
        content = line.strip(" \t,;\u00a0")
        if not content:
            continue
        if content.startswith(("#", '"#')):
            comments.append((line_number, _comment(content)))
        elif not body and _KEY_WITHOUT_MARK.match(content):
            text = f"{quoted(content)} stands outside the table."
            log.problem(text, "Begin such a line with '#'.", line_number)
        elif not body and line.lower().startswith("sep=") and len(line.strip()) == 5:
            delimiter = line.strip()[4]  # written by some spreadsheets
        else:
            body.append(line)
            numbers.append(line_number)
    if not body:
        log.problem(
            "There is no table.", "Write column heads such as 'lift [mm],intake [L/s]' and rows below."
        )
        return None
    delimiter = delimiter or _delimiter(body[0])
    records = _records(body, numbers, delimiter, log)
    if records is None:
        return None
    header_line, cells = records[0]
    heads = [
        _head(i, cell) if len(cell) <= LONGEST_NAME else _head.__wrapped__(i, cell)
        for i, cell in enumerate(cells)
    ]
    while heads and not heads[-1].text:
        heads.pop()
    rows = records[1:]
    trailing: list[tuple[int, str]] = []
    while len(rows) > 1 and _is_prose(rows[-1][1]):
        line_number, cells = rows.pop()
        trailing.insert(0, (line_number, f"{delimiter} ".join(c.strip() for c in cells if c.strip())))
    comma = delimiter != "," and uses_decimal_comma(cell for _, row in rows for cell in row)
    if not _fits(heads, header_line, rows, log):
        return None
    return Table(comments, heads, header_line, rows, trailing, comma)


def _comment(content: str) -> str:
    if content.startswith('"'):
        content = next(csv.reader([content]))[0]
    return content.lstrip("#").strip()


def _delimiter(header: str) -> str:
    outside = _UNIT.sub("", header)
    return next((mark for mark in "\t;," if mark in outside), ",")


def _records(body: list[str], numbers: list[int], delimiter: str, log: Log) -> list[Row] | None:
    records: list[Row] = []
    reader = csv.reader(body, delimiter=delimiter, strict=True)
    start = 0
    try:
        for cells in reader:
            records.append((numbers[start], cells))
            start = reader.line_num
    except csv.Error as error:
        what = "a quotation mark is not closed" if "unexpected end" in str(error) else str(error)
        log.problem(f"The table cannot be split into cells: {what}.", "Mend the line.", numbers[start])
        return None
    return records


# The sheets of a job have much the same heads: what is short is not worked out twice.
@lru_cache(maxsize=1024)
def _head(index: int, cell: str) -> Head:
    text = " ".join(cell.split())
    match = _HEAD.fullmatch(text)
    if match:
        return Head(index, text, match[1].casefold(), match[2] or None)
    return Head(index, text, text.casefold(), None)


def _is_prose(cells: list[str]) -> bool:
    """Tell a note under the table from a row of readings with a slip in it."""
    return not any(_DIGIT.search(cell) and not _WORD.search(cell) for cell in cells)


def uses_decimal_comma(cells: Iterable[str]) -> bool:
    """Tell whether a table as a whole writes decimal commas, by cells that can be nothing else.

    Parameters
    ----------
    cells : iterable of str
        All its cells.

    Returns
    -------
    bool
        Whether some can only be so, and none only with a decimal point.
    """
    marked = [cell.strip() for cell in cells if "," in cell or "." in cell]
    return any(map(_COMMA_DECIMAL.fullmatch, marked)) and not any(map(_POINT_DECIMAL.fullmatch, marked))


def _fits(heads: list[Head], header_line: int, rows: list[Row], log: Log) -> bool:
    if len(rows) > MAX_ROWS or len(heads) > MAX_COLUMNS:
        log.problem(
            f"The table has {len(rows)} rows and {len(heads)} columns; "
            f"up to {MAX_ROWS} and {MAX_COLUMNS} are read.",
            "Split it, or check that it is the right file.",
        )
        return False
    if endless := [head for head in heads if len(head.text) > LONGEST_NAME]:
        text = f"The head of column {endless[0].index + 1} is {quoted(endless[0].text)} and so on."
        log.problem(text, f"A head has up to {LONGEST_NAME} characters: a name, and its unit.", header_line)
        return False
    width = len(heads)
    wide = [(n, len(cells)) for n, cells in rows if len(cells) > width and any(map(str.strip, cells[width:]))]
    if wide:
        line, count = wide[0]
        others = f" (likewise lines {', '.join(str(n) for n, _ in wide[1:4])})" if len(wide) > 1 else ""
        log.problem(
            f"This row has {count} cells, but there are {len(heads)} column heads{others}.",
            "Take the surplus away, or give it a head; a decimal comma needs ';' between cells.",
            line,
        )
    return True


def cells_of(head: Head, table: Table) -> list[str]:
    """Return one column's cells.

    Parameters
    ----------
    head : Head
        The column.
    table : Table
        The table that it stands in.

    Returns
    -------
    list of str
        A cell a row, blank where a row is short.
    """
    i = head.index
    return [cells[i].strip() if i < len(cells) else "" for _, cells in table.rows]


def numbers_of(
    head: Head, table: Table, scale: float, offset: float, log: Log, *, fractions: bool = False
) -> list[float | None]:
    """Return one column's numbers in SI.

    Parameters
    ----------
    head : Head
        The column.
    table : Table
        The table that it stands in.
    scale, offset : float
        To SI: ``number * scale + offset``.
    log : Log
        Takes cells that are no numbers.
    fractions : bool
        Read ``3/16`` as well.

    Returns
    -------
    list of (float or None)
        A number a row; None where the cell is blank, nan where it is in the log.
    """
    cells = cells_of(head, table)
    if not table.decimal_comma and _PLAIN_COLUMN.fullmatch("\n".join(cells) + "\n"):
        return [float(cell) * scale + offset if cell else None for cell in cells]  # nothing to doubt in it
    values: list[float | None] = []
    for (line, _), cell in zip(table.rows, cells, strict=True):
        if cell in BLANKS:
            values.append(None)
            continue
        try:
            value = number(cell, fractions=fractions, decimal_comma=table.decimal_comma)
        except UnitError as error:
            log.problem(
                error.text, _REMARK if _WORD.search(cell) and " " in cell else error.cure, line, head.text
            )
            value = math.nan  # keeps its place, compares with nothing
        values.append(value * scale + offset)
    return values
