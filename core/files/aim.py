"""The target of a job, however it is given: sheets, a stage of another job, or typed figures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace
from pathlib import PurePosixPath

from core.files.jobfile import TargetFiles
from core.files.log import Log, did_you_mean, folded
from core.job import SIDES, Bench, BenchSheet, Job, Problem, Sides, Target, Valve
from core.units import quoted

_CHECKS = ("calibration", "leak")
_TYPED_NAME = "target"


def target_of(own: Job, stated: TargetFiles | None, other: Job | None, log: Log) -> Target | None:
    """Return a job's target.

    Parameters
    ----------
    own : Job
        The job so far, with every sheet, those of the target too.
    stated : TargetFiles or None
        What its job file says of the target.
    other : Job or None
        The job that the job file names, where it could be read.
    log : Log
        Takes problems and findings; of the job's file.

    Returns
    -------
    Target or None
        None where there is none, or, with a problem in the log, where it cannot be used.
    """
    found = [sheet for sheet in own.sheets if sheet.role == "target"]
    if stated and (stated.job or stated.typed):
        text = f"The sheet is marked as the target, and {log.file} gives another."
        cure = "Leave one of the two: take '# role: target' off it, or [target] away."
        marked = [(sheet.file, line) for sheet in found if (line := sheet.line_of("role"))]
        log.problems += [Problem(file, text, cure, line) for file, line in marked]
    if stated and stated.job:
        return _of_job(own, stated, other, log) if other and stated.stage else None
    if stated and stated.typed and stated.typed.bench:
        name = stated.name or _TYPED_NAME
        sheet = replace(stated.typed.sheet, stage=name)
        return Target(name, (sheet,), stated.valves, (stated.typed.bench,))
    return _of_sheets(found, stated, log) if found else None


def _of_sheets(found: Sequence[BenchSheet], stated: TargetFiles | None, log: Log) -> Target:
    typed = _TYPED_NAME if stated and stated.typed else None
    called = [typed or sheet.stage or PurePosixPath(sheet.file).stem for sheet in found]
    names = {folded(name): name for name in called}
    if len(names) > 1 and not (stated and stated.name):
        log.problem(
            f"The target sheets name several castings: {', '.join(names.values())}.",
            "A job has one target: give them one '# stage:', or leave some out.",
        )
    name = (stated and stated.name) or next(iter(names.values()))
    sheets = tuple(replace(sheet, stage=name) for sheet in found)
    return Target(name, sheets, stated.valves if stated else Sides(None, None))


# --- a stage of another job ------------------------------------------------------------


def _of_job(own: Job, stated: TargetFiles, other: Job, log: Log) -> Target | None:
    named, wanted = stated.job.file, stated.stage
    names = {folded(stage.name): stage.name for stage in other.stages}
    stage = names.get(folded(wanted.file))
    if stage is None:
        near = did_you_mean(wanted.file, names.values())
        text = f"The job {quoted(named)} has no stage {quoted(wanted.file)}{near}."
        log.problem(text, f"Its stages: {', '.join(names.values())}.", wanted.line)
        return None
    sheets = [sheet for sheet in other.sheets if sheet.role == "stage" and sheet.stage == stage]
    if not sheets:
        text = f"The stage '{stage}' of {quoted(named)} has no bench sheet."
        log.problem(text, "Name a stage that was measured.", wanted.line)
        return None
    title = stated.name or f"{stage} of {other.title}"
    benches = _benches(own, other, sheets)
    checks = [
        sheet
        for sheet in other.sheets
        if sheet.role in _CHECKS and sheet.stage in (None, stage) and other.bench_of(sheet) in benches
    ]
    files = {sheet.file for sheet in (*sheets, *checks)}
    log.findings += [
        replace(one, file=stated.folder + one.file) for one in other.findings if one.file in files
    ]

    def taken(sheet: BenchSheet) -> BenchSheet:
        bench, of_stage = benches[other.bench_of(sheet)].name, sheet.stage and title
        return replace(_as_there(sheet, other), file=stated.folder + sheet.file, bench=bench, stage=of_stage)

    return Target(
        title,
        tuple(replace(taken(sheet), role="target") for sheet in sheets),
        _valves(stated, stage, other, log),
        tuple(benches.values()),
        tuple(map(taken, checks)),
    )


def _as_there(sheet: BenchSheet, job: Job) -> BenchSheet:
    """Return a sheet that states what it took from its own job's reference."""
    printed, certificate = sheet.printed, sheet.certificate
    if printed.already_corrected:
        pressure_pa = printed.corrected_to_pressure_pa or job.reference_pressure_pa
        air = printed.corrected_to_air or job.standard_air
        printed = replace(printed, corrected_to_pressure_pa=pressure_pa, corrected_to_air=air)
    if certificate.flow_m3_s is not None:
        at_pa, air = certificate.at_pa or job.reference_pressure_pa, certificate.air or job.standard_air
        certificate = replace(certificate, at_pa=at_pa, air=air)
    return replace(sheet, printed=printed, certificate=certificate)


def _benches(own: Job, other: Job, sheets: Sequence[BenchSheet]) -> dict[Bench, Bench]:
    """Return the other job's benches as they are called here: by the same name only where it is one bench.

    It is one where both jobs name it and state it alike. A plate or a leak test corrects the
    sheets of its own job alone, and so makes a bench one of its own.
    """

    def plain(job: Job) -> set[Bench]:
        checked = {job.bench_of(sheet) for sheet in job.sheets if sheet.role in _CHECKS}
        return {_scaled(bench, job) for bench in job.benches if bench.name and bench not in checked}

    shared = plain(own) & plain(other)
    found = {}
    for bench in {other.bench_of(sheet): None for sheet in sheets}:
        there = _scaled(bench, other)
        alone = replace(there, name=f"{bench.name or 'bench'} of {other.name}")
        found[bench] = there if there in shared else alone
    return found


def _scaled(bench: Bench, job: Job) -> Bench:
    return replace(bench, scale_air=bench.scale_air or job.standard_air)


def _valves(stated: TargetFiles, stage: str, other: Job, log: Log) -> Sides[Valve | None]:
    valves = {}
    for side in SIDES:
        known: Valve | None = other.valve_of(stage, side)
        if all(getattr(known, field.name) is None for field in fields(known)):
            known = None
        if known is not None and stated.valves[side] is not None:
            text = f"The {side} valves of this target are those of {quoted(stated.job.file)}."
            log.problem(text, f"Take [target.{side}] away, or mend that job.", stated.job.line)
        valves[side] = known or stated.valves[side]
    return Sides(**valves)
