"""From a job to what the breathing model is given: areas, sizes, what is assumed and what is refused."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from core.breathing.areas import Lobe
from core.job import Job, Sides
from core.power_assumptions import Unknown, assumption, default_runner_length, unknowns
from core.power_input import PowerInput, power_input
from core.power_model import PowerSettings, assumptions_of
from core.review import review
from tests.core.jobs import PRESSURE_PA
from tests.core.power_jobs import (
    CAMS,
    CFM_M3_S,
    EXHAUST,
    INCH_M,
    INTAKE,
    VALVES,
    Flows,
    engine,
    power_job,
    times,
)

Array = NDArray[np.float64]
RPM = np.pi / 30
LIFTS = np.array(list(INTAKE)) * INCH_M


def given(job: Job) -> PowerInput:
    """Return what the model is given."""
    found = power_input(job, review(job))
    assert isinstance(found, PowerInput), found
    return found


def area(flow_cfm: Array, side: str) -> Array:
    """Return the isentropic area of a flow of standard air at 28 inH2O, from energy and entropy."""
    p, rho = 101_325.0, 1.225
    before, behind = (p, p - PRESSURE_PA) if side == "intake" else (p + PRESSURE_PA, p)
    share, rt = behind / before, before / rho  # the flow is stated at standard density
    throat_m_s = np.sqrt(7 * rt * (1 - share ** (2 / 7)))
    return np.asarray(flow_cfm) * CFM_M3_S / (share ** (1 / 1.4) * throat_m_s)


def only(flows: Flows, least: float, most: float) -> Flows:
    """Return some of the lifts."""
    return {lift: flow for lift, flow in flows.items() if least <= lift <= most}


# areas ------------------------------------------------------------------------------------


@pytest.mark.outside
def test_areas_are_those_of_the_flows_that_were_read():
    more = {lift: flow * (1 + lift / 10) for lift, flow in INTAKE.items()}
    found = given(power_job({"as cast": (INTAKE, EXHAUST), "port": (more, EXHAUST)}))
    assert [stage.name for stage in found.stages] == ["as cast", "port"] and found.refused == {}
    first, second = (stage.areas for stage in found.stages)
    assert first.intake.at(LIFTS) == pytest.approx(area(list(INTAKE.values()), "intake"), rel=1e-6)
    assert second.intake.at(LIFTS) == pytest.approx(area(list(more.values()), "intake"), rel=1e-6)
    for areas in (first, second):
        assert areas.exhaust.at(LIFTS) == pytest.approx(area(list(EXHAUST.values()), "exhaust"), rel=1e-6)


def test_a_stage_that_was_read_higher_goes_on_with_its_own_shape():
    low = only(INTAKE, 0, 0.6)
    more = times(INTAKE, 1.1) | {0.7: 320.0}  # and not 1.1 times what the baseline would have had
    found = given(
        power_job(
            {"as cast": (low, EXHAUST), "port": (more, EXHAUST), "shorter": (only(more, 0, 0.6), EXHAUST)},
            cams=Sides(replace(CAMS.intake, lift_m=0.6 / 1.7 * INCH_M), CAMS.exhaust),
        )
    )
    at = np.array([0.5, 0.6, 0.65, 0.7, 0.8]) * INCH_M
    first, second, third = (stage.areas.intake.at(at) for stage in found.stages)
    held = area([246, 260, 260, 260, 260], "intake")
    assert first == pytest.approx(held, rel=1e-6)
    assert second[[0, 1, 3, 4]] == pytest.approx(area([1.1 * 246, 1.1 * 260, 320, 320], "intake"), rel=1e-6)
    assert second[1] < second[2] < second[3]
    assert third == pytest.approx(1.1 * held, rel=1e-6)


def test_readings_above_the_baselines_and_beside_its_lifts_are_kept():
    # Read at 0.15, 0.25 ... 0.75 in, where the baseline ends at 0.6.
    beside = dict(zip(np.arange(0.15, 0.76, 0.1).tolist(), (90, 165, 225, 268, 291, 300, 302), strict=True))
    found = given(
        power_job(
            {"as cast": (only(INTAKE, 0, 0.6), EXHAUST), "port": (beside, EXHAUST)},
            cams=Sides(replace(CAMS.intake, lift_m=0.6 / 1.7 * INCH_M), CAMS.exhaust),
        )
    )
    at = np.array([0.65, 0.75]) * INCH_M
    assert found.stages[1].areas.intake.at(at) == pytest.approx(area([300, 302], "intake"), rel=1e-6)


def test_a_stage_stands_to_the_baseline_where_both_were_read():
    sparse = times({lift: INTAKE[lift] for lift in (0.2, 0.4, 0.7)}, 1.2)
    found = given(power_job({"as cast": (INTAKE, EXHAUST), "port": (sparse, EXHAUST)}))
    first, second = (stage.areas.intake for stage in found.stages)
    at = np.array([0.2, 0.4, 0.7]) * INCH_M
    assert second.at(at) == pytest.approx(1.2 * first.at(at), rel=1e-6)
    # Between them the line through its own readings stands to the baseline's at the baseline's lifts.
    through = PchipInterpolator([0, *sparse], [0, *sparse.values()])
    assert second.at(LIFTS) == pytest.approx(area(through(list(INTAKE)), "intake"), rel=1e-6)
    assert second.lift_m.tolist() == first.lift_m.tolist()


def test_a_baseline_without_one_side_lends_the_other():
    found = given(power_job({"as cast": (INTAKE, None), "bowl": (INTAKE, EXHAUST)}))
    assert [stage.name for stage in found.stages] == ["bowl"]
    assert found.refused["as cast"].because.startswith("its exhaust was not measured")
    assert "must not be guessed" in found.refused["as cast"].because


# sizes ------------------------------------------------------------------------------------


def test_sizes_are_the_jobs():
    found = given(power_job({"as cast": (INTAKE, EXHAUST)}))
    crank = found.crank
    assert (crank.bore_m, crank.stroke_m, crank.rod_length_m) == pytest.approx((0.10795, 0.1016, 0.1524))
    assert crank.compression_ratio == 13 and found.cylinders == 8
    assert found.redline_rad_s == pytest.approx(7500 * RPM)
    assert found.head_area_m2 == pytest.approx(np.pi / 4 * (2.1 * INCH_M) ** 2)
    assert found.lobes.intake.centre_rad == pytest.approx(np.radians(360 + 106))
    assert found.lobes.exhaust.centre_rad == pytest.approx(np.radians(360 - 112))
    assert found.notes == ()


def test_all_valves_of_a_cylinder_count():
    two = Sides(replace(VALVES.intake, valves_per_cylinder=2, diameter_m=1.5 * INCH_M), VALVES.exhaust)
    found = given(power_job({"as cast": (INTAKE, EXHAUST)}, valves=two))
    assert found.head_area_m2 == pytest.approx(2 * np.pi / 4 * (1.5 * INCH_M) ** 2)


def test_what_is_not_stated_is_assumed_and_said():
    lobes = Sides(*(replace(lobe, centreline_rad=None) for lobe in (CAMS.intake, CAMS.exhaust)))
    bare = engine(redline_rad_s=None, rod_length_m=None)
    found = given(power_job({"as cast": (INTAKE, EXHAUST)}, engine=bare, cams=lobes))
    assert found.crank.rod_length_m == pytest.approx(1.75 * 0.1016)
    # 20 m/s of mean piston speed: 20 x 30 / 0.1016 m = 5905.5 rpm.
    assert found.redline_rad_s / RPM == pytest.approx(20 * 30 / 0.1016)
    assert np.degrees([found.lobes.intake.centre_rad, found.lobes.exhaust.centre_rad]) == pytest.approx(
        [468, 248]
    )
    assert list(found.notes) == [
        "The rod's length is not stated: 1.75 times the stroke is taken.",
        "The redline is not stated: 5906 rpm is taken, 20 m/s of mean piston speed.",
        "The intake centreline is not stated: 108 deg is taken.",
        "The exhaust centreline is not stated: 112 deg is taken.",
    ]


def test_a_cam_that_lifts_higher_than_was_read_is_said():
    # 0.7 in of lift, read to 0.65: the rest is held.
    short = only(INTAKE, 0, 0.6) | {0.65: 264}
    found = given(power_job({"as cast": (INTAKE, EXHAUST), "port": (short, EXHAUST)}))
    assert list(found.notes) == [
        "The intake of port was read to 93% of the cam's lift; above that its flow is held."
    ]


# assumptions ------------------------------------------------------------------------------


@pytest.mark.outside
@pytest.mark.parametrize("rpm", [3500, 6000, 9000, 12000])
def test_a_runner_is_84_000_inches_over_rpm(rpm: float):
    # Common practice, no source: rpm at which it is tuned, 85 % of the redline. 350 m/s x 73 deg is that
    # to 0.2 %.
    found = default_runner_length(rpm * RPM)
    assert found == pytest.approx(np.clip(84_000 / (0.85 * rpm) * INCH_M, 0.15, 0.6), rel=3e-3)
    # There and back at 350 m/s while the crank turns 73 deg at that speed.
    if 0.15 < found < 0.6:
        assert 2 * found / 350 * 0.85 * rpm * 6 == pytest.approx(73)


def test_a_cam_that_is_known_by_its_table_or_centreline_is_known_better():
    found = given(power_job({"as cast": (INTAKE, EXHAUST)}))
    table = ((-2.5, 0.0), (0.0, 0.0175), (2.5, 0.0))

    def unsure(**changed: Any) -> dict[str, float]:
        lobes = [
            replace(one, lobe=replace(one.lobe, **changed))
            for one in (found.lobes.intake, found.lobes.exhaust)
        ]
        return {one.key: one.unsure for one in unknowns(1e-3, 700.0, *lobes)}

    plain, tabled, loose = unsure(), unsure(table=table), unsure(centreline_rad=None)
    assert (plain["lobe_stretch"], tabled["lobe_stretch"]) == (0.015, 0.005)
    keys = [f"{side}_centreline_rad" for side in ("intake", "exhaust")]
    assert [np.degrees(plain[key]) for key in keys] == pytest.approx([1.5, 1.5])
    assert [np.degrees(loose[key]) for key in keys] == pytest.approx([4, 4])
    one = replace(found.lobes.intake, lobe=replace(found.lobes.intake.lobe, table=table))
    mixed = unknowns(1e-3, 700.0, one, found.lobes.exhaust)
    assert next(x.unsure for x in mixed if x.key == "lobe_stretch") == 0.015


def test_a_value_is_assumed_stated_or_set():
    one = Unknown("a_m", "a", "length", 2.0, 0.3, 0.1, 1.0, 4.0, "why")
    assumed, stated, chosen = assumption(one, None), assumption(one, None, True), assumption(one, 3.0, True)
    assert [(x.origin, x.value, x.standard_uncertainty) for x in (assumed, stated, chosen)] == [
        ("assumed", 2.0, 0.3),
        ("job", 2.0, 0.3),
        ("set", 3.0, 0.1),
    ]
    assert (chosen.key, chosen.name, chosen.unit_kind, chosen.note) == ("a_m", "a", "length", "why")
    assert (chosen.least, chosen.greatest) == (1.0, 4.0)
    for edge in (1.0, 4.0, 1 - 1e-12, 4 + 1e-12):  # a limit in another unit may be off by its last bits
        assert assumption(one, edge).value == edge
    for beyond in (0.999, 4.001, -2.0):
        with pytest.raises(ValueError, match="It must be 1 to 4"):
            assumption(one, beyond)


def test_every_value_that_is_assumed_may_be_set():
    found = given(power_job({"as cast": (INTAKE, EXHAUST)}))
    for one in unknowns(found.head_area_m2, found.redline_rad_s, found.lobes.intake, found.lobes.exhaust):
        assert one.least <= one.assumed - one.unsure and one.assumed + one.unsure <= one.greatest, one.key
        assert 0 <= one.unsure_set <= one.unsure and one.note and one.name


def test_the_assumptions_are_those_of_engine_and_cams():
    plain = replace(CAMS.exhaust, centreline_rad=None)
    found = given(power_job({"as cast": (INTAKE, EXHAUST)}, cams=Sides(CAMS.intake, plain)))
    known = assumptions_of(found, PowerSettings(heat_level=1.2))
    assert known["heat_level"].value == 1.2
    assert {key: known[key].origin for key in ("heat_level", "fuel_level")} == {
        "heat_level": "set",
        "fuel_level": "assumed",
    }
    origins = [known[f"{side}_centreline_rad"].origin for side in ("intake", "exhaust")]
    assert origins == ["job", "assumed"]
    assert found.lobes.exhaust == Lobe(plain, pytest.approx(2 * np.pi - np.radians(112)))
    assert found.lobes.intake == Lobe(CAMS.intake, pytest.approx(2 * np.pi + np.radians(106)))
