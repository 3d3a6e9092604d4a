"""What a target leaves open is said in plain words, of each side, and only where it is so."""

from __future__ import annotations

from dataclasses import replace

import pytest

from core.findings.target import of_target
from core.job import Bench, BenchSheet, Finding, Job, Sides, Stage, Target, Valve
from core.numbers import finding_text
from core.results import Review
from core.review import review
from core.units import METRIC
from tests.core.jobs import BENCH, CAM, job, sheet

LIFTS_M = tuple(n * 1e-3 for n in range(1, 10))
KNOWN = Sides(Valve(diameter_m=0.030), Valve(diameter_m=0.025))


def read(name: str, *sides: str, top_m: float = 0.009) -> list[BenchSheet]:
    """Return a sheet a side, read up to a lift."""
    flows = {lift: 5 * lift for lift in LIFTS_M if lift <= top_m + 1e-9}
    return [sheet(flows, f"{name}-{side}.csv", side) for side in sides]


def aimed(
    *aim: BenchSheet,
    work: tuple[str, ...] = ("intake", "exhaust"),
    valves: Sides[Valve | None] = KNOWN,
    own: Sides[Valve | None] = KNOWN,
    benches: tuple[Bench, ...] = (),
) -> Job:
    """Return a job of one stage with a target."""
    sheets = tuple(replace(one, role="target", stage="Old Faithful") for one in aim)
    target = Target("Old Faithful", sheets, valves, benches)
    return job({"work": read("work", *work)}, target=target, valves=own, cams=Sides(None, None))


def told(made: Job) -> list[Finding]:
    """Return what is said of the target."""
    done: Review = review(made)
    found = of_target(made, done.target, done.stages, done.usable_lift_m)
    assert all(one in done.findings for one in found)
    return found


def words(found: list[Finding]) -> list[str]:
    """Return it as a person reads it."""
    return [finding_text(one, METRIC).replace("\u00a0", " ").replace("\u202f", " ") for one in found]


BOTH = read("aim", "intake", "exhaust")


def test_a_target_that_states_all_leaves_nothing_open() -> None:
    assert told(aimed(*BOTH)) == []
    assert told(job({"work": read("work", "intake")})) == []
    assert of_target(job({}), None, (), Sides(None, None)) == []


@pytest.mark.parametrize("side", ["intake", "exhaust"])
def test_a_side_that_the_target_lacks(side: str) -> None:
    other = read("aim", "exhaust" if side == "intake" else "intake")
    (found,) = told(aimed(*other))
    assert (found.level, found.code, found.side) == ("note", "target-without-side", side)
    assert words([found]) == [
        f"The target Old Faithful has no {side} that can be used, so that side has nothing to reach. "
        f"Add its {side} readings."
    ]
    # A side that no stage was read on has nothing to compare, whatever the target has.
    assert told(aimed(*other, work=("exhaust" if side == "intake" else "intake",))) == []


@pytest.mark.parametrize("side", ["intake", "exhaust"])
def test_a_valve_of_unknown_size(side: str) -> None:
    unknown = Sides(None, KNOWN.exhaust) if side == "intake" else Sides(KNOWN.intake, None)
    cases = [
        (aimed(*BOTH, valves=unknown), "target's", f"[target.{side}]"),
        (aimed(*BOTH, own=unknown), "head's", f"[{side}]"),
        (aimed(*BOTH, own=unknown, valves=unknown), "head's", f"[{side}]"),  # the head's first
    ]
    for made, whose, table in cases:
        (found,) = told(made)
        assert (found.level, found.code, found.side) == ("look", "target-without-valve", side)
        assert words([found]) == [
            f"The size of the {whose} {side} valve is not known, so a larger valve could hide a worse port. "
            f'Add valve_diameter = "33.5 mm" under {table}, with the size it has.'
        ]


def test_the_valve_that_counts_is_that_of_the_last_stage() -> None:
    """A stage that fitted a valve of known size has it; one before it may have none."""
    made = aimed(*BOTH, own=Sides(None, KNOWN.exhaust))
    sized = Stage("work", valves=Sides(Valve(diameter_m=0.031), None))
    assert told(replace(made, stages=(Stage("first"), sized))) == []
    # A planned stage without readings is not what is compared.
    assert [one.code for one in told(replace(made, stages=(Stage("work"), replace(sized, name="next"))))] == [
        "target-without-valve"
    ]


@pytest.mark.parametrize("side", ["intake", "exhaust"])
def test_a_target_that_ends_below_the_lift_in_use(side: str) -> None:
    other = "exhaust" if side == "intake" else "intake"
    made = aimed(*read("aim", side, top_m=0.006), *read("aim", other))
    (found,) = told(made)
    assert (found.level, found.code, found.side) == ("look", "target-short", side)
    assert words([found]) == [
        f"The target Old Faithful, {side}: readings stop at 6 mm, below the 9 mm in use: no more is "
        "compared. Read the target to that lift."
    ]
    cam = replace(CAM, lift_m=0.006)  # a cam that lifts no further needs no more
    assert told(replace(made, cams=Sides(cam, cam))) == []


def test_a_target_of_another_bench() -> None:
    (found,) = told(aimed(*BOTH, benches=(replace(BENCH, name="elsewhere"),)))
    assert (found.level, found.code, found.side) == ("note", "target-other-bench", None)
    assert words([found]) == [
        "The target Old Faithful was not read on this job's bench: what either bench is off by is in the ±. "
        "Read both on one bench; a bench of another job is the same if both name and state it alike."
    ]


def test_all_of_it_is_said_at_once() -> None:
    made = aimed(
        *read("aim", "intake", top_m=0.006), valves=Sides(None, None), benches=(replace(BENCH, name="b"),)
    )
    assert [(one.code, one.side) for one in told(made)] == [
        ("target-without-valve", "intake"),
        ("target-short", "intake"),
        ("target-without-side", "exhaust"),
        ("target-other-bench", None),
    ]
    aim = read("aim", "exhaust", top_m=0.006)
    short = ("target-short", "exhaust")
    assert [(one.code, one.side) for one in told(aimed(*aim))] == [("target-without-side", "intake"), short]
    assert [(one.code, one.side) for one in told(aimed(*aim, work=("exhaust",)))] == [short]
