"""Writing bench sheets: what is read, written and read again is the same, and so is the text."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from core import units
from core.files.columns import COLUMN_KINDS
from core.files.fields import Quantity
from core.files.sheet import KEYS, read_sheet
from core.files.write_sheet import UNITS, UnwritableError, sheet_text
from core.job import Air, BenchSheet, Reading, Sides
from tests.core.test_files_sheets import EVERY_KEY

DEMO_RUNS = Path(__file__).parents[2] / "demo_runs"
DEMO_SHEETS = sorted(DEMO_RUNS.rglob("*.csv"))


def read(text: str) -> BenchSheet:
    sheet, log = read_sheet("sheet.csv", text.encode("utf-8"))
    assert sheet is not None, log.problems
    return sheet


def comes_back(text: str) -> str:
    """Check that a text's sheet is written so that it reads the same; return what is written."""
    first = read(text)
    written = sheet_text(first)
    again = read(written)
    assert sheet_text(again) == written
    for side in ("intake", "exhaust"):
        assert [one._replace(line=0) for one in again.readings[side]] == [
            one._replace(line=0) for one in first.readings[side]
        ]
    return written


@pytest.mark.parametrize("path", DEMO_SHEETS, ids=lambda p: f"{p.parent.name}-{p.stem}")
def test_demo_sheets_come_back(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    written = comes_back(text)
    assert [line.split(":")[0] for line in written.splitlines() if line.startswith("#")] == [
        line.split(":")[0] for line in text.splitlines() if line.startswith("#")
    ]
    assert _table(written) == _table(text)  # units and all


def _table(text: str) -> list[list[str | float]]:
    """Return the table with numbers as such: a sheet in memory knows "20.0" as 20."""
    rows = [line.split(",") for line in text.splitlines() if not line.startswith("#")]
    return [rows[0], *([cell and float(cell) for cell in row] for row in rows[1:])]


@pytest.mark.parametrize(
    ("table", "head"),
    [
        ("lift [in],intake [cfm]\n1/8,45.2\n3/16,71\n", "lift [in],intake [cfm]"),
        ("lift [thou];exhaust [m3/h]\n50;40,5\n100;81,0\n", "lift [in],exhaust [m3/h]"),
        ("lift [mm],intake [g/s]\n1,12.1\n2,24.0\n", "lift [mm],intake [g/s]"),
        ("lift [mm],intake [inH2O]\n1,2.1\n2,4.0\n", "lift [mm],intake [inH2O]"),
        (
            "lift [mm],intake [%],test pressure [inH2O],meter temperature [degF],intake range [cfm]\n"
            "1,22,25,70,100\n2,44,24.9,70.5,200\n",
            "lift [mm],intake [%],test pressure [inH2O],meter temperature [degF],intake range [cfm]",
        ),
        ("intake [cfm]\n120\n", "intake [cfm]"),
    ],
)
def test_units_come_back(table: str, head: str) -> None:
    role = "# role: leak\n" if "lift" not in table else ""
    assert head in comes_back(role + table).splitlines()


def test_whatever_a_sheet_holds_has_units_to_be_written_in() -> None:
    """A new kind of key or column is missing here until ``UNITS`` of core/files/write_sheet.py has it."""
    kinds = {kind for kinds in COLUMN_KINDS.values() for kind in kinds}
    kinds |= {field.read.kind for _, field in KEYS.values() if isinstance(field.read, Quantity)}
    assert kinds - UNITS.keys() == set()
    for kind, written in UNITS.items():
        # Only a unit that is SI itself gives back any number to the last digit.
        assert (kind, 1.0, 0.0) in [units.factor(unit, (kind,)) for unit in written]


def test_every_key_comes_back() -> None:
    table = "lift [mm],intake [L/s],exhaust [L/s]\n1,21.4,17.0\n2,43.1,33.8\n"
    # a sheet in memory keeps no spelling of what it understood
    as_understood = {"bowl  blend": "bowl blend", "iso  2533": "ISO 2533", "side: Intake": "side: intake"}
    text = EVERY_KEY + table
    for spelling, understood in as_understood.items():
        text = text.replace(spelling, understood)
    assert comes_back(text) == text


def test_nothing_is_lost() -> None:
    written = comes_back(
        "# barometr: 984 hPa\n# taken after lunch\n# note: one\nlift [mm],swirl,intake [L/s]\n"
        '2,"a, b",40\n1,c,20\n1,d,21\n\nNote: head was warm\n"bore, of the fixture"\n# note: two\n'
    )
    assert written == (
        "# barometr: 984 hPa\n# note: one\n# note: two\n# note: Note: head was warm\n"
        "# note: bore, of the fixture\n# taken after lunch\n"
        'lift [mm],intake [L/s],swirl\n1,20,c\n1,21,d\n2,40,"a, b"\n'
    )


def test_a_range_without_its_readings_comes_back() -> None:
    text = "lift [mm],intake [L/s],exhaust range [cfm]\n1,21.4,100\n2,43.1,\n"
    assert comes_back(text) == text


def test_sides_that_share_no_row_stay_apart() -> None:
    text = "lift [mm],intake [L/s],exhaust [L/s],note\n1,,17,first\n1,20,,second\n2,40,30,\n"
    assert comes_back(text) == text


def test_units_may_be_named() -> None:
    text = "# test pressure: 25 inH2O\nlift [mm],intake [L/s]\n2.54,10\n"
    named = sheet_text(read(text), {"lift": "in", "test pressure": "mmH2O"})
    assert named == "# test pressure: 635 mmH2O\nlift [in],intake [L/s]\n0.1,10\n"


@pytest.mark.parametrize(
    "change",
    [
        {"stage": "as cast;"},
        {"stage": "two\nlines"},
        {"note": "bell \x07"},
        {"extra_columns": (("swirl", ("1", "2")),)},
        {"readings": Sides((Reading(0.001, 0, flow_m3_s=-1.0),), ())},
        {"readings": Sides((Reading(0.001, 0, flow_m3_s=0.01, mass_flow_kg_s=0.01),), ())},
        {"air": Air(barometer_pa=1.0)},
    ],
)
def test_what_would_not_read_back_is_refused(change: dict[str, object]) -> None:
    sheet = read("lift [mm],intake [L/s]\n1,20\n")
    with pytest.raises(UnwritableError):
        sheet_text(replace(sheet, **change))


# The least lift that is read, and the shortest unit for these is the inch.
@example([(1e-05, 0.5), (0.020792521, 0.5), (0.022435922, 0.5)], 250.0)
@given(
    st.lists(st.tuples(st.floats(1e-5, 0.05).map(lambda v: round(v, 9)), st.floats(1e-4, 0.5)), min_size=1),
    st.floats(250, 24000),
)
def test_any_numbers_come_back(readings: list[tuple[float, float]], pressure: float) -> None:
    readings = sorted(readings, key=lambda one: one[0])
    sheet = replace(
        read("lift [mm],intake [L/s]\n1,20\n"),
        readings=Sides(tuple(Reading(lift, 0, flow_m3_s=flow) for lift, flow in readings), ()),
        air=Air(test_pressure_pa=pressure),
    )
    again = read(sheet_text(sheet))
    assert [(one.lift_m, one.flow_m3_s) for one in again.readings.intake] == readings
    assert again.air.test_pressure_pa == pressure
