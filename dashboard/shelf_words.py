"""What the shelf says: a row a job, and how many there are."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from core.shelf import ORDERS, Entry
from core.units import NO_BREAK_SPACE
from dashboard.figures import NOTHING, counted, plus_minus
from dashboard.handover.plain import cell

FIND = "Find"
FIND_HINT = "title, customer, casting, serial number, engine, date"
SORT = "Sort by"
ORDER_NAMES = {
    order: {"date": "latest first", "best gain": "largest gain first"}.get(order, order) for order in ORDERS
}
HOW_TO_OPEN = "Tick a job to open it (on the keyboard: Shift and space). A heading sorts, too."
BEST_CAPTION = (
    "Best gain: the largest clear gain of any stage over the first, on either side, in percent of flow; "
    f"cam-weighted where the job states a cam, else the mean over lift. ± is 95{NO_BREAK_SPACE}%. "
    "Date: the latest on the job's bench sheets."
)
NO_CLEAR_GAIN = "no clear gain"
NOT_YET = "not worked out yet"
NO_JOBS = "There is no job here yet."
NO_MATCH = "No job has all of these words. Try fewer, or a part of one."


@dataclass(frozen=True)
class Row:
    """One job as the table shows it.

    The table has a button to download it, so no word in it may be what a spreadsheet runs.
    """

    title: str
    best: str  # percent with its ±
    of: str
    date: dt.date | None
    customer: str
    casting: str
    serial: str
    engine: str
    folder: str


def heading(shown: Sequence[Entry], all_of_them: Sequence[Entry], words: str) -> str:
    """Return how many jobs there are, or how many are found."""
    if not all_of_them:
        return NO_JOBS
    if words.strip():
        return f"{len(shown)} of {counted(len(all_of_them), 'job')} found."
    dates = [entry.head.date for entry in all_of_them if entry.head.date]
    latest = f", the latest of {max(dates).isoformat()}" if dates else ""
    return f"{counted(len(all_of_them), 'job')}{latest}."


def progress(left: int, count: int) -> str:
    """Return how far the best gains are."""
    return f"Best gain worked out for {count - left} of {counted(count, 'job')}; the others follow."


def rows(entries: Sequence[Entry]) -> list[Row]:
    """Return a row for each job."""
    gains = [_best(entry) for entry in entries]
    # the table sorts by text: with as many characters before the point that is by size
    widest = max((len(gain.partition(".")[0].split()[0]) for gain in gains if gain), default=0)
    return [_row(entry, _padded(gain, widest)) for entry, gain in zip(entries, gains, strict=True)]


def _best(entry: Entry) -> str:
    if entry.best is None:
        return ""
    gain, expanded = entry.best.gain_fraction, entry.best.expanded_fraction
    return plus_minus(100 * gain, 100 * expanded, signed=False)


def _padded(gain: str, widest: int) -> str:
    return " " * (widest - len(gain.partition(".")[0].split()[0])) + gain if gain else NOTHING


def _row(entry: Entry, best: str) -> Row:
    head = entry.head
    return Row(
        cell(head.title),
        best,
        cell(_of(entry)),
        head.date,
        cell(head.customer or NOTHING),
        cell(head.casting or NOTHING),
        cell(head.serial_number or NOTHING),
        cell(_engine(entry)),
        cell(head.folder),
    )


def _of(entry: Entry) -> str:
    if entry.best is not None:
        return f"{entry.best.verdict}: {entry.best.side}, {entry.best.stage}"
    if entry.problems:
        return f"cannot be used: {counted(entry.problems, 'problem')}"
    if not entry.head.readable:
        return "cannot be used: its job file is not TOML"
    return NO_CLEAR_GAIN if entry.is_worked_out else NOT_YET


def _engine(entry: Entry) -> str:
    head = entry.head
    cylinders = counted(head.cylinders, "cylinder") if head.cylinders else ""
    sizes = " × ".join(size for size in (head.bore, head.stroke) if size)
    return ", ".join(filter(None, (cylinders, sizes))) or NOTHING
