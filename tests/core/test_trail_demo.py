"""Points of the demo jobs are followed to their readings: the steps end in the review's own figures."""

from __future__ import annotations

from math import prod
from pathlib import Path

import numpy as np
import pytest

from core.files.load import load_job
from core.job import Job
from core.results import Review
from core.review import review
from core.trail import Trail, trail

ROOT = Path(__file__).resolve().parents[2]
DEMO_JOBS = sorted(
    path.name for path in (ROOT / "demo_runs").iterdir() if path.is_dir() and path.name[0] != "."
)


@pytest.fixture(scope="module", params=DEMO_JOBS)
def demo(request: pytest.FixtureRequest) -> tuple[Job, Review]:
    made = load_job([ROOT / "demo_runs" / request.param]).job
    assert made is not None
    return made, review(made)


def points(done: Review):
    """Yield every point of every curve, or None for its flow."""
    for stage in done.stages:
        for side in ("intake", "exhaust"):
            curve = stage.side(side)
            for i, lift in enumerate(curve.lift_m if curve else ()):
                yield stage.name, side, lift, curve.flow_m3_s[i], curve.expanded_uncertainty_m3_s[i]


def mean_of_readings(found: Trail) -> float:
    """Return a measured point from the last step of its readings: within set-ups, set-ups, ports."""
    ports = []
    for port in found.ports:
        setups: dict[str, list[float]] = {}
        for one in port.readings:
            if one.used:
                setups.setdefault(one.setup, []).append(one.flow_m3_s)
        ports.append(np.mean([np.mean(flows) for flows in setups.values()]))
    return float(np.mean(ports))


def test_points_of_the_demo_jobs_are_followed_to_their_readings(demo) -> None:
    """Every stopped point and every fourth of the others.

    Tolerances 1e-12: the same sums in another order, of numbers near 0.1.
    """
    made, done = demo
    every = list(points(done))
    for stage, side, lift, flow, expanded in [p for i, p in enumerate(every) if i % 4 == 0 or p[3] is None]:
        found = trail(made, stage, side, lift)
        if flow is None:
            assert found.flow_m3_s is None
            assert found.shares == ()
            assert any(not one.used for port in found.ports for one in port.readings)
            continue
        assert found.flow_m3_s == pytest.approx(flow, rel=1e-12)
        assert mean_of_readings(found) == pytest.approx(flow, rel=1e-12)
        assert found.expanded_m3_s == pytest.approx(expanded, rel=1e-12)
        assert sum(share.share for share in found.shares) == pytest.approx(1, abs=1e-12)


def test_the_factors_lead_from_the_reading_to_the_flow(demo) -> None:
    made, done = demo
    stage, side, lift, *_ = next(point for point in points(done) if point[3] is not None)
    for port in trail(made, stage, side, lift).ports:
        for one in port.readings:
            read, leak = one.steps[0].after, one.steps[1].subtracted
            factors = prod(step.factor for step in one.steps[2:])
            assert (read - leak) * factors == pytest.approx(one.flow_m3_s, rel=1e-12)
