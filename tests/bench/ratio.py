"""One benchmark's outcome: what was measured, beside a floor measured in the same run."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class Ratio:
    """A time against a floor; a machine twice as slow gives the same ratio."""

    name: str
    seconds: float
    floor: str
    floor_seconds: float
    aim: str = ""

    def __str__(self) -> str:
        line = (
            f"{self.name}: {self.seconds * 1000:.1f} ms, "
            f"{self.seconds / self.floor_seconds:.2f} times {self.floor} ({self.floor_seconds * 1000:.2f} ms)"
        )
        return f"{line}; aim: {self.aim}" if self.aim else line


def cpu_seconds(work: Callable[[], object], times: int = 15) -> float:
    """Return the least CPU time of some work, after one run that fills caches.

    Whatever else a machine does only ever adds to it (the documentation of ``timeit`` says so, too).
    """
    work()
    spent = []
    for _ in range(times):
        start = time.process_time()
        work()
        spent.append(time.process_time() - start)
    return min(spent)
