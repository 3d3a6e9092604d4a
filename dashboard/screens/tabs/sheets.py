"""Sheets: upload, paste, type; and the list of those that the job has."""

from __future__ import annotations

import datetime as dt

import streamlit as st

from core.files.assemble import Loaded
from core.files.folder import NAME
from core.files.names import free_name
from core.files.sheet import read_sheet
from core.files.spreadsheet.own import is_bench_sheet
from dashboard import entry_words, phrases, state
from dashboard import hand as hands
from dashboard.entry import at_bench, session
from dashboard.entry.at_bench import Place
from dashboard.entry.draft import Work
from dashboard.entry.stages import with_stage
from dashboard.screens.page import draw_rows
from dashboard.screens.tabs import grid, mapping, setup
from dashboard.screens.tabs.preview import draw_empty, has_sheets
from dashboard.state import Shown
from dashboard.usertext import inert

_FILES, _BLOCK, _SHEET = "entry-upload", "entry-block", "grid-sheet"
_NEW = "grid-new"


def draw(work: Work, loaded: Loaded, shown: Shown) -> None:
    """Draw the tab."""
    if mapping.is_waiting(work):
        mapping.draw(work, shown)
        return
    if not has_sheets(work):
        draw_empty()
    left, right = st.columns(2, gap="medium")
    with left:
        st.file_uploader(
            entry_words.UPLOAD_LABEL,
            accept_multiple_files=True,
            max_upload_size=phrases.UPLOAD_LIMIT_MB,
            key=_FILES,
            on_change=_take_files,
        )
    with right:
        st.text_area(entry_words.PASTE_LABEL, key=_BLOCK, height=110, placeholder=entry_words.PASTE_EXAMPLE)
        st.button("Take the block", key="entry-take-block", on_click=_take_block)
    _draw_list(work, loaded)
    _draw_typed(work, shown)


# --- upload and paste --------------------------------------------------------------------


def _take_files() -> None:
    work = session.work()
    for file in st.session_state[_FILES] or ():
        work = taken(work, file.name, file.getvalue())
    session.keep(work)


def _take_block() -> None:
    text = st.session_state[_BLOCK]
    if text.strip():
        session.keep(taken(session.work(), mapping.PASTED, text.encode("utf-8", "replace")))
        st.session_state[_BLOCK] = ""


def taken(work: Work, name: str, data: bytes) -> Work:
    """Put in a bench sheet or a job file as it stands; all else waits for the mapping step."""
    if name.lower() == NAME:
        if work.job_file in (b"", data):
            return work.changing({NAME: data})
        session.say("error", entry_words.JOB_FILE_IS_THERE)
        return work
    stem, _, ending = name.rpartition(".")
    is_text = ending.lower() in ("csv", "txt", "tsv") or not stem
    sheet, _ = read_sheet(name, data) if is_text else (None, None)
    if sheet is None and not (is_text and is_bench_sheet(data)):
        return mapping.waiting(work, name, data)
    if data in work.files.values():
        session.say("error", inert(entry_words.sheet_is_there(name)))
        return work
    own = stem or (sheet and sheet.stage) or name
    file = free_name(own, work.files, ending=".csv", otherwise="bench-sheet")
    return work.changing({file: data})


# --- the sheets there are ----------------------------------------------------------------


def _draw_list(work: Work, loaded: Loaded) -> None:
    names = [name for name in work.files if name.endswith(".csv") and "/" not in name]
    if not names:
        return
    with st.expander(entry_words.sheets_title(len(names))):
        draw_rows(entry_words.SHEET_HEADS, [_row(work, name) for name in names])
        with st.container(horizontal=True, vertical_alignment="bottom"):
            chosen = st.selectbox("Sheet", names, key="entry-out", width=360)
            st.button("Take it out of the job", key="entry-out-do", on_click=_take_out, args=(chosen,))


def _row(work: Work, name: str) -> list[str]:
    sheet, log = read_sheet(name, work.files[name])
    if sheet is None:
        blank = hands.from_text(work.files[name])
        said = "nothing read yet" if blank and blank.is_empty() else f"{len(log.problems)} to mend"
        return [inert(name), "", "", "", said]
    what = sheet.stage if sheet.role == "stage" else sheet.role
    count = len(sheet.readings.intake) + len(sheet.readings.exhaust)
    return [inert(name), inert(what or ""), inert(sheet.port or ""), str(sheet.date or ""), str(count)]


def _take_out(name: str) -> None:
    session.keep(session.work().changing({name: None}))


# --- typing --------------------------------------------------------------------------------


def _draw_typed(work: Work, shown: Shown) -> None:
    st.subheader(entry_words.TYPE_TITLE)
    typed = {n: h for n, d in work.files.items() if n.endswith(".csv") and (h := hands.from_text(d))}
    if st.session_state.get(_SHEET) not in (*typed, _NEW):
        begun = [name for name in typed if name not in work.base]
        st.session_state[_SHEET] = begun[-1] if begun else _NEW
    chosen = st.selectbox(
        entry_words.SHEET_TO_TYPE,
        [_NEW, *typed],
        key=_SHEET,
        format_func=lambda n: entry_words.NEW_SHEET if n == _NEW else entry_words.setup_name(typed[n], n),
        width=420,
    )
    if chosen == _NEW:
        _draw_new(work)
        return
    grid.draw(work, chosen, typed[chosen])
    setup.draw(work, typed[chosen], chosen, "intake", key="grid")


def _draw_new(work: Work) -> None:
    with st.form("grid-begin", border=True), st.container(horizontal=True, vertical_alignment="bottom"):
        st.text_input("Stage", key="grid-stage", placeholder="as cast", autocomplete="off", width=220)
        st.text_input("Port", key="grid-port", placeholder="1", autocomplete="off", width=100)
        st.form_submit_button("Begin the sheet", on_click=_begin)


def _begin() -> None:
    stage = " ".join(st.session_state["grid-stage"].split())
    if not stage:
        session.say("error", entry_words.NAME_THE_STAGE)
        return
    work = session.work()
    place = Place(stage, " ".join(st.session_state["grid-port"].split()), "intake")
    units = state.UNITS[st.session_state["units"]]
    made = at_bench.begin(work.files, place, units, dt.datetime.now())
    if made.unit("exhaust") is None:
        made = made.measured_in("exhaust", made.unit("intake") or "L/s")
    file = at_bench.file_name(place, work.files)
    session.keep(work.changing({file: made.text().encode(), **with_stage(work, stage)}))
    st.session_state[_SHEET] = file
