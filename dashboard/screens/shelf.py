"""Shelf: where is that job?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path

import pandas as pd
import streamlit as st
from streamlit.elements.lib.column_types import ColumnConfig

from core.shelf import ORDERS, Entry, Shelf, in_order, matching
from dashboard import bench_words, shelf_words, state
from dashboard.figures import NOTHING
from dashboard.screens import results
from dashboard.screens.missing import draw_missing_root

_TABLE = "shelf-table"
_SHOWN = "shelf-folders"  # folders in the order of the rows that were shown
_WORK_S, _PAUSE_S = 0.4, 1.0
_REDRAW_EVERY = 40  # jobs worked out until the table is drawn anew
_ROWS = 18  # that fit a page; more are scrolled
_HEADS = {
    "title": "Job",
    "best": "Best gain, %",
    "of": "Verdict",
    "date": "Date",
    "customer": "Customer",
    "casting": "Casting",
    "serial": "Serial number",
    "engine": "Engine",
    "folder": "Folder",
}


def draw() -> None:
    """Draw the screen: how many jobs, what to look for, and a row for each that is found."""
    st.title("Shelf")
    if state.reader() == "customer":
        st.markdown(bench_words.SHOP_ONLY)
        return
    if st.session_state.pop("opened-from-shelf", False):
        st.switch_page(_results(), query_params={"job": st.session_state["job"], **_kept()})
    if draw_missing_root():
        return
    shelf = _shelf(str(state.root()))
    names = set(state.job_names())
    entries = [entry for entry in shelf.entries() if entry.head.folder in names]
    answer = st.container()
    find, by = _choose()
    found = in_order(matching(entries, find), by)
    answer.header(shelf_words.heading(found, entries, find))
    if found:
        _draw_table(found)
    elif entries:
        st.markdown(shelf_words.NO_MATCH)
    if entries:
        left = sum(not entry.is_worked_out for entry in entries)
        st.fragment(_go_on, run_every=_PAUSE_S if left else None)(shelf, found, left, len(entries))
    st.caption(shelf_words.BEST_CAPTION)


def is_offered() -> bool:
    """Return whether there is more than one job to choose from, and somebody who may choose.

    While the folder of the jobs is missing it stays: who is on it is told so, and not sent elsewhere.
    """
    if state.reader() != "shop":
        return False
    return len(state.job_names()) > 1 or state.missing_root() is not None


@st.cache_resource(show_spinner=False)
def _shelf(root: str) -> Shelf:
    return Shelf(Path(root))


def _choose() -> tuple[str, str]:
    if "find" not in st.session_state:
        st.session_state["find"] = st.query_params.get("find", "")
    state.begin("sort", list(ORDERS), "date")
    with st.container(horizontal=True):
        find = st.text_input(
            shelf_words.FIND, key="find", placeholder=shelf_words.FIND_HINT, persist_state="session"
        )
        by = st.selectbox(
            shelf_words.SORT,
            ORDERS,
            key="sort",
            format_func=shelf_words.ORDER_NAMES.get,
            persist_state="session",
        )
    state.to_address(find=find or None, sort=by)
    return find, by


def _draw_table(found: Sequence[Entry]) -> None:
    rows = shelf_words.rows(found)
    st.session_state[_SHOWN] = [entry.head.folder for entry in found]
    st.caption(shelf_words.HOW_TO_OPEN)
    st.dataframe(
        pd.DataFrame([asdict(row) for row in rows], columns=list(_HEADS)),
        key=_TABLE,
        hide_index=True,
        height="content" if len(rows) <= _ROWS else 35 * (_ROWS + 1),
        column_config={name: _column(name) for name in _HEADS},
        placeholder=NOTHING,
        on_select=_open,
        selection_mode="single-row",  # choosing a cell would open a job with every press of an arrow key
    )


def _column(name: str) -> ColumnConfig:
    """Return how a column is shown: on a phone, too, a gain and its ± stand beside the job."""
    if name == "date":
        return st.column_config.DateColumn(_HEADS[name], format="YYYY-MM-DD")
    widths = {"title": 130 if state.is_phone() else 190, "best": 94, "of": 210, "casting": 190}
    alignment = "right" if name == "best" else None
    return st.column_config.TextColumn(_HEADS[name], width=widths.get(name), alignment=alignment)


def _open() -> None:
    """Take the job of the row that was chosen; the next run goes to it."""
    rows = st.session_state[_TABLE]["selection"]["rows"]
    shown = st.session_state.get(_SHOWN, [])
    if rows and rows[0] < len(shown):
        st.session_state["job"] = shown[rows[0]]
        st.session_state["opened-from-shelf"] = True


def _go_on(shelf: Shelf, found: Sequence[Entry], left_before: int, count: int) -> None:
    """Work out more of the best gains, and draw the table anew when there are many or no more."""
    if not left_before:
        return
    left = shelf.work_out(_WORK_S, found)
    st.progress((count - left) / count, shelf_words.progress(left, count))
    if left == 0 or left_before - left >= _REDRAW_EVERY:
        st.rerun()


def _results() -> st.Page:
    return st.Page(results.draw, title="Results", url_path="results", default=True)


def _kept() -> dict[str, str]:
    """Return what of the address holds for every screen."""
    return {name: st.session_state[name] for name in ("units", "reader")}
