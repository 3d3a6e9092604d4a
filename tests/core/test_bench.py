"""The bench's equations: against a mass balance, values worked out by other code, and the trade's figures."""

from __future__ import annotations

from math import sqrt
from typing import Any

import fluids
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.bench import (
    Conditions,
    corrected_flow,
    flow_of_mass,
    pressure_factor,
    scale_density,
    static_pressures,
    stream_densities,
)
from core.constants import INCH_WATER_PA, STANDARD_AIRS
from tests.core.mass_balance import PIECE_M2, PLACES, airs, balance, drops, on_plate, scale, weathers
from tests.reference import reference

BENCH = reference("bench")
ISENTROPIC = reference("isentropic")
ISO = STANDARD_AIRS["ISO 2533"]
DROP_28_PA = 28 * INCH_WATER_PA
CFM_M3_S = 0.3048**3 / 60  # the foot is exact
ROUNDING = 1e-14  # a few operations on doubles
four_places = pytest.mark.parametrize(
    ("side", "place"), PLACES, ids=[f"{side} {place}" for side, place in PLACES]
)


def conditions(**more: Any) -> Conditions:
    """Return one reading's conditions: a room, unless a test says otherwise."""
    usual = {
        "test_pressure_pa": DROP_28_PA,
        "ambient_pa": 98e3,
        "air_temperature_k": 295.0,
        "humidity": 0.4,
        "meter_temperature_k": np.nan,
        "piece_temperature_k": np.nan,
        "meter_drop_pa": 0.0,
        "calibrated_at_pa": DROP_28_PA,
    }
    return Conditions(**{name: np.array([value]) for name, value in (usual | more).items()})


# --- from the reading to a corrected flow


@pytest.mark.outside
@four_places
@given(weather=weathers, drop_pa=drops, set_at_pa=drops, air=airs, meter_m2=st.floats(1e-3, 5e-3))
def test_correction_against_a_mass_balance(side, place, weather, drop_pa, set_at_pa, air, meter_m2):
    """Source: the balance of mass_balance, incompressible as the formula is. Budget: 1e-9, for rounding."""
    stream = balance(side, place, weather, drop_pa, PIECE_M2, meter_m2)
    plate = on_plate(side, place, air, set_at_pa, meter_m2)
    ours = corrected_flow(
        scale(side, place, air, set_at_pa, meter_m2) * sqrt(stream.meter_drop_pa),
        scale_density(side, place, air, set_at_pa, plate.meter_drop_pa),
        stream.meter_kg_m3,
        stream.piece_kg_m3,
        ISO.density_kg_m3,
    )
    expected = PIECE_M2 * sqrt(2 * drop_pa / ISO.density_kg_m3)
    assert ours == pytest.approx(expected, rel=1e-9)
    by_mass = flow_of_mass(stream.mass_kg_s, stream.piece_kg_m3, ISO.density_kg_m3)
    assert by_mass == pytest.approx(expected, rel=1e-9)


@pytest.mark.outside
@four_places
@given(weather=weathers, drop_pa=drops, humidity=st.floats(0, 1), meter_m2=st.floats(1e-3, 5e-3))
def test_densities_stand_as_in_the_balance(side, place, weather, drop_pa, humidity, meter_m2):
    """Source: the same balance; only the ratio of the densities counts, whatever the air is made of."""
    stream = balance(side, place, weather, drop_pa, PIECE_M2, meter_m2)
    state = conditions(
        test_pressure_pa=drop_pa,
        ambient_pa=weather.ambient_pa,
        air_temperature_k=290.0,
        humidity=humidity,
        piece_temperature_k=weather.piece_k,
        meter_temperature_k=weather.meter_k,
        meter_drop_pa=stream.meter_drop_pa,
    )
    at_meter, at_piece = stream_densities(side, place, state)
    assert at_meter / at_piece == pytest.approx(stream.meter_kg_m3 / stream.piece_kg_m3, rel=1e-9)


@pytest.mark.outside
@pytest.mark.parametrize("case", BENCH["simulated"]["cases"], ids=lambda case: f"{case['indicated_cfm']}")
def test_simulated_bench(case):
    """Source: tests/reference/bench.json, CIPM-2007 at piece and meter. Ours takes the meter's density from
    the ideal-gas ratio: 3e-5 at most, as is said there. Digits: 5e-6 kg/m3, 5e-5 cfm."""
    t = case["t_c"] + 273.15
    state = conditions(
        test_pressure_pa=case["drop_inh2o"] * INCH_WATER_PA,
        ambient_pa=case["ambient_pa"],
        air_temperature_k=t,
        humidity=case["rh"],
        meter_temperature_k=t + case["meter_warmer_k"],
        meter_drop_pa=case["meter_drop_pa"],
    )
    meter, piece = stream_densities("intake", "after the piece", state)
    assert piece == pytest.approx(case["piece_kg_m3"], abs=5e-6)
    assert meter == pytest.approx(case["meter_kg_m3"], abs=5e-6 + 3e-5 * case["meter_kg_m3"])
    known = BENCH["simulated"]
    ours = corrected_flow(case["indicated_cfm"], known["scale_kg_m3"], meter, piece, known["standard_kg_m3"])
    assert ours == pytest.approx(case["corrected_cfm"], abs=1e-4 + 1.5e-5 * case["corrected_cfm"])
    # What the incompressible formula costs where the piece is isentropic: below 1 %.
    compressible = case["model"].startswith("isentropic")
    assert ours == pytest.approx(case["true_cfm"], rel=0.01 if compressible else 2e-5)


@pytest.mark.outside
@pytest.mark.parametrize("case", BENCH["arithmetic"]["cases"], ids=lambda case: f"{case['meter_kg_m3']}")
def test_arithmetic_worked_out_once(case):
    densities = case["piece_kg_m3"], case["standard_kg_m3"]
    ours = corrected_flow(case["indicated_cfm"], case["scale_kg_m3"], case["meter_kg_m3"], *densities)
    assert ours == pytest.approx(case["corrected_cfm"], rel=1e-12)
    assert flow_of_mass(case["mass_kg_s"], *densities) / CFM_M3_S == pytest.approx(ours, rel=1e-12)


@pytest.mark.outside
@four_places
@given(air=airs, drop_pa=drops, meter_drop_pa=st.floats(0, 5000))
def test_in_its_own_air_at_its_own_drop_a_bench_reads_true(side, place, air, drop_pa, meter_drop_pa):
    """Source: what a scale means. In the air and at the drop of its setting the correction is exactly 1."""
    state = conditions(
        test_pressure_pa=drop_pa,
        ambient_pa=air.pressure_pa,
        air_temperature_k=air.temperature_k,
        humidity=0.0,
        meter_drop_pa=meter_drop_pa,
    )
    of_scale = scale_density(side, place, air, drop_pa, meter_drop_pa)
    factor = corrected_flow(1.0, of_scale, *stream_densities(side, place, state), air.density_kg_m3)
    assert factor == pytest.approx(1, rel=ROUNDING)


def test_static_pressures_stand_in_the_order_of_the_stream():
    # By hand: ambient 100, drop over the piece 7, over the meter 5.
    expected = {
        ("intake", "after the piece"): (93, 100),
        ("intake", "before the piece"): (100, 95),
        ("exhaust", "before the piece"): (112, 107),
        ("exhaust", "after the piece"): (105, 112),
    }
    assert {key: tuple(map(float, static_pressures(*key, 100, 7, 5))) for key in PLACES} == expected


# --- to the reference pressure


@pytest.mark.outside
@pytest.mark.parametrize(
    "case", ISENTROPIC["conversion_to_28_inh2o"]["cases"], ids=lambda case: f"{case['from_inh2o']}"
)
def test_pressure_factor_against_values_worked_out_once(case):
    """Corrected flow is m / sqrt(rho_in rho_std), which goes with sqrt(m x m / rho_in): the geometric mean
    of mass flow and upstream volume flow. Drawn air has one inlet density, so that all three go
    alike; for blown air the factor is the geometric mean of the two that are listed."""
    drop_pa = case["from_inh2o"] * INCH_WATER_PA

    def factor(rule: str, side: str) -> float:
        return float(pressure_factor(rule, side, drop_pa, 101325.0, DROP_28_PA, 101325.0))

    assert factor("square root", "intake") == pytest.approx(case["square_root"], rel=1e-12)
    assert factor("square root", "exhaust") == pytest.approx(case["square_root"], rel=1e-12)
    assert factor("isentropic", "intake") == pytest.approx(case["intake"], rel=1e-9)
    blown = sqrt(case["exhaust_mass"] * case["exhaust_upstream_volume"])
    assert factor("isentropic", "exhaust") == pytest.approx(blown, rel=1e-9)


@pytest.mark.outside
@pytest.mark.parametrize(
    "case", ISENTROPIC["square_root_error"]["cases"], ids=lambda case: f"{case['side']}-{case['from_inh2o']}"
)
def test_how_far_the_plain_root_reads_high(case):
    """Source: tests/reference/isentropic.json, to one or two decimals."""
    drop_pa = case["from_inh2o"] * INCH_WATER_PA
    root, flux = (
        pressure_factor(rule, case["side"], drop_pa, 101325.0, DROP_28_PA, 101325.0)
        for rule in ("square root", "isentropic")
    )
    assert 100 * (root / flux - 1) == pytest.approx(case["percent"], abs=case["digit"] / 2)


@pytest.mark.outside
def test_a_station_at_84_kpa():
    """Source: fluids 1.3.1, expansibility of an opening that is small beside its pipe (1e-9, see
    test_isentropic): 0.8 % between 84 kPa and sea level at one and the same drop."""
    at_sea, up_there = (
        fluids.nozzle_expansibility(D=1.0, Do=1e-4, P1=p, P2=p - DROP_28_PA, k=1.4) for p in (101325.0, 84e3)
    )
    ours = pressure_factor("isentropic", "intake", DROP_28_PA, 84e3, DROP_28_PA, 101325.0)
    assert ours == pytest.approx(at_sea / up_there, rel=1e-9)
    assert 100 * (ours - 1) == pytest.approx(0.8, abs=0.05)


@pytest.mark.parametrize("drop_pa", [0.0, -100.0])
def test_no_drop_is_no_test(drop_pa):
    with pytest.raises(ValueError, match="above 0 Pa"):
        pressure_factor("square root", "intake", drop_pa, 101325.0, DROP_28_PA, 101325.0)


def test_a_reference_of_no_drop_is_none_and_a_small_drop_is_one():
    with pytest.raises(ValueError, match="above 0 Pa"):
        pressure_factor("square root", "intake", 100.0, 101325.0, 0.0, 101325.0)
    assert pressure_factor("square root", "intake", 0.5, 101325.0, 0.125, 101325.0) == 0.5
