"""Save a job so that a kill at any moment leaves the old or the new one, whole, and nothing is lost.

1. Every new file is written into ``.saving/new`` inside the job's folder, every old one that it
   replaces is copied into ``.saving/old``; all are flushed to the disk.
2. ``.saving/commit.json`` is written beside them and renamed into place: the moment of the save.
   A kill before it leaves the old job, and rubbish that the next save clears away; a kill after
   it leaves the new one, which readers take from there (`core.files.folder`).
3. The new files are renamed into their places, the old ones go to ``history/``, ``.saving`` goes.
   Each step can be done again, so the next save, or `finish`, completes what a kill cut short.

A new job is written whole into ``.ledger`` in the jobs' root and renamed to its name.
One lock for a jobs' root lets one save at a time through; the system frees it after a kill.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import json
import os
import secrets
import stat
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from core.files.disk import (
    Refused,
    RefusedError,
    check_root,
    flush_folder,
    inner_folder,
    leads_elsewhere,
    locked,
    refused_by_disk,
    remove,
    write_flushed,
)
from core.files.folder import (
    COMMIT,
    ENDINGS,
    JOURNAL,
    LARGEST,
    NEW,
    NOTHING,
    Snapshot,
    content_hash,
    pending,
    read_whole,
)
from core.files.names import free_name, is_plain
from core.units import quoted

__all__ = ["Conflict", "Refused", "Saved", "finish", "save"]

HISTORY = "history"
_OLD = "old"
_NEW_JOB = "new-"

Changes = Mapping[str, bytes | None]


@dataclass(frozen=True)
class Saved:
    """The job is on disk."""

    snapshot: Snapshot  # of the job as saved: the next save's ``seen``
    history: str | None = None  # where the version before lies, as ``history/2026-03-14_153012``
    waiting: tuple[str, ...] = ()  # files that are saved, but could not yet be put in their places


@dataclass(frozen=True)
class Conflict:
    """Nothing was written, for the job on disk is not the one that was read."""

    changed: tuple[str, ...]  # names of the files that differ
    now: Snapshot  # pass it as ``seen`` to overwrite all the same; what is there goes to history


def save(folder: Path, root: Path, changes: Changes, seen: Snapshot = NOTHING) -> Saved | Conflict | Refused:
    """Save changed files of a job, all or none of them.

    Parameters
    ----------
    folder : Path
        The job's folder, directly inside ``root``; it is made where it is not there yet.
    root : Path
        Folder of all jobs; nothing is written outside it.
    changes : mapping of str to bytes or None
        New content by file name (a name, never a path); None takes the file away. Files
        that are not named stay as they are. Of a new job, all its files.
    seen : Snapshot
        Of the job as it was read, from `core.files.folder.read_whole`; NOTHING for a new one.

    Returns
    -------
    Saved or Conflict or Refused
        Conflict where the folder no longer holds what was seen: nothing is written then.
    """
    try:
        _check(folder, root, changes)
        with locked(root) as own:
            for left in own.glob(f"{_NEW_JOB}*"):
                remove(left)
            if folder.exists():
                return _change(folder, changes, seen)
            if seen != NOTHING:
                return Conflict(seen.changed_to(NOTHING), NOTHING)
            return _create(folder, own, changes)
    except RefusedError as error:
        return error.refused
    except OSError as error:
        return refused_by_disk(error, folder.name)


def finish(folder: Path, root: Path) -> bool:
    """Complete or clear away what a save left behind that was cut short; readers need it not.

    Parameters
    ----------
    folder : Path
        The job's folder.
    root : Path
        Folder of all jobs.

    Returns
    -------
    bool
        Whether nothing is left to do.
    """
    if not os.path.lexists(folder / JOURNAL):
        return True
    try:
        _check(folder, root, {})
        with locked(root):
            return not _finish(folder)
    except (OSError, RefusedError):
        return False


# --- what cannot be saved at all -------------------------------------------------------


def _check(folder: Path, root: Path, changes: Changes) -> None:
    check_root(root)
    if not is_plain(folder.name):
        text = f"{quoted(folder.name)} is no name for a job's folder."
        raise RefusedError(text, "Use letters, digits, '-' and '_'.")
    inside = os.path.normcase(folder.parent.resolve()) == os.path.normcase(root.resolve())
    if not inside or leads_elsewhere(folder):
        text = f"{quoted(folder.name)} lies outside the jobs' folder; nothing is written there."
        raise RefusedError(text, "Save it under a new name.")
    if os.path.lexists(folder) and not folder.is_dir():
        raise RefusedError(f"{quoted(folder.name)} is a file, not a job's folder.", "Take another name.")
    met: set[str] = set()
    for name, data in changes.items():
        _check_name(folder, name, data)
        if name.casefold() in met:
            raise RefusedError(f"The file {quoted(name)} is given twice.", "Give each a name of its own.")
        met.add(name.casefold())


def _check_name(folder: Path, name: str, data: bytes | None) -> None:
    if not is_plain(name) or not name.lower().endswith(ENDINGS):
        text = f"{quoted(name)} is no name for a file of a job."
        raise RefusedError(text, "Use letters, digits, '-' and '_', with the ending .csv.")
    if data is not None and len(data) > LARGEST:
        text = f"{quoted(name)} is larger than {LARGEST / 1e6:.0f} MB."
        raise RefusedError(text, "Split it, or check that it is the right file.")
    path = folder / name
    if os.path.lexists(path) and (leads_elsewhere(path) or not path.is_file()):
        text = f"{quoted(name)} in {quoted(folder.name)} is no ordinary file; it is not written to."
        raise RefusedError(text, "Put a file in its place, or save the job under a new name.")


# --- a new job -------------------------------------------------------------------------


def _create(folder: Path, own: Path, changes: Changes) -> Saved | Refused:
    files = {name: data for name, data in changes.items() if data is not None}
    if not files:
        return Refused(f"{quoted(folder.name)} has no file yet, so nothing was saved.", "Type something in.")
    made = own / (_NEW_JOB + secrets.token_hex(8))
    try:
        made.mkdir()
        for name, data in files.items():
            write_flushed(made / name, data)
        flush_folder(made)
        os.rename(made, folder)
    except BaseException:
        with contextlib.suppress(OSError):
            remove(made)
        raise
    flush_folder(folder.parent)
    return Saved(_after(NOTHING, files))


# --- a change --------------------------------------------------------------------------


def _change(folder: Path, changes: Changes, seen: Snapshot) -> Saved | Conflict | Refused:
    if waiting := _finish(folder):
        text = f"{waiting[0]} of the save before could not be put in its place, so nothing more was saved."
        return Refused(text, "Close it where it is open, and save again.")
    now = read_whole(folder).snapshot
    after = _after(now, changes)
    if _after(seen, changes) == now:
        return Saved(now)  # there is nothing to change, as after a second click
    if now != seen:
        return Conflict(seen.changed_to(now), now)
    there = dict(now.files)
    put = {
        name: data
        for name, data in changes.items()
        if data is not None and there.get(name) != content_hash(data)
    }
    drop = [name for name, data in changes.items() if data is None and name in there]
    spelt = {name.casefold(): name for name in there if name not in drop}
    for name in put:
        if (other := spelt.get(name.casefold(), name)) != name:
            text = f"There is a file {quoted(other)} already, which some systems take for {quoted(name)}."
            return Refused(text, "Give the new file another name.")
    inner_folder(folder, HISTORY)
    stamp = _stamp(folder / HISTORY)
    replaced = [name for name in (*put, *drop) if name in there]
    try:
        if changed := _stage(folder, put, {name: there[name] for name in replaced}):
            remove(folder / JOURNAL)
            return Conflict(changed, read_whole(folder).snapshot)
        _commit(folder, put, drop, stamp)
    except BaseException:
        if pending(folder) is None:
            with contextlib.suppress(OSError):
                remove(folder / JOURNAL)
        raise
    return Saved(after, f"{HISTORY}/{stamp}" if replaced else None, _finish(folder))


def _stage(folder: Path, put: Mapping[str, bytes], replaced: Mapping[str, str]) -> tuple[str, ...]:
    """Lay new and old files into the journal; return the old ones that changed in these moments."""
    journal = folder / JOURNAL
    for made in (journal, journal / NEW, journal / _OLD):
        made.mkdir()
    changed = []
    for name, seen in replaced.items():
        data = (folder / name).read_bytes()
        if content_hash(data) != seen and len(data) <= LARGEST:
            changed.append(name)
        write_flushed(journal / _OLD / name, data)
    for name, data in put.items():
        write_flushed(journal / NEW / name, data)
        if name in replaced:
            with contextlib.suppress(OSError):  # who may read it stays as it was
                os.chmod(journal / NEW / name, stat.S_IMODE((folder / name).stat().st_mode))
    for made in (journal / NEW, journal / _OLD, folder):
        flush_folder(made)
    return tuple(changed)


def _commit(folder: Path, put: Iterable[str], drop: Iterable[str], stamp: str) -> None:
    """Make the journal count: the one moment before which all is old, and after which all is new."""
    journal = folder / JOURNAL
    unfinished = journal / f"{COMMIT}.unfinished"
    content = {"token": secrets.token_hex(8), "put": list(put), "drop": list(drop), "stamp": stamp}
    write_flushed(unfinished, json.dumps(content, ensure_ascii=False).encode("utf-8"))
    os.replace(unfinished, journal / COMMIT)
    flush_folder(journal)


def _finish(folder: Path) -> tuple[str, ...]:
    """Put what counts into its places and the rest away; return the files that could not be replaced.

    Whatever was done before a kill is found done and left so.
    """
    journal = folder / JOURNAL
    commit = pending(folder)
    if commit is None:
        remove(journal)
        return ()
    old = journal / _OLD
    if old.is_dir():  # else all files are in their places
        waiting = []
        for name in (*commit.put, *commit.drop):
            try:
                _put_in_place(folder, name, is_new=name in commit.put)
            except OSError:  # another program holds it
                waiting.append(name)
        if waiting:
            return tuple(waiting)
        flush_folder(folder)
        try:
            if any(old.iterdir()):
                os.rename(old, inner_folder(folder, HISTORY) / commit.stamp)
            else:
                old.rmdir()
        except OSError:
            return (HISTORY,)
    with contextlib.suppress(OSError):  # all is in place; the rest can go another time
        (journal / COMMIT).unlink()
        remove(journal)
    return ()


def _put_in_place(folder: Path, name: str, *, is_new: bool) -> None:
    new, old, place = folder / JOURNAL / NEW / name, folder / JOURNAL / _OLD, folder / name
    if is_new and not new.is_file():
        return  # it has been put there before
    if place.is_file():
        found = place.read_bytes()
        kept = old / name
        if not kept.is_file() or kept.read_bytes() != found:
            # somebody changed it between the save and now: that, too, is kept
            there = [path.name for path in old.iterdir()]
            write_flushed(kept if not kept.exists() else old / _found(name, there), found)
    if is_new:
        os.replace(new, place)
    else:
        place.unlink(missing_ok=True)


def _found(name: str, there: list[str]) -> str:
    return free_name(f"found {Path(name).stem}", there, ending=Path(name).suffix, otherwise="file")


def _stamp(history: Path) -> str:
    """Return a name for an entry in history: the local time, and a number where that is taken."""
    now = dt.datetime.now().strftime("%Y-%m-%d_%H%M%S")
    return free_name(now, [path.name for path in history.iterdir()], otherwise="version")


def _after(snapshot: Snapshot, changes: Changes) -> Snapshot:
    """Return the snapshot of a job with some changes."""
    files = dict(snapshot.files)
    for name, data in changes.items():
        if data is None:
            files.pop(name, None)
        else:
            files[name] = content_hash(data)
    return Snapshot(tuple(sorted(files.items())))
