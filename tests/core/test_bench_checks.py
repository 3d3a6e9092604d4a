"""Plates, leaks and port balance on the review: against figures worked out by hand."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import replace

import pytest
from scipy.stats import norm

from core.numbers import numbers_json
from core.review import review
from tests.core.jobs import AIR, BENCH, LIFTS_M, PRESSURE_PA, job, sheet, truth
from tests.core.test_calibration import DAYS, leak, plate, with_checks

FLOWS = {lift: truth(lift) for lift in LIFTS_M}


def test_plates_stand_in_the_order_of_days_with_their_limits() -> None:
    """Three factors of 1/0.98 and one 2.5 % off, beyond 3.5 x 0.5 % x root(4/3) = 2.02 %."""
    reads = (0.098, 0.1005, 0.098, 0.098)
    plates = [plate(read, day) for read, day in zip(reads, DAYS, strict=True)]
    done = review(with_checks({"a": [sheet(FLOWS, "a.csv")]}, *reversed(plates)))
    assert [one.date for one in done.calibration] == list(DAYS)
    assert [one.departs for one in done.calibration] == [False, True, False, False]
    first = done.calibration[0]
    assert first.pooled_factor == pytest.approx(1 / 0.98, rel=1e-4)
    assert (first.low, first.high) == pytest.approx(((1 - 0.020207) / 0.98, (1 + 0.020207) / 0.98), rel=1e-4)
    numbers = json.loads(numbers_json(done))["calibration"]
    assert [one["date"] for one in numbers] == [day.isoformat() for day in DAYS]


def test_a_leak_stands_beside_the_largest_flow() -> None:
    """Half of the drop: the root of 2; and the air before the meter, after the piece, is the denser."""
    done = review(with_checks({"a": [sheet(FLOWS, "a.csv")]}, leak(0.001, PRESSURE_PA / 2)))
    (found,) = done.leaks
    pressure = AIR.barometer_pa
    denser = ((pressure - PRESSURE_PA / 2) / (pressure - PRESSURE_PA)) ** 0.5
    assert found.flow_m3_s == pytest.approx(0.001 * 2**0.5 * denser, rel=1e-4)
    top = done.stages[0].intake.highest_flow_m3_s
    assert found.share_of_peak == pytest.approx(found.flow_m3_s / top, rel=1e-12)
    assert json.loads(numbers_json(done))["leaks"][0]["file"] == "leak.csv"


def test_without_such_sheets_there_is_nothing_to_show() -> None:
    done = review(job({"a": [sheet(FLOWS, "a.csv")]}))
    assert done.calibration == done.leaks == ()
    assert [one.rows for one in done.balance] == [()]


def ports(*factors: float, stage: str = "a", **more):
    made = [
        sheet({lift: factor * flow for lift, flow in FLOWS.items()}, f"{stage}-{i}.csv", port=str(i))
        for i, factor in enumerate(factors, start=1)
    ]
    return job({"first": [sheet(FLOWS, "first.csv")], stage: made}, **more)


def test_balance_is_that_of_the_last_stage() -> None:
    """Ports of 1.00, 1.02 and 0.98 around 1: spread 4 %, the third short by 2 %."""
    (found,) = review(ports(1.0, 1.02, 0.98)).balance
    assert found.stage == "a"
    assert found.ports == ("1", "2", "3")
    assert len(found.rows) == len(LIFTS_M)
    for row in found.rows:
        assert row.worst_port == "3"
        assert row.mean_m3_s == pytest.approx(truth(row.lift_m), rel=1e-4)
        assert row.spread_fraction == pytest.approx(0.04, rel=1e-6)
        assert row.spread_m3_s == pytest.approx(0.04 * row.mean_m3_s, rel=1e-6)
        assert row.shortfall_fraction == pytest.approx(-0.02, rel=1e-6)


def test_what_ports_share_is_not_in_their_balance() -> None:
    """One set-up each, 0.5 % assumed, two ports: the half difference has 0.5 % over the root of 2."""
    for calibration in (0.001, 0.05):
        bench = replace(BENCH, calibration=calibration)
        (found,) = review(ports(1.0, 1.0, benches=(bench,))).balance
        for row in found.rows:
            assert row.expanded_fraction == pytest.approx(norm.ppf(0.975) * 0.005 / 2**0.5, rel=1e-4)


def test_only_lifts_read_in_every_port_count() -> None:
    short = {lift: flow for lift, flow in FLOWS.items() if lift < 0.0065 and round(lift * 1000) != 3}
    made = job({"a": [sheet(FLOWS, "1.csv"), sheet(short, "2.csv", port="2", date=dt.date(2026, 3, 15))]})
    (found,) = review(made).balance
    assert [round(row.lift_m * 1000) for row in found.rows] == [1, 2, 4, 5, 6]
