"""Stages as job file and sheets both name them: one added, and one that is called something else."""

from __future__ import annotations

import re
from pathlib import PurePosixPath

from core.files.jobfile import NAME
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
    changes: dict[str, bytes | None] = {}
    for file, data in work.files.items():
        named = _stage_of(file, data)
        if named is not None and folded(named[1]) == folded(old):
            after = _with_name(decode(data), *named, new).encode()
            if (_stage_of(file, after) or (None, ""))[1] == new:
                changes[file] = after
    place = work.draft.values.get(PLACE, {})
    moved = {PLACE: {**place, "stage": new}} if folded(place.get("stage", "")) == folded(old) else {}
    return work.changing(changes, **moved)


def _stage_of(file: str, data: bytes) -> tuple[int | None, str] | None:
    """Return the line on which a sheet names its stage, None where its file's name does, and the name."""
    if file == NAME:
        return None
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
    if folded(keys.get("role", (0, "stage"))[1]) != "stage" or "lift" not in [h.name for h in table.heads]:
        return None
    return keys.get("stage", (None, PurePosixPath(file).stem))


def _with_name(text: str, line: int | None, old: str, new: str) -> str:
    if line is None:
        return f"# stage: {new}\n{text}"
    parts = _LINE_END.split(text)  # lines, and what ends each of them
    before, colon, after = parts[2 * line - 2].partition(":")
    parts[2 * line - 2] = before + colon + after.replace(old, new, 1)
    return "".join(parts)
