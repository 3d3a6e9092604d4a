"""How alike the ports of the finished head are, against figures worked out by hand."""

from __future__ import annotations

from dataclasses import replace
from math import hypot, sqrt

import numpy as np
import pytest

from core.job import Bench, BenchSheet, Job
from core.results import Balance
from core.review import review
from tests.core.jobs import BENCH, LIFTS_M, job, sheet

Z = 1.959964  # of a normal distribution at 95 % (any table of it)
PER_M = 20.0  # straight flow curves: 20 L/s each mm


def port(name: str, factor: float, lifts_m=LIFTS_M, **more: object) -> BenchSheet:
    flows = {lift: factor * PER_M * lift for lift in lifts_m}
    return sheet(flows, f"port {name}.csv", port=name, **more)


def intake(made: Job) -> Balance | None:
    return next((one for one in review(made).balance if one.side == "intake"), None)


@pytest.mark.parametrize("bench", [BENCH, replace(BENCH, calibration=0.10)], ids=["1.5 %", "10 %"])
def test_two_ports_by_hand(bench: Bench) -> None:
    """One re-set-up each is 0.5 % (assumed), and what the ports share has no say in how they differ.

    The worst over the mean is 2 r / (1 + r) with r = 0.8 of the other port; r is uncertain by
    0.5 % twice, and moves it by 2 / (1 + r)^2. Tolerance 1e-4: the test's bench has readings of
    pressure and temperature that are exact to 1e-9, and z is written with six digits.
    """
    found = intake(job({"a": [port("1", 1.0), port("2", 0.8)]}, benches=(bench,)))
    assert found.ports == ("1", "2")
    assert [row.lift_m for row in found.rows] == pytest.approx(LIFTS_M)
    by_hand = Z * 2 / 1.8**2 * 0.8 * 0.005 * sqrt(2)
    for row in found.rows:
        assert row.mean_m3_s == pytest.approx(0.9 * PER_M * row.lift_m)
        assert row.spread_m3_s == pytest.approx(0.2 * PER_M * row.lift_m)
        assert row.spread_fraction == pytest.approx(0.2 / 0.9)
        assert row.worst_port == "2"
        assert row.shortfall_fraction == pytest.approx(0.8 / 0.9 - 1)
        assert row.expanded_fraction == pytest.approx(by_hand, rel=1e-4)


def test_setting_the_lift_counts_where_the_curve_is_steep() -> None:
    """A straight curve's flow is as uncertain, relatively, as its lift: 0.02 mm in L, beside 0.5 %.

    Three ports, 1.1, 1 and 0.9: the worst over the mean m = 1 moves by (1 - 0.9 / 3) for itself and by
    -0.9 / 3 for each of the others, each times its own relative doubt and flow.
    """
    bench = replace(BENCH, lift_setting_m=2e-5)
    found = intake(job({"a": [port("1", 1.1), port("2", 1.0), port("3", 0.9)]}, benches=(bench,)))
    parts = hypot(0.9 * (1 - 0.3), 1.1 * 0.3, 1.0 * 0.3)
    for row in found.rows:
        by_hand = Z * parts * hypot(0.005, 2e-5 / row.lift_m)
        assert row.worst_port == "3"
        assert row.expanded_fraction == pytest.approx(by_hand, rel=1e-4)


def test_the_ports_are_those_of_the_last_stage_measured() -> None:
    stages = {"a": [port("1", 1.0), port("2", 0.8)], "b": [port("1", 0.9), port("2", 1.0)], "c": []}
    found = intake(job(stages))
    assert found.stage == "b"
    assert {row.worst_port for row in found.rows} == {"1"}


def test_each_lift_has_its_own_worst_port() -> None:
    crossing = {lift: PER_M * lift * (1.1 if lift < 0.0055 else 0.9) for lift in LIFTS_M}
    found = intake(job({"a": [port("1", 1.0), sheet(crossing, "port 2.csv", port="2")]}))
    assert [row.worst_port for row in found.rows] == ["1"] * 5 + ["2"] * 5
    assert [row.shortfall_fraction < 0 for row in found.rows] == [True] * 10


def test_only_lifts_that_every_port_was_read_at() -> None:
    found = intake(job({"a": [port("1", 1.0), port("2", 0.8, LIFTS_M[1:7:2])]}))
    assert [row.lift_m for row in found.rows] == pytest.approx(LIFTS_M[1:7:2])
    apart = intake(job({"a": [port("1", 1.0, LIFTS_M[::2]), port("2", 0.8, LIFTS_M[1::2])]}))
    assert (apart.ports, apart.rows) == (("1", "2"), ())


def test_a_lift_with_a_stopped_reading_is_left_out() -> None:
    flows = {lift: 0.0 if lift == LIFTS_M[3] else 0.8 * PER_M * lift for lift in LIFTS_M}
    again = port("2", 0.8, setup="again")
    made = job({"a": [port("1", 1.0), sheet(flows, "stopped.csv", port="2"), again]})
    found = intake(made)
    assert [row.lift_m for row in found.rows] == pytest.approx(LIFTS_M[:3] + LIFTS_M[4:])


def test_a_port_that_was_read_on_two_benches_is_one_port() -> None:
    """By hand: port 1 at 1 and 0.9 is at 0.95, port 2 at 1.05. The worst over the mean is 2 r / (1 + r) with
    r = 0.95 / 1.05; each bench has a set-up of 0.5 %, and the other's scale does not cancel."""
    benches = (BENCH, replace(BENCH, name="other"))
    there = port("1", 0.9, bench="other", setup="there")
    found = intake(job({"a": [port("1", 1.0), there, port("2", 1.05)]}, benches=benches))
    assert found.ports == ("1", "2")
    for row in found.rows:
        assert (row.worst_port, row.mean_m3_s) == ("1", pytest.approx(PER_M * row.lift_m))
        assert row.shortfall_fraction == pytest.approx(-0.05)
        # Of the worst over the mean of 1, by each flow: (1 - 0.95 / 2) / 2 twice, and -0.95 / 2.
        own, other = (1 - 0.95 / 2) / 2, -0.95 / 2
        setups = 0.005 * hypot(1.0 * own, 0.9 * own, 1.05 * other)
        scales = 0.015 * hypot(1.0 * own + 1.05 * other, 0.9 * own)
        assert row.expanded_fraction == pytest.approx(Z * hypot(setups, scales), rel=1e-4)


def test_one_port_has_nothing_beside_it_and_no_curve_no_balance() -> None:
    made = job({"a": [port("1", 1.0)]})
    assert intake(made) == Balance("a", "intake", ("1",), ())
    assert [one.side for one in review(made).balance] == ["intake"]


@pytest.mark.outside
def test_shortfall_and_its_doubt_against_a_simulation() -> None:
    """Source: JCGM 101:2008, propagation of distributions by drawing; 400 000 draws know a standard
    deviation to 0.11 %, the linear formula leaves out terms of (1 %)^2: budget 0.5 %."""
    rng = np.random.default_rng(20260314)
    factors, bench = np.array([1.0, 0.95, 0.7, 0.9]), replace(BENCH, repeatability=0.01, calibration=0.03)
    found = intake(job({"a": [port(str(i), f) for i, f in enumerate(factors)]}, benches=(bench,)))
    scale = 1 + 0.03 * rng.standard_normal((400_000, 1))
    drawn = scale * factors * (1 + 0.01 * rng.standard_normal((400_000, 4)))
    shortfall = drawn[:, 2] / drawn.mean(axis=1) - 1
    assert found.rows[0].shortfall_fraction == pytest.approx(factors[2] / factors.mean() - 1)
    assert found.rows[0].expanded_fraction == pytest.approx(Z * shortfall.std(), rel=5e-3)
