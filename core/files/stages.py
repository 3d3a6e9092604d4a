"""Which sheet belongs to which stage, and in which order the stages were done."""

from __future__ import annotations

import datetime as dt
import itertools
from collections.abc import Sequence
from dataclasses import replace
from pathlib import PurePosixPath

from core.files.log import Log, did_you_mean, folded
from core.job import BenchSheet, Problem, Stage

Sorted = tuple[tuple[Stage, ...], list[BenchSheet], Log]


def match_stages(stages: Sequence[Stage], sheets: Sequence[BenchSheet], job_file: str) -> Sorted:
    """Match sheets to the stages that a job file lists.

    Parameters
    ----------
    stages : sequence of Stage
        In the order of work.
    sheets : sequence of BenchSheet
        As read.
    job_file : str
        Name of the job file, for messages.

    Returns
    -------
    tuple
        The stages, the sheets with their stage's name as the job file writes it, a log.
    """
    log = Log(job_file)
    names = {folded(stage.name): stage.name for stage in stages}
    matched = []
    for sheet in sheets:
        if sheet.role in ("calibration", "leak") and sheet.stage is None:
            matched.append(sheet)
            continue
        stated = sheet.stage or PurePosixPath(sheet.file).stem
        name = names.get(folded(stated))
        if name is None:
            hint = did_you_mean(stated, names.values())
            text = f"Stage '{stated}' is not in {job_file}{hint}."
            cure = f"Stages there: {', '.join(names.values())}. Mend '# stage:' or add a [[stage]]."
            log.problems.append(Problem(sheet.file, text, cure, sheet.line_of("stage")))
        else:
            matched.append(replace(sheet, stage=name))
    measured = {sheet.stage for sheet in matched if sheet.role == "stage"}
    for stage in stages:
        if stage.name not in measured and not stage.planned:
            log.finding(
                "note",
                "stage-without-sheets",
                "Stage {} has no bench sheet.",
                (stage.name, "text"),
                cure="Add its sheets, or write planned = true.",
                line=stage.line,
            )
    return tuple(stages), matched, log


def quick_stages(sheets: Sequence[BenchSheet]) -> Sorted:
    """Put sheets without a job file into stages: by date and time, then order, then as given.

    Parameters
    ----------
    sheets : sequence of BenchSheet
        In the order given.

    Returns
    -------
    tuple
        The stages in order of work, the sheets with their stage's name, a log.
    """
    log = Log(sheets[0].file if sheets else "")
    named = []
    for sheet in sheets:
        if sheet.role == "stage":
            named.append(replace(sheet, stage=sheet.stage or PurePosixPath(sheet.file).stem))
        else:
            named.append(sheet)
    first: dict[str, tuple[str, tuple[object, ...]]] = {}
    for sheet in named:
        if sheet.role != "stage":
            continue
        key = folded(sheet.stage)
        name, when = first.get(key, (sheet.stage, _when(sheet)))
        first[key] = (name, min(when, _when(sheet)))
    order = sorted(first.values(), key=lambda entry: entry[1])
    if any(one[1] == other[1] for one, other in itertools.pairwise(order)):
        log.finding(
            "look",
            "order-unsure",
            "Nothing on the sheets says in which order the stages were done; they are taken as: {}.",
            (", ".join(name for name, _ in order), "text"),
            cure="If that is wrong, add # date: and # time:, or # order: 1, 2, 3.",
        )
    names = {key: name for key, (name, _) in first.items()}
    matched = [
        replace(sheet, stage=names[folded(sheet.stage)]) if sheet.role == "stage" else sheet
        for sheet in named
    ]
    return tuple(Stage(name) for name, _ in order), matched, log


def _when(sheet: BenchSheet) -> tuple[object, ...]:
    """Return a sort key; what is not stated comes last."""
    return (
        sheet.date or dt.date.max,
        sheet.time or dt.time.max,
        float("inf") if sheet.order is None else sheet.order,
    )
