"""Lines that seem to be one sweep: repeats, means, one flow in two units, heads on several sheets."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from core.files.log import folded
from core.files.spreadsheet.draft import Draft, Notes
from core.files.spreadsheet.lines import Found, is_mean_of, same_flow
from core.files.spreadsheet.mapping import Line
from core.units import quoted

_NUMBERED = re.compile(r"(.*?)[\s#.]*(\d{1,2})")

_Twin = tuple[Draft, Found]


def tell_apart(drafts: Sequence[Draft], notes: Notes) -> None:
    """Settle lines that seem to be one sweep, or ask what tells them apart.

    Parameters
    ----------
    drafts : sequence of Draft
        All tables; some of their mapped lines are changed.
    notes : Notes
        Takes reasons and questions.
    """
    for draft in drafts:
        for found in draft.readings:
            if found.is_average:
                _number_its_repeats(draft, found, notes)
    for group in _groups(drafts, "side", "role"):
        _skip_means(group, notes)  # of repeats, or of ports
    for group in _groups(drafts, "side", "role", "port", "setup"):
        _skip_second_units(group, notes)
        left = [(draft, found) for draft, found in group if _line(draft, found).use == "reading"]
        if len({draft.sheet_index for draft, _ in left}) > 1:
            # whatever they were tested at: two heads must not become one
            notes.ask.sheet(list(dict.fromkeys(draft.table.grid.name for draft in drafts)))
            continue
        for pressure in {_line(*twin).test_pressure for twin in left}:
            _settle([twin for twin in left if _line(*twin).test_pressure == pressure], notes)


def _groups(drafts: Sequence[Draft], *names: str) -> list[list[_Twin]]:
    """Return the lines that are of one stage and agree in what is named."""
    groups: dict[tuple[object, ...], list[_Twin]] = {}
    for draft in drafts:
        for found in () if draft.has("stage") else draft.readings:
            line = _line(draft, found)
            key = (folded(line.stage or ""), *(getattr(line, name) for name in names))
            groups.setdefault(key, []).append((draft, found))
    return list(groups.values())


def _line(draft: Draft, found: Found) -> Line:
    return draft.mapped[found.column]


def _settle(group: Sequence[_Twin], notes: Notes) -> None:
    """Take numbered repeats as one set-up, which claims least, and ask about all others."""
    runs = [_line(*twin).run for twin in group]
    if len(group) < 2:
        return
    numbered = None not in runs and len(set(runs)) == len(runs)
    if numbered:
        notes.ask.repeats()
        answer = notes.answers.get("repeats")
    else:
        first = _line(*group[0])
        notes.ask.same([draft.place(found) for draft, found in group], first.stage or "", first.side)
        answer = notes.answers.get("same")
    for i, (draft, found) in enumerate(group, start=1):
        line = _line(draft, found)
        name = line.run if numbered else str(i)
        if answer == "set-ups":
            line = replace(line, setup=name, run=None)
        elif answer == "one set-up":
            line = replace(line, run=name)
        elif answer == "first" and i > 1:
            line = replace(line, use="skip", why="as you said")
        draft.mapped[found.column] = line


def _number_its_repeats(draft: Draft, mean: Found, notes: Notes) -> None:
    """Take lines for repeats that differ in a number only and whose mean stands beside them."""
    line = _line(draft, mean)
    numbered: dict[str, list[tuple[Found, str]]] = {}
    for found in draft.readings:
        match = _NUMBERED.fullmatch(found.stage)
        if match and found is not mean and _line(draft, found).side == line.side:
            numbered.setdefault(folded(match[1]), []).append((found, match[2]))
    for group in numbered.values():
        if is_mean_of(mean, [found for found, _ in group]):
            for found, number in group:
                own = replace(_line(draft, found), stage=line.stage, run=number)
                draft.mapped[found.column] = own
                text = (
                    f"stage {quoted(own.stage)}, run {number}: {draft.place(mean)} is the mean of such lines"
                )
                notes.say_instead(draft.place(found), text, "likely")


def _skip_means(group: Sequence[_Twin], notes: Notes) -> None:
    single = [twin for twin in group if not twin[1].is_average]
    for draft, found in group:
        if not found.is_average:
            continue
        if not single:
            text = "a mean, taken as the reading, for what it is a mean of is not here"
            notes.say(draft.place(found), text, "likely")
            continue
        is_mean = is_mean_of(found, [other for own, other in single if own is draft])
        _skip(draft, found, "the mean of the others" if is_mean else "a mean, by its heading", notes)


def _skip_second_units(group: Sequence[_Twin], notes: Notes) -> None:
    asked = notes.answers.get("flow")
    kept: list[_Twin] = []
    for draft, found in group:
        line = _line(draft, found)
        if line.use != "reading":
            continue
        unit = line.unit or asked
        mine = _as_flow(draft, found, unit)
        beside = [(other, _line(own, other).unit or asked) for own, other in kept if own is draft]
        twin = next(
            (other for other, u in beside if u != unit and same_flow(*mine, *_as_flow(draft, other, u))), None
        )
        if twin is None:
            kept.append((draft, found))
        else:
            _skip(draft, found, f"{draft.table.grid.line(twin.column)} once more, in {unit}", notes)


def _as_flow(draft: Draft, found: Found, unit: str | None) -> tuple[list[float | None], str | None]:
    """Return a line's numbers and their unit, percentages as flows where the range stands beside them."""
    beside = next((line for line in draft.lines if line.use == "range"), None)
    if unit != "%" or beside is None:
        return found.values, unit
    flows = [
        None if value is None or full is None else value / 100 * full
        for value, full in zip(found.values, beside.values, strict=True)
    ]
    return flows, draft.mapped[beside.column].unit


def _skip(draft: Draft, found: Found, why: str, notes: Notes) -> None:
    draft.mapped[found.column] = replace(_line(draft, found), use="skip", why=why)
    notes.say_instead(draft.place(found), f"left out: {why}", "likely")
