"""Which stage a sheet belongs to, and the order of work where no job file states it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import PurePosixPath
from typing import Any

from core.files.folder import NAME
from core.files.log import Log, did_you_mean, folded
from core.job import BenchSheet, Problem, Stage


def with_stages(
    sheets: list[BenchSheet], stages: tuple[Stage, ...], log: Log
) -> tuple[tuple[Stage, ...], list[BenchSheet]]:
    """Give each sheet its stage.

    Parameters
    ----------
    sheets : list of BenchSheet
        As read.
    stages : tuple of Stage
        From the job file; without any they are taken from the sheets.
    log : Log
        Takes problems and findings.

    Returns
    -------
    tuple of (tuple of Stage, list of BenchSheet)
        Stages in the order of work, and sheets with their stage's name as the job file writes it.
    """
    names = {folded(stage.name): stage.name for stage in stages}
    done = []
    groups: dict[str, list[BenchSheet]] = {}
    for sheet in sheets:
        if sheet.role == "stage":
            stated = sheet.stage or PurePosixPath(sheet.file).stem
            if stages and folded(stated) not in names:
                log.problems.append(_unclaimed(sheet, stated, list(names.values())))
            name = (
                names.setdefault(folded(stated), stated) if not stages else names.get(folded(stated), stated)
            )
            sheet = sheet if sheet.stage == name else replace(sheet, stage=name)
            groups.setdefault(name, []).append(sheet)
        done.append(sheet)
    if stages:
        kept = []
        for stage in stages:
            if stage.planned and stage.name in groups:
                log.finding(
                    "look",
                    "planned-measured",
                    "The stage '{}' is planned, and yet it has bench sheets: it counts as done.",
                    (stage.name, "text"),
                    cure="Take planned = true out.",
                    line=stage.line,
                )
                stage = replace(stage, planned=False)  # else its price counts here and not there
            kept.append(stage)
            if stage.name not in groups and not stage.planned:
                log.finding(
                    "note",
                    "stage-without-sheets",
                    "The stage '{}' has no bench sheet.",
                    (stage.name, "text"),
                    line=stage.line,
                )
        return tuple(kept), done
    ordered, tied = in_order_of_work([StageSheets(name, tuple(group)) for name, group in groups.items()])
    for same in tied:
        log.finding(
            "look",
            "order-of-work",
            "Nothing on the sheets tells the order of these stages; taken as given: {}",
            (", ".join(same), "text"),
            cure="Add '# date: 2026-03-14', and '# time:' or '# order: 1' where the day is the same.",
        )
    return tuple(Stage(group.name) for group in ordered), done


def _unclaimed(sheet: BenchSheet, stated: str, names: list[str]) -> Problem:
    where = f"The stage '{stated}'" + ("" if sheet.stage else ", from the file's name,")
    return Problem(
        sheet.file,
        f"{where} is not in {NAME}{did_you_mean(stated, names)}.",
        f"Write '# stage:' as one of: {', '.join(names)}; or add a [[stage]].",
        sheet.line_of("stage"),
    )


@dataclass(frozen=True)
class StageSheets:
    """A stage's name and its bench sheets, in the order given."""

    name: str
    sheets: tuple[BenchSheet, ...]

    def first(self, attribute: str) -> Any:
        """Return the least date, time or order on the sheets; the time that of the first day."""
        sheets = self.sheets
        if attribute == "time":
            day = self.first("date")
            sheets = tuple(sheet for sheet in sheets if sheet.date == day)
        values = [getattr(sheet, attribute) for sheet in sheets]
        return min((value for value in values if value is not None), default=None)


def in_order_of_work(stages: Sequence[StageSheets]) -> tuple[list[StageSheets], list[list[str]]]:
    """Sort stages by date, time and stated order, each only where it tells all of them apart.

    Parameters
    ----------
    stages : sequence of StageSheets
        Stages in the order given.

    Returns
    -------
    tuple of (list of StageSheets, list of list of str)
        Stages in the order of work, and the names of those that nothing but the order
        given tells apart, group by group.
    """
    tied: list[list[str]] = []
    done = _sorted(list(stages), ["date", "time", "order"], tied)
    return done, tied


def _sorted(group: list[StageSheets], criteria: list[str], tied: list[list[str]]) -> list[StageSheets]:
    if len(group) < 2:
        return group
    if not criteria:
        tied.append([stage.name for stage in group])
        return group
    key: Callable[[StageSheets], Any] = lambda stage: stage.first(criteria[0])  # noqa: E731
    if any(key(stage) is None for stage in group):
        return _sorted(group, criteria[1:], tied)
    result: list[StageSheets] = []
    for value in sorted({key(stage) for stage in group}):
        result += _sorted([stage for stage in group if key(stage) == value], criteria[1:], tied)
    return result
