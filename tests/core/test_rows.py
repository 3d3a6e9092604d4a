"""Readings of a job on their way to corrected flows: meters, places, temperatures, print-outs."""

from __future__ import annotations

from dataclasses import replace
from math import pi, sqrt
from typing import Any

import numpy as np
import pytest
from CoolProp.CoolProp import HAPropsSI
from fluids.flow_meter import differential_pressure_meter_solver
from hypothesis import given
from hypothesis import strategies as st

from core.constants import INCH_WATER_PA, STANDARD_AIRS, StandardAir
from core.job import Air, Bench, BenchSheet, MeterPlace, Printed, Reading, Side, Sides
from core.rows import Rows, correct_side
from tests.core.jobs import AIR, job
from tests.core.mass_balance import PIECE_M2, PLACES, airs, balance, drops, scale, weathers
from tests.reference import reference

ISENTROPIC = reference("isentropic")
ISO = STANDARD_AIRS["ISO 2533"]
DROP_28_PA = 28 * INCH_WATER_PA
CFM_M3_S = 0.3048**3 / 60  # the foot is exact
ROUNDING = 1e-14  # a few operations on doubles
four_places = pytest.mark.parametrize(
    ("side", "place"), PLACES, ids=[f"{side} {place}" for side, place in PLACES]
)


def at(side: Side, place: MeterPlace, **more: Any) -> Bench:
    """Return a bench with its meter at a place."""
    return Bench(name="bench", **{f"{side}_meter": place}, **more)


def flow(value_m3_s: float, **more: Any) -> Reading:
    return Reading(0.005, 2, flow_m3_s=value_m3_s, **more)


def read(
    side: Side,
    bench: Bench,
    *readings: Reading,
    air: Air = AIR,
    printed: Printed | None = None,
    **of_job: Any,
) -> Rows:
    """Return the readings of one sheet as the core corrects them."""
    sides = Sides(readings, ()) if side == "intake" else Sides((), readings)
    sheet = BenchSheet("sheet.csv", sides, air=air, printed=printed or Printed())
    whole = job({"a": [sheet]}, benches=(bench,), **of_job)
    return correct_side(whole, side, whole.sheets)[0]


# --- a volume meter


@pytest.mark.outside
@four_places
@given(
    weather=weathers, drop_pa=drops, set_at_pa=drops, air=airs, humidity=st.floats(0, 1), reference_pa=drops
)
def test_a_readings_whole_way_against_a_mass_balance(
    side, place, weather, drop_pa, set_at_pa, air, humidity, reference_pa
):
    """Source: the balance of mass_balance, through a job and on to its reference pressure. The meter is so
    wide that its own drop, which no bench states, moves no pressure: 1e-10 of the piece's."""
    meter_m2 = 1e5 * PIECE_M2
    stream = balance(side, place, weather, drop_pa, PIECE_M2, meter_m2)
    shown = scale(side, place, air, set_at_pa, meter_m2) * sqrt(stream.meter_drop_pa)
    bench = at(side, place, scale_air=air.name, calibrated_at_pa=set_at_pa)
    on_sheet = Air(
        barometer_pa=weather.ambient_pa,
        air_temperature_k=290.0,
        humidity=humidity,
        meter_temperature_k=weather.meter_k,
        piece_temperature_k=weather.piece_k,
        test_pressure_pa=drop_pa,
    )
    rows = read(side, bench, flow(shown), air=on_sheet, reference_pressure_pa=reference_pa)
    expected = PIECE_M2 * sqrt(2 * reference_pa / ISO.density_kg_m3)
    assert rows.flow_m3_s[0] == pytest.approx(expected, rel=1e-9)


@pytest.mark.outside
@given(weather=weathers, drop_pa=drops, set_at_pa=drops, air=airs, meter_m2=st.floats(1e-3, 5e-3))
def test_after_a_drawn_piece_the_meters_own_drop_does_not_matter(weather, drop_pa, set_at_pa, air, meter_m2):
    """Source: as above, with a meter of the piece's own size: what comes after both moves neither."""
    stream = balance("intake", "after the piece", weather, drop_pa, PIECE_M2, meter_m2)
    shown = scale("intake", "after the piece", air, set_at_pa, meter_m2) * sqrt(stream.meter_drop_pa)
    bench = Bench(name="bench", scale_air=air.name, calibrated_at_pa=set_at_pa)  # the default place
    on_sheet = Air(weather.ambient_pa, None, weather.piece_k, 0.5, weather.meter_k, test_pressure_pa=drop_pa)
    rows = read("intake", bench, flow(shown), air=on_sheet)
    expected = PIECE_M2 * sqrt(2 * DROP_28_PA / ISO.density_kg_m3)
    assert rows.flow_m3_s[0] == pytest.approx(expected, rel=1e-9)


@pytest.mark.outside
@four_places
@pytest.mark.parametrize("name", STANDARD_AIRS)
def test_in_standard_air_where_it_was_calibrated_a_reading_stays(side, place, name):
    """Source: what a scale means. Nothing is left to correct, whatever the air and the place."""
    air = STANDARD_AIRS[name]
    on_sheet = Air(air.pressure_pa, None, air.temperature_k, 0.0, air.temperature_k, None, DROP_28_PA)
    bench = at(side, place, calibrated_at_pa=DROP_28_PA)
    rows = read(side, bench, flow(0.1), air=on_sheet, standard_air=name)
    assert rows.density_factor[0] == pytest.approx(1, rel=ROUNDING)
    assert rows.flow_m3_s[0] == pytest.approx(0.1, rel=ROUNDING)
    # Without calibrated_at the scale is taken to hold at the reading's own drop, whichever it is.
    other = replace(on_sheet, test_pressure_pa=15 * INCH_WATER_PA)
    unknown = read(side, at(side, place), flow(0.1), air=other, standard_air=name)
    assert unknown.density_factor[0] == pytest.approx(1, rel=ROUNDING)


@pytest.mark.outside
def test_a_scale_set_at_28_inches_and_used_at_15():
    """Source: by hand. After the piece the meter has 101325 Pa less the drop before it: 97588.7 at 15 inH2O,
    94350.5 where the scale was set; sqrt(97588.7 / 94350.5) = 1.017015. Before the piece: nothing."""
    on_sheet = replace(AIR, test_pressure_pa=15 * INCH_WATER_PA)
    after, before = (
        read("intake", at("intake", place, calibrated_at_pa=DROP_28_PA), flow(0.1), air=on_sheet)
        for place in ("after the piece", "before the piece")
    )
    assert after.density_factor[0] == pytest.approx(1.017015, abs=1e-6)
    assert before.density_factor[0] == pytest.approx(1, rel=ROUNDING)


@pytest.mark.outside
def test_what_a_square_inch_passes():
    """Source: "146 cfm per square inch at 28 inches" (common practice, no source); 140.39 isentropic, worked
    out once. An ideal opening's readings at 10 inH2O (check values) are brought to 28 by either rule."""
    case = next(c for c in ISENTROPIC["velocity"]["cases"] if c["drop_inh2o"] == 10)
    assert case["density_kg_m3"] == ISO.density_kg_m3
    air = replace(AIR, test_pressure_pa=10 * INCH_WATER_PA)
    for rule, name, expected in (
        ("square root", "cfm_per_in2", 145.87),
        ("isentropic", "isentropic_cfm_per_in2", 140.39),
    ):
        rows = read("intake", Bench(), flow(case[name] * CFM_M3_S), air=air, pressure_rule=rule)
        assert rows.flow_m3_s[0] / CFM_M3_S == pytest.approx(expected, abs=0.005)


def test_no_test_pressure_no_scaling():
    silent = replace(AIR, test_pressure_pa=None)
    for rule in ("square root", "isentropic"):
        rows = read("intake", Bench(), flow(0.1), air=silent, pressure_rule=rule)
        assert not rows.correction.scaled.any()
        assert rows.pressure_factor[0] == 1
        assert rows.flow_m3_s[0] == pytest.approx(0.1, rel=ROUNDING)


def test_a_rows_own_test_pressure_goes_before_the_sheets():
    lower = flow(0.1, test_pressure_pa=7 * INCH_WATER_PA)
    rows = read("intake", Bench(), flow(0.1), lower)
    np.testing.assert_allclose(rows.pressure_factor, [1, 2], rtol=ROUNDING)
    alone = read("intake", Bench(), lower, flow(0.1), air=replace(AIR, test_pressure_pa=None))
    assert alone.correction.scaled.tolist() == [True, False]
    np.testing.assert_allclose(alone.pressure_factor, [2, 1], rtol=ROUNDING)


# --- temperatures and humidity


@pytest.mark.parametrize(
    ("side", "temperatures", "ratio"),
    [
        # density at the meter over that at the piece, from their temperatures by hand
        ("intake", {}, 1),  # all as warm as the room
        ("intake", {"meter_temperature_k": 305.0}, 295 / 305),  # a drawn piece stays as warm as the room
        ("intake", {"piece_temperature_k": 300.0}, 300 / 295),
        ("intake", {"piece_temperature_k": 300.0, "meter_temperature_k": 305.0}, 300 / 305),
        ("exhaust", {"meter_temperature_k": 305.0}, 1),  # a blown piece is as warm as the meter
        ("exhaust", {"piece_temperature_k": 300.0}, 300 / 295),
        ("exhaust", {"piece_temperature_k": 300.0, "meter_temperature_k": 305.0}, 300 / 305),
    ],
)
def test_who_is_as_warm_as_whom(side, temperatures, ratio):
    air = replace(AIR, air_temperature_k=295.0, meter_temperature_k=None, humidity=0.5)
    bench = Bench(name="bench", intake_meter="before the piece", exhaust_meter="before the piece")
    rows = read(side, bench, flow(0.1), air=replace(air, **temperatures))
    assert rows.density_factor[0] == pytest.approx(sqrt(ratio), rel=ROUNDING)


def test_a_rows_own_meter_temperature_goes_before_the_sheets():
    air = replace(AIR, air_temperature_k=295.0, meter_temperature_k=300.0)
    rows = read("intake", Bench(), flow(0.1), flow(0.1, meter_temperature_k=310.0), air=air)
    np.testing.assert_allclose(rows.density_factor, [sqrt(295 / 300), sqrt(295 / 310)], rtol=ROUNDING)


@pytest.mark.outside
@four_places
def test_humidity_does_not_matter_to_a_volume_meter(side, place):
    """Source: the mass balance; the same water is at meter and piece, so their ratio keeps nothing of it."""
    bench = at(side, place, calibrated_at_pa=DROP_28_PA)
    dry, wet = (
        read(side, bench, flow(0.1), air=replace(AIR, meter_temperature_k=300.0, humidity=h)).flow_m3_s[0]
        for h in (0.0, 1.0)
    )
    assert dry == pytest.approx(wet, rel=ROUNDING)


# --- other meters


def test_percent_of_range():
    printed = Printed(intake_range_m3_s=0.2, exhaust_range_m3_s=0.15)
    part = Reading(0.005, 2, range_fraction=0.62)
    bench = Bench(meter="percent of range")
    rows = read("intake", bench, part, part._replace(range_m3_s=0.1), printed=printed)
    np.testing.assert_allclose(rows.flow_m3_s, [0.124, 0.062], rtol=ROUNDING)
    assert read("exhaust", bench, part, printed=printed).flow_m3_s[0] == pytest.approx(0.093, rel=ROUNDING)
    assert np.isnan(read("intake", bench, part).flow_m3_s[0])  # of which range?


@pytest.mark.outside
@four_places
def test_mass_flow_needs_the_density_at_the_piece(side, place):
    """Source: CoolProp 8 for that density, 1e-4 (see test_air), of which the root takes half."""
    air = Air(98e3, None, 301.0, 0.6, None, None, DROP_28_PA)
    rows = read(side, at(side, place), Reading(0.005, 2, mass_flow_kg_s=0.12), air=air)
    before_piece_pa = 98e3 if side == "intake" else 98e3 + DROP_28_PA
    water = HAPropsSI("W", "P", 98e3, "T", 301.0, "R", 0.6)  # for 1 kg of dry air
    density = (1 + water) / HAPropsSI("V", "P", before_piece_pa, "T", 301.0, "W", water)
    assert rows.flow_m3_s[0] == pytest.approx(0.12 / sqrt(density * 1.225), rel=5e-5)


@pytest.mark.outside
@four_places
def test_a_plates_drop_becomes_a_flow(side, place):
    """Source: fluids 1.3.1, ISO 5167 orifice with its own search for the root; pressures by hand along the
    stream. Densities: CoolProp 8, half of 1e-4 each. Viscosity: Sutherland's is 0.5 % off (see
    test_air), 0.7 of that in the coefficient's Reynolds term, which is 0.003 of 0.6: 2e-5."""
    own_pa, ambient_pa, t, drop_pa = 2500.0, 98e3, 301.0, DROP_28_PA
    meter = {"meter": "plate pressure drop", "plate_diameter_m": 0.05, "pipe_diameter_m": 0.1}
    air = Air(ambient_pa, None, t, 0.0, None, None, drop_pa)
    reading = Reading(0.005, 2, plate_drop_pa=own_pa)
    rows = read(side, at(side, place, taps="flange", **meter), reading, air=air)
    plate_pa, piece_pa = {
        ("intake", "after the piece"): (ambient_pa - drop_pa, ambient_pa),
        ("intake", "before the piece"): (ambient_pa, ambient_pa - own_pa),
        ("exhaust", "before the piece"): (ambient_pa + drop_pa + own_pa, ambient_pa + drop_pa),
        ("exhaust", "after the piece"): (ambient_pa + own_pa, ambient_pa + drop_pa + own_pa),
    }[side, place]
    before_plate, before_piece = (1 / HAPropsSI("V", "P", p, "T", t, "W", 0) for p in (plate_pa, piece_pa))
    mass = differential_pressure_meter_solver(
        D=0.1, D2=0.05, P1=plate_pa, P2=plate_pa - own_pa, rho=before_plate,
        mu=HAPropsSI("mu", "P", plate_pa, "T", t, "W", 0), k=1.4,
        meter_type="ISO 5167 orifice", taps="flange",
    )  # fmt: skip
    assert rows.flow_m3_s[0] == pytest.approx(mass / sqrt(before_piece * 1.225), rel=1.2e-4)


def test_a_plate_in_the_wall_of_a_plenum_passes_about_what_its_area_says():
    # By hand, 0.6 of pi/4 (40 mm)^2 at sqrt(2 x 1000 Pa / 1.225). Expansion takes 0.351 x 0.01 / 1.4 =
    # 0.25 %, the coefficient at a Reynolds number of 7e4 is 0.5994: budget 0.4 %.
    bench = at("exhaust", "after the piece", meter="plate pressure drop", plate_diameter_m=0.04)
    rows = read("exhaust", bench, Reading(0.005, 2, plate_drop_pa=1000.0))
    by_hand = 0.6 * pi / 4 * 0.04**2 * sqrt(2 * 1000 / 1.225)
    before_plate, before_piece = 101325 + 1000, 101325 + 1000 + DROP_28_PA
    assert rows.flow_m3_s[0] == pytest.approx(by_hand * sqrt(before_plate / before_piece), rel=4e-3)


# --- benches that correct by themselves


def test_a_bench_that_corrects_by_itself_is_believed():
    storm = Air(90e3, None, 310.0, 0.9, 320.0, 300.0, 10 * INCH_WATER_PA)
    for bench in (Bench(), at("intake", "before the piece", scale_air="0.075 lb/ft3")):
        rows = read("intake", bench, flow(0.1), air=storm, printed=Printed(already_corrected=True))
        assert rows.flow_m3_s[0] == pytest.approx(0.1, rel=ROUNDING)


@pytest.mark.outside
@pytest.mark.parametrize("rule", ["square root", "isentropic"])
@pytest.mark.parametrize("side", ["intake", "exhaust"])
@pytest.mark.parametrize("name", STANDARD_AIRS)
def test_corrected_to_another_pressure_and_air(side, rule, name):
    """Source: first principles. One and the same piece in two airs: incompressible, sqrt(2 dp / rho), or
    isentropic, where m goes with sqrt(p_in rho_in), so that m / sqrt(rho_in rho_std) keeps no rho_in."""

    def passes(air: StandardAir, drop_pa: float) -> float:
        if rule == "square root":
            return PIECE_M2 * sqrt(2 * drop_pa / air.density_kg_m3)
        before_pa = air.pressure_pa + (drop_pa if side == "exhaust" else 0)
        r, g = 1 - drop_pa / before_pa, 1.4
        head = 2 * g / (g - 1) * before_pa * (r ** (2 / g) - r ** ((g + 1) / g))
        return PIECE_M2 * sqrt(head / air.density_kg_m3)

    shown = passes(STANDARD_AIRS[name], 25 * INCH_WATER_PA)
    printed = Printed(True, corrected_to_pressure_pa=25 * INCH_WATER_PA, corrected_to_air=name)
    rows = read(side, Bench(), flow(shown), printed=printed, pressure_rule=rule)
    assert rows.flow_m3_s[0] == pytest.approx(passes(ISO, DROP_28_PA), rel=1e-9)


# --- several sheets and meters of one bench, side by side


def test_rows_keep_what_they_were_made_of():
    storm, calm = Air(90e3, None, 310.0, 0.9, 320.0, 300.0, 10 * INCH_WATER_PA), Air()
    readings = ((Reading(0.002, 9, 0.05), Reading(0.004, 10, 0.07)), (Reading(0.003, 9, 0.06),))
    sheets = [
        BenchSheet(f"{n}.csv", Sides(rows, ()), air=air, bench="mine")
        for n, (rows, air) in enumerate(zip(readings, (storm, calm), strict=True))
    ]
    made = job({"a": sheets}, benches=(Bench("mine", calibration=0.01),))
    (rows,) = correct_side(made, "intake", made.sheets)
    first, second = made.sheets
    assert (rows.side, rows.bench.name, rows.bench.calibration) == ("intake", "mine", 0.01)
    assert rows.bench.repeatability is not None  # what was not stated is filled in
    assert rows.sheets == (first, first, second)
    assert rows.readings == (*readings[0], *readings[1])
    assert rows.by_sheet() == ((first, slice(0, 2)), (second, slice(2, 3)))
    assert rows.lift_m.tolist() == [0.002, 0.004, 0.003]
    assert rows.base.tolist() == [0.05, 0.07, 0.06]
    assert (rows.leak.tolist(), rows.calibration_factor.tolist()) == ([0.0] * 3, [1.0] * 3)
    # A sheet's own air; where none is stated, that of the standard.
    assert [air.ambient_pa for air in rows.airs] == [90e3, 90e3, ISO.pressure_pa]
    assert rows.state.ambient_pa.tolist() == [90e3, 90e3, ISO.pressure_pa]
    assert rows.airs[2].temperature_k == ISO.temperature_k
    product = rows.base * rows.density_factor * rows.pressure_factor
    np.testing.assert_allclose(rows.flow_m3_s, product, rtol=ROUNDING)


def test_a_reading_on_the_seat_is_no_flow_but_a_leak():
    readings = Sides((Reading(0.0, 9, 0.001), Reading(0.002, 10, 0.05)), ())
    made = job({"a": [BenchSheet("a.csv", readings, air=AIR)]}, benches=(Bench(),))
    assert correct_side(made, "intake", made.sheets)[0].lift_m.tolist() == [0.002]
    assert correct_side(made, "intake", made.sheets, shut=True)[0].lift_m.tolist() == [0.0, 0.002]
    shut = replace(made.sheets[0], readings=Sides((Reading(0.0, 9, 0.001),), ()))
    assert correct_side(made, "intake", [shut]) == []
    assert correct_side(made, "exhaust", made.sheets) == []


def test_meters_of_every_kind_on_one_sheet_do_not_disturb_each_other():
    bench = at("intake", "before the piece", meter="plate pressure drop", plate_diameter_m=0.04)
    mixed = (
        flow(0.1),
        Reading(0.006, 3, mass_flow_kg_s=0.12),
        Reading(0.007, 4, plate_drop_pa=1000.0),
        Reading(0.008, 5, range_fraction=0.5, range_m3_s=0.3),
    )
    together = read("intake", bench, *mixed).flow_m3_s
    alone = [read("intake", bench, one).flow_m3_s[0] for one in mixed]
    np.testing.assert_allclose(together, alone, rtol=ROUNDING)
    assert np.isfinite(together).all()
    # Without its size a plate's drop is no flow; the others stay what they are.
    unknown = read("intake", replace(bench, plate_diameter_m=None), *mixed).flow_m3_s
    assert np.isnan(unknown).tolist() == [False, False, True, False]
    np.testing.assert_allclose(unknown[[0, 1, 3]], together[[0, 1, 3]], rtol=ROUNDING)


def test_a_plate_in_a_pipe_has_corner_taps_unless_others_are_stated():
    meter = {"meter": "plate pressure drop", "plate_diameter_m": 0.05, "pipe_diameter_m": 0.1}
    unstated, corner, flange = (
        read("intake", Bench(taps=taps, **meter), Reading(0.005, 2, plate_drop_pa=2500.0)).flow_m3_s[0]
        for taps in (None, "corner", "flange")
    )
    assert unstated == corner
    assert flange != pytest.approx(corner, rel=1e-4)


@pytest.mark.parametrize("place", ["before the piece", "after the piece"])
def test_a_plates_flow_moves_with_the_root_of_the_density_before_it(place):
    """What an error of the air does to it, against the whole way gone again in the other air: ten degrees.
    Budget 1e-3: the plate's coefficient moves with the Reynolds number, by some 1e-4."""
    bench = at("intake", place, meter="plate pressure drop", plate_diameter_m=0.04)
    drop = Reading(0.005, 2, plate_drop_pa=1000.0)
    warmer = replace(AIR, meter_temperature_k=AIR.meter_temperature_k + 10)
    here, there = (read("intake", bench, drop, air=air) for air in (AIR, warmer))
    moved = here.base * here.correction.density_factor(there.state) * here.pressure_factor
    assert here.flow_m3_s[0] / there.flow_m3_s[0] == pytest.approx(sqrt(298.15 / 288.15), rel=1e-3)
    assert moved[0] == pytest.approx(there.flow_m3_s[0], rel=1e-3)
