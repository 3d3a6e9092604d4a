"""Writing inside a jobs' root: flushed, renamed into place, one writer at a time, and plain refusals.

What belongs to the whole root and to no job (the lock, drafts, the shelf's index, new jobs that
are being written) lies in its hidden folder ``.ledger``.
"""

from __future__ import annotations

import contextlib
import errno
import os
import secrets
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from filelock import FileLock, Timeout

from core.units import quoted

LEDGER = ".ledger"
_WAIT_S = 10.0  # for another save; one takes milliseconds
_NO_ROOM = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
_NO_LEAVE = (errno.EACCES, errno.EPERM, errno.EROFS)


@dataclass(frozen=True)
class Refused:
    """Nothing was written, and why."""

    text: str
    cure: str

    def __str__(self) -> str:
        return f"{self.text} {self.cure}"


class RefusedError(Exception):
    """Carries a refusal out of the lock."""

    def __init__(self, text: str, cure: str) -> None:
        super().__init__(text)
        self.refused = Refused(text, cure)


def refused_by_disk(error: OSError, what: str) -> Refused:
    """Return in plain words why the disk took nothing.

    Parameters
    ----------
    error : OSError
        As raised.
    what : str
        Name of what was to be written.

    Returns
    -------
    Refused
        Reason and cure.
    """
    if error.errno in _NO_ROOM:
        return Refused(
            f"The disk is full, so {quoted(what)} was not saved; what was there before stays.",
            "Make some room and save again, or download the job as an archive.",
        )
    if error.errno in _NO_LEAVE:
        return Refused(
            f"{quoted(what)} was not saved, for its folder may only be read.",
            "Allow this user to write there, or download the job as an archive.",
        )
    reason = error.strerror or str(error)
    return Refused(
        f"{quoted(what)} was not saved, for the disk says: {reason}.",
        "Check the jobs' folder and its drive and save again, or download the job as an archive.",
    )


def ledger_folder(root: Path) -> Path:
    """Return the hidden folder of a jobs' root, made where it is not there yet.

    Parameters
    ----------
    root : Path
        Folder of all jobs, which must exist.

    Returns
    -------
    Path
        A folder that is no link to elsewhere.

    Raises
    ------
    RefusedError
        If the root is missing, or what has the folder's name leads elsewhere.
    OSError
        If it cannot be made.
    """
    check_root(root)
    return inner_folder(root, LEDGER)


def check_root(root: Path) -> None:
    """Refuse a jobs' root that is not there: it is never made, for a drive may be missing.

    Parameters
    ----------
    root : Path
        Folder of all jobs.

    Raises
    ------
    RefusedError
        If there is no such folder.
    """
    if not os.path.isdir(root):
        text = f"The jobs' folder {quoted(str(root))} is not there."
        raise RefusedError(text, "Connect its drive, or start on another folder.")


def inner_folder(folder: Path, name: str) -> Path:
    """Return a folder inside another, made where it is not there yet.

    Parameters
    ----------
    folder : Path
        The outer folder, which must exist.
    name : str
        Name of the inner one.

    Returns
    -------
    Path
        A folder that is no link to elsewhere.

    Raises
    ------
    RefusedError
        If what has that name is no folder, or leads elsewhere.
    OSError
        If it cannot be made.
    """
    inner = folder / name
    try:
        inner.mkdir(exist_ok=True)
    except FileExistsError:
        if not inner.is_symlink():
            text = f"{quoted(name)} in {quoted(folder.name)} is a file, not a folder, so nothing was saved."
            raise RefusedError(text, "Move that file away, and save again.") from None
    if leads_elsewhere(inner):
        raise RefusedError(
            f"{quoted(name)} in {quoted(folder.name)} is a link to another place; nothing is written there.",
            "Put a folder in place of the link.",
        )
    return inner


def leads_elsewhere(path: Path) -> bool:
    """Return whether a path is a link, or is reached through one below its parent's real place.

    Parameters
    ----------
    path : Path
        A file or folder, there or not.

    Returns
    -------
    bool
        True for symbolic links, dangling ones too, and for what Windows calls junctions.
    """
    straight = path.parent.resolve() / path.name
    return path.is_symlink() or os.path.normcase(path.resolve()) != os.path.normcase(straight)


@contextlib.contextmanager
def locked(root: Path) -> Iterator[Path]:
    """Let one writer at a time into a jobs' root; the system frees the lock after a kill.

    Parameters
    ----------
    root : Path
        Folder of all jobs.

    Yields
    ------
    Path
        The root's hidden folder.

    Raises
    ------
    RefusedError
        If another has been writing for long, or the file system knows no locks.
    OSError
        If the root may not be written to.
    """
    own = ledger_folder(root)
    lock = FileLock(own / "lock")
    try:
        lock.acquire(timeout=_WAIT_S)
    except Timeout:
        raise RefusedError(
            f"Another save has been going on for {_WAIT_S:.0f} seconds, so nothing was saved.",
            "Wait a moment and save again.",
        ) from None
    except NotImplementedError:
        raise RefusedError(
            "The jobs' folder lies on a drive that cannot be locked, so nothing was saved.",
            "Keep the jobs on a drive of this machine, or download the job as an archive.",
        ) from None
    try:
        yield own
    finally:
        lock.release()


def write_flushed(path: Path, data: bytes) -> None:
    """Write a new file and wait until it is on the disk.

    Parameters
    ----------
    path : Path
        Where nothing is yet.
    data : bytes
        Its content.

    Raises
    ------
    OSError
        If the disk does not take it.
    """
    with path.open("xb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


def replace_file(path: Path, data: bytes) -> None:
    """Write a file so that a reader meets the old one or the new one, never half of one.

    Parameters
    ----------
    path : Path
        Where to; what is there is replaced.
    data : bytes
        Its content.

    Raises
    ------
    OSError
        If the disk does not take it; what was there stays.
    """
    unfinished = path.with_name(f".{path.name}.{secrets.token_hex(6)}")
    try:
        write_flushed(unfinished, data)
        os.replace(unfinished, path)
    except BaseException:
        with contextlib.suppress(OSError):
            unfinished.unlink(missing_ok=True)
        raise
    flush_folder(path.parent)


def flush_folder(folder: Path) -> None:
    """Wait until the names in a folder are on the disk, where the system can do that.

    Parameters
    ----------
    folder : Path
        An existing folder.
    """
    if os.name == "nt":  # no such thing there; renames are in the journal of its file system
        return
    with contextlib.suppress(OSError):  # some network drives do not know it
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def remove(path: Path) -> None:
    """Take a file or folder away; of a link the link alone.

    Parameters
    ----------
    path : Path
        One that is not there is no error.

    Raises
    ------
    OSError
        If it cannot be taken away.
    """
    if path.is_dir() and not leads_elsewhere(path):
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)
