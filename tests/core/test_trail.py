"""Where a number comes from: the steps and shares have to end in the review's own figures."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from core import units
from core.job import Air, Bench, BenchSheet, Certificate, Printed, Reading, Sides, Target
from core.numbers import filled
from core.review import review
from core.trail import ReadingTrail, trail
from core.units import METRIC
from tests.core.jobs import AIR, BENCH, LIFTS_M, PRESSURE_PA, job, noisy_sheets, sheet, truth

FLOWS = {lift: truth(lift) for lift in LIFTS_M}


def test_a_reading_by_hand() -> None:
    """Leak 0.002 at a quarter of the drop is 0.004; the plate reads 2 % low; 7 inH2O to 28 doubles."""
    air = replace(AIR, test_pressure_pa=PRESSURE_PA / 4)
    bench = replace(BENCH, calibrated_at_pa=None)
    plate = BenchSheet(
        "plate.csv",
        Sides((Reading(0.0, 12, flow_m3_s=0.098),), ()),
        role="calibration",
        date=dt.date(2026, 3, 14),
        bench="bench",
        air=AIR,
        certificate=Certificate("intake", 0.1, PRESSURE_PA, "ISO 2533", 0.004),
    )
    leak = BenchSheet(
        "leak.csv",
        Sides((Reading(0.0, 12, flow_m3_s=0.002),), ()),
        role="leak",
        bench="bench",
        air=replace(AIR, test_pressure_pa=PRESSURE_PA / 16),
    )
    made = job({"a": [sheet({0.004: 0.050}, "a.csv", air=air)]}, benches=(bench,))
    made = replace(made, sheets=(*made.sheets, plate, leak))
    ((one,),) = (port.readings for port in trail(made, "a", "intake", 0.004).ports)
    assert [step.name for step in one.steps] == [
        "reading", "leak", "calibration", "densities", "pressure rule",
    ]  # fmt: skip
    assert [step.after for step in one.steps] == pytest.approx(
        [0.050, 0.046, 0.046 / 0.98, 0.046 / 0.98, 2 * 0.046 / 0.98], rel=1e-4
    )  # 1e-4: density of dry air at 15 degC, computed against defined
    assert {step.kind for step in one.steps} == {"flow"}
    assert one.flow_m3_s == pytest.approx(2 * 0.046 / 0.98, rel=1e-4)
    said = [filled(step.source, step.values, METRIC).replace("\u00a0", " ") for step in one.steps]
    assert said[:3] == ["a.csv, line 9", "leak sheet leak.csv", "plate readings of 2026-03-14"]
    assert said[4] == "7 inH2O to 28 inH2O, square root"


def test_what_nobody_stated_is_said_to_be_assumed() -> None:
    bare = sheet(FLOWS, "a.csv", air=Air(test_pressure_pa=PRESSURE_PA))
    ((one,),) = (port.readings for port in trail(job({"a": [bare]}), "a", "intake", 0.004).ports)
    said = filled(one.steps[3].source, one.steps[3].values, METRIC)
    assert said.count("(assumed)") == 4
    no_drop = sheet(FLOWS, "a.csv", air=replace(AIR, test_pressure_pa=None))
    ((one,),) = (port.readings for port in trail(job({"a": [no_drop]}), "a", "intake", 0.004).ports)
    assert one.steps[4].source == "no test pressure is stated: not scaled"
    assert one.steps[4].factor == 1


def test_a_point_between_a_ports_readings_names_those_on_either_side() -> None:
    coarse = {lift: flow for lift, flow in FLOWS.items() if round(lift * 1000) % 2 == 0}
    made = job({"a": [sheet(FLOWS, "one.csv"), sheet(coarse, "two.csv", port="2")]})
    found = trail(made, "a", "intake", 0.005)
    assert [port.interpolated for port in found.ports] == [False, True]
    assert [round(one.reading.lift_m * 1000) for one in found.ports[1].readings] == [4, 6]
    curve = review(made).stages[0].intake
    assert found.flow_m3_s == pytest.approx(curve.flow_m3_s[curve.lift_m.index(0.005)], rel=1e-12)


def test_lifts_in_thirty_seconds_of_an_inch_lead_to_their_readings() -> None:
    """3/32 in is 2.38125 mm, half-way between two tenths of a micrometre: one side or the other, but one."""
    lifts = [units.parse(f"{n}/32 in", "lift") for n in range(1, 13)]
    made = job({"a": [sheet({lift: truth(lift) for lift in lifts}, "a.csv")]})
    curve = review(made).stages[0].intake
    assert len(curve.lift_m) == len(lifts)
    for read, lift, flow in zip(lifts, curve.lift_m, curve.flow_m3_s, strict=True):
        for asked in (read, lift):
            (port,) = trail(made, "a", "intake", asked).ports
            assert [one.reading.lift_m for one in port.readings] == [read]
            assert port.flow_m3_s == pytest.approx(flow, rel=1e-12)


def test_the_share_of_a_calibration_is_its_variance_over_all() -> None:
    """By hand: calibration 1.5 %, one assumed re-set-up 0.5 %, nothing else to speak of."""
    found = trail(job({"a": [sheet(FLOWS, "a.csv")]}), "a", "intake", 0.004)
    shares = {share.source: share for share in found.shares}
    assert shares["calibration"].share == pytest.approx(0.9, abs=1e-3)
    assert shares["re-set-up (assumed)"].share == pytest.approx(0.1, abs=1e-3)
    assert shares["calibration"].common
    assert not shares["re-set-up (assumed)"].common


def test_repeats_are_no_longer_called_assumed() -> None:
    sheets = noisy_sheets(np.random.default_rng(1), "a", truth, 3, of_sweep=0.002)
    found = trail(job({"a": sheets}), "a", "intake", 0.004)
    assert {"re-set-up", "within a sweep"} <= {share.source for share in found.shares}
    assert found.ports[0].n_setups == len(found.ports[0].readings) == 3


@pytest.mark.parametrize(
    ("stage", "side", "lift", "cure"),
    [
        ("a", "intake", 0.0045, "has no lift of 4.5 mm; it has 1, 2, 3"),
        ("a", "exhaust", 0.004, "it has none, as it was not measured there"),
        ("b", "intake", 0.004, "it has none, as it was not measured there"),
    ],
)
def test_a_point_that_is_not_there_is_refused(stage: str, side: str, lift: float, cure: str) -> None:
    with pytest.raises(ValueError, match=cure):
        trail(job({"a": [sheet(FLOWS, "a.csv")]}), stage, side, lift)


# --- what is said of each step


def steps_said(one: ReadingTrail) -> list[str]:
    return [
        filled(step.source, step.values, METRIC).replace("\u00a0", " ").replace("\u202f", " ")
        for step in one.steps
    ]


def only(made, stage: str = "a", lift: float = 0.004) -> ReadingTrail:
    """Return the one reading behind a point of a single port and set-up."""
    ((one,),) = (port.readings for port in trail(made, stage, "intake", lift).ports)
    return one


def plates(*read: tuple[int | None, float]) -> list[BenchSheet]:
    """Return plates of 0.1 m3/s by day of March and what they read."""
    return [
        BenchSheet(
            f"plate{n}.csv",
            Sides((Reading(0.0, 12, flow_m3_s=flow),), ()),
            role="calibration",
            date=None if day is None else dt.date(2026, 3, day),
            bench="bench",
            air=AIR,
            certificate=Certificate("intake", 0.1, PRESSURE_PA, "ISO 2533", 0.004),
        )
        for n, (day, flow) in enumerate(read)
    ]


@pytest.mark.parametrize(
    ("read", "said"),
    [
        ([], "no calibration sheet: the scale is taken as it is"),
        ([(2, 0.1)], "plate readings of 2026-03-02"),
        ([(2, 0.1), (2, 0.1001)], "plate readings of 2026-03-02"),
        ([(9, 0.1), (2, 0.1001)], "2 plate readings, 2026-03-02 to 2026-03-09"),
        ([(None, 0.1)], "plate readings without a date"),
        ([(None, 0.1), (2, 0.1001)], "plate readings of 2026-03-02"),
        # The sheets are of the 14th: that day's plate is 10 % off, and holds for it alone.
        ([(2, 0.1), (3, 0.1), (4, 0.1), (14, 0.11)], "plate readings of 2026-03-14 alone: that day is off"),
        # Another day that is off is not among those that are pooled.
        ([(2, 0.1), (3, 0.1), (4, 0.1), (20, 0.11)], "3 plate readings, 2026-03-02 to 2026-03-04"),
    ],
)
def test_which_plate_readings_stand_behind_a_factor(read, said) -> None:
    made = job({"a": [sheet(FLOWS, "a.csv")]})
    one = only(replace(made, sheets=(*made.sheets, *plates(*read))))
    assert steps_said(one)[2] == said
    factor = 0.1 / 0.11 if "alone" in said else 1.0
    assert one.steps[2].factor == pytest.approx(factor, rel=1e-3)  # plates differ by a thousandth


@pytest.mark.parametrize(
    ("air", "row_k", "said"),
    [
        ({}, None, "984 hPa, 15 °C, 0 %, meter 15 °C"),
        ({"barometer_pa": None}, None, "1 013.2 hPa (assumed), 15 °C, 0 %, meter 15 °C"),
        ({"humidity": 0.4, "piece_temperature_k": 300.15}, None,
         "984 hPa, 15 °C, 40 %, meter 15 °C, piece 27 °C"),
        ({}, 295.15, "984 hPa, 15 °C, 0 %, meter 22 °C"),
        ({"meter_temperature_k": None}, None,
         "984 hPa, 15 °C, 0 %, meter as warm as the room (assumed)"),
        ({"meter_temperature_k": None}, 295.15, "984 hPa, 15 °C, 0 %, meter 22 °C"),
        ({"air_temperature_k": None, "humidity": None}, None,
         "984 hPa, 15 °C (assumed), 0 % (assumed), meter 15 °C"),
    ],
)  # fmt: skip
def test_the_air_that_was_reckoned_with(air, row_k, said) -> None:
    rows = Sides((Reading(0.004, 9, flow_m3_s=0.05, meter_temperature_k=row_k),), ())
    one = only(
        job(
            {
                "a": [
                    replace(
                        sheet(FLOWS, "a.csv"),
                        readings=rows,
                        air=replace(AIR, **({"barometer_pa": 98400.0} | air)),
                    )
                ]
            }
        )
    )
    assert steps_said(one)[3] == said


def test_a_bench_that_corrects_by_itself_and_a_rule_that_is_named() -> None:
    printed = Printed(already_corrected=True, corrected_to_pressure_pa=PRESSURE_PA / 4)
    one = only(job({"a": [sheet(FLOWS, "a.csv", printed=printed)]}, pressure_rule="isentropic"))
    assert steps_said(one)[3:] == ["already corrected by the bench", "7 inH2O to 28 inH2O, isentropic"]
    assert (one.steps[3].factor, one.steps[3].after) == (1.0, one.steps[0].after)


def test_a_mass_flow_is_one_until_the_densities() -> None:
    """By hand: kg/s over the density 1.2250 kg/m3 of standard air. With the carbon dioxide of today air is
    0.04 % denser than that, half of which is left in the root: 3e-4."""
    rows = Sides((Reading(0.004, 9, mass_flow_kg_s=0.06),), ())
    one = only(job({"a": [replace(sheet(FLOWS, "a.csv"), readings=rows)]}))
    assert [step.kind for step in one.steps] == ["mass flow"] * 3 + ["flow"] * 2
    assert one.flow_m3_s == pytest.approx(0.06 / 1.2250, rel=3e-4)
    assert [(step.factor is None, step.subtracted is None) for step in one.steps] == [
        (True, True), (True, False), (False, True), (False, True), (False, True),
    ]  # fmt: skip
    assert one.steps[1].subtracted == 0


# --- whose readings


def test_only_the_ports_own_readings_are_named_each_with_its_set_up() -> None:
    """Another stage, port, bench, lift, or a target of the stage's name is someone else's."""
    other = replace(BENCH, name="other")
    sheets = [
        sheet(FLOWS, "a1.csv", setup="first"),
        sheet(FLOWS, "a2.csv", setup="first"),
        sheet(FLOWS, "a3.csv"),
        sheet(FLOWS, "port 2.csv", port="2"),
        sheet(FLOWS, "no port.csv", port=None),
        sheet(FLOWS, "port 3.csv", port="3", bench="other"),
    ]
    aim = Target("a", (replace(sheet(FLOWS, "aim.csv"), role="target", stage="a"),))
    made = job({"a": sheets, "b": [sheet(FLOWS, "b.csv")]}, benches=(BENCH, other), target=aim)
    found = trail(made, "a", "intake", 0.004)
    assert (found.stage, found.side, found.lift_m) == ("a", "intake", pytest.approx(0.004))
    assert [(port.port, port.n_setups) for port in found.ports] == [("1", 2), ("2", 1), ("3", 1), (None, 1)]
    named = [[(one.sheet.file, one.setup) for one in port.readings] for port in found.ports]
    assert named == [
        [("a1.csv", "first"), ("a2.csv", "first"), ("a3.csv", "a3.csv")],
        [("port 2.csv", "port 2.csv")],
        [("port 3.csv", "port 3.csv")],
        [("no port.csv", "no port.csv")],
    ]
    for port in found.ports:
        assert all(one.used and one.reading.lift_m == pytest.approx(0.004) for one in port.readings)
        assert port.flow_m3_s == pytest.approx(truth(0.004))


def test_between_and_beyond_a_ports_readings() -> None:
    """The first lift lies between the seat and a reading; the curve is the mean of both ports."""
    coarse = {n * 1e-3: truth(n * 1e-3) for n in (2, 4, 6, 8)}
    made = job({"a": [sheet(FLOWS, "one.csv"), sheet(coarse, "two.csv", port="2")]})
    curve = review(made).stages[0].intake
    for i, on in ((0, [2]), (1, [2]), (6, [6, 8]), (7, [8])):
        lift = curve.lift_m[i]
        port = trail(made, "a", "intake", lift).ports[1]
        assert [round(one.reading.lift_m * 1000) for one in port.readings] == on
        assert port.interpolated is (i in (0, 6))
        assert port.flow_m3_s == pytest.approx(2 * curve.flow_m3_s[i] - truth(lift))
    with pytest.raises(ValueError, match="has no lift of 9 mm"):
        trail(made, "a", "intake", 0.009)


def test_a_stopped_reading_is_shown_and_not_used() -> None:
    gone = {lift: 0.0 if i in (3, 9) else flow for i, (lift, flow) in enumerate(FLOWS.items())}
    made = job({"a": [sheet(gone, "a.csv"), sheet(FLOWS, "b.csv", port="2")]})
    found = trail(made, "a", "intake", LIFTS_M[3])
    assert (found.stage, found.side, found.lift_m) == ("a", "intake", LIFTS_M[3])
    assert (found.flow_m3_s, found.expanded_m3_s, found.shares) == (None, None, ())
    first, second = found.ports
    between = [(round(one.reading.lift_m * 1000), one.used) for one in first.readings]
    assert (first.interpolated, between) == (True, [(3, True), (4, False), (5, True)])
    assert (second.interpolated, [one.used for one in second.readings]) == (False, [True])
    top = trail(made, "a", "intake", LIFTS_M[9]).ports
    assert (top[0].flow_m3_s, top[0].interpolated) == (None, True)
    assert [(round(one.reading.lift_m * 1000), one.used) for one in top[0].readings] == [(10, False)]
    assert top[1].flow_m3_s == pytest.approx(truth(0.010))


# --- shares of the variance


def test_shares_by_hand_the_largest_first() -> None:
    """Two benches, calibrations of 1.5 and 2 %, half of each in the mean of two ports; set-ups of 0.5 %."""
    other = replace(BENCH, name="other", calibration=0.02)
    stages = {
        "a": [sheet(FLOWS, "a1.csv"), sheet(FLOWS, "a2.csv", port="2", bench="other")],
        "b": [sheet(FLOWS, "b1.csv"), sheet(FLOWS, "b2.csv", port="2")],
    }
    made = job(stages, benches=(BENCH, other))
    flow = truth(0.004)
    found = trail(made, "a", "intake", 0.004)
    own, theirs, setups = (0.015 / 2) ** 2, (0.02 / 2) ** 2, 2 * (0.005 / 2) ** 2
    total = own + theirs + setups
    assert [share.source for share in found.shares[:2]] == ["calibration", "re-set-up (assumed)"]
    # Neither calibration acts alike on both stages, so they are one share.
    assert found.shares[0].share == pytest.approx((own + theirs) / total, rel=1e-6)
    assert found.shares[0].standard_m3_s == pytest.approx((own + theirs) ** 0.5 * flow, rel=1e-6)
    assert found.shares[1].share == pytest.approx(setups / total, rel=1e-6)
    assert found.shares[1].standard_m3_s == pytest.approx(setups**0.5 * flow, rel=1e-6)
    assert not any(share.common for share in found.shares[:2])
    # The lift is set exactly on these benches: what brings nothing is not listed.
    assert all(share.share > 0 for share in found.shares)
    assert "lift setting (assumed)" not in {share.source for share in found.shares}
    assert found.expanded_m3_s == pytest.approx(1.959964 * total**0.5 * flow, rel=1e-6)
    lone = trail(made, "b", "intake", 0.004)
    assert "calibration" in {share.source for share in lone.shares}
    assert sum(share.share for share in lone.shares) == pytest.approx(1)
    assert all(one.share >= two.share for one, two in pairwise(lone.shares))


def test_setting_the_lift_has_a_share_of_its_own() -> None:
    """By hand: a straight curve of 20 m3/s a metre; 0.02 mm at 4 mm is 0.5 % of it, and so is the set-up."""
    straight = {lift: 20 * lift for lift in LIFTS_M}
    bench = replace(BENCH, lift_setting_m=2e-5, calibration=0.01)
    found = trail(job({"a": [sheet(straight, "a.csv")]}, benches=(bench,)), "a", "intake", 0.004)
    shares = {share.source: share for share in found.shares}
    assert shares["calibration"].share == pytest.approx(4 / 6, rel=1e-6)
    for source in ("re-set-up (assumed)", "lift setting (assumed)"):
        assert shares[source].share == pytest.approx(1 / 6, rel=1e-6)
        assert not shares[source].common


def test_sources_go_by_the_names_that_people_give_them() -> None:
    bench = Bench(name="bench", intake_meter="before the piece")
    air = replace(AIR, test_pressure_pa=PRESSURE_PA / 2, piece_temperature_k=300.0)
    found = trail(job({"a": [sheet(FLOWS, "a.csv", air=air)]}, benches=(bench,)), "a", "intake", 0.004)
    assert {share.source for share in found.shares} == {
        "calibration", "pressure rule", "test pressure reading", "the meter's own drop",
        "meter temperature", "piece temperature", "re-set-up (assumed)", "lift setting (assumed)",
    }  # fmt: skip
    weighed = Sides((Reading(0.004, 9, mass_flow_kg_s=0.06),), ())
    bare = replace(sheet(FLOWS, "a.csv"), readings=weighed, air=Air(test_pressure_pa=PRESSURE_PA))
    found = trail(job({"a": [bare]}, benches=(bench,)), "a", "intake", 0.004)
    assert {"barometer", "air temperature", "humidity"} <= {share.source for share in found.shares}


def test_where_nothing_is_uncertain_there_are_no_shares() -> None:
    exact = replace(
        BENCH, repeatability=0.0, calibration=0.0, test_pressure_reading_pa=0.0, barometer_reading_pa=0.0,
        temperature_reading_k=0.0, humidity_reading=0.0, calibrated_at_pa=PRESSURE_PA,
    )  # fmt: skip
    printed = Printed(already_corrected=True)
    found = trail(
        job({"a": [sheet(FLOWS, "a.csv", printed=printed)]}, benches=(exact,)), "a", "intake", 0.004
    )
    assert (found.expanded_m3_s, found.shares) == (None, ())
    assert found.flow_m3_s == pytest.approx(truth(0.004))
