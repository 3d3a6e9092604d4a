"""A job's folder, read whole: as it was before a save or as it is after, never half of each.

A save lays the new files beside the old ones in ``.saving/new`` and then names them in
``.saving/commit.json``. From that moment they are the job, wherever they lie: whoever reads
takes them from there until they have been put in their places (`core.files.save`).
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar

from core.files.names import is_plain

NAME = "job.toml"  # what makes a folder a job, if no bench sheet does
JOURNAL = ".saving"
COMMIT = "commit.json"
NEW = "new"
# What a job may be made of; a photograph beside it is none of the job's business.
ENDINGS = (".toml", ".csv", ".tsv", ".txt", ".xlsx", ".xls", ".ods")
LARGEST = 20_000_000  # bytes; a larger file is told by its size and time
_TRIES, _PAUSE_S = 50, 0.004

T = TypeVar("T")


@dataclass(frozen=True)
class Snapshot:
    """What a job's files held when they were read: a hash of each by its name, in order of names."""

    files: tuple[tuple[str, str], ...] = ()

    @property
    def digest(self) -> str:
        """Return one short text that is the same only while every file is."""
        return hashlib.sha256(json.dumps(self.files).encode()).hexdigest()[:16]

    def changed_to(self, other: Snapshot) -> tuple[str, ...]:
        """Return the names of files that another snapshot has differently, has more or has not."""
        mine, theirs = dict(self.files), dict(other.files)
        return tuple(sorted(n for n in mine.keys() | theirs.keys() if mine.get(n) != theirs.get(n)))


NOTHING = Snapshot()  # of a job that is not there yet


@dataclass(frozen=True)
class Whole:
    """A job's files by name, and the snapshot that a later save is to be told."""

    files: dict[str, bytes]
    snapshot: Snapshot


@dataclass(frozen=True)
class Pending:
    """A save that counts, though not every file is in its place yet."""

    token: str
    put: tuple[str, ...]
    drop: tuple[str, ...]
    stamp: str  # of its entry in history


@dataclass(frozen=True)
class _State:
    places: dict[str, Path] = field(compare=False)
    stamps: tuple[tuple[str, str, int, int, int], ...] = ()
    token: str | None = None


def read_whole(folder: Path) -> Whole:
    """Return the files of a job that lie in its own folder, with their snapshot.

    Parameters
    ----------
    folder : Path
        The job's folder; one that is not there yet has no files.

    Returns
    -------
    Whole
        Contents and snapshot of one and the same moment. Files over 20 MB are in the
        snapshot only.

    Raises
    ------
    OSError
        If the folder or one of its files cannot be read.
    """

    def read(places: dict[str, Path]) -> Whole:
        files, hashes = {}, []
        for name, path in places.items():
            if not name.lower().endswith(ENDINGS):
                continue
            stat = path.stat()
            if stat.st_size > LARGEST:
                hashes.append((name, f"{stat.st_size} {stat.st_mtime_ns}"))
                continue
            files[name] = path.read_bytes()
            hashes.append((name, content_hash(files[name])))
        return Whole(files, Snapshot(tuple(sorted(hashes))))

    return settled(folder, read) if os.path.lexists(folder) else Whole({}, NOTHING)


def content_hash(data: bytes) -> str:
    """Return the hash by which a snapshot knows a file's content.

    Parameters
    ----------
    data : bytes
        The whole file.

    Returns
    -------
    str
        SHA-256 in hexadecimal digits.
    """
    return hashlib.sha256(data).hexdigest()


def settled(folder: Path, read: Callable[[dict[str, Path]], T]) -> T:
    """Read a folder's files, again where a save came in between.

    Parameters
    ----------
    folder : Path
        The job's folder.
    read : callable
        Takes where each visible file's content lies, by the file's name and in order of
        names, and makes something of it; it may be called more than once.

    Returns
    -------
    object
        What ``read`` made of one and the same version.

    Raises
    ------
    OSError
        If the folder cannot be listed, or is saved over and over.
    """
    for _ in range(_TRIES):
        before = _state(folder)
        try:
            result = read(before.places)
        except FileNotFoundError:  # it was just put in its place
            if _state(folder) == before:
                raise
        else:
            if _state(folder) == before:
                return result
        time.sleep(_PAUSE_S)
    raise OSError("it is being saved over and over; try again in a moment")


def pending(folder: Path) -> Pending | None:
    """Return the save of a folder that counts and is not finished, None where there is none.

    Parameters
    ----------
    folder : Path
        The job's folder.

    Returns
    -------
    Pending or None
        What the commit names. A commit that is no such file counts for nothing.
    """
    journal = folder / JOURNAL
    if journal.is_symlink() or not journal.is_dir():
        return None
    try:
        data = json.loads((journal / COMMIT).read_text(encoding="utf-8"))
        found = Pending(data["token"], tuple(data["put"]), tuple(data["drop"]), data["stamp"])
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return None
    names = (*found.put, *found.drop, found.stamp)
    sound = all(isinstance(name, str) and is_plain(name) for name in names)
    return found if sound and isinstance(found.token, str) else None


def _state(folder: Path) -> _State:
    commit = pending(folder)
    places = _places(folder, commit)
    stamps = []
    for name, path in places.items():
        try:
            stat = path.stat()
        except OSError:
            stamps.append((name, str(path), 0, 0, 0))
        else:
            stamps.append((name, str(path), stat.st_ino, stat.st_size, stat.st_mtime_ns))
    return _State(places, tuple(stamps), commit.token if commit else None)


def places(folder: Path) -> dict[str, Path]:
    """Return where each visible file's content lies now, by the file's name and in order of names.

    Parameters
    ----------
    folder : Path
        The job's folder.

    Returns
    -------
    dict of str to Path
        For a glance at single files; who wants them to belong together reads `settled`.

    Raises
    ------
    OSError
        If the folder cannot be listed.
    """
    return _places(folder, pending(folder))


def _places(folder: Path, commit: Pending | None) -> dict[str, Path]:
    found = dict(_visible(folder))
    for name in commit.put if commit else ():
        waiting = folder / JOURNAL / NEW / name
        if os.path.isfile(waiting) and not os.path.islink(waiting):
            found[name] = waiting
    for name in commit.drop if commit else ():
        found.pop(name, None)
    return dict(sorted(found.items(), key=lambda item: (item[0].casefold(), item[0])))


def _visible(folder: Path) -> Iterator[tuple[str, Path]]:
    with os.scandir(folder) as found:
        for one in found:
            with contextlib.suppress(OSError):  # a link that leads round in a circle
                if not one.name.startswith(".") and one.is_file():
                    yield one.name, folder / one.name
