"""Stages as job file and sheets both name them: one added, and one that is called something else."""

from __future__ import annotations

import re
from pathlib import PurePosixPath
from typing import NamedTuple

from core.files.folder import NAME
from core.files.log import Log, folded
from core.files.table import split
from core.files.text import UnreadableError, decode
from core.files.write_job import UneditableError, edited
from dashboard.entry.draft import Work, job_file_of

PLACE = "place"  # what was on the bench last: stage, port and side
_LINE_END = re.compile(r"(\r\n|\r|\n)")


def with_stage(work: Work, name: str) -> dict[str, bytes]:
    """Return the job file with a stage more, where it lists stages and not this one; else nothing."""
    job_file = job_file_of(work.files)
    if job_file is None or not job_file.stages:
        return {}  # stages come from the sheets
    if folded(name) in {folded(stage.name) for stage in job_file.stages}:
        return {}
    try:
        return {NAME: edited(work.job_file, {("stage", len(job_file.stages), "name"): name})}
    except UneditableError:
        return {}  # the sheet then says that no stage claims it, and what to do


def following(work: Work, old: str, new: str) -> Work:
    """Return the work with sheets and bench following a stage's new name in the job file.

    Sheets keep every other line as it is. One that would not be read so is left: it then says
    itself what is wrong.
    """
    job_file = job_file_of(work.files)
    of_others = {NAME, *(one.file for one in (job_file.named_files() if job_file else ()))}
    changes: dict[str, bytes | None] = {}
    for file, data in work.files.items():
        named = None if file in of_others else _naming(file, data)
        if named is not None and folded(named.name) == folded(old):
            after = _with_name(decode(data), named, new).encode()
            again = _naming(file, after)
            if again is not None and again.name == new:
                changes[file] = after
    place = work.draft.values.get(PLACE, {})
    moved = {PLACE: {**place, "stage": new}} if folded(place.get("stage", "")) == folded(old) else {}
    return work.changing(changes, **moved)


class _Naming(NamedTuple):
    """The line on which a sheet names its stage, if there is one, what stands there, and the name."""

    line: int | None
    written: str
    name: str


def _naming(file: str, data: bytes) -> _Naming | None:
    """Return how a sheet names its stage; None where it is of none. A blank is no name, as for its reader."""
    try:
        table = split(decode(data), Log(file))
    except UnreadableError:
        return None
    if table is None:
        return None
    keys = {}
    for line, comment in table.comments:
        key, colon, value = comment.partition(":")
        if colon:
            keys.setdefault(folded(key), (line, value.strip(" \t,;")))
    _, role = keys.get("role", (0, ""))
    if folded(role or "stage") != "stage" or "lift" not in [head.name for head in table.heads]:
        return None
    line, written = keys.get("stage", (None, ""))
    return _Naming(line, written, written or PurePosixPath(file).stem)


def _with_name(text: str, old: _Naming, new: str) -> str:
    if old.line is None:
        return f"# stage: {new}\n{text}"
    parts = _LINE_END.split(text)  # lines, and what ends each of them
    before, colon, after = parts[2 * old.line - 2].partition(":")
    parts[2 * old.line - 2] = before + colon + after.replace(old.written, new, 1)
    return "".join(parts)
