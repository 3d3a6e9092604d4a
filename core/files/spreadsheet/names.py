"""Which stage each line is: the words that tell lines apart, else those that stand over all of them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import PurePosixPath

from core.files.spreadsheet.amounts import amount
from core.files.spreadsheet.draft import Draft, Notes
from core.files.spreadsheet.grid import Book, Cell
from core.files.spreadsheet.headings import Heading, heading
from core.files.spreadsheet.lines import Found
from core.files.spreadsheet.questions import counted
from core.files.spreadsheet.view import Table
from core.units import quoted

_GENERIC = re.compile(
    r"(?:sheet|tabelle|feuil|blad|ark|foglio|hoja|table|data|flow|results?)?\s*\d*", re.IGNORECASE
)
_STAGE_LABEL = re.compile(
    r"^\s*(?:stage|modification|condition|version|work|step)\s*[:=]\s*(.+)$", re.IGNORECASE
)
_OTHER_LABEL = re.compile(r"^[^:=]{1,30}[:=]\s*\S", re.DOTALL)
_MOST_WORDS = 6  # of a title that may be a stage's name


def name_lines(book: Book, drafts: Sequence[Draft], notes: Notes) -> None:
    """Give every reading its stage: by headings, by titles, by the sheet's name, by the file's.

    Parameters
    ----------
    book : Book
        The spreadsheet.
    drafts : sequence of Draft
        Its tables; the stages of their lines are filled in.
    notes : Notes
        Takes questions.
    """
    for index in dict.fromkeys(draft.sheet_index for draft in drafts):
        own = [draft for draft in drafts if draft.sheet_index == index]
        named = _table_names([draft.table for draft in own])
        for draft, (title, is_stated) in zip(own, named, strict=True):
            _name_by_headings(draft.readings)
            _name_numbered(draft, notes)
            for line in draft.readings:
                if draft.has("stage"):
                    line.stage, line.stage_reason = "", "its rows say which stage"
                elif not line.stage or (is_stated and line.stage_shared):
                    _name_by_title(book, draft, line, title, is_stated)


def _name_by_title(book: Book, draft: Draft, line: Found, title: str, is_stated: bool) -> None:
    name = draft.table.grid.name
    tab = _sheet_name(name)
    if is_stated:
        line.stage, line.stage_reason = title, f"a line over the table says so: {quoted(title)}"
    elif tab and (len(book.sheets) > 1 or not title):
        line.stage, line.stage_reason = tab, f"the sheet is called {quoted(name)}"
    elif title:
        line.stage, line.stage_reason = title, f"the title over the table is {quoted(title)}"
    else:
        line.stage = _file_name(book.name)
        line.stage_reason = "nothing in the sheet names a stage, so it is called as the file"
    line.stage_sure = is_stated


def _name_numbered(draft: Draft, notes: Notes) -> None:
    """Settle what plain numbers over lines count: ports, repeats or stages."""
    numbered = [line for line in draft.readings if line.numbered]
    if not numbered:
        return
    words = [level.text for line in numbered for level in line.levels]
    words += [*draft.table.titles, draft.table.grid.name]
    what = notes.answers.get("numbers") or counted(words)
    if what is None:
        notes.ask.numbers(draft.where, [line.stage for line in numbered])
        return
    for line in numbered:
        number, line.stage = line.stage, ""
        if what == "port":
            line.port = number
        elif what == "run":
            line.run = number
        else:
            line.stage, line.stage_reason = f"stage {number}", "the numbers over the lines count stages"


def _name_by_headings(lines: Sequence[Found]) -> None:
    """Give each line the name that the headings over it say."""
    rows = sorted({level.row for line in lines for level in line.levels}, reverse=True)
    names = {row: [_name_at(line, row) for line in lines] for row in rows}
    telling = [row for row in rows if len(set(names[row])) > 1]
    shared = [row for row in rows if row not in telling and names[row][0]]
    for i, line in enumerate(lines):
        parts = [(row, names[row][i]) for row in telling if names[row][i]]
        if parts and all(_is_number(name) for _, name in parts):
            line.numbered = True
        parts = [(row, name) for row, name in parts if not _is_figure(name) or len(parts) == 1]
        parts = list(reversed({name: row for row, name in parts}.items()))
        if parts:
            line.stage = ", ".join(name for name, _ in parts)
            line.stage_reason = f"its heading says {quoted(line.stage)}"
            if len(parts) > 1:
                line.stage_sure = False
                line.stage_reason = f"two heading rows tell it apart: {quoted(line.stage)}"
        elif shared and not telling:
            line.stage = names[shared[0]][i]
            line.stage_reason = f"the heading over all lines says {quoted(line.stage)}"
            line.stage_shared = True


def _name_at(line: Found, row: int) -> str:
    for level, words in zip(line.levels, line.words, strict=True):
        if level.row == row:
            is_date = amount(Cell("text", level.text)).kind == "date"
            return "" if is_date else words.name
    return ""


def _is_figure(name: str) -> bool:
    """Return whether a heading is a number alone: a count, or a peak that stands over the table."""
    return _is_number(name) or amount(Cell("text", name)).kind == "number"


def _is_number(name: str) -> bool:
    return bool(re.fullmatch(r"\d{1,2}|[A-D]", name))


def _table_names(tables: Sequence[Table]) -> list[tuple[str, bool]]:
    """Return for each table the stage that its own titles name, and whether they say so outright."""
    stated = [
        next((m[1].strip() for t in table.titles if (m := _STAGE_LABEL.match(t))), "") for table in tables
    ]
    candidates = [[name for text in table.titles if (name := _title_name(text))] for table in tables]
    names = []
    for i, own in enumerate(candidates):
        others = {name for j, each in enumerate(candidates) if j != i for name in each}
        names.append(next((name for name in own if name not in others), ""))
    if not all(names):
        names = [""] * len(names)  # a title over some of the tables is no name of a stage
    return [(said, True) if said else (name, False) for said, name in zip(stated, names, strict=True)]


def _title_name(text: str) -> str:
    """Return what a title may name a stage by; a remark and a label with its value name none."""
    if _OTHER_LABEL.match(text) or len(text.split()) > _MOST_WORDS + 4:
        return ""
    words: Heading = heading(text)
    name = words.name
    return name if name and len(name.split()) <= _MOST_WORDS and not _is_number(name) else ""


def _sheet_name(name: str) -> str:
    """Return the stage that a sheet's name may be, empty for "Sheet1" and the like."""
    found = heading(name).name
    return "" if _GENERIC.fullmatch(name.strip()) or _GENERIC.fullmatch(found) else found


def _file_name(name: str) -> str:
    """Return the stage that a file's name may be."""
    stem = PurePosixPath(name.replace("\\", "/")).stem
    return " ".join(re.sub(r"[_\-]+", " ", stem).split()) or "pasted"
