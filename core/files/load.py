"""Files to a Job: a job folder, bare bench sheets, or the same from memory. One way for all."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from pathlib import Path, PureWindowsPath

from core.files.assemble import Loaded, assemble
from core.files.jobfile import NAME, JobFile, NamedFile, read_job_file
from core.files.log import Log
from core.files.text import MAX_BYTES, UnreadableError, decode
from core.job import Problem
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
            _shown(str(path)),
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
    return load_files(files, _shown(name), units, problems)


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
    files = dict(files)
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
    return assemble(files, name, job_file, log, units or {}, problems)


def _read_job_file(files: Mapping[str, bytes]) -> tuple[JobFile | None, Log]:
    log = Log(NAME)
    if NAME not in files:
        return None, log
    try:
        return read_job_file(decode(files[NAME]), log), log
    except UnreadableError as error:
        log.problem(error.text, "A job file is plain text in UTF-8.")
        return None, log


def _load_folder(folder: Path, root: Path | None, units: Mapping[str, str] | None) -> Loaded:
    name = _shown(os.path.basename(os.path.abspath(folder)))
    problems: list[Problem] = []
    files: dict[str, bytes] = {}
    unread: list[str] = []
    try:
        folder = folder.resolve()
        listed = sorted(folder.iterdir(), key=lambda path: (path.name.casefold(), path.name))
    except (OSError, RuntimeError) as error:
        return Loaded(None, (_unreadable(name, error),))
    for path in listed:
        if path.name.startswith(".") or not os.path.isfile(path):
            continue
        if path.name == NAME or path.suffix.lower() == ".csv":
            _take(path, _shown(path.name), files, problems)
        elif path.suffix.lower() in _UNREAD:
            unread.append(_shown(path.name))
    job_file, log = _read_job_file(files)
    for named in job_file.named_files() if job_file else ():
        _fetch(named, folder, folder.parent if root is None else root.resolve(), files, log, problems)
    unread = [one for one in unread if one not in files]
    if unread:
        text = "Not read, for they are no bench sheets: {}"
        log.finding("note", "unread-files", text, (", ".join(unread), "text"))
    return assemble(files, name, job_file, log, units or {}, problems)


def _fetch(
    named: NamedFile, folder: Path, root: Path, files: dict[str, bytes], log: Log, problems: list[Problem]
) -> None:
    """Read a file that the job file names, if it lies within the jobs' root."""
    try:
        path = (folder / named.file).resolve()
    except (OSError, ValueError, RuntimeError):
        path = folder / "no such file"
    if not path.is_relative_to(root):
        text = f"{quoted(named.file)} lies outside the jobs' folder."
        log.problem(text, "Move the file into it, and name it there.", named.line)
    elif not os.path.isfile(path):
        cure = "Check its name; it is looked for from the job's folder, with '/' between folders."
        log.problem(f"There is no file {quoted(named.file)}.", cure, named.line)
    elif path.parent == folder and path.name in files and path.name != NAME:
        files[named.file] = files.pop(path.name)
    elif named.file not in files:
        _take(path, named.file, files, problems)


def _take(path: Path, name: str, files: dict[str, bytes], problems: list[Problem]) -> None:
    """Read one file, no more of it than is needed to see that it is too large."""
    try:
        if os.path.exists(path) and not os.path.isfile(path):
            raise OSError("it is no ordinary file")
        with open(path, "rb") as stream:
            files[name] = stream.read(MAX_BYTES + 1)
    except FileNotFoundError:
        problems.append(Problem(name, "There is no such file.", "Check its name and folder."))
    except (OSError, ValueError) as error:
        problems.append(_unreadable(name, error))


def _unreadable(name: str, error: Exception) -> Problem:
    reason = getattr(error, "strerror", None) or error
    return Problem(name, f"It cannot be read: {reason}.", "Check its name, and that it may be opened.")


def _shown(name: str) -> str:
    """Return a file's name as it can be printed, even where its bytes are no text."""
    return name.encode("utf-8", "replace").decode("utf-8")


def _names(paths: Sequence[Path]) -> list[str]:
    """Return how to call files: by name, with folders where two have the same."""
    names = [_shown(path.name) for path in paths]
    if len(set(names)) == len(names):
        return names
    absolute = [path.absolute() for path in paths]
    try:
        common = os.path.commonpath([path.parent for path in absolute])
    except ValueError:  # on two drives
        return [_shown(str(path)) for path in paths]
    return [_shown(path.relative_to(common).as_posix()) for path in absolute]
