"""The job file, ``job.toml``: what the job is, its engine, valves, cams, bench and stages."""

from __future__ import annotations

import itertools
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from core.cam import lift_path
from core.files import fields
from core.files.fields import Field, quantity
from core.files.log import Log, did_you_mean, folded
from core.files.text import UnreadableError, decode
from core.job import SIDES, Bench, CamLobe, Engine, Sides, Stage, Valve
from core.units import UnitError

Path = tuple[str | int, ...]
Lines = dict[Path, int]

_LENGTH = quantity("length", "0.1 mm", "500 mm")
_VOLUME = quantity("volume", "0 cc", "5000 cc")
_SHARE = quantity("fraction", "0 %", "20 %")
_DROP = quantity("test pressure", "0.1 inH2O", "150 inH2O")

_TOP = {
    "title": Field("title", fields.text),
    "customer": Field("customer", fields.text),
    "casting": Field("casting", fields.text),
    "serial_number": Field("serial_number", fields.text),
    "note": Field("note", fields.text),
    "currency": Field("currency", fields.name),
    "reference_pressure": Field("reference_pressure_pa", _DROP),
    "standard_air": Field("standard_air", fields.standard_air),
    "pressure_rule": Field("pressure_rule", fields.choice("square root", "isentropic")),
}
_ENGINE = {
    "kind": Field("kind", fields.text),
    "aspiration": Field("aspiration", fields.text),
    "fuel": Field("fuel", fields.text),
    "cylinders": Field("cylinders", fields.whole(1, 24)),
    "bore": Field("bore_m", quantity("length", "20 mm", "500 mm")),
    "stroke": Field("stroke_m", quantity("length", "20 mm", "500 mm")),
    "rod_length": Field("rod_length_m", quantity("length", "30 mm", "1000 mm")),
    "compression_ratio": Field("compression_ratio", fields.real(3, 25)),
    "redline": Field("redline_rad_s", quantity("speed", "500 rpm", "25000 rpm")),
    "gasket_volume": Field("gasket_volume_m3", _VOLUME),
    "deck_volume": Field("deck_volume_m3", quantity("volume", "-100 cc", "5000 cc")),
    "dish_volume": Field("dish_volume_m3", quantity("volume", "-500 cc", "5000 cc")),
}
_VALVE = {
    "valve_diameter": Field("diameter_m", quantity("length", "5 mm", "200 mm")),
    "valves_per_cylinder": Field("valves_per_cylinder", fields.whole(1, 4)),
    "stem_diameter": Field("stem_diameter_m", _LENGTH),
    "throat_diameter": Field("throat_diameter_m", _LENGTH),
    "seat_angle": Field("seat_angle_rad", quantity("angle", "1 deg", "80 deg")),
    "seat_width": Field("seat_width_m", quantity("length", "0.05 mm", "20 mm")),
}
_CAM = {
    "lift": Field("lift_m", quantity("lift", "0.5 mm", "50 mm")),
    "duration": Field("duration_rad", quantity("angle", "60 deg", "500 deg")),
    "at_lift": Field("at_lift_m", quantity("lift", "0 mm", "25 mm")),
    "at": Field("at", fields.choice("valve", "tappet")),
    "rocker_ratio": Field("rocker_ratio", fields.real(0.5, 3)),
    "lash": Field("lash_m", quantity("lift", "0 mm", "5 mm")),
    "centreline": Field("centreline_rad", quantity("angle", "50 deg", "180 deg")),
    "lift_table": Field("lift_table", fields.text),
}
_PLACE = fields.choice("before the piece", "after the piece")
_BENCH = {
    "name": Field("name", fields.name),
    "meter": Field(
        "meter", fields.choice("volume flow", "percent of range", "plate pressure drop", "mass flow")
    ),
    "scale_air": Field("scale_air", fields.standard_air),
    "calibrated_at": Field("calibrated_at_pa", _DROP),
    "intake_meter": Field("intake_meter", _PLACE),
    "exhaust_meter": Field("exhaust_meter", _PLACE),
    "plate_diameter": Field("plate_diameter_m", _LENGTH),
    "pipe_diameter": Field("pipe_diameter_m", fields.pipe),
    "taps": Field("taps", fields.choice("corner", "flange", "D and D/2")),
    "repeatability": Field("repeatability", quantity("fraction", "0.01 %", "20 %")),
    "lift_setting": Field("lift_setting_m", quantity("lift", "0 mm", "1 mm")),
    "calibration": Field("calibration", _SHARE),
    "test_pressure_reading": Field("test_pressure_reading_pa", quantity("test pressure", "0 Pa", "5 inH2O")),
    "barometer_reading": Field("barometer_reading_pa", quantity("barometer", "0 hPa", "50 hPa")),
    "temperature_reading": Field(
        "temperature_reading_k", quantity("temperature difference", "0 delta_degC", "20 delta_degC")
    ),
    "humidity_reading": Field("humidity_reading", quantity("fraction", "0 %", "50 %")),
}
_STAGE = {
    "name": Field("name", fields.name),
    "price": Field("price", fields.real(0, 1e9)),
    "planned": Field("planned", fields.yes_no),
    "chamber_volume": Field("chamber_volume_m3", quantity("volume", "0.5 cc", "2000 cc")),
    "port_volume": Field("port_volume_m3", quantity("volume", "0.5 cc", "5000 cc")),
    "smallest_section": Field("smallest_section_m2", quantity("area", "5 mm2", "50000 mm2")),
}
_TARGET = {
    "name": Field("name", fields.name),
    "sheets": Field("sheets", fields.strings),
}


@dataclass(frozen=True)
class JobFile:
    """What a job file says, before any bench sheet is read."""

    stated: dict[str, Any]  # fields of core.job.Job
    engine: Engine | None
    valves: Sides[Valve | None]
    cams: Sides[CamLobe | None]
    lift_tables: Sides[str | None]
    benches: tuple[Bench, ...]
    stages: tuple[Stage, ...]
    target_name: str | None
    target_sheets: tuple[str, ...]
    target_valves: Sides[Valve | None]
    lines: Lines


def read_job_file(file: str, data: bytes) -> tuple[JobFile | None, Log]:
    """Read a job file.

    Parameters
    ----------
    file : str
        Name of the file, for messages.
    data : bytes
        Its content.

    Returns
    -------
    tuple of (JobFile or None, Log)
        What it says, None where it cannot be read at all, and everything noticed.
    """
    log = Log(file)
    try:
        text = decode(data)
        given = tomllib.loads(text.replace("\r\n", "\n"))
    except UnreadableError as error:
        log.problem(error.text, error.cure)
        return None, log
    except tomllib.TOMLDecodeError as error:
        line = re.search(r"at line (\d+)", str(error))
        what = re.sub(r"\s*\(at [^)]*\)", "", str(error)).rstrip(".")
        log.problem(f"{what}.", "See the examples in README.", int(line[1]) if line else None)
        return None, log
    reader = _Reader(log, _line_index(text))
    return reader.job(given), log


class _Reader:
    """Reads tables of one job file into one log."""

    def __init__(self, log: Log, lines: Lines):
        self.log, self.lines = log, lines

    def job(self, given: dict[str, Any]) -> JobFile:
        sections = ("engine", "intake", "exhaust", "bench", "stage", "target")
        stated = self.table(given, _TOP, (), sections)
        engine = given.get("engine")
        sides = {side: self.side(given.get(side), (side,)) for side in SIDES}
        target = self.one(given.get("target"), ("target",))
        about = self.table(target, _TARGET, ("target",), (*SIDES, "job", "stage"))
        if "job" in target or "stage" in target:
            where = self.line(("target", "job")) or self.line(("target", "stage"))
            self.log.problem(
                "A target from another job is not read by this version.",
                'Name that stage\'s bench sheets: sheets = ["../other job/sheet.csv"].',
                where,
            )
        elif target and "sheets" not in target:
            self.log.problem(
                "The target has no readings.", 'Add sheets = ["…"] to [target].', self.line(("target",))
            )
        return JobFile(
            stated,
            None
            if engine is None
            else Engine(**self.table(self.one(engine, ("engine",)), _ENGINE, ("engine",))),
            Sides(*(sides[side][0] for side in SIDES)),
            Sides(*(sides[side][1] for side in SIDES)),
            Sides(*(sides[side][2] for side in SIDES)),
            self.benches(given.get("bench", [])),
            self.stages(given.get("stage", [])),
            about.get("name", "target") if target else None,
            about.get("sheets", ()),
            Sides(*(self.valve(target.get(side), ("target", side)) for side in SIDES)),
            self.lines,
        )

    def table(
        self, given: Mapping[str, Any], known: dict[str, Field], path: Path, others: tuple[str, ...] = ()
    ) -> dict[str, Any]:
        """Return the fields that a table states; everything wrong with it goes into the log."""
        found = {}
        for key, value in given.items():
            if key in others:
                continue
            line = self.line((*path, key))
            if key not in known:
                hint = did_you_mean(key, (*known, *others))
                where = f"[{path[0]}]" if path else "the job file"
                self.log.problem(f"'{key}' is not a key of {where}{hint}.", _allowed(known, others), line)
                continue
            try:
                found[known[key].attribute] = known[key].read(value)
            except UnitError as error:
                self.log.problem(f"{key}: {error.text}", error.cure, line)
        return found

    def one(self, given: Any, path: Path) -> dict[str, Any]:
        if given is None or isinstance(given, dict):
            return given or {}
        self.log.problem(
            f"'{path[-1]}' is not a table.", f"Write [{'.'.join(map(str, path))}].", self.line(path)
        )
        return {}

    def many(self, given: Any, name: str) -> list[dict[str, Any]]:
        if isinstance(given, list) and all(isinstance(item, dict) for item in given):
            return given
        self.log.problem(f"'{name}' is not a list of tables.", f"Write [[{name}]].", self.line((name,)))
        return []

    def side(self, given: Any, path: Path) -> tuple[Valve | None, CamLobe | None, str | None]:
        if given is None:
            return None, None, None
        given = self.one(given, path)
        cam = given.get("cam")
        if cam is None:
            return self.valve(given, path, ("cam",)), None, None
        stated = self.table(self.one(cam, (*path, "cam")), _CAM, (*path, "cam"))
        lift_table = stated.pop("lift_table", None)
        lobe = CamLobe(**stated)
        try:
            if lift_table is None and lobe.lift_m is not None:
                lift_path(lobe)
        except ValueError as error:
            self.log.problem(
                str(error), "Check lift, rocker ratio, lash and at_lift.", self.line((*path, "cam"))
            )
        return self.valve(given, path, ("cam",)), lobe, lift_table

    def valve(self, given: Any, path: Path, others: tuple[str, ...] = ()) -> Valve | None:
        if given is None:
            return None
        valve = Valve(**self.table(self.one(given, path), _VALVE, path, others))
        sizes = {
            "stem_diameter": valve.stem_diameter_m,
            "throat_diameter": valve.throat_diameter_m,
            "valve_diameter": valve.diameter_m,
        }
        stated = [(name, size) for name, size in sizes.items() if size is not None]
        for (less, small), (more, large) in itertools.pairwise(stated):
            if small >= large:
                text = f"{less} is not smaller than {more}: {small * 1000:g} mm against {large * 1000:g} mm."
                self.log.problem(text, "Check both.", self.line((*path, less)))
        if valve.seat_width_m and valve.diameter_m and valve.seat_width_m >= valve.diameter_m / 4:
            seat, head = valve.seat_width_m * 1000, valve.diameter_m * 1000
            text = f"A seat {seat:g} mm wide does not fit a {head:g} mm valve."
            self.log.problem(text, "Check both.", self.line((*path, "seat_width")))
        return valve

    def benches(self, given: Any) -> tuple[Bench, ...]:
        found: list[Bench] = []
        for index, one in enumerate(self.many(given, "bench")):
            path: Path = ("bench", index)
            bench = Bench(**self.table(one, _BENCH, path))
            if any(bench.name == other.name for other in found):
                self.log.problem(
                    f"Two benches are called '{bench.name or ''}'.", "Give each a name.", self.line(path)
                )
            if bench.meter == "plate pressure drop" and bench.plate_diameter_m is None:
                cure = 'Add plate_diameter = "30 mm".'
                self.log.problem("A plate pressure drop needs the plate.", cure, self.line((*path, "meter")))
            elif bench.plate_diameter_m and (bench.pipe_diameter_m or 1.0) <= bench.plate_diameter_m:
                self.log.problem(
                    "The plate is not smaller than the pipe.",
                    "Check both.",
                    self.line((*path, "plate_diameter")),
                )
            found.append(bench)
        return tuple(found)

    def stages(self, given: Any) -> tuple[Stage, ...]:
        found: list[Stage] = []
        for index, one in enumerate(self.many(given, "stage")):
            path: Path = ("stage", index)
            stated = self.table(one, _STAGE, path, SIDES)
            line = self.line((*path, "name")) or self.line(path)
            if "name" not in stated:
                if "name" not in one:
                    self.log.problem("The stage has no name.", 'Add name = "…".', line)
                continue
            if folded(stated["name"]) in (folded(stage.name) for stage in found):
                self.log.problem(f"Stage '{stated['name']}' is there twice.", "Rename one of the two.", line)
            changed = Sides(*(self.valve(one.get(side), (*path, side)) for side in SIDES))
            found.append(Stage(**stated, valves=changed, line=line))
        return tuple(found)

    def line(self, path: Path) -> int | None:
        """Return the line of a key or table, or of the nearest table around it."""
        while path and path not in self.lines:
            path = path[:-1]
        return self.lines.get(path)


def _allowed(known: Mapping[str, Field], others: tuple[str, ...]) -> str:
    return f"Allowed: {', '.join((*known, *others))}."


_HEAD = re.compile(r"^\s*(\[\[?)\s*([^\]]+?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"""^\s*((?:[\w-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[\w-]+|"[^"]*"|'[^']*'))*)\s*=""")


def _line_index(text: str) -> Lines:
    """Return the line on which each table and key stands; TOML's own reader does not tell."""
    lines: Lines = {}
    counts: dict[str, int] = {}
    table: Path = ()
    for number, line in enumerate(text.splitlines(), 1):
        if head := _HEAD.match(line):
            names = _split(head[2])
            if head[1] == "[[":
                counts[names[0]] = counts.get(names[0], -1) + 1
            table = (names[0], counts[names[0]], *names[1:]) if names[0] in counts else tuple(names)
            lines.setdefault(table, number)
        elif key := _KEY.match(line):
            lines.setdefault((*table, *_split(key[1])), number)
    return lines


def _split(dotted: str) -> list[str]:
    return [part.strip().strip("\"'") for part in dotted.split(".")]
