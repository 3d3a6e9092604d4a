"""Gaps to the target: figures worked out by hand, a simulation, and what a target leaves open."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from core.job import Bench, BenchSheet, CamLobe, Setup, Sides, Target, Valve
from core.numbers import numbers_json
from core.results import Gap, Review
from core.review import review
from tests.core.jobs import BENCH, CAM, PRESSURE_PA, job, noisy_sheets, sheet, truth

NINE_M = tuple(n * 1e-3 for n in range(1, 10))
PER_M = 20.0  # a straight flow curve: 20 L/s each mm
OWN, LARGER = Valve(diameter_m=0.030), Valve(diameter_m=0.033)
Z = 1.959964  # of a normal distribution at 95 % (any table of it)


def straight(factor: float, lifts_m=NINE_M) -> dict[float, float]:
    return {lift: factor * PER_M * lift for lift in lifts_m}


def target_of(*sheets: BenchSheet, valve: Valve | None = LARGER, **more: object) -> Target:
    marked = tuple(replace(one, role="target", stage="aim") for one in sheets)
    return Target("aim", marked, Sides(valve, None), **more)


def reviewed(stages, target: Target | None, **more: object) -> Review:
    given: dict[str, object] = {"valves": Sides(OWN, None), "cams": Sides(None, None)}
    return review(job(stages, target=target, **(given | more)))


def straight_review(factor: float = 0.9, **more: object) -> Review:
    """Return one stage of a factor of the target's flow at every lift, on one bench, no cam."""
    target = target_of(sheet(straight(1.0), "t.csv"))
    return reviewed({"work": [sheet(straight(factor), "a.csv")]}, target, **more)


def gap_of(result: Review) -> Gap:
    return result.target.last("intake")


def codes(result: Review) -> set[str]:
    return {finding.code for finding in result.findings}


# --- by hand ---------------------------------------------------------------------------


def test_the_share_reached_and_its_uncertainty():
    reached = gap_of(straight_review()).reached
    assert reached.fraction == pytest.approx(0.9)
    assert reached.weighting == "mean over lift"
    # Both swept once, each re-set-up 0.5 %: a ratio of 0.9 is uncertain by 0.9 * 0.5 % * sqrt(2);
    # the calibration is the same for both and cancels.
    assert reached.expanded_fraction == pytest.approx(0.9 * 0.005 * math.sqrt(2) * Z, rel=1e-3)


def test_thirds_of_the_lift_in_use():
    low, middle, high = gap_of(straight_review()).thirds
    assert [(t.from_m, t.to_m) for t in (low, middle, high)] == [
        (0.0, pytest.approx(0.003)),
        (pytest.approx(0.003), pytest.approx(0.006)),
        (pytest.approx(0.006), pytest.approx(0.009)),
    ]
    # The target's mean over each third is its flow at the middle of it: 30, 90 and 150 L/s.
    assert [t.gap_m3_s for t in (low, middle, high)] == pytest.approx([-0.003, -0.009, -0.015])
    assert [t.gap_fraction for t in (low, middle, high)] == pytest.approx([-0.1] * 3)
    assert [t.share_of_missing for t in (low, middle, high)] == pytest.approx([1 / 9, 3 / 9, 5 / 9])
    assert {t.verdict for t in (low, middle, high)} == {"clear loss"}
    # 0.5 % of both means, each on its own, and 1.5 % of the calibration on what is left of them.
    for third, flow in zip((low, middle, high), (0.030, 0.090, 0.150), strict=True):
        by_setups = 0.005 * math.hypot(0.9 * flow, flow)
        by_calibration = 0.015 * 0.1 * flow
        expected = Z * math.hypot(by_setups, by_calibration)
        assert third.expanded_m3_s == pytest.approx(expected, rel=1e-3)


def test_the_coefficients_take_the_size_of_the_valves_out():
    gap = gap_of(straight_review())
    # Isentropic velocity at 28 inH2O in ISO 2533 air, worked out here from the formula itself:
    # Heywood (1988), eq. C.8 with gamma = 1.4.
    ratio = 1 - PRESSURE_PA / 101325.0
    bracket = ratio ** (2 / 1.4) - ratio ** (2.4 / 1.4)
    velocity = math.sqrt(2 * 1.4 / 0.4 * 101325.0 / 1.2250 * bracket)
    own, theirs = (math.pi / 4 * d**2 for d in (0.030, 0.033))
    for i, lift in enumerate(NINE_M):
        flow = PER_M * lift
        head = (0.9 * flow / own - flow / theirs) / velocity
        curtain = (0.9 * flow / 0.030 - flow / 0.033) / (math.pi * lift * velocity)
        assert gap.gain.coefficient_gain[i] == pytest.approx(head, rel=1e-6)
        assert gap.discharge_coefficient_gap[i] == pytest.approx(curtain, rel=1e-6)
        by_setups = 0.005 * math.hypot(0.9 * flow / own, flow / theirs) / velocity
        assert gap.flow_coefficient_expanded[i] == pytest.approx(
            Z * math.hypot(by_setups, 0.015 * head), rel=1e-3
        )
    # In coefficient the share is that of the flow times the ratio of the areas.
    assert gap.reached_coefficient.fraction == pytest.approx(0.9 * 0.033**2 / 0.030**2)
    assert gap.thirds[1].coefficient_fraction == pytest.approx(0.9 * 1.21 - 1)


def isentropic_velocity() -> float:
    """Return that of air drawn at 28 inH2O: Heywood (1988), eq. C.8 with gamma = 1.4 (from memory)."""
    ratio = 1 - PRESSURE_PA / 101325.0
    return math.sqrt(2 * 1.4 / 0.4 * 101325.0 / 1.2250 * (ratio ** (2 / 1.4) - ratio ** (2.4 / 1.4)))


def test_every_figure_against_the_target_has_its_own_uncertainty():
    """By hand, for 90 % of the target's flow at valves of 30 and 33 mm: of ratios only the two set-ups of
    0.5 % count; in differences the calibration of 1.5 % is left of what is left of them."""
    gap = gap_of(straight_review())
    velocity, head = isentropic_velocity(), [math.pi / 4 * d**2 for d in (0.030, 0.033)]
    of_ratio = Z * 0.9 * 0.005 * math.sqrt(2)

    def differs(after: float, before: float) -> tuple[float, float]:
        by_setups = 0.005 * math.hypot(after, before)
        return after - before, Z * math.hypot(by_setups, 0.015 * (after - before))

    for i, lift in enumerate(NINE_M):
        flow, curtain = PER_M * lift / velocity, [math.pi * d * lift for d in (0.030, 0.033)]
        expected = differs(0.9 * flow / curtain[0], flow / curtain[1])
        found = gap.discharge_coefficient_gap[i], gap.discharge_coefficient_expanded[i]
        assert found == pytest.approx(expected, rel=1e-3)
    for third, flow in zip(gap.thirds, (0.030, 0.090, 0.150), strict=True):
        expected = differs(0.9 * flow / velocity / head[0], flow / velocity / head[1])
        found = third.flow_coefficient_gap, third.flow_coefficient_expanded
        assert found == pytest.approx(expected, rel=1e-3)
        assert third.expanded_fraction == pytest.approx(of_ratio, rel=1e-3)
        assert third.coefficient_expanded_fraction == pytest.approx(of_ratio * 1.21, rel=1e-3)
    assert gap.reached_coefficient.expanded_fraction == pytest.approx(of_ratio * 1.21, rel=1e-3)
    assert gap.reached_coefficient.weighting == gap.reached.weighting == "mean over lift"
    for one in gap.to_find:
        assert one.flow_m3_s == pytest.approx(0.1 * PER_M * one.lift_m)
        assert one.expanded_m3_s == pytest.approx(
            differs(0.9 * PER_M * one.lift_m, PER_M * one.lift_m)[1], rel=1e-3
        )
    assert len(gap.to_find) == 9


def test_with_a_cam_the_share_reached_is_weighted_by_it():
    ten = tuple(n * 1e-3 for n in range(1, 11))
    stages = {"work": [sheet(straight(0.9, ten), "a.csv")]}
    result = reviewed(stages, target_of(sheet(straight(1.0, ten), "t.csv")), cams=Sides(CAM, None))
    gap = gap_of(result)
    assert gap.reached.weighting == gap.reached_coefficient.weighting == "cam-weighted"
    assert gap.reached.fraction == pytest.approx(0.9)
    assert (result.target.diameter_m.intake, result.target.valves.intake) == (0.033, 1)
    assert (result.target.diameter_m.exhaust, result.target.valves.exhaust) == (None, None)


def test_where_nothing_is_clearly_missing_no_third_has_a_share_of_it():
    thirds = gap_of(straight_review(0.999)).thirds
    assert {third.verdict for third in thirds} == {"too close to call"}
    assert {third.share_of_missing for third in thirds} == {None}


def test_a_reading_that_is_stopped_has_no_gap_in_any_form():
    flows = straight(0.9) | {0.005: 0.0}
    gap = gap_of(reviewed({"work": [sheet(flows, "a.csv")]}, target_of(sheet(straight(1.0), "t.csv"))))
    for values in (
        gap.gain.gain_m3_s,
        gap.gain.coefficient_gain,
        gap.flow_coefficient_expanded,
        gap.discharge_coefficient_gap,
        gap.discharge_coefficient_expanded,
    ):
        assert [value is None for value in values] == [lift == 0.005 for lift in gap.gain.lift_m]


def test_a_larger_valve_does_not_hide_a_worse_port():
    result = straight_review(1.02, valves=Sides(Valve(diameter_m=0.036), None))
    gap = gap_of(result)
    assert gap.gain.summary.verdict == "clear gain"
    assert gap.reached.fraction == pytest.approx(1.02)
    assert gap.reached_coefficient.fraction == pytest.approx(1.02 * (33 / 36) ** 2)
    assert gap.reached_coefficient.fraction + gap.reached_coefficient.expanded_fraction < 1


def test_what_to_find_is_in_use_and_the_most_first():
    flows = straight(1.0) | {0.004: 0.93 * PER_M * 0.004, 0.008: 0.9 * PER_M * 0.008}
    result = reviewed(
        {"work": [sheet(flows, "a.csv")]},
        target_of(sheet(straight(1.0), "t.csv")),
        cams=Sides(CamLobe(lift_m=0.0075), None),
    )
    # 7 % of 80 L/s at 4 mm; 10 % at 8 mm is above the cam's 7.5 mm.
    (only,) = gap_of(result).to_find
    assert only.lift_m == 0.004
    assert only.flow_m3_s == pytest.approx(0.07 * 0.080)
    gap = gap_of(straight_review())
    assert [one.lift_m for one in gap.to_find] == pytest.approx(list(reversed(NINE_M)))
    assert gap.to_find[0].flow_m3_s == pytest.approx(0.1 * PER_M * 0.009)


def test_level_with_the_target_nothing_is_missing():
    gap = gap_of(straight_review(1.0))
    assert gap.to_find == ()
    assert {third.share_of_missing for third in gap.thirds} == {None}
    assert {third.verdict for third in gap.thirds} == {"too close to call"}


# --- one propagation -------------------------------------------------------------------


def test_the_gap_is_the_gain_against_the_target():
    result = straight_review()
    gain = result.gain("work", "intake", "target")
    gap = gap_of(result)
    assert gap.gain is gain
    assert gap.reached.expanded_fraction == gain.summary.expanded_fraction
    assert gap.reached.fraction == 1 + gain.summary.gain_fraction


def test_every_stage_has_its_gap():
    stages = {name: [sheet(straight(f), f"{name}.csv")] for name, f in (("a", 0.8), ("b", 0.85), ("c", 0.9))}
    result = reviewed(stages, target_of(sheet(straight(1.0), "t.csv")))
    shares = [result.target.gap(name, "intake").reached.fraction for name in stages]
    assert shares == pytest.approx([0.8, 0.85, 0.9])
    assert result.target.first("intake").stage == "a"
    assert result.target.last("intake").stage == "c"
    assert result.target.last("exhaust") is None


def coverage(truth_of: Callable[[Review], tuple[float, float, float]], runs: int) -> float:
    """Return the share of simulated jobs whose interval holds the truth: (value, half-width, truth)."""
    rng, held = np.random.default_rng(11), 0
    for _ in range(runs):
        stages = {"work": noisy_sheets(rng, "a", lambda lift: 0.93 * truth(lift), 3, of_sweep=0.003)}
        target = target_of(*noisy_sheets(rng, "t", truth, 3, of_sweep=0.003))
        value, half, true = truth_of(reviewed(stages, target, cams=Sides(CAM, None)))
        held += abs(value - true) <= half
    return held / runs


def middle_mean(factor: float) -> float:
    """Return the true mean over the middle third of 10 mm, by its own sum."""
    at = np.linspace(10 / 3, 20 / 3, 20001) * 1e-3
    return factor * float(np.mean(truth(at)))


@pytest.mark.slow
@pytest.mark.parametrize("what", ["reached", "middle third"])
def test_the_interval_covers_the_truth_as_often_as_it_says(what: str):
    # An independent check by simulation: noise of known size, the truth known. Of 500 runs at 95 %
    # three standard deviations of a binomial count are 2.9 points.
    def reached(result: Review) -> tuple[float, float, float]:
        one = gap_of(result).reached
        return one.fraction, one.expanded_fraction, 0.93

    def middle(result: Review) -> tuple[float, float, float]:
        third = gap_of(result).thirds[1]
        return third.gap_m3_s, third.expanded_m3_s, middle_mean(0.93) - middle_mean(1.0)

    share = coverage(reached if what == "reached" else middle, 500)
    assert 0.95 - 0.029 <= share <= 0.95 + 0.029


# --- what a target leaves open ---------------------------------------------------------


def test_another_bench_is_in_the_uncertainty():
    other = Bench(**{**vars(BENCH), "name": "elsewhere"})
    there = sheet(straight(1.0), "t.csv", bench="elsewhere")
    result = reviewed(
        {"work": [sheet(straight(0.9), "a.csv")]}, target_of(there, benches=(other,)), benches=(BENCH,)
    )
    # Now neither calibration cancels: 1.5 % and 0.5 % on either side of the ratio.
    expected = 0.9 * math.sqrt(2 * 0.005**2 + 2 * 0.015**2) * Z
    assert gap_of(result).reached.expanded_fraction == pytest.approx(expected, rel=1e-3)
    assert result.target.own_bench
    assert "target-other-bench" in codes(result)
    assert "target-other-bench" not in codes(straight_review())


def test_ports_that_differ_do_not_blur_the_gap():
    two = [
        sheet(straight(0.9), "a.csv"),
        sheet(straight(0.9 * 1.03), "b.csv", port="2"),
    ]
    result = reviewed({"work": two}, target_of(sheet(straight(1.0), "t.csv")))
    # The mean of two set-ups against one: the ports read are compared, not those that were not.
    expected = 0.9 * 1.015 * 0.005 * math.sqrt(1 + 0.5) * Z
    assert gap_of(result).reached.expanded_fraction == pytest.approx(expected, rel=1e-2)


def test_a_target_without_valves_or_exhaust_says_so():
    target = target_of(sheet(straight(1.0), "t.csv"), valve=None)
    stages = {
        "work": [
            sheet(straight(0.9), "a.csv"),
            sheet(straight(0.7), "x.csv", side="exhaust"),
        ]
    }
    result = reviewed(stages, target)
    gap = gap_of(result)
    assert gap.reached_coefficient is None
    assert set(gap.flow_coefficient_expanded) == set(gap.discharge_coefficient_gap) == {None}
    assert {third.coefficient_fraction for third in gap.thirds} == {None}
    assert {"target-without-valve", "target-without-side"} <= codes(result)
    assert result.target.curves.exhaust is None


def test_a_target_that_ends_early_says_so_and_shortens_its_own_comparison_only():
    target = target_of(sheet(straight(1.0, NINE_M[:6]), "t.csv"))
    result = reviewed({"work": [sheet(straight(0.9), "a.csv")]}, target)
    assert gap_of(result).gain.usable_lift_m == 0.006
    assert gap_of(result).thirds[-1].to_m == pytest.approx(0.006)
    assert result.usable_lift_m.intake == 0.009
    assert "target-short" in codes(result)


def test_another_setup_calls_nothing():
    there = sheet(straight(1.0), "t.csv", fixture=Setup(bore_m=0.080))
    here = sheet(straight(0.9), "a.csv", fixture=Setup(bore_m=0.086))
    gap = gap_of(reviewed({"work": [here]}, target_of(there)))
    assert gap.gain.same_setup is False
    assert gap.to_find == ()
    assert {third.verdict for third in gap.thirds} == {"too close to call"}


def test_a_flow_at_no_known_pressure_has_no_coefficient():
    def unscaled(flows: dict[float, float], file: str) -> BenchSheet:
        one = sheet(flows, file)
        return replace(one, air=replace(one.air, test_pressure_pa=None))

    stages = {"work": [unscaled(straight(0.9), "a.csv")]}
    gap = gap_of(reviewed(stages, target_of(unscaled(straight(1.0), "t.csv"))))
    assert gap.reached.fraction == pytest.approx(0.9)
    assert gap.reached_coefficient is None
    assert set(gap.gain.coefficient_gain) == {None}


def test_a_stopped_reading_has_no_gap():
    rng = np.random.default_rng(3)
    work = noisy_sheets(rng, "a", lambda lift: 0.9 * truth(lift), 3, of_sweep=0.002)
    slipped = [
        replace(
            one,
            readings=Sides(
                tuple(r._replace(flow_m3_s=10 * r.flow_m3_s) if r.lift_m == 0.005 else r for r in rows), ()
            ),
        )
        for one in work
        for rows in [one.readings.intake]
    ]
    aim = noisy_sheets(rng, "t", truth, 3, of_sweep=0.002)
    result = reviewed({"work": [slipped[0], *work[1:]]}, target_of(*aim))
    gap = gap_of(result)
    assert "decimal-slip" in codes(result)
    at = gap.gain.lift_m.index(0.005)
    assert gap.gain.gain_m3_s[at] is None
    assert gap.flow_coefficient_expanded[at] is None
    assert 0.005 not in {one.lift_m for one in gap.to_find}
    assert gap.reached.fraction == pytest.approx(0.9, abs=0.005)


def test_numbers_hold_the_target():
    numbers = json.loads(numbers_json(straight_review()))["target"]
    assert numbers["name"] == "aim"
    assert numbers["intake"]["valve_diameter_m"] == 0.033
    assert numbers["exhaust"]["curve"] is None
    (gap,) = numbers["gaps"]
    assert gap["reached"]["fraction"] == pytest.approx(0.9)
    n = len(gap["lift_m"])
    for key in ("gap_m3_s", "verdict", "flow_coefficient_gap", "flow_coefficient_expanded"):
        assert len(gap[key]) == n
    assert [third["part"] for third in gap["thirds"]] == ["low", "middle", "high"]
    without = json.loads(numbers_json(reviewed({"work": [sheet(straight(0.9), "a.csv")]}, None)))
    assert without["target"] is None


def test_all_valves_open_is_one_setup_however_it_is_said():
    # Two of two, and a card that does not say: all of them on both.
    said = sheet(straight(0.9), "a.csv", fixture=Setup(valves_open=2))
    pair = Valve(diameter_m=0.030, valves_per_cylinder=2)
    target = target_of(sheet(straight(1.0), "t.csv"), valve=replace(pair, diameter_m=0.031))
    gap = gap_of(reviewed({"work": [said]}, target, valves=Sides(pair, None)))
    assert "valves open" not in gap.gain.setup_differences
    one_of_two = replace(said, fixture=Setup(valves_open=1))
    gap = gap_of(reviewed({"work": [one_of_two]}, target, valves=Sides(pair, None)))
    assert gap.gain.setup_differences == ("valves open",)
    assert gap.gain.same_setup is False


def test_what_is_said_of_repeats_names_the_bench_where_there_are_several():
    other = Bench(**{**vars(BENCH), "name": "elsewhere"})
    there = sheet(straight(1.0), "t.csv", bench="elsewhere")
    target = target_of(there, benches=(other,))
    result = reviewed({"work": [sheet(straight(0.9), "a.csv")]}, target, benches=(BENCH,))
    found = [f for f in result.findings if f.code == "assumed-repeatability"]
    assert [f.values[0][0] for f in found] == ["intake on bench", "intake on elsewhere"]
