"""The review of jobs made in memory, against figures worked out by hand beside each check."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from core.ceiling import HORSEPOWER_W
from core.constants import CFM_M3_S, INCH_WATER_PA
from core.job import Air, Engine, Setup, Sides, Stage, Valve
from core.review import review
from tests.core.jobs import AIR, BENCH, CAM, LIFTS_M, job, noisy_sheets, sheet, truth

FLOWS = {lift: truth(lift) for lift in LIFTS_M}


def times(factor: float, lifts=LIFTS_M) -> dict[float, float]:
    return {lift: factor * truth(lift) for lift in lifts}


def codes(result) -> list[str]:
    return [finding.code for finding in result.findings]


def test_a_plain_gain_is_what_the_readings_say():
    result = review(job({"before": [sheet(FLOWS, "a.csv")], "after": [sheet(times(1.05), "b.csv")]}))
    gain = result.gain("after", "intake", "baseline")
    assert gain.gain_fraction == pytest.approx([0.05] * 10)
    assert gain.gain_m3_s == pytest.approx([0.05 * flow for flow in FLOWS.values()])
    # Assumed 0.5 % for each of two set-ups: 0.5 % * sqrt(2) * 1.05 and t = 1.96.
    assert gain.expanded_fraction == pytest.approx([0.005 * 2**0.5 * 1.05 * 1.95996] * 10, rel=1e-4)
    assert set(gain.verdict) == {"clear gain"}
    assert gain.cam_weighted.gain_fraction == pytest.approx(0.05)
    assert "assumed-repeatability" in codes(result)


def test_a_loss_is_a_loss_and_a_whisper_is_too_close():
    stages = {
        "a": [sheet(FLOWS, "a.csv")],
        "b": [sheet(times(0.95), "b.csv")],
        "c": [sheet(times(0.952), "c.csv")],
    }
    result = review(job(stages))
    assert result.gain("b", "intake", "previous").mean.verdict == "clear loss"
    assert result.gain("c", "intake", "previous").mean.verdict == "too close to call"
    assert result.gain("c", "intake", "baseline").mean.verdict == "clear loss"


def test_a_short_stage_shortens_only_its_own_comparisons():
    short = LIFTS_M[:6]
    stages = {
        "a": [sheet(FLOWS, "a.csv")],
        "b": [sheet(times(1.02, short), "b.csv")],
        "c": [sheet(times(1.05), "c.csv")],
    }
    result = review(job(stages))
    assert result.usable_lift_m.intake == pytest.approx(0.010)
    assert result.gain("b", "intake", "baseline").usable_lift_m == pytest.approx(0.006)
    assert result.gain("b", "intake", "baseline").cam_weighted is None
    assert result.gain("c", "intake", "previous").usable_lift_m == pytest.approx(0.006)
    assert result.gain("c", "intake", "baseline").usable_lift_m == pytest.approx(0.010)
    assert result.gain("c", "intake", "baseline").cam_weighted is not None
    assert "short-of-cam" in codes(result)


def test_readings_a_little_short_of_the_cam_are_held_and_said():
    lifts = (*LIFTS_M[:9], 0.0095)
    result = review(job({"a": [sheet(times(1, lifts), "a.csv")], "b": [sheet(times(1.05, lifts), "b.csv")]}))
    curve = result.stages[0].intake
    # Lift above 9.5 of 10 mm: (1 - x^2)^2 > 0.95, so |x| < sqrt(1 - sqrt(0.95)).
    assert curve.held_share == pytest.approx((1 - 0.95**0.5) ** 0.5, abs=2e-3)
    assert "held-above-readings" in codes(result)


def test_unlike_lifts_are_joined_and_interpolated_points_get_no_verdict():
    every, second = LIFTS_M, LIFTS_M[1::2]
    result = review(job({"a": [sheet(FLOWS, "a.csv")], "b": [sheet(times(1.05, second), "b.csv")]}))
    gain = result.gain("b", "intake", "baseline")
    assert gain.lift_m == pytest.approx(every)
    assert gain.interpolated == tuple(lift not in second for lift in every)
    assert [v is None for v in gain.verdict] == list(gain.interpolated)


def test_each_port_is_compared_with_itself():
    stages = {
        "a": [sheet(FLOWS, "a1.csv", port="1"), sheet(times(0.9), "a2.csv", port="2")],
        "b": [sheet(times(0.945), "b2.csv", port="2")],
    }
    result = review(job(stages))
    gain = result.gain("b", "intake", "baseline")
    assert gain.shared_ports == ("2",) and not gain.different_ports
    assert gain.gain_fraction == pytest.approx([0.05] * 10)
    assert result.stages[0].intake.flow_m3_s == pytest.approx([0.95 * flow for flow in FLOWS.values()])
    assert "shared-ports" in codes(result)


def test_different_ports_are_said_and_their_known_spread_counts():
    alone = {"a": [sheet(FLOWS, "a.csv", port="1")], "b": [sheet(times(1.03), "b.csv", port="2")]}
    unknown = review(job(alone)).gain("b", "intake", "baseline")
    assert unknown.different_ports and not unknown.port_spread_known
    spread = [sheet(times(f), f"c{p}.csv", port=p) for p, f in (("1", 1.0), ("3", 1.02), ("4", 0.98))]
    result = review(job(alone | {"c": spread}))
    known = result.gain("b", "intake", "baseline")
    assert known.port_spread_known
    # Three ports at 1, 1.02 and 0.98: standard deviation 2 %, two ports apart, t for 2 dof.
    assert known.mean.expanded_fraction > 2.9 * 0.02 * 2**0.5
    assert known.mean.verdict == "too close to call"
    assert "different-ports" in codes(result)


def test_an_unknown_set_up_is_said_and_a_different_one_allows_no_clear_verdict():
    silent = review(job({"a": [sheet(FLOWS, "a.csv")], "b": [sheet(times(1.1), "b.csv")]}))
    assert silent.gain("b", "intake", "baseline").same_setup is None
    fixture = Setup(0.086, "clay radius", None, None, "own", "in place")
    stages = {
        "a": [sheet(FLOWS, "a.csv", fixture=fixture)],
        "b": [sheet(times(1.1), "b.csv", fixture=replace(fixture, exhaust_exit="stub"))],
        "c": [sheet(times(1.2), "c.csv", fixture=replace(fixture, intake_entry="bare"))],
    }
    result = review(job(stages))
    same, other = result.gain("b", "intake", "previous"), result.gain("c", "intake", "previous")
    assert same.same_setup is True and same.mean.verdict == "clear gain"
    assert other.same_setup is False and other.setup_differences == ("intake entry",)
    assert {other.mean.verdict, other.cam_weighted.verdict, *other.verdict} == {"too close to call"}
    assert other.price_per_flow is None


def test_a_side_begins_with_the_first_stage_that_has_it():
    stages = {
        "a": [sheet(FLOWS, "a.csv")],
        "b": [sheet(FLOWS, "b.csv"), sheet(times(0.7), "be.csv", side="exhaust")],
        "c": [sheet(times(0.75), "ce.csv", side="exhaust")],
        "d": [sheet(times(1.1), "d.csv")],
    }
    result = review(job(stages))
    assert result.gain("c", "exhaust", "baseline").other == "b"
    assert result.gain("d", "intake", "previous").other == "b"
    assert result.stages[2].intake is None
    assert result.gain("b", "exhaust", "baseline") is None
    assert result.stages[1].exhaust_to_intake == pytest.approx([0.7] * 10)


def test_prices_add_up_from_the_other_stage_on():
    specs = (Stage("a", 0.0), Stage("b", 260.0), Stage("c", 480.0), Stage("d", None))
    stages = {name: [sheet(times(1 + 0.05 * i), f"{name}.csv")] for i, name in enumerate("abcd")}
    result = review(job(stages, stages=specs))
    gain = result.gain("c", "intake", "baseline")
    assert gain.price == 740.0
    assert gain.price_per_flow == pytest.approx(740 / gain.cam_weighted.gain_m3_s)
    assert result.gain("c", "intake", "previous").price == 480.0
    assert result.gain("d", "intake", "baseline").price is None


def test_no_price_for_each_unit_of_a_gain_that_is_not_clear():
    result = review(job({"a": [sheet(FLOWS, "a.csv")], "b": [sheet(times(1.002), "b.csv")]}))
    gain = result.gain("b", "intake", "baseline")
    assert gain.cam_weighted.verdict == "too close to call"
    assert gain.price == 100.0 and gain.price_per_flow is None


def test_sweeps_of_one_set_up_are_no_repeats():
    same = [sheet(times(f), f"a{f}.csv", setup="first") for f in (0.99, 1.01)]
    apart = [sheet(times(f), f"b{f}.csv") for f in (0.99, 1.01)]
    result = review(job({"a": same, "b": apart}))
    assert result.stages[0].intake.n_setups == 1
    assert result.stages[1].intake.n_setups == 2
    assert result.repeatability[0].setup_dof == 1
    assert result.stages[0].intake.flow_m3_s == pytest.approx(list(FLOWS.values()))


def test_repeats_that_agree_to_every_digit_prove_nothing():
    result = review(
        job({"a": [sheet(FLOWS, "a.csv"), sheet(FLOWS, "copy.csv")], "b": [sheet(times(1.004), "b.csv")]})
    )
    assert result.repeatability[0].assumed
    assert result.gain("b", "intake", "baseline").mean.verdict == "too close to call"


def test_an_impossible_reading_leaves_curves_and_gains_as_null():
    valve = Valve(0.033, 1, 0.006, 0.029, np.deg2rad(45), 0.0012)
    # 0.044 m3/s at 5 mm is about the most that this seat passes; ten times that is a slip.
    good = {lift: 0.3 * truth(lift) for lift in LIFTS_M}
    bad = good | {LIFTS_M[4]: good[LIFTS_M[4]] * 10}
    given = {"a": [sheet(good, "a.csv")], "b": [sheet(bad, "b.csv")]}
    result = review(job(given, valves=Sides(valve, None)))
    stop = next(f for f in result.findings if f.level == "stop")
    assert (stop.file, stop.line, stop.lift_m) == ("b.csv", 13, LIFTS_M[4])
    assert result.stages[1].intake.flow_m3_s[4] is None
    gain = result.gain("b", "intake", "baseline")
    assert gain.gain_m3_s[4] is None and gain.verdict[4] is None
    assert gain.gain_fraction[3] == pytest.approx(0.0, abs=1e-12)


def test_stages_that_change_their_valves_are_compared_per_valve_area_too():
    specs = (
        Stage("a"),
        Stage("b", valves=Sides(Valve(diameter_m=0.033 * 1.1**0.5), None)),
        Stage("c"),
    )
    stages = {name: [sheet(times(f), f"{name}.csv")] for name, f in (("a", 0.3), ("b", 0.33), ("c", 0.33))}
    result = review(job(stages, stages=specs, valves=Sides(Valve(0.033, 1), None)))
    # A tenth more flow through a tenth more valve area: nothing gained per area, also a stage later.
    assert result.gain("b", "intake", "baseline").coefficient_gain == pytest.approx([0] * 10, abs=1e-9)
    assert result.gain("c", "intake", "baseline").coefficient_gain == pytest.approx([0] * 10, abs=1e-9)


def test_coefficients_come_from_the_isentropic_velocity():
    # 103.0 m/s at 28 inH2O in ISO 2533 air: 140.39 cfm a square inch (check value of core.air).
    result = review(job({"a": [sheet(FLOWS, "a.csv")]}, valves=Sides(Valve(0.040, 2), None)))
    curve = result.stages[0].intake
    velocity = 140.39 * CFM_M3_S / 0.0254**2
    curtain = 2 * np.pi * 0.040 * np.array(LIFTS_M)
    assert curve.discharge_coefficient == pytest.approx(
        np.array(list(FLOWS.values())) / curtain / velocity, rel=1e-4
    )
    ratio = np.array(curve.flow_coefficient) / np.array(curve.discharge_coefficient)
    assert ratio == pytest.approx(4 * np.array(LIFTS_M) / 0.040)  # C_f = C_d 4 L / D


def test_without_a_test_pressure_nothing_is_scaled_and_nothing_is_clear_against_scaled_flows():
    silent = replace(AIR, test_pressure_pa=None)
    stages = {
        "a": [sheet(FLOWS, "a.csv", air=silent)],
        "b": [sheet(times(1.1), "b.csv", air=silent)],
        "c": [sheet(times(0.7), "c.csv", air=replace(AIR, test_pressure_pa=10 * INCH_WATER_PA))],
    }
    engine = Engine(cylinders=4)
    result = review(job(stages, engine=engine, valves=Sides(Valve(0.04, 1), None)))
    first = result.stages[0].intake
    assert first.flow_m3_s == pytest.approx(list(FLOWS.values()), rel=1e-6)
    assert not first.at_reference and set(first.flow_coefficient) == {None}
    assert result.gain("b", "intake", "previous").mean.verdict == "clear gain"
    assert result.gain("c", "intake", "previous").same_setup is False
    assert "no-test-pressure" in codes(result)
    assert [level.stage for level in result.ceiling] == ["c"]


def test_flow_at_10_inches_is_scaled_by_the_plain_root():
    low = replace(AIR, test_pressure_pa=10 * INCH_WATER_PA)
    bench = replace(BENCH, calibrated_at_pa=10 * INCH_WATER_PA)
    result = review(job({"a": [sheet(FLOWS, "a.csv", air=low)]}, benches=(bench,)))
    expected = [flow * 2.8**0.5 for flow in FLOWS.values()]
    assert result.stages[0].intake.flow_m3_s == pytest.approx(expected)
    # The rule's own doubt: 2.53 % from 10 inH2O (isentropic, drawn), rectangular.
    doubt = result.stages[0].intake.expanded_uncertainty_m3_s[-1] / expected[-1]
    assert doubt == pytest.approx(1.96 * np.hypot(np.hypot(0.015, 0.005), 0.0253 / 3**0.5), rel=0.02)


@pytest.mark.outside
def test_flow_ceiling_against_the_trades_rule():
    """0.43 hp a cfm at 10 inH2O (common practice, no source) is 0.257 at 28, inside the band."""
    engine = Engine(cylinders=8)
    flow = 300 * CFM_M3_S
    flows = {0.005: 0.8 * flow, 0.010: flow}
    level = review(job({"a": [sheet(flows, "a.csv")]}, engine=engine)).ceiling[0]
    trade = 0.43 / 2.8**0.5 * 300 * 8 * HORSEPOWER_W
    assert level.low_w < trade < level.high_w
    assert level.low_w == pytest.approx(0.188 * 2400 * HORSEPOWER_W)
    assert level.mid_w == pytest.approx(0.237 * 2400 * HORSEPOWER_W)


@pytest.mark.parametrize(
    ("engine", "why"),
    [
        (None, "no [engine]"),
        (Engine(kind="two-stroke spark ignition", cylinders=1), "four-stroke"),
        (Engine(aspiration="supercharged", cylinders=4), "natural"),
        (Engine(), "cylinders"),
    ],
)
def test_no_ceiling_and_why(engine, why):
    result = review(job({"a": [sheet(FLOWS, "a.csv")]}, engine=engine))
    assert result.ceiling == ()
    reason = next(f for f in result.findings if f.code == "no-power")
    assert why in reason.values[0][0]


def test_one_open_valve_of_two_is_no_cylinder():
    valves = Sides(Valve(0.033, 2), None)
    one = [sheet(FLOWS, "a.csv", fixture=Setup(valves_open=1))]
    result = review(job({"a": one}, engine=Engine(cylinders=4), valves=valves))
    assert result.ceiling == ()
    both = review(job({"a": [sheet(FLOWS, "a.csv")]}, engine=Engine(cylinders=4), valves=valves))
    assert result.stages[0].intake.flow_coefficient[0] == pytest.approx(
        2 * both.stages[0].intake.flow_coefficient[0]
    )


def test_compression_follows_the_chamber():
    engine = Engine(cylinders=4, bore_m=0.086, stroke_m=0.086, compression_ratio=11.0)
    specs = (Stage("a", chamber_volume_m3=46e-6), Stage("b"), Stage("c", chamber_volume_m3=48e-6))
    stages = {name: [sheet(FLOWS, f"{name}.csv")] for name in "abc"}
    result = review(job(stages, stages=specs, engine=engine))
    swept = np.pi / 4 * 0.086**3
    after = (swept + swept / 10 + 2e-6) / (swept / 10 + 2e-6)  # 2 cc more than swept / 10
    assert [s.compression_ratio for s in result.stages] == pytest.approx([11.0, 11.0, after])
    assert [s.chamber_inherited for s in result.stages] == [False, True, False]
    assert "chamber-inherited" in codes(result)


def test_findings_come_gravest_first():
    result = review(job({"a": [sheet(FLOWS, "a.csv", air=Air())]}))
    levels = [finding.level for finding in result.findings]
    assert levels == sorted(levels, key=("stop", "look", "note").index)
    assert "no-test-pressure" in codes(result) and "assumed-barometer" in codes(result)


def test_peak_is_told_within_and_beyond_usable_lift():
    cam = replace(CAM, lift_m=0.008)
    result = review(job({"a": [sheet(FLOWS, "a.csv")]}, cams=Sides(cam, None)))
    curve = result.stages[0].intake
    assert (curve.peak_lift_m, curve.highest_lift_m) == pytest.approx((0.008, 0.010))
    assert curve.usable_lift_m == pytest.approx(0.008)


def test_noise_is_pooled_over_ports_and_stages():
    rng = np.random.default_rng(7)
    stages = {
        name: [s for p in "12" for s in noisy_sheets(rng, name + p, truth, 3, 0.004, 0.002, port=p)]
        for name in "ab"
    }
    found = review(job(stages)).repeatability[0]
    assert (found.setup_dof, found.sweep_dof) == (2 * 2 * 2, 2 * 2 * 2 * 9)
    # sqrt(0.4 %^2 + 0.2 %^2) = 0.45 %; eight degrees of freedom leave a quarter of doubt each way.
    assert found.relative == pytest.approx(0.0045, rel=0.5)
