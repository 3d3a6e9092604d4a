"""Readings judged while they are typed: sound ones pass, slips are named, and what was meant is found."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.entry import judge, judge_sweep
from core.files.load import load_files
from core.job import BenchSheet, Job, Reading, Sides
from core.review import review

LIFTS_MM = range(1, 12)


def flow_l_s(lift_mm: float, gain: float = 0.0) -> float:
    """Return an invented flow: steep at first, then flat; a gain grows with lift."""
    return 66.0 * np.tanh(lift_mm / 5.2) * (1 + gain * lift_mm / 11)


def sheet_text(stage: str, gain: float = 0.0, pressure: str = "28 inH2O") -> bytes:
    """Return a bench sheet with an invented intake."""
    rows = "".join(f"{lift},{flow_l_s(lift, gain):.1f}\n" for lift in LIFTS_MM)
    return (
        f"# stage: {stage}\n# port: 1\n# test pressure: {pressure}\nlift [mm],intake [L/s]\n{rows}".encode()
    )


def job(**sheets: bytes) -> Job:
    """Return a job of such sheets."""
    loaded = load_files({f"{name}.csv": text for name, text in sheets.items()}, "invented")
    assert loaded.job is not None, loaded.problems
    return loaded.job


def in_hand(values: dict[float, float], like: Job, stage: str = "port work") -> BenchSheet:
    """Return the sheet in hand with some readings in L/s by lift in mm."""
    readings = tuple(
        Reading(lift / 1000, i, flow_m3_s=flow / 1000) for i, (lift, flow) in enumerate(values.items())
    )
    return replace(like.sheets[0], file="hand.csv", stage=stage, readings=Sides(readings, ()))


def lifts_m() -> list[float]:
    return [lift / 1000 for lift in LIFTS_MM]


@given(
    st.lists(st.floats(-0.004, 0.004), min_size=11, max_size=11),
    st.floats(-0.05, 0.15),
    st.integers(1, 11),
)
def test_a_sound_sweep_is_not_doubted(noise: list[float], gain: float, count: int) -> None:
    """Noise within the assumed 0.5 % and a gain that grows with lift are no slips, at any moment."""
    lifts = np.array(lifts_m())
    before = np.array([flow_l_s(lift) for lift in LIFTS_MM]) / 1000
    now = np.array([flow_l_s(lift, gain) for lift in LIFTS_MM]) / 1000 * (1 + np.array(noise))
    now[count:] = np.nan
    for other in (before, np.full(11, np.nan)):
        judged = judge(lifts, now, other, np.full(11, 0.007))
        assert [level for level, _, _ in judged] == [None] * 11


@pytest.mark.parametrize("wrong", range(11))
@pytest.mark.parametrize("count", range(1, 12))
def test_a_decimal_slip_is_named_and_mended_and_spoils_no_other(wrong: int, count: int) -> None:
    if wrong >= count:
        return
    lifts = np.array(lifts_m())
    before = np.array([flow_l_s(lift) for lift in LIFTS_MM]) / 1000
    now = before * 1.04
    right = now[wrong]
    now[wrong] /= 10
    now[count:] = np.nan
    judged = judge(lifts, now, before, np.full(11, 0.007))
    level, slip, fits = judged[wrong]
    assert (level, slip) == ("stop", "decimal")
    assert fits == pytest.approx(right, rel=1e-12)  # ten times, but for rounding
    assert all(judged[i][0] is None for i in range(count) if i != wrong)


def test_without_a_stage_before_the_curve_itself_judges() -> None:
    lifts, nothing = np.array(lifts_m()), np.full(11, np.nan)
    now = np.array([flow_l_s(lift) for lift in LIFTS_MM]) / 1000
    slipped = now.copy()
    slipped[6] *= 10
    judged = judge(lifts, slipped, nothing, nothing)
    assert judged[6][:2] == ("stop", "decimal")
    assert judged[6][2] == pytest.approx(now[6], rel=1e-12)
    assert [one[0] for i, one in enumerate(judged) if i != 6] == [None] * 10


def test_a_single_reading_with_nothing_beside_it_cannot_be_judged() -> None:
    assert judge(np.array([0.001]), np.array([3.0]), np.array([np.nan]), np.array([np.nan])) == [
        (None, None, None)
    ]


def test_swapped_digits_and_a_wrong_unit_are_named() -> None:
    lifts = np.array(lifts_m())
    before = np.array([12.0, 23.7, 35.1, 45.6, 54.0, 60.5, 65.0, 67.7, 69.7, 71.0, 72.0]) / 1000
    for typed, meant, slip in ((56.0, 65.0, "digits"), (137.7, 65.0, "unit")):
        now = before.copy()
        now[6] = typed / 1000
        level, found, fits = judge(lifts, now, before, np.full(11, 0.005))[6]
        assert level is not None
        assert found == slip
        assert fits == pytest.approx(meant / 1000, rel=1e-3)  # 137.7 cfm is 64.99 L/s


def test_the_stage_before_is_brought_back_to_todays_meter() -> None:
    """At 10 inH2O a meter shows less for the same port: before is what it would show today.

    With the square-root rule and a meter before or after the piece, in the same air: the
    flow goes with the root of the drop, and what is left is the meter's own density, at most
    the share of the depression in the air's pressure, 28 - 10 inH2O of 101 kPa: 4.4 %.
    """
    cast = job(cast=sheet_text("as cast"))
    low = job(cast=sheet_text("as cast", pressure="10 inH2O"))
    sheet = in_hand({}, low)
    points = judge_sweep(cast, sheet, "intake", lifts_m()).points
    for lift, point in zip(LIFTS_MM, points, strict=True):
        root = round(flow_l_s(lift), 1) / 1000 * (10 / 28) ** 0.5
        assert point.before == pytest.approx(root, rel=0.044)
    same = judge_sweep(cast, in_hand({}, cast), "intake", lifts_m()).points
    assert [point.before for point in same] == pytest.approx(
        [round(flow_l_s(lift), 1) / 1000 for lift in LIFTS_MM], rel=1e-9
    )


def test_what_is_compared_with_is_the_stage_before_else_the_other_setups() -> None:
    two = job(
        cast=b"# order: 1\n" + sheet_text("as cast"), seat=b"# order: 2\n" + sheet_text("valve job", 0.02)
    )
    assert judge_sweep(two, in_hand({}, two), "intake", lifts_m()).other == "valve job"
    assert judge_sweep(two, in_hand({}, two, "valve job"), "intake", lifts_m()).other == "as cast"
    assert judge_sweep(two, in_hand({}, two, "as cast"), "intake", lifts_m()).other == "as cast"
    assert judge_sweep(two, in_hand({}, two), "exhaust", lifts_m()).other is None
    assert judge_sweep(None, in_hand({}, two), "intake", lifts_m()).other is None


def test_another_port_is_said() -> None:
    cast = job(cast=sheet_text("as cast"))
    assert judge_sweep(cast, in_hand({}, cast), "intake", lifts_m()).same_port
    assert not judge_sweep(cast, replace(in_hand({}, cast), port="2"), "intake", lifts_m()).same_port


def test_the_room_is_that_of_the_gains() -> None:
    """One set-up against one: the band is the ± that a review gives the same comparison.

    Only the repeatability is in the band. On one day, at one pressure and in one air, all else
    that is uncertain is common to both stages and cancels in their difference.
    """
    first, second = (f"# date: 2026-03-14\n# order: {n}\n".encode() for n in (1, 2))
    cast = job(cast=first + sheet_text("as cast"))
    both = job(cast=first + sheet_text("as cast"), again=second + sheet_text("again"))
    found = judge_sweep(cast, in_hand({}, cast, "again"), "intake", lifts_m())
    gain = review(both).gain("again", "intake", "previous")
    assert found.assumed
    # to the flow at the reference: the factor is the same for both
    factors = [
        after / (point.before or 1) for after, point in zip(gain.after_m3_s, found.points, strict=True)
    ]
    rooms = [point.room * factor for point, factor in zip(found.points, factors, strict=True)]
    assert rooms == pytest.approx(list(gain.expanded_uncertainty_m3_s), rel=1e-6)


def test_lifts_beyond_the_stage_before_have_nothing_to_compare_with() -> None:
    cast = job(cast=sheet_text("as cast"))
    points = judge_sweep(cast, in_hand({13.0: 70.0}, cast), "intake", lifts_m()).points
    assert points[-1].lift_m == 0.013
    assert points[-1].before is None
    assert points[-1].reading == 0.07


def test_a_reading_of_another_kind_is_left_alone() -> None:
    cast = job(cast=sheet_text("as cast"))
    sheet = replace(in_hand({}, cast), readings=Sides((Reading(0.003, 1, mass_flow_kg_s=0.02),), ()))
    points = judge_sweep(cast, sheet, "intake", lifts_m()).points
    assert all(point.reading is None for point in points)
