"""From a job to what the breathing model is given: areas, sizes, what is assumed and what is refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from core.job import Job, Sides, Stage, Valve
from core.power_input import PowerInput, power_input
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


def test_a_reading_that_is_stopped_has_no_area():
    """One of three stages has a gross slip at 0.5 in: its curve and its gain go without that lift."""
    slip = INTAKE | {0.5: 2460.0}
    job = power_job(
        {name: (slip if name == "port" else INTAKE, EXHAUST) for name in ("as cast", "bowl", "port")}
    )
    assert review(job).gain("port", "intake", "baseline").after_m3_s.count(None) == 1
    areas = [stage.areas.intake for stage in given(job).stages]
    assert areas[2].at(LIFTS) == pytest.approx(areas[0].at(LIFTS), rel=1e-6)
    first = power_job(
        {name: (slip if name == "as cast" else INTAKE, EXHAUST) for name in ("as cast", "b", "c")}
    )
    areas = [stage.areas.intake for stage in given(first).stages]
    read = np.delete(LIFTS, 4)
    assert areas[0].at(read) == pytest.approx(
        area([INTAKE[0.1], *only(INTAKE, 0.2, 0.4).values(), 260, 268], "intake")
    )
    assert areas[0].lift_m.tolist() == pytest.approx(read.tolist())


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


def test_the_valves_are_those_of_the_first_stage():
    """A later stage's larger valve shows in its flow; the bore and the runner are reckoned for the first."""
    own = Stage("as cast", valves=Sides(Valve(diameter_m=2.0 * INCH_M), None))
    later = Stage("port", valves=Sides(Valve(diameter_m=2.2 * INCH_M), None))
    sides = Sides(replace(VALVES.intake, diameter_m=None, valves_per_cylinder=None), VALVES.exhaust)
    job = power_job({"as cast": (INTAKE, EXHAUST), "port": (INTAKE, EXHAUST)}, valves=sides)
    found = given(replace(job, stages=(own, later)))
    assert found.head_area_m2 == pytest.approx(np.pi / 4 * (2.0 * INCH_M) ** 2)
    unknown = replace(job, stages=(replace(own, valves=Sides(None, None)), later))
    refusal = power_input(unknown, review(unknown))
    assert refusal.because == "the diameter of the intake valve is not stated"


def test_a_ratio_that_is_not_stated_is_that_of_its_volumes():
    """7.4 L over eight, with 70 cc of chamber and 12 cc of gasket, deck and dish; by hand."""
    volumes = {"gasket_volume_m3": 9e-6, "deck_volume_m3": 1e-6, "dish_volume_m3": 2e-6}
    bare = engine(compression_ratio=None, **volumes)
    stages = (Stage("as cast", chamber_volume_m3=70e-6), Stage("port", chamber_volume_m3=74e-6))
    made = power_job({"as cast": (INTAKE, EXHAUST), "port": (INTAKE, EXHAUST)}, engine=bare)
    job = replace(made, stages=stages)
    swept = np.pi / 4 * 0.10795**2 * 0.1016
    assert given(job).crank.compression_ratio == pytest.approx(1 + swept / 82e-6)
    stated = replace(job, engine=replace(bare, compression_ratio=11.0))
    assert given(stated).crank.compression_ratio == pytest.approx(11.0)
    unmeasured = replace(job, stages=(Stage("as cast"), Stage("port")))
    refusal = power_input(unmeasured, review(unmeasured))
    assert refusal.because == "the compression ratio is not stated"


@pytest.mark.parametrize("centre", [60.0, 150.0])
def test_a_centreline_may_be_at_its_limits(centre: float):
    """Whatever the conversion to radians and back leaves of it; a cam of 150 deg is open in time there."""
    half = np.radians(151 / 2)
    short = replace(CAMS.intake, table=((-half, 0.0), (0.0, 0.0175), (half, 0.0)))
    lobe = replace(short, centreline_rad=np.radians(centre))
    found = given(power_job({"as cast": (INTAKE, EXHAUST)}, cams=Sides(lobe, CAMS.exhaust)))
    assert found.lobes.intake.centre_rad == pytest.approx(np.radians(360 + centre))


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
