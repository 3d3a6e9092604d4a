"""The mapping that a spreadsheet suggests, a reason for each guess, and a question where it is none."""

from __future__ import annotations

from collections.abc import Mapping as Answers
from collections.abc import Sequence
from dataclasses import dataclass, replace

from core import units
from core.files.log import folded
from core.files.spreadsheet import questions as ask
from core.files.spreadsheet.find import Table, find_tables
from core.files.spreadsheet.grid import Book, Grid
from core.files.spreadsheet.headings import Heading, common, heading
from core.files.spreadsheet.lines import Found, is_mean_of, lines_of, same_flow
from core.files.spreadsheet.mapping import (
    Line,
    Mapping,
    Proposal,
    Question,
    Reason,
    TableMap,
    answered,
)
from core.files.spreadsheet.names import file_name, name_lines, sheet_name, table_names
from core.job import Side

_LOWEST_TOP_M, _HIGHEST_TOP_M = 0.003, 0.030  # of any valve's lifts (common practice, no source)
_MOST_NOTES = 6


@dataclass
class _Draft:
    """One table on its way into the mapping."""

    sheet_index: int
    table: Table
    lines: list[Found]
    mapped: dict[int, Line]
    lift_unit: str | None = None
    wanted: bool = True

    @property
    def where(self) -> str:
        """Return how to call the table's sheet."""
        return f"'{self.table.grid.name}', " if self.table.grid.name else ""

    def place(self, line: Found) -> str:
        """Return how to call a line."""
        return self.where + self.table.grid.line(line.column)

    @property
    def readings(self) -> list[Found]:
        """Return the lines that are readings, as far as is known."""
        return [line for line in self.lines if line.use == "reading"]


def propose(book: Book, answers: Answers[str, str] | None = None) -> Proposal:
    """Return what a spreadsheet seems to be.

    Parameters
    ----------
    book : Book
        The spreadsheet.
    answers : mapping of str to str, optional
        What a person said to the questions of an earlier proposal, by their keys.

    Returns
    -------
    Proposal
        A mapping, why it is so, and what it cannot tell.
    """
    work = _Work(book, dict(answers or {}))
    work.find()
    for draft in work.drafts:
        work.sort(draft)
    work.name()
    for draft in work.drafts:
        work.map(draft)
    work.tell_apart()
    return work.proposal()


class _Work:
    """A proposal as it grows."""

    def __init__(self, book: Book, answers: dict[str, str]) -> None:
        self.book = book
        self.answers = answers
        self.drafts: list[_Draft] = []
        self.reasons: list[Reason] = []
        self.questions: list[Question] = []

    def say(self, where: str, text: str, certainty: str = "sure") -> None:
        """Add a reason."""
        self.reasons.append(Reason(where, text, certainty))

    def ask(self, question: Question | None) -> None:
        """Add a question, once, unless it has been answered."""
        if (
            question
            and question.key not in self.answers
            and question.key not in {q.key for q in self.questions}
        ):
            self.questions.append(question)

    # tables -------------------------------------------------------------------------------

    def find(self) -> None:
        """Find the tables of every sheet that is shown."""
        chosen = folded(self.answers.get("sheet", ""))
        for i, sheet in enumerate(self.book.sheets):
            name = f"'{sheet.name}'" if sheet.name else self.book.name
            if sheet.hidden and folded(sheet.name) != chosen:
                self.say(name, "the sheet is hidden, and left out", "likely")
                continue
            tables = find_tables(sheet, self.answers.get("lift line"), self.answers.get("way"))
            if not tables:
                if sheet.rows:
                    self.say(name, "no lifts with readings beside them were found here", "unsure")
                continue
            for table in tables:
                wanted = not chosen or folded(sheet.name) == chosen
                self.drafts.append(_Draft(i, table, lines_of(table), {}, wanted=wanted))
        if not self.drafts:
            self.ask(ask.no_table())

    def sort(self, draft: _Draft) -> None:
        """Say where a table is, and settle its lifts and the lines that a person has decided on."""
        table, grid = draft.table, draft.table.grid
        lifts = draft.where + grid.line(table.lift)
        if table.head_row is None and "lift line" not in self.answers:
            self.say(lifts, "no heading says lift; these numbers rise in even steps as lifts do", "unsure")
            self.ask(ask.lift_line(lifts, grid.line(table.lift).split()[1]))
        elif table.head_row is not None:
            text = table.view.text(table.head_row, table.lift)
            self.say(lifts, f"the lifts, for its heading says '{text}'")
        if table.either_way and "way" not in self.answers:
            self.ask(ask.way(draft.where))
        for line in draft.lines:
            self._decide(draft, line)
        self._check_rows(draft)
        draft.lift_unit = self._lift_unit(draft)

    def _decide(self, draft: _Draft, line: Found) -> None:
        """Take a person's word on whether a line is a reading, and ask for it where it is in doubt."""
        key = f"use {draft.where}{draft.table.grid.line(line.column)}"
        if key in self.answers:
            is_reading = self.answers[key] == "reading"
            line.use, line.why = ("reading", "") if is_reading else ("skip", "as you said")
        elif line.doubt:
            self.ask(ask.use(key, draft.place(line), line.heading, line.doubt))
            if line.use == "reading":
                line.use, line.why = "skip", line.doubt

    def _check_rows(self, draft: _Draft) -> None:
        """Look at rows below the table, lifts that begin anew, and cells that are no numbers."""
        table, view = draft.table, draft.table.view
        for row in table.left_out:
            text = view.text(row, table.lift)
            place = f"{draft.where}{'column' if table.grid.turned else 'row'} {_name_of_row(table.grid, row)}"
            if text and not view.is_number(row, table.lift):
                self.say(place, f"'{text}' is no lift, so its numbers are left out", "likely")
            else:
                self.ask(ask.stray(place))
        dates = [r for r in table.rows if view.amounts[r][table.lift].kind == "date"]
        if dates:
            place = table.grid.place(dates[0], table.lift)
            self.ask(ask.dates(draft.where + place, view.amounts[dates[0]][table.lift].month_day))
        labels = [line for line in draft.lines if line.use in ("stage", "side", "port", "run")]
        if begins_anew(table, labels):
            self.ask(ask.anew(draft.where + table.grid.line(table.lift)))
        words = []
        for line in draft.readings:
            for row in table.rows:
                one = view.amounts[row][line.column]
                if one.kind == "text":
                    words.append((view.text(row, line.column), table.grid.place(row, line.column)))
        known = {folded(word) for word in self.answers.get("blank", "").split(",")}
        words = [(word, place) for word, place in words if folded(word) not in known]
        if words:
            self.questions = [q for q in self.questions if q.key != "blank"]
            self.questions.append(ask.blank(draft.where, words))

    def _lift_unit(self, draft: _Draft) -> str | None:
        table, view = draft.table, draft.table.view
        over = [heading(level.text) for level in table.levels(table.lift)]
        unit = common(over, "lift_unit")
        said = "its heading says so"
        if unit is None:
            titles = [heading(text) for text in (*table.titles, *table.outer)]
            unit = common([one for one in titles if one.is_lift], "lift_unit")
            said = "a title says so"
        amounts = [view.amounts[row][table.lift] for row in table.rows]
        in_cells = {one.unit for one in amounts if one.unit}
        if unit is None and len(in_cells) == 1 and all(one.unit for one in amounts if one.kind == "number"):
            unit, said = in_cells.pop(), "every cell says so"
        if unit is None and any(one.is_fraction or one.kind == "date" for one in amounts):
            unit, said = "in", "they are written as fractions"
        values = [one.value for one in amounts if one.kind == "number"]
        where = draft.where + table.grid.line(table.lift)
        if unit is None:
            self.ask(ask.lift_unit(where, values))
            return None
        top = max(values, default=0.0) * units.factor(unit, ("lift",))[1]
        if values and not in_cells and not _LOWEST_TOP_M <= top <= _HIGHEST_TOP_M:
            self.ask(ask.strange_lift_unit(where, unit, values))
            return self.answers.get("lift")
        self.say(where, f"lifts in {unit}: {said}")
        return unit

    # names --------------------------------------------------------------------------------

    def name(self) -> None:
        """Give every reading its stage: by headings, by titles, by the sheet's name, by the file's."""
        for index in dict.fromkeys(draft.sheet_index for draft in self.drafts):
            drafts = [draft for draft in self.drafts if draft.sheet_index == index]
            named = table_names([draft.table for draft in drafts])
            for draft, (title, is_stated) in zip(drafts, named, strict=True):
                name_lines(draft.readings)
                self._name_numbered(draft)
                if any(line.use == "stage" for line in draft.lines):
                    for line in draft.readings:
                        line.stage, line.stage_reason = "", "its rows say which stage"
                    continue
                for line in draft.readings:
                    if not line.stage or (is_stated and "over all lines" in line.stage_reason):
                        self._name_by_title(draft, line, title, is_stated)

    def _name_by_title(self, draft: _Draft, line: Found, title: str, is_stated: bool) -> None:
        tab, several = sheet_name(draft.table.grid.name), len(self.book.sheets) > 1
        if is_stated:
            line.stage, line.stage_reason = title, f"a line over the table says so: '{title}'"
        elif several and tab:
            line.stage, line.stage_reason = tab, f"the sheet is called '{draft.table.grid.name}'"
        elif title:
            line.stage, line.stage_reason = title, f"the title over the table is '{title}'"
        elif tab:
            line.stage, line.stage_reason = tab, f"the sheet is called '{draft.table.grid.name}'"
        else:
            line.stage = file_name(self.book.name)
            line.stage_reason = "nothing in the sheet names a stage, so it is called as the file"
        line.stage_sure = is_stated

    def _name_numbered(self, draft: _Draft) -> None:
        """Settle what plain numbers over lines count: ports, repeats or stages."""
        numbered = [line for line in draft.readings if line.numbered]
        if not numbered:
            return
        words = [level.text for line in numbered for level in line.levels]
        words += [*draft.table.titles, draft.table.grid.name]
        what = self.answers.get("numbers") or ask.counted(words)
        if what is None:
            self.ask(ask.numbers(draft.where, [line.stage for line in numbered]))
            return
        for line in numbered:
            number, line.stage = line.stage, ""
            if what == "port":
                line.port = number
            elif what == "run":
                line.run = number
            else:
                line.stage, line.stage_reason = f"stage {number}", "the numbers over the lines count stages"

    # lines --------------------------------------------------------------------------------

    def map(self, draft: _Draft) -> None:
        """Give every line its side, port, unit and test pressure."""
        table = draft.table
        titles = [heading(text) for text in table.titles]
        tab = [heading(table.grid.name)] if table.grid.name else []
        outer = [heading(text) for text in table.outer]
        for line in draft.lines:
            if line.use == "reading":
                mapped = self._reading(draft, line, titles, tab, outer)
            else:
                unit = self._beside_unit(line, [*titles, *outer])
                mapped = Line(line.column, line.use, line.heading, unit=unit, why=line.why)
                if line.use == "skip":
                    self.say(draft.place(line), f"left out: {line.why}", "unsure" if line.doubt else "likely")
            draft.mapped[line.column] = mapped

    def _reading(
        self,
        draft: _Draft,
        line: Found,
        titles: list[Heading],
        tab: list[Heading],
        outer: list[Heading],
    ) -> Line:
        near = [*line.words, *titles, *tab, *outer]
        side = self._side(draft, line, near)
        mapped = Line(
            line.column,
            "reading",
            line.heading,
            stage=line.stage or None,
            side=side,
            port=line.port or common([*titles, *tab, *outer], "port"),
            run=line.run or common([*titles, *tab], "run"),
            setup=line.setup or common([*titles, *tab], "setup"),
            unit=self._unit(draft, line, near),
            test_pressure=self._pressure(draft, line, titles, [*tab, *outer]),
            corrected_to=common(near, "corrected_to"),
            full_range=self.answers.get("range"),
            role="target" if any(one.is_target for one in line.words) else "stage",
        )
        if mapped.role == "target":
            mapped = replace(mapped, stage=line.stage or "target")
        stage_certainty = "sure" if line.stage_sure else "likely"
        said = [f"stage '{mapped.stage}'"] if mapped.stage else []
        said += [mapped.side or "side not stated"]
        said += [f"port {mapped.port}"] if mapped.port else []
        said += [f"run {mapped.run}"] if mapped.run else []
        said += [f"set-up {mapped.setup}"] if mapped.setup else []
        said += [f"in {mapped.unit}"] if mapped.unit else []
        said += [f"at {mapped.test_pressure}"] if mapped.test_pressure else []
        said += [f"corrected to {mapped.corrected_to}"] if mapped.corrected_to else []
        self.say(draft.place(line), f"{', '.join(said)}: {line.stage_reason}", stage_certainty)
        return mapped

    def _side(self, draft: _Draft, line: Found, near: list[Heading]) -> Side | None:
        if any(other.use == "side" for other in draft.lines):
            return None
        side = common(line.words, "side") or common(near, "side")
        if side is None:
            self.ask(ask.side(draft.place(line), line.heading))
        return side

    def _unit(self, draft: _Draft, line: Found, near: list[Heading]) -> str | None:
        stated = next((one for one in near if one.flow_unit or one.standard_flow), None)
        if len(line.cell_units) > 1:
            return None  # each cell says its own; where they differ that is a problem of the cell
        in_cells = next(iter(line.cell_units), None)
        if stated is not None and not in_cells:
            if not stated.flow_unit:
                self.ask(ask.standard_flow(draft.place(line), stated.text))
                return None
            if stated.flow_unit == "%" and not self._has_range(draft, line):
                self.ask(ask.full_range(draft.place(line)))
            return stated.flow_unit
        if in_cells is None:
            self.ask(ask.flow_unit(draft.place(line)))
        elif in_cells == "%" and not self._has_range(draft, line):
            self.ask(ask.full_range(draft.place(line)))
        return in_cells

    def _has_range(self, draft: _Draft, line: Found) -> bool:
        return any(other.use == "range" for other in draft.lines)

    def _beside_unit(self, line: Found, near: list[Heading]) -> str | None:
        """Return the unit of a column of ranges or test pressures."""
        if line.use == "range":
            said = common([*line.words, *near], "flow_unit")
            return None if said == "%" else said
        if line.use == "test pressure":
            text = " ".join(level.text for level in line.levels).casefold()
            for unit in ("mmh2o", "kpa", "mbar", "hpa"):
                if unit in text.replace(" ", ""):
                    return unit
            if any(mark in text for mark in ('"', "in", "h2o", "water", "wc")):
                return "inH2O"
            self.ask(ask.pressure_unit(line.heading))
            return self.answers.get("pressure unit")
        return None

    def _pressure(
        self, draft: _Draft, line: Found, titles: list[Heading], outer: list[Heading]
    ) -> str | None:
        if any(other.use == "test pressure" for other in draft.lines):
            return None
        for group in (line.words, titles, outer):
            said = {one.pressure for one in group if one.pressure}
            if len(said) > 1 or any(one.several_pressures for one in group):
                self.ask(ask.several_pressures(draft.place(line), sorted(said)))
                return None
            if said:
                return said.pop()
            bare = common(group, "bare_pressure")
            if bare:
                self.ask(ask.bare_pressure(draft.place(line), bare))
                return None
        if not any(one.corrected_to for one in (*line.words, *titles, *outer)):
            self.ask(ask.no_pressure())
        return None

    # lines that say the same ---------------------------------------------------------------

    def tell_apart(self) -> None:
        """Settle lines that seem to be one sweep: repeats, means, two units, heads on several sheets."""
        groups: dict[tuple[object, ...], list[tuple[_Draft, Found, Line]]] = {}
        for draft in self.drafts:
            if draft.wanted and not any(line.use == "stage" for line in draft.lines):
                for found in draft.readings:
                    line = draft.mapped[found.column]
                    key = (
                        folded(line.stage or ""),
                        line.side,
                        line.port,
                        line.role,
                        line.test_pressure,
                        line.setup,
                    )
                    groups.setdefault(key, []).append((draft, found, line))
        for group in groups.values():
            self._without_means(group)
            self._without_second_units(group)
            left = [(d, f, d.mapped[f.column]) for d, f, _ in group if d.mapped[f.column].use == "reading"]
            runs = [line.run for _, _, line in left]
            if len(left) < 2:
                continue
            if None not in runs and len(set(runs)) == len(runs):
                self._repeats(left)
            elif len({draft.sheet_index for draft, _, _ in left}) > 1:
                names = [d.table.grid.name for d in self.drafts]
                self.ask(ask.sheet(list(dict.fromkeys(names))))
            else:
                self._same(left)

    def _repeats(self, group: Sequence[tuple[_Draft, Found, Line]]) -> None:
        """Take repeats as one set-up, which claims least, unless a person says otherwise."""
        self.ask(ask.repeats())
        if self.answers.get("repeats") == "set-ups":
            for draft, found, line in group:
                draft.mapped[found.column] = replace(line, setup=line.run, run=None)

    def _same(self, group: Sequence[tuple[_Draft, Found, Line]]) -> None:
        what = self.answers.get("same")
        places = [draft.place(found) for draft, found, _ in group]
        _, _, first = group[0]
        self.ask(ask.same(places, first.stage or "", first.side))
        for i, (draft, found, line) in enumerate(group, start=1):
            if what == "one set-up":
                draft.mapped[found.column] = replace(line, run=str(i))
            elif what == "set-ups":
                draft.mapped[found.column] = replace(line, setup=str(i))
            elif what == "first" and i > 1:
                draft.mapped[found.column] = replace(line, use="skip", why="as you said")

    def _without_means(self, group: Sequence[tuple[_Draft, Found, Line]]) -> None:
        single = [(d, f) for d, f, _ in group if not f.is_average]
        for draft, found, line in group:
            if not found.is_average:
                continue
            others = [f for d, f in single if d is draft]
            if not single:
                self.say(
                    draft.place(found), "a mean, taken as the reading, for its repeats are not here", "likely"
                )
                continue
            how = "the mean of the others" if is_mean_of(found, others) else "a mean, by its heading"
            draft.mapped[found.column] = replace(line, use="skip", why=how)
            self._said_left_out(draft, found, how)

    def _without_second_units(self, group: Sequence[tuple[_Draft, Found, Line]]) -> None:
        kept: list[tuple[_Draft, Found, Line]] = []
        for draft, found, line in group:
            if draft.mapped[found.column].use != "reading":
                continue
            twin = next((o for d, o, l in kept if d is draft and same_flow(found, line.unit, o, l.unit)
                         and line.unit != l.unit), None)  # fmt: skip
            if twin is None:
                kept.append((draft, found, line))
                continue
            why = f"{draft.table.grid.line(twin.column)} once more, in {line.unit}"
            draft.mapped[found.column] = replace(line, use="skip", why=why)
            self._said_left_out(draft, found, why)

    def _said_left_out(self, draft: _Draft, found: Found, why: str) -> None:
        place = draft.place(found)
        self.reasons = [reason for reason in self.reasons if reason.where != place]
        self.say(place, f"left out: {why}", "likely")

    # result ---------------------------------------------------------------------------------

    def proposal(self) -> Proposal:
        """Return the finished proposal, plain answers put in."""
        tables = tuple(
            TableMap(
                draft.table.grid.name,
                draft.sheet_index,
                draft.table.grid.turned,
                draft.table.lift,
                draft.table.rows,
                draft.lift_unit,
                tuple(draft.mapped[line.column] for line in draft.lines),
                draft.wanted,
                tuple(dict.fromkeys((*draft.table.titles, *draft.table.outer)))[:_MOST_NOTES],
            )
            for draft in self.drafts
        )
        mapping = answered(Mapping(tables), self.answers)
        wanted = [question for question in self.questions if self._is_open(question, mapping)]
        return Proposal(mapping, tuple(self.reasons), tuple(wanted))

    def _is_open(self, question: Question, mapping: Mapping) -> bool:
        return question.key not in self.answers or question.key == "blank"


def begins_anew(table: Table, labels: Sequence[Found]) -> bool:
    """Return whether lifts begin anew within a table and no word beside them says why.

    Parameters
    ----------
    table : Table
        The table.
    labels : sequence of Found
        Its columns of words that tell readings apart.

    Returns
    -------
    bool
        True where a part of the lifts turns back.
    """
    view = table.view
    last = [""] * len(labels)
    groups: dict[tuple[str, ...], list[float]] = {}
    for row in table.rows:
        for i, line in enumerate(labels):
            last[i] = view.text(row, line.column) or last[i]
        one = view.amounts[row][table.lift]
        place = view.covered.get((row, table.lift))
        if place:
            one = view.amounts[place[0]][place[1]]
        if one.kind == "number":
            groups.setdefault(tuple(last), []).append(one.value)
    for values in groups.values():
        steps = [b - a for a, b in zip(values, values[1:], strict=False) if b != a]
        if any(step > 0 for step in steps) and any(step < 0 for step in steps):
            return True
    return False


def _name_of_row(grid: Grid, row: int) -> str:
    place = grid.place(row, 0)
    return place.rstrip("0123456789") if grid.turned else place.lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ")
