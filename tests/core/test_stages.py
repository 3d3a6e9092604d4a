"""One side of one stage as it is shown, against figures worked out by hand."""

from __future__ import annotations

from dataclasses import replace
from math import hypot, pi
from types import SimpleNamespace

import numpy as np
import pytest

from core.job import Setup, Sides, Target, Valve
from core.results import PortCurve, SideCurve
from core.review import review, worked_sides
from core.stages import FlowCoefficients, common_inputs, flow_coefficients, numbers, valves_open
from tests.core.jobs import AIR, BENCH, CAM, LIFTS_M, job, sheet

Z = 1.959964  # of a normal distribution at 95 % (any table of it)
PER_M = 20.0  # straight flow curves: 20 L/s each mm
STRAIGHT = {lift: PER_M * lift for lift in LIFTS_M}
EASE = 1e-4  # the test's bench reads pressure and temperature to 1e-9, and z has six digits


def straight(factor: float, name: str, lifts_m=LIFTS_M, **more: object):
    return sheet({lift: factor * PER_M * lift for lift in lifts_m}, name, **more)


def curve(*sheets, cam=CAM, **more: object) -> SideCurve:
    return review(job({"a": sheets}, cams=Sides(cam, None), **more)).stages[0].intake


# --- a straight curve by hand


def test_flows_and_their_uncertainty_with_and_without_what_all_stages_share() -> None:
    found = curve(straight(1.0, "a.csv"))
    assert found.flow_m3_s == pytest.approx(list(STRAIGHT.values()))
    # One set-up of 0.5 % (assumed), one calibration of 1.5 %.
    for i, flow in enumerate(STRAIGHT.values()):
        assert found.expanded_bench_m3_s[i] == pytest.approx(Z * 0.005 * flow, rel=EASE)
        assert found.expanded_uncertainty_m3_s[i] == pytest.approx(Z * hypot(0.005, 0.015) * flow, rel=EASE)


def test_means_over_lift_and_over_time() -> None:
    """The mean of a straight line is its middle; the lobe is (1 - x^2)^2, whose mean is 8 / 15."""
    found = curve(straight(1.0, "a.csv"))
    assert found.usable_lift_m == pytest.approx(0.010)
    assert found.mean_flow_m3_s == pytest.approx(PER_M * 0.005)
    assert found.mean_expanded_m3_s == pytest.approx(Z * 0.005 * PER_M * 0.005, rel=EASE)
    over_time = PER_M * 0.010 * 8 / 15
    assert found.cam_weighted_flow_m3_s == pytest.approx(over_time, rel=1e-3)  # of steps on the path
    assert found.cam_weighted_expanded_m3_s == pytest.approx(Z * 0.005 * over_time, rel=1e-3)
    assert found.held_share == 0


def test_without_a_cam_all_lifts_are_usable_and_nothing_is_weighted_by_time() -> None:
    found = curve(straight(1.0, "a.csv"), cam=None)
    assert found.usable_lift_m == pytest.approx(0.010)
    assert (found.cam_weighted_flow_m3_s, found.cam_weighted_expanded_m3_s) == (None, None)
    assert found.held_share == 0


def test_the_peak_within_the_cams_lift_and_the_highest_beyond() -> None:
    falling = STRAIGHT | {LIFTS_M[3]: 0.15, LIFTS_M[8]: 0.30, LIFTS_M[9]: 0.16}
    found = curve(sheet(falling, "a.csv"), cam=replace(CAM, lift_m=0.0055))
    assert (found.peak_flow_m3_s, found.peak_lift_m) == pytest.approx((0.15, 0.004))
    assert (found.highest_flow_m3_s, found.highest_lift_m) == pytest.approx((0.30, 0.009))
    assert found.usable_lift_m == pytest.approx(0.0055)
    above = curve(straight(1.0, "a.csv", LIFTS_M[4:]), cam=replace(CAM, lift_m=0.003))
    assert (above.peak_flow_m3_s, above.peak_lift_m) == (None, None)
    assert above.highest_lift_m == pytest.approx(0.010)


def test_every_port_is_told_with_its_set_ups() -> None:
    sheets = [straight(1.0, "a.csv"), straight(1.0, "b.csv"), straight(0.8, "c.csv", LIFTS_M[:8], port="2")]
    found = curve(*sheets)
    assert (found.ports, found.n_setups) == (("1", "2"), 3)
    assert [(one.port, one.n_setups) for one in found.by_port] == [("1", 2), ("2", 1)]
    first, second = found.by_port
    assert isinstance(second, PortCurve)
    assert first.lift_m == pytest.approx(LIFTS_M)
    assert first.flow_m3_s == pytest.approx(list(STRAIGHT.values()))
    assert second.lift_m == pytest.approx(LIFTS_M[:8])
    assert second.flow_m3_s == pytest.approx([0.8 * STRAIGHT[lift] for lift in LIFTS_M[:8]])
    assert found.flow_m3_s == pytest.approx([0.9 * STRAIGHT[lift] for lift in LIFTS_M[:8]])


@pytest.mark.parametrize("index", [3, 9], ids=["in the middle", "at the top"])
def test_a_stopped_lift_is_shown_without_a_flow(index: int) -> None:
    gone = {lift: 0.0 if i == index else flow for i, (lift, flow) in enumerate(STRAIGHT.items())}
    found = curve(sheet(gone, "a.csv"), valves=Sides(Valve(0.040, 1), None))
    assert found.lift_m == pytest.approx(LIFTS_M)
    for name in (
        "flow_m3_s", "expanded_uncertainty_m3_s", "expanded_bench_m3_s", "discharge_coefficient",
        "flow_coefficient", "lift_to_diameter",
    ):  # fmt: skip
        assert [i for i, value in enumerate(getattr(found, name)) if value is None] == [index]
    left = [flow for i, flow in enumerate(STRAIGHT.values()) if i != index]
    assert [flow for flow in found.flow_m3_s if flow is not None] == pytest.approx(left)
    assert found.lift_to_diameter[0] == pytest.approx(0.001 / 0.040)


# --- coefficients


@pytest.mark.parametrize("side", ["intake", "exhaust"])
def test_coefficients_are_the_flow_over_area_and_isentropic_velocity(side) -> None:
    """Source: Heywood (1988), eq. C.8 with gamma = 1.4 (from memory), worked out here: air is drawn from
    the standard's 101325 Pa, or blown out into them."""
    made = job({"a": [straight(1.0, "a.csv", side=side)]}, valves=Sides(Valve(0.033, 2), Valve(0.033, 2)))
    found = flow_coefficients(made, side, made.valves[side], made.sheets)
    drop = made.reference_pressure_pa
    before = 101325.0 + (drop if side == "exhaust" else 0)
    ratio = 1 - drop / before
    bracket = ratio ** (2 / 1.4) - ratio ** (2.4 / 1.4)
    density = 1.2250 * before / 101325.0
    mass_flux = (2 * 1.4 / 0.4 * before * density * bracket) ** 0.5
    velocity = mass_flux / (density * 1.2250) ** 0.5
    assert found.velocity_m_s == pytest.approx(velocity, rel=1e-4)
    heads = 2 * pi / 4 * 0.033**2
    assert found.by_head == pytest.approx(1 / (heads * velocity), rel=1e-4)
    lifts = np.array([0.002, 0.008])
    assert found.by_curtain(lifts) == pytest.approx(1 / (2 * pi * 0.033 * lifts * velocity), rel=1e-4)
    assert found.lift_to_diameter(lifts) == pytest.approx(lifts / 0.033)


def test_without_a_valves_size_or_a_count_of_them_there_are_no_coefficients() -> None:
    made = job({"a": [straight(1.0, "a.csv")]})
    lifts = np.array([0.002, 0.008])
    apart = [replace(made.sheets[0], fixture=Setup(valves_open=count)) for count in (1, 2)]
    for found in (
        flow_coefficients(made, "intake", Valve(None, 2), made.sheets),
        flow_coefficients(made, "intake", Valve(0.033, 2), apart),
        FlowCoefficients(np.nan, 1, 100.0),
    ):
        assert np.isnan(found.by_head)
        assert np.isnan(found.by_curtain(lifts)).all()
        assert np.isnan(found.lift_to_diameter(lifts)).all()
        assert found.valves >= 1
    unscaled = curve(
        straight(1.0, "a.csv", air=replace(AIR, test_pressure_pa=None)), valves=Sides(Valve(0.033, 2), None)
    )
    assert not unscaled.at_reference
    assert set(unscaled.flow_coefficient) == set(unscaled.discharge_coefficient) == {None}
    assert unscaled.lift_to_diameter[1] == pytest.approx(0.002 / 0.033)


@pytest.mark.parametrize(
    ("stated", "whole", "count"),
    [
        ([None], None, 1),
        ([None], 2, 2),
        ([1], 2, 1),
        ([2, None], 2, 2),
        ([1, 1], 2, 1),
        ([1, None], 2, None),
        ([1, 2], 2, None),
        ([2, 1], None, None),
    ],
)
def test_how_many_valves_flowed(stated, whole, count) -> None:
    sheets = [straight(1.0, f"{n}.csv", fixture=Setup(valves_open=one)) for n, one in enumerate(stated)]
    assert valves_open(Valve(0.033, whole), sheets) == count


# --- what cannot tell stages apart


def with_effects(*relative) -> SimpleNamespace:
    """Return a curve of two lifts with given mean relative effects of inputs, uneven over lift."""
    flow, uneven = np.array([0.05, 0.1]), np.array([[0.5], [1.5]])
    return SimpleNamespace(flow_m3_s=flow, shared=flow[:, None] * uneven * np.array(relative))


@pytest.mark.parametrize(
    ("effects", "alike"),
    [
        ((0.015, 0.015), True),
        ((-0.015, -0.015), True),
        ((0.015, 0.0140), True),  # within a tenth
        ((0.0140, 0.015), True),
        ((-0.015, -0.0140), True),
        ((-0.0140, -0.015), True),
        ((0.015, 0.0130), False),
        ((0.0130, 0.015), False),
        ((-0.015, -0.0130), False),
        ((-0.0130, -0.015), False),
        ((0.015, -0.015), False),
        ((-0.015, 0.015), False),
        ((0.015, 0.0), False),
        ((0.0, -0.015), False),
        ((0.0, 0.0), True),
        ((0.015,), True),
        ((0.015, 0.0149, 0.0148), True),
        ((0.015, 0.0149, 0.0110), False),
    ],
)
def test_an_input_that_acts_alike_on_every_curve(effects, alike) -> None:
    others = [(0.02, -0.3)] * len(effects)  # two that are alike, and larger, beside it
    curves = [with_effects(one, *rest) for one, rest in zip(effects, others, strict=True)]
    assert common_inputs(curves).tolist() == [alike, True, True]


def test_a_mean_effect_is_relative_to_the_flow() -> None:
    """1 % of every flow is alike, whatever the flows are; 1 L/s at every lift is not."""
    small, large = np.array([0.05, 0.1]), np.array([0.1, 0.2])
    curves = [
        SimpleNamespace(flow_m3_s=flow, shared=np.stack([0.01 * flow, np.full(2, 0.001)], axis=1))
        for flow in (small, large)
    ]
    assert common_inputs(curves).tolist() == [True, False]


def test_a_target_with_no_stage_beside_it_leaves_out_all_that_is_shared() -> None:
    aim = replace(straight(1.0, "t.csv", side="exhaust"), role="target", stage="aim")
    made = job({"a": [straight(1.0, "a.csv")]}, target=Target("aim", (aim,)))
    found = worked_sides(made).exhaust.target.result
    for i, flow in enumerate(STRAIGHT.values()):
        assert found.expanded_bench_m3_s[i] == pytest.approx(Z * 0.005 * flow, rel=EASE)
        assert found.expanded_uncertainty_m3_s[i] == pytest.approx(Z * hypot(0.005, 0.015) * flow, rel=EASE)


def test_what_only_one_bench_has_tells_stages_apart() -> None:
    """Two benches with a calibration each: neither acts on both stages, so both stay in."""
    other = replace(BENCH, name="other")
    stages = {"a": [straight(1.0, "a.csv")], "b": [straight(1.1, "b.csv", bench="other")]}
    for stage in review(job(stages, benches=(BENCH, other))).stages:
        shown = stage.intake
        assert shown.expanded_bench_m3_s == pytest.approx(shown.expanded_uncertainty_m3_s, rel=EASE)
        assert shown.expanded_bench_m3_s[4] == pytest.approx(
            Z * hypot(0.005, 0.015) * shown.flow_m3_s[4], rel=EASE
        )


def test_what_is_no_number_is_none() -> None:
    values = np.array([1.0, np.nan, np.inf, -2.0])
    assert numbers(values) == (1.0, None, None, -2.0)
    assert numbers(values, np.array([True, True, True, False])) == (1.0, None, None, None)
