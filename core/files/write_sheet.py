"""A bench sheet back to the text of its file, in the units that it was given in.

A sheet in memory knows only SI. The unit that a person wrote is nearly always the one in
which the numbers are shortest (25 inH2O is 6227.22275 Pa), so that is the one written; who
knows better names it. Nothing is written that would not read back the same.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import math
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import partial

from core import units
from core.files.columns import ATTRIBUTE, COLUMN_KINDS, LIFT_DECIMALS, PER_ROW, WITHOUT_LIFT
from core.files.fields import Quantity
from core.files.log import folded
from core.files.sheet import KEYS, read_sheet
from core.job import SIDES, BenchSheet, Reading, Side, Sides

# Units tried for each kind of quantity, the preferred first; one is SI, in which any value can be
# written exactly.
UNITS = {
    "lift": ("mm", "in", "m"),
    "flow": ("L/s", "cfm", "L/min", "m3/h", "m3/s"),
    "mass flow": ("g/s", "kg/h", "lb/min", "lb/h", "kg/s"),
    "fraction": ("%", "fraction"),
    "pressure": ("inH2O", "kPa", "mmH2O", "mbar", "inHg", "mmHg", "psi", "Pa"),
    "test pressure": ("inH2O", "kPa", "mmH2O", "mbar", "inHg", "mmHg", "psi", "Pa"),
    "temperature": ("degC", "degF", "K"),
    "barometer": ("hPa", "inHg", "mmHg", "psi", "Pa"),
    "altitude": ("m", "ft"),
    "length": ("mm", "in", "m"),
}
_MOST_FIGURES = 17  # of a decimal that tells every float apart
_MOST_PADDED = 4  # decimals that a column shares; more are no one's reading

Read = Callable[[str, str], float]  # figures and unit to SI, exactly as the reader of sheets does it


class UnwritableError(ValueError):
    """A bench sheet that no text would give back."""


@dataclass(frozen=True)
class _Row:
    """One row of the table: what was read at one lift under one test pressure."""

    lift_m: float
    place: int
    sides: dict[Side, Reading]

    def either(self, attribute: str) -> float | None:
        """Return what a row states once for both sides."""
        return next(getattr(reading, attribute) for reading in self.sides.values())


def sheet_text(sheet: BenchSheet, given_units: Mapping[str, str] | None = None) -> str:
    """Return the text of a bench sheet's file.

    Parameters
    ----------
    sheet : BenchSheet
        What was measured.
    given_units : mapping of str to str, optional
        Units to write, by the name of the key or column: ``{"lift": "in", "intake": "cfm"}``.
        Without one, the usual unit in which the numbers are shortest.

    Returns
    -------
    str
        Text that `core.files.sheet.read_sheet` reads to the same sheet, its lines apart;
        written again, it is the same to the last character.

    Raises
    ------
    UnwritableError
        If the sheet cannot be put in text so that it reads back the same.
    """
    given_units = given_units or {}
    columns = _columns(sheet, given_units)
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(zip(*columns.values(), strict=True))
    text = "".join(f"# {line}\n" for line in _header_lines(sheet, given_units)) + stream.getvalue()
    _refuse_unlike(sheet, text)
    return text


def _refuse_unlike(sheet: BenchSheet, text: str) -> None:
    """Read the text and compare: what a person typed may hold what a line of text cannot."""
    again, log = read_sheet(sheet.file, text.encode("utf-8", "replace"))
    if again is None:
        raise UnwritableError(f"This sheet could not be read again. {log.problems[0]}")
    meant = _comparable(sheet)
    for name, value in vars(_comparable(again)).items():
        if value != getattr(meant, name):
            raise UnwritableError(
                f"{sheet.file}: {name} {units.quoted(str(getattr(meant, name)))} would be read again as "
                f"{units.quoted(str(value))}. Write it in plain words on one line."
            )


def _comparable(sheet: BenchSheet) -> BenchSheet:
    """Return a sheet without what only says where something stood, and in which unit."""
    readings = Sides(*(tuple(r._replace(line=0) for r in sheet.readings[side]) for side in SIDES))
    extra = tuple(sorted(one for one in sheet.extra if not _needs_note(one)))
    return replace(
        sheet,
        readings=readings,
        lines=(),
        extra_lines=(),
        read_in=Sides(None, None),
        note="\n".join(_notes(sheet)) or None,
        extra=extra,
    )


# header -----------------------------------------------------------------------------------


def _header_lines(sheet: BenchSheet, given_units: Mapping[str, str]) -> list[str]:
    """Return the lines of the header, keys in the order in which they stood."""
    stated: dict[str, list[str]] = {}
    for key in KEYS:
        if values := _values(sheet, key, given_units.get(key)):
            stated[key] = [f"{key}: {value}" for value in values]
    remarks = []
    for one in sheet.extra:
        key, value = one
        if key:
            stated[key] = [f"{key}: {value}".rstrip()]
        elif not _needs_note(one):
            remarks.append(value)
    places = dict(sheet.lines)
    order = sorted(stated, key=lambda key: places.get(key, math.inf))
    return [line for key in order for line in stated[key]] + remarks


def _values(sheet: BenchSheet, key: str, given_unit: str | None) -> list[str]:
    """Return what stands behind a key; more than one for notes alone."""
    if key == "note":
        return _notes(sheet)
    part, field = KEYS[key]
    value = getattr(sheet if part == "sheet" else getattr(sheet, part), field.attribute)
    if value is None or value is False or (key == "role" and value == "stage"):
        return []
    if isinstance(field.read, Quantity):
        kind = field.read.kind
        unit, (figures,) = _quantities(
            [value], (kind,), lambda figures, unit: units.parse(f"{figures} {unit}", kind), given_unit
        )
        return [f"{figures} {unit}"]
    if isinstance(value, bool):
        return ["yes"]
    if isinstance(value, dt.time):
        return [value.isoformat("seconds" if value.second else "minutes")]
    if isinstance(value, float):
        return [_shortest(value, value, float)]
    return [str(value)]


def _notes(sheet: BenchSheet) -> list[str]:
    """Return the notes, and the remarks that would be taken for a key if they stood alone."""
    notes = sheet.note.split("\n") if sheet.note else []
    return notes + [" ".join(one[1].split()) for one in sheet.extra if _needs_note(one)]


def _needs_note(extra: tuple[str, str]) -> bool:
    key, text = extra
    return not key and (":" in text or any(folded(text.partition(mark)[0]) in KEYS for mark in "=,;\t"))


# table ------------------------------------------------------------------------------------


def _columns(sheet: BenchSheet, given_units: Mapping[str, str]) -> dict[str, Sequence[str]]:
    """Return the table, cells by column head."""
    rows = _rows(sheet)
    columns: dict[str, Sequence[str]] = {}

    def add(name: str, values: Sequence[float | None]) -> None:
        kinds = COLUMN_KINDS[name]
        if name in SIDES:
            kinds = _kind_of(sheet, sheet.readings[name][0])
        unit, cells = _quantities(values, kinds, _read_cell(name, kinds), given_units.get(name))
        columns[f"{name} [{unit}]"] = cells

    if sheet.role not in WITHOUT_LIFT or any(row.lift_m for row in rows):
        add("lift", [row.lift_m for row in rows])
    for side in SIDES:
        if readings := sheet.readings[side]:
            attribute = ATTRIBUTE[_kind_of(sheet, readings[0])[0]]
            add(side, [getattr(row.sides.get(side), attribute, None) for row in rows])
    for name, attribute in PER_ROW.items():
        values = [row.either(attribute) for row in rows]
        if any(value is not None for value in values):
            add(name, values)
    for side in SIDES:
        default = getattr(sheet.printed, f"{side}_range_m3_s")
        values = [getattr(row.sides.get(side), "range_m3_s", None) for row in rows]
        if any(value not in (None, default) for value in values):
            add(f"{side} range", values)
    for head, cells in sheet.extra_columns:
        if len(cells) != len(rows):
            raise UnwritableError(
                f"{sheet.file}: the column {units.quoted(head)} has cells in rows without a reading. "
                "Write those as a note, or give the rows a reading."
            )
        columns[head] = cells
    return columns


def _rows(sheet: BenchSheet) -> list[_Row]:
    """Return the readings of both sides in common rows, by rising lift and in the order taken."""
    rows: dict[tuple[object, ...], _Row] = {}
    for side in SIDES:
        readings = sheet.readings[side]
        from_lines = len({reading.line for reading in readings}) == len(readings)
        met: Counter[tuple[object, ...]] = Counter()
        for reading in readings:
            key = (reading.lift_m, *(getattr(reading, attribute) for attribute in PER_ROW.values()))
            met[key] += 1
            place = reading.line if from_lines else met[key]  # readings made in memory have no line
            row = rows.setdefault((*key, place), _Row(reading.lift_m, place, {}))
            row.sides[side] = reading
    return sorted(rows.values(), key=lambda row: (row.lift_m, row.place))


def _kind_of(sheet: BenchSheet, reading: Reading) -> tuple[str, ...]:
    kinds = [kind for kind, attribute in ATTRIBUTE.items() if getattr(reading, attribute) is not None]
    if len(kinds) != 1:
        raise UnwritableError(f"{sheet.file}: a reading is one of {', '.join(ATTRIBUTE)}, and one only.")
    return tuple(kinds)


def _read_cell(name: str, kinds: tuple[str, ...]) -> Read:
    def read(figures: str, unit: str) -> float:
        _, scale, offset = units.factor(unit, kinds)
        value = units.number(figures) * scale + offset
        return round(value, LIFT_DECIMALS) if name == "lift" else value

    return read


# figures ----------------------------------------------------------------------------------


def _quantities(
    values: Sequence[float | None], kinds: tuple[str, ...], read: Read, given_unit: str | None
) -> tuple[str, list[str]]:
    """Return the unit in which values are shortest, and their figures in it; blank for None."""
    fits = []
    usual = UNITS[kinds[0]]
    for unit in (given_unit, *usual) if given_unit else usual:
        _, scale, offset = units.factor(unit, kinds)
        figures = [
            "" if value is None else _shortest(value, (value - offset) / scale, partial(_read_in, read, unit))
            for value in values
        ]
        exact = all(one is not None for one in figures)
        if exact and unit == given_unit:
            return unit, _padded(figures)
        if exact:
            fits.append((sum(map(_count, figures)), len(fits), unit, figures))
    _, _, unit, figures = min(fits)
    return unit, _padded(figures)


def _read_in(read: Read, unit: str, figures: str) -> float:
    return read(figures, unit)


def _shortest(value: float, about: float, read: Callable[[str], float]) -> str | None:
    """Return the shortest figures near ``about`` that are read as the value; None if there are none."""
    for count in range(1, _MOST_FIGURES + 1):
        figures = f"{Decimal(f'{about:.{count}g}'):f}"
        if read(figures) == value:
            return figures
    return None


def _count(figures: str) -> int:
    return len(Decimal(figures).normalize().as_tuple().digits) if figures else 0


def _padded(figures: Iterable[str]) -> list[str]:
    """Return figures with the decimals of the finest of them, as they are read off one scale."""
    figures = list(figures)
    places = max((len(one.partition(".")[2]) for one in figures), default=0)
    if places > _MOST_PADDED:
        return figures
    return [f"{Decimal(one):.{places}f}" if one else one for one in figures]
