"""Why a job gets no power figure: what is missing, what no such engine has, what was not read."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from core.job import CamLobe, Sides
from core.power_input import PowerInput, Refusal, power_input
from core.power_model import power_model
from core.review import review
from tests.core.power_jobs import (
    CAMS,
    EXHAUST,
    INCH_M,
    INTAKE,
    VALVES,
    engine,
    power_job,
    race_cam,
    times,
)
from tests.core.test_power_input import RPM, only

BASE = INTAKE, EXHAUST
PORTED = times(INTAKE, 1.1), times(EXHAUST, 1.1)
FORTY = replace(VALVES.intake, valves_per_cylinder=40)


def intake_cam(**changed: object) -> Sides[CamLobe]:
    """Return both cams with some of the intake's changed."""
    return Sides(replace(CAMS.intake, **changed), CAMS.exhaust)


def refused(changed: dict[str, Any]) -> str:
    """Return why a job with some of it changed has no figure; nothing where it has one."""
    job = power_job({"as cast": (INTAKE, EXHAUST)})
    found = power_input(replace(job, **changed), review(job))
    return found.because if isinstance(found, Refusal) else ""


# what is missing or wrong ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changed", "because", "cure"),
    [
        ({"engine": None}, "no engine", "Give [engine]"),
        ({"engine": engine(kind="two-stroke")}, "four-stroke spark ignition only", ""),
        ({"engine": engine(aspiration="turbocharged")}, "natural aspiration only", ""),
        ({"engine": engine(stroke_m=0.0)}, "stroke is 0 mm", "15 to 300 mm"),
        ({"engine": engine(compression_ratio=1.0)}, "compression ratio is 1", "5 to 18"),
        ({"engine": engine(redline_rad_s=1500 * np.pi / 30)}, "below 2000 rpm", "in rpm"),
        ({"engine": engine(redline_rad_s=3000.0)}, "a mean 97 m/s", "redline and stroke"),
        ({"engine": engine(bore_m=0.05)}, "larger than the bore has room for", "valve diameter and bore"),
        ({"engine": engine(cylinders=None, bore_m=None)}, "cylinders, the bore are not stated", "State"),
        ({"engine": engine(rod_length_m=0.01)}, "rod is no match", "1.1 to 4 times"),
        ({"valves": Sides(FORTY, VALVES.exhaust)}, "40 intake valves", "1 to 4"),
        ({"cams": Sides(None, None)}, "the intake cam, the exhaust cam are not", "State"),
        ({"cams": intake_cam(lift_m=0.020)}, "stop at", "Read on"),
        ({"cams": intake_cam(duration_rad=None)}, "is not stated", "all three"),
        ({"cams": Sides(race_cam(400, 106), CAMS.exhaust)}, "would be open from", "check duration"),
        ({"cams": intake_cam(lift_m=0.001)}, "cam cannot be", "Mend the cam"),
        ({"cams": intake_cam(centreline_rad=np.radians(10.6))}, "is 10.6 deg", "60 to 150 deg"),
        ({"cams": intake_cam(centreline_rad=np.radians(151))}, "intake cam's centreline is 151", "60 to 150"),
    ],
)
def test_why_there_is_no_figure(changed, because, cure):
    # Everything after the readers: a job made in memory may hold what they would refuse.
    job = power_job({"as cast": BASE, "ported": PORTED})
    whole = review(job)
    model = power_model(replace(job, **changed), whole)
    assert because in model.because and cure in model.cure
    assert [stage.because for stage in model.stages] == [model.because] * 2


def test_everything_that_is_wrong_is_said_at_once():
    job = power_job({"as cast": BASE})
    wrong = replace(job, engine=engine(stroke_m=0.0, compression_ratio=1.0, cylinders=None))
    because = power_model(wrong, review(job)).because
    assert all(
        part in because for part in ("cylinders is not stated", "stroke is 0", "compression ratio is 1")
    )


def test_half_the_valves_are_no_figure():
    job = power_job({"as cast": BASE})
    two = Sides(replace(VALVES.intake, valves_per_cylinder=2, diameter_m=1.5 * INCH_M), VALVES.exhaust)
    sheets = tuple(replace(s, fixture=replace(s.fixture, valves_open=1)) for s in job.sheets)
    changed = replace(job, valves=two, sheets=sheets)
    found = power_input(changed, review(changed))
    assert found.because == "its intake was not flowed with all valves open"


# limits -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "least", "greatest", "unit"),
    [
        ("cylinders", 1, 24, 1),
        ("stroke_m", 15, 300, 1e-3),
        ("compression_ratio", 5, 18, 1),
    ],
)
def test_sizes_are_allowed_up_to_their_limits(name: str, least: float, greatest: float, unit: float):
    word = name.removesuffix("_m").replace("_", " ")
    slow = {"redline_rad_s": 2100 * RPM, "rod_length_m": None}
    for value, fits in ((least, True), (greatest, True), (0.99 * least, False), (1.01 * greatest, False)):
        because = refused({"engine": engine(**slow | {name: value * unit})})
        assert (f"the engine's {word} is" not in because) is fits, value


def test_a_bore_has_room_for_the_intake_valves_on_six_tenths_of_it():
    # 2.1 in of valve: (2.1 / B)^2 = 0.6 at B = 2.7111 in.
    assert "room" not in refused({"engine": engine(bore_m=2.712 * INCH_M)})
    assert "room" in refused({"engine": engine(bore_m=2.710 * INCH_M)})
    assert "bore is 19" in refused({"engine": engine(bore_m=0.019)})
    assert "bore is 301" in refused({"engine": engine(bore_m=0.301)})
    assert refused({"engine": engine(bore_m=0.3)}) == ""


@pytest.mark.parametrize(
    ("redline", "because"),
    [
        (1999, "below 2000 rpm"),
        (2001, ""),
        (10330, ""),
        (10340, "a mean 35 m/s"),  # 2 x 0.1016 m x 10335 / 60 = 35 m/s
    ],
)
def test_the_redline_is_one_that_such_an_engine_is_run_to(redline: float, because: str):
    found = refused({"engine": engine(redline_rad_s=redline * RPM)})
    assert because in found and bool(because) == bool(found)


@pytest.mark.parametrize(("share", "fits"), [(1.101, True), (1.099, False), (3.999, True), (4.001, False)])
def test_a_rod_is_1_1_to_4_strokes_long(share: float, fits: bool):
    assert (refused({"engine": engine(rod_length_m=share * 0.1016)}) == "") is fits


@pytest.mark.parametrize(("count", "fits"), [(0, False), (1, True), (4, True), (5, False)])
@pytest.mark.parametrize("side", ["intake", "exhaust"])
def test_a_cylinder_has_one_to_four_valves_a_side(side: str, count: int, fits: bool):
    small = replace(VALVES[side], valves_per_cylinder=count, diameter_m=0.02, throat_diameter_m=None)
    valves = Sides(small, VALVES.exhaust) if side == "intake" else Sides(VALVES.intake, small)
    because = refused({"valves": valves})
    assert (f"a cylinder has {count} {side} valves" not in because) is fits


@pytest.mark.parametrize(
    ("centre", "duration", "fits"),
    [
        # The exhaust may open from 60 deg after firing on, the intake close by 656 deg.
        (112, 375.8, True),
        (112, 376.2, False),
        (60, 479, True),
        (60, 481, False),
        (112, 150.2, True),
        (112, 149.8, False),
    ],
)
def test_valves_are_shut_while_the_charge_burns(centre: float, duration: float, fits: bool):
    half = np.radians(duration / 2)
    lobe = replace(CAMS.exhaust, table=((-half, 0.0), (0.0, 0.0175), (half, 0.0)))
    lobe = replace(lobe, centreline_rad=np.radians(centre))
    because = refused({"cams": Sides(CAMS.intake, lobe)})
    assert (because == "") is fits, because


@pytest.mark.parametrize(("duration", "fits"), [(371.8, True), (372.2, False)])
def test_the_intake_is_shut_before_a_cycle_ends(duration: float, fits: bool):
    half = np.radians(duration / 2)
    lobe = replace(
        CAMS.intake, table=((-half, 0.0), (0.0, 0.0175), (half, 0.0)), centreline_rad=np.radians(110)
    )
    because = refused({"cams": Sides(lobe, CAMS.exhaust)})
    assert (because == "") is fits, because
    if not fits:
        assert "from 284 to 656 deg after firing, 372 deg in all" in because


@pytest.mark.parametrize(("count", "fits"), [(2, False), (3, True)])
def test_a_curve_has_three_readings(count: int, fits: bool):
    flows = dict(list(INTAKE.items())[-count:])
    job = power_job({"as cast": (flows, EXHAUST)})
    found = power_input(job, review(job))
    assert isinstance(found, PowerInput) is fits
    assert fits or found.because == "its intake has too few readings"


@pytest.mark.parametrize(("top", "fits"), [(0.631, True), (0.629, False)])
def test_a_curve_reaches_nine_tenths_of_the_cams_lift(top: float, fits: bool):
    flows = only(INTAKE, 0, 0.6) | {top: 262}
    job = power_job({"as cast": (flows, EXHAUST)})
    found = power_input(job, review(job))
    assert isinstance(found, PowerInput) is fits
    assert fits or found.because == "its intake readings stop at 90% of the cam's lift"
