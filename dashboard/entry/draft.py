"""Unsaved work laid over the files that it changes; pure, the session is in `session`."""

from __future__ import annotations

import base64
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from core.files.assemble import Loaded
from core.files.draft import Draft
from core.files.folder import NAME, Whole
from core.files.jobfile import JobFile, read_job_file
from core.files.load import load_files, load_job
from core.files.log import Log
from core.files.text import MAX_BYTES, UnreadableError, decode
from dashboard import hand

STEPS = "steps"  # readings taken, the latest last
WRONG = "wrong"  # what was typed into a field and could not be read, by the field's key
TITLE = "new job"  # of a job that has no title yet
_CHANGES = "changes"

Files = dict[str, bytes]


@dataclass(frozen=True)
class Work:
    """A draft, the job's files as they are on disk, and what the draft makes of them."""

    draft: Draft
    base: Files
    files: Files

    @property
    def name(self) -> str:
        """Return what the job is called until it has a title."""
        return self.draft.job or TITLE

    def changing(self, changes: Mapping[str, bytes | None], **values: object) -> Work:
        """Return the work with files put in, replaced or (None) taken away, and other values."""
        kept = {name: _packed(data) for name, data in (changes_of(self.draft) | dict(changes)).items()}
        draft = replace(self.draft, values={**self.draft.values, **values, _CHANGES: kept})
        return laid_over(draft, self.base)

    def noting(self, **values: object) -> Work:
        """Return the work with other values; files stay."""
        return replace(self, draft=replace(self.draft, values={**self.draft.values, **values}))

    @property
    def job_file(self) -> bytes:
        """Return the job file, empty where there is none yet."""
        return self.files.get(NAME, b"")

    def is_changed(self) -> bool:
        """Return whether anything would be saved."""
        return self.to_save() != {}

    def to_save(self) -> dict[str, bytes | None]:
        """Return what a save has to change: files that differ, and None for those that are gone."""
        sound = sound_files(self.files)
        changed: dict[str, bytes | None] = {n: d for n, d in sound.items() if self.base.get(n) != d}
        gone = [name for name in self.base if name not in self.files]
        return changed | dict.fromkeys(gone)


def laid_over(draft: Draft, base: Files) -> Work:
    """Return a draft with the files that it makes."""
    files = dict(base)
    for name, data in changes_of(draft).items():
        if data is None:
            files.pop(name, None)
        else:
            files[name] = data
    return Work(draft, base, files)


def base_files(whole: Whole) -> Files:
    """Return those files of a folder that a job is read from."""
    job_file = job_file_of(whole.files)
    named = [one.file for one in job_file.named_files()] if job_file else []
    return {n: d for n, d in whole.files.items() if n == NAME or n.lower().endswith(".csv") or n in named}


def changes_of(draft: Draft) -> dict[str, bytes | None]:
    """Return the files that a draft changes."""
    return {name: _unpacked(kept) for name, kept in draft.values.get(_CHANGES, {}).items()}


def sound_files(files: Mapping[str, bytes]) -> Files:
    """Return the files without sheets in which nothing has been read yet."""
    return {name: data for name, data in files.items() if not _is_blank(name, data)}


def load(files: Mapping[str, bytes], name: str, root: Path) -> Loaded:
    """Read the job that files make, as it will be read once they are saved."""
    found = sound_files(files)
    job_file = job_file_of(found)
    for named in job_file.named_files() if job_file else ():
        path = _within(root, name, named.file)
        if named.file not in found and path is not None and path.is_file():
            with open(path, "rb") as stream:
                found[named.file] = stream.read(MAX_BYTES + 1)
    target = job_file.target if job_file else None
    if target is not None and target.job is not None and (folder := _within(root, name, target.job.file)):
        other = load_job([folder], root).job
        found |= {target.folder + file: data for file, data in other.files} if other else {}
    return load_files(found, name)


def _within(root: Path, name: str, file: str) -> Path | None:
    """Return where a file lies that a job names, None where that is outside the jobs' root."""
    try:
        path = (root / name / file).resolve()
    except (OSError, ValueError, RuntimeError):
        return None
    return path if path.is_relative_to(root.resolve()) else None


def job_file_of(files: Mapping[str, bytes]) -> JobFile | None:
    """Return what could be read of the job file, None where there is none."""
    try:
        return read_job_file(decode(files[NAME]), Log(NAME)) if NAME in files else None
    except UnreadableError:
        return None


def _is_blank(name: str, data: bytes) -> bool:
    if not name.endswith(".csv"):
        return False
    sheet = hand.from_text(data)
    return sheet is not None and sheet.is_empty()


def _packed(data: bytes | None) -> str | dict[str, str] | None:
    """Return a file as JSON holds it: as text where it is text, so that a person can read a draft."""
    if data is None:
        return None
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        return {"base64": base64.b64encode(data).decode("ascii")}


def _unpacked(kept: object) -> bytes | None:
    if isinstance(kept, dict):
        return base64.b64decode(kept["base64"])
    return kept.encode("utf-8") if isinstance(kept, str) else None
