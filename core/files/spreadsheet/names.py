"""Which stage each line is: the words that tell lines apart, else those that stand over all of them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import PurePosixPath

from core.files.spreadsheet.amounts import amount
from core.files.spreadsheet.find import Table
from core.files.spreadsheet.grid import Cell
from core.files.spreadsheet.headings import Heading, heading
from core.files.spreadsheet.lines import Found

_GENERIC = re.compile(
    r"(?:sheet|tabelle|feuil|blad|ark|foglio|hoja|table|data|flow|results?)?\s*\d*", re.IGNORECASE
)
_STAGE_LABEL = re.compile(
    r"^\s*(?:stage|modification|condition|version|work|step)\s*[:=]\s*(.+)$", re.IGNORECASE
)
_OTHER_LABEL = re.compile(r"^[^:=]{1,30}[:=]\s*\S", re.DOTALL)
_MOST_WORDS = 6  # of a title that may be a stage's name


def name_lines(lines: Sequence[Found]) -> None:
    """Give each line the name that the headings over it say.

    Parameters
    ----------
    lines : sequence of Found
        The readings of one table; their stage is filled in where headings name one.
    """
    rows = sorted({level.row for line in lines for level in line.levels}, reverse=True)
    names = {row: [_name_at(line, row) for line in lines] for row in rows}
    telling = [row for row in rows if len(set(names[row])) > 1]
    shared = [row for row in rows if row not in telling and names[row][0]]
    for i, line in enumerate(lines):
        parts = [(row, names[row][i]) for row in telling if names[row][i]]
        if parts and all(_is_number(name) for _, name in parts):
            line.numbered = True
        parts = [(row, name) for row, name in parts if not _is_number(name) or len(parts) == 1]
        parts = list(reversed(dict((name, row) for row, name in parts).items()))
        if parts:
            line.stage = ", ".join(name for name, _ in parts)
            line.stage_reason = f"its heading says '{line.stage}'"
            if len(parts) > 1:
                line.stage_sure = False
                line.stage_reason = f"two heading rows tell it apart: '{line.stage}'"
        elif shared and not telling:
            line.stage = names[shared[0]][i]
            line.stage_reason = f"the heading over all lines says '{line.stage}'"


def _name_at(line: Found, row: int) -> str:
    for level, words in zip(line.levels, line.words, strict=True):
        if level.row == row:
            is_date = amount(Cell("text", level.text)).kind == "date"
            return "" if is_date else words.name
    return ""


def _is_number(name: str) -> bool:
    return bool(re.fullmatch(r"\d{1,2}|[A-D]", name))


def table_names(tables: Sequence[Table]) -> list[tuple[str, bool]]:
    """Return for each table the stage that its own titles name, and whether they say so outright.

    Parameters
    ----------
    tables : sequence of Table
        Of one sheet.

    Returns
    -------
    list of (str, bool)
        Empty where a table's titles name none that other tables have not.
    """
    stated = [
        next((m[1].strip() for t in table.titles if (m := _STAGE_LABEL.match(t))), "") for table in tables
    ]
    candidates = [[name for text in table.titles if (name := _title_name(text))] for table in tables]
    found = []
    for i, own in enumerate(candidates):
        others = {name for j, names in enumerate(candidates) if j != i for name in names}
        name = next((name for name in own if name not in others), "")
        if len(tables) > 1 and not name:
            name = ""
        found.append((stated[i], True) if stated[i] else (name, False))
    return found


def _title_name(text: str) -> str:
    """Return what a title may name a stage by; a remark and a label with its value name none."""
    if _OTHER_LABEL.match(text) or len(text.split()) > _MOST_WORDS + 4:
        return ""
    words: Heading = heading(text)
    name = words.name
    return name if name and len(name.split()) <= _MOST_WORDS and not _is_number(name) else ""


def sheet_name(name: str) -> str:
    """Return the stage that a sheet's name may be, empty for "Sheet1" and the like.

    Parameters
    ----------
    name : str
        Of the sheet.

    Returns
    -------
    str
        Without the words for side and port.
    """
    found = heading(name).name
    return "" if _GENERIC.fullmatch(name.strip()) or _GENERIC.fullmatch(found) else found


def file_name(name: str) -> str:
    """Return the stage that a file's name may be.

    Parameters
    ----------
    name : str
        Of the file.

    Returns
    -------
    str
        Its stem with spaces.
    """
    stem = PurePosixPath(name.replace("\\", "/")).stem
    return " ".join(re.sub(r"[_\-]+", " ", stem).split()) or "pasted"
