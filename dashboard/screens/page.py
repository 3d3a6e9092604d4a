"""What every screen shares: its head, errors and the empty state, tables and charts."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence

import pyarrow as pa  # comes with streamlit
import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from core.job import Problem
from core.results import Review
from dashboard import phrases, state, words
from dashboard.charts.frame import Row, Spec
from dashboard.screens.missing import draw_missing_root
from dashboard.state import Opened, Shown
from dashboard.tables import Cell, Table, apart
from dashboard.usertext import inert

LINE_BREAK = "  \n"
_CHART_WIDTH = 384  # pixels: two fit on a page of 1280; names at line ends need most of it


def open_screen(title: str) -> tuple[Shown, Review] | None:
    """Draw a screen's head; return what to show, or None where errors or the empty state stand instead."""
    shown = state.shown()
    st.title(title)
    if shown.opened is None:
        _draw_empty()
        return None
    if shown.opened.review is None:
        _draw_problems(shown.opened)
        return None
    review = shown.opened.review
    st.caption(f"{inert(review.job.title)} · {words.conditions(review, shown.units)}")
    return shown, review


def _draw_empty() -> None:
    if draw_missing_root():
        return
    st.header(phrases.EMPTY_LEAD)
    st.markdown(phrases.EMPTY_HELP if not state.for_customer_only() else phrases.EMPTY_CUSTOMER)
    if state.for_customer_only():
        return
    st.code(phrases.SAMPLE_SHEET, language=None)
    st.download_button(
        phrases.SAMPLE_LABEL,
        phrases.SAMPLE_SHEET.encode(),
        phrases.SAMPLE_NAME,
        "text/csv",
        on_click="ignore",
    )


def _draw_problems(opened: Opened) -> None:
    st.error(phrases.problem_count(opened.problems, opened.files))
    draw_problem_rows(opened.problems)
    if st.session_state["job"] == state.OWN:
        st.caption(phrases.MEND_UPLOADS)


def draw_problem_rows(problems: Sequence[Problem]) -> None:
    """Draw why an input cannot be used: where, what is wrong, and in bold what to do."""
    rows = [
        (
            LINE_BREAK.join(map(inert, _where(p))),
            f"{inert(p.text)} **{inert(p.cure)}**" if p.cure else inert(p.text),
        )
        for p in problems
    ]
    draw_rows(("Where", "What is wrong, and what to do"), rows)


def _where(problem: Problem) -> list[str]:
    line = None if problem.line is None else f"line {problem.line}"
    column = None if problem.column is None else f"column {problem.column}"
    place = ", ".join(filter(None, (line, column)))
    return [problem.file, *([place] if place else [])]


def draw_rows(columns: Sequence[str], rows: Sequence[Sequence[str]], alt: str | None = None) -> None:
    """Draw a table of Markdown that is ready; equal headings are told apart, for a table needs that."""
    heads: list[str] = []
    for column in columns:
        while column in heads:
            column += "\u2060"
        heads.append(column)
    columns_of_cells = [list(column) for column in zip(*rows, strict=True)] or [[] for _ in heads]
    table = pa.table(dict(zip(heads, columns_of_cells, strict=True)))
    st.table(table, hide_index=True, border="horizontal", alt=alt)


def draw_table(table: Table, alt: str | None = None) -> None:
    """Draw a table of plain text."""
    draw_rows(
        [inert(head) for head in table.columns], [[inert(cell) for cell in row] for row in table.rows], alt
    )


def draw_apart(table: Table, everywhere: str) -> None:
    """Draw a table of plain text, and over it what is the same in every row."""
    table, same = apart(table)
    if same:
        st.markdown(f"{everywhere}: {inert('; '.join(f'{head} {cell}' for head, cell in same))}.")
    draw_table(table)


def cell_text(cell: Cell) -> str:
    """Return a number with its verdict, a clear one in bold, and its doubts on lines of their own."""
    if cell.verdict is None:
        return inert(cell.number)
    verdict = f"{cell.mark}\u00a0{cell.words}"
    said = [
        f"{cell.number} **{verdict}**" if cell.verdict.startswith("clear") else f"{cell.number} {verdict}"
    ]
    return LINE_BREAK.join([*said, *(inert(doubt) for doubt in cell.doubts)])


def beside(count: int) -> list[DeltaGenerator]:
    """Return places for charts beside each other, one under the other where the page is too narrow."""
    row = st.container(horizontal=True, gap="medium")
    return [row.container(width=_CHART_WIDTH) for _ in range(count)]


def draw_chart(spec: Spec) -> None:
    """Draw a chart as it is specified; its description stands for it where it cannot be seen."""
    _show(_sent(spec))


def draw_kept_chart(shown: Shown, make: Callable[..., Spec], *how: Hashable) -> None:
    """Draw the chart ``make(review, *how)``, made once for all who look at the job."""
    _show(shown.opened.drawn(_made, make, *how))


def _made(review: Review, make: Callable[..., Spec], *how: Hashable) -> Spec:
    return _sent(make(review, *how))


def _sent(spec: Spec) -> Spec:
    """Return a chart with its rows in the form they are sent in."""
    return {**spec, "datasets": {name: _columns(rows) for name, rows in spec["datasets"].items()}}


def _show(spec: Spec) -> None:
    drawn = {key: value for key, value in spec.items() if key != "description"}
    st.vega_lite_chart(drawn, theme=None, width="stretch", alt=spec["description"])


def _columns(rows: Sequence[Row]) -> pa.Table:
    """Return rows as columns: the form they are sent in, and made in a tenth of the time of a frame."""
    names = dict.fromkeys(name for row in rows for name in row)
    return pa.table({name: [row.get(name) for row in rows] for name in names})


@st.fragment
def fold(title: str, key: str, draw: Callable[..., None], *args: object) -> None:
    """Draw a section that is closed at first; what is in it is worked out when it is opened."""
    section = st.expander(title, key=f"fold-{key}", on_change="rerun")
    if section.open:
        with section:
            draw(*args)
