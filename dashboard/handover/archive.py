"""Archives that come out the same twice: the job as it was read, and all hand-over files in one."""

from __future__ import annotations

import datetime as dt
import io
import posixpath
import re
import zipfile
from collections.abc import Mapping
from pathlib import Path

from core.job import Job

_FIRST_DAY = dt.date(1980, 1, 1)  # a ZIP knows no earlier one
_UNDATED = dt.date(2000, 1, 1)
_PACKED = (".png", ".zip")  # as small as they get
_ONE_FILE = 0o644 << 16  # readable on every system, and never a program
_UNFIT = re.compile(r'[<>:"|?*\\\x00-\x1f\x7f-\x9f\u200b-\u200f\u202a-\u202e\u2060-\u2069\ud800-\udfff]')
_RESERVED = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", re.IGNORECASE)
_LONGEST = 110


def zipped(files: Mapping[str, bytes], day: dt.date | None) -> bytes:
    """Return files as a ZIP; names are taken as they are, the date is the same for all."""
    stamp = max(day or _UNDATED, _FIRST_DAY)
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        for name, data in files.items():
            entry = zipfile.ZipInfo(name, (stamp.year, stamp.month, stamp.day, 0, 0, 0))
            entry.create_system = 3  # else it tells which system made it
            entry.external_attr = _ONE_FILE
            entry.compress_type = zipfile.ZIP_STORED if name.endswith(_PACKED) else zipfile.ZIP_DEFLATED
            archive.writestr(entry, data)
    return packed.getvalue()


def bench_day(job: Job) -> dt.date | None:
    """Return the last day on which a sheet of the job was written, None where none is dated."""
    return max((sheet.date for sheet in job.sheets if sheet.date), default=None)


def job_zip(job: Job) -> bytes:
    """Return the files that a job was read from, laid out so that it can be read again."""
    return zipped(_laid_out(job), bench_day(job))


def _laid_out(job: Job) -> dict[str, bytes]:
    """Return the files under folders that hold them all: what lies beside the job's folder, too."""
    paths = {name: posixpath.normpath(Path(name).as_posix()).lstrip("/") for name, _ in job.files}
    ups = max((path.split("/").count("..") for path in paths.values()), default=0)
    base = "/".join([*(f"jobs-{n}" for n in range(1, ups)), part(job.name)])
    placed: dict[str, bytes] = {}
    for name, data in job.files:
        inside = posixpath.normpath(f"{base}/{paths[name]}")
        path = "/".join(map(part, inside.split("/")))
        (stem, ending), count = posixpath.splitext(path), 2
        while path.casefold() in {one.casefold() for one in placed}:
            path, count = f"{stem}-{count}{ending}", count + 1
        placed[path] = data
    return placed


def part(name: str) -> str:
    """Return one name of a path that every system can write, and that leads nowhere else."""
    fit = _UNFIT.sub("_", name.replace("/", "_")).rstrip(". ")
    fit = f"_{fit}" if _RESERVED.fullmatch(fit) else fit
    if len(fit) > _LONGEST:
        dot, ending = fit.rpartition(".")[1:]
        kept = f"{dot}{ending}" if len(ending) < 8 else ""
        fit = fit[: _LONGEST - len(kept)] + kept
    return fit or "_"
