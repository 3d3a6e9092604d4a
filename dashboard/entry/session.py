"""Which draft this browser works on: found by the id in the address, kept on disk at every change."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import streamlit as st

from core.files import draft as drafts
from core.files.assemble import Loaded
from core.files.draft import Draft
from core.files.folder import NOTHING, Snapshot, Whole, read_whole
from core.files.save import Refused
from core.job import Job
from core.results import Review
from core.review import review
from dashboard import entry_words, state
from dashboard.entry.draft import Files, Work, base_files, laid_over, load, sound_files
from dashboard.handover.blank_sheet import Blank, blank_sheet
from dashboard.usertext import inert

_HELD, _ID = "entry-held", "draft"
SAID = "entry-said"  # what the last action has to say, shown once


@dataclass
class _Held:
    """What this browser works on. One object for the whole session, changed in place.

    A script run that is about to be stopped can be stopped at every access to the session's
    state, also within a callback, and may write to it after the next run's callback has. Changed
    in place, between two such accesses, a draft is never half kept and never set back.
    """

    draft: Draft | None = None
    beside: str | None = None  # the job in the sidebar when a new one was begun
    problem: str = ""  # with the line last entered at the bench


def held() -> _Held:
    """Return what this browser works on."""
    found = seen().get(_HELD)
    if found is None:
        found = st.session_state.setdefault(_HELD, _Held())
    return found


def seen() -> Mapping[str, Any]:
    """Return all that the session knows, in one access at which no run is stopped."""
    return st.session_state.to_dict()


def work() -> Work:
    """Return what is worked on: the draft of the chosen job, a new one where there is none."""
    job, now = chosen_job(), held()
    if now.draft is None and (wanted := st.query_params.get(_ID)):
        now.draft, now.beside = drafts.find(state.root(), wanted), job
    draft = now.draft
    if draft is not None and draft.job != job and (draft.job is not None or now.beside != job):
        draft = None
        forget("field-", "bench-", "grid-", "map-")
    whole = _whole(draft.job if draft else job)
    if draft is None:
        now.draft = draft = drafts.new_draft(job, whole.snapshot)
        now.beside = job
    found = laid_over(draft, base_files(whole))
    if job is None and not draft.values and seen().get("job") == state.OWN:
        found = found.changing(state.uploads())  # sheets dropped into the sidebar are the beginning of a job
        keep(found)
    return found


def chosen_job() -> str | None:
    """Return the folder's name that the sidebar shows; None without one."""
    job = seen().get("job")
    return None if job in (None, state.OWN) else job


def begin_new() -> None:
    """Begin a job from nothing."""
    go_on_with(drafts.new_draft(None))


def back_to_job() -> None:
    """Leave the new job, which stays a draft, for the one that the sidebar shows."""
    held().draft = None
    st.query_params.pop(_ID, None)
    forget("field-", "bench-", "grid-", "map-")


def go_on_with(found: Draft) -> None:
    """Take up a draft."""
    now = held()
    now.draft, now.beside = found, chosen_job()
    forget("field-", "bench-", "grid-", "map-")


def others(current: Work) -> list[Draft]:
    """Return further unsaved work on this job, or on jobs that are not there yet."""
    mine = (current.draft.job, None)
    return [d for d in drafts.drafts(state.root()) if d.id != current.draft.id and d.job in mine]


def keep(changed: Work) -> None:
    """Write a draft to disk: whatever happens to this browser, it is there."""
    now = held()
    kept = drafts.keep(state.root(), changed.draft)
    if isinstance(kept, Refused):
        now.draft = changed.draft  # at least this session has it
        say("error", str(kept))
    else:
        now.draft = kept


def drop() -> None:
    """Forget the draft, as after a save, or because a person said so."""
    now = held()
    if now.draft is not None:
        drafts.drop(state.root(), now.draft.id)
    now.draft, now.problem = None, ""
    st.query_params.pop(_ID, None)
    forget("field-", "bench-head-", "bench-lift", "bench-setup", "grid-", "map-")


def forget(*beginnings: str) -> None:
    """Let widgets begin anew; one that is about to be drawn takes its value from the draft again."""
    for key in seen():
        if key.startswith(beginnings):
            del st.session_state[key]


def to_address() -> None:
    """Name the draft in the address once it is on disk, so that a reload finds it."""
    draft = held().draft
    state.to_address(draft=draft.id if draft and draft.revision else None)


def say(kind: str, text: str) -> None:
    """Leave a message for the next run."""
    st.session_state[SAID] = (kind, text)


def snapshot(job: str) -> Snapshot:
    """Return what a job's files hold now."""
    return _whole(job).snapshot


def _whole(job: str | None) -> Whole:
    folder = None if job is None else state.root() / job
    try:
        return Whole({}, NOTHING) if folder is None else read_whole(folder)
    except OSError as error:
        say("error", entry_words.unreadable_job(inert(job), error.strerror or str(error)))
        return Whole({}, NOTHING)


# --- what the files make -----------------------------------------------------------------


def loaded(files: Files, name: str) -> Loaded:
    """Return the job that files make, read again only when one of them differs."""
    return _loaded(_digest(files), name, str(state.root()), files)


def without(work: Work, file: str) -> tuple[Job | None, bool]:
    """Return the job without the sheet in hand, None without another sheet; and whether it is sound."""
    rest = {name: data for name, data in work.files.items() if name != file}
    found = loaded(rest, work.name)
    alone = not any(name.endswith(".csv") for name in sound_files(rest))
    return found.job, found.job is not None or alone


def reviewed(job: Job) -> Review:
    """Return everything worked out from a job."""
    return _reviewed(job.fingerprint, job.name, job)


@st.cache_resource(show_spinner=False, scope="session", max_entries=8)
def _loaded(digest: str, name: str, root: str, _files: Files) -> Loaded:
    return load(_files, name, Path(root))


@st.cache_resource(show_spinner=False, scope="session", max_entries=4)
def _reviewed(fingerprint: str, name: str, _job: Job) -> Review:
    return review(_job)


@st.cache_data(show_spinner=False, scope="session", max_entries=4)
def printed(blank: Blank) -> bytes:
    """Return the blank sheet; the same one is drawn once."""
    return blank_sheet(blank)


def _digest(files: Files) -> str:
    digest = hashlib.sha256()
    for name, data in sorted(sound_files(files).items()):
        digest.update(hashlib.sha256(name.encode("utf-8", "surrogatepass")).digest())
        digest.update(hashlib.sha256(data).digest())
    return digest.hexdigest()
