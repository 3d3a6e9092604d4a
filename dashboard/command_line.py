"""The command line of ``python -m dashboard``: its commands, and how each of them ends."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NoReturn

from core.files.listing import is_job
from core.files.load import Loaded, load_job
from core.files.names import is_text
from core.job import Job
from core.numbers import numbers_json
from core.power_settings import with_power
from core.results import Review
from core.review import review
from core.units import METRIC, US, UnitError, factor, parse
from dashboard import importing, launch
from dashboard.evidence import finding_lines
from dashboard.handover import command as handover_command
from dashboard.stopping import STOPPED

UNUSABLE = 2
UNIT_SETS = {"metric": METRIC, "us": US}


class UnusableError(Exception):
    """The input or the place to write to cannot be used; one line a problem."""

    def __init__(self, problems: Sequence[str]) -> None:
        super().__init__(*problems)
        self.problems = [" ".join(problem.split()) for problem in problems]


def main(words: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    try:
        _open_streams()
        options = _parser().parse_args(words)
        code = options.run(options)
        sys.stdout.flush()
    except UnusableError as unusable:
        for problem in unusable.problems:
            print(problem, file=sys.stderr)
        return UNUSABLE
    except KeyboardInterrupt:
        print("Stopped. Every file that was written is whole.", file=sys.stderr)
        return STOPPED
    except OSError as error:
        if error.filename is not None:
            raise
        if not isinstance(error, BrokenPipeError):  # else whoever read the output has gone
            print(f"The output cannot be written: {error.strerror}. Send it elsewhere.", file=sys.stderr)
        # The interpreter's own flush at exit must not fail again.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1
    return code


def _open_streams() -> None:
    """Make the output take any text: a console may know few letters, or be closed altogether."""
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115 - until the end
        getattr(sys, name).reconfigure(encoding="utf-8", errors="backslashreplace")


# commands ---------------------------------------------------------------------------------


def _demo(options: argparse.Namespace) -> int:
    environment = launch.app_environment(None, is_job=False, customer=False)
    _serve(environment, options.port)
    return 0


def _serve(environment: dict[str, str], port: int | None) -> None:
    if port is not None and not launch.is_free(port):
        raise UnusableError(
            [f"Port {port} is in use. Give another with --port, or leave it out: a free one is found."]
        )
    launch.run_app(environment, port, browser=launch.has_display())


def _open(options: argparse.Namespace) -> int:
    if not os.path.isdir(options.folder):  # unlike Path.is_dir it never raises
        raise UnusableError(
            [f"{options.folder}: no such folder. Give a job's folder, or the folder above your jobs."]
        )
    folder = Path(options.folder).resolve()
    if not is_text(str(folder)):
        raise UnusableError(
            [f"{folder}: a browser cannot be shown this name, which is no text in UTF-8. Rename the folder."]
        )
    of_job = is_job(folder)
    if options.customer and not of_job:
        raise UnusableError(
            [f"{options.folder}: no job here. --customer shows one job: give that job's folder."]
        )
    environment = launch.app_environment(folder, is_job=of_job, customer=options.customer)
    _serve(environment, options.port)
    return 0


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


# input ------------------------------------------------------------------------------------


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


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> NoReturn:
        self.exit(UNUSABLE, f"{self.prog}: {message}. See {self.prog} --help\n")


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(prog="python -m dashboard", description="Without a command: the app with the demo jobs.")
    parser.set_defaults(run=_demo)
    parser.add_argument(
        "--port", type=_port, help="port to serve on; the first free one from 8501 by default"
    )
    commands = parser.add_subparsers(title="commands", metavar="COMMAND")

    command = commands.add_parser("open", help="the app on your jobs' folder, or on one job")
    command.add_argument("folder", metavar="FOLDER")
    command.add_argument("--customer", action="store_true", help="that job alone, read-only")
    command.add_argument("--port", type=_port, default=argparse.SUPPRESS, help="port to serve on")
    command.set_defaults(run=_open)

    command = _job_command(commands, "check", "what was noticed, in plain text; exit 1 if any is a stop")
    command.set_defaults(run=_check)
    _units_option(command)
    command = _job_command(commands, "numbers", "the review as JSON in SI units")
    command.set_defaults(run=_numbers)
    handover = _job_command(
        commands, "handover", "the files that leave the shop; of many jobs, one folder each"
    )
    handover_command.add_options(handover)
    _units_option(handover)
    handover.set_defaults(run=_handover)
    about = "a spreadsheet of any shape into a job's folder; says how each line is read, and asks nothing"
    command = commands.add_parser("import", help="a spreadsheet into a job's folder", description=about)
    importing.add_options(command, _unit_of, _test_pressure)
    command.set_defaults(run=_import)
    return parser


def _job_command(commands: argparse._SubParsersAction, name: str, about: str) -> argparse.ArgumentParser:
    command = commands.add_parser(name, help=about, description=about)
    command.add_argument("job", metavar="JOB", nargs="+", help="a job's folder, or one or more bench sheets")
    bare = command.add_argument_group("where a bench sheet does not say it")
    bare.add_argument("--lift", metavar="UNIT", type=_unit_of("lift"), help="unit of lift: in, mm")
    bare.add_argument("--flow", metavar="UNIT", type=_unit_of("flow"), help="unit of flow: cfm, L/s")
    bare.add_argument(
        "--test-pressure", metavar="PRESSURE", type=_test_pressure, help='for example "28 inH2O"'
    )
    return command


def _units_option(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--units",
        choices=tuple(UNIT_SETS),
        default="metric",
        help="units to show; us also sets the PDF on Letter paper",
    )


def _port(text: str) -> int:
    if not text.isdecimal() or not 1024 <= int(text) <= 65535:
        raise argparse.ArgumentTypeError(f"{text!r} is not a port; 1024 to 65535 are")
    return int(text)


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
