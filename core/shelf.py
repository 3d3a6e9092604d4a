"""The shelf: every job of a root, to be searched and sorted, and the best gain of each.

Listing reads the heads of files alone and waits for nothing. What a job gained needs the whole
job read and worked out: that is done bit by bit (`Shelf.work_out`) and kept in an index in the
root's hidden folder, by the stamp of the job's files and of the calculation itself, so that no
figure outlives either.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import hashlib
import json
import threading
import time
import unicodedata
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any, Literal, get_args

from core.files.disk import LEDGER, RefusedError, leads_elsewhere, ledger_folder, replace_file
from core.files.listing import Head, is_job, read_head, stamp_of, stamps
from core.files.load import load_job
from core.job import SIDES, Job, Side
from core.results import Verdict
from core.review import worked_sides

Order = Literal["date", "title", "customer", "casting", "serial number", "engine", "best gain"]
ORDERS: tuple[Order, ...] = get_args(Order)
_INDEX, _FORMAT = "shelf.json", "gain-ledger shelf 1"
_WRITE_EVERY = 25


@dataclass(frozen=True)
class Best:
    """The largest clear gain of any stage over the first, cam-weighted where a cam is known."""

    side: Side
    stage: str
    gain_fraction: float
    expanded_fraction: float
    verdict: Verdict


@dataclass(frozen=True)
class Entry:
    """One job on the shelf."""

    head: Head
    is_worked_out: bool = False  # of the files as they are now
    problems: int = 0  # reasons why the job cannot be used; known once it is worked out
    best: Best | None = None  # None: no clear gain, or not worked out


@dataclass(frozen=True)
class _Kept:
    stamp: str
    entry: Entry
    beside: tuple[tuple[str, str | None], ...] = ()  # files elsewhere that it rests on, and their stamps


class Shelf:
    """All jobs of one root; one object serves every session."""

    def __init__(self, root: Path) -> None:
        self._root = root
        self._working = threading.Lock()
        self._kept = _read_index(root)
        self._entries: tuple[Entry, ...] = ()
        self._unwritten = 0  # jobs worked out since the index was written

    def entries(self) -> tuple[Entry, ...]:
        """Return every job as its files are now, in order of folder names."""
        found = []
        for name, stamp in stamps(self._root).items():
            kept = self._kept.get(name)
            if kept is None or kept.stamp != stamp:
                kept = self._kept[name] = _Kept(stamp, Entry(read_head(self._root / name)))
            elif kept.entry.is_worked_out and not self._is_current(name, kept):
                kept = self._kept[name] = _Kept(stamp, Entry(kept.entry.head))
            found.append(kept.entry)
        self._entries = tuple(found)
        return self._entries

    def work_out(self, seconds: float, first: Sequence[Entry] = ()) -> int:
        """Work out the best gains of jobs that want it, for about so long.

        Parameters
        ----------
        seconds : float
            How long to go on beginning with another job; one is always done. [s]
        first : sequence of Entry
            Jobs that somebody is looking at.

        Returns
        -------
        int
            How many jobs are left. The index is written at the end, and now and then before.
        """
        if not self._working.acquire(blocking=False):
            return self._left()  # another session is at it
        try:
            end = time.monotonic() + seconds
            waiting = [entry for entry in (*first, *self._entries) if not self._done(entry)]
            for entry in dict.fromkeys(waiting):
                self._work_out(entry.head)
                self._unwritten += 1
                if time.monotonic() >= end:
                    break
            if self._unwritten >= _WRITE_EVERY or (self._unwritten and not self._left()):
                self._write_index()
                self._unwritten = 0
        finally:
            self._working.release()
        return self._left()

    def _left(self) -> int:
        return sum(not self._done(entry) for entry in self._entries)

    def _done(self, entry: Entry) -> bool:
        kept = self._kept.get(entry.head.folder)
        return kept is None or kept.entry.is_worked_out

    def _work_out(self, head: Head) -> None:
        kept = self._kept[head.folder]
        loaded = load_job([self._root / head.folder], root=self._root)
        if loaded.job is None and not is_job(self._root / head.folder):
            del self._kept[head.folder]  # it went away meanwhile, and may come back as it was
            return
        try:
            best = best_gain(loaded.job) if loaded.job else None
            entry = Entry(head, True, len(loaded.problems), best)
        except (ArithmeticError, ValueError):  # one job must not keep the rest from being worked out
            entry = Entry(head, True, 1)
        beside = tuple(
            (name, stamp_of(self._root / head.folder / name))
            for name, _ in (loaded.job.files if loaded.job else ())
            if "/" in name
        )
        self._kept[head.folder] = replace(kept, entry=entry, beside=beside)

    def _is_current(self, name: str, kept: _Kept) -> bool:
        return all(stamp_of(self._root / name / beside) == stamp for beside, stamp in kept.beside)

    def _write_index(self) -> None:
        """Keep what was worked out; a root that may only be read has it in memory alone."""
        there = {entry.head.folder for entry in self._entries}
        content = {
            "format": _FORMAT,
            "method": _method(),
            "jobs": [asdict(kept) for name, kept in self._kept.items() if name in there],
        }
        data = json.dumps(content, ensure_ascii=False, default=dt.date.isoformat)
        with contextlib.suppress(OSError, RefusedError):
            replace_file(ledger_folder(self._root) / _INDEX, data.encode("utf-8", "replace"))


def best_gain(job: Job) -> Best | None:
    """Return the largest clear gain of any stage over the first that has that side.

    Parameters
    ----------
    job : Job
        What was measured.

    Returns
    -------
    Best or None
        None where no gain is clear.
    """
    sides = worked_sides(job)
    found = [
        Best(side, gain.stage, summary.gain_fraction, summary.expanded_fraction, summary.verdict)
        for side in SIDES
        for gain in sides[side].gains()
        if gain.against == "baseline" and (summary := gain.summary) and summary.verdict == "clear gain"
    ]
    return max(found, key=lambda best: best.gain_fraction, default=None)


def matching(entries: Sequence[Entry], words: str) -> tuple[Entry, ...]:
    """Return the jobs that have every one of some words somewhere in what they are.

    Parameters
    ----------
    entries : sequence of Entry
        Jobs.
    words : str
        As typed: case and accents do not matter, parts of words will do.

    Returns
    -------
    tuple of Entry
        In the order given.
    """
    wanted = _plain(words).split()
    return tuple(entry for entry in entries if all(word in _searched(entry.head) for word in wanted))


def in_order(entries: Sequence[Entry], by: Order) -> tuple[Entry, ...]:
    """Return jobs sorted: the latest and the largest gain first, words from A, the unknown last.

    Parameters
    ----------
    entries : sequence of Entry
        Jobs.
    by : str
        What to sort by.

    Returns
    -------
    tuple of Entry
        All of them.
    """
    by_title = sorted(entries, key=lambda entry: (_plain(entry.head.title), entry.head.folder))

    def key(entry: Entry) -> tuple[bool, Any]:
        head = entry.head
        value: Any = {
            "date": head.date and -head.date.toordinal(),
            "title": _plain(head.title),
            "customer": head.customer and _plain(head.customer),
            "casting": head.casting and _plain(head.casting),
            "serial number": head.serial_number and _plain(head.serial_number),
            "engine": (head.cylinders or 0, head.bore or "", head.stroke or "") if head.bore else None,
            "best gain": entry.best and -entry.best.gain_fraction,
        }[by]
        return (value is None, 0 if value is None else value)

    return tuple(sorted(by_title, key=key))


def _searched(head: Head) -> str:
    date = head.date.isoformat() if head.date else ""
    said = (head.folder, head.title, head.customer, head.casting, head.serial_number)
    engine = (f"{head.cylinders} cylinders" if head.cylinders else "", head.bore, head.stroke)
    return _plain(" ".join(filter(None, (*said, *engine, date))))


def _plain(text: str) -> str:
    apart = unicodedata.normalize("NFKD", text.casefold())
    return "".join(c for c in apart if not unicodedata.combining(c))


@cache
def _method() -> str:
    """Return a hash of the calculation: what another version worked out is worked out again."""
    here = Path(__file__).parent
    digest = hashlib.sha256()
    for path in sorted(here.rglob("*.py")):
        digest.update(path.relative_to(here).as_posix().encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()[:16]


def _read_index(root: Path) -> dict[str, _Kept]:
    """Return what an index keeps; one that is broken, or from elsewhere, keeps nothing."""
    path = root / LEDGER / _INDEX
    try:
        if leads_elsewhere(path.parent) or leads_elsewhere(path):
            return {}
        data = json.loads(path.read_bytes())
        if data["format"] != _FORMAT or data["method"] != _method():
            return {}
        return {kept.entry.head.folder: kept for kept in map(_kept, data["jobs"])}
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return {}


def _kept(data: dict[str, Any]) -> _Kept:
    entry = data["entry"]
    head, best = entry["head"], entry["best"]
    date = head["date"] and dt.date.fromisoformat(head["date"])
    entry = Entry(**{**entry, "head": Head(**{**head, "date": date}), "best": best and Best(**best)})
    return _Kept(data["stamp"], entry, tuple((name, stamp) for name, stamp in data["beside"]))
