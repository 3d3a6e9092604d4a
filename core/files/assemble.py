"""Parts to a Job: every file read, each sheet given its stage and bench, and what does not fit."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from core import units
from core.files.aim import target_of
from core.files.benches import with_benches
from core.files.camtable import read_lift_table
from core.files.columns import UNIT_KINDS
from core.files.folder import NAME
from core.files.jobfile import JobFile
from core.files.log import Log, folded
from core.files.powerkeys import with_stage
from core.files.sheet import read_sheet
from core.files.stages import with_stages
from core.job import BenchSheet, CamLobe, Finding, Job, Problem, Sides
from core.units import UnitError

MOST_IN_A_COLUMN = 20  # problems that are told one by one


@dataclass(frozen=True)
class Loaded:
    """A job that was read, or every reason why it cannot be used."""

    job: Job | None
    problems: tuple[Problem, ...]


def assemble(
    files: Mapping[str, bytes],
    name: str,
    job_file: JobFile | None,
    log: Log,
    given_units: Mapping[str, str],
    problems: Sequence[Problem] = (),
    other: Job | None = None,
) -> Loaded:
    """Build a job from the bytes of its files and its job file, if it has one.

    Parameters
    ----------
    files : mapping of str to bytes
        Content of each file by its name.
    name : str
        Name of the job.
    job_file : JobFile or None
        The job file, already read; ``log`` holds what is wrong with it.
    log : Log
        Log of the job file.
    given_units : mapping of str to str
        Units and test pressure for sheets that state none.
    problems : sequence of Problem
        What has already gone wrong with other files.
    other : Job, optional
        The job that the job file names for its target; its files are among ``files``.

    Returns
    -------
    Loaded
        The job, or every reason why it cannot be used.
    """
    if wrong := _bad_units(given_units):
        return Loaded(None, (*problems, *log.problems, *wrong))
    logs = [log]
    apart = {NAME, *(named.file for named in job_file.named_files())} if job_file else {NAME}
    theirs = job_file.target.folder if job_file and job_file.target else None
    own = [file for file in files if file not in apart and not _is_hidden(file)]
    own = [file for file in own if theirs is None or not file.startswith(theirs)]
    sheets = _sheets(own, files, given_units, logs)
    values: dict[str, object] = {"title": name}
    if job_file:
        sheets += _target_sheets(files, job_file, given_units, logs)
        values |= job_file.values
        values["cams"] = _cams(files, job_file, logs)
    fitting = Log(NAME if job_file else name)
    logs.append(fitting)
    if not own and not problems:
        fitting.problem("There are no bench sheets.", "Add a CSV file for each set-up on the bench.")
    elif job_file or NAME not in files:
        sheets = _one_spelling(sheets)
        whole = not problems and not any(one.problems for one in logs)
        sheets, values["benches"] = with_benches(sheets, values.get("benches", ()), fitting)
        values["stages"], sheets = with_stages(sheets, job_file.stages if job_file else (), fitting)
        so_far = Job(name, name, (), tuple(sheets), "", benches=values["benches"])
        so_far = replace(so_far, standard_air=values.get("standard_air", so_far.standard_air))
        values["target"] = target_of(so_far, job_file.target if job_file else None, other, fitting)
        if whole:
            values["dyno"] = with_stage(values.get("dyno"), values["stages"], fitting)
        if whole and not values["stages"]:
            fitting.problem("No sheet is of a stage of work.", "Add the sheets of at least one stage.")
    problems = [*problems, *(problem for one in logs for problem in one.problems)]
    if problems:
        places = {file: i for i, file in enumerate(files) if file != NAME}
        problems.sort(key=lambda p: (places.get(p.file, -1), p.line or 0))
        return Loaded(None, _shortened(problems))
    if not job_file:
        fitting.findings = [replace(finding, file=None) for finding in fitting.findings]
    values["findings"] = _named_by_stage([f for one in logs for f in one.findings], sheets)
    values["sheets"] = tuple(sheet for sheet in sheets if sheet.role != "target")
    values |= {"fingerprint": fingerprint(files), "files": tuple(sorted(files.items()))}
    return Loaded(Job(name=name, **values), ())


def fingerprint(files: Mapping[str, bytes]) -> str:
    """Return a short hash of a job's files, the same wherever the job lies.

    Parameters
    ----------
    files : mapping of str to bytes
        Content of each file by its name.

    Returns
    -------
    str
        Eight hexadecimal digits, as ``7f3c-91ae``.
    """
    digest = hashlib.sha256()
    for name in sorted(files):
        for part in (name.encode("utf-8", "surrogatepass"), files[name]):
            digest.update(len(part).to_bytes(8, "big") + part)
    text = digest.hexdigest()
    return f"{text[:4]}-{text[4:8]}"


def _bad_units(given: Mapping[str, str]) -> list[Problem]:
    problems = []
    for what, text in given.items():
        try:
            if what in UNIT_KINDS:
                units.factor(text, UNIT_KINDS[what])
            else:
                units.parse(text, what)
        except UnitError as error:
            problems.append(Problem(f"--{what.replace(' ', '-')}", error.text, error.cure))
    return problems


def _shortened(problems: Sequence[Problem]) -> tuple[Problem, ...]:
    """Return the problems with a long run in one column cut short: it has one cause, not hundreds."""
    met: Counter[tuple[str, str]] = Counter()
    total = Counter((problem.file, problem.column) for problem in problems if problem.column)
    kept = []
    for problem in problems:
        column = (problem.file, problem.column or "")
        met[column] += 1
        if problem.column is None or met[column] <= MOST_IN_A_COLUMN:
            kept.append(problem)
        elif met[column] == MOST_IN_A_COLUMN + 1:
            text = f"From here on {total[column] - MOST_IN_A_COLUMN} more cells cannot be used."
            kept.append(replace(problem, text=text, cure="Mend those above first."))
    return tuple(kept)


def _is_hidden(file: str) -> bool:
    parts = file.split("/")
    return any(part[:1] == "." and part not in (".", "..") for part in parts) or "history" in parts[:-1]


def _sheets(
    names: Iterable[str], files: Mapping[str, bytes], given_units: Mapping[str, str], logs: list[Log]
) -> list[BenchSheet]:
    sheets = []
    for name in names:
        sheet, log = read_sheet(name, files[name], given_units)
        logs.append(log)
        if sheet:
            sheets.append(sheet)
    return sheets


def _one_spelling(sheets: Sequence[BenchSheet]) -> list[BenchSheet]:
    """Write names that differ in case and spaces only as the first sheet does: they are one port."""
    spellings: dict[tuple[str, str], str] = {}
    done = []
    for sheet in sheets:
        names = {key: getattr(sheet, key) for key in ("port", "setup", "bench")}
        first = {k: spellings.setdefault((k, folded(name)), name) for k, name in names.items() if name}
        done.append(sheet if all(names[key] == first[key] for key in first) else replace(sheet, **first))
    return done


def _cams(files: Mapping[str, bytes], job_file: JobFile, logs: list[Log]) -> Sides[CamLobe | None]:
    cams = dict(job_file.values["cams"].items())
    for side, named in job_file.lift_tables.items():
        if named.file in files:
            cams[side], log = read_lift_table(named.file, files[named.file])
            logs.append(log)
    return Sides(**cams)


def _target_sheets(
    files: Mapping[str, bytes], job_file: JobFile, given_units: Mapping[str, str], logs: list[Log]
) -> list[BenchSheet]:
    if not job_file.target:
        return []
    named = [one.file for one in job_file.target.sheets if one.file in files]
    sheets = _sheets(named, files, given_units, logs)
    if job_file.target.typed and not job_file.target.typed.bench:
        sheets.append(job_file.target.typed.sheet)
    for sheet in sheets:
        if sheet.role in ("calibration", "leak"):
            text = f"A {sheet.role} sheet cannot be a target."
            line = sheet.line_of("role")
            logs[0].problems.append(Problem(sheet.file, text, "Name a sheet of readings.", line))
    return [replace(sheet, role="target") for sheet in sheets]


def _named_by_stage(findings: Sequence[Finding], sheets: Sequence[BenchSheet]) -> tuple[Finding, ...]:
    """Say of which stage the file is that a finding is about."""
    stages = {sheet.file: sheet.stage for sheet in sheets}
    return tuple(replace(finding, stage=stages.get(finding.file)) for finding in findings)
