"""The statistics keep their word on benches whose truth is known; longer: python -m tests.bench trust."""

from __future__ import annotations

import pytest

from tests.simulation.coverage import CASES, GAINED, Case, Figures, simulate
from tests.simulation.detection import FAULTS, false_alarms, found_share

pytestmark = pytest.mark.slow

COMPARISONS, JOBS, FAULTY = 250, 80, 40


def tolerance(share: float, drawn: int) -> float:
    """Return three standard deviations of a share that is drawn so many times."""
    return 3 * (share * (1 - share) / drawn) ** 0.5


@pytest.fixture(scope="module", params=CASES, ids=lambda case: case.name)
def figures(request: pytest.FixtureRequest) -> Figures:
    """Return what came of one case where nothing changed; both tests look at the same draws."""
    return simulate(request.param, COMPARISONS)


def test_stated_intervals_hold_the_truth(figures: Figures) -> None:
    """95 % intervals: 93 to 97 % for summaries and on average over lifts, no lift below 90 %."""
    off = tolerance(0.95, COMPARISONS)
    for share in (figures.lifts, figures.mean, figures.cam_weighted):
        assert share > 0.93 - off
        assert share < 0.97 + off or figures.case.rectangular
    assert figures.flow > 0.93 - off
    assert figures.least_lift > 0.90 - tolerance(0.90, COMPARISONS)


def test_where_nothing_changed_hardly_anything_is_clear(figures: Figures) -> None:
    """Any lift of a side, and each summary: at most 5 %."""
    for share in (figures.any_clear, figures.mean_clear, figures.cam_clear):
        assert share < 0.05 + tolerance(0.05, COMPARISONS)


@pytest.mark.parametrize("case", GAINED, ids=lambda case: case.name)
def test_three_per_cent_on_a_half_per_cent_bench_is_seen(case: Case) -> None:
    """Three set-ups each: the mean clear in 95 %, half the lifts in 90 %."""
    figures = simulate(case, COMPARISONS, gained=0.03)
    assert figures.mean_clear > 0.95 - tolerance(0.95, COMPARISONS)
    assert figures.half_clear > 0.90 - tolerance(0.90, COMPARISONS)


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_is_found_where_it_is(fault: str) -> None:
    """At least 95 %."""
    assert found_share(fault, FAULTY) > 0.95 - tolerance(0.95, FAULTY)


def test_sound_jobs_raise_hardly_anything() -> None:
    """A `stop` in less than 1 of 1,000, a `look` in less than 2 of 100."""
    stops, looks, codes = false_alarms(JOBS)
    assert stops / JOBS < 0.001 + tolerance(0.001, JOBS), codes
    assert looks / JOBS < 0.02 + tolerance(0.02, JOBS), codes
