"""Which draft this browser works on: found by the id in the address, kept on disk at every change."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import streamlit as st

from core.files import draft as drafts
from core.files.assemble import Loaded
from core.files.draft import Draft
from core.files.folder import NOTHING, Whole, read_whole
from core.files.save import Refused
from core.job import Job
from core.results import Review
from core.review import review
from dashboard import draft_words, state
from dashboard.entry.draft import Files, Work, base_files, changes_of, laid_over, load, sound_files
from dashboard.handover.blank_sheet import Blank, blank_sheet
from dashboard.usertext import inert

_HELD, _ID = "entry-held", "draft"
SAID = "entry-said"  # what the last action has to say, shown once
_OF_ONE_DRAFT = ("field-", "bench-", "grid-", "map-", "entry-save-name")  # how its widgets' keys begin
AWAITED = "job-awaited"  # the job that was chosen before the folder of the jobs went away


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
    unkept: dict[str, Draft] = field(default_factory=dict)  # what the disk did not take, by id
    last: tuple[str, Whole] | None = None  # a job as it was read last, for when it cannot be


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
    if draft is not None and not _belongs_to(draft, job):
        draft = _as_new_job(draft) if is_begun() and _is_gone(draft.job) else None
        forget(*_OF_ONE_DRAFT)
    whole = _whole(draft.job if draft else job)
    if draft is None:
        now.draft = draft = drafts.new_draft(job, whole.snapshot)
        now.beside = job
    found = laid_over(draft, base_files(whole))
    if job is None and not draft.values and seen().get("job") == state.OWN:
        found = found.changing(state.uploads())  # sheets dropped into the sidebar are the beginning of a job
        keep(found)
    return found


def _belongs_to(draft: Draft, job: str | None) -> bool:
    """Return whether a draft is what is worked on while the sidebar shows a job."""
    return held().beside == job if draft.job is None else draft.job == job


def _is_gone(job: str | None) -> bool:
    """Return whether a job is no longer among those there are."""
    return job is not None and state.missing_root() is None and job not in state.job_names()


def _as_new_job(draft: Draft) -> Draft:
    """Make unsaved work on a job that was taken away a new job, with all that is known of its files."""
    now = held()
    files = base_files(_last_of(draft.job)) | changes_of(draft)
    orphan = replace(draft, job=None, seen=NOTHING)
    now.draft = laid_over(orphan, {}).changing(files).draft
    now.beside = chosen_job()
    say("error", inert(draft_words.job_is_gone(draft.job)))
    return now.draft


def chosen_job() -> str | None:
    """Return the folder's name that the sidebar shows, or will once the root is there; None without one."""
    job = seen().get("job") or seen().get(AWAITED)
    return None if job in (None, state.OWN) else job


def begin_new() -> None:
    """Begin a job from nothing."""
    go_on_with(drafts.new_draft(None))


def back_to_job() -> None:
    """Leave the new job, which stays a draft, for the one that the sidebar shows."""
    held().draft = None
    st.query_params.pop(_ID, None)
    forget(*_OF_ONE_DRAFT)


def go_on_with(found: Draft) -> None:
    """Take up a draft."""
    now = held()
    if _is_gone(found.job):
        _as_new_job(found)
    else:
        now.draft, now.beside = found, chosen_job()
    forget(*_OF_ONE_DRAFT)


def others(current: Work) -> list[Draft]:
    """Return further unsaved work on this job, or on jobs that are not there yet or no longer."""
    found = {one.id: one for one in drafts.drafts(state.root())} | held().unkept
    found.pop(current.draft.id, None)
    return [d for d in found.values() if d.job in (current.draft.job, None) or _is_gone(d.job)]


def keep(changed: Work) -> None:
    """Write a draft to disk: whatever happens to this browser, it is there."""
    _keep(changed.draft)


def keep_again() -> None:
    """Try once more with what the disk did not take."""
    for draft in list(held().unkept.values()):
        _keep(draft)


def is_begun() -> bool:
    """Return whether anything was typed that a save has not taken yet."""
    draft = held().draft
    return draft is not None and bool(draft.revision or not is_kept(draft))


def is_kept(draft: Draft) -> bool:
    """Return whether a draft is on disk as it is; else this session alone has it."""
    return draft.id not in held().unkept


def _keep(draft: Draft) -> None:
    now = held()
    kept = drafts.keep(state.root(), draft)
    if isinstance(kept, Refused):
        now.unkept[draft.id] = draft
        if SAID not in seen() and state.missing_root() is None:  # what is said of these comes first
            say("error", inert(str(kept)))
    else:
        now.unkept.pop(draft.id, None)
    if now.draft is None or now.draft.id == draft.id:
        now.draft = draft if isinstance(kept, Refused) else kept


def drop() -> None:
    """Forget the draft, as after a save, or because a person said so."""
    now = held()
    if now.draft is not None:
        drafts.drop(state.root(), now.draft.id)
        now.unkept.pop(now.draft.id, None)
    now.draft, now.problem = None, ""
    st.query_params.pop(_ID, None)
    forget("field-", "bench-head-", "bench-lift", "bench-setup", "grid-", "map-", "entry-save-name")


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


def _whole(job: str | None) -> Whole:
    """Return a job's files; where they cannot be read, or are gone, as they were read last."""
    if job is None:
        return Whole({}, NOTHING)
    try:
        whole = read_whole(state.root() / job)
    except OSError as error:
        say("error", inert(draft_words.unreadable_job(job, error.strerror or str(error))))
        return _last_of(job)
    if whole.snapshot == NOTHING:
        return _last_of(job)
    held().last = job, whole
    return whole


def _last_of(job: str | None) -> Whole:
    last = held().last
    return last[1] if last and last[0] == job else Whole({}, NOTHING)


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
