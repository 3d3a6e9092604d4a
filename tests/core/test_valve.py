"""The valve's areas, against a brute-force least area and values worked out by other code."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.air import ideal_velocity
from core.constants import INCH_WATER_PA, STANDARD_PRESSURE_PA
from core.valve import curtain_area, head_area, least_seat_area, lift_to_diameter
from tests.reference import reference

VALVE = reference("valve")
AREAS = VALVE["areas"]["cases"]


def sizes(case: dict) -> dict[str, float]:
    """Return a case's valve as arguments of `least_seat_area`, without the lift."""
    return {
        "valve_diameter_m": case["head_diameter_mm"] / 1e3,
        "seat_angle_rad": np.radians(case["seat_angle_deg"]),
        "seat_width_m": case["seat_width_mm"] / 1e3,
        "throat_diameter_m": case["throat_diameter_mm"] / 1e3,
        "stem_diameter_m": case["stem_diameter_mm"] / 1e3,
    }


def least_frustum(
    valve_diameter_m: float, valve_lift_m: float, seat_angle_rad: float, seat_width_m: float, n: int = 1001
) -> float:
    """Return the least side of a cone between any point of the seat and any of the valve's face.

    Seat and face are the same cone, of the seat's angle and width, the face moved by the lift.
    """
    outer = valve_diameter_m / 2
    on_seat, on_face = np.meshgrid(*2 * [np.linspace(outer - seat_width_m, outer, n)])
    rise = valve_lift_m + (on_face - on_seat) * np.tan(seat_angle_rad)
    return float((np.pi * (on_seat + on_face) * np.hypot(on_face - on_seat, rise)).min())


def square_to_seat_excess(
    valve_lift_m: float, valve_diameter_m: float, seat_width_m: float, seat_angle_rad: float, **_: float
) -> float:
    """Return by how much the cone square to the seat exceeds the least cone, relative.

    With R the sum of its radii and s its side, moving its foot by d along a radius changes the
    area by (1 + d/R)(1 + d^2 / (2 s^2 cos^2)), which is least at d = -s^2 cos^2 / R: there
    (s cos / R)^2 / 2 is gained.
    """
    slant_m = valve_lift_m * np.cos(seat_angle_rad)
    return (slant_m * np.cos(seat_angle_rad) / (valve_diameter_m - 2 * seat_width_m)) ** 2 / 2


@pytest.mark.outside
@pytest.mark.parametrize("case", AREAS, ids=lambda case: f"{case['valve']} at {case['lift_mm']} mm")
def test_least_area_against_brute_force(case):
    valve, lift_m = sizes(case), case["lift_mm"] / 1e3
    throat = np.pi / 4 * (valve["throat_diameter_m"] ** 2 - valve["stem_diameter_m"] ** 2)
    frustum = least_frustum(valve["valve_diameter_m"], lift_m, valve["seat_angle_rad"], valve["seat_width_m"])
    # Square to the seat is nearly, not quite, the least. The slant between two edges is the least
    # itself, and both edges are on the grid: rounding. The throat is exact.
    budget = {1: square_to_seat_excess(lift_m, **valve), 2: 1e-12, 3: 1e-12}[case["stage"]]
    assert budget < 1.2e-3
    assert least_seat_area(valve_lift_m=lift_m, **valve) == pytest.approx(min(frustum, throat), rel=budget)


@pytest.mark.outside
@pytest.mark.parametrize("case", AREAS, ids=lambda case: f"{case['valve']} at {case['lift_mm']} mm")
def test_areas_against_values_worked_out_once(case):
    valve, lift_m = sizes(case), case["lift_mm"] / 1e3
    ours = 1e6 * least_seat_area(valve_lift_m=lift_m, **valve)
    assert ours == pytest.approx(case["least_area_mm2"], rel=1e-9)
    curtain = 1e6 * curtain_area(valve["valve_diameter_m"], lift_m)
    assert curtain == pytest.approx(case["curtain_area_mm2"], rel=1e-9)


@pytest.mark.outside
@pytest.mark.parametrize("case", VALVE["coefficients"]["cases"], ids=lambda case: f"{case['flow_L_s']} L/s")
def test_coefficients_against_values_worked_out_once(case):
    diameter_m, lift_m = case["head_diameter_mm"] / 1e3, case["lift_mm"] / 1e3
    velocity = ideal_velocity("intake", 28 * INCH_WATER_PA, STANDARD_PRESSURE_PA, 1.225)
    on_curtain = case["flow_L_s"] / 1e3 / curtain_area(diameter_m, lift_m) / velocity
    assert on_curtain == pytest.approx(case["Cd_curtain_isentropic"], rel=1e-9)
    on_head = case["flow_L_s"] / 1e3 / head_area(diameter_m) / velocity
    incompressible = case["Cf_head_incompressible"] / case["Cd_curtain_incompressible"]
    assert on_head / on_curtain == pytest.approx(incompressible, rel=1e-9)


valves = st.fixed_dictionaries(
    {
        "valve_diameter_m": st.floats(0.02, 0.06),
        "seat_angle_rad": st.floats(np.radians(20), np.radians(55)),
        "seat_width_m": st.floats(0.0005, 0.003),
        "throat_diameter_m": st.floats(0.015, 0.05),
        "stem_diameter_m": st.floats(0.004, 0.009),
    }
)


@given(valves)
def test_least_area_rises_without_a_step_up_to_the_throat(valve):
    lift = np.linspace(0, 0.05, 4001)
    area = least_seat_area(valve_lift_m=lift, **valve)
    throat = np.pi / 4 * (valve["throat_diameter_m"] ** 2 - valve["stem_diameter_m"] ** 2)
    assert area[0] == 0
    assert area[-1] == pytest.approx(throat, rel=1e-12)
    rise = np.diff(area)
    assert (rise >= 0).all()
    # Nowhere steeper than a curtain on the outer edge.
    assert (rise <= np.pi * valve["valve_diameter_m"] * np.diff(lift) * (1 + 1e-9)).all()


@given(valves, st.floats(0.0002, 0.015))
def test_least_area_is_never_far_from_the_true_least(valve, lift):
    valve = valve | {"throat_diameter_m": 1.0}  # out of the way
    angle, width, steps = valve["seat_angle_rad"], valve["seat_width_m"], 200
    true = least_frustum(valve["valve_diameter_m"], lift, angle, width, n=steps + 1)
    # The grid misses the foot of the least cone by half a step at most.
    grid = (width / steps / 2 / (lift * np.cos(angle) ** 2)) ** 2 / 2
    ratio = least_seat_area(valve_lift_m=lift, **valve) / true
    assert 1 - grid - 1e-12 <= ratio <= 1 + square_to_seat_excess(lift, **valve) + 1e-12


@given(st.floats(0.02, 0.06), st.floats(0.0005, 0.02))
def test_curtain_over_head_is_four_times_lift_over_diameter(diameter, lift):
    ratio = curtain_area(diameter, lift) / head_area(diameter)
    assert ratio == pytest.approx(4 * lift_to_diameter(diameter, lift), rel=1e-12)


def test_arrays_broadcast_and_missing_values_stay_missing():
    area = curtain_area(np.array([[0.03], [0.04]]), np.array([0.001, np.nan]))
    assert area.shape == (2, 2)
    assert np.isnan(area[:, 1]).all()
    assert np.isnan(least_seat_area(valve_lift_m=np.nan, **sizes(AREAS[0])))


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"valve_lift_m": -0.001}, r"valve_lift_m is -0\.001\. It must be 0 or more"),
        ({"valve_diameter_m": 0.0}, "valve_diameter_m is 0"),
        ({"seat_width_m": 0.03}, r"valve_diameter_m - 2 seat_width_m is -0\.016"),
        ({"seat_width_m": 0.0}, "seat_width_m is 0"),
        ({"seat_angle_rad": 0.0}, "seat_angle_rad is 0"),
        ({"throat_diameter_m": 0.0, "stem_diameter_m": 0.0}, "throat_diameter_m"),
        ({"stem_diameter_m": -0.001}, r"stem_diameter_m is -0\.001"),
        ({"seat_angle_rad": 45.0}, r"pi/2 - seat_angle_rad is -43\.4"),  # degrees for radians
        ({"stem_diameter_m": 0.04}, r"throat_diameter_m - stem_diameter_m is -0\.0005"),
    ],
)
def test_least_area_refuses_what_cannot_be(wrong, says):
    with pytest.raises(ValueError, match=says):
        least_seat_area(**({"valve_lift_m": 0.005} | sizes(AREAS[0]) | wrong))


def test_other_refusals():
    with pytest.raises(ValueError, match=r"valve_lift_m is between -0\.001 and 0\.002"):
        curtain_area(0.04, np.array([0.002, -0.001]))
    with pytest.raises(ValueError, match="valve_diameter_m is -1"):
        head_area(-1.0)
    with pytest.raises(ValueError, match="valve_diameter_m is 0"):
        lift_to_diameter(0.0, 0.001)
    with pytest.raises(ValueError, match="valve_lift_m is -"):
        lift_to_diameter(0.04, -0.001)
