"""Weather, warmth, plates, leaks and pressures: each said where it is, and only there."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest

from core.constants import INCH_WATER_PA
from core.review import review
from tests.core.jobs import AIR, BENCH, LIFTS_M, PRESSURE_PA, job, sheet, truth
from tests.core.test_calibration import DAYS, leak, plate, with_checks

FLOWS = {lift: truth(lift) for lift in LIFTS_M}
OURS = {
    "barometer-reduced",
    "meter-warm",
    "pressure-far",
    "pressure-rule",
    "calibration-off",
    "calibration-drift",
    "scale-off",
    "leak-large",
    "different-days",
    "different-benches",
    "flow-turns-over",
    "other-setup",
}


def said(made) -> list[tuple[str, str]]:
    """Return level and code of what is said of these matters."""
    return [(f.level, f.code) for f in review(made).findings if f.code in OURS]


def one_sheet(**air: float):
    return job({"a": [sheet(FLOWS, "a.csv", air=replace(AIR, **air))]})


def test_a_sound_sheet_says_nothing():
    assert said(one_sheet()) == []


@pytest.mark.parametrize(
    ("barometer", "altitude", "expected"),
    [
        (101600.0, 500.0, True),  # ISO 2533: 954.6 hPa at 500 m
        (96200.0, 500.0, False),
        (101600.0, 30.0, False),
        (95000.0, 0.0, True),  # no weather does that at the sea, either
    ],
)
def test_a_barometer_goes_with_its_altitude(barometer, altitude, expected):
    found = said(one_sheet(barometer_pa=barometer, altitude_m=altitude))
    assert found == ([("look", "barometer-reduced")] if expected else [])


def test_one_barometer_far_from_the_others_of_its_bench():
    sheets = [
        sheet(FLOWS, f"{n}.csv", air=replace(AIR, barometer_pa=p))
        for n, p in enumerate((95000.0, 95400.0, 102500.0))
    ]
    findings = [f for f in review(job({"a": sheets})).findings if f.code == "barometer-reduced"]
    assert [f.file for f in findings] == ["2.csv"]


@pytest.mark.parametrize(("warmer", "expected"), [(4.0, []), (14.0, [("look", "meter-warm")])])
def test_a_meter_much_warmer_than_the_room(warmer, expected):
    assert said(one_sheet(meter_temperature_k=AIR.air_temperature_k + warmer)) == expected


def test_a_far_pressure_is_a_note_where_all_share_it_and_a_look_where_they_do_not():
    low = replace(AIR, test_pressure_pa=10 * INCH_WATER_PA)
    assert said(job({"a": [sheet(FLOWS, "a.csv", air=low)]})) == [("note", "pressure-far")]
    mixed = {"a": [sheet(FLOWS, "a.csv", air=low)], "b": [sheet(FLOWS, "b.csv")]}
    assert said(job(mixed)) == [("look", "pressure-rule")]
    near = replace(AIR, test_pressure_pa=25 * INCH_WATER_PA)  # the rules differ by 0.4 % there
    assert said(job({"a": [sheet(FLOWS, "a.csv", air=near)], "b": mixed["b"]})) == []


def checked(*reads: float):
    """Return a job of one sheet whose bench read the plate so, day by day."""
    plates = [plate(read, day) for read, day in zip(reads, DAYS, strict=False)]
    return with_checks({"a": [sheet(FLOWS, "a.csv")]}, *plates)


@pytest.mark.parametrize(
    ("reads", "expected"),
    [
        ((0.1, 0.1005, 0.0995, 0.1), []),
        ((0.1, 0.1, 0.106, 0.1), ["calibration-off"]),
        ((0.1, 0.104), ["calibration-off", "calibration-off"]),  # of two none can be told to be the one
        ((0.1, 0.102), []),
        ((0.0985, 0.0995, 0.1005, 0.1015), ["calibration-drift"]),
        ((0.108, 0.108, 0.108), ["scale-off"]),
    ],
)
def test_plates_that_are_off_or_drift(reads, expected):
    assert said(checked(*reads)) == [("look", code) for code in expected]


@pytest.mark.parametrize(("flow", "expected"), [(0.001, []), (0.004, [("look", "leak-large")])])
def test_a_leak_is_large_beside_the_largest_flow(flow, expected):
    assert said(with_checks({"a": [sheet(FLOWS, "a.csv")]}, leak(flow, PRESSURE_PA))) == expected


def test_days_and_benches():
    later = dt.date(2026, 4, 1)
    apart = {"a": [sheet(FLOWS, "a.csv")], "b": [sheet(FLOWS, "b.csv", date=later, bench="other")]}
    found = said(job(apart, benches=(BENCH, replace(BENCH, name="other"))))
    assert found == [("note", "different-days"), ("note", "different-benches")]


def test_flow_that_turns_over_is_a_note():
    turned = FLOWS | {LIFTS_M[-1]: 0.97 * FLOWS[LIFTS_M[-2]]}
    assert said(job({"a": [sheet(turned, "a.csv")]})) == [("note", "flow-turns-over")]


def test_one_other_setup_is_said_once():
    other = replace(sheet(FLOWS, "c.csv").fixture, bore_m=0.09)
    first = replace(other, bore_m=0.086)
    stages = {
        name: [sheet(FLOWS, f"{name}.csv", fixture=fixture)]
        for name, fixture in (("a", first), ("b", first), ("c", other))
    }
    assert said(job(stages)) == [("look", "other-setup")]
