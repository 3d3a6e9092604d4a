"""Which draft this browser works on: found by the id in the address, kept on disk at every change."""

from __future__ import annotations

import hashlib
from pathlib import Path

import streamlit as st

from core.files import draft as drafts
from core.files.assemble import Loaded
from core.files.draft import Draft
from core.files.folder import NOTHING, Snapshot, Whole, read_whole
from core.files.save import Refused
from core.job import Job
from core.results import Review
from core.review import review
from dashboard import state
from dashboard.entry.draft import Files, Work, base_files, laid_over, load, sound_files
from dashboard.handover.blank_sheet import Blank, blank_sheet

_DRAFT, _ID, _FOR = "entry-draft", "draft", "entry-for"
SAID = "entry-said"  # what the last action has to say, shown once


def work() -> Work:
    """Return what is worked on: the draft of the chosen job, a new one where there is none."""
    job = chosen_job()
    held: Draft | None = st.session_state.get(_DRAFT)
    if held is None and (wanted := st.query_params.get(_ID)):
        held = drafts.find(state.root(), wanted)
        if held is not None and held.job is None:
            st.session_state[_FOR] = job
    if held is not None and held.job != job and not (held.job is None and st.session_state.get(_FOR) == job):
        held = None
        _forget("field-", "bench-", "grid-", "map-")
    whole = _whole(held.job if held else job)
    if held is None:
        held = drafts.new_draft(job, whole.snapshot)
    st.session_state[_DRAFT] = held
    found = laid_over(held, base_files(whole))
    if st.session_state.get("job") == state.OWN and not held.values:
        found = found.changing(state.uploads())  # sheets dropped into the sidebar are the beginning of a job
        keep(found)
    return found


def chosen_job() -> str | None:
    """Return the folder's name that the sidebar shows; None without one."""
    job = st.session_state.get("job")
    return None if job in (None, state.OWN) else job


def begin_new(changes: Files | None = None) -> None:
    """Begin a job from nothing, or from files that are at hand."""
    fresh = laid_over(drafts.new_draft(None), {})
    _forget("field-", "bench-", "grid-", "map-")
    st.session_state[_FOR] = chosen_job()
    st.session_state[_DRAFT] = fresh.draft
    if changes:
        keep(fresh.changing(changes))


def back_to_job() -> None:
    """Leave the new job, which stays a draft, for the one that the sidebar shows."""
    _forget("field-", "bench-", "grid-", "map-")
    st.session_state.pop(_DRAFT, None)
    st.query_params.pop(_ID, None)


def go_on_with(found: Draft) -> None:
    """Take up a draft that lies on disk."""
    _forget("field-", "bench-", "grid-", "map-")
    st.session_state[_FOR] = chosen_job()
    st.session_state[_DRAFT] = found


def others(current: Work) -> list[Draft]:
    """Return further unsaved work on this job, or on jobs that are not there yet."""
    mine = (current.draft.job, None)
    return [d for d in drafts.drafts(state.root()) if d.id != current.draft.id and d.job in mine]


def keep(changed: Work) -> None:
    """Write a draft to disk: whatever happens to this browser, it is there."""
    kept = drafts.keep(state.root(), changed.draft)
    if isinstance(kept, Refused):
        st.session_state[SAID] = ("error", str(kept))
        kept = changed.draft  # at least this session has it
    st.session_state[_DRAFT] = kept
    to_address()  # at once, and not at the end of a run that a reload may cut short


def drop() -> None:
    """Forget the draft, as after a save, or because a person said so."""
    held: Draft | None = st.session_state.pop(_DRAFT, None)
    if held is not None:
        drafts.drop(state.root(), held.id)
    _forget("field-", "bench-head-", "bench-lift", "bench-setup-", "bench-problem", "grid-", "map-")


def _forget(*beginnings: str) -> None:
    """Let widgets begin anew; one that is about to be drawn takes its value from the draft again."""
    for key in list(st.session_state):
        if isinstance(key, str) and key.startswith(beginnings):
            del st.session_state[key]


def to_address() -> None:
    """Name the draft in the address once it is on disk, so that a reload finds it."""
    held: Draft = st.session_state[_DRAFT]
    state.to_address(draft=held.id if held.revision else None)


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
    except OSError:
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
