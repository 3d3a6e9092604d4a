"""Save, save as, download: the draft becomes files of the jobs' root, or an archive to take away."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from core.files.draft import Draft
from core.files.folder import NOTHING, Snapshot
from core.files.names import free_name
from core.files.save import Conflict, Refused, Saved, save
from core.job import Job
from dashboard import entry_words, state
from dashboard.entry import session
from dashboard.entry.draft import Work, sound_files
from dashboard.handover.archive import job_zip
from dashboard.usertext import inert

_CONFLICT, _NAME = "entry-conflict", "entry-save-name"


def draw(work: Work, job: Job | None) -> None:
    """Draw the line that says what is unsaved, with what can be done about it."""
    if said := st.session_state.pop(session.SAID, None):
        {"error": st.error, "ok": st.success}[said[0]](said[1])
    if st.session_state.get(_CONFLICT):
        _draw_conflict(work)
        return
    changed = work.is_changed()
    with st.container(horizontal=True, vertical_alignment="center"):
        if work.draft.job is not None:
            st.button("Save", key="entry-save", on_click=_save, disabled=not changed or job is None)
        else:
            with st.popover("Save"):
                _draw_save_as(work, job)
        with st.popover("More", key=f"entry-more-{work.draft.id}"):  # another draft finds it closed
            _draw_more(work, job)
        st.caption(inert(entry_words.draft_line(work.name, changed, work.draft.kept_at, job is not None)))
    mine = [one for one in session.others(work) if one.job is not None and not work.draft.revision]
    if mine:
        with st.container(horizontal=True, vertical_alignment="center"):
            _draw_others(mine[:1])


def _draw_more(work: Work, job: Job | None) -> None:
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
    _draw_others([one for one in session.others(work) if one.job is None or work.draft.revision])
    if work.draft.revision:
        st.divider()
        st.caption(entry_words.DROP_ASKED)
        st.button("Drop unsaved changes", key="entry-drop", on_click=session.drop)


def _draw_others(found: Sequence[Draft]) -> None:
    for one in found:
        st.button(
            inert(entry_words.other_line(one.job, one.kept_at)),
            key=f"entry-on-{one.id}",
            on_click=session.go_on_with,
            args=(one,),
        )


def _draw_save_as(work: Work, job: Job | None) -> None:
    proposed = free_name(job.title if job else work.name, state.job_names(), otherwise="job")
    st.session_state.setdefault(_NAME, proposed)
    st.text_input("Save as, name of its folder", key=_NAME, autocomplete="off")
    st.caption(inert(f"In {state.root()}"))
    st.button("Save it there", key="entry-save-as", on_click=_save_as, disabled=job is None)
    if job is None:
        st.caption(entry_words.CANNOT_SAVE)


def _save() -> None:
    work = session.work()
    _done(save(state.root() / work.draft.job, state.root(), work.to_save(), work.draft.seen), work.draft.job)


def _save_as() -> None:
    work = session.work()
    name = free_name(st.session_state[_NAME], state.job_names(), otherwise="job")
    _done(save(state.root() / name, state.root(), _all_files(work), NOTHING), name)


def _all_files(work: Work) -> dict[str, bytes | None]:
    """Return every file of the job's own folder; those it names elsewhere stay where they are."""
    return {name: data for name, data in sound_files(work.files).items() if "/" not in name}


def _done(outcome: Saved | Conflict | Refused, name: str) -> None:
    if isinstance(outcome, Refused):
        session.say("error", inert(str(outcome)))
    elif isinstance(outcome, Conflict):
        st.session_state[_CONFLICT] = (name, list(outcome.changed), outcome.now)
    else:
        session.drop()
        st.session_state["job"] = name
        session.say("ok", inert(entry_words.saved(name, outcome.history)))


# --- the job on disk is another one meanwhile ------------------------------------------


def _draw_conflict(work: Work) -> None:
    name, changed, now = st.session_state[_CONFLICT]
    st.warning(inert(entry_words.conflict(name, changed)))
    with st.container(horizontal=True):
        st.button("Save mine over it", key="entry-over", on_click=_save_over, args=(now,))
        with st.popover("Save mine as another job"):
            _draw_save_as(work, session.loaded(work.files, work.name).job)
        st.button("Go on typing", key="entry-later", on_click=_later)
    st.caption(entry_words.CONFLICT_CAPTION)


def _save_over(now: Snapshot) -> None:
    work = session.work()
    st.session_state.pop(_CONFLICT, None)
    _done(save(state.root() / work.draft.job, state.root(), work.to_save(), now), work.draft.job)


def _later() -> None:
    st.session_state.pop(_CONFLICT, None)
