"""How long the list of many jobs takes, against reading the same folders' names and nothing else."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

from core.shelf import Shelf, in_order, matching
from tests.bench.ratio import Ratio, cpu_seconds
from tests.invented_sheets import DEMO

JOBS = 500
SAMPLES = ("sprint-four", "touring-twin", "messy-day")


def bare_names(root: Path) -> int:
    """Read the names in every folder; return how many there were."""
    return sum(len(os.listdir(root / name)) for name in os.listdir(root))


def shelves() -> Iterator[Ratio]:
    """Time the list of 500 jobs of the demo jobs' sizes: met for the first time, and again."""
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        for n in range(JOBS):
            shutil.copytree(DEMO / SAMPLES[n % len(SAMPLES)], root / f"job-{n:03d}")
        floor, what = cpu_seconds(lambda: bare_names(root), times=5), "the names of the same files"
        first = cpu_seconds(lambda: Shelf(root).entries(), times=5)
        yield Ratio(f"shelf of {JOBS} jobs never seen before, CPU", first, what, floor, "< 1 s")
        shelf = Shelf(root)
        again = cpu_seconds(lambda: in_order(matching(shelf.entries(), "four"), "best gain"), times=5)
        yield Ratio(f"shelf of {JOBS} known jobs, searched and sorted, CPU", again, what, floor)
