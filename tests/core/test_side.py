"""One side of a job from readings to gains: what goes where, against figures worked out by hand."""

from __future__ import annotations

from dataclasses import replace
from math import sqrt

import numpy as np
import pytest

from core import units
from core.job import (
    Bench,
    BenchSheet,
    Certificate,
    Finding,
    Job,
    Reading,
    Setup,
    Sides,
    Stage,
    Target,
    Valve,
)
from core.results import Gain, Review
from core.review import review, worked_sides
from core.side import SideWork
from core.trail import trail
from tests.core.jobs import AIR, BENCH, CAM, LIFTS_M, PRESSURE_PA, job, noisy_sheets, sheet, truth

FLOWS = {lift: truth(lift) for lift in LIFTS_M}
SIDES = pytest.mark.parametrize("side", ["intake", "exhaust"])


def times(factor: float, lifts=LIFTS_M) -> dict[float, float]:
    return {lift: factor * truth(lift) for lift in lifts}


def pair(intake_m3_s: float, exhaust_m3_s: float) -> Sides:
    """Return one reading without a lift on each side."""
    return Sides(*((Reading(0.0, 12, flow_m3_s=flow),) for flow in (intake_m3_s, exhaust_m3_s)))


def plates(intake_m3_s: float, exhaust_m3_s: float, bench: str = "bench") -> tuple[BenchSheet, ...]:
    """Return a plate of 0.1 m3/s on each side, with what it read there."""
    read = pair(intake_m3_s, exhaust_m3_s)
    return tuple(
        BenchSheet(
            f"{bench} {side} plate.csv",
            Sides(read.intake, ()) if side == "intake" else Sides((), read.exhaust),
            role="calibration",
            air=AIR,
            bench=bench,
            certificate=Certificate(side, 0.1, PRESSURE_PA, "ISO 2533", 0.004),
        )
        for side in ("intake", "exhaust")
    )


def leak(intake_m3_s: float, exhaust_m3_s: float, bench: str = "bench") -> BenchSheet:
    return BenchSheet(f"{bench} leak.csv", pair(intake_m3_s, exhaust_m3_s), role="leak", air=AIR, bench=bench)


def both_sides(stage: str, factor: float = 1.0) -> list[BenchSheet]:
    return [sheet(times(factor), f"{stage}-{side}.csv", side=side) for side in ("intake", "exhaust")]


def with_checks(stages, *checks: BenchSheet, **more: object) -> Job:
    made = job(stages, **more)
    return replace(made, sheets=(*made.sheets, *checks))


def aim(*checks: BenchSheet, benches: tuple[Bench, ...] = (), bench: str = "bench") -> Target:
    sheets = tuple(replace(one, role="target", stage="aim", bench=bench) for one in both_sides("aim"))
    return Target("aim", sheets, benches=benches, checks=checks)


# --- each side, and each bench, by its own plates and leaks


@SIDES
def test_each_side_has_its_own_plate_and_leak(side) -> None:
    """By hand: (reading - leak) times certified over read; the leak is at the readings' own drop."""
    work = worked_sides(with_checks({"a": both_sides("a")}, *plates(0.098, 0.103), leak(0.001, 0.003)))
    plate_read, leaked = (0.098, 0.001) if side == "intake" else (0.103, 0.003)
    expected = [(flow - leaked) * 0.1 / plate_read for flow in FLOWS.values()]
    assert work[side].curves["a"].result.flow_m3_s == pytest.approx(expected, rel=1e-4)


@SIDES
def test_a_targets_own_bench_has_its_own_plate_and_leak(side) -> None:
    """The job's bench reads high by 2 and 3 %, the target's low by 4 and 5 %; only the target leaks."""
    there = replace(BENCH, name="theirs")
    own, checks = plates(0.102, 0.103), (*plates(0.096, 0.095, "theirs"), leak(0.001, 0.002, "theirs"))
    target = aim(*checks, benches=(there,), bench="theirs")
    work = worked_sides(with_checks({"a": both_sides("a")}, *own, target=target))[side]
    stage_read, aim_read, leaked = (0.102, 0.096, 0.001) if side == "intake" else (0.103, 0.095, 0.002)
    of_stage = [flow * 0.1 / stage_read for flow in FLOWS.values()]
    of_aim = [(flow - leaked) * 0.1 / aim_read for flow in FLOWS.values()]
    assert work.curves["a"].result.flow_m3_s == pytest.approx(of_stage, rel=1e-4)
    assert work.target.result.flow_m3_s == pytest.approx(of_aim, rel=1e-4)


@SIDES
def test_a_target_on_the_jobs_own_bench_goes_with_its_plate_and_leak(side) -> None:
    made = with_checks({"a": both_sides("a")}, *plates(0.098, 0.103), leak(0.001, 0.003), target=aim())
    work = worked_sides(made)[side]
    assert work.target.result.flow_m3_s == pytest.approx(work.curves["a"].result.flow_m3_s)


@SIDES
def test_what_is_noticed_of_a_side_names_that_side(side) -> None:
    unread = BenchSheet("off.csv", pair(0.0, 0.0), role="leak", air=AIR, bench="other")
    slipped = FLOWS | {LIFTS_M[4]: 10 * FLOWS[LIFTS_M[4]]}
    stages = {
        "a": [sheet(FLOWS, "a.csv", side=side), sheet(times(1.001), "a2.csv", side=side)],
        "b": [sheet(slipped, "b.csv", side=side)],
        "c": [sheet(times(10.0), "c.csv", side=side)],
    }
    found = worked_sides(with_checks(stages, *plates(np.nan, np.nan), unread))[side].findings
    slips = [one for one in found if one.code in ("decimal-slip", "unit-of-sheet")]
    assert {"check-unread", "decimal-slip", "unit-of-sheet"} <= {one.code for one in found}
    assert {one.side for one in found} == {side}
    assert [one.values[1] for one in slips] == [(side, "text")] * len(slips)


# --- what a finding stops


def noticed(work: SideWork, *places: tuple) -> list[list[bool]]:
    work.notice(
        [Finding(level, "test", "", file=file, line=line, lift_m=lift) for level, file, line, lift in places]
    )
    return [sound.tolist() for sound in work.sound]


def test_a_finding_takes_out_a_reading_or_a_sheet_and_leaves_the_rest() -> None:
    stages = {"a": [sheet(FLOWS, "a.csv"), sheet(times(1.001), "b.csv")], "b": [sheet(times(1.05), "c.csv")]}
    work = SideWork(job(stages), "intake")
    sound = np.ones(30, dtype=bool)
    assert noticed(work) == [sound.tolist()]
    assert noticed(work, ("look", "a.csv", None, None), ("note", "b.csv", 12, LIFTS_M[3])) == [sound.tolist()]
    sound[13] = False
    assert noticed(work, ("stop", "b.csv", 12, LIFTS_M[3])) == [sound.tolist()]
    # What was taken out before stays out.
    sound[15] = False
    assert noticed(work, ("stop", "b.csv", 14, LIFTS_M[5])) == [sound.tolist()]
    # The readings of a list stand on one line: one of another lift there is another reading.
    assert noticed(work, ("stop", "a.csv", 9, 0.5), ("stop", "a.csv", 99, LIFTS_M[0])) == [sound.tolist()]
    sound[20:] = False
    assert noticed(work, ("stop", "c.csv", None, None)) == [sound.tolist()]
    assert len(work.findings) == len(SideWork(job(stages), "intake").findings) + 7
    assert list(work.curves) == ["a"]


def test_a_stopped_reading_in_thirty_seconds_of_an_inch_leaves_its_lift() -> None:
    """3/32 in lies half-way between two tenths of a micrometre; its lift is one, and goes as a whole."""
    lifts = [units.parse(f"{n}/32 in", "lift") for n in range(1, 13)]
    gone = {lift: 0.0 if n == 2 else truth(lift) for n, lift in enumerate(lifts)}
    made = job({"a": [sheet(gone, "a.csv"), sheet(times(1, lifts), "b.csv")]})
    result = review(made)
    assert [flow is None for flow in result.stages[0].intake.flow_m3_s] == [n == 2 for n in range(12)]
    assert [(f.file, f.lift_m) for f in result.findings if f.code == "no-flow"] == [("a.csv", lifts[2])]


@SIDES
def test_a_stopped_lift_has_no_ratio_of_exhaust_to_intake_either(side) -> None:
    gone = {lift: 0.0 if i == 4 else flow for i, (lift, flow) in enumerate(FLOWS.items())}
    sheets = [*both_sides("a"), sheet(gone, "gone.csv", side=side)]
    (found,) = review(job({"a": sheets})).stages
    left = [*LIFTS_M[:4], *LIFTS_M[5:]]
    assert found.ratio_lift_m == pytest.approx(left)
    assert found.exhaust_to_intake == pytest.approx([1.0] * 9)


# --- repeatability


def test_the_repeatability_that_is_told_is_the_deviation_of_a_single_reading() -> None:
    """Source: the sample variance of repeats at each lift, relative to their mean, averaged over lifts."""
    sheets = noisy_sheets(np.random.default_rng(3), "a", truth, 4, 0.006, 0.003)
    (found,) = review(job({"a": sheets})).repeatability
    flows = np.array([[reading.flow_m3_s for reading in one.readings.intake] for one in sheets])
    expected = np.sqrt(np.mean(np.var(flows / flows.mean(axis=0), axis=0, ddof=1)))
    assert (found.bench, found.side, found.assumed) == ("bench", "intake", False)
    assert found.relative == pytest.approx(expected, rel=1e-6)
    (assumed,) = review(job({"a": sheets[:1]}, benches=(replace(BENCH, repeatability=0.007),))).repeatability
    assert (assumed.assumed, assumed.relative) == (True, 0.007)


def test_how_far_ports_differ_is_pooled_over_stages() -> None:
    """By hand: ports at 1 and 1.02 of 1.01, squares of 1/101 twice, one degree of freedom; ports at 1, 1.02
    and 0.98, squares of 2 % twice, two degrees. The head's ports are those of the stage with most."""
    two = [sheet(times(f), f"a{p}.csv", port=p) for p, f in (("1", 1.0), ("2", 1.02))]
    three = [sheet(times(f), f"b{p}.csv", port=p) for p, f in (("1", 1.0), ("3", 1.02), ("4", 0.98))]
    alone = [sheet(times(1.2), "c.csv", port="1")]
    apart = [sheet(times(1, LIFTS_M[n::2]), f"{n}.csv", port=str(n)) for n in (0, 1)]
    # Neither a lone port, nor ports without a lift in common, nor those of another head tell of it.
    unlike = [
        replace(one, role="target", stage="aim") for one in (two[0], sheet(times(1.5), "t.csv", port="9"))
    ]
    stages = {"first": alone, "odd": apart, "a": two, "b": three, "c": alone}
    work = worked_sides(job(stages, target=Target("aim", tuple(unlike)))).intake
    squares = 2 / 101**2 + 2 * 0.02**2
    assert work.port_spread.relative == pytest.approx(sqrt(squares / 3))
    assert work.port_spread.dof == 2
    assert worked_sides(job({"c": alone})).intake.port_spread is None
    assert worked_sides(job({"a": apart})).intake.port_spread is None


def test_a_port_that_was_read_on_two_benches_is_one_port() -> None:
    """By hand: port 1 at 1 and 0.9 on two benches is at 0.95; with port 2 at 1.05 the stage is at 1."""
    benches = (BENCH, replace(BENCH, name="other"))
    first = [sheet(FLOWS, "1.csv"), sheet(times(0.9), "1 there.csv", bench="other")]
    made = job({"a": [*first, sheet(times(1.05), "2.csv", port="2")], "b": first}, benches=benches)
    work = worked_sides(made).intake
    found = work.curves["a"].result
    assert (found.ports, found.n_setups) == (("1", "2"), 3)
    assert found.flow_m3_s == pytest.approx(list(FLOWS.values()))
    assert work.port_spread.relative == pytest.approx(0.05 * sqrt(2))
    assert work.port_spread.dof == 1
    assert work.curves["b"].result.flow_m3_s == pytest.approx(list(times(0.95).values()))
    (against,) = [one for one in work.gains() if one.against == "baseline"]
    assert against.shared_ports == ("1",)
    assert against.gain_fraction == pytest.approx([0.0] * 10, abs=1e-12)
    assert trail(made, "a", "intake", 0.004).flow_m3_s == pytest.approx(truth(0.004))


def test_a_set_up_that_stops_short_leaves_the_others_their_lifts() -> None:
    """By hand: the mean of both up to 6 mm, and above it the one that was read."""
    sheets = [sheet(FLOWS, "whole.csv"), sheet(times(1.02, LIFTS_M[:6]), "short.csv")]
    found = review(job({"a": sheets})).stages[0].intake
    expected = [1.01 * FLOWS[lift] for lift in LIFTS_M[:6]] + [FLOWS[lift] for lift in LIFTS_M[6:]]
    assert found.flow_m3_s == pytest.approx(expected)


# --- gains


def gain(measured, **more: object) -> Gain:
    return review(job(measured, **more)).gain("b", "intake", "baseline")


BLANKED = (
    "before_m3_s", "after_m3_s", "gain_m3_s", "gain_fraction", "expanded_uncertainty_m3_s",
    "expanded_fraction", "verdict", "coefficient_gain",
)  # fmt: skip


@pytest.mark.parametrize("stopped", ["a", "b"])
@pytest.mark.parametrize("index", [4, 9], ids=["in the middle", "at the top"])
def test_a_stopped_lift_of_either_stage_is_blank_in_every_column(stopped: str, index: int) -> None:
    def flows(name: str, factor: float) -> dict[float, float]:
        gone = LIFTS_M[index] if name == stopped else None
        return {lift: 0.0 if lift == gone else factor * 0.3 * truth(lift) for lift in LIFTS_M}

    # A second sheet keeps the stage's curve at that lift.
    stages = {
        name: [sheet(flows(name, f), f"{name}.csv"), sheet(times(0.3 * f), f"{name}2.csv", setup="again")]
        for name, f in (("a", 1.0), ("b", 1.05))
    }
    found = gain(stages, valves=Sides(Valve(0.033, 1), None))
    assert found.lift_m == pytest.approx(LIFTS_M)
    for name in BLANKED:
        assert [i for i, value in enumerate(getattr(found, name)) if value is None] == [index], name
    left = [i for i in range(10) if i != index]
    before = [0.3 * FLOWS[LIFTS_M[i]] for i in left]
    assert [found.before_m3_s[i] for i in left] == pytest.approx(before)
    assert [found.after_m3_s[i] for i in left] == pytest.approx([1.05 * flow for flow in before])
    assert {found.verdict[i] for i in left} == {"clear gain"}
    assert found.at_peak_m3_s == found.gain_m3_s[left[-1]]


@pytest.mark.parametrize(
    ("after", "cam_m", "peak_m"),
    [
        (LIFTS_M, 0.010, 0.010),
        (LIFTS_M, 0.0085, 0.008),  # what the cam does not open is not used
        (LIFTS_M, 0.008, 0.008),
        (LIFTS_M[::2], 0.010, 0.009),  # between readings nothing was measured
        (LIFTS_M[:6], 0.010, 0.006),
        (LIFTS_M[4:], 0.003, None),
    ],
)
def test_the_gain_at_peak_is_that_of_the_highest_lift_read_on_both(after, cam_m, peak_m) -> None:
    stages = {"a": [sheet(FLOWS, "a.csv")], "b": [sheet(times(1.05, after), "b.csv")]}
    found = gain(stages, cams=Sides(replace(CAM, lift_m=cam_m), None))
    if peak_m is None:
        assert (found.at_peak_m3_s, found.at_peak_expanded_m3_s) == (None, None)
        return
    assert found.at_peak_m3_s == pytest.approx(0.05 * truth(peak_m), rel=1e-6)
    # One re-set-up of 0.5 % each (assumed), and the calibration on what is left of the difference.
    by_hand = 1.959964 * truth(peak_m) * sqrt((0.005 * 1.05) ** 2 + 0.005**2 + (0.015 * 0.05) ** 2)
    assert found.at_peak_expanded_m3_s == pytest.approx(by_hand, rel=1e-4)


def test_all_valves_open_are_as_many_as_the_stage_has() -> None:
    both = sheet(FLOWS, "a.csv", fixture=Setup(valves_open=2))
    stages = {"a": [both], "b": [sheet(times(1.05), "b.csv")]}
    assert gain(stages, valves=Sides(Valve(0.033, 2), None)).setup_differences == ()
    assert gain(stages, valves=Sides(Valve(0.033, 3), None)).setup_differences == ("valves open",)


@pytest.mark.parametrize("second", ["bench", "other"])
def test_a_target_read_on_another_bench_leaves_what_tells_the_stages_apart_as_it_was(second) -> None:
    """On one bench both stages share its calibration, on two they do not, whatever a target was read on."""
    benches = (BENCH, replace(BENCH, name="other"))
    stages = {"a": [sheet(FLOWS, "a.csv")], "b": [sheet(times(1.1), "b.csv", bench=second)]}
    aim = replace(sheet(times(1.2), "aim.csv", bench="theirs"), role="target", stage="aim")
    target = Target("aim", (aim,), benches=(replace(BENCH, name="theirs"),))
    alone, beside = (review(job(stages, benches=benches, target=one)).stages for one in (None, target))
    for one, other in zip(alone, beside, strict=True):
        assert other.intake.expanded_bench_m3_s == one.intake.expanded_bench_m3_s
        narrower = np.less(other.intake.expanded_bench_m3_s, other.intake.expanded_uncertainty_m3_s)
        assert narrower.all() == (second == "bench")


def test_a_stage_is_paid_for_unless_it_is_only_planned() -> None:
    specs = (Stage("a", 10.0), Stage("x", 500.0, planned=True), Stage("y", 70.0), Stage("b", 100.0))
    stages = {name: [sheet(times(f), f"{name}.csv")] for name, f in (("a", 1.0), ("b", 1.05))}
    found = gain(stages, stages=specs)
    assert found.price == 170.0
    assert found.price_per_flow == pytest.approx(170 / found.cam_weighted.gain_m3_s)
    unknown = gain(stages, stages=(*specs[:2], Stage("y"), specs[3]))
    assert (unknown.price, unknown.price_per_flow) == (None, None)
    loss = gain({"a": stages["b"], "b": stages["a"]}, stages=specs)
    assert (loss.price, loss.price_per_flow) == (170.0, None)


def test_without_a_cam_a_price_is_of_the_mean_over_lift() -> None:
    stages = {name: [sheet(times(f), f"{name}.csv")] for name, f in (("a", 1.0), ("b", 1.05))}
    found = gain(stages, cams=Sides(None, None))
    assert found.cam_weighted is None
    assert found.price_per_flow == pytest.approx(100 / found.mean.gain_m3_s)


def test_a_target_is_no_port_of_this_head_and_nobody_paid_for_it() -> None:
    made: Review = review(job({"a": [sheet(FLOWS, "a.csv")]}, target=aim()))
    found = made.gain("a", "intake", "target")
    assert (found.shared_ports, found.different_ports, found.price) == ((), True, None)


def test_usable_lift_is_the_cams_or_the_least_top() -> None:
    stages = {"a": [sheet(FLOWS, "a.csv")], "b": [sheet(times(1, LIFTS_M[:6]), "b.csv")]}
    assert worked_sides(job(stages)).intake.usable_lift_m == pytest.approx(0.010)
    work = worked_sides(job(stages, cams=Sides(None, None)))
    assert work.intake.usable_lift_m == pytest.approx(0.006)
    assert work.exhaust.usable_lift_m is None
