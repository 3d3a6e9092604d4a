"""ISO 5167-2 plate metering against a general-purpose library and the standard's own limits."""

from __future__ import annotations

import numpy as np
import pytest
from fluids.flow_meter import (
    C_Reader_Harris_Gallagher,
    differential_pressure_meter_solver,
    orifice_expansibility,
)

from core.orifice import discharge_coefficient, expansibility, is_covered, plate_mass_flow

pytestmark = pytest.mark.outside

FLUIDS_TAPS = {"corner": "corner", "flange": "flange", "D and D/2": "D and D/2"}


@pytest.mark.parametrize(
    ("plate", "pipe", "covered"),
    [
        (0.0125, 0.05, True),
        (0.0124, 0.05, False),
        (0.030, 0.049, False),
        (0.75, 1.0, True),
        (0.50, 1.01, False),
        (0.020, 0.2, True),
        (0.0199, 0.2, False),
        (0.0375, 0.05, True),
        (0.0376, 0.05, False),
        (0.040, None, False),
    ],
)
def test_limits_of_use(plate, pipe, covered):
    """Source: ISO 5167-2:2003, 5.3.1: d >= 12.5 mm, 50 mm <= D <= 1 m, 0.10 <= d/D <= 0.75."""
    assert is_covered(plate, pipe) is covered


@pytest.mark.parametrize("taps", FLUIDS_TAPS)
@pytest.mark.parametrize("pipe", [0.05, 0.0711, 0.0715, 0.1, 0.25])
@pytest.mark.parametrize("ratio", [0.1, 0.3, 0.5, 0.6, 0.75])
@pytest.mark.parametrize("reynolds", [1e4, 5e4, 1e6])
def test_coefficient_against_fluids(taps, pipe, ratio, reynolds):
    """Source: fluids 1.3, the same equation coded apart from ours. Budget: rounding, 1e-9.

    Pipes below 71.12 mm have a term more.
    """
    viscosity, density = 1.8e-5, 1.2
    mass_flow = reynolds * np.pi * pipe * viscosity / 4
    theirs = C_Reader_Harris_Gallagher(pipe, ratio * pipe, density, viscosity, mass_flow, FLUIDS_TAPS[taps])
    assert discharge_coefficient(reynolds, ratio * pipe, pipe, taps) == pytest.approx(theirs, rel=1e-9)


@pytest.mark.parametrize(
    ("taps", "printed"),
    [("corner", 0.6000085121444034), ("D and D/2", 0.5988219225153976), ("flange", 0.5990042535666878)],
)
def test_coefficient_against_printed_values(taps, printed):
    """Source: printed in the test suite of fluids 1.3 (D = 73.91 mm, d = 22.2 mm). Budget: 1e-9."""
    reynolds = 4 * 0.124431876 / (np.pi * 0.07391 * 1.85861753095e-05)
    assert discharge_coefficient(reynolds, 0.0222, 0.07391, taps) == pytest.approx(printed, rel=1e-9)


def test_expansibility_against_fluids_and_print():
    """Source: fluids 1.3; its test suite prints 0.9974739057343425 and calls it the standard's own."""
    assert expansibility(1000, 100000, 0.0222 / 0.0739) == pytest.approx(0.9974739057343425, rel=1e-12)
    for ratio in (0.1, 0.5, 0.75):
        for drop in (100.0, 7000.0, 25000.0):
            theirs = orifice_expansibility(0.1, 0.1 * ratio, 101325.0, 101325.0 - drop, 1.4)
            assert expansibility(drop, 101325.0, ratio) == pytest.approx(theirs, rel=1e-12)


@pytest.mark.parametrize("taps", FLUIDS_TAPS)
def test_mass_flow_against_fluids(taps):
    """Source: fluids 1.3's solver, which looks for the root its own way. Budget: its tolerance, 1e-6."""
    theirs = differential_pressure_meter_solver(
        D=0.1, D2=0.05, P1=101325.0, P2=101325.0 - 3000, rho=1.2, mu=1.8e-5, k=1.4,
        meter_type="ISO 5167 orifice", taps=FLUIDS_TAPS[taps],
    )  # fmt: skip
    assert plate_mass_flow(3000, 101325.0, 1.2, 1.8e-5, 0.05, 0.1, taps) == pytest.approx(theirs, rel=1e-6)


def test_a_plenum_is_the_limit_of_a_wide_pipe():
    """Source: the equation itself as the ratio goes to 0; what is left of it at 1e-4 is below 1e-6."""
    hole, wide = 0.03, 300.0
    plate_reynolds = 20000.0
    in_pipe = discharge_coefficient(plate_reynolds * hole / wide, hole, wide, "corner")
    assert discharge_coefficient(plate_reynolds, hole, None) == pytest.approx(in_pipe, rel=1e-6)


def test_no_drop_no_flow_and_a_root_in_between():
    flow = plate_mass_flow(np.array([0.0, 1000.0, 4000.0]), 101325.0, 1.2, 1.8e-5, 0.03)
    assert flow[0] == 0
    # Twice the flow at four times the drop, but for expansibility and Reynolds number (below 2 %).
    assert flow[2] / flow[1] == pytest.approx(2, rel=0.02)


def test_taps_are_in_the_corner_unless_something_else_is_said():
    in_pipe = (0.03, 0.06)
    assert discharge_coefficient(1e5, *in_pipe) == discharge_coefficient(1e5, *in_pipe, "corner")
    state = (1000.0, 101325.0, 1.2, 1.8e-5)
    assert plate_mass_flow(*state, *in_pipe) == plate_mass_flow(*state, *in_pipe, "corner")


@pytest.mark.filterwarnings("error")  # before anything is worked out
@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: plate_mass_flow(1000.0, 101325.0, 1.2, 1.8e-5, 0.0), "plate_diameter_m is 0"),
        (lambda: plate_mass_flow(1000.0, 101325.0, 1.2, 0.0, 0.03), "viscosity_pa_s is 0"),
        (
            lambda: plate_mass_flow(1000.0, 101325.0, 1.2, 1.8e-5, 0.1, 0.09),
            r"pipe_diameter_m - plate_diameter_m is -0\.01",
        ),
        (lambda: expansibility(-1.0, 100e3, 0.5), "plate_drop_pa / upstream_pa is -"),
        (
            lambda: expansibility(150e3, 100e3, 0.5),
            r"upstream_pa is 1\.5\. It must be 0 to 1",
        ),
        (lambda: discharge_coefficient(0.0, 0.03, None), "pipe_reynolds is 0"),
        (lambda: discharge_coefficient(1e4, 0.0, 0.1), "plate_diameter_m is 0"),
        (lambda: discharge_coefficient(1e4, 0.1, 0.09), r"pipe_diameter_m - plate_diameter_m is -0\.01"),
    ],
)
def test_what_cannot_be_is_refused(call, says):
    with pytest.raises(ValueError, match=says):
        call()
