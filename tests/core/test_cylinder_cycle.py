"""Whole cycles of the breathing model: they close, and agree with other ways to solve them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from core.breathing.cases import Cases, joined
from core.breathing.cycle import CycleError, closed_cycles
from tests.core.cylinders import COARSE, CRANK, FINE, MILD, RPM, Profiles, cases

ENGINE = Profiles()


def single(cases_: Cases, index: int = 0) -> Cases:
    """Return one of the cases."""
    return cases_.take(np.array([index]))


def test_cycles_close_in_mass_and_energy():
    some = joined([cases(np.arange(3000, 8001, 1000)), cases([3000, 5000, 8000], prescribed=True)])
    found = closed_cycles(ENGINE.cylinder(), some)
    assert np.max(found.mass_change) < 1e-9
    assert np.max(found.energy_imbalance) < 1e-6
    # What comes in must go out: enthalpy in and heat of the fuel, against work, walls and exhaust.
    out = found.work_j + found.heat_j + found.exhaust_j
    assert found.intake_j + found.fuel_j == pytest.approx(out, rel=1e-8)
    assert np.all(found.turns >= 3)


def test_a_rough_cylinder_is_one_of_twice_the_step():
    rough, made = ENGINE.cylinder(FINE).rough(), ENGINE.cylinder(2 * FINE)
    assert rough.step_rad == made.step_rad
    for one, other in ((rough.intake.area_m2, made.intake.area_m2), (rough.exhaust_wave, made.exhaust_wave)):
        assert one.shape == other.shape
        assert one == pytest.approx(other, rel=1e-9, abs=1e-12)
    assert np.array_equal(rough.exchange, made.exchange)
    odd = ENGINE.cylinder(4 * np.pi / 721)
    assert odd.rough() is odd


def test_cycles_close_soon():
    # Each turn costs the same, so their number is the model's speed; 30 are the most that it takes.
    some = joined([cases(np.arange(3000, 8001, 250)), cases(np.arange(3000, 8001, 500), prescribed=True)])
    assert np.max(closed_cycles(ENGINE.cylinder(), some).turns) <= 7


def test_cases_do_not_depend_on_their_company():
    runner, wave = cases([4000, 6500]), cases([4000, 6500], prescribed=True)
    together = closed_cycles(ENGINE.cylinder(), joined([wave, runner]))
    apart = [closed_cycles(ENGINE.cylinder(), one) for one in (wave, runner)]
    # Each is closed to 1e-9 on a path of its own.
    assert together.work_j == pytest.approx(np.concatenate([one.work_j for one in apart]), rel=1e-7)


@pytest.mark.outside
@pytest.mark.slow
@pytest.mark.parametrize("prescribed", [False, True], ids=["runner", "waves"])
@pytest.mark.parametrize("rpm", [2500, 4500, 7000])
def test_lsoda_gives_the_same(rpm, prescribed):
    # scipy's LSODA at rtol 1e-9 on the same equations, written apart (breathing_scalar), run until
    # it has forgotten where it began: four cycles, each of which forgets nine tenths or more.
    case = cases(rpm, prescribed=prescribed)
    found = closed_cycles(ENGINE.cylinder(COARSE if rpm >= 3000 else FINE), case)
    scalar = ENGINE.scalar(case)
    state = found.state[:, 0]
    for _ in range(4):
        before = state
        state, work_j = scalar.cycle(state)
    assert state[0] == pytest.approx(before[0], rel=1e-5)
    assert found.trapped_kg[0] == pytest.approx(state[0], rel=1e-3)
    assert found.fresh_kg[0] == pytest.approx(state[0] - state[4], rel=1e-3)
    assert found.work_j[0] == pytest.approx(work_j, rel=1e-3)


def test_a_finer_step_changes_little():
    rpm = np.array([3000, 4500, 6000, 7500])
    coarse, fine = (closed_cycles(ENGINE.cylinder(step), cases(rpm)) for step in (COARSE, FINE))
    # Second order: the coarse step is off by 4/3 of what halving it changes. Budget: that of LSODA.
    assert coarse.work_j == pytest.approx(fine.work_j, rel=7.5e-4)


def test_only_ratios_matter_without_heat_and_friction():
    # All lengths times L and the speed over L: the same velocities, so the same efficiencies.
    scale, rpm = 1.7, np.array([4000.0, 6000.0])
    small = cases(rpm, heat_level=0.0)
    large = replace(
        small,
        speed_rad_s=small.speed_rad_s / scale,
        runner_length_m=small.runner_length_m * scale,
        runner_area_m2=small.runner_area_m2 * scale**2,
        port_volume_m3=small.port_volume_m3 * scale**3,
    )
    crank = replace(
        CRANK,
        bore_m=CRANK.bore_m * scale,
        stroke_m=CRANK.stroke_m * scale,
        rod_length_m=CRANK.rod_length_m * scale,
    )
    one = closed_cycles(ENGINE.cylinder(), small)
    other = closed_cycles(Profiles(length=scale).cylinder(crank=crank), large)
    assert other.fresh_kg / scale**3 == pytest.approx(one.fresh_kg, rel=1e-8)
    assert other.work_j / other.fuel_j == pytest.approx(one.work_j / one.fuel_j, rel=1e-8)


@pytest.mark.outside
def test_filling_falls_away_past_a_mach_index_of_one_half_to_0_6():
    # Taylor, The Internal-Combustion Engine in Theory and Practice, vol. 1, ch. 6 (from memory): with
    # no tuning, volumetric efficiency holds up to an inlet Mach index of about 0.5 and falls away
    # above 0.5 to 0.6. A mild cam, both sides at constant pressure.
    mild = Profiles(0.036, 0.031, 0.009, (250, 252), (110, 112))
    angle = np.linspace(mild.centre[0] - mild.duration[0] / 2, mild.centre[0] + mild.duration[0] / 2, 721)
    mean_m2 = mild.intake_area_m2(angle).mean()  # valve area times mean flow coefficient
    sound_m_s = np.sqrt(1.4 * 287.05 * 303)
    index = np.array([0.25, 0.35, 0.45, 0.5, 0.55, 0.6, 0.7, 0.8, 0.9])
    piston_m_s = index * sound_m_s * mean_m2 / (np.pi / 4 * MILD.bore_m**2)
    rpm = piston_m_s * np.pi / MILD.stroke_m / RPM
    some = cases(
        rpm,
        prescribed=True,
        intake_wave=0.0,
        exhaust_wave=0.0,
        port_volume_m3=1e-4,
        back_pressure_pa=101_325.0,
    )
    found = closed_cycles(mild.cylinder(FINE, MILD), some)
    filling = found.fresh_kg / (MILD.swept_m3 * 101_325 / 287.05287 / 303)
    assert np.all(filling[index <= 0.5] > 0.95 * filling[:5].max())
    assert np.all(np.diff(filling[index >= 0.5]) < 0)
    assert filling[-2] < 0.93 * filling[3]
    steepness = np.diff(filling) / np.diff(index)
    assert steepness[-1] < 2 * steepness[2] and steepness[-1] < -0.15


def test_a_backflow_comes_back_burned():
    # A low back pressure empties the cylinder of burned gas, a high one pushes it into the port.
    low, high = closed_cycles(
        ENGINE.cylinder(), cases([4000, 4000], back_pressure_pa=np.array([95e3, 140e3]))
    ).fresh_kg
    assert high < 0.9 * low


def test_less_area_gives_less_power_at_speed():
    base = ENGINE.cylinder()
    tight = replace(base, intake=replace(base.intake, area_m2=0.9 * base.intake.area_m2))
    some = cases([7000], prescribed=True)
    assert closed_cycles(tight, some).work_j[0] < closed_cycles(base, some).work_j[0]


def test_a_cycle_that_does_not_close_is_an_error(monkeypatch):
    monkeypatch.setattr("core.breathing.cycle.MOST_TURNS", 2)
    with pytest.raises(CycleError, match="from 4000 to 5000 rpm a cycle does not repeat within 2 turns"):
        closed_cycles(ENGINE.cylinder(), cases([4000, 5000]))


def test_a_case_that_breaks_down_never_closes(monkeypatch):
    monkeypatch.setattr("core.breathing.cycle.MOST_TURNS", 15)
    broken = cases([4000, 5000], fuel_energy_j_kg=np.array([np.nan, 2.6e6]))
    with pytest.raises(CycleError, match="from 4000 to 4000 rpm"):
        closed_cycles(ENGINE.cylinder(), broken)
    found = closed_cycles(ENGINE.cylinder(), broken, partly=True)
    assert np.isnan(found.work_j[0]) and np.all(np.isnan(found.state[:, 0]))
    assert found.work_j[1] == closed_cycles(ENGINE.cylinder(), single(broken, 1)).work_j[0]
