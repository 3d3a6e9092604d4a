"""Facts of the trade as plausibility checks: common practice, no source.

Only the figures named in each check are the trade's; the rest of each curve is filled in.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pytest

from core.job import BenchSheet, CamLobe, Sides, Target, Valve
from core.results import Review
from core.review import review
from tests.core.jobs import BENCH, job, sheet

pytestmark = pytest.mark.outside

INCH_M = 0.0254
CFM_M3_S = 0.3048**3 / 60
VALVE = Valve(
    diameter_m=2.10 * INCH_M,
    valves_per_cylinder=1,
    stem_diameter_m=11 / 32 * INCH_M,
    throat_diameter_m=1.86 * INCH_M,
    seat_angle_rad=np.radians(45),
    seat_width_m=0.060 * INCH_M,
)
CAM = CamLobe(lift_m=0.600 * INCH_M)


def in_cfm(flows: Mapping[float, float], file: str, **more: object) -> BenchSheet:
    """Return an intake sheet from {lift in inches: cfm} at 28 inH2O."""
    return sheet({lift * INCH_M: cfm * CFM_M3_S for lift, cfm in flows.items()}, file, **more)


def reviewed(**stages: Mapping[float, float]) -> Review:
    """Return the review of one set-up a stage, on a bench that is taken to repeat to 0.5 %."""
    assert BENCH.repeatability == 0.005
    sheets = {name: [in_cfm(flows, f"{name}.csv")] for name, flows in stages.items()}
    return review(job(sheets, cams=Sides(CAM, None), valves=Sides(VALVE, None)))


# 294 cfm at 0.600 in: a strong race-ready casting. 272 cfm at 0.800 in: an ordinary one with seat
# and chamber work only. Both with a 2.10 in intake valve at 28 inH2O.
STRONG = {0.1: 60, 0.2: 132, 0.3: 204, 0.4: 254, 0.5: 280, 0.6: 294}
ORDINARY = {0.1: 58, 0.2: 122, 0.3: 178, 0.4: 220, 0.5: 246, 0.6: 260, 0.7: 268, 0.8: 272}


def test_a_strong_and_an_ordinary_casting_are_both_believed():
    found = reviewed(strong=STRONG).findings + reviewed(ordinary=ORDINARY).findings
    assert [finding for finding in found if finding.level != "note"] == []


def test_a_cfm_count_that_no_such_valve_can_pass_is_not_believed():
    # The two above must not pass because anything does: 146 cfm a square inch at most (common
    # practice), and this throat less its stem is 2.62 in2.
    result = reviewed(slip=STRONG | {0.6: 494})
    assert "stop" in {finding.level for finding in result.findings}
    assert result.stages[0].intake.flow_m3_s[-1] is None


def test_the_strong_casting_is_better_for_its_valve_area():
    target = Target(
        "ordinary", (in_cfm(ORDINARY, "o.csv", role="target", stage="ordinary"),), Sides(VALVE, None)
    )
    sheets = {"strong": [in_cfm(STRONG, "s.csv")]}
    result = review(job(sheets, cams=Sides(CAM, None), valves=Sides(VALVE, None), target=target))
    gain, strong = result.gain("strong", "intake", "target"), result.stages[0].intake
    assert not any(finding.level == "stop" for finding in result.findings)
    # By hand: the head is pi/4 x 2.10^2 = 3.464 in2, so 84.9 against 78.5 cfm/in2 at their best, of an
    # isentropic 140.39: 0.605 and 0.559.
    assert strong.flow_coefficient[-1] == pytest.approx(0.605, abs=5e-4)
    assert gain.lift_m[5] == pytest.approx(0.6 * INCH_M)
    assert gain.coefficient_gain[5] == pytest.approx((294 - 260) / 3.4636 / 140.39, rel=1e-4)
    assert gain.verdict[5] == "clear gain"
    # Even against the best of the other, 0.2 in higher: 8 % where 1.4 % would do.
    best = 272 / 3.4636 / 140.39
    assert strong.flow_coefficient[-1] / best - 1 > 3 * gain.expanded_fraction[5]


def test_275_against_272_is_too_close_to_call():
    result = reviewed(before=ORDINARY, after=ORDINARY | {0.8: 275})
    gain = result.gain("after", "intake", "baseline")
    assert gain.lift_m[-1] == pytest.approx(0.8 * INCH_M)
    assert gain.gain_m3_s[-1] / CFM_M3_S == pytest.approx(3)
    assert gain.verdict[-1] == "too close to call"
    # 0.5 % twice and 95 %: 1.4 % of 272 is 3.8 cfm.
    assert gain.expanded_uncertainty_m3_s[-1] / CFM_M3_S == pytest.approx(3.8, abs=0.05)
    # A sweep that is up throughout, by the same 1.1 %, is no better known: its set-up moved it all.
    up = {lift: cfm * 275 / 272 for lift, cfm in ORDINARY.items()}
    whole = reviewed(before=ORDINARY, after=up).gain("after", "intake", "baseline")
    assert {*whole.verdict, whole.mean.verdict} == {"too close to call"}


def test_gains_at_low_and_mid_lift_count_without_a_higher_peak():
    more = {0.1: 6, 0.2: 10, 0.3: 12, 0.4: 9, 0.5: 6, 0.6: 0}
    before = {lift: ORDINARY[lift] for lift in more}
    after = {lift: cfm + more[lift] for lift, cfm in before.items()}
    result = reviewed(before=before, after=after)
    gain, (first, second) = result.gain("after", "intake", "baseline"), result.stages
    assert first.intake.peak_flow_m3_s == second.intake.peak_flow_m3_s
    assert gain.at_peak_m3_s == 0 and gain.verdict[-1] == "too close to call"
    assert gain.cam_weighted.verdict == gain.mean.verdict == "clear gain"
    # The valve is above 0.5 of 0.6 in for sqrt(1 - sqrt(5/6)) = 30 % of the time, where the gain falls from
    # 6 to 0, and below 0.1 in for 1 - sqrt(1 - sqrt(1/6)) = 23 %, where it grows from 0 to 6; it is 6 to 12
    # for the rest. So the mean lies between a third and two thirds of the best lift's 12 cfm.
    assert 4 < gain.cam_weighted.gain_m3_s / CFM_M3_S < 8
    assert not any(finding.level == "stop" for finding in result.findings)
