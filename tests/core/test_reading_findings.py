"""More flow than a valve and its seat can pass: where it is said, in which figures, and what it stops."""

from __future__ import annotations

from dataclasses import replace
from math import cos, pi, radians, sin, sqrt

import fluids
import pytest

from core.constants import INCH_WATER_PA
from core.job import Bench, Job, Reading, Setup, Sides, Stage, Target, Valve
from core.numbers import finding_text
from core.review import review
from core.units import METRIC
from tests.core.jobs import AIR, PRESSURE_PA, job, sheet
from tests.core.test_calibration import leak

VALVE = Valve(0.034, 1, 0.006, 0.028, radians(45), 0.001)
HIGH_M, LOW_M = 0.010, 0.0015
THROAT_M2 = pi / 4 * (0.028**2 - 0.006**2)  # at 10 mm the seat leaves more than the throat does
# Heywood (1988), eq. 6.7 (from memory): a cone's side, square to a seat of 45 degrees, while the lift is low.
CONE_M2 = pi * LOW_M * cos(radians(45)) * (0.034 - 2 * 0.001 + LOW_M / 2 * sin(radians(90)))


def most(area_m2: float, side: str = "intake") -> float:
    """Return what an area can pass at 28 inH2O in ISO air, isentropic (fluids, as in test_isentropic)."""
    before = 101325.0 if side == "intake" else 101325.0 + PRESSURE_PA
    share = fluids.nozzle_expansibility(D=1.0, Do=1e-4, P1=before, P2=before - PRESSURE_PA, k=1.4)
    return area_m2 * share * sqrt(2 * PRESSURE_PA / 1.2250)


def read(flow_m3_s: float, lift_m: float, side: str = "intake", valve: Valve = VALVE, **more) -> Job:
    """Return a job of one sheet that read one flow more than plausible ones below it."""
    flows = {0.0005: 0.001, lift_m: flow_m3_s}
    valves = Sides(valve, None) if side == "intake" else Sides(None, valve)
    return job({"a": [sheet(flows, "a.csv", side=side, **more)]}, valves=valves)


def said(made: Job) -> list[tuple[str, str]]:
    return [(f.level, f.code) for f in review(made).findings if f.code.startswith("flow-")]


def told(made: Job, code: str) -> str:
    (found,) = (f for f in review(made).findings if f.code == code)
    return finding_text(found, METRIC).replace("\u00a0", " ").replace("\u202f", " ")


SUSPICIOUS, IMPOSSIBLE = [("look", "flow-suspicious")], [("stop", "flow-impossible")]


@pytest.mark.outside
@pytest.mark.parametrize("side", ["intake", "exhaust"])
@pytest.mark.parametrize(
    ("share", "expected"),
    [(1.045, []), (1.055, SUSPICIOUS), (1.245, SUSPICIOUS), (1.255, IMPOSSIBLE)],
)
def test_more_than_the_throat_can_pass(side, share, expected):
    """Source: fluids 1.3.1 for the flow; the throat less the stem by hand. 5 % and 25 % are judgement."""
    made = read(share * most(THROAT_M2, side), HIGH_M, side)
    assert said(made) == expected
    curve = review(made).stages[0].side(side)
    assert curve.lift_m[-1] == HIGH_M
    assert (curve.flow_m3_s[-1] is None) == (expected == IMPOSSIBLE)


@pytest.mark.outside
@pytest.mark.parametrize(("share", "expected"), [(1.045, []), (1.055, ["note"]), (1.6, ["note"])])
def test_at_low_lift_the_zero_of_the_lift_decides_and_nothing_is_stopped(share, expected):
    made = read(share * most(CONE_M2), LOW_M)
    assert said(made) == [(level, "flow-low-lift") for level in expected]
    assert review(made).stages[0].intake.flow_m3_s[-1] == pytest.approx(share * most(CONE_M2), rel=1e-4)


@pytest.mark.parametrize(("of_diameter", "expected"), [(0.079, "flow-low-lift"), (0.081, "flow-impossible")])
def test_where_low_lift_ends(of_diameter, expected):
    (found,) = said(read(2 * most(THROAT_M2), of_diameter * 0.034))
    assert found[1] == expected


def test_it_is_said_in_figures():
    made = read(1.3 * most(THROAT_M2), HIGH_M)
    litres = f"{1300 * most(THROAT_M2):.1f} L/s"
    assert told(made, "flow-impossible") == (
        f"a, intake at 10 mm: {litres} is 130 % of the most that this valve and seat can pass. "
        "It is left out. Check the reading, its unit, the lift and the valve's sizes."
    )
    text = told(read(1.1 * most(THROAT_M2), HIGH_M), "flow-suspicious")
    assert "is 110 % of the most" in text and "left out" not in text
    low = told(read(1.1 * most(CONE_M2), LOW_M), "flow-low-lift")
    assert low.endswith(
        "is 110 % of the most that this valve and seat can pass. Check the lift zero and the seat width."
    )


def test_what_is_not_known_is_not_judged():
    """Without a size of the seat, or a test pressure, nobody knows the most."""
    much = 3 * most(THROAT_M2)
    for missing in ("diameter_m", "stem_diameter_m", "throat_diameter_m", "seat_angle_rad", "seat_width_m"):
        assert said(read(much, HIGH_M, valve=replace(VALVE, **{missing: None}))) == []
    assert said(read(much, HIGH_M, air=replace(AIR, test_pressure_pa=None))) == []


def test_each_stage_and_the_target_are_judged_by_their_own_valves():
    """A valve of no known seat is not judged, one that a stage put in is, and the target's is its own."""
    larger = replace(VALVE, throat_diameter_m=0.0295)
    much = {0.0005: 0.001, HIGH_M: 1.06 * most(THROAT_M2)}
    bought = {"a": None, "b": VALVE, "c": larger}
    specs = tuple(Stage(name, 1.0, valves=Sides(valve, None)) for name, valve in bought.items())
    stages = {name: [sheet(much, f"{name}.csv", port=name)] for name in "abc"}
    aim = replace(sheet(much, "aim.csv"), role="target", stage="aim")
    for valve, files in ((None, ["b.csv"]), (VALVE, ["b.csv", "aim.csv"]), (larger, ["b.csv"])):
        target = Target("aim", (aim,), Sides(valve, None))
        done = review(job(stages, stages=specs, target=target))
        found = [f for f in done.findings if f.code == "flow-suspicious"]
        assert [f.file for f in found] == files


def test_it_is_said_where_it_stands():
    nothing = job({"a": [sheet({0.001: 0.01, HIGH_M: 0.0}, "a.csv")]})
    for made, code in ((read(1.3 * most(THROAT_M2), HIGH_M), "flow-impossible"), (nothing, "no-flow")):
        (found,) = [f for f in review(made).findings if f.code == code]
        assert (found.file, found.line, found.stage) == ("a.csv", 10, "a")
        assert (found.side, found.lift_m) == ("intake", HIGH_M)


def test_two_valves_pass_twice_as_much():
    two = replace(VALVE, valves_per_cylinder=2)
    assert said(read(2.09 * most(THROAT_M2), HIGH_M, valve=two)) == []
    assert said(read(2.11 * most(THROAT_M2), HIGH_M, valve=two)) == SUSPICIOUS
    one_open = replace(sheet({}, "a.csv").fixture, valves_open=1)
    assert isinstance(one_open, Setup)
    assert said(read(1.06 * most(THROAT_M2), HIGH_M, valve=two, fixture=one_open)) == SUSPICIOUS


def test_why_there_is_no_flow():
    """What is read, what it is read with, and what is subtracted from it have cures of their own."""
    nothing = job({"a": [sheet({0.001: 0.01, 0.002: 0.0}, "a.csv")]})
    assert told(nothing, "no-flow") == (
        "a, intake at 2 mm: no flow. Take the reading again, or leave the cell blank."
    )
    percent = replace(sheet({}, "a.csv"), readings=Sides((Reading(0.001, 9, range_fraction=0.5),), ()))
    assert told(job({"a": [percent]}), "no-flow") == (
        "a, intake at 1 mm: cannot be turned into a flow. State the range in use, or give the flow."
    )
    drop = replace(sheet({}, "a.csv"), readings=Sides((Reading(0.001, 9, plate_drop_pa=500.0),), ()))
    plates = (Bench("bench", "plate pressure drop"),)
    assert "add plate_diameter" in told(job({"a": [drop]}, benches=plates), "no-flow")
    leaking = job({"a": [sheet({0.001: 0.001, 0.002: 0.02}, "a.csv")]})
    leaking = replace(leaking, sheets=(*leaking.sheets, leak(0.002, 28 * INCH_WATER_PA)))
    assert told(leaking, "no-flow") == (
        "a, intake at 1 mm: no flow is left after the leak. Check the leak sheet and the reading."
    )
