"""What each reading is by the words near it: side, port, repeat, unit and test pressure."""

from __future__ import annotations

from dataclasses import replace

from core.files.spreadsheet.draft import Draft, Notes
from core.files.spreadsheet.headings import Heading, common, heading
from core.files.spreadsheet.lines import Found
from core.files.spreadsheet.mapping import Line
from core.job import Side
from core.units import quoted


def map_lines(draft: Draft, notes: Notes) -> None:
    """Give every line of a table its side, port, unit and test pressure.

    Parameters
    ----------
    draft : Draft
        The table; its mapped lines are filled in.
    notes : Notes
        Takes reasons and questions.
    """
    table = draft.table
    titles = [heading(text) for text in table.titles]
    tab = [heading(table.grid.name)] if table.grid.name else []
    outer = [heading(text) for text in table.outer]
    for line in draft.lines:
        if line.use == "reading":
            mapped = _reading(draft, notes, line, titles, tab, outer)
        else:
            unit = _beside_unit(line, [*titles, *outer], notes)
            mapped = Line(line.column, line.use, line.heading, unit=unit, why=line.why)
            if line.use == "skip":
                notes.say(draft.place(line), f"left out: {line.why}", "unsure" if line.doubt else "likely")
            else:
                notes.say(draft.place(line), f"says the {line.use}, row by row", "likely")
        draft.mapped[line.column] = mapped


def _reading(
    draft: Draft,
    notes: Notes,
    line: Found,
    titles: list[Heading],
    tab: list[Heading],
    outer: list[Heading],
) -> Line:
    near = [*line.words, *titles, *tab, *outer]
    side = _side(draft, notes, line, near)
    mapped = Line(
        line.column,
        "reading",
        line.heading,
        stage=line.stage or None,
        side=side,
        port=line.port or common([*titles, *tab, *outer], "port"),
        run=line.run or common([*titles, *tab], "run"),
        setup=line.setup or common([*titles, *tab], "setup"),
        unit=_unit(draft, notes, line, near, titles),
        test_pressure=_pressure(draft, notes, line, titles, [*tab, *outer]),
        corrected_to=common(near, "corrected_to"),
        full_range=notes.answers.get("range"),
        role="target" if any(one.is_target for one in line.words) else "stage",
    )
    if mapped.role == "target":
        mapped = replace(mapped, stage=line.stage or "target")
    certainty = "sure" if line.stage_sure else "likely"
    notes.say(draft.place(line), f"{_said(mapped, draft)}: {line.stage_reason}", certainty)
    return mapped


def _said(line: Line, draft: Draft) -> str:
    """Return what a line is taken to be, in words."""
    parts = [
        line.stage and f"stage {quoted(line.stage)}",
        line.side or ("side by its rows" if draft.has("side") else "side not stated"),
        line.port and f"port {line.port}",
        line.run and f"run {line.run}",
        line.setup and f"set-up {line.setup}",
        line.unit and f"in {line.unit}",
        line.test_pressure and f"at {line.test_pressure}",
        line.corrected_to and f"corrected to {line.corrected_to}",
    ]
    return ", ".join(part for part in parts if part)


def _side(draft: Draft, notes: Notes, line: Found, near: list[Heading]) -> Side | None:
    if draft.has("side"):
        return None
    side = common(line.words, "side") or common(near, "side")
    if side is None:
        notes.ask.side(draft.place(line), line.heading)
    return side


def _unit(draft: Draft, notes: Notes, line: Found, near: list[Heading], titles: list[Heading]) -> str | None:
    own, over = common(line.words, "flow_unit"), common(titles, "flow_unit")
    if own and over and own != over and "%" not in (own, over):
        of_lines = {common(other.words, "flow_unit") or other.cell_unit for other in draft.readings}
        if over not in of_lines:  # else the title names what stands in another line
            notes.ask.two_units(draft.place(line), own, over)
            return None
    stated = next((one for one in near if one.flow_unit or one.standard_flow), None)
    unit = stated.flow_unit if stated else line.cell_unit
    if stated is not None and unit is None:
        notes.ask.standard_flow(draft.place(line), stated.text)
    elif unit is None:
        notes.ask.flow_unit(draft.place(line))
    elif unit == "%" and not draft.has("range"):
        notes.ask.full_range(draft.place(line))
    return unit


def _beside_unit(line: Found, near: list[Heading], notes: Notes) -> str | None:
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
        notes.ask.pressure_unit(line.heading)
        return notes.answers.get("pressure unit")
    return None


def _goes_on_below(draft: Draft) -> bool:
    """Return whether lifts stand below the table, past a line of words that may change what holds."""
    table = draft.table
    return any(table.view.is_number(row, table.lift) for row in table.left_out)


def _pressure(
    draft: Draft, notes: Notes, line: Found, titles: list[Heading], outer: list[Heading]
) -> str | None:
    if draft.has("test pressure"):
        return None
    for group in (line.words, titles, outer):
        said = {one.pressure for one in group if one.pressure}
        if len(said) > 1 or any(one.several_pressures for one in group):
            notes.ask.several_pressures(draft.place(line), sorted(said))
            return None
        if said and group is outer and _goes_on_below(draft):
            notes.ask.pressure_from_here(draft.place(line), sorted(said))
            return None
        if said:
            return said.pop()
        bare = common(group, "bare_pressure")
        if bare:
            notes.ask.bare_pressure(draft.place(line), bare)
            return None
    if not any(one.corrected_to for one in (*line.words, *titles, *outer)):
        notes.ask.no_pressure()
    return None
