"""How long the hand-over's files take: one summary, and the whole kit, without the power model."""

from __future__ import annotations

from collections.abc import Iterator

from core.files.load import load_job
from core.review import review
from core.units import METRIC
from dashboard.handover.bundle import FILES, archive
from dashboard.handover.choice import EVERYTHING
from tests.bench.calculation import bare_page
from tests.bench.ratio import Ratio, cpu_seconds
from tests.invented_sheets import DEMO


def kits() -> Iterator[Ratio]:
    """Time every file of the largest demo job, then all of them with their archive; all warm."""
    done = review(load_job([DEMO / "sprint-four"]).job)
    floor = cpu_seconds(bare_page)

    def kit() -> bytes:
        return archive(done, {name: make(done, METRIC, EVERYTHING) for name, make in FILES.items()})

    for name, make in FILES.items():
        aim = "0.5 s" if name == "summary.pdf" else ""
        took = cpu_seconds(lambda make=make: make(done, METRIC, EVERYTHING), times=5)
        yield Ratio(f"{name}, CPU", took, "a bare fpdf2 page", floor, aim)
    took = cpu_seconds(kit, times=3)
    yield Ratio("the whole kit and its archive, CPU", took, "a bare fpdf2 page", floor, "3 s")
