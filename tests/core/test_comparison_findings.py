"""What stages and their comparisons leave to say, in figures and in words."""

from __future__ import annotations

from dataclasses import replace
from math import sqrt

import pytest

from core.cam import net_lift
from core.job import Job, Sides, Stage, Target
from core.numbers import finding_text
from core.review import review
from core.units import METRIC
from tests.core.jobs import BENCH, CAM, LIFTS_M, job, sheet, truth

FLOWS = {lift: truth(lift) for lift in LIFTS_M}


def times(factor: float, lifts: tuple[float, ...] = LIFTS_M) -> dict[float, float]:
    return {lift: factor * truth(lift) for lift in lifts}


def told(made: Job, code: str) -> list[str]:
    """Return what a person reads under a code, with plain spaces."""
    found = [finding_text(f, METRIC) for f in review(made).findings if f.code == code]
    return [text.replace("\u00a0", " ").replace("\u202f", " ") for text in found]


# --- readings and the cam


def test_readings_that_stop_far_below_the_cam():
    """The cam opens 10 mm; nine tenths of that are wanted (judgement)."""
    assert net_lift(CAM) == pytest.approx(0.010)
    short = job({"a": [sheet(times(1, LIFTS_M[:8]), "a.csv")]})
    (text,) = told(short, "short-of-cam")
    assert text == (
        "a, intake: readings stop at 8 mm, far below the cam's 10 mm: no cam-weighted flow. "
        "Read to the cam's lift."
    )
    assert review(short).stages[0].intake.cam_weighted_flow_m3_s is None
    assert told(job({"a": [sheet(FLOWS, "a.csv")]}), "short-of-cam") == []


def test_readings_that_stop_a_little_below_the_cam():
    """Lift of this cam is 10 mm x (1 - x^2)^2: over 9 mm while |x| < sqrt(1 - sqrt(0.9)), 22.7 % of the time
    open. Budget: the last digit, and the steps of time that the cam's path is sampled at."""
    lifts = LIFTS_M[:9]
    (text,) = told(job({"a": [sheet(times(1, lifts), "a.csv")]}), "held-above-readings")
    assert text.startswith("a, intake: readings stop at 9 mm, the cam opens 10 mm: held there for ")
    share = float(text.split("held there for ")[1].split(" %")[0])
    assert share == pytest.approx(100 * sqrt(1 - sqrt(0.9)), abs=0.25)
    exhaust = job({"a": [sheet(times(0.7, lifts), "a.csv", side="exhaust")]}, cams=Sides(None, CAM))
    assert told(exhaust, "held-above-readings")[0].startswith("a, exhaust: readings stop at 9 mm")
    assert told(job({"a": [sheet(FLOWS, "a.csv")]}), "held-above-readings") == []
    no_cam = job({"a": [sheet(times(1, lifts), "a.csv")]}, cams=Sides(None, None))
    assert told(no_cam, "held-above-readings") == told(no_cam, "short-of-cam") == []


# --- flow that falls again


def turned(fall: float, repeatability: float) -> Job:
    """Return a stage whose last flow is by a share below the one before."""
    flows = FLOWS | {LIFTS_M[-1]: (1 - fall) * FLOWS[LIFTS_M[-2]]}
    benches = (replace(BENCH, repeatability=repeatability),)
    return job({"a": [sheet(flows, "a.csv")]}, benches=benches)


def test_flow_that_turns_over_in_figures():
    """By hand: truth at 9 mm is 107.35 L/s, less 3 % is 104.13."""
    (text,) = told(turned(0.03, 0.002), "flow-turns-over")
    assert text.startswith("a, intake: flow turns over: 107.4 L/s at 9 mm, 104.1 L/s at 10 mm.")


@pytest.mark.parametrize(
    ("fall", "repeatability", "expected"),
    [
        (0.0098, 0.001, 0),  # less than 1 % is no turning over (judgement)
        (0.0102, 0.001, 1),
        # 1.96 x 1 % of what is left: 0.0196 (1 - f) = f.
        (0.0188, 0.01, 0),
        (0.0194, 0.01, 1),
    ],
)
def test_a_fall_is_more_than_readings_scatter(fall, repeatability, expected):
    assert len(told(turned(fall, repeatability), "flow-turns-over")) == expected


def test_where_the_last_reading_is_stopped_nothing_turns_over():
    flows = FLOWS | {LIFTS_M[-2]: 0.8 * FLOWS[LIFTS_M[-3]], LIFTS_M[-1]: 0.0}
    assert told(job({"a": [sheet(flows, "a.csv")]}), "flow-turns-over") == []


# --- repeats


def test_what_is_assumed_of_repeats_and_where():
    (text,) = told(job({"a": [sheet(FLOWS, "a.csv")]}), "assumed-repeatability")
    assert text.startswith("The intake has no usable repeats: 0.5 % is assumed for taking the head off")
    benches = (BENCH, replace(BENCH, name="other", repeatability=0.008))
    stages = {"a": [sheet(FLOWS, "a.csv")], "b": [sheet(times(1.1), "b.csv", bench="other")]}
    assert [
        text.split(" for ")[0] for text in told(job(stages, benches=benches), "assumed-repeatability")
    ] == [
        "The intake on bench has no usable repeats: 0.5 % is assumed",
        "The intake on other has no usable repeats: 0.8 % is assumed",
    ]


# --- comparisons


def test_ports_that_are_shared_or_not():
    stages = {
        "a": [sheet(FLOWS, "a1.csv", port="1"), sheet(times(0.9), "a2.csv", port="2")],
        "b": [sheet(times(0.945), "b2.csv", port="2")],
        "c": [sheet(times(0.95), "c3.csv", port="3")],
    }
    made = job(stages)
    assert told(made, "shared-ports") == [
        "b against a, intake: the gain is that of port 2 alone, which both were read in; "
        "it is not the difference of the two stage curves."
    ]
    assert told(made, "different-ports") == [
        f"c against {other}, intake: measured in different ports; their own spread is in the ±. "
        "Test the same port after each stage."
        for other in ("a", "b")
    ]
    unknown = job({"a": [sheet(FLOWS, "a.csv", port="1")], "b": [sheet(FLOWS, "b.csv", port="2")]})
    assert "their own spread is not known." in told(unknown, "different-ports")[0]
    named = {None: "a.csv", "1": "a1.csv", "2": "a2.csv"}
    many = {
        "a": [sheet(FLOWS, file, port=port) for port, file in named.items()],
        "b": [sheet(times(1.1), "b2.csv", port="2"), sheet(times(1.1), "b.csv", port=None)],
    }
    assert "that of ports 2, the unnamed port alone" in told(job(many), "shared-ports")[0]
    alike = {"a": [sheet(FLOWS, "a.csv")], "b": [sheet(times(1.1), "b.csv")]}
    assert told(job(alike), "shared-ports") == told(job(alike), "different-ports") == []


def test_the_ports_of_another_head_are_no_ports_of_this_one():
    aim = replace(sheet(times(1.2), "aim.csv", port="9"), role="target", stage="aim")
    stages = {"a": [sheet(FLOWS, "a.csv", port="1")], "b": [sheet(times(1.1), "b.csv", port="2")]}
    made = job(stages, target=Target("aim", (aim,)))
    (text,) = told(made, "different-ports")
    assert text.startswith(
        "b against a, intake: measured in different ports; their own spread is not known. "
    )
    assert told(made, "shared-ports") == []


def test_another_set_up_is_named_with_all_that_it_spoils():
    first = replace(sheet({}, "a.csv").fixture, bore_m=0.086)
    other = replace(first, bore_m=0.090)
    stages = {
        name: [sheet(times(factor), f"{name}.csv", fixture=fixture)]
        for name, factor, fixture in (("a", 1, first), ("b", 1.1, first), ("c", 1.2, other))
    }
    assert told(job({name: stages[name] for name in "bc"}), "other-setup")[0].startswith(
        "c against b, intake:"
    )
    assert told(job(stages), "other-setup") == [
        "c against a, c against b, intake: another set-up (bore), so no verdict is clear. "
        "Test both in the same set-up."
    ]


def concerns(made: Job, code: str) -> list[tuple]:
    """Return level, stage and side of what is said under a code, and the first word of its cure."""
    found = [f for f in review(made).findings if f.code == code]
    return [(f.level, f.stage, f.side, f.cure.split(" ")[0]) for f in found]


def test_whom_it_concerns_and_what_is_to_be_done():
    short, almost = (job({"a": [sheet(times(1, LIFTS_M[:n]), "a.csv")]}) for n in (8, 9))
    assert concerns(short, "short-of-cam") == [("look", "a", "intake", "Read")]
    assert concerns(almost, "held-above-readings") == [("note", "a", "intake", "")]
    assert concerns(turned(0.03, 0.002), "flow-turns-over") == [("note", "a", "intake", "")]
    assert concerns(almost, "assumed-repeatability") == [("note", None, "intake", "Test")]
    first = replace(sheet({}, "a.csv").fixture, bore_m=0.086, intake_entry="bare")
    other = replace(first, bore_m=0.090, intake_entry="radius")
    stages = {
        "a": [sheet(FLOWS, "a.csv", fixture=first)],
        "b": [sheet(times(1.1), "b.csv", port="2", fixture=first)],
        "c": [sheet(times(1.2), "c.csv", fixture=other)],
        "d": [sheet(times(1.2), "d.csv", fixture=first)],
    }
    chambers = {"a": 5e-5}
    made = job(stages, stages=tuple(Stage(n, 1.0, chamber_volume_m3=chambers.get(n)) for n in stages))
    ((level, stage, side, cure),) = concerns(made, "other-setup")
    assert (level, stage, side, cure) == ("look", "c", "intake", "Test")
    assert "(bore, intake entry)" in told(made, "other-setup")[0]
    assert ("look", "b", "intake", "Test") in concerns(made, "different-ports")
    assert [stage for _, stage, _, _ in concerns(made, "chamber-inherited")] == ["b", "c", "d"]


def test_what_a_set_up_leaves_open_is_said_once():
    stages = {"a": [sheet(FLOWS, "a.csv")], "b": [sheet(times(1.1), "b.csv")], "c": [sheet(FLOWS, "c.csv")]}
    (text,) = told(job(stages), "setup-unknown")
    assert text.startswith("Not stated on every sheet, so sameness of the set-up is not known: bore, ")


def test_a_chamber_that_was_inherited():
    specs = (Stage("a", 0.0, chamber_volume_m3=50e-6), Stage("b", 100.0))
    stages = {"a": [sheet(FLOWS, "a.csv")], "b": [sheet(times(1.1), "b.csv")]}
    made = job(stages, stages=specs)
    assert told(made, "chamber-inherited") == [
        "b: no chamber volume stated, that of the stage before is taken."
    ]
