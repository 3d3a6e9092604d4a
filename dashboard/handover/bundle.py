"""Every hand-over file by its name: one way to make each, for the screen, the command and the archive."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from importlib import import_module

from core.numbers import numbers_json
from core.results import Review
from core.units import UnitSet
from dashboard.handover.archive import bench_day, job_zip, part, zipped
from dashboard.handover.choice import EVERYTHING, Choice, shown_to

Make = Callable[[Review, UnitSet, Choice], bytes]

ARCHIVE = "handover.zip"
SHOW_POWER = frozenset({"summary.pdf", "results.html", "numbers.txt", "numbers.csv", "numbers.json", ARCHIVE})


def _late(module: str, function: str) -> Make:
    """Return a maker that is imported when it first makes a file: what draws takes a while to load."""

    def make(review: Review, units: UnitSet, choice: Choice) -> bytes:
        return getattr(import_module(f"dashboard.handover.{module}"), function)(review, units, choice)

    return make


FILES: dict[str, Make] = {
    "summary.pdf": _late("pdf", "summary_pdf"),
    "results.html": _late("page", "results_html"),
    "still-16x9.png": _late("stills", "still_wide"),
    "still-9x16.png": _late("stills", "still_tall"),
    "still-overlay.png": _late("stills", "still_overlay"),
    "numbers.txt": _late("numbers_txt", "numbers_txt"),
    "numbers.csv": _late("numbers_csv", "numbers_csv"),
    "numbers.json": lambda review, _units, choice: numbers_json(shown_to(review, choice)).encode(),
    "job.zip": lambda review, _units, _choice: job_zip(review.job),
}


def offered(review: Review, choice: Choice = EVERYTHING) -> tuple[str, ...]:
    """Return the names of the files to make; the job's own files tell all, so they go only with all."""
    whole = bool(review.job.files) and not choice.withholds
    return tuple(name for name in FILES if whole or name != "job.zip")


def archive(review: Review, files: Mapping[str, bytes]) -> bytes:
    """Return finished files in one ZIP, in a folder named after the job and its data."""
    folder = part(f"{review.job.name}-{review.job.fingerprint}")
    return zipped({f"{folder}/{name}": data for name, data in files.items()}, bench_day(review.job))
