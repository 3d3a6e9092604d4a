"""Slips in jobs of few sweeps, where stages are judged beside each other: the slip is found, and it alone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest

from core.findings.profiles import Profiles, profiles
from core.job import Job, Stage
from core.review import review
from core.rows import correct_side
from tests.core.jobs import BENCH, job, sheet, truth

L_S_IN_CFM = 60 / 0.3048**3 / 1000  # the foot is exact: 2.1189
Cell = tuple[int, int, int]  # stage, sweep and lift, from 0


def made(stages: int, sweeps: int, lifts: int, slips: Mapping[Cell, float], seed: int = 1) -> Job:
    """Return stages that each change the curve smoothly, read to 0.3 % and set to 0.015 mm."""
    rng = np.random.default_rng(seed)
    measured = {}
    for s in range(stages):
        shape = rng.normal(0, 0.05, 3)
        for k in range(sweeps):
            level, flows = 1 + 0.005 * rng.standard_normal(), {}
            for i in range(lifts):
                lift = 0.01 * (i + 1) / lifts
                work = np.exp(shape @ (lift / 0.01) ** np.arange(3)) * level
                read = truth(lift + 0.015e-3 * rng.standard_normal()) * (1 + 0.003 * rng.standard_normal())
                flows[lift] = float(work * read * slips.get((s, k, i), 1.0))
            measured.setdefault(f"stage {s}", []).append(sheet(flows, f"{s}-{k}.csv", setup=str(k)))
    return job(measured, benches=(replace(BENCH, lift_setting_m=0.02e-3),))


def stopped(found: Job) -> list[tuple[str, str, int]]:
    """Return code, file and number of the lift of each reading that is left out."""
    return [(f.code, f.file, f.line - 9) for f in review(found).findings if f.level == "stop"]


def expected(code: str, *cells: Cell) -> list[tuple[str, str, int]]:
    return [(code, f"{s}-{k}.csv", i) for s, k, i in cells]


@pytest.mark.parametrize("index", [0, 3, 5], ids=lambda i: f"lift {i}")
@pytest.mark.parametrize(
    ("factor", "code"),
    [(10.0, "decimal-slip"), (0.1, "decimal-slip"), (1 / L_S_IN_CFM, "unit-slip"), (1.6, "off-curve-gross")],
)
@pytest.mark.parametrize("stage", [0, -1], ids=["first", "last"])
@pytest.mark.parametrize(("stages", "sweeps"), [(2, 1), (3, 1), (4, 1), (7, 1), (2, 2), (3, 2), (2, 3)])
def test_one_slip_is_found_and_takes_no_other_reading_with_it(
    stages, sweeps, stage, factor, code, index
) -> None:
    cell = (stage % stages, sweeps - 1, index)
    assert stopped(made(stages, sweeps, 6, {cell: factor})) == expected(code, cell)


def test_a_slip_is_found_beside_a_stage_of_several_sweeps() -> None:
    several, single = made(1, 3, 8, {}), made(3, 1, 8, {(1, 0, 4): 10.0})
    sheets = [replace(one, stage="several", file=f"several-{one.file}") for one in several.sheets]
    stages = (Stage("several"), *single.stages)
    mixed = replace(single, stages=stages, sheets=(*sheets, *single.sheets))
    assert stopped(mixed) == expected("decimal-slip", (1, 0, 4))


@pytest.mark.parametrize("index", [0, 2, 4])
@pytest.mark.parametrize("stages", [2, 3, 5])
def test_five_lifts_are_enough(stages, index) -> None:
    cell = (1, 0, index)
    assert stopped(made(stages, 1, 5, {cell: 10.0})) == expected("decimal-slip", cell)


@pytest.mark.parametrize(
    "cells",
    [
        [(0, 0, 4), (1, 0, 8)],  # one on each of two sheets
        [(0, 0, 4), (1, 0, 5)],
        [(1, 0, 0), (1, 0, 9)],
        [(1, 0, 2), (1, 0, 3)],
        [(1, 0, 3), (1, 0, 4)],
        [(1, 0, 0), (1, 0, 1), (1, 0, 2)],
        [(0, 0, 1), (1, 0, 5), (1, 0, 8)],
    ],
)
def test_several_slips_do_not_hide_each_other(cells) -> None:
    found = stopped(made(2, 1, 10, dict.fromkeys(cells, 10.0)))
    assert sorted(found) == sorted(expected("decimal-slip", *cells))


@pytest.mark.parametrize(("stages", "sweeps", "lifts"), [(2, 1, 10), (2, 1, 5), (4, 1, 6), (3, 2, 10)])
@pytest.mark.parametrize("seed", range(5))
def test_nothing_is_left_out_where_nothing_slipped(stages, sweeps, lifts, seed) -> None:
    assert stopped(made(stages, sweeps, lifts, {}, seed)) == []


def test_too_few_readings_to_judge_by_are_not_judged() -> None:
    assert stopped(made(3, 1, 4, {(1, 0, 2): 10.0})) == []


def test_a_stage_that_changes_a_lot_is_no_slip() -> None:
    """Low lift gains by half and more, high lift by a tenth: work, and a smooth curve."""
    lifts = [0.001 * n for n in range(1, 11)]
    after = {lift: truth(lift) * (1.1 + 0.6 * (1 - lift / 0.01) ** 2) for lift in lifts}
    before = {lift: truth(lift) for lift in lifts}
    assert stopped(job({"a": [sheet(before, "a.csv")], "b": [sheet(after, "b.csv")]})) == []


def test_a_reading_at_the_end_is_foretold_less_well_than_one_within() -> None:
    """By hand: a parabola through two neighbours on each side weighs them -1/6, 2/3, 2/3 and -1/6, a line
    through the last four before the end 1, 1/2, 0 and -1/2: variances of 1 + 17/18 and 1 + 3/2."""
    lifts = [0.001 * n for n in range(1, 11)]
    flows = {lift: truth(lift) for lift in lifts}
    off = [{0: 1.2}, {9: 1.2}, {4: 1.2}, {}]
    stages = {
        str(n): [sheet({at: q * which.get(i, 1.0) for i, (at, q) in enumerate(flows.items())}, f"{n}.csv")]
        for n, which in enumerate(off)
    }
    made = job(stages, benches=(replace(BENCH, lift_setting_m=0.0),))
    found = profiles(correct_side(made, "intake", made.sheets))
    first, last, within = (found.score[k, i] / found.residual[k, i] for k, i in ((0, 0), (1, 9), (2, 4)))
    assert found.residual[2, 4] == pytest.approx(np.log(1.2), rel=1e-6)
    assert found.residual[2, 3] == pytest.approx(-2 / 3 * np.log(1.2), rel=1e-6)
    assert found.residual[2, 6] == pytest.approx(np.log(1.2) / 6, rel=1e-6)
    assert (first, last) == pytest.approx((within * (35 / 18 / 2.5) ** 0.5,) * 2, rel=1e-6)


def test_how_far_a_sheet_lies_from_the_others_does_not_hang_on_its_lifts() -> None:
    lifts = [0.001 * n for n in range(1, 11)]
    parts = {"a": (lifts, 1.0), "b": (lifts, 1.0), "c": (lifts[:5], 1.1), "d": (lifts[5:], 0.9)}
    stages = {
        name: [sheet({lift: factor * truth(lift) for lift in at}, f"{name}.csv")]
        for name, (at, factor) in parts.items()
    }
    made = job(stages)
    found = profiles(correct_side(made, "intake", made.sheets))
    assert found.level.tolist() == pytest.approx([0.0, 0.0, np.log(1.1), np.log(0.9)])
    there = np.isfinite(found.residual)
    assert there.tolist() == [[True] * 10, [True] * 10, [True] * 5 + [False] * 5, [False] * 5 + [True] * 5]
    assert found.residual[there] == pytest.approx(0.0, abs=1e-12)  # nor does what others foretell of it


@pytest.mark.parametrize("blank", [1, 2, 4, 8])
def test_a_blank_cell_casts_no_doubt_on_other_stages(blank: int) -> None:
    """Three stages that differ by a factor: each foretells the others to the last digit, gap or no gap."""
    lifts = [0.001 * n for n in range(1, 11)]
    factors = {"a": 1.0, "b": 1.07, "c": 1.18}
    stages = {
        name: [
            sheet(
                {lift: factor * truth(lift) for i, lift in enumerate(lifts) if (name, i) != ("c", blank)},
                f"{name}.csv",
            )
        ]
        for name, factor in factors.items()
    }
    made = job(stages)
    found = profiles(correct_side(made, "intake", made.sheets))
    assert np.nanmax(np.abs(found.residual)) < 1e-12


# stages of several sweeps ---------------------------------------------------------------


def bent(at: int) -> dict[float, float]:
    """Return a curve that is straight up to so many mm, and level from there."""
    return {0.001 * n: 20e-3 * min(n, at) for n in range(1, 11)}


def found_in(logs: np.ndarray, flows: Mapping[float, float], setting_m: float = 2e-5) -> Profiles:
    """Return the profiles of stages with several sweeps, (stages, sweeps, lifts) of ln(flow / that curve)."""
    stages = {
        str(s): [
            sheet(
                {lift: flow * float(np.exp(x)) for (lift, flow), x in zip(flows.items(), row, strict=True)},
                f"{s}-{k}.csv",
            )
            for k, row in enumerate(rows)
        ]
        for s, rows in enumerate(logs)
    }
    made = job(stages, benches=(replace(BENCH, lift_setting_m=setting_m),))
    return profiles(correct_side(made, "intake", made.sheets))


def zero_off(by_m: float, at: int) -> np.ndarray:
    """Return ln of what that curve gives if its lifts are all off by so much; where it bends it is level."""
    lifts = np.array(list(bent(at)))
    return np.log1p(np.where(lifts < 0.001 * (at - 0.5), by_m / lifts, 0.0))


# Three lifts tell the zero, or three the level: steep is where the lift's setting moves flow by over 0.25 %.
@pytest.mark.parametrize(("at", "setting_m"), [(4, 1.5e-5), (8, 2e-5)])
def test_a_set_ups_level_and_its_zero_of_the_lift_are_its_own(at: int, setting_m: float) -> None:
    """At 1 mm of a straight curve a zero that is 0.03 mm off is 3 %, and nothing of it is left."""
    levels, zeros = np.array([0.0, 0.01, -0.02, 0.03, 0.005]), np.array([0.0, 3e-5, -3e-5, 2e-5, -1e-5])
    logs = levels[:, None] + np.array([zero_off(z, at) for z in zeros])
    found = found_in(np.array([logs, logs + 0.1]), bent(at), setting_m)
    assert np.abs(found.residual).max() < 1e-3  # of second order: 0.03**2
    assert found.stage_level == pytest.approx(np.tile(levels - 0.005, 2), abs=2e-4)


@pytest.mark.parametrize("by_m", [5e-4, -5e-4])
def test_a_zero_beyond_what_setting_the_lift_can_do_is_left_to_be_seen(by_m: float) -> None:
    """Half a millimetre is no setting of 0.02 mm: nothing of it is taken out."""
    logs = np.zeros((1, 5, 10))
    logs[0, 1] = zero_off(by_m, 8)
    found = found_in(logs, bent(8))
    assert found.residual[1] == pytest.approx(logs[0, 1], abs=2e-3)
    assert found.stage_level[1] == pytest.approx(0.0, abs=1e-9)
    assert np.abs(np.delete(found.residual, 1, axis=0)).max() < 1e-9


def test_two_level_lifts_are_too_few_to_tell_a_sweeps_level_by() -> None:
    logs = np.zeros((1, 4, 10))
    logs[0, 1, 9] = 0.05  # at one of the two
    found = found_in(logs, bent(9))
    assert found.stage_level == pytest.approx(0.0, abs=1e-9)
    assert found.residual[1, 9] == pytest.approx(0.05, abs=1e-3)


@pytest.mark.parametrize("sweeps", [3, 4, 6])
def test_sweeps_of_a_stage_are_judged_by_each_other(sweeps: int) -> None:
    """The median of n errs with pi / 2 times the variance of their mean; 0.15 % is the least scatter."""
    logs = np.zeros((2, sweeps, 10))
    logs[1] += 0.05  # work on the head
    logs[0, 1, 7] += 0.004
    found = found_in(logs, bent(5))
    assert found.residual[1, 7] == pytest.approx(0.004)
    assert found.residual[1, 6] == pytest.approx(
        0.0, abs=1e-12
    )  # where neighbours judge, they are drawn along
    assert found.score[1, 7] == pytest.approx(0.004 / 0.0015 / (1 + np.pi / 2 / sweeps) ** 0.5)


def test_two_sweeps_lie_about_their_middle_and_one_has_none() -> None:
    made = job(
        {
            "a": [sheet({lift: f * q for lift, q in bent(5).items()}, f"{f}.csv") for f in (1.0, 1.02)],
            "b": [sheet(bent(5), "b.csv")],
        }
    )
    found = profiles(correct_side(made, "intake", made.sheets))
    half = np.log(1.02) / 2
    assert found.stage_level == pytest.approx([-half, half, np.nan], nan_ok=True)


@pytest.mark.parametrize("sweeps", [3, 5])
def test_a_doubted_reading_is_judged_by_least_squares_over_the_others(sweeps: int) -> None:
    """Residual and score with the case left out, in a two-way layout: Cook and Weisberg (1982), sect. 2.2."""
    n = 8
    noise = 0.003 * np.random.default_rng(7).standard_normal((sweeps, n))
    noise[1, 3] += 0.1
    found = found_in(noise[None], {0.001 * (i + 1): 0.1 for i in range(n)}, 0.0)
    sweep, lift = np.divmod(np.arange(sweeps * n), n)
    design = np.hstack([np.eye(n)[lift], np.eye(sweeps)[sweep]])
    others = np.arange(sweeps * n) != n + 3
    best = np.linalg.pinv(design[others])
    left = noise.ravel() - design @ (best @ noise.ravel()[others])
    freedom = others.sum() - (n + sweeps - 1)
    scatter = np.sqrt(np.sum(left[others] ** 2) / freedom)
    leverage = np.sum((design[n + 3] @ best) ** 2)
    assert found.residual[1, 3] == pytest.approx(left[n + 3], rel=2e-3)
    assert found.score[1, 3] == pytest.approx(left[n + 3] / scatter / np.sqrt(1 + leverage), rel=2e-2)
    assert np.isfinite(found.score).all()  # what nobody doubts keeps the score it had
    assert np.abs(np.delete(found.score.ravel(), n + 3)).max() < 4


def test_a_doubted_reading_is_held_against_the_scatter_of_lifts_like_its_own() -> None:
    """Twice the noise where the curve is steep: half the score there, and nearly the same where it is level
    (a sweep's own level hangs a little on both)."""
    rng = np.random.default_rng(5)
    steep, level = rng.standard_normal((2, 6, 10))
    slip = np.zeros((6, 10))
    slip[2, 1], slip[3, 8] = 0.5, 0.1
    low = np.arange(10) < 5
    one, two = (
        found_in(np.where(low, times * 0.004 * steep, 0.002 * level)[None] + slip, bent(5)).score
        for times in (1, 2)
    )
    assert two[2, 1] / one[2, 1] == pytest.approx(0.5, rel=0.15)
    assert two[3, 8] / one[3, 8] == pytest.approx(1.0, rel=0.1)


def test_where_the_curve_is_steep_a_reading_may_be_off_by_what_setting_the_lift_does() -> None:
    """At 1 mm flow changes by about 0.9 of itself in a mm: 0.02 mm is 2 %. At 9 mm it is 0.05 %."""
    for index, doubted in ((0, False), (8, True)):
        found = review(made(6, 1, 10, {(2, 0, index): 1.05})).findings
        assert (("2-0.csv", 9 + index) in {(f.file, f.line) for f in found if f.level == "look"}) is doubted


def test_the_scale_that_readings_are_judged_by() -> None:
    """By hand: on a straight curve the lift, set to 0.02 mm, moves the flow by 0.02 mm / L. Sweeps that agree
    to a millionth are not believed: 0.15 %, and half of the lift's setting, remain (judgement)."""
    rng, lifts = np.random.default_rng(4), [0.001 * n for n in range(1, 11)]
    stages = {
        str(n): [sheet({lift: 20 * lift * (1 + 1e-6 * rng.standard_normal()) for lift in lifts}, f"{n}.csv")]
        for n in range(6)
    }
    made = job(stages, benches=(replace(BENCH, lift_setting_m=2e-5),))
    found = profiles(correct_side(made, "intake", made.sheets))
    for i in range(2, 8):  # within, where the variance of what is foretold is 17/18
        usual = np.hypot(0.0015, 1e-5 / lifts[i])
        assert found.residual[:, i] / found.score[:, i] == pytest.approx(usual * (35 / 18) ** 0.5, rel=1e-3)


def test_four_scores_in_five_are_below_what_four_in_five_of_noise_are() -> None:
    """Normal noise stays below 1.2816 standard deviations in four of five (any table of it)."""
    rng, lifts = np.random.default_rng(4), [0.001 * n for n in range(1, 11)]
    stages = {
        str(n): [
            sheet({lift: truth(lift) * (1 + 0.01 * rng.standard_normal()) for lift in lifts}, f"{n}.csv")
        ]
        for n in range(6)
    }
    made = job(stages, benches=(replace(BENCH, lift_setting_m=0.0),))
    found = profiles(correct_side(made, "intake", made.sheets))
    assert np.quantile(np.abs(found.score), 0.8) == pytest.approx(1.2816, rel=1e-6)
