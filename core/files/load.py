"""A job from a folder, from bench sheets, or from uploaded bytes: one way for all three."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path, PurePosixPath

from core import units as unit_reader
from core.cam import lift_path
from core.files.jobfile import JobFile, read_job_file
from core.files.lift_table import read_lift_table
from core.files.log import Log, did_you_mean, folded
from core.files.sheet import read_sheet
from core.files.stages import match_stages, quick_stages
from core.job import SIDES, BenchSheet, CamLobe, Finding, Job, Problem, Sides, Target
from core.units import UnitError

JOB_FILE = "job.toml"
READ_FROM = {"lift": "lift", "flow": "flow"}  # units that a caller may name for sheets without any

Fetch = Callable[[str], bytes | Problem]


@dataclass(frozen=True)
class Loaded:
    """A job, or why there is none: with any problem there is no job."""

    job: Job | None
    problems: tuple[Problem, ...]


def load_job(
    paths: Iterable[Path], root: Path | None = None, units: Mapping[str, str] | None = None
) -> Loaded:
    """Read a job folder, or one or more bench sheets.

    Parameters
    ----------
    paths : iterable of Path
        One folder, or files.
    root : Path, optional
        Folder that a job's paths must stay in; the job folder's parent if left out.
    units : mapping of str to str, optional
        For sheets that do not say: ``lift`` and ``flow`` a unit, ``test pressure`` a quantity.

    Returns
    -------
    Loaded
        The job, or every problem with it.
    """
    paths = [Path(path) for path in paths]
    if len(paths) == 1 and paths[0].is_dir():
        return _load_folder(paths[0], root, units)
    files: dict[str, bytes] = {}
    problems = []
    for path in paths:
        found = _bytes_of(path, path.name)
        if path.is_dir():
            found = Problem(str(path), "This is a folder among files.", "Give one folder, or files only.")
        elif path.name in files:
            found = Problem(path.name, "Two files have this name.", "Rename one of the two.")
        if isinstance(found, Problem):
            problems.append(found)
        else:
            files[path.name] = found
    name = paths[0].stem if len(paths) == 1 else "quick look"
    return _build(name, files, _only(files), problems, units)


def load_files(files: Mapping[str, bytes], name: str, units: Mapping[str, str] | None = None) -> Loaded:
    """Read a job from bytes, an upload say; the names are names and never become paths.

    Parameters
    ----------
    files : mapping of str to bytes
        Content under each file's name; one may be a ``job.toml``.
    name : str
        What to call the job.
    units : mapping of str to str, optional
        As for load_job.

    Returns
    -------
    Loaded
        The job, or every problem with it.
    """
    plain = {PurePosixPath(file.replace("\\", "/")).name: data for file, data in files.items()}
    return _build(name, plain, _only(plain), [], units)


def _load_folder(folder: Path, root: Path | None, units: Mapping[str, str] | None) -> Loaded:
    root = (root or folder.resolve().parent).resolve()
    files: dict[str, bytes] = {}
    problems = []
    try:
        listed = sorted(folder.iterdir(), key=lambda path: path.name)
    except OSError as error:
        return Loaded(
            None, (Problem(folder.name, f"The folder cannot be read: {error.strerror}.", "Check it."),)
        )
    for path in listed:
        wanted = path.name == JOB_FILE or path.suffix.casefold() == ".csv"
        if not wanted or path.name.startswith(".") or path.is_dir():
            continue
        found = _bytes_of(path, path.name)
        if isinstance(found, Problem):
            problems.append(found)
        else:
            files[path.name] = found

    def fetch(name: str) -> bytes | Problem:
        path = (folder / name).resolve()
        if not path.is_relative_to(root):
            return Problem(JOB_FILE, f"'{name}' lies outside the jobs' folder.", "Copy it to a place inside.")
        return files[name] if name in files else _bytes_of(path, name)

    return _build(folder.resolve().name, files, fetch, problems, units)


def _bytes_of(path: Path, name: str) -> bytes | Problem:
    try:
        return path.read_bytes()
    except FileNotFoundError:
        return Problem(name, "The file does not exist.", "Check its name and folder.")
    except OSError as error:
        return Problem(name, f"The file cannot be read: {error.strerror}.", "Check that it may be read.")


def _only(files: Mapping[str, bytes]) -> Fetch:
    def fetch(name: str) -> bytes | Problem:
        if name in files:
            return files[name]
        return Problem(JOB_FILE, f"'{name}' is named here and is not among the files.", "Add that file.")

    return fetch


def _build(
    name: str,
    files: dict[str, bytes],
    fetch: Fetch,
    problems: list[Problem],
    units: Mapping[str, str] | None,
) -> Loaded:
    problems = [*problems, *_unit_problems(units or {})]
    if problems and not files:
        return Loaded(None, tuple(problems))
    findings: list[Finding] = []
    used = dict(files)
    spec: JobFile | None = None

    def take(log: Log) -> None:
        problems.extend(log.problems)
        findings.extend(log.findings)

    if JOB_FILE in files:
        spec, log = read_job_file(JOB_FILE, files[JOB_FILE])
        take(log)
        if spec is None:
            return Loaded(None, tuple(problems))
    apart: set[str] = {JOB_FILE}
    target, cams = None, Sides(None, None)
    if spec is not None:
        apart |= {*spec.target_sheets, *(table for _, table in spec.lift_tables.items() if table)}
        cams = Sides(*(_cam(spec, side, fetch, used, take) for side in SIDES))
        target = _target(spec, fetch, used, units, take)
    sheets = []
    for file, data in files.items():
        if file in apart:
            continue
        sheet, log = read_sheet(file, data, units)
        take(log)
        if sheet is not None:
            sheets.append(sheet)
    if not sheets and not problems:
        problems.append(Problem(name, "There is no bench sheet.", "Add at least one CSV file of readings."))
    if spec is not None and spec.stages:
        stages, sheets, log = match_stages(spec.stages, sheets, JOB_FILE)
    else:
        stages, sheets, log = quick_stages(sheets)
    take(log)
    problems += _bench_problems(spec, [*sheets, *(target.sheets if target else ())])
    if problems:
        return Loaded(None, tuple(dict.fromkeys(problems)))
    stated = dict(spec.stated) if spec else {}
    stated.setdefault("title", name)
    return Loaded(
        Job(
            name=name,
            stages=stages,
            sheets=tuple(sheets),
            fingerprint=_fingerprint(used),
            engine=spec.engine if spec else None,
            valves=spec.valves if spec else Sides(None, None),
            cams=cams,
            benches=spec.benches if spec else (),
            target=target,
            findings=tuple(findings),
            **stated,
        ),
        (),
    )


def _cam(
    spec: JobFile, side: str, fetch: Fetch, used: dict[str, bytes], take: Callable[[Log], None]
) -> CamLobe | None:
    lobe, file = spec.cams[side], spec.lift_tables[side]
    if lobe is None or file is None:
        return lobe
    log = Log(file)
    data = fetch(file)
    if isinstance(data, Problem):
        log.problems.append(replace(data, line=spec.lines.get((side, "cam", "lift_table"))))
    else:
        used[file] = data
        lobe = replace(lobe, table=read_lift_table(data, log))
        try:
            if not log.problems:
                lift_path(lobe)
        except ValueError as error:
            log.problem(str(error), "Check the table.")
    take(log)
    return lobe


def _target(
    spec: JobFile,
    fetch: Fetch,
    used: dict[str, bytes],
    units: Mapping[str, str] | None,
    take: Callable[[Log], None],
) -> Target | None:
    if spec.target_name is None:
        return None
    sheets = []
    for file in spec.target_sheets:
        data = fetch(file)
        if isinstance(data, Problem):
            log = Log(file)
            log.problems.append(replace(data, line=spec.lines.get(("target", "sheets"))))
        else:
            used[file] = data
            sheet, log = read_sheet(file, data, units)
            if sheet is not None:
                sheets.append(replace(sheet, role="target", stage=spec.target_name))
        take(log)
    return Target(spec.target_name, tuple(sheets), spec.target_valves)


def _bench_problems(spec: JobFile | None, sheets: list[BenchSheet]) -> list[Problem]:
    """Check each sheet against the bench that read it."""
    benches = spec.benches if spec else ()
    known = {folded(bench.name): bench for bench in benches if bench.name is not None}
    problems = []
    for sheet in sheets:
        if sheet.bench is not None and benches and folded(sheet.bench) not in known:
            hint = did_you_mean(sheet.bench, [bench.name for bench in benches if bench.name])
            text = f"Bench '{sheet.bench}' is not in {JOB_FILE}{hint}."
            problems.append(Problem(sheet.file, text, "Add it as [[bench]].", sheet.line_of("bench")))
            continue
        bench = known.get(folded(sheet.bench)) if sheet.bench else (benches[0] if benches else None)
        meter = bench.meter if bench else "volume flow"
        for side, readings in sheet.readings.items():
            read = {_meter_of(reading) for reading in readings}
            if read - {meter}:
                text = f"The {side} readings are {' and '.join(sorted(read))}, the bench reads {meter}."
                cure = f'Mend the unit in the column head, or write meter = "{sorted(read)[0]}" in [[bench]].'
                problems.append(Problem(sheet.file, text, cure, readings[0].line))
    return problems


def _meter_of(reading: object) -> str:
    for field, meter in (
        ("flow_m3_s", "volume flow"),
        ("range_fraction", "percent of range"),
        ("plate_drop_pa", "plate pressure drop"),
    ):
        if getattr(reading, field) is not None:
            return meter
    return "mass flow"


def _unit_problems(units: Mapping[str, str]) -> list[Problem]:
    problems = []
    for name, value in units.items():
        try:
            if name == "test pressure":
                unit_reader.parse(value, "test pressure")
            else:
                unit_reader.factor(value, (READ_FROM[name],))
        except UnitError as error:
            problems.append(Problem(f"the {name} given", error.text, error.cure))
    return problems


def _fingerprint(files: Mapping[str, bytes]) -> str:
    digest = hashlib.sha256()
    for name, data in sorted(files.items()):
        for part in (name.encode("utf-8"), data):
            digest.update(len(part).to_bytes(8, "big") + part)
    text = digest.hexdigest()[:8]
    return f"{text[:4]}-{text[4:]}"
