"""Files to a Job: a job folder, bare bench sheets, or the same from memory. One way for all."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath, PureWindowsPath
from stat import S_ISREG

from core.files.assemble import Loaded, assemble
from core.files.folder import NAME, settled
from core.files.jobfile import JobFile, NamedFile, TargetFiles, read_job_file
from core.files.log import Log
from core.files.names import printable
from core.files.text import MAX_BYTES, UnreadableError, decode
from core.job import Job, Problem
from core.units import quoted

__all__ = ["Loaded", "load_files", "load_job"]

_UNREAD = (".xlsx", ".xls", ".ods", ".tsv", ".txt", ".toml")


def load_job(
    paths: Sequence[Path], root: Path | None = None, units: Mapping[str, str] | None = None
) -> Loaded:
    """Read a job folder, or one or more bench sheets.

    Parameters
    ----------
    paths : sequence of Path
        One folder, or bench sheets in the order of work where nothing in them tells it.
    root : Path, optional
        Folder of all jobs, which a job's own paths may not leave; by default the folder
        above the job's.
    units : mapping of str to str, optional
        Used where a sheet does not say: ``lift`` and ``flow`` a unit (``in``, ``cfm``),
        ``test pressure`` a quantity (``28 inH2O``).

    Returns
    -------
    Loaded
        The job, or every reason why it cannot be used.
    """
    paths = [Path(path) for path in paths]
    folders = [path for path in paths if os.path.isdir(path)]  # unlike Path.is_dir it never raises
    if len(paths) == 1 and paths[0].name == NAME and os.path.isfile(paths[0]):
        folders = paths = [paths[0].parent]
    if len(paths) == 1 and folders:
        return _load_folder(folders[0], root, units)
    if not paths:
        return Loaded(None, (Problem("job", "No file was given.", "Give a job folder or bench sheets."),))
    problems = [
        Problem(
            printable(str(path)),
            "A folder and other files cannot be one job.",
            "Give one folder, or sheets only.",
        )
        for path in folders
    ]
    files: dict[str, bytes] = {}
    for path, name in zip(paths, _names(paths), strict=True):
        if path in folders:
            continue
        if name in files:
            problems.append(Problem(name, "The file is given twice.", "Give it once."))
        _take(path, name, files, problems)
    first = paths[0]
    name = first.stem if len(paths) == 1 else os.path.basename(os.path.dirname(os.path.abspath(first)))
    return load_files(files, printable(name), units, problems)


def load_files(
    files: Mapping[str, bytes],
    name: str,
    units: Mapping[str, str] | None = None,
    problems: Sequence[Problem] = (),
) -> Loaded:
    """Read a job from memory, as after an upload; names are compared, never opened.

    Parameters
    ----------
    files : mapping of str to bytes
        Content of each file by its name.
    name : str
        Name of the job.
    units : mapping of str to str, optional
        As in ``load_job``.
    problems : sequence of Problem
        What has already gone wrong with other files.

    Returns
    -------
    Loaded
        The job, or every reason why it cannot be used.
    """
    return _load_given(dict(files), name, units or {}, problems)


def _load_given(
    files: dict[str, bytes],
    name: str,
    units: Mapping[str, str],
    problems: Sequence[Problem] = (),
    *,
    aimed: bool = True,
) -> Loaded:
    """Read a job from memory; ``aimed`` as for a folder."""
    job_file, log = _read_job_file(files)
    for named in job_file.named_files() if job_file else ():
        bare = PureWindowsPath(named.file).name  # an upload has no folders
        if named.file not in files and bare in files and bare != NAME:
            files[named.file] = files.pop(bare)
            text = "{} is taken to be the file {} that was given."
            log.finding(
                "look", "named-file-matched", text, (named.file, "text"), (bare, "text"), line=named.line
            )
        elif named.file not in files:
            log.problem(
                f"{quoted(named.file)} is not among the files.", "Give that file as well.", named.line
            )
    other = _other_of(files, job_file.target, log) if aimed and job_file and job_file.target else None
    return assemble(files, name, job_file, log, units, problems, other)


def _other_of(files: dict[str, bytes], target: TargetFiles, log: Log) -> Job | None:
    """Return the job whose stage is the target, from its files among those given."""
    if target.job is None:
        return None
    theirs = {n.removeprefix(target.folder): files[n] for n in files if n.startswith(target.folder)}
    if not theirs:
        text = f"The job {quoted(target.job.file)} is not among the files."
        log.problem(text, "Open this job in its folder, or type the target: [target.typed].", target.job.line)
        return None
    loaded = _load_given(theirs, PurePosixPath(target.job.file).name, {}, aimed=False)
    _add_other(target, loaded, files, log)
    return loaded.job


def _read_job_file(files: Mapping[str, bytes]) -> tuple[JobFile | None, Log]:
    log = Log(NAME)
    if NAME not in files:
        return None, log
    try:
        return read_job_file(decode(files[NAME]), log), log
    except UnreadableError as error:
        log.problem(error.text, "A job file is plain text in UTF-8.")
        return None, log


def _load_folder(
    folder: Path, root: Path | None, units: Mapping[str, str] | None, *, aimed: bool = True
) -> Loaded:
    """Read a job's folder; a job that is another one's target needs no target of another job itself."""
    name = printable(os.path.basename(os.path.abspath(folder)))
    try:
        folder = folder.resolve()
        within = folder.parent if root is None else root.resolve()
        found = settled(folder, lambda places: _gather(folder, within, places, aimed))
    except (OSError, RuntimeError) as error:
        return Loaded(None, (_unreadable(name, error),))
    return assemble(found.files, name, found.job_file, found.log, units or {}, found.problems, found.other)


@dataclass
class _Found:
    """What a job's folder holds, and what its job file names elsewhere."""

    files: dict[str, bytes] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    job_file: JobFile | None = None
    log: Log = field(default_factory=lambda: Log(NAME))
    other: Job | None = None  # whose stage is the target


def _gather(folder: Path, root: Path, places: Mapping[str, Path], aimed: bool) -> _Found:
    """Read a job's files; ``places`` tells where the content of each file in the folder lies."""
    found, unread = _Found(), []
    for name, path in places.items():
        ending = Path(name).suffix.lower()
        if name == NAME or ending == ".csv":
            _take(path, printable(name), found.files, found.problems)
        elif ending in _UNREAD:
            unread.append(printable(name))
    found.job_file, found.log = _read_job_file(found.files)
    for named in found.job_file.named_files() if found.job_file else ():
        _fetch(named, folder, root, places, found)
    if aimed and found.job_file and found.job_file.target and found.job_file.target.job:
        _fetch_job(found.job_file.target, folder, root, found)
    unread = [one for one in unread if one not in found.files]
    if unread:
        text = "Not read, for they are no bench sheets: {}"
        found.log.finding("note", "unread-files", text, (", ".join(unread), "text"))
    if strays := [printable(name) for name in sorted(os.listdir(folder)) if _is_stray(folder, name)]:
        text = "Not read, for it is no file but a folder, or a link that leads nowhere: {}"
        cure = "Put the sheet in its place, or give it another name."
        found.log.finding("look", "stray-sheet", text, (", ".join(strays), "text"), cure=cure)
    return found


def _is_stray(folder: Path, name: str) -> bool:
    """Tell what is named like a sheet and is none, so that no stage is missing without a word."""
    is_sheet = name.lower().endswith(".csv") and not name.startswith(".")
    return is_sheet and not os.path.isfile(folder / name)


def _fetch(named: NamedFile, folder: Path, root: Path, places: Mapping[str, Path], found: _Found) -> None:
    """Read a file that the job file names, if it lies within the jobs' root."""
    path = _place(folder, named)
    here = path.parent == folder
    place = places.get(path.name, path) if here else path
    if not path.is_relative_to(root):
        text = f"{quoted(named.file)} lies outside the jobs' folder."
        found.log.problem(text, "Move the file into it, and name it there.", named.line)
    elif not os.path.isfile(place):
        cure = "Check its name; it is looked for from the job's folder, with '/' between folders."
        found.log.problem(f"There is no file {quoted(named.file)}.", cure, named.line)
    elif here and path.name in found.files and path.name != NAME:
        found.files[named.file] = found.files.pop(path.name)
    elif named.file not in found.files:
        _take(place, named.file, found.files, found.problems)


def _place(folder: Path, named: NamedFile) -> Path:
    try:
        return (folder / named.file).resolve()
    except (OSError, ValueError, RuntimeError):
        return folder / "no such file"


def _fetch_job(target: TargetFiles, folder: Path, root: Path, found: _Found) -> None:
    """Read the job whose stage is the target, if it lies within the jobs' root."""
    path, named = _place(folder, target.job), quoted(target.job.file)
    if not path.is_relative_to(root):
        text = f"The job {named} lies outside the jobs' folder."
        found.log.problem(text, "Move that job into it, and name it there.", target.job.line)
    elif path == folder:
        found.log.problem("The target is this job itself.", "Name another job.", target.job.line)
    elif not os.path.isdir(path) or path == root:
        cure = 'It is looked for from this job\'s folder: job = "../other-job".'
        found.log.problem(f"There is no job {named}.", cure, target.job.line)
    elif _leads_back(path, folder):
        text = f"The target is this job itself, by way of {named}."
        found.log.problem(text, "Take [target] out of one of the jobs.", target.job.line)
    else:
        loaded = _load_folder(path, root, None, aimed=False)
        _add_other(target, loaded, found.files, found.log)
        found.other = loaded.job


def _add_other(target: TargetFiles, loaded: Loaded, files: dict[str, bytes], log: Log) -> None:
    """Put the files of the target's job among a job's own, or say why they cannot be used."""
    if loaded.job is not None:
        files.update({target.folder + name: data for name, data in loaded.job.files})
        return
    count = len(loaded.problems)
    why = f"{'a problem' if count == 1 else f'{count} problems, the first'}: {loaded.problems[0]}"
    text = f"The job {quoted(target.job.file)} cannot be used, for it has {why}"
    log.problem(text, "Mend that job first.", target.job.line)


def _leads_back(path: Path, folder: Path) -> bool:
    """Return whether a job's target, or that job's own, and so on, is the job in ``folder``."""
    seen: set[Path] = set()
    while path not in seen and path != folder:
        seen.add(path)
        files: dict[str, bytes] = {}
        _take(path / NAME, NAME, files, [])
        job_file, _ = _read_job_file(files)
        if job_file is None or job_file.target is None or job_file.target.job is None:
            return False
        path = _place(path, job_file.target.job)
    return path == folder


def _take(path: Path, name: str, files: dict[str, bytes], problems: list[Problem]) -> None:
    """Read one file, no more of it than is needed to see that it is too large."""
    try:
        about = os.stat(path)
        if not S_ISREG(about.st_mode):
            raise OSError("it is no ordinary file")
        with open(path, "rb") as stream:
            files[name] = stream.read(MAX_BYTES + 1 if about.st_size > MAX_BYTES else -1)
    except FileNotFoundError:
        problems.append(Problem(name, "There is no such file.", "Check its name and folder."))
    except (OSError, ValueError) as error:
        problems.append(_unreadable(name, error))


def _unreadable(name: str, error: Exception) -> Problem:
    reason = getattr(error, "strerror", None) or error
    return Problem(name, f"It cannot be read: {reason}.", "Check its name, and that it may be opened.")


def _names(paths: Sequence[Path]) -> list[str]:
    """Return how to call files: by name, with folders where two have the same."""
    names = [printable(path.name) for path in paths]
    if len(set(names)) == len(names):
        return names
    absolute = [path.absolute() for path in paths]
    try:
        common = os.path.commonpath([path.parent for path in absolute])
    except ValueError:  # on two drives
        return [printable(str(path)) for path in paths]
    return [printable(path.relative_to(common).as_posix()) for path in absolute]
