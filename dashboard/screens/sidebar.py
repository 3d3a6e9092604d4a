"""The sidebar: job, units, reader, and sheets of one's own."""

from __future__ import annotations

import streamlit as st

from dashboard import phrases, state
from dashboard.entry.session import AWAITED


def draw() -> None:
    """Draw the choices that hold for every screen, and write them into the address."""
    names = state.job_names()
    own = state.uploads()
    options = [*names, *([state.OWN] if own else [])]
    fixed = state.for_customer_only()
    wanted = (_awaited(), state.first_job())
    default = next((one for one in (*wanted, *options) if one in options), None)
    had_own = st.session_state.get("job") == state.OWN  # the person took the sheets away again
    unknown = state.begin("job", options, default)
    state.begin("units", list(state.UNITS), "metric")
    state.begin("reader", list(state.READERS), "shop")
    with st.sidebar:
        if fixed:
            st.session_state["reader"] = "customer"
        elif options:
            st.selectbox("Job", options, key="job", format_func=_job_name, persist_state="session")
            if unknown is not None and not had_own:
                st.warning(phrases.NO_SUCH_JOB)
        if not fixed and (count := state.unshown_folders()):
            st.warning(phrases.unshown_folders(count))
        st.segmented_control("Units", list(state.UNITS), key="units", required=True, persist_state="session")
        if not fixed:
            st.segmented_control(
                "Reader", list(state.READERS), key="reader", required=True, persist_state="session"
            )
            st.file_uploader(
                phrases.UPLOAD_LABEL,
                accept_multiple_files=True,
                max_upload_size=phrases.UPLOAD_LIMIT_MB,
                key="uploader",
                on_change=_take,
            )
    job = st.session_state["job"] or st.session_state.get(AWAITED)
    state.to_address(
        job=None if job == state.OWN else job,
        units=st.session_state["units"],
        reader=None if fixed else st.session_state["reader"],
    )


def _awaited() -> str | None:
    """Return the job to go back to once the folder of the jobs is there again."""
    if state.missing_root() is None:
        return st.session_state.pop(AWAITED, None)
    known = st.session_state.get("job") or st.query_params.get("job")
    if known not in (None, state.OWN):
        st.session_state[AWAITED] = known
    return None


def _job_name(option: str) -> str:
    return phrases.OWN_SHEETS if option == state.OWN else option


def _take() -> None:
    state.keep_uploads(st.session_state["uploader"])
    if state.uploads():
        st.session_state["job"] = state.OWN
