"""Plates and leaks: factors worked out by hand, and what still cancels in a gain."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import fluids
import numpy as np
import pytest

from core.calibration import Calibration, PlateReading, calibrations
from core.constants import INCH_WATER_PA
from core.job import Bench, BenchSheet, Certificate, Reading, Sides
from core.review import review
from tests.core.jobs import AIR, BENCH, LIFTS_M, PRESSURE_PA, job, sheet, truth

DAYS = tuple(dt.date(2026, 3, day) for day in (2, 9, 16, 23))
FLOWS = {lift: truth(lift) for lift in LIFTS_M}
CERTIFICATE = Certificate("intake", 0.1, PRESSURE_PA, "ISO 2533", 0.004)


def plate(read_m3_s: float, date: dt.date, name: str = "", **more) -> BenchSheet:
    rows = (Reading(0.0, 12, flow_m3_s=read_m3_s),)
    given = {"role": "calibration", "date": date, "air": AIR, "bench": "bench", "certificate": CERTIFICATE}
    return BenchSheet(name or f"plate-{date}.csv", Sides(rows, ()), **(given | more))


def leak(read_m3_s: float, at_pa: float, **more) -> BenchSheet:
    rows = (Reading(0.0, 12, flow_m3_s=read_m3_s),)
    given = {"role": "leak", "air": replace(AIR, test_pressure_pa=at_pa), "bench": "bench"}
    return BenchSheet("leak.csv", Sides(rows, ()), **(given | more))


def with_checks(stages, *checks, **more):
    made = job(stages, **more)
    return replace(made, sheets=(*made.sheets, *checks))


def test_certified_over_measured_is_the_factor():
    made = with_checks({"a": [sheet(FLOWS, "a.csv")]}, plate(0.098, DAYS[0]), plate(0.102, DAYS[1]))
    expected = (0.1 / 0.098 + 0.1 / 0.102) / 2
    assert review(made).stages[0].intake.flow_m3_s == pytest.approx([expected * q for q in FLOWS.values()])


def test_a_plate_certified_elsewhere_is_brought_here():
    """By hand: the root of the pressures, and of the densities 1.2045 over 1.2250."""
    elsewhere = Certificate("intake", 0.1, 10 * INCH_WATER_PA, "29.92 inHg 68 degF dry", 0.004)
    made = with_checks({"a": [sheet(FLOWS, "a.csv")]}, plate(0.1, DAYS[0], certificate=elsewhere))
    expected = 2.8**0.5 * (1.2045 / 1.2250) ** 0.5
    assert review(made).stages[0].intake.flow_m3_s[0] == pytest.approx(expected * FLOWS[LIFTS_M[0]])


@pytest.mark.outside
@pytest.mark.parametrize("side", ["intake", "exhaust"])
def test_a_plate_certified_elsewhere_is_brought_here_by_the_isentropic_rule(side):
    """Source: fluids 1.3.1, expansibility of an opening that is small beside its pipe.

    Budget 1e-9: both are the same closed formula, see test_isentropic. A certificate at 7 inH2O in thin
    air: the plain root is 2.6 to 2.8 % off, and the thin air alone is worth 0.02 % of the rule.
    """

    def passed(ambient_pa: float, drop_pa: float) -> float:
        """Return what goes through at a given density of the inlet, but for a constant."""
        before = ambient_pa if side == "intake" else ambient_pa + drop_pa
        share = fluids.nozzle_expansibility(D=1.0, Do=1e-4, P1=before, P2=before - drop_pa, k=1.4)
        return share * drop_pa**0.5

    at = 7 * INCH_WATER_PA
    thin = Certificate(side, 0.1, at, "99 kPa 25 degC dry", 0.004)
    rows = (Reading(0.0, 12, flow_m3_s=0.1),)
    readings = Sides(rows, ()) if side == "intake" else Sides((), rows)
    checked = replace(plate(0.1, DAYS[0], certificate=thin), readings=readings)
    made = with_checks({"a": [sheet(FLOWS, "a.csv", side=side)]}, checked, pressure_rule="isentropic")
    expected = passed(101325.0, PRESSURE_PA) / passed(99_000.0, at) * (1.1571 / 1.2250) ** 0.5
    flow = review(made).stages[0].side(side).flow_m3_s[-1]
    assert flow == pytest.approx(expected * FLOWS[LIFTS_M[-1]], rel=1e-9)
    root = 2 * (1.1571 / 1.2250) ** 0.5
    assert abs(expected / root - 1) > 0.02  # it is seen which rule was used


def test_a_certificate_that_says_no_more_is_of_the_reference_and_the_jobs_air():
    bare = Certificate("intake", 0.1)
    more = {"standard_air": "99 kPa 25 degC dry", "reference_pressure_pa": 10 * INCH_WATER_PA}
    bench = replace(BENCH, calibrated_at_pa=10 * INCH_WATER_PA, scale_air="99 kPa 25 degC dry")
    air = replace(AIR, test_pressure_pa=10 * INCH_WATER_PA)
    read = sheet(FLOWS, "a.csv", air=air)
    made = with_checks(
        {"a": [read]}, plate(0.098, DAYS[0], certificate=bare, air=air), benches=(bench,), **more
    )
    assert review(made).stages[0].intake.flow_m3_s == pytest.approx([q / 0.98 for q in FLOWS.values()])


def test_a_certificate_without_an_uncertainty_takes_the_scales():
    """Which cancels between stages of one bench, as a stated one does; of several the largest holds."""

    def certificate(*stated: float | None) -> float:
        plates = [
            plate(0.1, day, certificate=replace(CERTIFICATE, uncertainty=one))
            for day, one in zip(DAYS, stated, strict=False)
        ]
        return calibrations(with_checks({}, *plates), "intake")["bench"].certificate

    assert certificate(None) == BENCH.calibration == 0.015
    assert certificate(0.004, 0.006, None) == 0.006


def test_plates_that_say_nothing_are_no_calibration_and_hide_no_other():
    """One without a certified flow, one that read nothing: a bench without a plate, beside one that has."""
    benches = (BENCH, replace(BENCH, name="other"))
    silent = plate(0.098, DAYS[0], "silent.csv", certificate=Certificate("intake"))
    nothing = plate(0.0, DAYS[0], "nothing.csv")
    sound = plate(0.098, DAYS[1], "sound.csv", bench="other")
    made = with_checks({"a": [sheet(FLOWS, "a.csv")]}, silent, nothing, sound, benches=benches)
    assert review(made).stages[0].intake.flow_m3_s == pytest.approx(list(FLOWS.values()))
    found = calibrations(made, "intake")
    assert list(found) == ["other"]
    (reading,) = found["other"].readings
    assert (reading.file, reading.line, reading.date) == ("sound.csv", 12, DAYS[1])
    assert calibrations(made, "exhaust") == {}


def test_a_day_that_departs_keeps_its_own_factor():
    plates = [plate(flow, day) for flow, day in zip((0.1, 0.1004, 0.0996, 0.106), DAYS, strict=True)]
    stages = {
        "a": [sheet(FLOWS, "a.csv", date=DAYS[0])],
        "b": [sheet({k: v * 1.06 for k, v in FLOWS.items()}, "b.csv", date=DAYS[3])],
    }
    result = review(with_checks(stages, *plates))
    # The bench read 6 % high that day, the head did not change.
    assert result.gain("b", "intake", "baseline").mean.gain_fraction == pytest.approx(0.0, abs=5e-5)
    assert result.gain("b", "intake", "baseline").mean.verdict == "too close to call"


def relative_uncertainty(result) -> float:
    return result.gain("b", "intake", "baseline").mean.expanded_fraction


def test_one_certificate_cancels_and_two_do_not():
    both = {"a": [sheet(FLOWS, "a.csv")], "b": [sheet({k: v * 1.05 for k, v in FLOWS.items()}, "b.csv")]}
    shared = review(with_checks(both, plate(0.1, DAYS[0])))
    # Only the two re-set-ups of 0.5 % are left: the plate's 0.4 % and its reading's 0.5 % cancel.
    assert relative_uncertainty(shared) == pytest.approx(1.96 * 0.005 * 2**0.5 * 1.05, rel=0.01)
    benches = (BENCH, replace(BENCH, name="other"))
    moved = {"a": both["a"], "b": [replace(both["b"][0], bench="other")]}
    checks = (plate(0.1, DAYS[0]), plate(0.1, DAYS[0], "other.csv", bench="other"))
    apart = review(with_checks(moved, *checks, benches=benches))
    each = 0.005**2 + 0.004**2 + 0.005**2
    assert relative_uncertainty(apart) == pytest.approx(1.96 * (2 * each) ** 0.5 * 1.05, rel=0.01)


def test_another_range_no_longer_cancels():
    def ranged(flows, file, full_scale):
        made = sheet(flows, file)
        rows = tuple(r._replace(range_m3_s=full_scale) for r in made.readings.intake)
        return replace(made, readings=Sides(rows, ()))

    more = {k: v * 1.05 for k, v in FLOWS.items()}
    same = review(job({"a": [ranged(FLOWS, "a.csv", 0.2)], "b": [ranged(more, "b.csv", 0.2)]}))
    other = review(job({"a": [ranged(FLOWS, "a.csv", 0.2)], "b": [ranged(more, "b.csv", 0.4)]}))
    assert relative_uncertainty(same) == pytest.approx(1.96 * 0.005 * 2**0.5 * 1.05, rel=0.01)
    assert relative_uncertainty(other) == pytest.approx(
        1.96 * (2 * (0.005**2 + 0.015**2)) ** 0.5 * 1.05, rel=0.01
    )


def test_a_leak_is_subtracted_by_the_root_of_its_pressure():
    at = 7 * INCH_WATER_PA  # a quarter of 28 inH2O: the leak doubles
    made = with_checks({"a": [sheet(FLOWS, "a.csv")]}, leak(0.0004, at))
    assert review(made).stages[0].intake.flow_m3_s == pytest.approx([q - 0.0008 for q in FLOWS.values()])


def test_a_leak_of_another_day_or_stage_is_not_subtracted():
    made = {"a": [sheet(FLOWS, "a.csv", date=DAYS[0])]}
    for other in (leak(0.0004, PRESSURE_PA, date=DAYS[1]), leak(0.0004, PRESSURE_PA, stage="b")):
        result = review(with_checks(made, other))
        assert result.stages[0].intake.flow_m3_s == pytest.approx(list(FLOWS.values()))


def test_of_several_leaks_the_closest_holds():
    """Of this stage before any stage, of this day before any day, whichever comes first."""

    def left(*others: BenchSheet) -> float:
        made = with_checks({"a": [sheet(FLOWS, "a.csv", date=DAYS[0])]}, *others)
        return FLOWS[LIFTS_M[0]] - review(made).stages[0].intake.flow_m3_s[0]

    any_time, of_day = leak(0.0001, PRESSURE_PA), leak(0.0002, PRESSURE_PA, date=DAYS[0])
    of_stage = leak(0.0004, PRESSURE_PA, stage="a")
    of_both = leak(0.0008, PRESSURE_PA, stage="a", date=DAYS[0])
    for near, far in ((of_day, any_time), (of_stage, of_day), (of_both, of_stage)):
        subtracted = near.readings.intake[0].flow_m3_s
        assert left(near, far) == pytest.approx(subtracted)
        assert left(far, near) == pytest.approx(subtracted)


def test_a_leak_larger_than_a_reading_stops_it():
    made = with_checks({"a": [sheet(FLOWS, "a.csv")]}, leak(truth(LIFTS_M[0]) * 1.1, PRESSURE_PA))
    result = review(made)
    assert result.stages[0].intake.flow_m3_s[0] is None
    assert [f.code for f in result.findings if f.level == "stop"] == ["no-flow"]


def test_a_plate_bench_reads_the_mass_flow_that_iso_5167_gives():
    """In standard air the piece's corrected flow is the plate's mass flow over 1.2250 kg/m3."""
    from core.air import dry_air_viscosity, moist_air_density
    from core.orifice import plate_mass_flow

    bench = Bench(
        name="bench", meter="plate pressure drop", plate_diameter_m=0.03, intake_meter="before the piece"
    )
    drop = 1500.0
    rows = (Reading(0.005, 9, plate_drop_pa=drop),)
    made = job({"a": [replace(sheet({}, "a.csv"), readings=Sides(rows, ()))]}, benches=(bench,))
    density = moist_air_density(101325.0, 288.15, 0.0)
    mass = plate_mass_flow(drop, 101325.0, density, dry_air_viscosity(288.15), 0.03)
    inlet = density * (101325.0 - drop) / 101325.0  # the piece sees the plate's own drop
    expected = mass / np.sqrt(inlet * 1.2250)
    assert review(made).stages[0].intake.flow_m3_s[0] == pytest.approx(expected, rel=1e-4)


def chart(*factors: float) -> Calibration:
    """Return a bench's plate readings on a day each; one reading repeats to 1 %."""
    middle = float(np.median(factors))
    readings = tuple(PlateReading(f"{day}.csv", 12, day, f) for day, f in zip(DAYS, factors, strict=False))
    return Calibration("bench", "intake", readings, middle, 0.004, 0.01)


@pytest.mark.parametrize(
    ("factors", "limit"),
    [
        # Shewhart limits, 3.5 standard uncertainties of a reading less the mean of the three others.
        ((1.0, 1.0, 1.0, 1.0), 0.035 * (1 + 1 / 3) ** 0.5),
        ((1.0, 1.0, 1.0), 0.035 * (1 + 1 / 2) ** 0.5),
        ((1.0, 1.0), 0.035 / 2**0.5),  # half of a difference
        ((1.0,), 0.035 * 2**0.5),  # a second reading less this one
    ],
)
def test_the_action_limits_allow_for_the_scatter_of_the_others(factors, limit):
    drawn = chart(*factors)
    assert drawn.reach == pytest.approx(limit)
    for share, off in ((0.99, False), (1.01, True)):
        assert drawn.departs(replace(drawn.readings[0], factor=1 + share * limit)) is off
        assert drawn.departs(replace(drawn.readings[0], factor=1 - share * limit)) is off


def test_the_mean_of_sound_days_is_surer_than_a_day_that_stands_alone():
    drawn = chart(1.0, 1.0, 1.0, 1.1)
    assert drawn.of_day(DAYS[0]) == (1.0, pytest.approx(0.01 / 3**0.5), None)
    assert drawn.of_day(None) == (1.0, pytest.approx(0.01 / 3**0.5), None)
    assert drawn.of_day(DAYS[3]) == (1.1, 0.01, DAYS[3])
    twice = replace(drawn, readings=(*drawn.readings, replace(drawn.readings[3], factor=1.12)))
    assert twice.of_day(DAYS[3]) == (pytest.approx(1.11), pytest.approx(0.01 / 2**0.5), DAYS[3])


def test_no_reading_of_a_bench_that_repeats_exactly_is_off_unless_it_differs():
    plates = [plate(flow, day) for flow, day in zip((0.1, 0.1, 0.11), DAYS, strict=False)]
    exact = (replace(BENCH, repeatability=0.0),)
    drawn = calibrations(with_checks({}, *plates, benches=exact), "intake")["bench"]
    assert [drawn.departs(reading) for reading in drawn.readings] == [False, False, True]
    assert drawn.factor == drawn.readings[0].factor
