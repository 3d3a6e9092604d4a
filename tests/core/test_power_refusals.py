"""Why a job gets no power figure: what is missing, what no such engine has, what was not read."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from core.job import CamLobe, Job, Setup, Sides, Valve
from core.power_input import PowerInput, Refusal, power_input
from core.power_model import power_model
from core.results import Review
from core.review import review
from tests.core.jobs import AIR
from tests.core.power_jobs import (
    CAMS,
    EXHAUST,
    INCH_M,
    INTAKE,
    VALVES,
    Flows,
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


@cache
def reviewed(*stages: str) -> tuple[Job, Review]:
    """Return a job and its review, which most tests here leave as they are; all but the first are ported."""
    flows = {name: BASE if name == stages[0] else PORTED for name in stages}
    job = power_job(flows)
    return job, review(job)


def refused(changed: dict[str, Any]) -> str:
    """Return why a job with some of it changed has no figure; nothing where it has one."""
    job, whole = reviewed("as cast")
    found = power_input(replace(job, **changed), whole)
    return found.because if isinstance(found, Refusal) else ""


# what is missing or wrong ------------------------------------------------------------------


NO_OTHER = "There is none for any other. If this engine is one, leave kind and aspiration out of [engine]."
CENTRE = "Give a centreline of 60 to 150 deg."
# 1.27 mm of the tappet on 1.7:1, of a lobe that lifts 1 mm.
NOT_THAT_CAM = "The duration was taken at 2.159 mm of valve lift. That must be below the net lift, 1.7 mm"
OPEN = (
    "The model needs it open for 150 deg or more, between 60 and 656 deg: check duration, the lift that it "
    "was taken at, and centreline."
)


@pytest.mark.parametrize(
    ("changed", "because", "cure"),
    [
        (
            {"engine": None},
            "the job has no engine",
            "Give [engine] with cylinders, bore, stroke and compression ratio.",
        ),
        (
            {"engine": engine(kind="two-stroke")},
            "the model holds for four-stroke spark ignition only",
            NO_OTHER,
        ),
        (
            {"engine": engine(aspiration="turbocharged")},
            "the model holds for natural aspiration only",
            NO_OTHER,
        ),
        (
            {"engine": engine(cylinders=None, bore_m=None, stroke_m=None, compression_ratio=None)},
            "the number of cylinders, the bore, the stroke, the compression ratio are not stated",
            "State it in the job.",
        ),
        (
            {"cams": Sides(None, None), "valves": Sides(None, None)},
            "the diameter of the intake valve, the intake cam, the exhaust cam are not stated",
            "State it in the job.",
        ),
        ({"stages": ()}, "the job has no stage", "Add bench sheets."),
        ({"engine": engine(stroke_m=0.0)}, "the engine's stroke is 0 mm", "Give 15 to 300 mm."),
        (
            {"engine": engine(compression_ratio=1.0, rod_length_m=0.01)},
            "the engine's compression ratio is 1; the rod is no match for the stroke",
            "Give 5 to 18. Give a rod of 1.1 to 4 times the stroke.",
        ),
        (
            {"engine": engine(redline_rad_s=1500 * RPM)},
            "the redline, 1500 rpm, is below 2000 rpm, where the model does not hold",
            "Give the speed that the engine is run to, in rpm.",
        ),
        (
            {"engine": engine(redline_rad_s=12_000 * RPM)},  # 2 x 0.1016 m x 12,000 / 60 s
            "at the redline, 12000 rpm, the piston would move at a mean 41 m/s",
            "Check redline and stroke: no engine is run above 35 m/s.",
        ),
        (
            {"engine": engine(bore_m=0.05)},
            "the intake valves are larger than the bore has room for",
            "Check valve diameter and bore.",
        ),
        (
            {"valves": Sides(FORTY, replace(FORTY, valves_per_cylinder=0))},
            "a cylinder has 40 intake valves; a cylinder has 0 exhaust valves",
            "Give 1 to 4 for each side.",
        ),
        (
            {"cams": Sides(*(replace(cam, duration_rad=None) for cam in (CAMS.intake, CAMS.exhaust)))},
            "the intake cam's lift, duration or the lift of that duration is not stated; "
            "the exhaust cam's lift, duration or the lift of that duration is not stated",
            "State all three.",
        ),
        (
            {"cams": Sides(*(replace(cam, centreline_rad=0.2) for cam in (CAMS.intake, CAMS.exhaust)))},
            "the intake cam's centreline is 11.459 deg; the exhaust cam's centreline is 11.459 deg",
            CENTRE,
        ),
        ({"cams": intake_cam(centreline_rad=2.626)}, "the intake cam's centreline is 150.46 deg", CENTRE),
        (
            {"cams": Sides(None, replace(CAMS.exhaust, centreline_rad=np.radians(151)))},
            "the intake cam is not stated; the exhaust cam's centreline is 151 deg",
            f"State it in the job. {CENTRE}",
        ),
        (
            {"cams": Sides(*(replace(cam, lift_m=0.001) for cam in (CAMS.intake, CAMS.exhaust)))},
            f"the intake cam cannot be: {NOT_THAT_CAM}; the exhaust cam cannot be: {NOT_THAT_CAM}",
            "Mend the cam.",
        ),
        (
            {"cams": Sides(CAMS.intake, race_cam(400, 112))},
            "the exhaust valve would be open from {} to {} deg after firing, {} deg in all",
            OPEN,
        ),
        (
            {"cams": intake_cam(lift_m=0.020)},  # 34 mm at the valve, read to 17.78
            "its intake readings stop at 52.3% of the cam's lift",
            "Read on to the cam's lift, or to 90% of it at least.",
        ),
    ],
)
def test_why_there_is_no_figure(changed, because, cure):
    # Everything after the readers: a job made in memory may hold what they would refuse.
    job, whole = reviewed("as cast", "ported")
    model = power_model(replace(job, **changed), whole)
    assert re.fullmatch(re.escape(because).replace(r"\{\}", ".+"), model.because), model.because
    assert model.cure == cure and ".;" not in f"{model.because};"
    assert [stage.because for stage in model.stages] == [model.because] * 2


@pytest.mark.parametrize("side", ["intake", "exhaust"])
def test_why_one_stage_has_no_figure(side: str):
    """Of three stages the second lacks something; the others have their figures."""

    def second(flows: Flows | None, **more: Any) -> tuple[str, str]:
        both = Sides(flows, EXHAUST) if side == "intake" else Sides(INTAKE, flows)
        made = power_job({"as cast": BASE, "bowl": (both.intake, both.exhaust), "ported": PORTED})
        mine = [s.stage == "bowl" and bool(s.readings[side]) for s in made.sheets]
        sheets = [replace(s, **more) if own else s for s, own in zip(made.sheets, mine, strict=True)]
        job = replace(made, sheets=tuple(sheets))
        found = power_input(job, review(job))
        assert isinstance(found, PowerInput) and [stage.name for stage in found.stages] == [
            "as cast",
            "ported",
        ]
        (refusal,) = found.refused.values()
        return refusal.because, refusal.cure

    flows = BASE[("intake", "exhaust").index(side)]
    why = {
        "intake": "without it there is nothing to work out",
        "exhaust": "it brings a large part of any gain and must not be guessed",
    }
    assert second(None) == (f"its {side} was not measured: {why[side]}", f"Flow the {side} of this stage.")
    assert second(flows, air=replace(AIR, test_pressure_pa=None)) == (
        f"its {side} was flowed at an unknown test pressure",
        "State the test pressure.",
    )
    assert second(dict(list(flows.items())[-2:])) == (
        f"its {side} has too few readings",
        "Read three lifts or more.",
    )
    assert second(only(flows, 0, 0.5)) == (
        f"its {side} readings stop at 71.4% of the cam's lift",
        "Read on to the cam's lift, or to 90% of it at least.",
    )
    # One valve a side, and a sheet of two.
    assert second(flows, fixture=Setup(valves_open=2)) == (
        f"its {side} was not flowed with all valves open",
        "Flow all valves of a port together.",
    )


def test_how_many_valves_there_are_is_the_stages_own_and_the_sides():
    two = replace(VALVES.intake, valves_per_cylinder=2, diameter_m=1.5 * INCH_M)
    job = power_job({"as cast": BASE, "ported": PORTED}, valves=Sides(two, VALVES.exhaust))
    sheets = tuple(replace(s, fixture=Setup(valves_open=2 if s.readings.intake else 1)) for s in job.sheets)
    done = replace(job, sheets=sheets)
    assert isinstance(power_input(done, review(done)), PowerInput)
    one_each = replace(job, valves=Sides(replace(two, valves_per_cylinder=None), VALVES.exhaust))
    assert isinstance(power_input(one_each, review(one_each)), PowerInput)
    # A later stage that was made for a single valve says nothing of those before it.
    single = replace(job.stages[1], valves=Sides(Valve(valves_per_cylinder=1), None))
    later = replace(done, stages=(job.stages[0], single))
    found = power_input(later, review(later))
    assert list(found.refused) == ["ported"]


def test_a_stage_that_shares_no_reading_with_the_baseline_has_no_figure():
    """As where every lift of the one is stopped in the other."""
    job, done = reviewed("as cast", "ported")
    gains = [
        replace(gain, after_m3_s=(None,) * len(gain.lift_m)) if gain.side == "exhaust" else gain
        for gain in done.gains
    ]
    found = power_input(job, replace(done, gains=tuple(gains)))
    assert {name: (one.because, one.cure) for name, one in found.refused.items()} == {
        "ported": ("its exhaust shares no lift with as cast", "Read both at the same lifts.")
    }


def test_everything_that_is_wrong_is_said_at_once():
    job, whole = reviewed("as cast")
    wrong = replace(job, engine=engine(stroke_m=0.0, compression_ratio=1.0, cylinders=None))
    because = power_model(wrong, whole).because
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
    assert fits or found.because == "its intake readings stop at 89.9% of the cam's lift"
