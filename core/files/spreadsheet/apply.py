"""A mapping put to work: the cells it names to bench sheets, and every cell that cannot be one."""

from __future__ import annotations

import csv
import io
from collections import Counter, defaultdict
from collections.abc import Mapping as Answers
from dataclasses import dataclass, field, replace

from core import units
from core.files.columns import READING_KINDS
from core.files.log import Log, folded
from core.files.sheet import read_sheet
from core.files.spreadsheet.amounts import Amount, fraction_of, shown_date
from core.files.spreadsheet.grid import Book
from core.files.spreadsheet.headings import heading
from core.files.spreadsheet.mapping import Imported, ImportedSheet, Line, Mapping, TableMap, answered
from core.files.spreadsheet.view import View
from core.files.write_sheet import UnwritableError, sheet_text
from core.job import SIDES, Role
from core.units import UnitError, quoted

_LABELS = ("stage", "side", "port", "run")
_LIFT_UNITS = ("mm", "in", "thou")
_MOST_NOTES = 12


@dataclass(frozen=True)
class _Key:
    """What tells one bench sheet from another."""

    role: Role
    stage: str
    port: str | None
    setup: str | None
    test_pressure: str | None
    corrected_to: str | None
    lift_unit: str
    per_row: bool  # test pressures stand row by row


@dataclass(frozen=True)
class _Reading:
    lift: str
    figures: str
    unit: str
    place: str
    run: tuple[int, str | None]  # line that it came from, and run
    full_range: tuple[str, str] | None = None  # figures and unit of the row's own
    test_pressure: tuple[str, str] | None = None


@dataclass
class _Draft:
    """One bench sheet as it fills."""

    sides: dict[str, list[_Reading]] = field(default_factory=lambda: {side: [] for side in SIDES})
    ranges: dict[str, str] = field(default_factory=dict)
    places: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def apply(book: Book, mapping: Mapping, answers: Answers[str, str] | None = None) -> Imported:
    """Turn a spreadsheet into bench sheets as a mapping says.

    Parameters
    ----------
    book : Book
        The spreadsheet.
    mapping : Mapping
        What is what, from `propose` or corrected by a person.
    answers : mapping of str to str, optional
        As in `core.files.spreadsheet.mapping.answered`.

    Returns
    -------
    Imported
        The sheets, with the text of their files; or no sheet and every problem.
    """
    mapping = answered(mapping, answers or {})
    work = _Work(book, mapping, Log(book.name or "pasted"))
    for table in mapping.tables:
        if table.wanted:
            work.read(table)
    if not work.drafts and not work.log.problems:
        work.log.problem("No reading is taken from this spreadsheet.", "Say which lines are readings.")
    sheets = [] if work.log.problems else work.sheets()
    problems = tuple(work.log.problems)
    return Imported(() if problems else tuple(sheets), problems)


class _Work:
    """One spreadsheet on its way to bench sheets."""

    def __init__(self, book: Book, mapping: Mapping, log: Log) -> None:
        self.book = book
        self.mapping = mapping
        self.log = log
        self.blanks = {folded(word) for word in mapping.blanks}
        self.drafts: dict[_Key, _Draft] = defaultdict(_Draft)
        self.claimed: dict[tuple[_Key, str, str | None], str] = {}

    def read(self, table: TableMap) -> None:
        """Take every reading of one table."""
        if not 0 <= table.sheet_index < len(self.book.sheets):
            self.log.problem(f"There is no sheet '{table.sheet}'.", "Map this spreadsheet anew.")
            return
        grid = self.book.sheets[table.sheet_index]
        view = View(grid.turn() if table.across else grid)
        edge = max(table.rows, default=0) >= len(view.grid.rows)
        if edge or max([table.lift, *(line.index for line in table.lines)]) >= view.grid.width:
            self.log.problem(f"The sheet '{table.sheet}' is smaller than its mapping.", "Map it anew.")
            return
        lifts = [self._lift(table, view, row) for row in table.rows]
        labels = {line.use: line for line in table.lines if line.use in _LABELS}
        for line in table.lines:
            if line.use == "reading":
                self._read_line(table, view, line, lifts, labels)

    def _place(self, table: TableMap, view: View, row: int, column: int) -> str:
        place = view.grid.place(row, column)
        return f"{table.sheet}!{place}" if table.sheet else place

    def _lift(self, table: TableMap, view: View, row: int) -> tuple[str, str] | None:
        """Return a lift's figures and its unit; None, with a problem in the log, where it is none."""
        row, column = view.covered.get((row, table.lift), (row, table.lift))
        one, place = view.amounts[row][column], self._place(table, view, row, column)
        unit = one.unit or table.lift_unit
        if one.kind == "date":
            value = one.month_day and self.mapping.dates and fraction_of(one.month_day, self.mapping.dates)
            if not value:
                self.log.problem(
                    f"{place}: the lift is a date ({shown_date(one.month_day)}), as spreadsheets make "
                    "of 1/8.",
                    "Say how it was typed (month/day or day/month), or write it as 0.125.",
                )
                return None
            one, unit = Amount("number", f"{value:.15g}", value), table.lift_unit or "in"
        if one.kind != "number":
            why = one.why or f"{quoted(view.text(row, column))} is not a number"
            self.log.problem(f"{place}: {why}, where a lift should be.", "Mend the cell.")
            return None
        if one.unit and table.lift_unit and not _same_unit(one.unit, table.lift_unit, ("lift",)):
            text = f"{place}: the cell says {one.unit}, the other lifts are in {table.lift_unit}."
            self.log.problem(text, "Make them agree.")
            return None
        if unit is None:
            self.log.problem(f"{place}: the lift has no unit.", "Say which: in, mm, thou.")
            return None
        return one.figures, next((usual for usual in _LIFT_UNITS if _same_unit(unit, usual, ("lift",))), unit)

    def _read_line(
        self,
        table: TableMap,
        view: View,
        line: Line,
        lifts: list[tuple[str, str] | None],
        labels: dict[str, Line],
    ) -> None:
        by_row = {other.use: other for other in table.lines if other.use in ("range", "test pressure")}
        name = f"{table.sheet + ', ' if table.sheet else ''}{view.grid.line(line.index)}"
        before: dict[str, str] = {}
        for row, lift in zip(table.rows, lifts, strict=True):
            said = {use: self._label(view, row, one, before) for use, one in labels.items()}
            found = self._amount(table, view, row, line)
            if found is None or lift is None:
                continue
            lift_figures, lift_unit = lift
            one = self._labelled(line, said)
            place = self._place(table, view, row, line.index)
            if not one.side or not one.stage:
                missing = "side" if one.stage else "stage"
                self.log.problem(f"{place}: nothing says which {missing} this is.", f"Say the {missing}.")
                return
            beside = {use: self._beside(table, view, row, other) for use, other in by_row.items()}
            per_row = beside.get("test pressure") is not None
            key = _Key(
                one.role,
                one.stage,
                one.port,
                one.setup,
                None if per_row else one.test_pressure,
                one.corrected_to,
                lift_unit,
                per_row,
            )
            if not self._claim(key, one, name):
                return
            draft = self.drafts[key]
            if name not in draft.places:
                draft.places.append(name)
                draft.notes += [note for note in table.notes if note not in draft.notes]
            if one.full_range:
                draft.ranges[one.side] = one.full_range
            reading = _Reading(
                lift_figures,
                found[0],
                found[1],
                place,
                (line.index, one.run),
                beside.get("range"),
                beside.get("test pressure"),
            )
            draft.sides[one.side].append(reading)

    def _label(self, view: View, row: int, line: Line, before: dict[str, str]) -> str:
        """Return what a column of words says in a row; a blank goes on with the word above."""
        text = view.text(row, line.index) or before.get(line.use, "")
        before[line.use] = text
        return text

    def _labelled(self, line: Line, said: dict[str, str]) -> Line:
        """Return a line with what the columns of words say in one row."""
        found = {use: heading(text) for use, text in said.items() if text}
        side = found["side"].side or found["side"].weak_side if "side" in found else None
        stage = said.get("stage") or None
        port = (found["port"].port or said["port"]) if "port" in found else None
        run = (found["run"].run or said["run"]) if "run" in found else None
        return replace(
            line,
            stage=line.stage or stage,
            side=line.side or side,
            port=line.port or port,
            run=line.run or run,
        )

    def _claim(self, key: _Key, line: Line, name: str) -> bool:
        """Refuse two lines that are the same sweep: which is which must be said."""
        claim = (key, line.side or "", line.run)
        first = self.claimed.setdefault(claim, name)
        if first == name:
            return True
        what = ", ".join(filter(None, (line.stage, line.port and f"port {line.port}", line.side)))
        text = f"{first} and {name} are both '{what}'."
        if not any(text in problem.text for problem in self.log.problems):
            self.log.problem(text, "Say what tells them apart: a run, a set-up, a port; or skip one.")
        return False

    def _amount(self, table: TableMap, view: View, row: int, line: Line) -> tuple[str, str] | None:
        """Return a reading's figures and unit; None where none was taken or it is a problem."""
        one, place = view.amounts[row][line.index], self._place(table, view, row, line.index)
        text = view.grid.rows[row][line.index].text if view.grid.rows[row][line.index] else ""
        if one.kind == "blank" or (one.kind in ("text", "doubtful") and folded(text) in self.blanks):
            return None
        if one.kind == "date":
            self.log.problem(
                f"{place}: the reading is a date ({shown_date(one.month_day)}); a spreadsheet makes that of "
                "some numbers.",
                "Write the number, in a cell formatted as a number.",
            )
            return None
        if one.kind != "number":
            why = one.why or f"{quoted(text)} is not a number"
            self.log.problem(f"{place}: {why}.", "Mend the cell, or leave it blank.")
            return None
        unit = one.unit or line.unit
        if unit is None:
            self.log.problem(
                f"{self._place(table, view, row, line.index)}: the reading has no unit.",
                "Say which: cfm, L/s.",
            )
            return None
        if one.unit and line.unit and not _same_unit(one.unit, line.unit):
            text = f"{place}: the cell says {one.unit}, its heading {line.unit}."
            self.log.problem(text, "Make them agree.")
            return None
        return one.figures, unit

    def _beside(self, table: TableMap, view: View, row: int, line: Line) -> tuple[str, str] | None:
        """Return the range or test pressure that a row states beside its readings."""
        one = view.amounts[row][line.index]
        if one.kind != "number" or not (one.unit or line.unit):
            return None
        return one.figures, one.unit or line.unit or ""

    # bench sheets -------------------------------------------------------------------------

    def sheets(self) -> list[ImportedSheet]:
        """Return the bench sheets, stages in the order in which the spreadsheet has them."""
        stages = list(dict.fromkeys(key.stage for key in self.drafts if key.role == "stage"))
        made = []
        for key, draft in self.drafts.items():
            order = stages.index(key.stage) + 1 if key.role == "stage" and len(stages) > 1 else None
            if (one := self._sheet(key, draft, order)) is not None:
                made.append(one)
        return made

    def _sheet(self, key: _Key, draft: _Draft, order: int | None) -> ImportedSheet | None:
        given = {"lift": key.lift_unit}
        for side, readings in draft.sides.items():
            found = {reading.unit: reading for reading in readings}
            first = next(iter(found), None)
            other = next((one for unit, one in found.items() if not _same_unit(unit, first)), None)
            if other:
                text = f"{other.place}: {other.unit} among readings in {first}."
                self.log.problem(text, "Write one line in one unit.")
                return None
            if first:
                given[side] = first
        header, places = self._header(key, draft, order), [""]
        text, places = _text(header, given, draft)
        sheet, log = read_sheet(_stem(key) + ".csv", text.encode("utf-8", "replace"))
        for problem in log.problems:
            place = places.get(problem.line or 0)
            self.log.problem(f"{place + ': ' if place else ''}{problem.text}", problem.cure)
        if sheet is None:
            return None
        if key.test_pressure:
            given["test pressure"] = key.test_pressure.split(maxsplit=1)[1]
        try:
            return ImportedSheet(sheet, sheet_text(sheet, given), tuple(draft.places))
        except UnwritableError as error:
            self.log.problem(str(error), "Change the name.")
            return None

    def _header(self, key: _Key, draft: _Draft, order: int | None) -> list[str]:
        source = f"from {self.book.name or 'a pasted block'}: {', '.join(draft.places)}"
        lines = [("note", source), *(("note", note) for note in draft.notes[:_MOST_NOTES])]
        lines += [("stage", key.stage), ("port", key.port), ("order", order)]
        lines += [("role", key.role if key.role != "stage" else None), ("test pressure", key.test_pressure)]
        if key.corrected_to:
            lines += [("already corrected", "yes"), ("corrected to pressure", key.corrected_to)]
        lines += [(f"{side} range", text) for side, text in draft.ranges.items()]
        return [f"# {name}: {' '.join(str(value).split())}" for name, value in lines if value is not None]


def _same_unit(one: str, other: str | None, kinds: tuple[str, ...] = READING_KINDS) -> bool:
    try:
        return other is not None and units.factor(one, kinds) == units.factor(other, kinds)
    except UnitError:
        return one == other


def _text(header: list[str], given: dict[str, str], draft: _Draft) -> tuple[str, dict[int, str]]:
    """Return a bench sheet's text as the spreadsheet has it, and the cell that each line came from."""
    rows: dict[tuple[float, str, int], dict[str, _Reading]] = {}
    for side, readings in draft.sides.items():
        met: Counter[tuple[float, str]] = Counter()
        for reading in readings:
            # sides that were drawn at different pressures cannot share a row
            key = (float(reading.lift), " ".join(reading.test_pressure or ()))
            rows.setdefault((*key, met[key]), {})[side] = reading
            met[key] += 1
    sides = [side for side in SIDES if draft.sides[side]]
    beside = {
        name: next(
            (pair[1] for row in rows.values() for s, r in row.items() if (pair := _pair(r, name, s))), None
        )
        for name in ("test pressure", "intake range", "exhaust range")
    }
    names = [name for name, unit in beside.items() if unit]
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(
        [
            f"lift [{given['lift']}]",
            *(f"{s} [{given[s]}]" for s in sides),
            *(f"{n} [{beside[n]}]" for n in names),
        ]
    )
    places: dict[int, str] = {}
    for key in sorted(rows):
        row = rows[key]
        first = next(iter(row.values()))
        cells = [first.lift, *(row[s].figures if s in row else "" for s in sides)]
        for name in names:
            pairs = [pair for s, r in row.items() if (pair := _pair(r, name, s))]
            cells.append(pairs[0][0] if pairs else "")
        writer.writerow(cells)
        places[len(header) + 1 + len(places) + 1] = " and ".join(r.place for r in row.values())
    return "\n".join([*header, stream.getvalue()]), places


def _pair(reading: _Reading, name: str, side: str) -> tuple[str, str] | None:
    if name == "test pressure":
        return reading.test_pressure
    return reading.full_range if name.startswith(side) else None


def _stem(key: _Key) -> str:
    """Return the words that a bench sheet's file is named by."""
    parts = [key.stage if key.role == "stage" else f"{key.role} {key.stage}"]
    if key.port:
        parts.append(f"port {key.port}")
    if key.setup:
        parts.append(f"set-up {key.setup}")
    return ", ".join(parts)
