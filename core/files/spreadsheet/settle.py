"""One table looked over: its lifts and their unit, and what may be no reading in it."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

from core import units
from core.files.spreadsheet.draft import Draft, Notes
from core.files.spreadsheet.grid import Grid
from core.files.spreadsheet.headings import common, heading
from core.files.spreadsheet.lines import Found
from core.files.spreadsheet.view import Table
from core.units import quoted

_LOWEST_TOP_M, _HIGHEST_TOP_M = 0.003, 0.030  # of any valve's lifts (common practice, no source)


def settle_table(draft: Draft, notes: Notes) -> None:
    """Say where a table is, settle its draft.lifts, and what a person has decided of its lines.

    Parameters
    ----------
    draft : Draft
        The table; its lift unit and the use of its lines are filled in.
    notes : Notes
        Takes reasons and questions.
    """
    table, grid = draft.table, draft.table.grid
    if table.head_row is None and "lift line" not in notes.answers:
        notes.say(draft.lifts, "no heading says lift; these numbers rise in even steps as lifts do", "unsure")
        notes.ask.lift_line(draft.lifts, grid.line(table.lift).split()[1])
    elif table.head_row is not None:
        text = table.view.text(table.head_row, table.lift)
        notes.say(draft.lifts, f"the lifts, for its heading says {quoted(text)}")
    for column in table.other_lifts:
        where = draft.where + grid.line(column)
        if _agrees(draft, column):
            notes.say(where, "left out: the lifts once more", "likely")
        else:
            notes.say(where, "left out: lifts, too, but they do not agree with the others", "unsure")
    if table.either_way and "way" not in notes.answers:
        notes.ask.way(draft.where)
    for line in draft.lines:
        _decide(draft, notes, line)
    _check_rows(draft, notes)
    draft.lift_unit = _lift_unit(draft, notes)


def _agrees(draft: Draft, column: int) -> bool:
    """Return whether other lifts are the same but for their unit."""
    table, view = draft.table, draft.table.view
    pairs = zip(view.values(table.lift, table.rows), view.values(column, table.rows), strict=True)
    factors = [b / a for a, b in pairs if a and b]
    return not factors or max(factors) <= 1.02 * min(factors)


def _decide(draft: Draft, notes: Notes, line: Found) -> None:
    """Take a person's word on whether a line is a reading, and ask for it where it is in doubt."""
    key = f"use {draft.where}{draft.table.grid.line(line.column)}"
    if key in notes.answers:
        is_reading = notes.answers[key] == "reading"
        line.use, line.why = ("reading", "") if is_reading else ("skip", "as you said")
    elif line.doubt:
        notes.ask.use(key, draft.place(line), line.heading, line.doubt)
        if line.use == "reading":
            line.use, line.why = "skip", line.doubt


def _check_rows(draft: Draft, notes: Notes) -> None:
    """Look at rows below the table, lifts that begin anew, and cells that are no numbers."""
    table, view = draft.table, draft.table.view
    stray = []
    for row in table.left_out:
        text = view.text(row, table.lift)
        place = f"{draft.where}{'column' if table.grid.turned else 'row'} {_name_of_row(table.grid, row)}"
        if text and not view.is_number(row, table.lift):
            notes.say(place, f"{quoted(text)} is no lift, so its numbers are left out", "likely")
        else:
            stray.append(place)
    if stray:
        notes.ask.stray(stray)
    dates = [r for r in table.rows if view.amounts[r][table.lift].kind == "date"]
    if dates:
        place = table.grid.place(dates[0], table.lift)
        notes.ask.dates(draft.where + place, view.amounts[dates[0]][table.lift].month_day)
    labels = [line for line in draft.lines if line.use in ("stage", "side", "port", "run")]
    if _begins_anew(table, labels):
        notes.ask.anew(draft.lifts)
    words = [
        (view.text(row, line.column), table.grid.place(row, line.column))
        for line in draft.readings
        for row in table.rows
        # a figure among the letters is a slip of the pen, and none of these
        if view.amounts[row][line.column].kind == "text"
        and not any(c.isdigit() for c in view.text(row, line.column))
    ]
    notes.ask.blank(draft.where, words)


def _lift_unit(draft: Draft, notes: Notes) -> str | None:
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
    if unit is None:
        notes.ask.lift_unit(draft.lifts, values)
        return None
    top = max(values, default=0.0) * units.factor(unit, ("lift",))[1]
    if values and not in_cells and not _LOWEST_TOP_M <= top <= _HIGHEST_TOP_M:
        notes.ask.strange_lift_unit(draft.lifts, unit, values)
        return notes.answers.get("lift")
    notes.say(draft.lifts, f"lifts in {unit}: {said}")
    return unit


def _begins_anew(table: Table, labels: Sequence[Found]) -> bool:
    """Return whether lifts begin anew within a table and no word beside them says why."""
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
        steps = [b - a for a, b in itertools.pairwise(values) if b != a]
        if any(step > 0 for step in steps) and any(step < 0 for step in steps):
            return True
    return False


def _name_of_row(grid: Grid, row: int) -> str:
    place = grid.place(row, 0)
    return place.rstrip("0123456789") if grid.turned else place.lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ")
