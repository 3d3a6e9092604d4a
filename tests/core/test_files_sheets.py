"""Bench sheets: every key and column, every way to write them down, and nothing lost on the way."""

from __future__ import annotations

import codecs
import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.files.sheet import KEYS, read_sheet
from core.job import Air, BenchSheet, Certificate, Printed, Setup
from core.units import parse

TABLE = "lift [mm],intake [L/s],exhaust [L/s]\n1,21.4,17.0\n2,43.1,33.8\n"


def read(text: str | bytes, **units: str) -> BenchSheet:
    """Return a sheet that is known to be readable."""
    data = text if isinstance(text, bytes) else text.encode("utf-8")
    sheet, log = read_sheet("sheet.csv", data, units)
    assert log.problems == []
    assert sheet is not None
    return sheet


def codes(text: str) -> list[str]:
    return [finding.code for finding in read_sheet("sheet.csv", text.encode("utf-8"))[1].findings]


def problems(text: str) -> list[str]:
    """Return what is wrong with a sheet that is known to be unusable."""
    sheet, log = read_sheet("sheet.csv", text.encode("utf-8"))
    assert sheet is None
    assert all(problem.cure for problem in log.problems)
    return [str(problem) for problem in log.problems]


# --- keys ----------------------------------------------------------------------------

EVERY_KEY = """\
# stage: bowl  blend
# port: 2
# role: calibration
# date: 2026-03-14
# time: 14:30
# order: 2
# bench: shop bench
# setup: b
# note: clay moved
# barometer: 984 hPa
# altitude: 350 m
# air temperature: 21.5 degC
# humidity: 46 %
# meter temperature: 75 degF
# piece temperature: 22 degC
# test pressure: 25 inH2O
# bore: 86 mm
# intake entry: clay radius
# exhaust exit: stub, 1.75 in
# valves open: 2
# test valve: the head's own
# spark plug: fitted
# intake range: 200 cfm
# exhaust range: 150 cfm
# already corrected: yes
# corrected to pressure: 28 inH2O
# corrected to air: iso  2533
# side: Intake
# certified flow: 120 cfm
# certified at: 28 inH2O
# certified air: 0.075 lb/ft3
# certified uncertainty: 0.8 %
"""


def test_every_key_is_read() -> None:
    assert {line[2:].partition(":")[0] for line in EVERY_KEY.splitlines()} == set(KEYS)
    sheet = read(EVERY_KEY + TABLE)
    assert (sheet.stage, sheet.port, sheet.role) == ("bowl blend", "2", "calibration")
    assert (sheet.date, sheet.time, sheet.order) == (dt.date(2026, 3, 14), dt.time(14, 30), 2.0)
    assert (sheet.bench, sheet.setup, sheet.note) == ("shop bench", "b", "clay moved")
    inch_water = 249.08891
    assert sheet.air == Air(
        barometer_pa=98400,
        altitude_m=350,
        air_temperature_k=294.65,
        humidity=0.46,
        meter_temperature_k=pytest.approx((75 + 459.67) / 1.8),
        piece_temperature_k=295.15,
        test_pressure_pa=pytest.approx(25 * inch_water),
    )
    assert sheet.fixture == Setup(0.086, "clay radius", "stub, 1.75 in", 2, "the head's own", "fitted")
    cfm = 0.3048**3 / 60
    assert sheet.printed == Printed(
        True, pytest.approx(28 * inch_water), "ISO 2533", pytest.approx(200 * cfm), pytest.approx(150 * cfm)
    )
    assert sheet.certificate == Certificate(
        "intake", pytest.approx(120 * cfm), pytest.approx(28 * inch_water), "0.075 lb/ft3", 0.008
    )
    lines = EVERY_KEY.splitlines()
    assert sheet.line_of("barometer") == lines.index("# barometer: 984 hPa") + 1
    assert sheet.line_of("spark plug") == lines.index("# spark plug: fitted") + 1
    assert sheet.line_of("nowhere") is None


def test_without_keys_nothing_is_assumed() -> None:
    sheet = read(TABLE)
    assert (sheet.stage, sheet.port, sheet.role, sheet.date) == (None, None, "stage", None)
    assert (sheet.air, sheet.fixture, sheet.printed) == (Air(), Setup(), Printed())


def test_keys_may_be_written_loosely() -> None:
    sheet = read(
        '#STAGE:as cast\n  #  Air   Temperature :  21,5 °C ,,\n"# note: a, b",,\n# port:,2\n# bench:\n'
        + TABLE
    )
    assert (sheet.stage, sheet.port, sheet.note, sheet.bench) == ("as cast", "2", "a, b", None)
    assert sheet.air.air_temperature_k == 294.65


def test_keys_may_stand_below_the_table_and_notes_be_many() -> None:
    sheet = read("# note: one\n" + TABLE + "# note: two\n# port: 3\n")
    assert (sheet.note, sheet.port) == ("one\ntwo", "3")


def test_an_unknown_key_is_kept_and_named_with_its_line() -> None:
    text = "# stage: as cast\n# barometr: 984 hPa\n# weather: rain\n# taken after lunch\n" + TABLE
    sheet, log = read_sheet("sheet.csv", text.encode())
    assert sheet.extra == (("barometr", "984 hPa"), ("weather", "rain"), ("", "taken after lunch"))
    assert [(f.level, f.code, f.line) for f in log.findings] == [
        ("note", "unknown-key", 2),
        ("note", "unknown-key", 3),
        ("note", "comment", 4),
    ]
    first, second, _ = log.findings
    assert first.values == (("barometr", "text"), ("barometer", "text"))
    assert first.cure == "Did you mean '{}'?"
    assert second.cure == ""


# --- columns --------------------------------------------------------------------------


def test_readings_in_si_with_their_lines() -> None:
    sheet = read("# stage: x\n" + TABLE)
    assert [(r.lift_m, r.flow_m3_s, r.line) for r in sheet.readings.intake] == [
        (0.001, pytest.approx(0.0214), 3),
        (0.002, pytest.approx(0.0431), 4),
    ]
    assert [r.flow_m3_s for r in sheet.readings.exhaust] == pytest.approx([0.017, 0.0338])


def test_rows_may_state_pressure_temperature_and_range() -> None:
    head = "lift [mm],intake [%],test pressure [inH2O],meter temperature [degC],intake range [cfm]"
    text = f"# intake range: 200 cfm\n{head}\n1,62,28,24,100\n2,70,-,,\n"
    first, second = read(text).readings.intake
    assert (first.range_fraction, first.flow_m3_s) == (0.62, None)
    assert first.test_pressure_pa == parse("28 inH2O", "pressure")
    assert first.meter_temperature_k == pytest.approx(297.15)
    assert first.range_m3_s == pytest.approx(parse("100 cfm", "flow"))
    assert (second.test_pressure_pa, second.meter_temperature_k) == (None, None)
    assert second.range_m3_s == pytest.approx(parse("200 cfm", "flow"))


@pytest.mark.parametrize(
    ("unit", "attribute", "si"),
    [
        ("cfm", "flow_m3_s", 30 * 0.3048**3 / 60),
        ("inH2O", "plate_drop_pa", 30 * 249.08891),
        ("kg/h", "mass_flow_kg_s", 30 / 3600),
    ],
)
def test_the_unit_tells_what_a_reading_is(unit: str, attribute: str, si: float) -> None:
    (reading,) = read(f"lift [mm],intake [{unit}]\n1,30\n").readings.intake
    assert getattr(reading, attribute) == pytest.approx(si)
    others = {"flow_m3_s", "range_fraction", "plate_drop_pa", "mass_flow_kg_s"} - {attribute}
    assert all(getattr(reading, other) is None for other in others)


@pytest.mark.parametrize("blank", ["", "-", " - ", "\u2013", "\u2014"])
def test_a_blank_cell_is_a_reading_not_taken(blank: str) -> None:
    sheet = read(f"lift [mm],intake [L/s],exhaust [L/s]\n1,21.4,{blank}\n2,{blank},33.8\n3,61\n{blank},,\n")
    assert [r.lift_m for r in sheet.readings.intake] == [0.001, 0.003]
    assert [r.lift_m for r in sheet.readings.exhaust] == [0.002]


def test_further_columns_are_kept_and_named() -> None:
    text = "Lift [mm], INTAKE (L/s) ,Swirl [rpm],remark\n2,43.1,900,clay\n1,21.4,800,\n"
    sheet = read(text)
    assert sheet.extra_columns == (("Swirl [rpm]", ("800", "900")), ("remark", ("", "clay")))
    assert [sheet.beside(line) for line in (1, 2, 3)] == [
        (),
        (("Swirl [rpm]", "900"), ("remark", "clay")),
        (("Swirl [rpm]", "800"),),
    ]
    assert "further-columns" in codes(text)
    for role, where in (("stage", "Kept, shown on Bench day"), ("leak", "Kept and not computed with")):
        _, log = read_sheet("sheet.csv", f"# role: {role}\n{text}".encode())
        assert [one.text.startswith(where) for one in log.findings if one.code == "further-columns"] == [True]


def test_a_range_without_its_readings_is_kept_as_a_further_column() -> None:
    text = "lift [mm],intake [L/s],exhaust range [cfm],remark\n1,21.4,100,clay\n"
    assert read(text).extra_columns == (("remark", ("clay",)), ("exhaust range [cfm]", ("100",)))
    assert codes(text) == ["further-columns"]


def test_lifts_out_of_order_are_sorted_with_a_note() -> None:
    text = "lift [mm],intake [L/s]\n1,21.4\n3,61\n2,43.1\n"
    assert [r.lift_m for r in read(text).readings.intake] == [0.001, 0.002, 0.003]
    assert [r.line for r in read(text).readings.intake] == [2, 4, 3]
    assert codes(text) == ["lifts-sorted"]
    assert codes(TABLE) == []


def test_repeated_lifts_stay_apart() -> None:
    sheet = read("lift [mm],intake [L/s]\n1,21.4\n1,21.6\n2,43.1\n")
    assert [r.flow_m3_s for r in sheet.readings.intake] == pytest.approx([0.0214, 0.0216, 0.0431])
    assert codes("lift [mm],intake [L/s]\n1,21.4\n1,21.6\n2,43.1\n") == []


@pytest.mark.parametrize("thou", range(50, 850, 50))
def test_one_lift_is_one_lift_in_every_unit(thou: int) -> None:
    written = (("in", thou / 1000), ("thou", thou), ("mm", round(thou * 0.0254, 6)))
    lifts = {
        read(f"lift [{unit}],intake [cfm]\n{lift},30\n").readings.intake[0].lift_m for unit, lift in written
    }
    assert lifts == {round(thou * 25.4e-6, 9)}


@pytest.mark.parametrize("role", ["calibration", "leak"])
def test_a_check_of_the_bench_needs_no_lift(role: str) -> None:
    (reading,) = read(f"# role: {role}\nintake [cfm],test pressure [inH2O]\n118.9,28\n").readings.intake
    assert reading.lift_m == 0.0
    assert "'lift [mm]'" in problems("intake [cfm]\n118.9\n")[0]


def test_units_may_be_given_where_the_sheet_does_not_say() -> None:
    text = "lift,intake,exhaust [L/s]\n0.1,44,30\n"
    given = {"lift": "in", "flow": "cfm", "test pressure": "28 inH2O"}
    sheet = read(text, **given)
    assert sheet.readings.intake[0].lift_m == pytest.approx(0.00254)
    assert sheet.readings.intake[0].flow_m3_s == pytest.approx(44 * 0.3048**3 / 60)
    assert sheet.readings.exhaust[0].flow_m3_s == pytest.approx(0.030)
    assert sheet.air.test_pressure_pa == pytest.approx(28 * 249.08891)
    stated = read("# test pressure: 10 inH2O\n" + text, **given)
    assert stated.air.test_pressure_pa == pytest.approx(10 * 249.08891)


@pytest.mark.parametrize(
    ("lifts", "unit"),
    [
        (("0.050", "0.800"), "in"),
        (("1/8", "3/4"), "in"),
        (("50", "800"), "thou"),
        (("1", "20"), "mm"),
        (("0.5", "12"), "mm"),
    ],
)
def test_a_table_without_units_is_asked_about(lifts: tuple[str, str], unit: str) -> None:
    first, second = problems("lift,intake\n" + "".join(f"{lift},30\n" for lift in lifts))
    assert "line 1, column 'lift': The column has no unit" in first
    assert f"'lift [{unit}]'" in first
    assert f"--lift {unit}" in first
    assert "--flow cfm" in second


# --- ways to write a table -----------------------------------------------------------


def test_notes_below_the_table_are_kept() -> None:
    text = TABLE + "\nsecond sweep, same clay\n2nd valve was sticking\n"
    _, log = read_sheet("sheet.csv", text.encode())
    assert [f.values[0][0] for f in log.findings] == ["second sweep, same clay", "2nd valve was sticking"]
    assert [(f.code, f.line) for f in log.findings] == [("trailing-note", 5), ("trailing-note", 6)]


@pytest.mark.parametrize("slip", ["9O.3", "9O.3,120,80", "3 .5", "x,120,80", "mean,32,25", "3,12O", "l2"])
def test_a_slip_below_the_table_is_no_note(slip: str) -> None:
    assert "line 4" in problems(TABLE + slip + "\n")[0]


def test_a_note_above_readings_is_a_problem() -> None:
    assert "behind a '#'" in problems("lift [mm],intake [L/s]\n1,2\nclay slipped\n2,3\n")[0]


@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_line_endings(ending: str) -> None:
    sheet = read(("# stage: x\n\n" + TABLE).replace("\n", ending))
    assert [reading.line for reading in sheet.readings.intake] == [4, 5]


def test_a_spreadsheets_separator_line_is_obeyed() -> None:
    assert read("sep=;\nlift [mm];intake [L/s]\n1;21,4\n").readings.intake[0].flow_m3_s == pytest.approx(
        0.0214
    )


def test_quoted_cells_may_hold_decimal_commas() -> None:
    text = '"lift [mm]","intake [L/s]"\n"1","21,4"\n"2","43,1"\n'
    assert [r.flow_m3_s for r in read(text).readings.intake] == pytest.approx([0.0214, 0.0431])


def test_three_decimals_are_read_where_the_table_shows_its_decimal_comma() -> None:
    sheet = read("lift [mm];intake [L/s]\n0,5;1,234\n1;21,4\n")
    assert [r.flow_m3_s for r in sheet.readings.intake] == pytest.approx([0.001234, 0.0214])


ENCODINGS = {
    "utf-8": b"",
    "utf-8-sig": b"",
    "utf-16": b"",  # writes its own mark
    "utf-16-le": codecs.BOM_UTF16_LE,
    "utf-16-be": codecs.BOM_UTF16_BE,
    "utf-32": b"",
    "cp1252": b"",
}
DECIMALS = st.decimals(0, 900, places=2).map(str)


@given(
    rows=st.lists(st.tuples(DECIMALS, DECIMALS | st.just("-")), min_size=1, max_size=12),
    encoding=st.sampled_from([*ENCODINGS]),
    separator=st.sampled_from([",", ";", "\t"]),
    mark=st.sampled_from([".", ","]),
    ending=st.sampled_from(["\n", "\r\n"]),
    blank_line=st.booleans(),
)
def test_one_sheet_however_it_is_written_down(
    rows: list[tuple[str, str]], encoding: str, separator: str, mark: str, ending: str, blank_line: bool
) -> None:
    def written(separator: str, mark: str) -> list[str]:
        lines = ["# stage: Kanäle geglättet", f"# air temperature: 21{mark}5 °C", "# note: ±1 µm"]
        lines.append(separator.join(("lift [mm]", "intake [L/s]", "exhaust [L/s]")))
        cells = [(f"{i}.5", *row) for i, row in enumerate(rows, start=1)]
        return lines + [separator.join(row).replace(".", mark) for row in cells] + [""]

    if separator == mark:
        separator = ";"
    plain = read("\n".join(written(",", ".")))
    text = ending.join(written(separator, mark)) + (ending if blank_line else "")
    assert read(ENCODINGS[encoding] + text.encode(encoding)) == plain


def test_utf16_without_its_mark() -> None:
    for encoding in ("utf-16-le", "utf-16-be"):
        assert read(TABLE.encode(encoding)) == read(TABLE)


@given(st.binary(max_size=300))
def test_any_bytes_are_read_or_refused(data: bytes) -> None:
    sheet, log = read_sheet("sheet.csv", data)
    assert (sheet is None) == bool(log.problems)


@given(st.text(alphabet="#:lift[m]nake/s,;\t\"'.-0129 \nO%\u00a0\u2013", max_size=120))
def test_any_scrap_of_a_sheet_is_read_or_refused(text: str) -> None:
    sheet, log = read_sheet("sheet.csv", ("lift [mm],intake [L/s]\n1,2\n" + text).encode())
    assert (sheet is None) == bool(log.problems)
    assert all("\n" not in str(problem) and problem.cure for problem in log.problems)


@given(st.integers(0, 400), st.integers(0, 255))
def test_a_damaged_sheet_is_read_or_refused(place: int, byte: int) -> None:
    data = bytearray((EVERY_KEY + TABLE).encode())
    data[place % len(data)] = byte
    sheet, log = read_sheet("sheet.csv", bytes(data))
    assert (sheet is None) == bool(log.problems)


def test_limits() -> None:
    row = "1,21.4\n"
    head = "lift [mm],intake [L/s]\n"
    assert len(read(head + row * 5000).readings.intake) == 5000
    assert "5001 rows" in problems(head + row * 5001)[0]
    assert "larger than 2 MB" in problems(head + "# " + "x" * 2_000_000)[0]
    assert "101 columns" in problems(head.strip() + ",x" * 99 + "\n" + row)[0]
    assert len(problems(head + "1," + "9" * 200_000)[0]) < 400


def test_a_table_too_wide_is_said_once() -> None:
    (only,) = problems("lift [mm],intake [L/s]\n1,21,4\n2,43,1\n3,61,0\n")
    assert "line 2: This row has 3 cells, but there are 2 column heads (likewise lines 3, 4)" in only
    assert "a decimal comma needs ';'" in only
