"""Job sheet: get the numbers in."""

from __future__ import annotations

import streamlit as st

from dashboard import entry_words, state
from dashboard.entry import session
from dashboard.screens.tabs import bench, fields, job, mapping, preview, saving, sheets

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
    shown, work = state.shown(), session.work()
    loaded = session.loaded(work.files, work.name)
    saving.draw(work, loaded.job)
    at_fields = fields.at_fields(loaded.problems, work.job_file)
    state.begin("tab", list(entry_words.TABS), entry_words.TABS[0])
    tabs = st.tabs(entry_words.TABS, key="tab", on_change="rerun")
    for name, tab in zip(entry_words.TABS, tabs, strict=True):
        if not tab.open:
            continue
        with tab:
            if name == _BENCH:
                bench.draw(work, shown)
            elif name == _SHEETS:
                sheets.draw(work, loaded, shown)
            else:
                _DRAWN[name](work, at_fields)
            preview.draw_problems(work, loaded, at_fields if name in _FIELDS else None)
            if name != _BENCH and not (name == _SHEETS and mapping.is_waiting(work)):
                preview.draw(work, loaded, shown)
    state.to_address(tab=st.session_state["tab"])
    session.to_address()
