"""Which line of a spreadsheet is what: the mapping that a person sees, corrects and may keep."""

from __future__ import annotations

from collections.abc import Callable
from collections.abc import Mapping as Answers
from dataclasses import dataclass, replace
from typing import Literal

from core.job import BenchSheet, Problem, Role, Side

Use = Literal["reading", "skip", "stage", "side", "port", "run", "range", "test pressure"]
Certainty = Literal["sure", "likely", "unsure"]
DateOrder = Literal["month/day", "day/month"]


@dataclass(frozen=True)
class Line:
    """One column beside the lifts (one row, where lifts run across) and what it is.

    ``stage``, ``side``, ``port`` and ``run`` as a use are columns of words that say it row by
    row; a reading whose own ``stage`` is None takes it from there.
    """

    index: int  # counted from 0
    use: Use = "reading"
    heading: str = ""  # the words over it
    stage: str | None = None
    side: Side | None = None
    port: str | None = None
    run: str | None = None  # a repeat within one set-up
    setup: str | None = None  # a repeat for which the head was set up anew
    unit: str | None = None  # of a reading or a range; a cell's own unit comes first
    test_pressure: str | None = None  # for example "28 inH2O"
    corrected_to: str | None = None  # the pressure that the numbers were scaled to
    full_range: str | None = None  # of a reading in percent, for example "200 cfm"
    role: Role = "stage"
    why: str = ""  # it is skipped


@dataclass(frozen=True)
class TableMap:
    """One table: where its lifts run, and its lines."""

    sheet: str
    sheet_index: int
    across: bool  # lifts in a row, not in a column
    lift: int  # column of the lifts; row, where they run across
    rows: tuple[int, ...]  # in which lifts stand; columns, where they run across
    lift_unit: str | None
    lines: tuple[Line, ...]
    wanted: bool = True
    notes: tuple[str, ...] = ()  # words over and under it


@dataclass(frozen=True)
class Mapping:
    """What a whole spreadsheet is taken to be."""

    tables: tuple[TableMap, ...]
    dates: DateOrder | None = None  # how fractions became dates
    blanks: tuple[str, ...] = ()  # words that mean: not taken


@dataclass(frozen=True)
class Reason:
    """Why the mapping says what it says."""

    where: str  # for example "'Sheet1', column B"
    text: str
    certainty: Certainty


@dataclass(frozen=True)
class Question:
    """What the spreadsheet does not tell, or tells in two ways."""

    key: str  # under which `propose` and `apply` take the answer
    text: str
    options: tuple[str, ...] = ()  # where only these make sense
    suggestion: str | None = None
    needed: bool = True  # without it nothing is imported


@dataclass(frozen=True)
class Proposal:
    """The mapping that the spreadsheet suggests, with a reason for each guess."""

    mapping: Mapping
    reasons: tuple[Reason, ...]
    questions: tuple[Question, ...]

    @property
    def open(self) -> tuple[Question, ...]:
        """Return the questions without whose answers nothing is imported."""
        return tuple(question for question in self.questions if question.needed)


@dataclass(frozen=True)
class ImportedSheet:
    """One bench sheet out of a spreadsheet."""

    sheet: BenchSheet
    text: str  # of its file
    places: tuple[str, ...]  # lines that it came from


@dataclass(frozen=True)
class Imported:
    """The bench sheets that a mapping gives, or every reason why it gives none."""

    sheets: tuple[ImportedSheet, ...]
    problems: tuple[Problem, ...]


def each_line(mapping: Mapping, change: Callable[[TableMap, Line], Line]) -> Mapping:
    """Return a mapping with every line changed.

    Parameters
    ----------
    mapping : Mapping
        As it is.
    change : callable
        Takes a table and a line of it, and returns the line as it is to be.

    Returns
    -------
    Mapping
        With the changed lines.
    """
    tables = tuple(
        replace(table, lines=tuple(change(table, line) for line in table.lines)) for table in mapping.tables
    )
    return replace(mapping, tables=tables)


def answered(mapping: Mapping, answers: Answers[str, str]) -> Mapping:
    """Return a mapping with plain answers put in where it says nothing.

    Parameters
    ----------
    mapping : Mapping
        As it is.
    answers : mapping of str to str
        ``lift`` and ``flow`` a unit, ``test pressure`` and ``range`` a quantity, ``side``
        intake or exhaust, ``dates`` the order, ``blank`` a word.

    Returns
    -------
    Mapping
        What a sheet states itself is left as it is.
    """

    def filled(_table: TableMap, line: Line) -> Line:
        if line.use != "reading":
            return line
        return replace(
            line,
            unit=line.unit or answers.get("flow"),
            side=line.side or answers.get("side"),
            test_pressure=line.test_pressure or answers.get("test pressure"),
            full_range=line.full_range or answers.get("range"),
        )

    mapping = each_line(mapping, filled)
    tables = tuple(
        replace(table, lift_unit=table.lift_unit or answers.get("lift")) for table in mapping.tables
    )
    words = tuple(word.strip() for word in answers.get("blank", "").split(",") if word.strip())
    return replace(
        mapping,
        tables=tables,
        dates=mapping.dates or answers.get("dates"),
        blanks=mapping.blanks + tuple(word for word in words if word not in mapping.blanks),
    )
