"""Weather, warmth, plates, leaks and pressures: each said where it is, and only there."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import fluids
import pytest
from scipy.optimize import brentq

from core.constants import INCH_WATER_PA
from core.job import BenchSheet, Printed, Reading, Sides, Target
from core.numbers import finding_text
from core.review import review
from core.units import METRIC
from tests.core.jobs import AIR, BENCH, LIFTS_M, PRESSURE_PA, job, sheet, truth
from tests.core.test_calibration import CERTIFICATE, DAYS, leak, plate, with_checks

FLOWS = {lift: truth(lift) for lift in LIFTS_M}
OURS = {
    "barometer-reduced",
    "meter-warm",
    "pressure-far",
    "pressure-rule",
    "calibration-off",
    "calibration-drift",
    "scale-off",
    "leak-large",
    "leak-unused",
    "leak-missing",
    "check-unread",
    "different-days",
    "different-benches",
    "flow-turns-over",
    "other-setup",
}


def said(made) -> list[tuple[str, str]]:
    """Return level and code of what is said of these matters."""
    return [(f.level, f.code) for f in review(made).findings if f.code in OURS]


def told(made, code: str) -> list[str]:
    """Return what a person reads under a code, with plain spaces."""
    found = [finding_text(f, METRIC) for f in review(made).findings if f.code == code]
    return [text.replace("\u00a0", " ").replace("\u202f", " ") for text in found]


def one_sheet(**air: float):
    return job({"a": [sheet(FLOWS, "a.csv", air=replace(AIR, **air))]})


def test_a_sound_sheet_says_nothing():
    assert said(one_sheet()) == []


@pytest.mark.parametrize(
    ("barometer", "altitude", "expected"),
    [
        (101600.0, 500.0, True),  # ISO 2533: 954.6 hPa at 500 m
        (96200.0, 500.0, False),
        (101600.0, 30.0, False),
        (95000.0, 0.0, True),  # no weather does that at the sea, either
    ],
)
def test_a_barometer_goes_with_its_altitude(barometer, altitude, expected):
    found = said(one_sheet(barometer_pa=barometer, altitude_m=altitude))
    assert found == ([("look", "barometer-reduced")] if expected else [])


@pytest.mark.outside
def test_a_barometer_beside_its_altitude_is_said_in_figures():
    """Source: ISO 2533:1975, table: 954.61 hPa at 500 m. Weather moves that by up to 35 hPa (judgement)."""
    (text,) = told(one_sheet(barometer_pa=101600.0, altitude_m=500.0), "barometer-reduced")
    assert text.startswith(
        "a.csv: 1 016 hPa does not go with an altitude of 500 m, where it is near 954.6 hPa."
    )
    assert "It looks reduced to sea level." in text
    (low,) = told(one_sheet(barometer_pa=95000.0, altitude_m=0.0), "barometer-reduced")
    assert "reduced to sea level" not in low
    (high,) = told(one_sheet(barometer_pa=98200.0, altitude_m=1000.0), "barometer-reduced")
    assert "reduced to sea level" in high  # 31 hPa below the usual at the sea, as in a depression
    (between,) = told(one_sheet(barometer_pa=85000.0, altitude_m=3000.0), "barometer-reduced")
    assert "reduced to sea level" not in between  # neither the air up there nor that of any sea
    for near, expected in ((3480.0, 0), (3520.0, 1)):
        for pressure in (95461.0 - near, 95461.0 + near):
            assert len(said(one_sheet(barometer_pa=pressure, altitude_m=500.0))) == expected


def test_one_barometer_far_from_the_others_of_its_bench():
    sheets = [
        sheet(FLOWS, f"{n}.csv", air=replace(AIR, barometer_pa=p))
        for n, p in enumerate((95000.0, 95400.0, 102500.0))
    ]
    findings = [f for f in review(job({"a": sheets})).findings if f.code == "barometer-reduced"]
    assert [f.file for f in findings] == ["2.csv"]


def test_only_air_that_was_reckoned_with_is_judged():
    """Not that of a leak sheet, nor what a bench has put in itself; the target's is, sheet by sheet."""
    odd = replace(AIR, barometer_pa=101600.0, altitude_m=500.0)
    sheets = [sheet(FLOWS, "a.csv", air=odd), sheet(FLOWS, "b.csv", air=odd)]
    printed = sheet(FLOWS, "printed.csv", air=odd, printed=Printed(already_corrected=True))
    aim = tuple(
        replace(one, file=f"aim-{one.file}", role="target", stage="aim") for one in (sheets[0], printed)
    )
    leaking = replace(leak(0.001, PRESSURE_PA), air=odd)
    made = with_checks({"a": [*sheets, printed]}, leaking, target=Target("aim", aim))
    found = [f for f in review(made).findings if f.code == "barometer-reduced"]
    assert [f.file for f in found] == ["a.csv", "b.csv", "aim-a.csv"]


def test_it_is_said_where_it_is_written_and_what_to_do():
    """The barometer and the meter's temperature have lines of their own in a sheet's head."""
    lines = (("barometer", 4), ("meter temperature", 7))
    air = replace(AIR, barometer_pa=101600.0, altitude_m=500.0, meter_temperature_k=310.0)
    of_altitude = replace(sheet(FLOWS, "a.csv", air=air), lines=lines)
    alone = replace(sheet(FLOWS, "3.csv", air=replace(AIR, barometer_pa=88000.0)), lines=lines)
    others = [sheet(FLOWS, f"{n}.csv", port=str(n)) for n in (1, 2)]
    for made, code, line, cure in (
        (job({"a": [of_altitude]}), "barometer-reduced", 4, "Put in the pressure in the room"),
        (job({"a": [*others, alone]}), "barometer-reduced", 4, "Put in the pressure in the room"),
        (job({"a": [of_altitude]}), "meter-warm", 7, "Let the bench settle"),
    ):
        (found,) = [f for f in review(made).findings if f.code == code]
        assert (found.level, found.line, found.stage) == ("look", line, "a")
        assert found.file == made.sheets[-1].file
        assert found.cure.startswith(cure)


def weathers(*pressures: float):
    sheets = [
        sheet(FLOWS, f"{n}.csv", air=replace(AIR, barometer_pa=p)) for n, p in enumerate(pressures, start=1)
    ]
    return job({"a": sheets})


def test_twice_the_weather_lies_between_two_days_of_a_bench():
    """The middle of three is usual; a low and a high may be 70 hPa apart (judgement)."""
    assert said(weathers(95000.0, 95000.0, 101990.0)) == said(weathers(95000.0, 95000.0, 88010.0)) == []
    (high,) = told(weathers(95000.0, 95000.0, 102010.0), "barometer-reduced")
    assert high.startswith("3.csv: 1 020.1 hPa is far from 950 hPa, which this bench's sheets usually state.")
    (low,) = told(weathers(95000.0, 95000.0, 87990.0), "barometer-reduced")
    assert low.startswith("3.csv: 879.9 hPa is far from 950 hPa")


@pytest.mark.parametrize(("warmer", "expected"), [(4.0, []), (14.0, [("look", "meter-warm")])])
def test_a_meter_much_warmer_than_the_room(warmer, expected):
    assert said(one_sheet(meter_temperature_k=AIR.air_temperature_k + warmer)) == expected


def test_how_warm_a_meter_is_and_what_it_is_worth():
    """By hand: the root of 302.15 over 288.15 is 1.0240; ten kelvin are said, a little less is not."""
    (text,) = told(one_sheet(meter_temperature_k=302.15), "meter-warm")
    assert text.startswith("a.csv: the meter was 14 °C warmer than the room, worth 2.4 % of the flow.")
    assert said(one_sheet(meter_temperature_k=298.14)) == []
    assert said(one_sheet(meter_temperature_k=298.16)) == [("look", "meter-warm")]
    # The warmest reading counts, and a room of no stated temperature is as the standard has it.
    rows = tuple(Reading(lift, 9, flow_m3_s=flow, meter_temperature_k=300.15) for lift, flow in FLOWS.items())
    of_row = sheet(FLOWS, "a.csv", air=replace(AIR, air_temperature_k=None))
    (text,) = told(job({"a": [replace(of_row, readings=Sides(rows, ()))]}), "meter-warm")
    assert "was 12 °C warmer" in text


def rules_apart(inh2o: float) -> float:
    """Return by how much the plain root reads high of an intake, to 28 inH2O (fluids, as in test_bench)."""
    low, high = (
        fluids.nozzle_expansibility(D=1.0, Do=1e-4, P1=101325.0, P2=101325.0 - i * INCH_WATER_PA, k=1.4)
        for i in (inh2o, 28)
    )
    return low / high - 1


@pytest.mark.outside
def test_how_far_apart_the_rules_are():
    """Source: fluids 1.3.1, expansibility of an opening that is small beside its pipe."""
    edge = brentq(lambda inh2o: rules_apart(inh2o) - 0.01, 10, 27)

    def tested_at(inh2o: float) -> list[str]:
        air = replace(AIR, test_pressure_pa=inh2o * INCH_WATER_PA)
        return told(job({"a": [sheet(FLOWS, "a.csv", air=air)]}), "pressure-far")

    assert tested_at(edge + 0.05) == [] and len(tested_at(edge - 0.05)) == 1
    (text,) = tested_at(10)
    percent = f"{100 * rules_apart(10):.1f} %"
    assert text == (
        "The intake was tested at 10 inH2O and is shown at 28 inH2O: "
        f"the two rules for that differ by {percent}, which is in the ±."
    )
    stages = {
        name: [sheet(FLOWS, f"{name}.csv", air=replace(AIR, test_pressure_pa=inh2o * INCH_WATER_PA))]
        for name, inh2o in (("a", 10), ("b", 36), ("c", 28))
    }
    (text,) = told(job(stages), "pressure-rule")
    stays = f"{100 * (rules_apart(10) - rules_apart(36)):.1f} %"
    assert f"differ by {percent}, which is in the ±." in text and f"so {stays} of it stays" in text


def test_only_stages_that_were_scaled_here_are_judged_on_their_pressure():
    """Neither a plate's pressure, nor a print-out's, nor one that nobody stated; and each side by itself."""
    far = replace(AIR, test_pressure_pa=10 * INCH_WATER_PA)
    printed = sheet(FLOWS, "printed.csv", air=far, printed=Printed(already_corrected=True))
    unknown = sheet(FLOWS, "unknown.csv", port="2", air=replace(AIR, test_pressure_pa=None))
    near = job({"a": [printed, unknown, sheet(FLOWS, "a.csv", port="3")]})
    near = replace(near, sheets=(plate(0.1, DAYS[0], air=far), *near.sheets))
    assert told(near, "pressure-far") == told(near, "pressure-rule") == []
    stages = {"a": [sheet(FLOWS, "a.csv", air=far), sheet(FLOWS, "e.csv", side="exhaust", air=far)]}
    made = job(stages)
    made = replace(made, sheets=(plate(0.1, DAYS[0]), *made.sheets))
    assert [f.side for f in review(made).findings if f.code == "pressure-far"] == ["intake", "exhaust"]
    stages["b"] = [sheet(FLOWS, "b.csv"), sheet(FLOWS, "f.csv", side="exhaust")]
    found = [f for f in review(job(stages)).findings if f.code == "pressure-rule"]
    assert [f.side for f in found] == ["intake", "exhaust"]
    assert all(f.cure.startswith("Test the stages that are compared at one pressure") for f in found)


def test_a_far_pressure_is_a_note_where_all_share_it_and_a_look_where_they_do_not():
    low = replace(AIR, test_pressure_pa=10 * INCH_WATER_PA)
    assert said(job({"a": [sheet(FLOWS, "a.csv", air=low)]})) == [("note", "pressure-far")]
    mixed = {"a": [sheet(FLOWS, "a.csv", air=low)], "b": [sheet(FLOWS, "b.csv")]}
    assert said(job(mixed)) == [("look", "pressure-rule")]
    near = replace(AIR, test_pressure_pa=25 * INCH_WATER_PA)  # the rules differ by 0.4 % there
    assert said(job({"a": [sheet(FLOWS, "a.csv", air=near)], "b": mixed["b"]})) == []


def checked(*reads: float):
    """Return a job of one sheet whose bench read the plate so, day by day."""
    plates = [plate(read, day) for read, day in zip(reads, DAYS, strict=False)]
    return with_checks({"a": [sheet(FLOWS, "a.csv")]}, *plates)


@pytest.mark.parametrize(
    ("reads", "expected"),
    [
        ((0.1, 0.1005, 0.0995, 0.1), []),
        ((0.1, 0.1, 0.106, 0.1), ["calibration-off"]),
        ((0.1, 0.104), ["calibration-off", "calibration-off"]),  # of two none can be told to be the one
        ((0.1, 0.102), []),
        ((0.0985, 0.0995, 0.1005, 0.1015), ["calibration-drift"]),
        ((0.108, 0.108, 0.108), ["scale-off"]),
    ],
)
def test_plates_that_are_off_or_drift(reads, expected):
    assert said(checked(*reads)) == [("look", code) for code in expected]


def test_what_plates_read_is_said_in_figures():
    """By hand: 6 % above three that agree; 1.5 % either side of the middle, in even steps; 8 % and its
    inverse. One reading repeats to 0.5 %, and limits are 3.5 of that."""
    (high,) = told(checked(0.1, 0.1, 0.106, 0.1), "calibration-off")
    assert high.startswith(
        f"bench, intake: the plate in plate-{DAYS[2]}.csv read 6 % high beside the other days."
    )
    (low,) = told(checked(0.1, 0.1, 0.094, 0.1), "calibration-off")
    assert "read 6 % low" in low and "Flows of that day take its own factor." in low
    plates = [plate(read, day) for read, day in zip((0.1, 0.1, 0.1), DAYS, strict=False)]
    undated = with_checks({"a": [sheet(FLOWS, "a.csv")]}, *plates, plate(0.106, None, "undated.csv"))
    (alone,) = told(undated, "calibration-off")
    assert "the plate in undated.csv read 6 % high" in alone and "Without a date it is left out." in alone
    assert review(undated).stages[0].intake.flow_m3_s == pytest.approx(list(FLOWS.values()))
    (up,) = told(checked(0.0985, 0.0995, 0.1005, 0.1015), "calibration-drift")
    assert "drift by 3 % over the days it was read, to the high side" in up
    (down,) = told(checked(0.1015, 0.1005, 0.0995, 0.0985), "calibration-drift")
    assert "drift by 3 % over the days it was read, to the low side" in down
    (scale,) = told(checked(0.108), "scale-off")
    assert scale.startswith("bench, intake: by its plate the scale reads 8 % high; the factor mends that.")
    (scale,) = told(checked(0.092), "scale-off")
    assert "the scale reads 8 % low" in scale
    # Three days are enough; a share of what the plate reads is the same share whatever the scale says.
    for off in (1.0, 0.8):
        (up,) = told(checked(*(off * read for read in (0.0985, 0.1, 0.1015))), "calibration-drift")
        assert "drift by 3 %" in up
    # The factor is 5 % off at 0.1 / 1.05 and at 0.1 / 0.95.
    for read, expected in ((0.0953, 0), (0.0951, 1), (0.1052, 0), (0.1053, 1)):
        assert len(told(checked(read), "scale-off")) == expected
    # Four even steps e apart: the slope is known to 0.5 % over the root of 5 steps.
    for step, expected in ((0.0077, 0), (0.0079, 1)):
        reads = [0.1 * (1 + step * i) for i in (-1.5, -0.5, 0.5, 1.5)]
        assert len(told(checked(*reads), "calibration-drift")) == expected


def percent_of_nothing(check: BenchSheet) -> BenchSheet:
    """Return a plate or leak sheet that was read in percent of a range that nobody stated."""
    return replace(check, readings=Sides((Reading(0.0, 12, range_fraction=0.3),), ()))


def places(made, code: str) -> list[tuple]:
    """Return level, file, line and side of what is said under a code, and the first word of its cure."""
    found = [f for f in review(made).findings if f.code == code]
    return [(f.level, f.file, f.line, f.side, f.cure.split(" ")[0]) for f in found]


def test_what_is_wrong_with_the_bench_is_said_where_it_stands_and_with_its_cure():
    off = f"plate-{DAYS[2]}.csv"
    assert places(checked(0.1, 0.1, 0.106, 0.1), "calibration-off") == [("look", off, 12, "intake", "Read")]
    drifting = checked(0.0985, 0.0995, 0.1005, 0.1015)
    assert places(drifting, "calibration-drift") == [("look", None, None, "intake", "Find")]
    assert places(checked(0.108), "scale-off") == [("look", None, None, "intake", "Have")]
    stage = {"a": [sheet(FLOWS, "a.csv")]}
    large = with_checks(stage, leak(0.004, PRESSURE_PA))
    assert places(large, "leak-large") == [("look", "leak.csv", None, "intake", "Seal")]
    day, later = dt.date(2026, 3, 14), dt.date(2026, 3, 15)
    some = {"a": [sheet(FLOWS, "a.csv", date=day)], "b": [sheet(FLOWS, "b.csv", date=later)]}
    missing = with_checks(some, leak(0.001, PRESSURE_PA, date=day))
    assert places(missing, "leak-missing") == [("look", "b.csv", None, "intake", "Read")]
    # What the plate of one day does is no drift.
    assert places(checked(0.0985, 0.0995, 0.1005, 0.115), "calibration-drift") == []
    idle = with_checks(stage, leak(0.001, PRESSURE_PA, stage="b"))
    assert told(idle, "leak-unused")[0].startswith(
        "leak.csv: this leak of the intake is subtracted from nothing: "
        "no sheet is of its bench, day and stage. Mend its"
    )
    # A plate without a certified flow has a finding of its own.
    silent = with_checks(stage, plate(0.1, DAYS[0], certificate=replace(CERTIFICATE, flow_m3_s=None)))
    assert places(silent, "check-unread") == []
    assert places(idle, "leak-unused") == [("look", "leak.csv", None, "intake", "Mend")]
    unread = with_checks(stage, percent_of_nothing(leak(0.001, PRESSURE_PA)))
    assert places(unread, "check-unread") == [("look", "leak.csv", None, "intake", "Give")]
    low = replace(AIR, test_pressure_pa=10 * INCH_WATER_PA)
    far = job({"a": [sheet(FLOWS, "a.csv", air=low)]})
    assert places(far, "pressure-far") == [("note", None, None, "intake", "")]


def test_two_days_make_no_drift():
    reads = zip((0.0990, 0.0992, 0.1008, 0.1010), (0, 0, 1, 1), strict=True)
    plates = [plate(read, DAYS[day], f"{read}.csv") for read, day in reads]
    assert said(with_checks({"a": [sheet(FLOWS, "a.csv")]}, *plates)) == []


def test_a_leak_beside_the_largest_flow_is_said_in_figures():
    """By hand: 110.15 L/s less the leak; 4 L/s are 3.8 % of that, and 2.16 L/s are 2 % of theirs."""
    leaking = {flow: with_checks({"a": [sheet(FLOWS, "a.csv")]}, leak(flow, PRESSURE_PA))
               for flow in (0.004, 0.00214, 0.00218)}  # fmt: skip
    (text,) = told(leaking[0.004], "leak-large")
    assert text.startswith("leak.csv: the intake leaks 4 L/s, which is 3.8 % of its largest flow.")
    assert [len(told(leaking[flow], "leak-large")) for flow in (0.00214, 0.00218)] == [0, 1]


@pytest.mark.parametrize(("flow", "expected"), [(0.001, []), (0.004, [("look", "leak-large")])])
def test_a_leak_is_large_beside_the_largest_flow(flow, expected):
    assert said(with_checks({"a": [sheet(FLOWS, "a.csv")]}, leak(flow, PRESSURE_PA))) == expected


@pytest.mark.parametrize(
    ("more", "expected"),
    [
        ({}, []),
        ({"date": dt.date(2026, 3, 14), "stage": "a"}, []),
        ({"date": dt.date(2026, 3, 15)}, [("look", "leak-unused")]),
        ({"stage": "b"}, [("look", "leak-unused")]),
        ({"bench": "other"}, [("look", "leak-unused")]),
    ],
)
def test_a_leak_of_no_sheet_is_said_to_be_unused(more, expected):
    benches = (BENCH, replace(BENCH, name="other"))
    made = with_checks({"a": [sheet(FLOWS, "a.csv")]}, leak(0.001, PRESSURE_PA, **more), benches=benches)
    assert said(made) == expected


def test_a_leak_that_only_some_sheets_have_names_the_others():
    day, later = dt.date(2026, 3, 14), dt.date(2026, 3, 15)
    stages = {"a": [sheet(FLOWS, "a.csv", date=day)], "b": [sheet(FLOWS, "b.csv", date=later)]}
    (text,) = told(with_checks(stages, leak(0.001, PRESSURE_PA, date=day)), "leak-missing")
    assert "A leak of the intake is subtracted from some sheets and not from b.csv:" in text
    stages["b"].append(sheet(FLOWS, "c.csv", date=later))
    (text,) = told(with_checks(stages, leak(0.001, PRESSURE_PA, date=day)), "leak-missing")
    assert "and not from 2 others:" in text


def test_a_check_that_gives_no_flow_is_said_and_stops_no_reading():
    """It once stopped every flow it should have been subtracted from, for a range missing on their sheets."""
    unread = (percent_of_nothing(leak(0.001, PRESSURE_PA)), percent_of_nothing(plate(0.1, DAYS[0])))
    made = with_checks({"a": [sheet(FLOWS, "a.csv")]}, *unread)
    assert review(made).stages[0].intake.flow_m3_s == pytest.approx(list(FLOWS.values()))
    assert [text.split(", so")[0] for text in told(made, "check-unread")] == [
        "leak.csv: the leak reading of the intake gives no flow",
        "plate-2026-03-02.csv: the plate reading of the intake gives no flow",
    ]


def test_days_and_benches():
    later = dt.date(2026, 4, 1)
    apart = {"a": [sheet(FLOWS, "a.csv")], "b": [sheet(FLOWS, "b.csv", date=later, bench="other")]}
    found = said(job(apart, benches=(BENCH, replace(BENCH, name="other"))))
    assert found == [("note", "different-days"), ("note", "different-benches")]
    made = job(apart, benches=(BENCH, replace(BENCH, name="other")))
    assert "were read on 2 days:" in told(made, "different-days")[0]
    assert "different benches (bench, other):" in told(made, "different-benches")[0]


def test_flow_that_turns_over_is_a_note():
    turned = FLOWS | {LIFTS_M[-1]: 0.97 * FLOWS[LIFTS_M[-2]]}
    assert said(job({"a": [sheet(turned, "a.csv")]})) == [("note", "flow-turns-over")]


def test_one_other_setup_is_said_once():
    other = replace(sheet(FLOWS, "c.csv").fixture, bore_m=0.09)
    first = replace(other, bore_m=0.086)
    stages = {
        name: [sheet(FLOWS, f"{name}.csv", fixture=fixture)]
        for name, fixture in (("a", first), ("b", first), ("c", other))
    }
    assert said(job(stages)) == [("look", "other-setup")]
