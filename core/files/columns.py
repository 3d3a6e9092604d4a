"""The table of a bench sheet: which column is what, in which unit, and the readings in it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import repeat
from typing import NamedTuple

from core import units
from core.files import fields
from core.files.fields import Quantity
from core.files.log import Log, nearest
from core.files.table import Head, Table, cells_of, numbers_of
from core.job import SIDES, Printed, Reading, Role, Side, Sides
from core.units import UnitError

LEAST_LIFT_M, MAX_LIFT_M = 0.000_01, 0.050  # no valve is set finer, none opens wider (judgement)
LIFT_DECIMALS = 9  # of a metre

READING_KINDS = ("flow", "fraction", "pressure", "mass flow")
UNIT_KINDS = {"lift": ("lift",), "flow": READING_KINDS}  # of units named once for a whole sheet
COLUMN_KINDS: dict[str, tuple[str, ...]] = {
    "lift": ("lift",),
    "intake": READING_KINDS,
    "exhaust": READING_KINDS,
    "test pressure": ("test pressure",),
    "meter temperature": ("temperature",),
    "intake range": ("flow",),
    "exhaust range": ("flow",),
}
PER_ROW = {"test pressure": "test_pressure_pa", "meter temperature": "meter_temperature_k"}  # of both sides
_LIMITS = {
    "test pressure": fields.TEST_PRESSURE,
    "meter temperature": fields.STREAM,
    "intake range": fields.FLOW,
    "exhaust range": fields.FLOW,
}
_READING_LIMITS = {
    "flow": fields.FLOW,
    "fraction": Quantity("fraction", "0.01 %", "120 %"),  # some scales go on above their range
    "pressure": fields.PLATE_DROP,
    "mass flow": Quantity("mass flow", "0.001 g/s", "6 kg/s"),
}
ATTRIBUTE = {
    "flow": "flow_m3_s",
    "fraction": "range_fraction",
    "pressure": "plate_drop_pa",
    "mass flow": "mass_flow_kg_s",
}
WITHOUT_LIFT = ("calibration", "leak")
_SHOWN_HEADS = 10  # in a message


@dataclass(frozen=True)
class Columns:
    """The readings of both sides by rising lift, and further columns row by row in the same order."""

    readings: Sides[tuple[Reading, ...]]
    extra: tuple[tuple[str, tuple[str, ...]], ...]
    extra_lines: tuple[int, ...]
    read_in: Sides[str | None]  # unit of each side's column, as written


class _Column(NamedTuple):
    head: Head
    unit: str
    kind: str
    values: list[float | None]


def read_columns(
    table: Table, role: Role, printed: Printed, given_units: Mapping[str, str], log: Log
) -> Columns | None:
    """Read the table of a bench sheet.

    Parameters
    ----------
    table : Table
        The sheet, split.
    role : Role
        A calibration or a leak test needs no lift.
    printed : Printed
        Ranges that hold where a row states none.
    given_units : mapping of str to str
        Units of ``lift`` and ``flow`` where a column states none.
    log : Log
        Takes problems and findings.

    Returns
    -------
    Columns or None
        The readings; None, with problems in the log, where they cannot be used.
    """
    before = len(log.problems)
    known, extra = _sort_heads(table, role, log)
    if len(log.problems) > before or not _complete(known, role, table, log):
        return None
    found: dict[str, _Column] = {}
    for name, head in known.items():
        column = _read(name, head, table, given_units, log)
        if column is not None:
            found[name] = column
    if found.keys() != known.keys():
        return None
    lifts = found["lift"].values if "lift" in found else [0.0] * len(table.rows)
    lifts = _checked_lifts(lifts, found, table, log)
    rising = sorted(range(len(lifts)), key=lambda i: -1.0 if lifts[i] is None else lifts[i])
    if rising != list(range(len(lifts))) and not log.problems:
        log.finding("note", "lifts-sorted", "The lifts were not in rising order; they have been sorted.")
    readings = Sides(*(_readings(side, lifts, found, printed, rising, table, log) for side in SIDES))
    if not log.problems and not readings.intake and not readings.exhaust:
        log.problem("There is no reading in the table.", "Write flows under 'intake' or 'exhaust'.")
    cells = {head: cells_of(head, table) for head in extra}
    return Columns(
        readings,
        tuple((h.text, tuple(c[i] for i in rising)) for h, c in cells.items()),
        tuple(table.rows[i][0] for i in rising) if cells else (),
        Sides(*(found[side].unit if side in found else None for side in SIDES)),
    )


def _sort_heads(table: Table, role: Role, log: Log) -> tuple[dict[str, Head], list[Head]]:
    known: dict[str, Head] = {}
    extra: list[Head] = []
    line = table.header_line
    for head in table.heads:
        if head.name in known:
            log.problem(f"Column '{head.name}' is there twice.", "Rename one of the two.", line)
        elif head.name in COLUMN_KINDS:
            known[head.name] = head
        elif not head.text:
            if any(cells_of(head, table)):
                log.problem(f"Column {head.index + 1} has cells but no head.", "Give it a head.", line)
        else:
            near = nearest(head.name, [n for n in COLUMN_KINDS if not head.name.startswith(n)], cutoff=0.8)
            if near and near not in (h.name for h in table.heads):
                log.problem(f"Column '{head.text}' is not known.", f"Did you mean '{near}'?", line)
            else:
                extra.append(head)
    for side in SIDES:  # a range of readings that are not there would get lost
        if side not in known and f"{side} range" in known:
            extra.append(known.pop(f"{side} range"))
    if extra:
        shown = ", shown on Bench day beside each reading," if role == "stage" else ""
        log.finding(
            "note",
            "further-columns",
            f"Kept{shown} and not computed with: {{}}",
            (", ".join(head.text for head in extra), "text"),
            line=line,
        )
    return known, extra


def _complete(known: Mapping[str, Head], role: Role, table: Table, log: Log) -> bool:
    line, heads = table.header_line, ", ".join(units.quoted(head.text) for head in table.heads[:_SHOWN_HEADS])
    heads += ", ..." if len(table.heads) > _SHOWN_HEADS else ""
    missing = []
    if "lift" not in known and role not in WITHOUT_LIFT:
        missing.append("'lift [mm]' (or [in])")
    if "intake" not in known and "exhaust" not in known:
        missing.append("'intake [L/s]' or 'exhaust [L/s]' (or [cfm])")
    if missing:
        cure = f"Missing: {' and '.join(missing)}."
        if any(head.name == "angle" for head in table.heads):
            cure += ' If it is a cam\'s lift table, job.toml has to name it: lift_table = "...".'
        bare = next(
            (h for h in table.heads if h.name not in COLUMN_KINDS and h.name.startswith((*SIDES, "lift "))),
            None,
        )
        if bare:
            cure += f" '{bare.text}' is not read so: a head is a name with its unit in brackets."
        log.problem(f"The first row of the table should be column heads, and is: {heads}.", cure, line)
    elif not table.rows:
        log.problem("There are column heads, but no rows below them.", "Add readings.", line)
    return not missing and bool(table.rows)


def _read(name: str, head: Head, table: Table, given: Mapping[str, str], log: Log) -> _Column | None:
    fractions = name == "lift"
    unit = head.unit or given.get("lift" if name == "lift" else "flow" if name in SIDES else "")
    if unit is None:
        values = numbers_of(head, table, 1.0, 0.0, log, fractions=fractions)
        proposal = _proposal(name, [v for v in values if v is not None and not math.isnan(v)])
        log.problem("The column has no unit.", proposal, table.header_line, head.text)
        return None
    try:
        kind, scale, offset = units.factor(unit, COLUMN_KINDS[name])
    except UnitError as error:
        log.refuse(error, table.header_line, head.text)
        return None
    column = _Column(head, unit, kind, numbers_of(head, table, scale, offset, log, fractions=fractions))
    if name in _LIMITS:
        _refuse_outside(column, unit, _LIMITS[name], table, log)
    elif name in SIDES:
        _refuse_outside(column, unit, _READING_LIMITS[kind], table, log, reading=True)
    return column


def _refuse_outside(
    column: _Column, unit: str, limits: Quantity, table: Table, log: Log, reading: bool = False
) -> None:
    least, most = limits.bounds
    for i, value in enumerate(column.values):
        if value is None or least <= value <= most or math.isnan(value) or (reading and value == 0):
            continue
        line, cells = table.rows[i]
        written = units.quoted(f"{cells[column.head.index].strip()} {unit}")
        cure = limits.allowed
        if reading and value < 0:
            cure += " Flows are positive on both sides."
        log.problem(f"{written} is not possible here.", cure, line, column.head.text)


def _proposal(name: str, values: list[float]) -> str:
    if name in SIDES:
        return f"Write '{name} [L/s]' or '{name} [cfm]', or name it on the command line: --flow cfm."
    if name != "lift" or not values:
        return (
            f"Write '{name} [{units.example(COLUMN_KINDS[name][0]).split()[1]}]' or whatever unit it is in."
        )
    # ranges of valve lift that do not overlap in practice (common practice, no source)
    top = max(values)
    unit, word = ("in", "inches") if top < 1.5 else ("mm", "mm") if top <= 25 else ("thou", "thousandths")
    return (
        f"{min(values):g} to {top:g} looks like {word}: "
        f"write 'lift [{unit}]', or name it on the command line: --lift {unit}."
    )


def _checked_lifts(
    lifts: list[float | None], found: Mapping[str, _Column], table: Table, log: Log
) -> list[float | None]:
    column = found["lift"].head.text if "lift" in found else None
    taken = [found[side].values for side in SIDES if side in found]
    # to the nanometre, so that 0.050 in on one sheet and 50 thou on another are one lift
    lifts = [None if lift is None else round(lift, LIFT_DECIMALS) for lift in lifts]
    for i, ((line, _), lift) in enumerate(zip(table.rows, lifts, strict=True)):
        if lift == 0 or (lift is not None and LEAST_LIFT_M <= lift <= MAX_LIFT_M):
            continue
        if lift is None:
            if any(values[i] is not None for values in taken):
                log.problem("The lift is missing beside a reading.", "Write it.", line, column)
        elif lift < 0:
            log.problem("The lift is negative.", "Check the sign, or the zero of the lift.", line, column)
        elif not math.isnan(lift):  # that one is in the log
            what = "more than any valve opens" if lift > MAX_LIFT_M else "less than can be set"
            log.problem(
                f"A lift of {lift * 1000:g} mm is {what}.",
                "Check the number, and the unit in the column head.",
                line,
                column,
            )
    return lifts


def _readings(
    side: Side,
    lifts: list[float | None],
    found: Mapping[str, _Column],
    printed: Printed,
    rising: list[int],
    table: Table,
    log: Log,
) -> tuple[Reading, ...]:
    if side not in found:
        return ()
    column, lines = found[side], [line for line, _ in table.rows]
    kept = [i for i in rising if column.values[i] is not None and lifts[i] is not None]
    default_range = printed.intake_range_m3_s if side == "intake" else printed.exhaust_range_m3_s
    full_scale = [default_range] * len(lifts)
    if f"{side} range" in found:
        stated = found[f"{side} range"].values
        full_scale = [default_range if one is None else one for one in stated]
    if column.kind == "fraction" and None in full_scale:
        for line in (lines[i] for i in kept if full_scale[i] is None):
            log.problem(
                "A reading in percent needs the range that it is a percentage of.",
                f"Add '# {side} range: 200 cfm', or a column '{side} range [cfm]'.",
                line,
                column.head.text,
            )
    said = {attribute: found[name].values for name, attribute in PER_ROW.items() if name in found}
    said |= {"lift_m": lifts, "line": lines, ATTRIBUTE[column.kind]: column.values, "range_m3_s": full_scale}
    by_field = ([said[name][i] for i in kept] if name in said else repeat(None) for name in Reading._fields)
    return tuple(map(Reading, *by_field))
