"""How a reading answers to each input that it shares with others: by hand, and by CoolProp."""

from __future__ import annotations

import datetime as dt
from collections.abc import Hashable
from dataclasses import replace
from math import log, sqrt

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from CoolProp.HumidAirProp import HAPropsSI

from core.constants import INCH_WATER_PA
from core.job import Bench, BenchSheet, Certificate, Job, Printed, Reading, Sides
from core.shared import shared_inputs
from core.side import SideWork
from tests.core.jobs import AIR, BENCH, LIFTS_M, PRESSURE_PA, job, sheet, truth

FLOWS = {lift: truth(lift) for lift in LIFTS_M}
FLOW_M3_S = np.array(list(FLOWS.values()))
MONDAY, TUESDAY = dt.date(2026, 3, 9), dt.date(2026, 3, 10)
OF_PRESSURE, OF_TEMPERATURE = ("test_pressure_pa", "bench", "intake"), "meter_temperature_k"


def answers(made: Job) -> dict[Hashable, np.ndarray]:
    """Return the relative change of every intake reading for one standard uncertainty of each input."""
    names, parts = shared_inputs(SideWork(made, "intake").checked)
    return dict(zip(names, np.concatenate(parts).T, strict=True))


def kinds(made: Job) -> set[str]:
    return {name[0] for name in answers(made)}


def at(inh2o: float) -> object:
    return replace(AIR, test_pressure_pa=inh2o * INCH_WATER_PA)


# --- leaks and plates


def leak(read_m3_s: float, inh2o: float, date: dt.date) -> BenchSheet:
    rows = Sides((Reading(0.0, 12, flow_m3_s=read_m3_s),), ())
    return BenchSheet(f"leak-{date}.csv", rows, role="leak", air=at(inh2o), bench="bench", date=date)


def with_checks(stages: dict[str, list[BenchSheet]], *checks: BenchSheet) -> Job:
    made = job(stages)
    return replace(made, sheets=(*made.sheets, *checks))


def test_a_leak_is_known_to_a_tenth_and_shared_by_what_it_is_taken_from():
    # Read at a quarter of the pressure, 0.4 L/s are 0.8; a tenth of that, of what is left of each flow.
    days = {"a": MONDAY, "b": TUESDAY}
    stages = {name: [sheet(FLOWS, f"{name}.csv", date=day)] for name, day in days.items()}
    found = answers(with_checks(stages, leak(0.0004, 7, MONDAY), leak(0.0002, 28, TUESDAY)))
    for day, leaking, mine in ((MONDAY, 0.0008, slice(0, 10)), (TUESDAY, 0.0002, slice(10, 20))):
        column = found["leak", f"leak-{day}.csv", "intake"]
        np.testing.assert_allclose(column[mine], -0.1 * leaking / (FLOW_M3_S - leaking), rtol=1e-9)
        assert np.count_nonzero(column) == 10


def test_a_reading_that_is_all_leak_is_no_flow_to_be_uncertain():
    flows = FLOWS | {LIFTS_M[0]: 0.0004, LIFTS_M[1]: 0.0003}
    column = answers(with_checks({"a": [sheet(flows, "a.csv", date=MONDAY)]}, leak(0.0004, 28, MONDAY)))[
        "leak", f"leak-{MONDAY}.csv", "intake"
    ]
    assert column[:2].tolist() == [0, 0] and (column[2:] < 0).all()


def test_a_day_whose_plate_departs_has_a_reading_of_its_own():
    days = [dt.date(2026, 3, day) for day in (2, 3, 4, 5)]
    certificate = Certificate("intake", 0.1, PRESSURE_PA, "ISO 2533", 0.004)
    plates = [
        BenchSheet(
            f"plate-{day}.csv", Sides((Reading(0.0, 12, flow_m3_s=flow),), ()), role="calibration",
            date=day, air=AIR, bench="bench", certificate=certificate,
        )
        for flow, day in zip((0.1, 0.1004, 0.0996, 0.106), days, strict=True)
    ]  # fmt: skip
    stages = {name: [sheet(FLOWS, f"{name}.csv", date=day)] for name, day in (("a", days[0]), ("b", days[3]))}
    found = answers(with_checks(stages, *plates))
    pooled, own = (found["plate reading", "bench", "intake", day] for day in (None, days[3]))
    assert (pooled[10:] == 0).all() and (own[:10] == 0).all()
    # Three readings agree, one stands alone.
    np.testing.assert_allclose(pooled[:10] * sqrt(3), own[10:], rtol=1e-12)
    assert found["certificate", "bench", "intake"] == pytest.approx(np.full(20, 0.004))


# --- the test pressure


@pytest.mark.parametrize("set_at", [PRESSURE_PA, None], ids=["set at 28 inH2O", "set at no known pressure"])
def test_a_pressure_that_is_read_wrongly(set_at):
    """Flow goes with 1 / sqrt(p) and, drawn, with the root of the density before the meter, ambient - p;
    a scale that was set at each drop takes that out again. Budget: (u / p)^2, of differences over one u."""
    bench = replace(BENCH, test_pressure_reading_pa=10.0, calibrated_at_pa=set_at)
    made = job(
        {"a": [sheet(FLOWS, "a.csv", air=at(15))], "b": [sheet(FLOWS, "b.csv")]},
        benches=(bench,), pressure_rule="square root",
    )  # fmt: skip
    p = np.repeat([15 * INCH_WATER_PA, PRESSURE_PA], 10)
    expected = -10 / 2 * (1 / p + (0 if set_at is None else 1 / (101325 - p)))
    np.testing.assert_allclose(answers(made)[OF_PRESSURE], expected, rtol=1e-5)


def test_what_nobody_read_is_not_read_wrongly():
    bench = replace(BENCH, test_pressure_reading_pa=10.0, temperature_reading_k=0.5)
    room = replace(AIR, meter_temperature_k=None)
    no_pressure = replace(AIR, test_pressure_pa=None)
    sheets = [
        sheet(FLOWS, "a.csv"),
        sheet(FLOWS, "b.csv", port="2", air=no_pressure),
        sheet(FLOWS, "c.csv", port="3", printed=Printed(already_corrected=True)),
        sheet(FLOWS, "d.csv", port="4", air=room),
    ]
    found = answers(job({"a": sheets}, benches=(bench,)))
    meter = next(column for name, column in found.items() if name[0] == OF_TEMPERATURE)
    touched = {name: [bool(np.all(part)) for part in np.split(column != 0, 4)]
               for name, column in (("pressure", found[OF_PRESSURE]), ("meter", meter))}  # fmt: skip
    # A bench that corrects by itself has read neither; the last sheet's meter is as warm as the room.
    assert touched == {"pressure": [True, False, False, True], "meter": [True, True, False, False]}
    assert np.count_nonzero(found[OF_PRESSURE]) == np.count_nonzero(meter) == 20
    # d ln sqrt(1 / T) = 0.5 K / 288.15 K / 2
    assert np.abs(meter[:20]) == pytest.approx(np.full(20, 0.25 / 288.15), rel=1e-5)


def test_pressures_far_apart_have_errors_of_their_own():
    sheets = [
        sheet(FLOWS, f"{i}.csv", port=str(i), air=at(drop)) for i, drop in enumerate((10, 15, 15.5, 20))
    ]
    found = {
        name: column for name, column in answers(job({"a": sheets})).items() if name[0] == "pressure rule"
    }
    touched = [[bool(np.any(part)) for part in np.split(column, 4)] for column in found.values()]
    assert sorted(touched) == [[False, False, False, True], [False, True, True, False], [True] + [False] * 3]


def test_a_scale_of_no_known_setting_errs_as_much_where_the_piece_is_warm():
    warm = replace(at(15), piece_temperature_k=320.0)
    made = job({"a": [sheet(FLOWS, "a.csv", air=warm)]}, benches=(replace(BENCH, calibrated_at_pa=None),))
    (column,) = [column for name, column in answers(made).items() if name[0] == "scale"]
    # 1.017015 from 15 to 28 inH2O, by hand in test_rows; the whole of it is half a rectangle.
    assert column == pytest.approx(np.full(10, log(1.017015) / sqrt(3)), rel=1e-4)


# --- the air


@pytest.mark.outside
def test_a_barometer_and_temperatures_that_are_read_wrongly():
    """By hand: flow goes with the root of the densities, the meter's (ambient - p) over the piece's
    (ambient). By mass it goes with 1 / root of the piece's alone; source: CoolProp 8, density of air.
    Budget 0.1 % of a change: three times what the compressibility of air adds, see core.bench."""
    bench = replace(BENCH, barometer_reading_pa=100.0, temperature_reading_k=0.5)
    warm = replace(AIR, piece_temperature_k=320.0)
    by_flow = sheet(FLOWS, "a.csv", air=warm, date=MONDAY)
    found = answers(job({"a": [by_flow]}, benches=(bench,)))
    a, p = 101325.0, PRESSURE_PA
    expected = {
        "ambient_pa": 100 * p / (a * (a - p)) / 2,
        "meter_temperature_k": -0.5 / 288.15 / 2,
        "piece_temperature_k": 0.5 / 320.0 / 2,
    }
    for name, change in expected.items():
        assert found[name, "bench", MONDAY] == pytest.approx(np.full(10, change), rel=1e-3)
    assert ("air_temperature_k", "bench", MONDAY) not in found  # neither is as warm as the room

    readings = tuple(Reading(lift, 9, mass_flow_kg_s=1.2 * flow) for lift, flow in FLOWS.items())
    for air, name in ((warm, "piece_temperature_k"), (AIR, "air_temperature_k")):
        by_mass = replace(sheet({}, "a.csv", air=air, date=MONDAY), readings=Sides(readings, ()))
        found = answers(job({"a": [by_mass]}, benches=(bench,)))
        kelvin = air.piece_temperature_k or air.air_temperature_k
        assert found["ambient_pa", "bench", MONDAY] == pytest.approx(np.full(10, -50 / a), rel=1e-3)
        cold_kg_m3, warm_kg_m3 = (PropsSI("D", "P", a, "T", kelvin + u, "Air") for u in (-0.5, 0.5))
        change = log(cold_kg_m3 / warm_kg_m3) / 2 / 2  # half of the root
        assert found[name, "bench", MONDAY] == pytest.approx(np.full(10, change), rel=1e-3)


def test_a_meters_own_drop_is_uncertain_unless_it_is_the_reading():
    """5 inH2O (judgement). It takes from the density before a piece that stands behind the meter, and took
    as much when the scale was set: what is left is by how much less air it was taken from.
    Budget 0.1 %: (drop / ambient)^2, of differences over the whole of it."""
    before = {"intake_meter": "before the piece"}
    read = sheet(FLOWS, "a.csv", air=replace(AIR, barometer_pa=95e3))
    found = answers(job({"a": [read]}, benches=(replace(BENCH, **before),)))
    expected = 5 * INCH_WATER_PA * (1 / 95e3 - 1 / 101325) / 2  # half, of a root
    assert found["meter_drop_pa", "bench", "intake"] == pytest.approx(np.full(10, expected), rel=1e-3)
    plate = Bench("bench", "plate pressure drop", plate_diameter_m=0.03, **before)
    readings = tuple(Reading(lift, 9, plate_drop_pa=1500.0) for lift in FLOWS)
    by_plate = replace(read, readings=Sides(readings, ()))
    assert "meter_drop_pa" not in kinds(job({"a": [by_plate]}, benches=(plate,)))


# --- humidity


@pytest.mark.outside
@pytest.mark.parametrize(("humidity", "low", "high"), [(0.5, 0.4, 0.6), (1.0, 0.9, 1.0), (0.0, 0.0, 0.1)])
def test_humidity_of_a_meter_that_reads_mass(humidity, low, high):
    """Source: CoolProp 8, density of humid air at both ends of one standard uncertainty of 0.1; air holds no
    more than 1 and no less than 0. Flow goes with 1 / sqrt(density). Budget 1 %: CIPM-2007 and CoolProp
    differ by up to 0.5 % in the water that saturated air holds."""
    readings = tuple(Reading(lift, 9, mass_flow_kg_s=1.2 * flow) for lift, flow in FLOWS.items())
    air = replace(AIR, air_temperature_k=301.0, meter_temperature_k=None, humidity=humidity)
    wet = replace(sheet({}, "a.csv", air=air, date=MONDAY), readings=Sides(readings, ()))
    found = answers(job({"a": [wet]}, benches=(replace(BENCH, humidity_reading=0.1),)))
    dry_kg_m3, wet_kg_m3 = (
        (1 + HAPropsSI("W", "P", 101325, "T", 301.0, "R", r))
        / HAPropsSI("V", "P", 101325, "T", 301.0, "R", r)
        for r in (low, high)
    )
    expected = -log(wet_kg_m3 / dry_kg_m3) / 2 / 2  # half of the root
    assert found["humidity", "bench", MONDAY] == pytest.approx(np.full(10, expected), rel=0.01)


def test_humidity_cancels_in_a_meter_that_reads_volume():
    made = job({"a": [sheet(FLOWS, "a.csv")]}, benches=(replace(BENCH, humidity_reading=0.1),))
    assert "humidity" not in kinds(made)
