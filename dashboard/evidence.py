"""What a review rests on: what was noticed, the conditions of each sheet, readings as they were taken."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from core.job import BenchSheet, Finding, Reading
from core.numbers import finding_text
from core.results import Review
from core.units import NO_BREAK_SPACE, UnitSet, factor, label, show, to_display
from dashboard.figures import NOTHING, figure
from dashboard.look import LEVEL_MARK
from dashboard.tables import Table

_LEVELS = {
    "stop": "do not use what is named",
    "look": "check it before you rely on the numbers",
    "note": "good to know",
}


@dataclass(frozen=True)
class FindingLine:
    """One finding in words: its level with the mark, what was noticed, what to do, and where."""

    level: str
    text: str
    cure: str
    where: str


def finding_lines(findings: Iterable[Finding], units: UnitSet, *, customer: bool) -> list[FindingLine]:
    """Return findings in words; what to do about them is the shop's, not the customer's."""
    lines = []
    for finding in findings:
        text = finding_text(finding, units, cure=False)
        cure = "" if customer else finding_text(finding, units).removeprefix(text).strip()
        line = None if finding.line is None else f"line {finding.line}"
        where = ", ".join(filter(None, (finding.file, line)))
        level = f"{LEVEL_MARK[finding.level]}{NO_BREAK_SPACE}{finding.level}"
        lines.append(FindingLine(level, text, cure, where))
    return lines


def levels_mean(findings: Iterable[Finding]) -> str:
    """Return what the levels of these findings ask of a reader; empty where all are notes."""
    levels = {finding.level for finding in findings}
    if levels <= {"note"}:
        return ""
    said = [f"{level}: {meaning}" for level, meaning in _LEVELS.items() if level in levels]
    return f"{'; '.join(said)}."


def conditions(review: Review, units: UnitSet) -> Table:
    """Return what each bench sheet says of its day, its air and its set-up."""
    columns = ("File", "Stage", "Port", "Day", "Test pressure", "Barometer", "Air", "Humidity", "Set-up")
    rows = tuple(
        (
            sheet.file,
            sheet.stage or sheet.role,
            sheet.port or NOTHING,
            " ".join(str(part) for part in (sheet.date, sheet.time and f"{sheet.time:%H:%M}") if part)
            or NOTHING,
            _test_pressure(sheet, units),
            _stated(sheet.air.barometer_pa, "barometer", units),
            _stated(sheet.air.air_temperature_k, "temperature", units),
            _stated(sheet.air.humidity, "fraction", units),
            setup_text(sheet, units),
        )
        for sheet in review.job.every_sheet
    )
    return Table(columns, rows)


def _test_pressure(sheet: BenchSheet, units: UnitSet) -> str:
    corrected_to = sheet.printed.corrected_to_pressure_pa
    if sheet.air.test_pressure_pa is None and sheet.printed.already_corrected and corrected_to is not None:
        return f"corrected to {show(corrected_to, 'test pressure', units)}"
    return _stated(sheet.air.test_pressure_pa, "test pressure", units)


def _stated(value: float | None, kind: str, units: UnitSet) -> str:
    return "not stated" if value is None else show(value, kind, units)


def setup_text(sheet: BenchSheet, units: UnitSet) -> str:
    """Return how a piece was set up, as far as the sheet says it."""
    fixture = sheet.fixture
    parts = [
        ("bore", None if fixture.bore_m is None else show(fixture.bore_m, "length", units)),
        ("intake entry", fixture.intake_entry),
        ("exhaust exit", fixture.exhaust_exit),
        ("valves open", None if fixture.valves_open is None else str(fixture.valves_open)),
        ("test valve", fixture.test_valve),
        ("spark plug", fixture.spark_plug),
    ]
    return ", ".join(f"{name} {text}" for name, text in parts if text) or "not stated"


def reading_text(reading: Reading, units: UnitSet, read_in: str | None = None) -> str:
    """Return a reading in the unit of its sheet, as the bench showed it; without one in a unit shown."""
    quantities = {
        "flow": reading.flow_m3_s,
        "mass flow": reading.mass_flow_kg_s,
        "pressure": reading.plate_drop_pa,
        "fraction": reading.range_fraction,
    }
    known = [(kind, value) for kind, value in quantities.items() if value is not None]
    if not known:
        return NOTHING
    ((kind, value),) = known
    if read_in is None:
        shown, unit = to_display(value, kind, units), label(kind, units)
    else:
        (_, scale, offset), unit = factor(read_in, (kind,)), read_in
        shown = (value - offset) / scale
    number = f"{shown:.6g}"
    text = figure(float(number), len(number.partition(".")[2]))
    of_range = "" if reading.range_m3_s is None else f" of {show(reading.range_m3_s, 'flow', units)}"
    return f"{text}{NO_BREAK_SPACE}{unit}{of_range if kind == 'fraction' else ''}"
