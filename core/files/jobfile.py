"""The job file: ``job.toml`` to the dataclasses of ``core.job``."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import get_args

from core.cam import duration_lift, net_lift
from core.files import fields
from core.files.fields import Choice, Field, Quantity
from core.files.log import Log, folded
from core.files.powerkeys import DYNO, POWER, check_chambers, read_dyno, read_power
from core.files.toml import Path, TomlFile, lines_of, parse
from core.files.typed import TYPED, Typed, read_typed
from core.job import (
    SIDES,
    Bench,
    CamLobe,
    Engine,
    MeterKind,
    MeterPlace,
    PressureRule,
    Side,
    Sides,
    Stage,
    Valve,
)

Fitted = dict[Side, dict[str, object]]  # attributes of the valves that are in the head, side by side

_JOB = {
    "title": Field("title", fields.name),
    "customer": Field("customer", fields.name),
    "casting": Field("casting", fields.name),
    "serial_number": Field("serial_number", fields.name),
    "note": Field("note", fields.text),
    "currency": Field("currency", fields.name),
    "reference_pressure": Field("reference_pressure_pa", fields.TEST_PRESSURE),
    "standard_air": Field("standard_air", fields.STANDARD_AIR),
    "pressure_rule": Field("pressure_rule", Choice(*get_args(PressureRule))),
}
_ENGINE = {
    "kind": Field("kind", fields.name),
    "aspiration": Field("aspiration", fields.name),
    "fuel": Field("fuel", fields.name),
    "cylinders": Field("cylinders", fields.whole(1, 48)),
    "bore": Field("bore_m", Quantity("length", "10 mm", "1 m")),
    "stroke": Field("stroke_m", Quantity("length", "10 mm", "1 m")),
    "rod_length": Field("rod_length_m", Quantity("length", "20 mm", "3 m")),
    "compression_ratio": Field("compression_ratio", fields.real(2, 30)),
    "redline": Field("redline_rad_s", Quantity("speed", "100 rpm", "30000 rpm")),
    "gasket_volume": Field("gasket_volume_m3", Quantity("volume", "0 cc", "1 L")),
    # below zero: a piston that stands proud of the deck, a dome
    "deck_volume": Field("deck_volume_m3", Quantity("volume", "-1 L", "1 L")),
    "dish_volume": Field("dish_volume_m3", Quantity("volume", "-1 L", "1 L")),
    "chamber_plan_area": Field("chamber_plan_area_m2", Quantity("area", "1 cm2", "1000 cm2")),
}
_VALVE = {
    "valve_diameter": Field("diameter_m", Quantity("length", "5 mm", "200 mm")),
    "valves_per_cylinder": Field("valves_per_cylinder", fields.whole(1, 8)),
    "stem_diameter": Field("stem_diameter_m", Quantity("length", "1 mm", "50 mm")),
    "throat_diameter": Field("throat_diameter_m", Quantity("length", "5 mm", "200 mm")),
    "seat_angle": Field("seat_angle_rad", Quantity("angle", "5 deg", "80 deg")),
    "seat_width": Field("seat_width_m", Quantity("length", "0.1 mm", "20 mm")),
}
_CAM = {
    "lift": Field("lift_m", Quantity("lift", "0.5 mm", "50 mm")),
    "duration": Field("duration_rad", Quantity("angle", "50 deg", "500 deg")),
    "at_lift": Field("at_lift_m", Quantity("lift", "0 mm", "20 mm")),
    "at": Field("at", Choice("valve", "tappet")),
    "rocker_ratio": Field("rocker_ratio", fields.real(0.3, 5)),
    "lash": Field("lash_m", Quantity("length", "0 mm", "5 mm")),
    "centreline": Field("centreline_rad", Quantity("angle", "0 deg", "180 deg")),
}
_LIFT_TABLE = {"lift_table": Field("file", fields.text)}
_RELATIVE = Quantity("fraction", "0 %", "50 %")
_BENCH = {
    "name": Field("name", fields.name),
    "meter": Field("meter", Choice(*get_args(MeterKind))),
    "scale_air": Field("scale_air", fields.STANDARD_AIR),
    "calibrated_at": Field("calibrated_at_pa", fields.TEST_PRESSURE),
    "intake_meter": Field("intake_meter", Choice(*get_args(MeterPlace))),
    "exhaust_meter": Field("exhaust_meter", Choice(*get_args(MeterPlace))),
    "plate_diameter": Field("plate_diameter_m", Quantity("length", "1 mm", "500 mm")),
    "pipe_diameter": Field("pipe_diameter_m", fields.either(Quantity("length", "5 mm", "1 m"), plenum=None)),
    "taps": Field("taps", Choice("corner", "flange", "D and D/2")),
    "repeatability": Field("repeatability", Quantity("fraction", "0.01 %", "50 %")),
    "lift_setting": Field("lift_setting_m", Quantity("lift", "0 mm", "0.5 mm")),
    "calibration": Field("calibration", _RELATIVE),
    "test_pressure_reading": Field("test_pressure_reading_pa", Quantity("pressure", "0 inH2O", "0.5 inH2O")),
    "barometer_reading": Field("barometer_reading_pa", Quantity("barometer", "0 hPa", "20 hPa")),
    "temperature_reading": Field("temperature_reading_k", Quantity("temperature difference", "0 K", "5 K")),
    "humidity_reading": Field("humidity_reading", _RELATIVE),
}
_STAGE = {
    "name": Field("name", fields.name),
    "price": Field("price", fields.real(0, 1e9)),
    "planned": Field("planned", fields.yes_no),
    "chamber_volume": Field("chamber_volume_m3", Quantity("volume", "1 cc", "5 L")),
    "port_volume": Field("port_volume_m3", Quantity("volume", "1 cc", "5 L")),
    "smallest_section": Field("smallest_section_m2", Quantity("area", "10 mm2", "100 cm2")),
}
_TARGET = {
    "name": Field("name", fields.name),
    "sheets": Field("sheets", fields.strings),
    "job": Field("job", fields.text),
    "stage": Field("stage", fields.name),
}


# Each table's keys by its path without numbers, in the order in which a new job file is written.
TABLES: dict[tuple[str, ...], Mapping[str, Field]] = {
    (): _JOB,
    ("engine",): _ENGINE,
    ("intake",): _VALVE,
    ("intake", "cam"): _CAM | _LIFT_TABLE,
    ("exhaust",): _VALVE,
    ("exhaust", "cam"): _CAM | _LIFT_TABLE,
    ("bench",): _BENCH,
    ("stage",): _STAGE,
    ("stage", "intake"): _VALVE,
    ("stage", "exhaust"): _VALVE,
    ("target",): _TARGET,
    ("target", "typed"): TYPED,
    ("target", "intake"): _VALVE,
    ("target", "exhaust"): _VALVE,
    ("dyno",): DYNO,
    ("power",): POWER,
}


@dataclass(frozen=True)
class NamedFile:
    """A file that a job file names, and the line on which it does."""

    file: str
    line: int | None


@dataclass(frozen=True)
class TargetFiles:
    """What a job file says of its target, in one of three ways: sheets and a job are still names."""

    name: str | None
    valves: Sides[Valve | None]
    sheets: tuple[NamedFile, ...] = ()
    job: NamedFile | None = None
    stage: NamedFile | None = None  # of that job
    typed: Typed | None = None

    @property
    def folder(self) -> str | None:
        """Return what the names of that job's files begin with."""
        return f"{self.job.file.rstrip('/')}/" if self.job else None


@dataclass(frozen=True)
class JobFile:
    """A job file, read; files that it names are still names."""

    values: dict[str, object]  # attributes of Job
    stages: tuple[Stage, ...]
    lift_tables: dict[Side, NamedFile]
    target: TargetFiles | None

    def named_files(self) -> tuple[NamedFile, ...]:
        """Return every file that is named for a purpose of its own."""
        return (*self.lift_tables.values(), *(self.target.sheets if self.target else ()))


def read_job_file(text: str, log: Log) -> JobFile | None:
    """Read a job file.

    Parameters
    ----------
    text : str
        Its text.
    log : Log
        Takes everything that is wrong with it.

    Returns
    -------
    JobFile or None
        What could be read; None where it is no TOML at all.
    """
    data = parse(text, log)
    if data is None:
        return None
    file = TomlFile(data, lines_of(text), log)
    values = file.read(
        data,
        (),
        _JOB,
        ("engine", "intake", "exhaust", "bench", "stage", "target", "dyno", "power", "mapping"),
    )
    engine = file.table(data, ("engine",))
    if engine is not None:
        values["engine"] = Engine(**file.read(engine, ("engine",), _ENGINE))
    lift_tables: dict[Side, NamedFile] = {}
    values["cams"] = Sides(*(_cam(file, side, lift_tables) for side in SIDES))
    fitted: Fitted = {side: {} for side in SIDES}
    values["valves"] = _valves(file, data, (), fitted, ("cam", "lift_table"))
    values["benches"] = _benches(file)
    stages = _stages(file, fitted)
    values["dyno"], values["power"] = read_dyno(file, stages.values()), read_power(file)
    check_chambers(file, values.get("engine"), stages)
    return JobFile(values, tuple(stages.values()), lift_tables, _target(file))


def _valves(
    file: TomlFile, parent: Mapping[str, object], path: Path, fitted: Fitted, others: tuple[str, ...] = ()
) -> Sides:
    """Return the valves that one table states, and add them to those fitted before."""
    valves: dict[str, Valve | None] = {}
    for side in SIDES:
        table = file.table(parent, (*path, side))
        values = {} if table is None else file.read(table, (*path, side), _VALVE, others)
        valves[side] = Valve(**values) if values else None
        fitted[side].update(values)
        _check_valve(file, fitted[side], values, (*path, side))
    return Sides(**valves)


def _check_valve(
    file: TomlFile, whole: Mapping[str, object], stated: Mapping[str, object], path: Path
) -> None:
    """Refuse sizes that cannot be of one valve: stem, throat and head must grow in that order."""
    known = {key: whole[field.attribute] for key, field in _VALVE.items() if field.attribute in whole}

    def blame(*keys: str) -> Path | None:
        """Return where one of the keys stands in this table; what stood before has been judged."""
        return next(((*path, key) for key in keys if _VALVE[key].attribute in stated), None)

    sizes = [key for key in ("stem_diameter", "throat_diameter", "valve_diameter") if key in known]
    for inner, outer in itertools.pairwise(sizes):
        where, small, large = blame(inner, outer), known[inner], known[outer]
        if where and small >= large:
            text = f"{inner} ({small * 1e3:g} mm) is not smaller than {outer} ({large * 1e3:g} mm)."
            file.problem(where, text, "Check both, and their units.")
    where, width, head = (
        blame("seat_width", "valve_diameter"),
        known.get("seat_width"),
        known.get("valve_diameter"),
    )
    if where and width and head and width >= head / 4:
        text = f"A seat {width * 1e3:g} mm wide does not fit a valve of {head * 1e3:g} mm."
        file.problem(where, text, "Check both, and their units.")


def _cam(file: TomlFile, side: Side, lift_tables: dict[Side, NamedFile]) -> CamLobe | None:
    parent = file.data.get(side)
    if not isinstance(parent, dict):
        return None  # said where the valves are read
    path = (side, "cam")
    table = file.table(parent, path) or {}
    values = file.read(table, path, _CAM, _LIFT_TABLE)
    for place, data in ((path, table), ((side,), parent)):
        if "lift_table" in data:
            named = file.read({"lift_table": data["lift_table"]}, place, _LIFT_TABLE)
            if named and side in lift_tables:
                file.problem(
                    (*place, "lift_table"), "The lift table is stated twice.", "Leave one of the two."
                )
            elif named:
                lift_tables[side] = NamedFile(named["file"], file.lines.get((*place, "lift_table")))
    if side in lift_tables and values:
        file.problem(
            path,
            f"The {side} cam has a lift table and {', '.join(key for key in _CAM if key in table)} as well.",
            "Leave one of the two: a table holds the lift at the valve, and needs nothing else.",
        )
    if not values:
        return None
    lobe = CamLobe(**values)
    try:
        net_lift(lobe)
    except ValueError:
        lift, lash = (1e3 * size for size in (lobe.lift_m or 0.0, lobe.lash_m))
        text = f"{lash:g} mm of lash take up all of {lift:g} mm of lift times {lobe.rocker_ratio:g}."
        file.problem(path, text, "Check lift, rocker_ratio and lash.")
        return lobe
    try:
        duration_lift(lobe)
    except ValueError as error:
        file.problem(path, str(error), "Check lift, rocker_ratio, lash and at_lift.")
    return lobe


def _benches(file: TomlFile) -> tuple[Bench, ...]:
    benches = [Bench(**file.read(t, ("bench", i), _BENCH)) for i, t in enumerate(file.tables("bench"))]
    seen: dict[str, str] = {}
    for i, bench in enumerate(benches):
        if bench.meter == "plate pressure drop" and bench.plate_diameter_m is None:
            file.problem(
                ("bench", i, "meter"),
                "A plate pressure drop needs the plate.",
                'Add plate_diameter = "40 mm".',
            )
        elif bench.plate_diameter_m and (bench.pipe_diameter_m or math.inf) <= bench.plate_diameter_m:
            file.problem(
                ("bench", i, "plate_diameter"),
                "The plate's bore is not smaller than its pipe.",
                "Check both.",
            )
        if bench.name is None:
            if len(benches) > 1:
                file.problem(("bench", i), "One of several benches has no name.", 'Add name = "...".')
        elif folded(bench.name) in seen:
            file.problem(("bench", i, "name"), f"The bench '{bench.name}' is there twice.", "Rename one.")
        else:
            seen[folded(bench.name)] = bench.name
    return tuple(benches)


def _stages(file: TomlFile, fitted: Fitted) -> dict[Path, Stage]:
    stages: dict[Path, Stage] = {}
    lines: dict[str, int | None] = {}
    for i, table in enumerate(file.tables("stage")):
        path: Path = ("stage", i)
        values = file.read(table, path, _STAGE, SIDES)
        valves = _valves(file, table, path, fitted)
        if "name" not in values:
            if "name" not in table:
                file.problem(
                    path, "A stage has no name.", 'Add name = "...", as in "# stage:" of its sheets.'
                )
            continue
        line = file.lines.get((*path, "name"), file.lines.get(path))
        stage = Stage(**values, valves=valves, line=line)
        if folded(stage.name) in lines:
            first = lines[folded(stage.name)]
            file.problem(
                (*path, "name"),
                f"The stage '{stage.name}' is there twice" + (f", first on line {first}." if first else "."),
                "Rename one, or leave one out.",
            )
        lines.setdefault(folded(stage.name), line)
        stages[path] = stage
    return stages


def _target(file: TomlFile) -> TargetFiles | None:
    table = file.table(file.data, ("target",))
    if table is None:
        return None
    values = file.read(table, ("target",), _TARGET, (*SIDES, "typed"))
    ways = [key for key in ("sheets", "job", "typed") if key in table]
    if len(ways) > 1 or (not ways and "stage" not in table):
        text = "The target has no readings."
        text = f"The target is given {len(ways)} times: {', '.join(ways)}." if ways else text
        cure = (
            'Write one of: sheets = ["../references/one.csv"]; job = "../other-job" with stage = "..."; '
            "[target.typed]."
        )
        file.problem(("target",), text, cure)
    for key, other in (("job", "stage"), ("stage", "job")):
        if key in table and other not in table:
            text = f"The target names a {key}, but no {other}."
            file.problem(("target", key), text, 'Write both: job = "../other-job", stage = "...".')

    def named(key: str) -> tuple[NamedFile, ...]:
        line = file.lines.get(("target", key), file.lines.get(("target",)))
        found = values.get(key, ())
        return tuple(NamedFile(one, line) for one in ((found,) if isinstance(found, str) else found))

    return TargetFiles(
        values.get("name"),
        _valves(file, table, ("target",), {side: {} for side in SIDES}),
        named("sheets"),
        next(iter(named("job")), None),
        next(iter(named("stage")), None),
        read_typed(file, table),
    )
