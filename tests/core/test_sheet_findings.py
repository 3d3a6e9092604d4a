"""What sheets and benches leave open is said once, in figures, and only where it is so."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from core.constants import INCH_WATER_PA
from core.findings.sheets import of_job
from core.job import Air, Bench, BenchSheet, Certificate, Finding, Job, Printed, Reading, Sides, Target
from core.numbers import finding_text
from core.review import review
from core.units import METRIC
from tests.core.jobs import AIR, BENCH, PRESSURE_PA, job, sheet

FLOWS = {0.001: 0.01, 0.002: 0.02}
PRINTED = Printed(True, PRESSURE_PA, "ISO 2533")
PLATE = BenchSheet(
    "plate.csv",
    Sides((Reading(0.0, 9, flow_m3_s=0.1),), ()),
    "calibration",
    air=AIR,
    certificate=Certificate("intake", 0.1, PRESSURE_PA, "ISO 2533", 0.004),
)
LEAK = replace(
    PLATE,
    file="leak.csv",
    role="leak",
    readings=Sides((Reading(0.0, 9, flow_m3_s=1e-3),), ()),
    certificate=Certificate(),
)


def plain(found: list[Finding]) -> dict[str, str]:
    """Return what a person reads, under its code."""
    assert len({one.code for one in found}) == len(found)
    spoken = {one.code: finding_text(one, METRIC) for one in found}
    return {code: text.replace("\u00a0", " ").replace("\u202f", " ") for code, text in spoken.items()}


def sheets(*airs: Air, **more: Any) -> list[BenchSheet]:
    """Return a sheet of a stage for each air."""
    return [sheet(FLOWS, f"{n}.csv", air=air, **more) for n, air in enumerate(airs, start=1)]


def checked(*checks: BenchSheet, **more: Any) -> Job:
    """Return a job of one sound sheet, with its plates and leak tests."""
    made = job({"a": sheets(AIR)}, **more)
    return replace(made, sheets=made.sheets + checks)


# sheets ------------------------------------------------------------------------------------

MATTERS = [
    (
        {"test_pressure_pa": None},
        "look",
        "no-test-pressure",
        "without a test pressure: flows are shown as read, not scaled to the reference. "
        "Add # test pressure: 28 inH2O, with the pressure that was used.",
    ),
    (
        {"barometer_pa": None},
        "note",
        "assumed-barometer",
        "without barometer or altitude: 1013.25 hPa is taken. "
        "Add # barometer: 984 hPa, as read at the bench.",
    ),
    (
        {"barometer_pa": None, "altitude_m": 0.0},
        "note",
        "assumed-altitude",
        "without a barometer reading: the standard pressure at the stated altitude is taken. "
        "Add # barometer: 984 hPa, as read at the bench.",
    ),
    (
        {"air_temperature_k": None},
        "note",
        "assumed-temperature",
        "without air temperature: that of standard air is taken. Add # air temperature: 21 degC.",
    ),
    (
        {"humidity": None},
        "note",
        "assumed-humidity",
        "without humidity: dry air is taken. Add # humidity: 45 %.",
    ),
    (
        {"meter_temperature_k": None},
        "note",
        "assumed-meter-temperature",
        "without a meter temperature: the meter is taken to be as warm as the room. "
        "Add # meter temperature: 24 degC.",
    ),
]


def test_sheets_that_state_all_leave_nothing_open() -> None:
    assert of_job(job({"a": sheets(AIR, replace(AIR, altitude_m=300.0, humidity=0.0))})) == []
    assert of_job(checked(PLATE, LEAK)) == []
    assert of_job(job({})) == []


@pytest.mark.parametrize(("changed", "level", "code", "text"), MATTERS)
def test_what_a_sheet_does_not_state(changed: dict[str, Any], level: str, code: str, text: str) -> None:
    silent = replace(AIR, **changed)
    found = of_job(job({"a": sheets(AIR, silent, AIR)}))
    assert [(one.level, one.file) for one in found] == [(level, "2.csv")]
    assert plain(found) == {code: f"2.csv is {text}"}
    assert plain(of_job(job({"a": sheets(silent, AIR, silent)}))) == {code: f"2 sheets are {text}"}
    every = of_job(job({"a": sheets(silent, silent)}))
    assert plain(every) == {code: f"All sheets are {text}"} and every[0].file == "1.csv"
    assert plain(of_job(job({"a": sheets(silent)}))) == {code: f"1.csv is {text}"}
    # Of all that were read on the bench's own terms two are not all.
    mixed = job({"a": [*sheets(silent, silent), sheet(FLOWS, "p.csv", printed=PRINTED)]})
    assert plain(of_job(mixed))[code] == f"2 sheets are {text}"
    # What a bench has corrected already needs none of it ...
    assert set(plain(of_job(job({"a": sheets(silent, printed=PRINTED)})))) == {"already-corrected"}
    # ... and a target is no better known than a stage.
    aim = replace(sheets(silent)[0], role="target", file="aim.csv")
    assert plain(of_job(job({"a": sheets(AIR)}, target=Target("aim", (aim,))))) == {
        code: f"aim.csv is {text}"
    }


@pytest.mark.parametrize(
    ("stated", "code"),
    [("test_pressure_pa", "no-test-pressure"), ("meter_temperature_k", "assumed-meter-temperature")],
)
@pytest.mark.parametrize(("intake", "exhaust"), [(True, True), (True, False), (False, True), (False, False)])
def test_what_every_reading_states_a_sheet_need_not(
    stated: str, code: str, intake: bool, exhaust: bool
) -> None:
    """A column stands for the whole sheet only where each reading of both sides has its cell."""
    value = getattr(AIR, stated)
    cells = {lift: Reading(lift, n, flow_m3_s=flow) for n, (lift, flow) in enumerate(FLOWS.items())}
    first, last = cells.values()
    with_value = first._replace(**{stated: value})
    sides = ((with_value, last._replace(**{stated: value if said else None})) for said in (intake, exhaust))
    read = replace(sheets(replace(AIR, **{stated: None}))[0], readings=Sides(*sides))
    assert set(plain(of_job(job({"a": [read]})))) == (set() if intake and exhaust else {code})


def test_a_bench_that_corrects_keeps_its_correction_and_says_to_what() -> None:
    kept = "already corrected by the bench: its own correction is kept, none is added."
    found = of_job(job({"a": sheets(AIR, printed=PRINTED)}))
    assert plain(found) == {"already-corrected": f"1.csv is {kept}"} and found[0].level == "note"
    some = [*sheets(AIR), *(sheet(FLOWS, name, printed=PRINTED) for name in ("8.csv", "9.csv"))]
    assert plain(of_job(job({"a": some}))) == {"already-corrected": f"2 sheets are {kept}"}
    assert plain(of_job(job({"a": some[1:]}))) == {"already-corrected": f"All sheets are {kept}"}
    for unsaid in ({"corrected_to_pressure_pa": None}, {"corrected_to_air": None}):
        found = of_job(job({"a": [*sheets(AIR), *sheets(AIR, printed=replace(PRINTED, **unsaid))]}))
        assert plain(found)["corrected-to-what"] == (
            "1.csv is already corrected, but to which pressure or air is not stated: the job's own are "
            "taken. Add # corrected to pressure: 28 inH2O and # corrected to air: ISO 2533."
        )
        assert [one.level for one in found] == ["note", "look"]


def test_only_ports_of_the_head_need_a_name() -> None:
    found = of_job(job({"a": sheets(AIR, port=None)}))
    assert plain(found) == {
        "port-unnamed": "1.csv is without a port: taken as one unnamed port. Add # port: 2."
    }
    assert found[0].level == "note"
    aim = replace(sheets(AIR, port=None)[0], role="target")
    assert of_job(job({"a": sheets(AIR)}, target=Target("aim", (aim,)))) == []


# plates and leak tests --------------------------------------------------------------------


def test_a_plate_without_its_certified_flow() -> None:
    bare = replace(PLATE, certificate=Certificate())
    found = of_job(checked(bare))
    assert plain(found) == {
        "no-certified-flow": "plate.csv is of a calibration without a certified flow: no factor can be "
        "worked out. Add # certified flow: 100 L/s, with # certified at: and # certified air:."
    }
    assert found[0].level == "look"


@pytest.mark.parametrize("unsaid", ["at_pa", "air"])
def test_a_certified_flow_is_at_some_pressure_and_in_some_air(unsaid: str) -> None:
    found = of_job(checked(replace(PLATE, certificate=replace(PLATE.certificate, **{unsaid: None}))))
    assert plain(found) == {
        "certified-where": "plate.csv is of a calibration whose certified flow is of no stated pressure or "
        "air: the job's own are taken. Add # certified at: 28 inH2O and # certified air: ISO 2533."
    }
    assert found[0].level == "look"


def test_a_plate_or_leak_that_was_read_at_no_stated_pressure_counts_as_read_at_the_reference() -> None:
    silent = replace(AIR, test_pressure_pa=None)
    for check in (PLATE, LEAK):
        found = of_job(checked(replace(check, air=silent)))
        assert plain(found) == {
            "check-without-pressure": f"{check.file} is of a plate or a leak without a test pressure: taken "
            "as read at the reference pressure. Add # test pressure: 28 inH2O, with the pressure that was "
            "used."
        }
        assert found[0].level == "look"
        assert of_job(checked(replace(check, air=silent, printed=PRINTED))) == []
        # It is as the sentence says: the flow comes out as if 28 inH2O had been stated, and not 25.
        flows = [
            review(checked(replace(check, air=replace(AIR, test_pressure_pa=drop))))
            .stages[0]
            .intake.flow_m3_s
            for drop in (None, PRESSURE_PA, 25 * INCH_WATER_PA)
        ]
        assert flows[0] == pytest.approx(flows[1], rel=1e-6)
        assert flows[0][0] != pytest.approx(flows[2][0], rel=1e-3)


def test_a_plate_needs_its_weather_and_a_leak_none() -> None:
    calm = Air(test_pressure_pa=PRESSURE_PA)
    assert set(plain(of_job(checked(replace(PLATE, air=calm))))) == {
        "assumed-barometer",
        "assumed-temperature",
        "assumed-humidity",
        "assumed-meter-temperature",
    }
    assert of_job(checked(replace(LEAK, air=calm))) == []
    assert of_job(checked(replace(PLATE, air=calm, printed=PRINTED))) == []


def test_two_plates_are_not_all_sheets() -> None:
    silent = [replace(PLATE, file=f"{n}.csv", air=replace(AIR, test_pressure_pa=None)) for n in (1, 2)]
    found = plain(of_job(checked(*silent)))
    assert found["check-without-pressure"].startswith("2 sheets are of a plate or a leak")
    dry = job({"a": sheets(AIR, *[replace(AIR, humidity=None)] * 2)})
    found = plain(of_job(replace(dry, sheets=(*dry.sheets, LEAK))))
    assert found["assumed-humidity"].startswith("2 sheets are without humidity")


def test_plates_of_the_targets_own_bench_count_too() -> None:
    aim = replace(sheets(AIR)[0], role="target")
    target = Target("aim", (aim,), benches=(BENCH,), checks=(replace(PLATE, certificate=Certificate()),))
    assert set(plain(of_job(job({"a": sheets(AIR)}, target=target)))) == {"no-certified-flow"}


# benches ----------------------------------------------------------------------------------


def test_a_bench_that_states_nothing() -> None:
    found = of_job(job({"a": sheets(AIR)}, benches=(Bench("mine"),)))
    assert plain(found) == {
        "assumed-calibration": "No uncertainty of the calibration of the bench is stated: 1.5 % (standard) "
        'is taken. It cancels in gains on one bench. Add calibration = "1 %" to [[bench]].',
        "assumed-readings": "On the bench, usual standard uncertainties are taken for lift setting, test "
        "pressure reading, barometer reading, temperature reading, humidity reading. State lift_setting, "
        "test_pressure_reading, barometer_reading, temperature_reading, humidity_reading in [[bench]].",
        "assumed-scale": "At which test pressure the scale of the bench was set is not stated: it is taken "
        'to hold at each. Add calibrated_at = "28 inH2O" to [[bench]].',
    }
    assert {one.level for one in found} == {"note"}


@pytest.mark.parametrize(
    ("unsaid", "code"),
    [
        ("calibration", "assumed-calibration"),
        ("calibrated_at_pa", "assumed-scale"),
        ("humidity_reading", "assumed-readings"),
        ("repeatability", None),  # said where repeats are, or are not
    ],
)
def test_only_what_a_bench_does_not_state_is_said(unsaid: str, code: str | None) -> None:
    bench = replace(BENCH, **{unsaid: None})
    found = of_job(job({"a": sheets(AIR)}, benches=(bench,)))
    assert [one.code for one in found] == ([code] if code else [])


def test_of_several_benches_each_is_named() -> None:
    benches = (replace(BENCH, calibration=None), replace(BENCH, name="other", humidity_reading=None))
    read = [*sheets(AIR), *sheets(AIR, bench="other")]
    found = plain(of_job(job({"a": read}, benches=benches)))
    assert found["assumed-calibration"].startswith("No uncertainty of the calibration of bench is stated")
    assert found["assumed-readings"].startswith(
        "On other, usual standard uncertainties are taken for humidity"
    )
    # A bench that nothing was read on, or only what it had corrected itself, leaves nothing open.
    assert set(plain(of_job(job({"a": read[:1]}, benches=benches)))) == {"assumed-calibration"}
    printed = [*sheets(AIR), *sheets(AIR, bench="other", printed=PRINTED)]
    assert "assumed-readings" not in plain(of_job(job({"a": printed}, benches=benches)))
    nameless = (replace(BENCH, name=None, calibration=None), benches[1])
    found = plain(of_job(job({"a": [*sheets(AIR, bench=None), *read[1:]]}, benches=nameless)))
    assert found["assumed-calibration"].startswith("No uncertainty of the calibration of the bench is")


def said(bench: Bench, code: str) -> list[str]:
    """Return what is said under a code of a job that was read with the plate of a bench."""
    readings = tuple(Reading(lift * 1e-3, lift, plate_drop_pa=100.0 * lift) for lift in range(1, 6))
    read = BenchSheet("a.csv", Sides(readings, ()), port="1", air=AIR, bench="bench")
    found = review(job({"a": [read]}, benches=(bench,))).findings
    return [
        finding_text(one, METRIC).replace("\u00a0", " ").replace("\u202f", " ")
        for one in found
        if one.code == code
    ]


@pytest.mark.parametrize(("pipe_m", "where"), [(None, "in a plenum"), (0.045, "in its pipe")])
def test_a_plate_that_the_standard_does_not_cover(pipe_m: float | None, where: str) -> None:
    bench = Bench(
        "bench", "plate pressure drop", plate_diameter_m=0.03, pipe_diameter_m=pipe_m, taps="corner"
    )
    assert said(bench, "plate-beyond-standard") == [
        f"The plate of the bench, 30 mm {where}, is outside what ISO 5167-2 covers: at least 12.5 mm, in a "
        "pipe of 50 mm to 1 000 mm, at 10 % to 75 % of its diameter. Its coefficient is an extrapolation; it "
        "cancels in gains on one bench. Read a plate of certified flow (# role: calibration); its factor "
        "puts that right."
    ]


def test_a_plate_within_the_standard_says_nothing() -> None:
    bench = Bench("bench", "plate pressure drop", plate_diameter_m=0.03, pipe_diameter_m=0.06, taps="corner")
    assert said(bench, "plate-beyond-standard") == []
    # A plate in the drawer of a bench with another meter meters nothing.
    assert said(replace(bench, meter="volume flow", pipe_diameter_m=None), "plate-beyond-standard") == []


def test_only_a_scale_of_flow_was_set_at_a_pressure() -> None:
    for meter, is_said in (("volume flow", True), ("percent of range", True), ("mass flow", False)):
        found = of_job(job({"a": sheets(AIR)}, benches=(replace(BENCH, meter=meter, calibrated_at_pa=None),)))
        assert bool(found) is is_said
    assert said(Bench("bench", "plate pressure drop", plate_diameter_m=0.03), "assumed-scale") == []


def test_a_plate_of_unknown_size_is_asked_for() -> None:
    found = said(Bench("bench", "plate pressure drop"), "no-flow")
    assert len(found) == 5
    assert all("plate_diameter" in one and "range" not in one for one in found)
    assert said(Bench("bench", "plate pressure drop"), "plate-beyond-standard") == []
