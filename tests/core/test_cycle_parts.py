"""What a cycle is made of: crank, areas over crank angle, cases; each against another way to work it out."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

from core.breathing.areas import AreaCurve, Lobe, effective_area
from core.breathing.cases import Cases, Cylinder, Openings, half_steps, joined
from core.breathing.crank import Crank
from core.breathing.gas import Gas
from core.job import CamLobe
from tests.core.cylinders import CRANK, DEG, MILD

ANGLES = np.radians([-60, -10, 0, 25, 77, 90, 180, 200, 300, 359, 400, 660])


# crank ------------------------------------------------------------------------------------


def pin_height(crank: Crank, angle: float) -> float:
    """Return how high the piston pin is above the shaft: where the rod's circle meets the bore."""
    throw, rod = crank.stroke_m / 2, crank.rod_length_m
    x, y = throw * np.sin(angle), throw * np.cos(angle)
    return brentq(lambda height: np.hypot(x, height - y) - rod, y, y + 2 * rod, xtol=1e-15)


@pytest.mark.outside
@pytest.mark.parametrize("crank", [CRANK, MILD])
def test_the_piston_is_where_rod_and_throw_meet(crank):
    # Circles that meet, found by a root finder to 1e-15 m: geometry, without the formula's square root.
    travel = [crank.stroke_m / 2 + crank.rod_length_m - pin_height(crank, angle) for angle in ANGLES]
    assert crank.travel(ANGLES) == pytest.approx(np.array(travel), rel=1e-9, abs=1e-14)
    bore_m2 = np.pi * (crank.bore_m / 2) ** 2
    assert crank.swept_m3 == pytest.approx(bore_m2 * crank.stroke_m, rel=1e-12)
    least, most = crank.volume(np.array([0.0, np.pi]))
    assert most / least == pytest.approx(crank.compression_ratio, rel=1e-12)
    assert crank.volume(ANGLES) - least == pytest.approx(bore_m2 * np.array(travel), rel=1e-9, abs=1e-17)


@pytest.mark.outside
@pytest.mark.parametrize("crank", [CRANK, MILD])
def test_the_bare_wall_grows_with_the_volume(crank):
    # A cylinder's mantle is 4 V / B. At the top there is none: the flat piston, and a chamber that is
    # taken as 1.15 times as large (judgement, as the docstring says).
    area, volume = (of(np.append(0.0, ANGLES)) for of in (crank.wall_area, crank.volume))
    assert area[0] == pytest.approx(2.15 * np.pi * (crank.bore_m / 2) ** 2, rel=1e-12)
    assert area[1:] - area[0] == pytest.approx(4 / crank.bore_m * (volume[1:] - volume[0]), abs=1e-15)


@pytest.mark.outside
def test_mean_piston_speed_is_the_path_of_a_turn_over_its_time():
    speed_rad_s = 600.0
    there, _ = quad(lambda a: abs(CRANK.travel(a + 1e-6) - CRANK.travel(a - 1e-6)) / 2e-6, 0, np.pi)
    found = CRANK.piston_speed(speed_rad_s)
    assert found == pytest.approx(2 * there / (2 * np.pi / speed_rad_s), rel=1e-6)  # 1e-8 of each slope


# areas ------------------------------------------------------------------------------------

CURVE = AreaCurve(
    np.array([1e-3, 3e-3, 6e-3, 10e-3]),
    np.array([1e-4, 3.2e-4, 6e-4, 7e-4]),
    np.array([2e-3, 6e-3, 9e-3]),
    np.array([1.1, 1.3, 0.9]),
)


def test_an_area_is_the_readings_curve_times_a_ratio_between_straight_lines():
    # scipy's PCHIP through (0, 0) and the readings; of the ratio, lines worked out by hand.
    lift = np.array([0.0, 0.5, 1.0, 2.0, 4.0, 6.0, 8.0, 9.5, 10.0]) * 1e-3
    ratio = np.array([1.1, 1.1, 1.1, 1.1, 1.2, 1.3, 1.3 - 0.4 * 2 / 3, 0.9, 0.9])
    through = PchipInterpolator(np.append(0, CURVE.lift_m), np.append(0, CURVE.area_m2))
    assert CURVE.at(lift) == pytest.approx(through(lift) * ratio, rel=1e-12)
    # Above the highest reading neither goes on.
    assert CURVE.at(np.array([11e-3, 20e-3])) == pytest.approx([7e-4 * 0.9] * 2, rel=1e-12)


def test_no_area_is_below_zero():
    # A leak that is subtracted may leave a first reading below nothing.
    curve = AreaCurve(np.array([1e-3, 2e-3]), np.array([-1e-6, 5e-5]), np.array([0, 2e-3]), np.ones(2))
    assert curve.at(np.array([0.5e-3, 1e-3])).tolist() == [0, 0]
    assert curve.at(np.array([2e-3]))[0] == pytest.approx(5e-5)


@pytest.mark.outside
@pytest.mark.parametrize(("side", "before_pa", "behind_pa"), [("intake", 0, -7e3), ("exhaust", 7e3, 0)])
def test_an_effective_area_passes_what_the_bench_read(side, before_pa, behind_pa):
    # Energy and entropy, gamma 1.4: air of the room's temperature through 5 cm2 without loss, and what a
    # bench then states: mass over the root of both densities, at the piece and in standard air.
    ambient_pa, standard_kg_m3, area_m2, cp = 101_325.0, 1.225, 5e-4, 3.5
    upstream_pa = ambient_pa + before_pa
    share = (ambient_pa + behind_pa) / upstream_pa
    at_piece_kg_m3 = standard_kg_m3 * upstream_pa / ambient_pa
    upstream_rt = upstream_pa / at_piece_kg_m3
    throat_m_s = np.sqrt(2 * cp * upstream_rt * (1 - share ** (1 / cp)))
    mass_kg_s = area_m2 * at_piece_kg_m3 * share ** (1 / 1.4) * throat_m_s
    flow_m3_s = np.array([mass_kg_s, 2 * mass_kg_s]) / np.sqrt(at_piece_kg_m3 * standard_kg_m3)
    found = effective_area(side, flow_m3_s, 7e3, ambient_pa, standard_kg_m3)
    assert found == pytest.approx([area_m2, 2 * area_m2], rel=1e-9)


# lobes ------------------------------------------------------------------------------------

CARD = CamLobe(lift_m=12e-3, duration_rad=np.radians(240), at_lift_m=1e-3, rocker_ratio=1.0)
# Steeper when it opens than when it closes, with a dwell round its middle, which is at 0.
ROWS = ((-140, 0), (-128, 0), (-60, 4), (-10.2, 10), (10.2, 10), (100, 3), (160, 0), (170, 0))
TABLE = CamLobe(table=tuple((float(np.radians(angle)), lift * 1e-3) for angle, lift in ROWS))
TURNED = [(0.0, 1.0), (np.radians(4), 1.0), (0.0, 1.05), (np.radians(-3), 0.97)]


@pytest.mark.parametrize(("later", "stretch"), TURNED)
def test_a_lobe_from_its_card_lies_evenly_round_its_centre(later, stretch):
    # L = L_max (1 - x^2)^2; it passes 1 mm of 12 after sqrt(1 - sqrt(1/12)) of its half duration.
    lobe, half = Lobe(CARD, np.radians(468)), np.radians(120) / np.sqrt(1 - np.sqrt(1 / 12))
    assert lobe.duration_rad == pytest.approx(2 * half)
    assert (lobe.opens_rad, lobe.closes_rad) == pytest.approx(
        (np.radians(468) - half, np.radians(468) + half)
    )
    assert lobe.net_lift_m == 12e-3
    share = np.array([-1.5, -1.0, -0.7, -0.2, 0.0, 0.5, 0.99, 1.0, 1.2])
    wanted = np.where(np.abs(share) < 1, 12e-3 * (1 - share**2) ** 2, 0)
    angle = np.radians(468) + later + stretch * half * share
    assert lobe.lift(angle, later, stretch) == pytest.approx(wanted, abs=1e-15)
    if (later, stretch) == (0.0, 1.0):
        assert lobe.lift(angle) == pytest.approx(wanted, abs=1e-15)


@pytest.mark.parametrize(("later", "stretch"), TURNED)
def test_a_lift_table_has_its_highest_lift_at_the_centre(later, stretch):
    centre = np.radians(250)
    lobe = Lobe(TABLE, centre)
    assert lobe.duration_rad == pytest.approx(np.radians(288))
    assert lobe.opens_rad == pytest.approx(centre - np.radians(128))
    assert lobe.closes_rad == pytest.approx(centre + np.radians(160))
    assert lobe.net_lift_m == pytest.approx(10e-3)
    angle = np.radians([-200, -127, -90, -30, -10.2, 3, 10.2, 60, 130, 159, 165])
    wanted = np.interp(angle, np.radians([row[0] for row in ROWS]), [row[1] * 1e-3 for row in ROWS])
    assert lobe.lift(centre + later + stretch * angle, later, stretch) == pytest.approx(wanted, abs=1e-12)
    if (later, stretch) == (0.0, 1.0):
        assert lobe.lift(centre + angle) == pytest.approx(wanted, abs=1e-12)


def test_a_table_that_ends_at_a_checking_height_is_shut_outside_it():
    lobe = Lobe(CamLobe(table=((-1.5, 0.3e-3), (0.0, 8e-3), (1.5, 0.4e-3))), 2.0)
    found = lobe.lift(np.array([0.49, 0.51, 2.0, 3.49, 3.51]))
    assert found[[0, 4]].tolist() == [0, 0]
    assert found[1:4] == pytest.approx([0.3e-3, 8e-3, 0.4e-3], abs=0.06e-3)  # 0.01 rad of slope


# cases ------------------------------------------------------------------------------------


def numbered(first: float, count: int) -> Cases:
    """Return cases whose every value is another number."""
    names = [field.name for field in fields(Cases)]
    return Cases(**{name: first + 100.0 * i + np.arange(count) for i, name in enumerate(names)})


def test_cases_are_taken_and_joined_value_by_value():
    one, other = numbered(0, 3), numbered(5000, 2)
    both = joined([one, other])
    assert len(both) == 5
    for field in fields(Cases):
        of_one, of_other, of_both = (getattr(x, field.name) for x in (one, other, both))
        assert of_both.tolist() == [*of_one, *of_other]
        assert getattr(both.take(np.array([4, 0])), field.name).tolist() == [of_other[1], of_one[0]]


@given(st.integers(8, 3000))
def test_half_steps_go_from_60_deg_before_firing_once_round(steps):
    grid = half_steps(4 * np.pi / steps)
    assert grid.size == 2 * steps + 1
    assert np.degrees(grid[[0, -1]]) == pytest.approx([-60, 660])
    assert np.diff(grid) == pytest.approx(np.full(2 * steps, 2 * np.pi / steps))


@pytest.mark.parametrize("steps", [1440.01, 1439.99, 100.5])
def test_steps_that_leave_a_rest_are_refused(steps):
    with pytest.raises(ValueError, match="whole number of steps"):
        half_steps(4 * np.pi / steps)


def test_a_rough_cylinder_keeps_every_other_point():
    step = 4 * np.pi / 36
    grid = half_steps(step)
    areas = [np.column_stack([grid * k, grid * (k + 1)]) for k in (2, 5)]
    gas = Gas(gamma_intake=1.3)
    fine = Cylinder(CRANK, gas, step, *map(Openings, areas), grid + 1, grid + 2, grid > 1)
    rough, wide = fine.rough(), half_steps(2 * step)
    assert (rough.crank, rough.gas, rough.step_rad) == (CRANK, gas, 2 * step)
    assert rough.intake.area_m2 == pytest.approx(np.column_stack([wide * 2, wide * 3]))
    assert rough.exhaust.area_m2 == pytest.approx(np.column_stack([wide * 5, wide * 6]))
    assert rough.intake_wave == pytest.approx(wide + 1)
    assert rough.exhaust_wave == pytest.approx(wide + 2)
    assert rough.exchange.tolist() == (wide > 1).tolist()


def test_an_odd_number_of_steps_has_no_rough_ones():
    grid = half_steps(16 * DEG)  # 45 of them
    assert grid.size == 91
    area = Openings(grid[:, None])
    odd = Cylinder(CRANK, Gas(), 16 * DEG, area, area, grid, grid, grid > 0)
    assert odd.rough() is odd
