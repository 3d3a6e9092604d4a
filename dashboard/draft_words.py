"""What the Job sheet says of unsaved work: where it is kept, who saved meanwhile, what went away."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

DROP_ASKED = "Forget all that was typed here since the last save? The saved job stays as it is."
CANNOT_SAVE = (
    "It can be saved once it can be read: see the problems on this page. Nothing of it is lost meanwhile."
)
CONFLICT_CAPTION = (
    "Neither is lost: what is saved over goes to the job's folder history, and yours is kept as a draft "
    "until it is saved."
)


def draft_line(name: str, changed: bool, kept_at: str, *, today: dt.date, sound: bool, on_disk: bool) -> str:
    """Return what is unsaved, and where it is kept."""
    if not on_disk:
        return f"{name}: unsaved changes, held by this page alone. Leave it open until the disk takes them."
    if not changed and kept_at:
        return f"{name}: nothing to save yet; what was begun here is kept."
    if not changed:
        return f"{name}: nothing unsaved."
    day, _, time = kept_at[:16].partition("T")
    when = time if day == today.isoformat() else f"{time} on {day}"
    kept = f", kept on disk at {when}" if time else ""
    held = "" if sound else " It cannot be saved yet."
    return f"{name}: unsaved changes{kept}. A reload or another screen loses nothing.{held}"


def saved(name: str, history: str | None) -> str:
    """Return that a job was saved."""
    before = f" The version before is in {history}." if history else ""
    return f"Saved as {name}.{before}"


def conflict(name: str, changed: Sequence[str]) -> str:
    """Return that somebody else saved the job meanwhile."""
    return (
        f"{name} was saved by somebody else since you began ({', '.join(changed)}). "
        "Nothing of yours has been written yet."
    )


def other_line(job: str | None, kept_at: str) -> str:
    """Return one draft in a list."""
    when = kept_at.replace("T", " ")[:16] or "held by this page alone"
    return f"Go on with unsaved work on {job or 'a new job'}, {when}"


def unreadable_job(name: str, why: str) -> str:
    """Return what is said where the files of the chosen job are not to be had."""
    return (
        f"{name} cannot be read ({why}), so what stands here is as it was read last, or begins without its "
        "files. Nothing in it was changed, and what is typed stays a draft. Allow this user to read the job, "
        "and reload this page."
    )


def job_is_gone(name: str) -> str:
    """Return what became of unsaved work on a job that was taken away."""
    return (
        f"{name} is no longer in the jobs' folder. Your unsaved work on it stands here as a new job: save it "
        "under a name, or drop it under 'More'."
    )


ROOT_IS_MISSING = (
    "What was typed here since, and is not on disk yet, is held by this page: leave it open until the folder "
    "is there again."
)
