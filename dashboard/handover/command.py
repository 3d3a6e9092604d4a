"""The command ``handover``: one job or many, every file or some, and how far it has come."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from core.files.listing import is_job
from core.files.load import Loaded
from core.job import SIDES
from core.power_settings import with_power
from core.results import Review
from core.review import review
from core.units import UnitSet
from dashboard.handover.bundle import ARCHIVE, FILES, SHOW_POWER, archive, offered
from dashboard.handover.choice import Choice
from dashboard.handover.compared import NotComparedError
from dashboard.handover.save import write_files

NAMES = (*FILES, ARCHIVE)
_WITHHELD = ("prices", "doubts", "customer")

Read = Callable[[Sequence[Path]], Loaded]


@dataclass(frozen=True)
class Order:
    """What to make of every job: ``names`` None is all that may leave the shop."""

    names: tuple[str, ...] | None
    units: UnitSet
    choice: Choice


def add_options(command: argparse.ArgumentParser) -> None:
    """Give the command its options."""
    command.add_argument("--out", metavar="DIR", required=True, help="folder to write to")
    command.add_argument("--only", metavar="FILE,…", type=_some_of(NAMES), help=f"of {', '.join(NAMES)}")
    command.add_argument(
        "--withhold",
        metavar="WHAT,…",
        type=_some_of(_WITHHELD),
        default=(),
        help="of prices, doubts (that concern no number shown), customer (the name); job.zip then stays, too",
    )
    stills = command.add_argument_group("what the stills show")
    stills.add_argument("--before", metavar="STAGE", help="with --after; by default all work")
    stills.add_argument("--after", metavar="STAGE")
    stills.add_argument("--side", choices=SIDES, help="one side only")


def order(options: argparse.Namespace, units: UnitSet) -> Order:
    """Return what was asked for.

    Raises
    ------
    ValueError
        If parts of it do not go together.
    """
    if (options.before is None) != (options.after is None):
        raise ValueError("A still compares two stages: give --before and --after, or neither.")
    stages = None if options.before is None else (options.before, options.after)
    held = {name: name not in options.withhold for name in _WITHHELD}
    choice = Choice(**held, stages=stages, side=options.side)
    if choice.withholds and "job.zip" in (options.only or ()):
        raise ValueError(
            "job.zip holds the job's own files, and so all of it: leave it out, or withhold nothing."
        )
    return Order(options.only, units, choice)


def hand_over(paths: Sequence[Path], out: Path, wanted: Order, read: Read) -> Iterator[str]:
    """Write the files of a job, or of many each to its own folder; yield a line for each problem.

    A job that cannot be used stops no other. Prints what was written, and on standard error
    which of many jobs is at work.
    """
    jobs = job_folders(paths)
    names = [job.name.casefold() for job in jobs]  # some systems take "Head" and "head" for one folder
    twice = {job.name for job in jobs if names.count(job.name.casefold()) > 1}
    if twice:
        yield f"{', '.join(sorted(twice))}: two jobs have this name. Hand them over one after the other."
        return
    if not jobs:
        yield from _one(paths, out, wanted, read)
    for number, job in enumerate(jobs, start=1):
        print(f"{number} of {len(jobs)}: {job.name}", file=sys.stderr, flush=True)
        yield from (f"{job.name}: {problem}" for problem in _one([job], out / job.name, wanted, read))


def job_folders(paths: Sequence[Path]) -> list[Path]:
    """Return the folders that are jobs of their own; none where the paths are one job."""
    if len(paths) > 1:
        return [path.resolve() for path in paths] if all(map(os.path.isdir, paths)) else []
    folder = paths[0]
    if not os.path.isdir(folder) or is_job(folder):  # unlike Path.is_dir it never raises
        return []
    try:
        found = (one for one in folder.iterdir() if one.is_dir() and not one.name.startswith("."))
        return sorted(one.resolve() for one in found if is_job(one))
    except OSError:
        return []  # who reads it as a job says why


def _one(paths: Sequence[Path], out: Path, wanted: Order, read: Read) -> Iterator[str]:
    loaded = read(paths)
    if loaded.job is None:
        yield from map(str, loaded.problems)
        return
    try:
        done = review(loaded.job)
        if wanted.names is None or SHOW_POWER & set(wanted.names):
            done = with_power(done)  # the longest part of the work, so only where it is shown
        files = make(done, wanted)
    except NotComparedError as error:
        yield str(error)
        return
    try:
        written = write_files(out, files)
    except (OSError, ValueError) as error:  # ValueError: of what no path can hold
        place, why = getattr(error, "filename", None) or out, getattr(error, "strerror", None) or error
        text = f"{place}: cannot be written to ({why}). Every file in {out} is whole, new or as it was."
        yield f"{text} Make room or leave to write there, or give another --out."
        return
    for path in written:
        print(path)
    for path in _left_from_before(out, written) if wanted.choice.withholds else ():
        print(f"{path}: of an earlier hand-over, and may hold what is withheld.", file=sys.stderr)


def _left_from_before(out: Path, written: Sequence[Path]) -> list[Path]:
    return [out / name for name in NAMES if (out / name).exists() and out / name not in written]


def make(reviewed: Review, wanted: Order) -> dict[str, bytes]:
    """Return the files asked for by name, each made once."""
    allowed = offered(reviewed, wanted.choice)
    names = wanted.names or (*allowed, ARCHIVE)
    needed = allowed if ARCHIVE in names else [name for name in names if name in allowed]
    made = {name: FILES[name](reviewed, wanted.units, wanted.choice) for name in needed}
    if ARCHIVE in names:
        made[ARCHIVE] = archive(reviewed, made)
    return {name: made[name] for name in names if name in made}


def _some_of(known: Sequence[str]) -> Callable[[str], tuple[str, ...]]:
    def names(text: str) -> tuple[str, ...]:
        given = tuple(dict.fromkeys(name.strip() for name in text.split(",") if name.strip()))
        if not given or not set(given) <= set(known):
            raise argparse.ArgumentTypeError(f"{text!r} is not among them; known are {', '.join(known)}")
        return given

    return names
