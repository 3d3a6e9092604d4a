"""The pieces of the breathing model, each against its formula or against a closed form."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.air import isentropic_flux
from core.breathing.burn import burn_start, burned_share
from core.breathing.cases import Openings, half_steps
from core.breathing.crank import Crank
from core.breathing.friction import friction_pressure
from core.breathing.gas import Gas, constant_heat_gas
from core.breathing.heat import heat_transfer_coefficient
from core.breathing.march import BURNED, ENERGY, MASS, PORT_ENERGY, PORT_MASS, WORK, March
from core.breathing.nozzle import choking_share, flux_polynomial, squared_flux_over_share
from core.compression import otto_efficiency
from core.constants import GAMMA, R_DRY_AIR
from tests.core.cylinders import CRANK, DEG, cases, shut
from tests.reference import reference

BREATHING = reference("breathing")
BAR_PA = 1e5


# formulas ---------------------------------------------------------------------------------


@pytest.mark.outside
def test_friction():
    for case in BREATHING["chen_flynn_bar"]["cases"]:  # worked out once, to 1e-9
        found = friction_pressure(case["peak_bar"] * BAR_PA, case["piston_m_s"])
        assert found / BAR_PA == pytest.approx(case["bar"], rel=1e-9)


@pytest.mark.outside
def test_heat_transfer():
    for case in BREATHING["woschni"]["cases"]:  # worked out once, to 1e-9
        found = heat_transfer_coefficient(case["bore_m"], case["kpa"] * 1e3, case["k"], case["m_s"])
        assert found == pytest.approx(case["w_m2_k"], rel=1e-9)


@pytest.mark.outside
def test_burned_share():
    whole = BREATHING["wiebe"]["burned"]["1"]
    for progress, share in BREATHING["wiebe"]["burned"].items():  # worked out once, to 1e-9
        assert burned_share(float(progress)) * whole == pytest.approx(share, rel=1e-9)
    assert burned_share(np.array([-1.0, 0.0, 1.0, 2.0])).tolist() == [0, 0, 1, 1]
    # Half of all that burns, not half of 1: 0.5176 in place of 0.5175 within 0.4 %, as 0.7 % is unburned.
    reached = BREATHING["wiebe"]["reached"]["0.5"]
    assert -burn_start(0.0, 1.0) == pytest.approx(reached, rel=4e-3)
    assert burned_share(-burn_start(0.0, 1.0)) == pytest.approx(0.5, rel=1e-12)


@given(st.floats(250, 3000), st.floats(0, 1))
def test_temperature_is_the_inverse_of_energy(temperature_k, burned):
    for gas in (Gas(), constant_heat_gas()):
        energy = gas.energy(temperature_k, burned)
        assert gas.temperature(energy, burned) == pytest.approx(temperature_k, rel=1e-12)


@pytest.mark.outside
def test_the_gas_is_about_that_of_a_petrol_engine():
    # NASA's polynomials in GRI-Mech 3.0, through Cantera: air and propane, with the carbon of CH1.87, in
    # place of petrol's vapour; and what CH1.87 burns to, without dissociation.
    gri = pytest.importorskip("cantera").Solution("gri30.yaml")
    oxygen, gas = 1 + 1.87 / 4, Gas()
    air = {"O2": oxygen, "N2": 3.76 * oxygen}
    mixtures = ({"C3H8": 1 / 3} | air, {"CO2": 1, "H2O": 1.87 / 2, "N2": air["N2"]})
    # A straight line through cv, read from a chart: 2 % of the energy while fresh, and 6 % when burned,
    # whose cv bends from 1000 to 2300 K.
    for burned, (mixture, hot, within) in enumerate(zip(mixtures, (1000, 2300), (0.02, 0.06), strict=True)):
        gri.TPX = 300, 1e5, mixture
        cold = gri.int_energy_mass
        gri.TP = hot, 1e5
        found = gas.energy(hot, burned) - gas.energy(300, burned)
        assert found == pytest.approx(gri.int_energy_mass - cold, rel=within)
    # One gamma for each valve: fresh charge at 300 K, burned gas at 1000 K, to 0.01.
    for gamma, mixture, temperature_k in zip(
        (gas.gamma_intake, gas.gamma_exhaust), mixtures, (300, 1000), strict=True
    ):
        gri.TPX = temperature_k, 1e5, mixture
        assert gamma == pytest.approx(gri.cp_mass / gri.cv_mass, abs=0.01)


@pytest.mark.parametrize("gamma", [1.3, 1.37, 1.4])
def test_the_polynomial_stands_for_the_flux(gamma):
    share = np.linspace(1e-6, choking_share(gamma), 500)
    exact = squared_flux_over_share(share, gamma)
    # 4e-5 of its square: 2e-5 of a flow, far below what any bench reads.
    assert np.polyval(flux_polynomial(gamma), share) == pytest.approx(exact, rel=4e-5)


@pytest.mark.outside
def test_the_flux_is_that_of_the_bench():
    # The bench's formula for the same drop, written elsewhere and tested against fluids.
    share = np.linspace(0.001, choking_share(GAMMA), 50)
    flux = np.sqrt(1e5 * 1.2 * share * squared_flux_over_share(share, GAMMA))
    assert flux == pytest.approx(isentropic_flux(1e5, 1.2, share * 1e5), rel=1e-9)


def test_volumes_of_the_crank():
    volume = CRANK.volume(np.array([0, np.pi, 2 * np.pi]))
    assert volume[1] / volume[0] == pytest.approx(12.5)
    assert volume[1] - volume[0] == pytest.approx(CRANK.swept_m3)
    assert volume[2] == pytest.approx(volume[0])


def test_a_step_that_does_not_fit_is_refused():
    with pytest.raises(ValueError, match="whole number of steps"):
        half_steps(0.7)


# closed forms -----------------------------------------------------------------------------


def closed_charge(step: float, fuel_j_kg: float = 0.0, crank: Crank = CRANK) -> tuple[March, float]:
    """Return a charge in a cylinder that is shut, adiabatic, and burns at once at top dead centre."""
    case = cases(
        6000, heat_level=0.0, fuel_energy_j_kg=fuel_j_kg, burn_duration_rad=1e-6, burn_centre_rad=1e-6
    )
    march = March(shut(step, crank), case)
    cv = R_DRY_AIR / (GAMMA - 1)
    state = np.zeros((7, 1))
    state[MASS] = state[PORT_MASS] = 1e-3
    state[ENERGY] = state[PORT_ENERGY] = 1e-3 * cv * 500
    march.begin(state)
    return march, 1e-3 * fuel_j_kg


@pytest.mark.outside
def test_isentropic_compression():
    # p V^gamma is constant: closed form. The scheme's error falls with the square of the step.
    errors = []
    for step in (0.5 * DEG, 0.25 * DEG, 0.125 * DEG):
        march, _ = closed_charge(step)
        march.steps(0, round(60 * DEG / step))
        pressure = march.state[ENERGY, 0] * (GAMMA - 1) / march.volume[round(120 * DEG / step)]
        begun = 1e-3 * R_DRY_AIR * 500 / march.volume[0]
        exact = begun * (march.volume[0] / march.volume[round(120 * DEG / step)]) ** GAMMA
        errors.append(pressure / exact - 1)
    assert abs(errors[0]) < 1e-6  # at the step in use: the volume's increments are exact
    assert abs(errors[1]) < abs(errors[0]) / 3.9 and abs(errors[2]) < abs(errors[1]) / 3.9


@pytest.mark.outside
def test_otto_efficiency_in_the_limit():
    # From 60 deg before to 60 deg after top dead centre, the heat at the top: 1 - r^(1 - gamma).
    found = []
    for step in (0.25 * DEG, 0.125 * DEG, 0.0625 * DEG):
        march, heat_j = closed_charge(step, 2.6e6)
        march.steps(0, round(120 * DEG / step))
        ratio = march.volume[0] / march.volume[round(120 * DEG / step)]
        found.append(march.state[WORK, 0] / heat_j / otto_efficiency(ratio, GAMMA) - 1)
        assert march.state[BURNED, 0] == pytest.approx(1e-3, rel=1e-12)
    assert abs(found[0]) < 1e-3
    limit = found[2] + (found[2] - found[1]) / 3
    assert abs(limit) < 1e-6


@pytest.mark.outside
def test_a_fixed_volume_fills_as_the_closed_form_says():
    # A vessel that fills through an orifice from air at rest: its pressure rises in a straight line
    # while the flow is choked; then sqrt(1 - (p/p0)^((gamma-1)/gamma)) falls in a straight line.
    step, volume_m3, area_m2, p0, t0 = 0.25 * DEG, 1e-3, 2e-5, 2e5, 300.0
    swept_m3 = np.pi / 4 * 0.1**2 * 1e-9
    still = Crank(0.1, 1e-9, 0.1, 1 + swept_m3 / volume_m3)
    grid = half_steps(step)
    base = shut(step, still)
    cylinder = replace(base, exhaust=Openings(np.full((grid.size, 1), area_m2)))
    case = cases(500, back_pressure_pa=p0, exhaust_temperature_k=t0, heat_level=0.0, fuel_energy_j_kg=0.0)
    march = March(cylinder, case)
    cv = R_DRY_AIR / (GAMMA - 1)
    state = np.zeros((7, 1))
    state[MASS] = state[BURNED] = 0.2 * p0 * volume_m3 / (R_DRY_AIR * t0)
    state[ENERGY] = state[MASS] * cv * t0
    state[PORT_MASS], state[PORT_ENERGY] = 1e-4, 1e-4 * cv * t0
    march.begin(state)
    n = (grid.size - 1) // 2
    pressure = [0.2 * p0]
    for index in range(n):
        march.steps(index, index + 1)
        pressure.append(march.state[ENERGY, 0] * (GAMMA - 1) / volume_m3)
    time = np.arange(n + 1) * step / case.speed_rad_s[0]
    share = np.array(pressure) / p0
    critical = (2 / (GAMMA + 1)) ** (GAMMA / (GAMMA - 1))
    choked = np.sqrt(GAMMA * (2 / (GAMMA + 1)) ** ((GAMMA + 1) / (GAMMA - 1)))
    rate = GAMMA * area_m2 / volume_m3 * np.sqrt(R_DRY_AIR * t0)
    first = share < critical * 0.999
    # Budget: 2e-5 for the polynomial, 1e-5 for the smoothed root at these drops.
    assert np.count_nonzero(first) > 100
    assert share[first] == pytest.approx(0.2 + rate * choked * time[first], rel=3e-5)
    after = (share > critical * 1.001) & (share < 0.95)
    assert np.count_nonzero(after) > 100
    at = np.flatnonzero(after)[0]
    line = np.sqrt(1 - share ** ((GAMMA - 1) / GAMMA))
    slope = (GAMMA - 1) / (2 * GAMMA) * rate * np.sqrt(2 * GAMMA / (GAMMA - 1))
    # Near equal pressures the root is smoothed on purpose: 4e-4 of the flow at 5 % of drop.
    assert line[after] == pytest.approx(line[at] - slope * (time[after] - time[at]), rel=4e-4)
