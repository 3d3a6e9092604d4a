"""The compression ledger: chamber volumes to ratios, what they are worth, what a deck would give back."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.chambers import compression_lines, ratio_of_chamber, stage_chamber
from core.compression import GAMMAS, otto_effect, surfacing_depth, surfacing_volume
from core.job import Engine, Job, Stage
from core.review import review
from tests.core.jobs import LIFTS_M, job, sheet, truth
from tests.reference import reference

COMPRESSION = reference("compression")
CC_M3, INCH_M = 1e-6, 0.0254
# 80 x 99 mm, 10.4 to 1 with the first chamber.
ENGINE = Engine(bore_m=0.080, stroke_m=0.099, compression_ratio=10.4)
ratios = st.floats(6.0, 16.0)


def staged(*chambers_cc: float | None, engine: Engine | None = ENGINE) -> Job:
    """Return a job whose stages have these chambers."""
    sheets = {
        f"stage {i}": [sheet({lift: truth(lift) for lift in LIFTS_M}, f"{i}.csv")]
        for i in range(len(chambers_cc))
    }
    made = job(sheets, engine=engine)
    stages = tuple(
        replace(stage, chamber_volume_m3=None if cc is None else cc * CC_M3)
        for stage, cc in zip(made.stages, chambers_cc, strict=True)
    )
    return replace(made, stages=stages)


@pytest.mark.outside
def test_effect_of_a_ratio():
    # Worked out once by other code at gamma 1.3 and 1.35, to 1e-9; the effect grows as gamma falls,
    # so 1.35 is the low end, and 1.3 lies inside.
    for case in COMPRESSION["power_gain"]["cases"]:
        low, high = otto_effect(case["to"], case["from"])
        if case["gamma"] == 1.35:
            assert low == pytest.approx(case["percent"] / 100, rel=1e-9)
        elif case["gamma"] == 1.3:
            assert low < case["percent"] / 100 < high
    assert (GAMMAS[0], GAMMAS[-1]) == (1.25, 1.35)


@given(ratios, ratios)
def test_effect_has_the_sign_of_the_change_and_turns_round(ratio, base):
    low, high = otto_effect(ratio, base)
    assert low <= high
    back_low, back_high = otto_effect(base, ratio)
    # Gaining and losing the same ratio undo each other at each gamma, so at the ends of the range.
    assert (1 + low) * (1 + back_high) == pytest.approx(1, rel=1e-9)
    assert (1 + high) * (1 + back_low) == pytest.approx(1, rel=1e-9)
    assert low >= 0 if ratio >= base else high <= 0


@given(st.floats(1e-3, 0.02), st.floats(0, 0.002))
def test_surfacing_depth_undoes_surfacing_volume(area_m2, depth_m):
    assert surfacing_depth(area_m2, surfacing_volume(area_m2, depth_m)) == pytest.approx(depth_m, abs=1e-15)


def test_a_stage_before_the_first_known_chamber_has_none_and_the_ledger_begins_with_it():
    made = staged(None, 46.0, None, 48.0)
    assert stage_chamber(made, "stage 0") == (None, False)
    chambers = [line.chamber_volume_m3 for line in compression_lines(made)]
    assert chambers == pytest.approx([46e-6, 46e-6, 48e-6])


@pytest.mark.outside
def test_surfacing_depth_as_worked_out():
    # 7.6 in2, 0.010 in: 1.2454 cc, worked out once by other code.
    case = COMPRESSION["surfacing"]
    depth = surfacing_depth(case["area_in2"] * INCH_M**2, case["volume_cc"] * CC_M3)
    assert depth == pytest.approx(case["depth_in"] * INCH_M, rel=1e-9)


def test_a_chamber_that_grew_costs_compression():
    engine = replace(ENGINE, chamber_plan_area_m2=50e-4)
    first, grown = compression_lines(staged(52.9, 54.9, engine=engine))
    assert (first.added_m3, first.low_fraction, first.high_fraction) == (0, 0, 0)
    assert first.ratio == pytest.approx(10.4, rel=1e-12) and first.surfacing_m is None
    # By hand: swept 497.628 cc, clearance 497.628/9.4 = 52.939 cc; with 2 cc more 1 + 497.628/54.939.
    assert grown.ratio == pytest.approx(1 + 497.628 / 54.939, abs=2e-3)
    assert grown.low_fraction < grown.high_fraction < 0
    # 2 cc over 50 cm2 are 0.4 mm.
    assert grown.surfacing_m == pytest.approx(0.4e-3, rel=1e-9)
    assert grown.base == "stage 0"


def test_a_chamber_that_shrank_asks_for_no_surfacing():
    engine = replace(ENGINE, chamber_plan_area_m2=50e-4)
    line = compression_lines(staged(52.9, 50.0, engine=engine))[1]
    assert line.surfacing_m is None and line.low_fraction > 0


def test_no_plan_area_no_depth():
    assert compression_lines(staged(52.9, 54.9))[1].surfacing_m is None


def test_a_stage_without_a_chamber_inherits_and_says_so():
    made = staged(52.9, None, 53.4)
    lines = compression_lines(made)
    assert [line.inherited for line in lines] == [False, True, False]
    assert lines[1].added_m3 == 0
    assert stage_chamber(made, "stage 1") == (pytest.approx(52.9e-6), True)


def test_the_ledger_begins_with_the_first_known_chamber():
    lines = compression_lines(staged(None, 52.9, 53.9))
    assert [line.stage for line in lines] == ["stage 1", "stage 2"]
    assert lines[0].ratio == pytest.approx(10.4)
    assert compression_lines(staged(None, None)) == ()


@pytest.mark.outside
@pytest.mark.parametrize("case", COMPRESSION["cases"]["cases"], ids=lambda case: f"{case['ratio']:.2f}")
def test_ratio_from_clearance_volumes(case):
    # Worked out once by other code, to 1e-9.
    engine = Engine(
        bore_m=case["bore"] * INCH_M,
        stroke_m=case["stroke"] * INCH_M,
        gasket_volume_m3=case["gasket_cc"] * CC_M3,
        deck_volume_m3=case["deck_cc"] * CC_M3,
        dish_volume_m3=case["dish_cc"] * CC_M3,
    )
    chamber = case["chamber_cc"] * CC_M3
    assert ratio_of_chamber(engine, chamber, chamber) == pytest.approx(case["ratio"], rel=1e-9)
    # One volume missing: nothing is taken for it.
    assert ratio_of_chamber(replace(engine, dish_volume_m3=None), chamber, chamber) is None


@pytest.mark.parametrize("engine", [None, Engine(), Engine(bore_m=0.08), replace(ENGINE, stroke_m=None)])
def test_without_an_engine_volumes_only(engine):
    line = compression_lines(staged(52.9, 54.9, engine=engine))[1]
    assert line.added_m3 == pytest.approx(2e-6)
    assert (line.ratio, line.low_fraction, line.high_fraction) == (None, None, None)


def test_the_review_holds_the_ledger():
    done = review(staged(52.9, 54.9))
    assert [line.ratio for line in done.compression] == [stage.compression_ratio for stage in done.stages]


def test_stages_must_be_of_the_job():
    assert stage_chamber(replace(staged(52.9), stages=(Stage("other"),)), "none") == (None, False)
