"""A job to save in tests, and a disk that fails at a chosen step."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from core.files import disk
from core.files.disk import LEDGER

OLD = {"job.toml": b"title = 'old'\n", "one.csv": b"old one\n", "two.csv": b"old two\n"}
CHANGES = {
    "job.toml": b"title = 'new'\n",
    "one.csv": b"new one\n",
    "two.csv": None,
    "three.csv": b"new three\n",
}
NEW = {"job.toml": b"title = 'new'\n", "one.csv": b"new one\n", "three.csv": b"new three\n"}


def old_job(within: Path) -> Path:
    """Make a job with three files, in a root of its own; return its folder."""
    made = within / "jobs" / "job"
    made.mkdir(parents=True)
    for name, data in OLD.items():
        (made / name).write_bytes(data)
    return made


def files_in(folder: Path) -> dict[str, bytes]:
    """Return what lies in a folder for any program to see."""
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


def everything(root: Path) -> dict[str, bytes]:
    """Return every file below a folder, but for the root's own hidden one."""
    found = [path for path in root.rglob("*") if path.is_file() and LEDGER not in path.parts]
    return {path.relative_to(root).as_posix(): path.read_bytes() for path in found}


class KilledError(BaseException):
    """Stands for the end of the process: nothing that catches ordinary errors catches it."""


STEPS = [(os, "replace"), (os, "rename"), (os, "fsync"), (Path, "mkdir"), (Path, "unlink"), (Path, "rmdir")]


@contextmanager
def failing_from(step: int, error: BaseException, *, once: bool = False) -> Iterator[list[str]]:
    """Let so many steps on the disk through, then fail: from there on every one, or that one alone."""
    met: list[str] = []

    def counted(real: Callable, name: str) -> Callable:
        def run(*args: object, **options: object) -> object:
            met.append(name)
            if len(met) == step + 1 or (len(met) > step and not once):
                raise error
            return real(*args, **options)

        return run

    with pytest.MonkeyPatch.context() as patch:
        for place, name in STEPS:
            patch.setattr(place, name, counted(getattr(place, name), name))
        yield met


def reset(folder: Path) -> None:
    """Put the old job back, with no history and nothing half done."""
    for path in folder.iterdir():
        disk.remove(path)
    for name, data in OLD.items():
        (folder / name).write_bytes(data)
