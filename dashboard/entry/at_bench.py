"""At the bench, without a screen: which sheet is in hand, and what its readings are judged by."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, replace

from core import units
from core.entry import Kind, Sweep, judge_sweep
from core.files.columns import ATTRIBUTE
from core.files.names import free_name
from core.files.sheet import read_sheet
from core.job import Bench, BenchSheet, Job, Side, Sides
from core.units import UnitError, UnitSet
from dashboard import hand as hands
from dashboard.entry.draft import Files, job_file_of
from dashboard.hand import Hand, Row

# What the fields of a set-up are, in the order in which one reads them off at the bench.
SETUP_KEYS = (
    "test pressure",
    "barometer",
    "air temperature",
    "humidity",
    "meter temperature",
    "intake range",
    "exhaust range",
    "bore",
    "intake entry",
    "exhaust exit",
    "valves open",
    "test valve",
    "spark plug",
    "bench",
    "note",
)
METER_UNITS: dict[str, tuple[str, ...]] = {
    "volume flow": ("L/s", "cfm", "L/min", "m3/h"),
    "percent of range": ("%",),
    "plate pressure drop": ("inH2O", "mmH2O", "Pa"),
    "mass flow": ("g/s", "kg/h", "lb/min"),
}
LIFT_UNITS = ("mm", "in", "thou")
_LIFTS = {  # where no sheet says which: common practice, no source
    "mm": [str(n) for n in range(1, 13)],
    "in": [f"{n / 20:.2f}" for n in range(1, 13)],
    "thou": [str(50 * n) for n in range(1, 13)],
}


@dataclass(frozen=True)
class Place:
    """What is on the bench."""

    stage: str
    port: str
    side: Side


def begin(files: Files, place: Place, shown: UnitSet, now: dt.datetime) -> Hand:
    """Return the sheet of a new set-up: conditions, units and lifts as on the last one."""
    unit = _meter_unit(files, shown)
    last = _last(files)
    if last is None:
        lift_unit = "in" if shown.name == "US" else "mm"
        last = Hand((), lift_unit, ((place.side, unit),), blank_rows(lift_unit))
    stated = {"stage": place.stage, "port": place.port}
    stated |= {"date": now.date().isoformat(), "time": now.strftime("%H:%M")}
    made = last.stating(stated)
    return made if made.unit(place.side) else made.measured_in(place.side, _unit_of(made) or unit)


def _meter_unit(files: Files, shown: UnitSet) -> str:
    """Return the unit that the job's bench is read in."""
    job_file = job_file_of(files)
    benches = job_file.values.get("benches", ()) if job_file else ()
    meter_kind = benches[0].meter if benches else Bench().meter
    return METER_UNITS[meter_kind][1 if shown.name == "US" and meter_kind == "volume flow" else 0]


def blank_rows(lift_unit: str) -> tuple[Row, ...]:
    """Return rows for the lifts that are usual in a unit."""
    return tuple(Row(lift) for lift in _LIFTS[lift_unit])


def check_lifts(hand: Hand) -> None:
    """Refuse lifts that no valve has, in the reader's own words."""
    if not hand.rows:
        return
    whole = replace(hand, rows=tuple(replace(row, intake="1", exhaust="1") for row in hand.rows))
    whole = replace(whole, head=(), units=(("intake", "L/s"),))
    _, log = read_sheet("", whole.text().encode())
    if log.problems:
        raise UnitError(log.problems[0].text, log.problems[0].cure)


def _unit_of(hand: Hand) -> str | None:
    return hand.units[0][1] if hand.units else None


def _last(files: Files) -> Hand | None:
    """Return a sheet like the latest set-up of a stage, by the date and time that it states."""
    sheets = [
        found for name, data in files.items() if name.endswith(".csv") and (found := hands.any_form(data))
    ]
    stages = [hand for hand in sheets if not hand.value("role")]
    latest = max(stages, key=lambda hand: (hand.value("date"), hand.value("time")), default=None)
    return None if latest is None else latest.for_another()


def file_name(place: Place, files: Mapping[str, bytes]) -> str:
    """Return a name for the file of a new set-up."""
    port = f"_port-{place.port}" if place.port else ""
    return free_name(f"{place.stage}{port}_setup", files, ending=".csv", otherwise="bench-sheet")


def meter(hand: Hand, side: Side) -> tuple[Kind, float]:
    """Return what the meter shows, and one of its unit in SI."""
    try:
        kind, scale, _ = units.factor(hand.unit(side) or "L/s", tuple(ATTRIBUTE))
    except UnitError:
        return "flow", 1e-3
    return kind, scale


def lift_scale(hand: Hand) -> float:
    """Return one of the unit that lifts are written in. [m]"""
    return units.factor(hand.lift_unit, ("lift",))[1]


def sheet_of(hand: Hand, file: str, side: Side) -> BenchSheet | None:
    """Return the sheet as its file would be read, also before there is a reading in it."""
    sheet, _ = read_sheet(file, hand.text().encode())
    if sheet is not None or not hand.is_empty() or not hand.rows:
        return sheet
    stand_in, _ = read_sheet(file, hand.reading(hand.rows[0].lift, side, "1").text().encode())
    return None if stand_in is None else replace(stand_in, readings=Sides((), ()))


def judged(job: Job | None, hand: Hand, file: str, side: Side) -> Sweep:
    """Return the readings so far, judged, with a point for every lift that is to be read."""
    kind, unit = meter(hand, side)
    scale = lift_scale(hand)
    lifts = [hands.figure_of(lift) * scale for lift in hand.lifts]
    sheet = sheet_of(hand, file, side)
    if sheet is None:
        return Sweep(())
    return judge_sweep(job, sheet, side, lifts, kind, unit)
