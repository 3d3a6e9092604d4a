"""Any spreadsheet's bytes to plain cells, or one sentence that says why not."""

from __future__ import annotations

import csv
import re

from core.files.spreadsheet.grid import Book, Cell, Grid, make_grid
from core.files.spreadsheet.guard import (
    MAX_CELLS,
    MAX_COLUMNS,
    MAX_ROWS,
    PLAIN,
    is_archive,
    open_archive,
    refuse_far,
    refuse_many,
    refuse_old,
    suffix_of,
)
from core.files.spreadsheet.ods import read_ods
from core.files.spreadsheet.xlsx import read_xlsx
from core.files.text import UnreadableError, decode

_LONGEST_LINE = 20_000  # characters
_TEXT_SUFFIXES = ("", ".csv", ".tsv", ".txt")
_NUMBER_LIKE = re.compile(r"[+\-\u2212]?[\d.,]*\d\.?(?:\s*[^\s\d.,;]{1,6})?|\d+/\d+\"?")


def read_grid(name: str, data: bytes) -> Book:
    """Read a spreadsheet: CSV, XLSX, ODS, or a block that was pasted.

    Parameters
    ----------
    name : str
        Name of the file, whose suffix must be true; one without a suffix is text. It is
        never opened as a path.
    data : bytes
        The whole file, or the pasted text in UTF-8.

    Returns
    -------
    Book
        Its sheets as plain cells.

    Raises
    ------
    UnreadableError
        If it is not one of these, is damaged, or holds what no reading needs: why, and the cure.
    """
    suffix = suffix_of(name)
    if not data:
        raise UnreadableError("The file is empty.", "Check that it was saved.")
    refuse_old(data)
    if suffix in (".xlsm", ".xltm", ".xlsb", ".xls", ".fods"):
        raise UnreadableError(f"Files that end in {suffix} are not read.", PLAIN)
    if is_archive(data):
        archive = open_archive(data)
        if suffix != f".{archive.kind}":
            text = f"The file ends in '{suffix}', but holds an {archive.kind.upper()} spreadsheet."
            raise UnreadableError(text, f"If it is what you meant, rename it to .{archive.kind}.")
        sheets = read_xlsx(archive) if archive.kind == "xlsx" else read_ods(archive)
        return _not_blank(Book(name, sheets))
    if suffix in (".xlsx", ".ods"):
        text = f"The file ends in '{suffix}', but is no such spreadsheet: it is damaged, or of another kind."
        raise UnreadableError(text, "Save it anew in a spreadsheet program.")
    if suffix not in _TEXT_SUFFIXES:
        raise UnreadableError(f"Files that end in '{suffix[:12]}' are not read.", PLAIN)
    return _not_blank(Book(name, (_text_grid(decode(data)),)))


def _not_blank(book: Book) -> Book:
    if not any(sheet.rows for sheet in book.sheets):
        raise UnreadableError("There is nothing in the spreadsheet.", "Check that it is the right file.")
    return book


def _text_grid(text: str) -> Grid:
    lines = re.split(r"\r\n|\r|\n", text)
    while lines and not lines[-1].strip():
        lines.pop()
    if len(lines) > MAX_ROWS:
        refuse_far(len(lines), 1)
    if max(map(len, lines), default=0) > _LONGEST_LINE:
        raise UnreadableError(
            "A line has more cells than a table of readings.", "Check that it is the right file."
        )
    rows = max((_split(lines, mark) for mark in _marks(lines)), key=_worth)
    cells: dict[tuple[int, int], Cell] = {}
    for r, row in enumerate(rows):
        for c, content in enumerate(row):
            content = " ".join(content.split())
            if content:
                if c >= MAX_COLUMNS:
                    refuse_far(r + 1, c + 1)
                cells[r, c] = Cell("text", content)
    if len(cells) > MAX_CELLS:
        refuse_many()
    return make_grid("", cells)


def _marks(lines: list[str]) -> list[str]:
    """Return what may separate cells, the likeliest first."""
    if lines and lines[0].lower().startswith("sep=") and len(lines[0].strip()) == 5:
        mark = lines[0].strip()[4]
        lines[0] = ""
        return [mark]
    filled = [line for line in lines if line.strip()]
    clear = [mark for mark in "\t;|" if sum(mark in line for line in filled) * 2 >= len(filled)]
    return clear or ["\t", ";", ",", "|", "  "]


def _split(lines: list[str], mark: str) -> list[list[str]]:
    if mark == "  ":
        return [_words(line) for line in lines]
    try:
        # a quotation mark may close on a later line; the rows of the sheet count from 1 all the same
        return list(csv.reader(lines, delimiter=mark, strict=False))
    except csv.Error:
        return [line.split(mark) for line in lines]


def _words(line: str) -> list[str]:
    """Split where at least two spaces stand, or at every space in a row of bare figures."""
    line = line.strip()
    words = line.split()
    if words and sum(map(_is_figure, words)) >= max(2, len(words) - 1):
        return words
    return re.split(r"\s{2,}", line)


def _is_figure(text: str) -> bool:
    return bool(_NUMBER_LIKE.fullmatch(text))


def _worth(rows: list[list[str]]) -> tuple[int, int]:
    """Rate one way to split: by the rows that it splits into figures, and how alike those are."""
    counts: dict[int, int] = {}
    for row in rows:
        figures = [cell.strip() for cell in row if cell.strip()]
        if len(figures) >= 2 and sum(map(_is_figure, figures)) >= 2:
            width = len(row)
            counts[width] = counts.get(width, 0) + 1
    return (max(counts.values(), default=0), -len(counts))
