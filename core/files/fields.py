"""How one stated value is read: a bench sheet's ``# key: value`` and a job file's ``key = value`` alike.

A reader takes what stands there (text from a sheet, any TOML value from a job file) and
returns the value in SI, or raises ``UnitError`` with the cure.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Callable
from dataclasses import dataclass

from core import units
from core.files.log import did_you_mean, folded
from core.units import UnitError

Reader = Callable[[object], object]


@dataclass(frozen=True)
class Field:
    """Where a value belongs in the data model, and how it is read."""

    attribute: str
    read: Reader


def quantity(kind: str, low: str, high: str) -> Reader:
    """Return a reader of quantities with a unit, from ``low`` to ``high`` (both allowed)."""

    def read(value: object) -> float:
        if not isinstance(value, str):
            example = units.example(kind)
            raise UnitError(
                f"{_shown(value)} has no unit.", f'Write it in quotes with its unit: "{example}".'
            )
        result = units.parse(value, kind)
        if not units.parse(low, kind) <= result <= units.parse(high, kind):
            raise UnitError(f"'{value}' is not possible here.", f"Allowed: {low} to {high}.")
        return result

    return read


def text(value: object) -> str:
    """Read words; a bare number is taken as its figures."""
    if isinstance(value, bool) or not isinstance(value, (str, int, float)):
        raise UnitError(f"{_shown(value)} is not text.", "Write it in quotes.")
    return str(value).strip()


def name(value: object) -> str:
    """Read a name: words with single spaces between them."""
    result = " ".join(text(value).split())
    if not result:
        raise UnitError("The name is empty.", "Give it one, or take the line away.")
    return result


def date(value: object) -> dt.date:
    """Read a date, year first."""
    if isinstance(value, dt.date) and not isinstance(value, dt.datetime):
        return value
    cure = "Write it year first, for example 2026-03-14."
    if not isinstance(value, str) or not re.fullmatch(r"\d{4}-\d{2}-\d{2}", value.strip(), re.ASCII):
        raise UnitError(f"{_shown(value)} is not a date as read here.", cure)
    try:
        return dt.date.fromisoformat(value.strip())
    except ValueError:
        raise UnitError(f"'{value}' is no day of the calendar.", cure) from None


def time(value: object) -> dt.time:
    """Read a time of day on the 24-hour clock."""
    cure = "Write it on the 24-hour clock, for example 14:30."
    if not isinstance(value, str) or not re.fullmatch(r"\d{1,2}:\d{2}(:\d{2})?", value.strip(), re.ASCII):
        raise UnitError(f"{_shown(value)} is not a time as read here.", cure)
    try:
        return dt.time(*(int(part) for part in value.split(":")))
    except ValueError:
        raise UnitError(f"'{value}' is no time of day.", cure) from None


def real(low: float, high: float) -> Reader:
    """Return a reader of plain numbers from ``low`` to ``high`` (both allowed)."""

    def read(value: object) -> float:
        result = _number(value)
        if not low <= result <= high:
            raise UnitError(f"{_shown(value)} is not possible here.", f"Allowed: {low:g} to {high:g}.")
        return result

    return read


def whole(low: int, high: int) -> Reader:
    """Return a reader of whole numbers from ``low`` to ``high`` (both allowed)."""

    def read(value: object) -> int:
        result = _number(value)
        if not low <= result <= high or result != int(result):
            raise UnitError(
                f"{_shown(value)} is not possible here.", f"Allowed: whole numbers {low} to {high}."
            )
        return int(result)

    return read


def yes_no(value: object) -> bool:
    """Read yes or no; true or false in a job file."""
    if isinstance(value, bool):
        return value
    answers = {"yes": True, "no": False, "true": True, "false": False}
    if isinstance(value, str) and folded(value) in answers:
        return answers[folded(value)]
    raise UnitError(f"{_shown(value)} is neither yes nor no.", "Write yes or no.")


def choice(*allowed: str) -> Reader:
    """Return a reader of one word or phrase out of a few."""

    def read(value: object) -> str:
        for one in allowed:
            if isinstance(value, str) and folded(value) == folded(one):
                return one
        raise UnitError(
            f"{_shown(value)} is not known here{did_you_mean(str(value), allowed)}.",
            f"Allowed: {', '.join(allowed)}.",
        )

    return read


def standard_air(value: object) -> str:
    """Read the name of a standard air."""
    from core.constants import STANDARD_AIRS

    return choice(*STANDARD_AIRS)(value)


def pipe(value: object) -> float | None:
    """Read a pipe's inner diameter; None for a plenum."""
    if isinstance(value, str) and folded(value) == "plenum":
        return None
    return quantity("length", "10 mm", "2000 mm")(value)


def strings(value: object) -> tuple[str, ...]:
    """Read a list of texts; a single one will do."""
    items = [value] if isinstance(value, str) else value
    if not isinstance(items, list) or not items or not all(isinstance(i, str) and i.strip() for i in items):
        raise UnitError(f"{_shown(value)} is not a list of names.", 'Write it as ["one.csv", "two.csv"].')
    return tuple(items)


def _number(value: object) -> float:
    if isinstance(value, str):
        return units.number(value)
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise UnitError(f"{_shown(value)} is not a number.")
    result = float(value)
    if not math.isfinite(result):
        raise UnitError(f"{_shown(value)} is not a finite number.")
    return result


def _shown(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "A table"
    return f"'{value}'" if isinstance(value, str) else f"{value}"
