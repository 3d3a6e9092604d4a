"""Save, save as, download: the draft becomes files of the jobs' root, or an archive to take away."""

from __future__ import annotations

import datetime as dt
import os
from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from core.files.draft import Draft
from core.files.folder import NOTHING, Snapshot
from core.files.names import free_name
from core.files.save import Conflict, Refused, Saved, save
from core.job import Job
from dashboard import draft_words, state
from dashboard.entry import session
from dashboard.entry.draft import Work, sound_files
from dashboard.handover.archive import job_zip
from dashboard.usertext import inert

_CONFLICT, _NAME, _PROPOSED = "entry-conflict", "entry-save-name", "entry-save-proposed"


def draw(work: Work, job: Job | None) -> None:
    """Draw the line that says what is unsaved, with what can be done about it."""
    if said := st.session_state.pop(session.SAID, None):
        {"error": st.error, "ok": st.success}[said[0]](said[1])
    if (conflict := st.session_state.get(_CONFLICT)) and conflict[0] == work.draft.id:
        _draw_conflict(work, *conflict[1:])
        return
    changed = work.is_changed()
    others = session.others(work)
    is_new = work.draft.job is None
    mine = [one for one in others if (is_new or one.job is not None) and not work.draft.revision]
    latest = mine[:1]  # beside the line; the rest under 'More'
    with st.container(horizontal=True, vertical_alignment="center"):
        if work.draft.job is not None:
            st.button("Save", key="entry-save", on_click=_save, disabled=not changed or job is None)
        else:
            with st.popover("Save"):
                _draw_save_as(work, job)
        with st.popover("More", key=f"entry-more-{work.draft.id}"):  # another draft finds it closed
            _draw_more(work, job, [one for one in others if one not in latest])
        said = draft_words.draft_line(
            work.name,
            changed,
            work.draft.kept_at,
            today=dt.date.today(),
            sound=job is not None,
            on_disk=session.is_kept(work.draft),
        )
        st.caption(inert(said))
    if latest:
        with st.container(horizontal=True, vertical_alignment="center"):
            _draw_others(latest)


def _draw_more(work: Work, job: Job | None, others: Sequence[Draft]) -> None:
    """Draw what is wanted seldom: elsewhere, away, anew."""
    if work.draft.job is not None:
        _draw_save_as(work, job)
        st.button("New job", key="entry-new", on_click=session.begin_new)
    elif (chosen := session.chosen_job()) is not None:
        st.button(inert(f"Back to {chosen}"), key="entry-back", on_click=session.back_to_job)
    if job is not None:
        name = work.draft.job or free_name(job.title, (), otherwise="job")
        data = job_zip(replace(job, name=name))
        st.download_button(
            "Download as one archive", data, f"{name}.zip", "application/zip", on_click="ignore"
        )
    _draw_others(others)
    if work.draft.revision or not session.is_kept(work.draft):
        st.divider()
        st.caption(draft_words.DROP_ASKED)
        st.button("Drop unsaved changes", key="entry-drop", on_click=session.drop)


def _draw_others(found: Sequence[Draft]) -> None:
    for one in found:
        st.button(
            inert(draft_words.other_line(one.job, one.kept_at)),
            key=f"entry-on-{one.id}",
            on_click=session.go_on_with,
            args=(one,),
        )


def _draw_save_as(work: Work, job: Job | None) -> None:
    proposed = free_name(job.title if job else work.name, _taken(), otherwise="job")
    name = st.session_state.get(_NAME)
    if not name or name == st.session_state.get(_PROPOSED):  # else somebody typed it
        name = proposed
    st.session_state[_NAME], st.session_state[_PROPOSED] = name, proposed  # each time: a run may be stopped
    st.text_input("Save as, name of its folder", key=_NAME, autocomplete="off")
    st.caption(inert(f"In {state.root()}"))
    st.button("Save it there", key="entry-save-as", on_click=_save_as, disabled=job is None)
    if job is None:
        st.caption(draft_words.CANNOT_SAVE)


def _save() -> None:
    work = session.work()
    if work.draft.job is None:  # it was taken away a moment ago, and this is a new job now
        return
    _done(save(state.root() / work.draft.job, state.root(), work.to_save(), work.draft.seen), work.draft.job)


def _save_as() -> None:
    work = session.work()
    name = free_name(st.session_state[_NAME], _taken(), otherwise="job")
    _done(save(state.root() / name, state.root(), _all_files(work), NOTHING), name)


def _taken() -> list[str]:
    """Return the names that a new job's folder cannot have: also those of folders that are no jobs."""
    try:
        return os.listdir(state.root())
    except OSError:  # the save says why
        return []


def _all_files(work: Work) -> dict[str, bytes | None]:
    """Return every file of the job's own folder; those it names elsewhere stay where they are."""
    return {name: data for name, data in sound_files(work.files).items() if "/" not in name}


def _done(outcome: Saved | Conflict | Refused, name: str) -> None:
    if isinstance(outcome, Refused):
        session.say("error", inert(str(outcome)))
    elif isinstance(outcome, Conflict):
        if outcome.now != NOTHING:  # else the job is gone, and the next run says so
            st.session_state[_CONFLICT] = (session.held().draft.id, name, list(outcome.changed), outcome.now)
    else:
        session.drop()
        st.session_state["job"] = name
        session.say("ok", inert(draft_words.saved(name, outcome.history)))


# --- the job on disk is another one meanwhile ------------------------------------------


def _draw_conflict(work: Work, name: str, changed: Sequence[str], now: Snapshot) -> None:
    st.warning(inert(draft_words.conflict(name, changed)))
    with st.container(horizontal=True):
        st.button("Save mine over it", key="entry-over", on_click=_save_over, args=(name, now))
        with st.popover("Save mine as another job"):
            _draw_save_as(work, session.loaded(work.files, work.name).job)
        st.button("Go on typing", key="entry-later", on_click=_later)
    st.caption(draft_words.CONFLICT_CAPTION)


def _save_over(name: str, now: Snapshot) -> None:
    work = session.work()
    st.session_state.pop(_CONFLICT, None)
    _done(save(state.root() / name, state.root(), work.to_save(), now), name)


def _later() -> None:
    st.session_state.pop(_CONFLICT, None)
