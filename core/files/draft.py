"""Work in progress, kept on disk outside the job so that a reload, a crash or a power cut loses nothing.

Drafts lie in ``.ledger/drafts`` of the jobs' root and not in a folder of the user's: nothing is
written outside the jobs' root, they move and are backed up with the jobs, and another machine of
the shop can go on with them.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import json
import re
import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from core.files.disk import (
    LEDGER,
    Refused,
    RefusedError,
    inner_folder,
    leads_elsewhere,
    locked,
    refused_by_disk,
    replace_file,
)
from core.files.folder import NOTHING, Snapshot

_DRAFTS = "drafts"
_ID = re.compile(r"[0-9a-f]{16}")  # nothing else from an address becomes a file's name
_FORMAT = "gain-ledger draft 1"


@dataclass(frozen=True)
class Draft:
    """Unsaved work on one job, by one browser."""

    id: str  # belongs into the address: a reload finds the draft by it
    job: str | None  # name of the folder it changes; None: a new job
    seen: Snapshot = NOTHING  # of the job when the work began: what `save` wants to know
    values: Mapping[str, object] = field(default_factory=dict)  # what the screen needs: JSON's types
    revision: int = 0
    kept_at: str = ""  # local time of the last `keep`, ISO 8601


def new_draft(job: str | None, seen: Snapshot = NOTHING) -> Draft:
    """Return an empty draft with an id of its own; nothing is on disk until `keep`.

    Parameters
    ----------
    job : str or None
        Name of the job's folder; None for a new job.
    seen : Snapshot
        Of the job as read.

    Returns
    -------
    Draft
        With revision 0.
    """
    return Draft(secrets.token_hex(8), job, seen)


def keep(root: Path, draft: Draft) -> Draft | Refused:
    """Write a draft to disk.

    Parameters
    ----------
    root : Path
        Folder of all jobs.
    draft : Draft
        With its new values, and the revision that the last `keep` or `find` gave.

    Returns
    -------
    Draft or Refused
        The draft with its next revision. Where another tab kept one with the same id
        meanwhile, it gets a new id: both stay. Refused where the disk takes nothing.
    """
    if not _ID.fullmatch(draft.id):
        return Refused("This draft has no id that can be kept.", "Begin a new one.")
    try:
        with locked(root) as own:
            folder = inner_folder(own, _DRAFTS)
            known = _read(folder, draft.id)
            if known is not None and known.revision != draft.revision:
                draft = replace(draft, id=secrets.token_hex(8), revision=0)
            kept_at = dt.datetime.now().isoformat(timespec="seconds")
            kept = replace(draft, revision=draft.revision + 1, kept_at=kept_at)
            replace_file(folder / f"{kept.id}.json", _written(kept))
            return kept
    except RefusedError as error:
        return error.refused
    except OSError as error:
        return refused_by_disk(error, "the draft")


def find(root: Path, draft_id: str) -> Draft | None:
    """Return a draft, None where there is none of that id.

    Parameters
    ----------
    root : Path
        Folder of all jobs.
    draft_id : str
        From the address: anything at all.

    Returns
    -------
    Draft or None
        As it was kept last.
    """
    return _read(root / LEDGER / _DRAFTS, draft_id) if _ID.fullmatch(draft_id) else None


def drafts(root: Path) -> tuple[Draft, ...]:
    """Return every draft of a jobs' root, the latest first.

    Parameters
    ----------
    root : Path
        Folder of all jobs.

    Returns
    -------
    tuple of Draft
        Those that can be read.
    """
    folder = root / LEDGER / _DRAFTS
    try:
        ids = [path.stem for path in folder.glob("*.json") if _ID.fullmatch(path.stem)]
    except OSError:
        return ()
    found = [draft for one in ids if (draft := _read(folder, one)) is not None]
    return tuple(sorted(found, key=lambda draft: (draft.kept_at, draft.id), reverse=True))


def drop(root: Path, draft_id: str) -> None:
    """Take a draft away, as after it was saved.

    Parameters
    ----------
    root : Path
        Folder of all jobs.
    draft_id : str
        Of the draft; one that is not there is no error.
    """
    folder = root / LEDGER / _DRAFTS
    with contextlib.suppress(OSError):
        if _ID.fullmatch(draft_id) and folder.is_dir() and not _is_linked(folder):
            (folder / f"{draft_id}.json").unlink(missing_ok=True)


def _is_linked(folder: Path) -> bool:
    return leads_elsewhere(folder) or leads_elsewhere(folder.parent)


def _written(draft: Draft) -> bytes:
    content = {
        "format": _FORMAT,
        "job": draft.job,
        "seen": draft.seen.files,
        "values": draft.values,
        "revision": draft.revision,
        "kept_at": draft.kept_at,
    }
    return json.dumps(content, ensure_ascii=False, indent=1).encode("utf-8", "surrogatepass")


def _read(folder: Path, draft_id: str) -> Draft | None:
    """Return a draft as it lies on disk; one that cannot be read stays there and counts as none."""
    try:
        if _is_linked(folder):
            return None
        data = json.loads((folder / f"{draft_id}.json").read_bytes().decode("utf-8", "surrogatepass"))
        seen = Snapshot(tuple((str(name), str(hashed)) for name, hashed in data["seen"]))
        found = Draft(draft_id, data["job"], seen, data["values"], data["revision"], data["kept_at"])
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return None
    sound = isinstance(found.values, dict) and isinstance(found.revision, int) and data["format"] == _FORMAT
    return found if sound and isinstance(found.kept_at, str) else None
