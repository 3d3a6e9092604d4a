"""One bench sheet: ``# key: value`` lines and a table of readings over lift."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import get_args

from core import units
from core.files import columns, fields
from core.files.fields import Choice, Field, Quantity
from core.files.log import Log, folded, nearest
from core.files.table import Table, split
from core.files.text import UnreadableError, decode
from core.job import SIDES, Air, BenchSheet, Certificate, Printed, Role, Setup
from core.units import UnitError

_PARTS: dict[str, dict[str, Field]] = {
    "sheet": {
        "stage": Field("stage", fields.name),
        "port": Field("port", fields.name),
        "role": Field("role", Choice(*get_args(Role))),
        "date": Field("date", fields.date),
        "time": Field("time", fields.time),
        "order": Field("order", fields.real(-1e6, 1e6)),
        "bench": Field("bench", fields.name),
        "setup": Field("setup", fields.name),
        "note": Field("note", fields.text),
    },
    "air": {
        "barometer": Field("barometer_pa", Quantity("barometer", "500 hPa", "1100 hPa")),
        "altitude": Field("altitude_m", Quantity("altitude", "-500 m", "5000 m")),
        "air temperature": Field("air_temperature_k", fields.ROOM),
        "humidity": Field("humidity", Quantity("fraction", "0 %", "100 %")),
        "meter temperature": Field("meter_temperature_k", fields.STREAM),
        "piece temperature": Field("piece_temperature_k", fields.STREAM),
        "test pressure": Field("test_pressure_pa", fields.TEST_PRESSURE),
    },
    "fixture": {
        "bore": Field("bore_m", Quantity("length", "10 mm", "500 mm")),
        "intake entry": Field("intake_entry", fields.name),
        "exhaust exit": Field("exhaust_exit", fields.name),
        "valves open": Field("valves_open", fields.whole(1, 8)),
        "test valve": Field("test_valve", fields.name),
        "spark plug": Field("spark_plug", fields.name),
    },
    "printed": {
        "already corrected": Field("already_corrected", fields.yes_no),
        "corrected to pressure": Field("corrected_to_pressure_pa", fields.TEST_PRESSURE),
        "corrected to air": Field("corrected_to_air", fields.STANDARD_AIR),
        "intake range": Field("intake_range_m3_s", fields.FLOW),
        "exhaust range": Field("exhaust_range_m3_s", fields.FLOW),
    },
    "certificate": {
        "side": Field("side", Choice(*SIDES)),
        "certified flow": Field("flow_m3_s", fields.FLOW),
        "certified at": Field("at_pa", fields.TEST_PRESSURE),
        "certified air": Field("air", fields.STANDARD_AIR),
        "certified uncertainty": Field("uncertainty", Quantity("fraction", "0 %", "50 %")),
    },
}
KEYS = {key: (part, field) for part, keys in _PARTS.items() for key, field in keys.items()}


@dataclass
class _Header:
    values: dict[str, dict[str, object]]
    extra: list[tuple[str, str]]
    lines: dict[str, int]


def read_sheet(
    file: str, data: bytes, given_units: Mapping[str, str] | None = None
) -> tuple[BenchSheet | None, Log]:
    """Read one bench sheet.

    Parameters
    ----------
    file : str
        Name of the file, for messages.
    data : bytes
        Its content.
    given_units : mapping of str to str, optional
        Used where the sheet does not say: ``lift`` and ``flow`` a unit, ``test pressure`` a
        quantity.

    Returns
    -------
    tuple of (BenchSheet or None, Log)
        The sheet, None where it cannot be used, and everything noticed on the way.
    """
    log = Log(file)
    given_units = given_units or {}
    try:
        text = decode(data)
    except UnreadableError as error:
        log.problem(error.text, error.cure)
        return None, log
    table = split(text, log)
    if table is None:
        return None, log
    header = _read_header(table, log)
    values = header.values
    role: Role = values["sheet"].get("role", "stage")
    if "test pressure" in given_units:
        values["air"].setdefault(
            "test_pressure_pa", units.parse(given_units["test pressure"], "test pressure")
        )
    printed = Printed(**values["printed"])
    found = columns.read_columns(table, role, printed, given_units, log)
    for line, text in table.trailing:
        header.extra.append(("", text))  # kept, for who saves the sheet
        log.finding("note", "trailing-note", "Below the table stands: {}", (text, "text"), line=line)
    if log.problems or found is None:
        return None, log
    return (
        BenchSheet(
            file=file,
            readings=found.readings,
            air=Air(**values["air"]),
            fixture=Setup(**values["fixture"]),
            printed=printed,
            certificate=Certificate(**values["certificate"]),
            extra=tuple(header.extra),
            extra_columns=found.extra,
            extra_lines=found.extra_lines,
            lines=tuple(header.lines.items()),
            read_in=found.read_in,
            **values["sheet"],
        ),
        log,
    )


def _read_header(table: Table, log: Log) -> _Header:
    header = _Header({part: {} for part in _PARTS}, [], {})
    for line, comment in table.comments:
        short = len(comment) <= fields.LONGEST_NAME
        key, colon, value = _parted(comment) if short else _parted.__wrapped__(comment)
        if not colon:
            _read_comment(comment, header, log, line)
        elif key in header.lines and key != "note":
            log.problem(
                f"{units.quoted(key)} is stated twice, first on line {header.lines[key]}.",
                "Leave one of the two.",
                line,
            )
        elif key in KEYS:
            _read_key(key, value, header, log, line)
        elif comment:
            header.lines[key] = line
            header.extra.append((key, value))
            near = nearest(key, KEYS)
            log.finding(
                "note",
                "unknown-key",
                "The key '{}' is not one that is read; it is kept as it stands.",
                (key, "text"),
                *([(near, "text")] if near else []),
                cure="Did you mean '{}'?" if near else "",
                line=line,
            )
    return header


# The sheets of a job say much the same: what is short is not worked out twice.
@lru_cache(maxsize=4096)
def _parted(comment: str) -> tuple[str, str, str]:
    """Return a comment's key, its colon and its value."""
    key, colon, value = (part.strip(" \t,;") for part in comment.partition(":"))
    return folded(key), colon, value


@lru_cache(maxsize=4096)
def _meaning(key: str, value: str) -> object:
    """Return what a key's value is read as."""
    return KEYS[key][1].read(value)


def _read_key(key: str, value: str, header: _Header, log: Log, line: int) -> None:
    part, field = KEYS[key]
    header.lines.setdefault(key, line)
    if not value:
        return  # a form not filled in
    try:
        short = len(value) <= fields.LONGEST_NAME
        result = _meaning(key, value) if short else field.read(value)
    except UnitError as error:
        log.problem(f"{key}: {error.text}", error.cure, line)
        return
    known = header.values[part]
    if key == "note" and field.attribute in known:
        result = f"{known[field.attribute]}\n{result}"
    known[field.attribute] = result


def _read_comment(comment: str, header: _Header, log: Log, line: int) -> None:
    for mark in ("=", ",", ";", "\t"):
        key = folded(comment.partition(mark)[0])
        if mark in comment and key in KEYS:
            log.problem(f"{units.quoted(comment)} has no colon.", f"Write '# {key}: ...'.", line)
            return
    if comment:
        header.extra.append(("", comment))
        log.finding("note", "comment", "A remark is kept as it stands: {}", (comment, "text"), line=line)
