"""A sheet typed into a grid: lifts are there, Enter goes down, every cell is on disk once it is left."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import streamlit as st

from core.files.sheet import read_sheet
from core.job import SIDES
from dashboard import entry_words
from dashboard import hand as hands
from dashboard.entry import at_bench, session
from dashboard.entry.draft import Work
from dashboard.hand import Hand
from dashboard.usertext import inert

_BASE = "grid-base"


@dataclass
class _Base:
    """What the grid was filled with: its own edits come on top, and never go round."""

    file: str
    number: int
    hand: Hand
    last: Hand  # with the edits that are in the file already

    @property
    def key(self) -> str:
        return f"grid-cells-{self.file}-{self.number}"


def settle() -> None:
    """Put what was typed into the grid into the file, before anything is drawn.

    This is no callback: a run that is stopped halfway would lose it, and here the next does it.
    """
    seen = session.seen()
    base: _Base | None = seen.get(_BASE)
    if base is None or not seen.get(base.key):
        return
    hand = _with_edits(base, seen[base.key])
    if hand == base.last:
        return
    work = session.work()
    if hands.from_text(work.files.get(base.file, b"")) == base.last:
        session.keep(work.changing({base.file: hand.text().encode()}))
        base.last = hand


def draw(work: Work, file: str, hand: Hand) -> None:
    """Draw the grid of one sheet, and what is wrong in it."""
    base = _base_of(file, hand)
    columns = {"lift": f"Lift, {hand.lift_unit}"}
    columns |= {side: f"{side.capitalize()}, {unit}" for side, unit in base.hand.units}
    cells = {name: [getattr(row, name) for row in base.hand.rows] for name in columns}
    st.data_editor(
        cells,
        key=base.key,
        hide_index=True,
        width="content",
        disabled=["lift"],
        column_config={name: st.column_config.TextColumn(text, width=120) for name, text in columns.items()},
        alt=entry_words.grid_alt(hand),
    )
    st.caption(entry_words.GRID_CAPTION)
    problems = problems_of(file, hand)
    for line in problems:
        st.caption(f":red-badge[check] {inert(line)}")
    if not problems:
        _draw_doubts(work, file, hand)


def _draw_doubts(work: Work, file: str, hand: Hand) -> None:
    """Say which readings do not fit, as at the bench."""
    rest, _ = session.without(work, file)
    for side, _ in hand.units:
        _, unit = at_bench.meter(hand, side)
        for line in entry_words.doubts(hand, side, at_bench.judged(rest, hand, file, side), unit):
            st.caption(line)


def _base_of(file: str, hand: Hand) -> _Base:
    """Return what the grid was filled with; anew where the sheet was changed somewhere else."""
    base: _Base | None = session.seen().get(_BASE)
    if base is None or base.file != file or base.last != hand:
        base = _Base(file, 0 if base is None else base.number + 1, hand, hand)
        st.session_state[_BASE] = base
    return base


def _with_edits(base: _Base, edited: Mapping | None) -> Hand:
    hand = base.hand
    for row, cells in (edited or {}).get("edited_rows", {}).items():
        lift = base.hand.rows[int(row)].lift
        for side in SIDES:
            if side in cells:
                hand = hand.reading(lift, side, hands.plain(" ".join((cells[side] or "").split())))
    return hand


def problems_of(file: str, hand: Hand) -> list[str]:
    """Return what the reader of sheets says of a sheet, by lift instead of by line."""
    if hand.is_empty():
        return []
    _, log = read_sheet(file, hand.text().encode())
    first = len(hand.head) + 2  # the line of the first row
    said = []
    for problem in log.problems:
        place = (problem.line or 0) - first
        lift = f"{hand.rows[place].lift} {hand.lift_unit}: " if 0 <= place < len(hand.rows) else ""
        said.append(lift + entry_words.problem_line(problem))
    return said
