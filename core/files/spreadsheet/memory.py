"""A mapping kept in a job, for the next spreadsheet of the same shape.

What is kept are decisions: units, sides, what to skip. Names of stages are taken anew from the
next spreadsheet, except where it has the same words in the same place.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping as Entries
from dataclasses import fields, replace

from core.files.spreadsheet.amounts import amount
from core.files.spreadsheet.find import find_tables
from core.files.spreadsheet.grid import Book, Cell
from core.files.spreadsheet.headings import heading
from core.files.spreadsheet.mapping import Line, Mapping, Proposal, TableMap
from core.files.spreadsheet.view import Table

_WORDS = (
    "use",
    "stage",
    "side",
    "port",
    "run",
    "setup",
    "unit",
    "test_pressure",
    "corrected_to",
    "full_range",
)
_PLACE = ("sheet", "lift_line", "first_row", "across")


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


def kept(mapping: Mapping, shape: str) -> dict[str, object]:
    """Return what a job file keeps of a mapping.

    Parameters
    ----------
    mapping : Mapping
        As a person has approved it.
    shape : str
        From `signature`.

    Returns
    -------
    dict of str to object
        One entry of ``[[mapping]]``: plain values, as TOML has them.
    """
    lines = []
    for table in mapping.tables:
        words = dict(zip(_PLACE, _place(table), strict=True))
        words |= {"lift_unit": table.lift_unit} if table.lift_unit else {}
        lines.append(_written(words | {"wanted": "yes" if table.wanted else "no"}))
        for line in table.lines:
            own = {name: value for name in _WORDS if (value := getattr(line, name))}
            lines.append(_written({"line": str(line.index), "heading": line.heading, **own}))
    entry: dict[str, object] = {"shape": shape, "lines": lines}
    if mapping.dates:
        entry["dates"] = mapping.dates
    if mapping.blanks:
        entry["blanks"] = list(mapping.blanks)
    return entry


def _place(table: TableMap) -> tuple[str, ...]:
    """Return what tells a table from the others: two may stand one below the other, or way by way."""
    return str(table.sheet_index), str(table.lift), str(table.rows[0]), "yes" if table.across else "no"


def _written(words: Entries[str, str]) -> str:
    """Return words as ``key: value`` with bars between, which no value holds."""
    return " | ".join(f"{key}: {' '.join(value.replace('|', '/').split())}" for key, value in words.items())


def _read(text: str) -> dict[str, str]:
    pairs = (part.partition(":") for part in text.split("|"))
    return {key.strip(): value.strip() for key, _, value in pairs if key.strip()}


def recalled(proposal: Proposal, entry: Entries[str, object]) -> Proposal:
    """Return a proposal with what a job keeps of a spreadsheet of this shape.

    Parameters
    ----------
    proposal : Proposal
        Of the spreadsheet at hand, whose shape is the entry's.
    entry : mapping of str to object
        One ``[[mapping]]`` of a job file.

    Returns
    -------
    Proposal
        Its questions are only those that the kept mapping leaves open; where it does not fit,
        the proposal as it was.
    """
    lines = [_read(line) for line in entry.get("lines", ()) if isinstance(line, str)]
    tables: list[tuple[dict[str, str], dict[int, dict[str, str]]]] = []
    for line in lines:
        if "sheet" in line:
            tables.append((line, {}))
        elif tables and line.get("line", "").isdecimal():
            tables[-1][1][int(line["line"])] = line
    mapping = proposal.mapping
    said = {tuple(map(words.get, _PLACE)): (words, own) for words, own in tables}
    places = [_place(table) for table in mapping.tables]
    if not set(said) <= set(places):
        return proposal
    done = tuple(
        _with(table, *said[place]) if place in said else replace(table, wanted=False)
        for table, place in zip(mapping.tables, places, strict=True)
    )
    dates, blanks = entry.get("dates"), entry.get("blanks", ())
    mapping = Mapping(
        done,
        dates if dates in ("month/day", "day/month") else mapping.dates,
        tuple(word for word in blanks if isinstance(word, str)) or mapping.blanks,
    )
    questions = tuple(question for question in proposal.questions if _is_open(question.key, mapping))
    return replace(proposal, mapping=mapping, questions=questions)


def _with(table: TableMap, said: Entries[str, str], by_line: Entries[int, Entries[str, str]]) -> TableMap:
    lines = tuple(_line(line, by_line.get(line.index, {})) for line in table.lines)
    unit = said.get("lift_unit") or table.lift_unit
    return replace(table, lines=lines, lift_unit=unit, wanted=said.get("wanted") != "no")


def _line(line: Line, words: Entries[str, str]) -> Line:
    if not words:
        return line
    decided = {name: words.get(name) for name in _WORDS if name not in ("stage", "use")}
    if words.get("heading") == " ".join(line.heading.replace("|", "/").split()) or not line.stage:
        decided["stage"] = words.get("stage")
    use = words.get("use", line.use)
    return replace(line, **decided, use=use, why=line.why or ("as you said" if use == "skip" else ""))


def _is_open(key: str, mapping: Mapping) -> bool:
    tables = [table for table in mapping.tables if table.wanted]
    readings = [line for table in tables for line in table.lines if line.use == "reading"]
    if key == "lift":
        return any(table.lift_unit is None for table in tables)
    if key == "flow":
        return any(line.unit is None for line in readings)
    if key == "side":
        return any(line.side is None for line in readings)
    if key == "test pressure":
        return any(line.test_pressure is None for line in readings)
    if key == "dates":
        return mapping.dates is None
    if key == "blank":
        return not mapping.blanks
    return key == "rows"  # what stands below a table may be another thing each time
