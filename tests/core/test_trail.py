"""Where a number comes from: the steps and shares have to end in the review's own figures."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from math import prod
from pathlib import Path

import numpy as np
import pytest

from core.files.load import load_job
from core.job import Air, BenchSheet, Certificate, Job, Reading, Sides
from core.numbers import filled
from core.results import Review
from core.review import review
from core.trail import Trail, trail
from core.units import METRIC
from tests.core.jobs import AIR, BENCH, LIFTS_M, PRESSURE_PA, job, noisy_sheets, sheet, truth

ROOT = Path(__file__).resolve().parents[2]
DEMO_JOBS = sorted(
    path.name for path in (ROOT / "demo_runs").iterdir() if path.is_dir() and path.name[0] != "."
)
FLOWS = {lift: truth(lift) for lift in LIFTS_M}


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


def test_a_reading_by_hand() -> None:
    """Leak 0.002 at a quarter of the drop is 0.004; the plate reads 2 % low; 7 inH2O to 28 doubles."""
    air = replace(AIR, test_pressure_pa=PRESSURE_PA / 4)
    bench = replace(BENCH, calibrated_at_pa=None)
    plate = BenchSheet(
        "plate.csv",
        Sides((Reading(0.0, 12, flow_m3_s=0.098),), ()),
        role="calibration",
        date=dt.date(2026, 3, 14),
        bench="bench",
        air=AIR,
        certificate=Certificate("intake", 0.1, PRESSURE_PA, "ISO 2533", 0.004),
    )
    leak = BenchSheet(
        "leak.csv",
        Sides((Reading(0.0, 12, flow_m3_s=0.002),), ()),
        role="leak",
        bench="bench",
        air=replace(AIR, test_pressure_pa=PRESSURE_PA / 16),
    )
    made = job({"a": [sheet({0.004: 0.050}, "a.csv", air=air)]}, benches=(bench,))
    made = replace(made, sheets=(*made.sheets, plate, leak))
    ((one,),) = (port.readings for port in trail(made, "a", "intake", 0.004).ports)
    assert [step.name for step in one.steps] == [
        "reading", "leak", "calibration", "densities", "pressure rule",
    ]  # fmt: skip
    assert [step.after for step in one.steps] == pytest.approx(
        [0.050, 0.046, 0.046 / 0.98, 0.046 / 0.98, 2 * 0.046 / 0.98], rel=1e-4
    )  # 1e-4: density of dry air at 15 degC, computed against defined
    said = [filled(step.source, step.values, METRIC).replace("\u00a0", " ") for step in one.steps]
    assert said[:3] == ["a.csv, line 9", "leak sheet leak.csv", "plate readings of 2026-03-14"]
    assert said[4] == "7 inH2O to 28 inH2O, square root"


def test_what_nobody_stated_is_said_to_be_assumed() -> None:
    bare = sheet(FLOWS, "a.csv", air=Air(test_pressure_pa=PRESSURE_PA))
    ((one,),) = (port.readings for port in trail(job({"a": [bare]}), "a", "intake", 0.004).ports)
    said = filled(one.steps[3].source, one.steps[3].values, METRIC)
    assert said.count("(assumed)") == 4
    no_drop = sheet(FLOWS, "a.csv", air=replace(AIR, test_pressure_pa=None))
    ((one,),) = (port.readings for port in trail(job({"a": [no_drop]}), "a", "intake", 0.004).ports)
    assert one.steps[4].source == "no test pressure is stated: not scaled"
    assert one.steps[4].factor == 1


def test_a_point_between_a_ports_readings_names_those_on_either_side() -> None:
    coarse = {lift: flow for lift, flow in FLOWS.items() if round(lift * 1000) % 2 == 0}
    made = job({"a": [sheet(FLOWS, "one.csv"), sheet(coarse, "two.csv", port="2")]})
    found = trail(made, "a", "intake", 0.005)
    assert [port.interpolated for port in found.ports] == [False, True]
    assert [round(one.reading.lift_m * 1000) for one in found.ports[1].readings] == [4, 6]
    curve = review(made).stages[0].intake
    assert found.flow_m3_s == pytest.approx(curve.flow_m3_s[curve.lift_m.index(0.005)], rel=1e-12)


def test_the_share_of_a_calibration_is_its_variance_over_all() -> None:
    """By hand: calibration 1.5 %, one assumed re-set-up 0.5 %, nothing else to speak of."""
    found = trail(job({"a": [sheet(FLOWS, "a.csv")]}), "a", "intake", 0.004)
    shares = {share.source: share for share in found.shares}
    assert shares["calibration"].share == pytest.approx(0.9, abs=1e-3)
    assert shares["re-set-up (assumed)"].share == pytest.approx(0.1, abs=1e-3)
    assert shares["calibration"].common
    assert not shares["re-set-up (assumed)"].common


def test_repeats_are_no_longer_called_assumed() -> None:
    sheets = noisy_sheets(np.random.default_rng(1), "a", truth, 3, of_sweep=0.002)
    found = trail(job({"a": sheets}), "a", "intake", 0.004)
    assert {"re-set-up", "within a sweep"} <= {share.source for share in found.shares}
    assert found.ports[0].n_setups == len(found.ports[0].readings) == 3


@pytest.mark.parametrize(
    ("stage", "side", "lift", "cure"),
    [
        ("a", "intake", 0.0045, "has no lift of 4.5 mm; it has 1, 2, 3"),
        ("a", "exhaust", 0.004, "none, as it was not measured there"),
        ("b", "intake", 0.004, "none, as it was not measured there"),
    ],
)
def test_a_point_that_is_not_there_is_refused(stage: str, side: str, lift: float, cure: str) -> None:
    with pytest.raises(ValueError, match=cure):
        trail(job({"a": [sheet(FLOWS, "a.csv")]}), stage, side, lift)
