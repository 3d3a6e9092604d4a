"""What can pass an opening at most, incompressible and isentropic."""

from __future__ import annotations

import fluids
import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st

from core.air import CRITICAL_RATIO, ideal_velocity, incompressible_velocity, isentropic_flux
from core.constants import INCH_WATER_PA, R_DRY_AIR
from core.job import SIDES
from tests.reference import reference

ISENTROPIC = reference("isentropic")
P, RHO = 101325.0, 1.225
DROP_28_PA = 28 * INCH_WATER_PA
CFM_PER_IN2 = 0.0254**2 / 0.3048**3 * 60  # of 1 m/s; inch and foot are exact

upstream = st.floats(60e3, 120e3)
densities = st.floats(0.7, 1.5)
drops = st.floats(10.0, 30e3)


def expansibility(upstream_pa: float, drop_pa: float) -> float:
    """Isentropic over incompressible flow, by fluids, of an opening that is small beside its pipe."""
    return fluids.nozzle_expansibility(D=1.0, Do=1e-4, P1=upstream_pa, P2=upstream_pa - drop_pa, k=1.4)


@pytest.mark.outside
def test_trade_figures_at_28_inches():
    # Common practice, no source: "146 cfm per square inch at 28 inches". 350.1 ft/s likewise.
    velocity = incompressible_velocity(DROP_28_PA, RHO)
    assert velocity == pytest.approx(106.71, abs=0.005)
    assert velocity / 0.3048 == pytest.approx(350.1, abs=0.05)
    assert velocity * CFM_PER_IN2 == pytest.approx(145.87, abs=0.005)
    # Worked out once from the isentropic formula.
    assert ideal_velocity("intake", DROP_28_PA, P, RHO) * CFM_PER_IN2 == pytest.approx(140.39, abs=0.005)


@pytest.mark.outside
@pytest.mark.parametrize("upstream_pa", [70e3, P, 108e3])
@pytest.mark.parametrize("drop_inh2o", [0.5, 3, 10, 28, 60, 120])
def test_expansibility_against_fluids(upstream_pa, drop_inh2o):
    # fluids 1.3.1, ISO 5167 nozzle, which is isentropic: the same physics, other code. 1e-9
    # leaves room for the 1e-16 share of the pipe's area and for the digits of its 1 - r.
    drop_pa = drop_inh2o * INCH_WATER_PA
    ours = isentropic_flux(upstream_pa, RHO, drop_pa) / (RHO * incompressible_velocity(drop_pa, RHO))
    assert ours == pytest.approx(expansibility(upstream_pa, drop_pa), rel=1e-9)


@pytest.mark.outside
def test_choked_flow():
    # fluids 1.3.1; 0.6847 is the printed maximum of the flow function at gamma 1.4 (Heywood 1988,
    # appendix C, from memory).
    assert fluids.P_critical_flow(P, 1.4) == pytest.approx(CRITICAL_RATIO * P, rel=1e-12)
    t = P / (R_DRY_AIR * RHO)
    function = isentropic_flux(P, RHO, P * np.array([0.5, 0.9, 1.0])) * np.sqrt(R_DRY_AIR * t) / P
    np.testing.assert_allclose(function, 0.6847, atol=5e-5)


@pytest.mark.outside
@pytest.mark.parametrize(
    "case", ISENTROPIC["flow_function"]["cases"], ids=lambda case: f"r={case['ratio']:.3g}"
)
def test_flow_function(case):
    # The formula worked out once by other code: only rounding may differ.
    t = P / (R_DRY_AIR * RHO)
    ours = isentropic_flux(P, RHO, P * (1 - case["ratio"])) * np.sqrt(R_DRY_AIR * t) / P
    assert ours == pytest.approx(case["value"], rel=1e-9)


@pytest.mark.outside
@pytest.mark.parametrize("drop_inh2o", [3, 10, 28, 60])
def test_flux_against_a_real_gas(drop_inh2o):
    # CoolProp 8: expand air at constant entropy, take the velocity from the enthalpy. With x = dp/p
    # the flux is 1 - 3x/(4 gamma) of the incompressible one; real air's gamma is 1.402 at 15 degC,
    # which moves that by 0.75 * 0.002 / 1.4^2 = 8e-4 of x. Budget 1e-3 of x.
    drop_pa, t = drop_inh2o * INCH_WATER_PA, 288.15
    h, s, rho = (PropsSI(name, "T", t, "P", P, "Air") for name in "HSD")
    h2, rho2 = (PropsSI(name, "P", P - drop_pa, "S", s, "Air") for name in "HD")
    theirs = rho2 * np.sqrt(2 * (h - h2))
    assert isentropic_flux(P, rho, drop_pa) == pytest.approx(theirs, rel=1e-3 * drop_pa / P)
    if drop_inh2o == 28:
        assert theirs == pytest.approx(ISENTROPIC["real_gas"]["flux_kg_m2s"], rel=1e-6)


@pytest.mark.outside
@pytest.mark.parametrize(
    "case", ISENTROPIC["velocity"]["cases"], ids=lambda case: f"{case['air']}-{case['drop_inh2o']}"
)
def test_flow_per_area_in_every_standard_air(case):
    # Worked out once by other code, to 1e-9.
    drop_pa, rho = case["drop_inh2o"] * INCH_WATER_PA, case["density_kg_m3"]
    velocity = incompressible_velocity(drop_pa, rho)
    assert velocity == pytest.approx(case["velocity_m_s"], rel=1e-9)
    assert velocity * CFM_PER_IN2 == pytest.approx(case["cfm_per_in2"], rel=1e-9)
    isentropic = ideal_velocity("intake", drop_pa, case["upstream_pa"], rho) * CFM_PER_IN2
    assert isentropic == pytest.approx(case["isentropic_cfm_per_in2"], rel=1e-9)


@pytest.mark.outside
@pytest.mark.parametrize(
    "case", ISENTROPIC["conversion_to_28_inh2o"]["cases"], ids=lambda case: f"{case['from_inh2o']}"
)
def test_factors_to_28_inches(case):
    drop_pa = np.array([28.0, case["from_inh2o"]]) * INCH_WATER_PA

    def factor(of_both: np.ndarray) -> float:
        return of_both[0] / of_both[1]

    # Worked out once by other code, to 1e-9.
    blown_pa = P + drop_pa
    blown_kg_m3 = RHO * blown_pa / P
    blown = isentropic_flux(blown_pa, blown_kg_m3, drop_pa)
    assert factor(incompressible_velocity(drop_pa, RHO)) == pytest.approx(case["square_root"], rel=1e-9)
    assert factor(ideal_velocity("intake", drop_pa, P, RHO)) == pytest.approx(case["intake"], rel=1e-9)
    assert factor(blown) == pytest.approx(case["exhaust_mass"], rel=1e-9)
    assert factor(blown / blown_kg_m3) == pytest.approx(case["exhaust_upstream_volume"], rel=1e-9)
    # Against fluids 1.3.1, for flows at one inlet density: the root times the expansibilities.
    for side, pressures in zip(SIDES, ((P, P), P + drop_pa), strict=True):
        theirs = case["square_root"] * factor(
            np.array([expansibility(p, drop) for p, drop in zip(pressures, drop_pa, strict=True)])
        )
        assert factor(ideal_velocity(side, drop_pa, P, RHO)) == pytest.approx(theirs, rel=1e-9)


@pytest.mark.outside
@pytest.mark.parametrize(
    "case", ISENTROPIC["square_root_error"]["cases"], ids=lambda case: f"{case['side']}-{case['from_inh2o']}"
)
def test_how_far_the_plain_square_root_reads_high(case):
    drop_pa = case["from_inh2o"] * INCH_WATER_PA
    ideal = ideal_velocity(case["side"], np.array([DROP_28_PA, drop_pa]), P, RHO)
    percent = 100 * (np.sqrt(DROP_28_PA / drop_pa) / (ideal[0] / ideal[1]) - 1)
    assert percent == pytest.approx(case["percent"], abs=case["digit"] / 2)


@given(upstream, densities, drops)
def test_flux_stays_below_incompressible_and_nears_it(p, rho, drop):
    ratio = isentropic_flux(p, rho, drop) / (rho * incompressible_velocity(drop, rho))
    assert ratio < 1
    # Series in x = dp/p: 1 - 3x/(4 gamma) + O(x^2), the next factor being well under 1.
    x = drop / p
    assert abs(ratio - (1 - 0.75 / 1.4 * x)) <= x**2


@given(upstream, densities)
def test_flux_rises_until_choked_and_then_stays(p, rho):
    drop = p * np.linspace(0, 1, 101)
    flux = isentropic_flux(p, rho, drop)
    choked = drop >= (1 - CRITICAL_RATIO) * p
    assert flux[0] == 0
    assert (np.diff(flux[~choked]) > 0).all()
    assert np.ptp(flux[choked]) == 0
    assert flux[choked][0] >= flux[~choked][-1]


@given(upstream, densities, drops, st.floats(0.5, 2.0))
def test_flow_goes_with_the_root_of_density(p, rho, drop, factor):
    for side in SIDES:
        ratio = ideal_velocity(side, drop, p, rho) / ideal_velocity(side, drop, p, factor * rho)
        assert ratio == pytest.approx(np.sqrt(factor), rel=1e-12)


@given(upstream, densities, drops)
def test_blown_air_passes_more_than_drawn_air(p, rho, drop):
    assert ideal_velocity("exhaust", drop, p, rho) > ideal_velocity("intake", drop, p, rho)


def test_a_tiny_drop_keeps_its_digits():
    # At 1e-6 Pa the compressible part is 5e-12; a plain 1 - r**k would be off by 1e-6.
    flux = isentropic_flux(P, RHO, 1e-6)
    assert flux == pytest.approx(RHO * incompressible_velocity(1e-6, RHO), rel=1e-10)


def test_arrays_broadcast_and_missing_values_stay_missing():
    drop = np.array([0.0, 1000.0, np.nan])
    velocity = ideal_velocity("exhaust", drop, np.array([[95e3], [101e3]]), RHO)
    assert velocity.shape == (2, 3)
    assert np.isnan(velocity[:, 2]).all()
    assert velocity[0, 1] == ideal_velocity("exhaust", 1000.0, 95e3, RHO)


def test_refusals():
    with pytest.raises(ValueError, match=r"pressure_drop_pa is -1\. It must be 0 or more"):
        incompressible_velocity(-1.0, RHO)
    with pytest.raises(ValueError, match="density_kg_m3 is 0"):
        incompressible_velocity(1.0, 0.0)
    with pytest.raises(ValueError, match="upstream_density_kg_m3 is 0"):
        isentropic_flux(100e3, 0.0, 1e3)
    with pytest.raises(ValueError, match=r"pressure_drop_pa / upstream_pa is 1\.5\. It must be 0 to 1"):
        isentropic_flux(100e3, RHO, 150e3)
    with pytest.raises(ValueError, match="upstream_pa is -100"):
        isentropic_flux(-100.0, RHO, 10.0)
    with pytest.raises(ValueError, match=r"side is 'inlet'.*intake, exhaust"):
        ideal_velocity("inlet", 1000.0, P, RHO)
