"""The commands that end with text or files, and what each of them takes."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

from core.files.load import Loaded, load_job
from core.job import Job
from core.numbers import numbers_json
from core.power_settings import with_power
from core.results import Review
from core.review import review
from core.units import METRIC, US, UnitError, factor, parse
from dashboard import importing
from dashboard.evidence import finding_lines
from dashboard.handover import command as handover_command
from dashboard.unusable import UnusableError

UNIT_SETS = {"metric": METRIC, "us": US}


def add_options(name: str, command: argparse.ArgumentParser) -> None:
    """Give a command what it takes and what it does."""
    if name == "import":
        importing.add_options(command, _unit_of, _test_pressure)
        command.set_defaults(run=_import)
        return
    _add_job(command)
    if name == "handover":
        handover_command.add_options(command)
    if name != "numbers":
        _add_units(command)
    command.set_defaults(run={"check": _check, "numbers": _numbers, "handover": _handover}[name])


def _add_job(command: argparse.ArgumentParser) -> None:
    command.add_argument("job", metavar="JOB", nargs="+", help="a job's folder, or one or more bench sheets")
    bare = command.add_argument_group("where a bench sheet does not say it")
    bare.add_argument("--lift", metavar="UNIT", type=_unit_of("lift"), help="unit of lift: in, mm")
    bare.add_argument("--flow", metavar="UNIT", type=_unit_of("flow"), help="unit of flow: cfm, L/s")
    bare.add_argument(
        "--test-pressure", metavar="PRESSURE", type=_test_pressure, help='for example "28 inH2O"'
    )


def _add_units(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--units",
        choices=tuple(UNIT_SETS),
        default="metric",
        help="units to show; us also sets the PDF on Letter paper",
    )


def _unit_of(kind: str) -> Callable[[str], str]:
    def unit(text: str) -> str:
        try:
            factor(text, (kind,))
        except UnitError as error:
            raise argparse.ArgumentTypeError(str(error)) from None
        return text

    return unit


def _test_pressure(text: str) -> str:
    try:
        parse(text, "test pressure")
    except UnitError as error:
        raise argparse.ArgumentTypeError(str(error)) from None
    return text


# what they do -----------------------------------------------------------------------------


def _check(options: argparse.Namespace) -> int:
    found = _review(options).findings
    lines = finding_lines(found, UNIT_SETS[options.units], customer=False)
    for finding, line in zip(found, lines, strict=True):
        where = f" ({line.where})" if line.where else ""
        print(f"{finding.level}: {' '.join(f'{line.text} {line.cure}'.split())}{where}")
    if not found:
        print("Nothing was found that needs a look.")
    return 1 if any(finding.level == "stop" for finding in found) else 0


def _numbers(options: argparse.Namespace) -> int:
    sys.stdout.write(numbers_json(with_power(_review(options))))
    return 0


def _handover(options: argparse.Namespace) -> int:
    try:
        wanted = handover_command.order(options, UNIT_SETS[options.units])
    except ValueError as error:
        raise UnusableError([str(error)]) from None
    paths = [Path(path) for path in options.job]
    problems = list(
        handover_command.hand_over(paths, Path(options.out), wanted, lambda few: _load(few, options))
    )
    if problems:
        raise UnusableError(problems)
    return 0


def _import(options: argparse.Namespace) -> int:
    try:
        return importing.run(options)
    except importing.RefusedImportError as refused:
        raise UnusableError(refused.reasons) from None


def _review(options: argparse.Namespace) -> Review:
    return review(_job(options))


def _load(paths: Sequence[Path], options: argparse.Namespace) -> Loaded:
    given = {"lift": options.lift, "flow": options.flow, "test pressure": options.test_pressure}
    units = {name: text for name, text in given.items() if text is not None}
    return load_job(paths, units=units or None)


def _job(options: argparse.Namespace) -> Job:
    loaded = _load([Path(path) for path in options.job], options)
    if loaded.job is None:
        raise UnusableError([str(problem) for problem in loaded.problems])
    return loaded.job
