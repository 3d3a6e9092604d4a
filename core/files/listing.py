"""What a jobs' root holds, told from the heads of its files: nothing is worked out, all is quick."""

from __future__ import annotations

import datetime as dt
import hashlib
import os
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from core.files.folder import COMMIT, ENDINGS, JOURNAL, NAME, places
from core.files.text import UnreadableError, decode

_HEAD = 2000  # bytes of a bench sheet in which its date is looked for
_DATE = re.compile(rb"^[#\s;,\"]*date\s*:\s*(\d{4}-\d{2}-\d{2})", re.IGNORECASE | re.MULTILINE)
_TABLE = re.compile(r"^(?=[ \t]*\[)", re.MULTILINE)
_ENGINE = re.compile(r"[ \t]*\[[ \t]*engine[ \t]*\]")


@dataclass(frozen=True)
class Head:
    """One job as its files state it; None where they do not."""

    folder: str
    title: str  # the folder's name where none is stated
    customer: str | None = None
    casting: str | None = None
    serial_number: str | None = None
    cylinders: int | None = None
    bore: str | None = None  # as written
    stroke: str | None = None
    date: dt.date | None = None  # the latest on its bench sheets
    readable: bool = True  # whether the job file is TOML


def stamps(root: Path) -> dict[str, str]:
    """Return each job folder's name with a text that changes whenever one of its files does.

    Parameters
    ----------
    root : Path
        Folder of all jobs.

    Returns
    -------
    dict of str to str
        By folder name, in order of names; empty where the root cannot be read. Names, sizes, times
        and places of the files are compared, not their contents.
    """
    try:
        folders = sorted(name for name in os.listdir(root) if not name.startswith("."))
    except OSError:
        return {}
    stamped = ((name, _stamp(root / name)) for name in folders)
    return {name: stamp for name, stamp in stamped if stamp is not None}


def stamp_of(path: Path | str) -> str | None:
    """Return a text that changes whenever a file does.

    Parameters
    ----------
    path : Path or str
        The file.

    Returns
    -------
    str or None
        Its size, times and place on the disk; None where it is not there. The time of its content
        alone would not do: an archive, a copy or a clock set back may give a new content an old time.
    """
    try:
        stat = os.stat(path)
    except OSError:
        return None
    return " ".join(map(str, _marks(stat)))


def is_job(folder: Path) -> bool:
    """Return whether a folder is to be opened as a job.

    Parameters
    ----------
    folder : Path
        Any folder.

    Returns
    -------
    bool
        True where it holds a job file or a bench sheet, and where it cannot be looked into: who
        opens it is told why, which is better than a job that is gone without a word.
    """
    try:
        names = os.listdir(folder)
    except (FileNotFoundError, NotADirectoryError):
        return False
    except OSError:
        return True
    return any(_makes_job(name) and os.path.isfile(folder / name) for name in names)


def _makes_job(name: str) -> bool:
    return name == NAME or (name.lower().endswith(".csv") and not name.startswith("."))


def _marks(stat: os.stat_result) -> tuple[int, ...]:
    return (stat.st_size, stat.st_mtime_ns, stat.st_ctime_ns, stat.st_ino)


def read_head(folder: Path) -> Head:
    """Return what the heads of a job's files say.

    Parameters
    ----------
    folder : Path
        The job's folder.

    Returns
    -------
    Head
        Without what cannot be read; never an error.
    """
    try:
        return _read_head(folder.name, places(folder))
    except OSError:
        return Head(folder.name, folder.name, readable=False)


def _stamp(folder: Path) -> str | None:
    """Return a job folder's stamp, None for a folder that holds no job."""
    files, holds_job = [], False
    try:
        with os.scandir(folder) as found:
            for one in found:
                name = one.name.lower()
                if name.startswith(".") or not name.endswith(ENDINGS) or not os.path.isfile(one):
                    continue  # nor a link that leads nowhere
                files.append((one.name, *_marks(os.stat(one))))  # one.stat() has no number on Windows
                holds_job = holds_job or _makes_job(one.name)
    except OSError:
        return None
    unfinished = stamp_of(folder / JOURNAL / COMMIT)
    return hashlib.sha256(repr((sorted(files), unfinished)).encode()).hexdigest()[:16] if holds_job else None


def _read_head(name: str, found: dict[str, Path]) -> Head:
    data = _job_file(found[NAME]) if NAME in found else {}
    if data is None:
        return Head(name, name, date=_latest(found), readable=False)
    engine = data.get("engine") if isinstance(data.get("engine"), dict) else {}
    cylinders = engine.get("cylinders")
    return Head(
        name,
        _words(data, "title") or name,
        _words(data, "customer"),
        _words(data, "casting"),
        _words(data, "serial_number"),
        cylinders if type(cylinders) is int else None,
        _words(engine, "bore"),
        _words(engine, "stroke"),
        _latest(found),
    )


def _job_file(path: Path) -> dict[str, object] | None:
    """Return what a job file says before its first table, and of the engine; None where it is no TOML."""
    try:
        text = decode(path.read_bytes())
        top, *tables = _TABLE.split(text)
        needed = top + "".join(table for table in tables if _ENGINE.match(table))
        try:
            return tomllib.loads(needed)  # a third of the file, in a third of the time
        except ValueError:
            return tomllib.loads(text)  # a text over several lines may look like a table
    except (OSError, UnreadableError, ValueError, RecursionError):
        return None


def _words(data: dict[str, object], key: str) -> str | None:
    value = data.get(key)
    if isinstance(value, bool) or not isinstance(value, (str, int, float)):
        return None
    return " ".join(str(value).split()) or None


def _latest(found: dict[str, Path]) -> dt.date | None:
    return max((date for name, path in found.items() for date in _dates(name, path)), default=None)


def _dates(name: str, path: Path) -> Iterator[dt.date]:
    if not name.lower().endswith(".csv"):
        return
    try:
        # a file object would take longer to make than the few bytes to read, and a shelf has thousands
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_BINARY", 0))
        try:
            head = os.read(handle, _HEAD)
        finally:
            os.close(handle)
    except OSError:
        return
    if b"\0" in head:
        head = head.replace(b"\0", b"")  # of UTF-16 every second byte is zero here
    for found in _DATE.finditer(head):
        try:
            yield dt.date.fromisoformat(found[1].decode())
        except ValueError:
            continue
