"""A target that is typed into the job file: lifts and flows as lists, stated at one pressure and in one air.

Such figures come from a print-out, a card or a page: they are corrected already, and nobody knows
their bench better than the job file says.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from core import units
from core.files import fields
from core.files.columns import LIFT_DECIMALS
from core.files.fields import Field, Quantity
from core.files.toml import TomlFile
from core.job import SIDES, Bench, BenchSheet, Printed, Reading, Sides
from core.units import MINUS, UnitError

PATH = ("target", "typed")
MOST = 100  # entries of a list
_ENTRY = {"lift": Quantity("lift", "0.01 mm", "50 mm"), "intake": fields.FLOW, "exhaust": fields.FLOW}
_UNIT_OF = {"lift": "lift_unit", "intake": "flow_unit", "exhaust": "flow_unit"}


def entries(value: object) -> tuple[float | str, ...]:
    """Read a list of numbers and quantities; blank text is one that is not known.

    Parameters
    ----------
    value : object
        What stands in the job file.

    Returns
    -------
    tuple of (float or str)
        The entries, not yet in SI.

    Raises
    ------
    UnitError
        If it is anything else.
    """
    if not isinstance(value, list) or not 0 < len(value) <= MOST:
        raise UnitError(f"A list of up to {MOST} entries belongs here.", "Write it as [1, 2, 3].")
    if any(isinstance(one, bool) or not isinstance(one, int | float | str) for one in value):
        raise UnitError("The list holds something that is neither number nor text.", "Write it as [1, 2, 3].")
    return tuple(value)


def listed(text: str) -> list[str | Decimal]:
    """Return a list as it is written to a job file from what a person typed.

    Parameters
    ----------
    text : str
        Numbers with spaces or semicolons between; ``-`` for one that is not known.

    Returns
    -------
    list of (str or Decimal)
        With the digits that were given; blank text for one that is not known.

    Raises
    ------
    UnitError
        If one of them is no number.
    """
    found: list[str | Decimal] = []
    for word in text.replace(";", " ").split():
        word = word.rstrip(",") or "-"
        if word in ("-", MINUS):
            found.append("")
            continue
        value = units.number(word)
        plain = word.replace(",", ".")
        found.append(Decimal(plain if plain.replace(".", "").isdecimal() else repr(value)))
    return found


LISTS = tuple(_ENTRY)
TYPED = {
    "lift": Field("lift", entries),
    "lift_unit": Field("lift_unit", fields.name),
    "intake": Field("intake", entries),
    "exhaust": Field("exhaust", entries),
    "flow_unit": Field("flow_unit", fields.name),
    "test_pressure": Field("test_pressure_pa", fields.TEST_PRESSURE),
    "air": Field("air", fields.STANDARD_AIR),
    "uncertainty": Field("uncertainty", Quantity("fraction", "0.01 %", "50 %")),
    "bench": Field("bench", fields.name),
}
_MISSING = {
    "lift": 'Add lift = [1, 2, 3] and lift_unit = "mm".',
    "test_pressure": 'Add test_pressure = "28 inH2O", at which these flows are stated.',
}


@dataclass(frozen=True)
class Typed:
    """A typed target as a bench sheet, and the bench that it is taken to come from."""

    sheet: BenchSheet
    bench: Bench | None  # None: one of the job's, which the sheet names


def read_typed(file: TomlFile, target: Mapping[str, object]) -> Typed | None:
    """Read ``[target.typed]``.

    Parameters
    ----------
    file : TomlFile
        The job file; what is wrong goes to its log.
    target : mapping
        The table above it.

    Returns
    -------
    Typed or None
        None where there is none, or it cannot be used.
    """
    table = file.table(target, PATH)
    if table is None:
        return None
    before = len(file.log.problems)
    values = file.read(table, PATH, TYPED)
    for key, cure in _MISSING.items():
        if key not in table:
            file.problem(PATH, f"[target.typed] has no {key}.", cure)
    if not any(side in table for side in SIDES):
        file.problem(PATH, "[target.typed] has no flows.", 'Add intake = [25, 50, 72] and flow_unit = "L/s".')
    if "uncertainty" in table and "bench" in table:
        text = "An uncertainty is stated, and a bench, which has its own."
        file.problem((*PATH, "uncertainty"), text, "Leave one of the two.")
    wrong = _wrong_units(file, values)
    lists = {key: _in_si(file, key, values, wrong) for key in _ENTRY if key in values}
    _check_lists(file, lists)
    if len(file.log.problems) > before:
        return None
    return _typed(file, values, lists)


def _wrong_units(file: TomlFile, values: Mapping[str, object]) -> set[str]:
    """Return which of the lists' units cannot be read; each is reported once."""
    wrong = set()
    for key, kind in (("lift_unit", "lift"), ("flow_unit", "flow")):
        try:
            units.factor(str(values.get(key, units.example(kind).split()[1])), (kind,))
        except UnitError as error:
            file.problem((*PATH, key), f"{key}: {error.text}", error.cure)
            wrong.add(key)
    return wrong


def _in_si(file: TomlFile, key: str, values: Mapping[str, object], wrong: set[str]) -> list[float | None]:
    """Return a list in SI; an entry that is wrong is reported by its place."""
    read, unit, found = _ENTRY[key], values.get(_UNIT_OF[key]), []
    for place, entry in enumerate(values[key], start=1):
        if isinstance(entry, str) and not entry.strip():
            found.append(None)
            continue
        written = _with_unit(entry, unit)
        if written is not entry and _UNIT_OF[key] in wrong:
            return []  # said of the unit
        try:
            found.append(read(written))
        except UnitError as error:
            bare = unit is None and not isinstance(entry, str)
            usual = units.example(read.kind).split()[1]
            more = f' Or add {_UNIT_OF[key]} = "{usual}" for all.' if bare else ""
            file.problem((*PATH, key), f"{key}, entry {place}: {error.text}", error.cure + more)
            if bare:
                return []  # so are the others
    return found if len(found) == len(values[key]) else []


def _with_unit(entry: float | str, unit: object) -> float | str:
    """Return a bare number with the list's unit; a quantity has its own."""
    if unit is None:
        return entry
    if isinstance(entry, str):
        try:
            units.number(entry)
        except UnitError:
            return entry
    return f"{entry} {unit}"


def _check_lists(file: TomlFile, lists: Mapping[str, Sequence[float | None]]) -> None:
    lifts = lists.get("lift")
    if not lifts:
        return
    if None in lifts:
        file.problem((*PATH, "lift"), "A lift is blank.", "Every entry has its lift.")
    elif any(b <= a for a, b in itertools.pairwise(lifts)):
        file.problem((*PATH, "lift"), "The lifts do not rise from each to the next.", "Check their order.")
    for side in SIDES:
        flows = lists.get(side)
        if flows and len(flows) != len(lifts):
            text = f"{side} has {len(flows)} entries, and lift has {len(lifts)}."
            cure = 'Write one flow for each lift, "" where it is not known.'
            file.problem((*PATH, side), text, cure)
        elif flows and all(flow is None for flow in flows):
            file.problem((*PATH, side), f"{side} has no flow.", "Write some, or take the list away.")


def _typed(
    file: TomlFile, values: Mapping[str, object], lists: Mapping[str, Sequence[float | None]]
) -> Typed:
    def readings(side: str) -> tuple[Reading, ...]:
        line = file.lines.get((*PATH, side), file.lines.get(PATH, 1))
        return tuple(
            Reading(round(lift, LIFT_DECIMALS), line, flow_m3_s=flow)
            for lift, flow in zip(lists["lift"], lists.get(side, ()), strict=False)
            if flow is not None
        )

    line = file.lines.get((*PATH, "bench"), 1)
    sheet = BenchSheet(
        file.log.file,
        Sides(*map(readings, SIDES)),
        role="target",
        bench=values.get("bench"),
        printed=Printed(True, values["test_pressure_pa"], values.get("air")),
        lines=(("bench", line),),
    )
    bench = Bench("bench of the target", calibration=values.get("uncertainty"))
    return Typed(sheet, None if "bench" in values else bench)
