"""Job sheet: get the numbers in."""

from __future__ import annotations

import streamlit as st

from core.files.assemble import Loaded
from dashboard import draft_words, entry_words, state
from dashboard.entry import session
from dashboard.entry.draft import Work
from dashboard.screens.missing import draw_missing_root
from dashboard.screens.tabs import bench, fields, grid, job, mapping, preview, saving, sheets
from dashboard.state import Shown

_BENCH, _SHEETS, *_FIELDS = entry_words.TABS
_DRAWN = dict(
    zip(
        _FIELDS,
        (
            job.draw_job,
            job.draw_engine,
            job.draw_stages,
            job.draw_valves,
            job.draw_bench,
            job.draw_target,
        ),
        strict=True,
    )
)


def draw() -> None:
    """Draw the screen: what is unsaved, then one tab for each kind of number."""
    st.title("Job sheet")
    if st.session_state.get("reader") == "customer":
        st.markdown(entry_words.SHOP_ONLY)
        return
    session.keep_again()
    grid.settle()
    if draw_missing_root():
        if not session.is_begun():
            return
        st.caption(draft_words.ROOT_IS_MISSING)
    shown, work = state.shown(), session.work()
    session.to_address()  # first: a reload may come before this run has ended
    # What comes and goes above the tabs has a place of its own: were they to move, the browser
    # would build them anew, and take the field away under the hand that types.
    over = st.container()
    state.begin("tab", list(entry_words.TABS), _BENCH)
    tabs = dict(zip(entry_words.TABS, st.tabs(entry_words.TABS, key="tab", on_change="rerun"), strict=True))
    if tabs[_BENCH].open:
        with tabs[_BENCH]:
            bench.draw(work, shown)  # first: the verdict does not wait for the whole job to be read
    loaded = session.loaded(work.files, work.name)
    with over:
        saving.draw(work, loaded.job)
    name = next((name for name, tab in tabs.items() if tab.open), _BENCH)
    with tabs[name]:
        _draw_rest(name, work, loaded, shown)
    state.to_address(tab=st.session_state["tab"])


def _draw_rest(name: str, work: Work, loaded: Loaded, shown: Shown) -> None:
    """Draw the other tabs, what is to be mended, and what the numbers give."""
    at_fields = fields.at_fields(loaded.problems, work.job_file)
    if name == _SHEETS:
        sheets.draw(work, loaded, shown)
    left = dict(at_fields)
    if name in _FIELDS:
        _DRAWN[name](work, left)
    at_fields = {path: texts for path, texts in at_fields.items() if path not in left}
    preview.draw_problems(work, loaded, at_fields)
    if name != _BENCH and not (name == _SHEETS and mapping.is_waiting(work)):
        preview.draw(work, loaded, shown)
