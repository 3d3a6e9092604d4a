"""A mapping kept in a job, for the next spreadsheet of the same shape.

What is kept is what a person said: answers, and corrections of single lines. All else is read anew
from the next spreadsheet, and a correction holds only where that one says what the first one said:
its own pressure, port or unit is never overruled by those of another.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from collections.abc import Mapping as Entries
from dataclasses import replace
from typing import get_args

from core.files.spreadsheet.grid import Book
from core.files.spreadsheet.mapping import Line, Mapping, Proposal, Reason, TableMap, Use
from core.files.spreadsheet.propose import propose
from core.files.spreadsheet.questions import wrong_answers
from core.files.spreadsheet.shape import signature
from core.job import SIDES

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
_OF_TABLE = ("wanted", "lift_unit")
_EACH_TIME = ("rows",)  # what stands below a table may be another thing each time
_WAS = " was"
_NOTHING = "-"
_ALLOWED = {"use": get_args(Use), "side": (*SIDES, _NOTHING)}  # a job file may be edited by hand


def kept(book: Book, mapping: Mapping, answers: Entries[str, str]) -> dict[str, object]:
    """Return what a job file keeps of a mapping.

    Parameters
    ----------
    book : Book
        The spreadsheet.
    mapping : Mapping
        As a person has approved it.
    answers : mapping of str to str
        What the person said to the questions.

    Returns
    -------
    dict of str to object
        One entry of ``[[mapping]]``: plain values, as TOML has them.
    """
    suggested = {_place(table): table for table in propose(book, answers).mapping.tables}
    lines = [
        _written(words)
        for table in mapping.tables
        if (was := suggested.get(_place(table)))
        for words in _corrections(table, was)
    ]
    entry: dict[str, object] = {"shape": signature(book)}
    if book.name:
        entry["source"] = _plain(book.name)
    said = [f"{_plain(key)}: {_plain(text)}" for key, text in answers.items() if key not in _EACH_TIME]
    return entry | {name: value for name, value in (("answers", said), ("lines", lines)) if value}


def _corrections(table: TableMap, was: TableMap) -> Iterator[dict[str, str]]:
    """Yield what was corrected in a table, each time with what the spreadsheet itself suggested."""
    place = {"table": _place(table)}
    if changed := _changed(table, was, _OF_TABLE):
        yield place | changed
    before = {line.index: line for line in was.lines}
    for line in table.lines:
        if line.index in before and (changed := _changed(line, before[line.index], _WORDS)):
            yield place | {"line": str(line.index), "heading": line.heading} | changed


def _changed(one: Line | TableMap, was: Line | TableMap, names: tuple[str, ...]) -> dict[str, str]:
    words = {}
    for name in names:
        now, before = _word(getattr(one, name)), _word(getattr(was, name))
        if now != before:
            words |= {name: now, name + _WAS: before}
    return words


def _word(value: str | bool | None) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return _plain(value) if value else _NOTHING


def _place(table: TableMap) -> str:
    """Return what tells a table from the others: two may stand one below the other, or way by way."""
    way = "across" if table.across else "down"
    return f"{table.sheet_index} {table.lift} {table.rows[0] if table.rows else 0} {way}"


def _plain(text: str) -> str:
    return " ".join(text.replace("|", "/").split())


def _written(words: Entries[str, str]) -> str:
    """Return words as ``key: value`` with bars between, which no value holds."""
    return " | ".join(f"{key}: {_plain(value)}" for key, value in words.items())


def _read(text: str) -> dict[str, str]:
    pairs = (part.partition(":") for part in text.split("|"))
    return {key.strip(): value.strip() for key, _, value in pairs if key.strip()}


def entries_of(job_file: bytes) -> list[dict[str, object]]:
    """Return the mappings that a job file keeps.

    Parameters
    ----------
    job_file : bytes
        Content of ``job.toml``; empty where there is none.

    Returns
    -------
    list of dict of str to object
        In its order; empty where it cannot be read, which the job's own reader says.
    """
    try:
        entries = tomllib.loads(job_file.decode("utf-8-sig")).get("mapping", [])
    except (ValueError, RecursionError):
        return []
    return [one if isinstance(one, dict) else {} for one in entries] if isinstance(entries, list) else []


def keeping(job_file: bytes, entry: Entries[str, object]) -> dict[tuple[str | int, ...], object]:
    """Return the edits that put a mapping into a job file, in the place of one of the same shape.

    Parameters
    ----------
    job_file : bytes
        Content of ``job.toml``; empty where there is none.
    entry : mapping of str to object
        From `kept`.

    Returns
    -------
    dict of tuple to object
        For `core.files.write_job.edited`.
    """
    shapes = [one.get("shape") for one in entries_of(job_file)]
    place = shapes.index(entry["shape"]) if entry["shape"] in shapes else len(shapes)
    return {("mapping", place, key): entry.get(key) for key in ("shape", "source", "answers", "lines")}


def entry_for(book: Book, job_file: bytes) -> dict[str, object] | None:
    """Return what a job file keeps for spreadsheets of this shape.

    Parameters
    ----------
    book : Book
        The spreadsheet at hand.
    job_file : bytes
        Content of ``job.toml``; empty where there is none.

    Returns
    -------
    dict of str to object, or None
        None where it keeps nothing for them.
    """
    entries = entries_of(job_file)
    shape = signature(book) if entries else ""
    return next((one for one in entries if one.get("shape") == shape), None)


def answers_of(entry: Entries[str, object]) -> dict[str, str]:
    """Return the answers that an entry keeps.

    Parameters
    ----------
    entry : mapping of str to object
        One ``[[mapping]]`` of a job file.

    Returns
    -------
    dict of str to str
        By the questions' keys.
    """
    said: dict[str, str] = {}
    for text in _texts(entry, "answers"):
        key, _, answer = text.rpartition(":") if text.startswith("use ") else text.partition(":")
        if answer.strip():
            said[key.strip()] = answer.strip()
    return {key: answer for key, answer in said.items() if not wrong_answers({key: answer})}


def _texts(entry: Entries[str, object], key: str) -> list[str]:
    found = entry.get(key, [])
    return [text for text in found if isinstance(text, str)] if isinstance(found, list) else []


def recalled(book: Book, entry: Entries[str, object], answers: Entries[str, str] | None = None) -> Proposal:
    """Return a proposal with what a job keeps of a spreadsheet of this shape.

    Parameters
    ----------
    book : Book
        The spreadsheet at hand, whose shape is the entry's.
    entry : mapping of str to object
        One ``[[mapping]]`` of a job file.
    answers : mapping of str to str, optional
        What a person says to the questions that are still open.

    Returns
    -------
    Proposal
        What the spreadsheet says itself comes first; its questions are those that neither it nor
        the kept mapping answers.
    """
    own = dict(answers or {})
    said = _usable(book, answers_of(entry), own)
    if "blank" in said and "blank" in own:
        own["blank"] = f"{said['blank']},{own['blank']}"
    proposal = propose(book, said | own)
    corrections = [_read(text) for text in _texts(entry, "lines")]
    tables = tuple(
        _corrected(table, [words for words in corrections if words.get("table") == _place(table)])
        for table in proposal.mapping.tables
    )
    reason = Reason("this job", _said(entry, said), "likely")
    return replace(
        proposal, mapping=replace(proposal.mapping, tables=tables), reasons=(reason, *proposal.reasons)
    )


def _usable(book: Book, said: dict[str, str], own: Entries[str, str]) -> dict[str, str]:
    """Leave out a unit of lift in which these lifts would be no valve's; it is asked for again."""
    if "lift" in said and "lift" not in own:
        rest = {key: answer for key, answer in (said | dict(own)).items() if key != "lift"}
        asked = [one for one in propose(book, rest).questions if one.key == "lift"]
        if any(one.suggestion not in (None, said["lift"]) for one in asked):
            return {key: answer for key, answer in said.items() if key != "lift"}
    return said


def _said(entry: Entries[str, object], answers: Entries[str, str]) -> str:
    source = entry.get("source")
    of = f"for {source}, " if isinstance(source, str) and source else "for another one "
    said = [f"{key} {answer}" for key, answer in answers.items()]
    count = len(_texts(entry, "lines"))
    said += [f"{count} correction{'s' if count > 1 else ''}"] if count else []
    return f"taken as you said {of}whose tables and headings are alike: {', '.join(said) or 'as suggested'}"


def _corrected(table: TableMap, corrections: list[dict[str, str]]) -> TableMap:
    by_line = {words["line"]: words for words in corrections if "line" in words}
    own = next((words for words in corrections if "line" not in words), {})
    lines = []
    for line in table.lines:
        changed = _decided(line, by_line.get(str(line.index), {}), _WORDS)
        why = "as you said" if changed.get("use") == "skip" else line.why
        lines.append(replace(line, **changed, why=why))
    changed = _decided(table, own, _OF_TABLE)
    if "wanted" in changed:
        changed["wanted"] = changed["wanted"] != "no"
    return replace(table, lines=tuple(lines), **changed)


def _decided(one: Line | TableMap, words: Entries[str, str], names: tuple[str, ...]) -> dict[str, object]:
    """Return the corrections that hold: those of what this spreadsheet suggests, too."""
    changed: dict[str, object] = {}
    for name in names:
        is_meant = words.get(name) in _ALLOWED.get(name, (words.get(name),))
        if name in words and is_meant and words.get(name + _WAS) == _word(getattr(one, name)):
            changed[name] = None if words[name] == _NOTHING else words[name]
    return changed
