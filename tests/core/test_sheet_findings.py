"""What benches leave open is said once, and only where it is so."""

from __future__ import annotations

import pytest

from core.job import Bench, BenchSheet, Reading, Sides
from core.numbers import finding_text
from core.review import review
from core.units import METRIC
from tests.core.jobs import AIR, job, sheet


def said(bench: Bench, code: str) -> list[str]:
    """Return what is said under a code of a job that was read with the plate of a bench."""
    readings = tuple(Reading(lift * 1e-3, lift, plate_drop_pa=100.0 * lift) for lift in range(1, 6))
    read = BenchSheet("a.csv", Sides(readings, ()), port="1", air=AIR, bench="bench")
    found = review(job({"a": [read]}, benches=(bench,))).findings
    return [finding_text(one, METRIC) for one in found if one.code == code]


@pytest.mark.parametrize(("pipe_m", "where"), [(None, "in a plenum"), (0.045, "in its pipe")])
def test_a_plate_that_the_standard_does_not_cover(pipe_m: float | None, where: str) -> None:
    bench = Bench(
        "bench", "plate pressure drop", plate_diameter_m=0.03, pipe_diameter_m=pipe_m, taps="corner"
    )
    (text,) = said(bench, "plate-beyond-standard")
    text = text.replace("\u00a0", " ").replace("\u202f", " ")
    assert f"The bench's plate of 30 mm {where} is outside what ISO 5167-2 covers" in text
    assert "at least 12.5 mm, in a pipe of 50 mm to 1 000 mm, at 10 % to 75 % of its diameter" in text


def test_a_plate_within_the_standard_says_nothing() -> None:
    bench = Bench("bench", "plate pressure drop", plate_diameter_m=0.03, pipe_diameter_m=0.06, taps="corner")
    assert said(bench, "plate-beyond-standard") == []


def test_only_a_scale_of_flow_was_set_at_a_pressure() -> None:
    of_flow = job({"a": [sheet({0.001: 0.01, 0.002: 0.02}, "a.csv")]}, benches=(Bench("bench"),))
    assert "assumed-scale" in {one.code for one in review(of_flow).findings}
    assert said(Bench("bench", "plate pressure drop", plate_diameter_m=0.03), "assumed-scale") == []


def test_a_plate_of_unknown_size_is_asked_for() -> None:
    found = said(Bench("bench", "plate pressure drop"), "no-flow")
    assert len(found) == 5
    assert all("plate_diameter" in one and "range" not in one for one in found)
