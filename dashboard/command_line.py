"""The command line of ``python -m dashboard``: its commands, and how each of them ends.

Only what serves the app is loaded here, so that the browser opens soon; what the other commands
work with is loaded when one of them is asked for.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import NoReturn

from core.files.listing import is_job
from core.files.names import is_text
from dashboard import launch
from dashboard.stopping import STOPPED, stopping_at_once
from dashboard.unusable import UNUSABLE, UnusableError

# Commands of `commands`, and what the list of commands says of each.
OTHERS = {
    "check": "what was noticed, in plain text; exit 1 if any is a stop",
    "numbers": "the review as JSON in SI units",
    "handover": "the files that leave the shop; of many jobs, one folder each",
    "import": "a spreadsheet of any shape into a job's folder; says how each line is read, and asks nothing",
}


def main(words: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    try:
        _open_streams()
        words = sys.argv[1:] if words is None else words
        options = _parser(words).parse_args(words)
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


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> NoReturn:
        self.exit(UNUSABLE, f"{self.prog}: {message}. See {self.prog} --help\n")


def _parser(words: Sequence[str]) -> argparse.ArgumentParser:
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

    for name, about in OTHERS.items():
        command = commands.add_parser(name, help=about, description=about)
        if name in words:
            with stopping_at_once():
                from dashboard.commands import add_options
            add_options(name, command)
    return parser


def _port(text: str) -> int:
    if not text.isdecimal() or not 1024 <= int(text) <= 65535:
        raise argparse.ArgumentTypeError(f"{text!r} is not a port; 1024 to 65535 are")
    return int(text)
