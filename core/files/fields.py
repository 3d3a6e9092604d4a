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
from functools import cached_property

from core import units
from core.constants import STANDARD_AIRS
from core.files.log import did_you_mean, folded
from core.files.text import CONTROL
from core.written import PLAIN_NUMBER, UnitError

Reader = Callable[[object], object]

LONGEST_NAME = 200  # characters, more than any table, chart or page can show (judgement)


@dataclass(frozen=True)
class Field:
    """Where a value belongs in the data model, and how it is read."""

    attribute: str
    read: Reader


@dataclass(frozen=True)
class Quantity:
    """A reader of quantities of one kind, from the least to the greatest value that is allowed."""

    kind: str
    low: str  # with its unit, and so the other
    high: str

    def __call__(self, value: object) -> float:
        """Return a quantity in SI, read from text with a unit."""
        if not isinstance(value, str):
            example = units.example(self.kind)
            raise UnitError(
                f"{_shown(value)} has no unit.", f'Write it in quotes with its unit: "{example}".'
            )
        result = units.parse(value, self.kind)
        least, most = self.bounds
        if not least <= result <= most:
            raise UnitError(f"{units.quoted(value)} is not possible here.", self.allowed)
        return result

    @cached_property
    def bounds(self) -> tuple[float, float]:
        """Return both ends in SI, with room for the roundings of a unit's conversion."""
        least, most = units.parse(self.low, self.kind), units.parse(self.high, self.kind)
        rounding = 1e-12 * max(abs(least), abs(most))
        return least - rounding, most + rounding

    @property
    def allowed(self) -> str:
        """Return the cure for a value beyond them."""
        return f"Allowed: {self.low} to {self.high}."


class Choice:
    """A reader of one word or phrase out of a few, whatever its case and spaces."""

    def __init__(self, *allowed: str) -> None:
        self.allowed = allowed

    def __call__(self, value: object) -> str:
        """Return the one that is meant, as it is listed."""
        for one in self.allowed:
            if isinstance(value, str) and folded(value) == folded(one):
                return one
        raise UnitError(
            f"{_shown(value)} is not known here{did_you_mean(str(value), self.allowed)}.",
            f"Allowed: {', '.join(self.allowed)}.",
        )


# What a sheet states in its head or row by row: wide enough for any bench, narrow enough that a
# slip of unit or decimal mark falls outside (judgement), and such that no pressure, density or
# share of vapour worked out from them leaves what is possible, one standard uncertainty
# (`core.files.jobfile` bounds those) to either side.
ROOM = Quantity("temperature", "-40 degC", "60 degC")
STREAM = Quantity("temperature", "-40 degC", "100 degC")  # a blower heats what it blows
TEST_PRESSURE = Quantity("test pressure", "1 inH2O", "100 inH2O")
PLATE_DROP = Quantity("pressure", "0.001 inH2O", "60 inH2O")
FLOW = Quantity("flow", "0.001 L/s", "5 m3/s")

STANDARD_AIR = Choice(*STANDARD_AIRS)


def text(value: object) -> str:
    """Read words; a bare whole number is taken as its figures.

    Parameters
    ----------
    value : object
        What stands there: text from a sheet, any value from a job file.

    Returns
    -------
    str
        The words, without spaces around them.

    Raises
    ------
    UnitError
        If it is anything else.
    """
    # of a decimal such as 1.10 only 1.1 is left here, and who reads it would not know
    figures = isinstance(value, int) and not isinstance(value, bool)
    if not isinstance(value, str) and not figures:
        raise UnitError(f"{_shown(value)} is not text.", "Write it in quotes.")
    if CONTROL.search(str(value)):
        raise UnitError(f"{_shown(value)} holds characters that are no text.", "Type it anew.")
    return str(value).strip()


def name(value: object) -> str:
    """Read a name: words with single spaces between them.

    Parameters
    ----------
    value : object
        What stands there: text from a sheet, any value from a job file.

    Returns
    -------
    str
        The name.

    Raises
    ------
    UnitError
        If it is anything else.
    """
    result = " ".join(text(value).split())
    if not result:
        raise UnitError("The name is empty.", "Give it one, or take the line away.")
    if len(result) > LONGEST_NAME:
        cure = f"Allowed: up to {LONGEST_NAME} characters. Put the rest in a note."
        raise UnitError(f"{units.quoted(result)} is longer than a name can be shown.", cure)
    return result


def date(value: object) -> dt.date:
    """Read a date, year first.

    Parameters
    ----------
    value : object
        What stands there: text from a sheet, any value from a job file.

    Returns
    -------
    date
        The day.

    Raises
    ------
    UnitError
        If it is anything else.
    """
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
    """Read a time of day on the 24-hour clock.

    Parameters
    ----------
    value : object
        What stands there: text from a sheet, any value from a job file.

    Returns
    -------
    time
        The time.

    Raises
    ------
    UnitError
        If it is anything else.
    """
    cure = "Write it on the 24-hour clock, for example 14:30."
    if not isinstance(value, str) or not re.fullmatch(r"\d{1,2}:\d{2}(:\d{2})?", value.strip(), re.ASCII):
        raise UnitError(f"{_shown(value)} is not a time as read here.", cure)
    try:
        return dt.time(*(int(part) for part in value.split(":")))
    except ValueError:
        raise UnitError(f"'{value}' is no time of day.", cure) from None


def real(low: float, high: float) -> Reader:
    """Return a reader of plain numbers.

    Parameters
    ----------
    low, high : float
        Least and greatest value that is allowed.

    Returns
    -------
    Reader
        Gives a float.

    Raises
    ------
    UnitError
        By the reader, if the value is anything else.
    """

    def read(value: object) -> float:
        result = _number(value)
        if not low <= result <= high:
            raise UnitError(f"{_shown(value)} is not possible here.", f"Allowed: {low:g} to {high:g}.")
        return result

    return read


def whole(low: int, high: int) -> Reader:
    """Return a reader of whole numbers.

    Parameters
    ----------
    low, high : int
        Least and greatest value that is allowed.

    Returns
    -------
    Reader
        Gives an int.

    Raises
    ------
    UnitError
        By the reader, if the value is anything else.
    """

    def read(value: object) -> int:
        result = _number(value)
        if not low <= result <= high or result != int(result):
            allowed = f"Allowed: whole numbers {low} to {high}."
            raise UnitError(f"{_shown(value)} is not possible here.", allowed)
        return int(result)

    return read


def yes_no(value: object) -> bool:
    """Read yes or no; true or false in a job file.

    Parameters
    ----------
    value : object
        What stands there: text from a sheet, any value from a job file.

    Returns
    -------
    bool
        Yes is true.

    Raises
    ------
    UnitError
        If it is anything else.
    """
    if isinstance(value, bool):
        return value
    answers = {"yes": True, "no": False, "true": True, "false": False}
    if isinstance(value, str) and folded(value) in answers:
        return answers[folded(value)]
    raise UnitError(f"{_shown(value)} is neither yes nor no.", "Write yes or no.")


def either(read: Reader, **words: object) -> Reader:
    """Return a reader that takes some plain words as well.

    Parameters
    ----------
    read : Reader
        Reads all else.
    **words : object
        What each word means.

    Returns
    -------
    Reader
        Gives a word's meaning, or what ``read`` gives.
    """

    def read_either(value: object) -> object:
        if isinstance(value, str) and folded(value) in words:
            return words[folded(value)]
        return read(value)

    return read_either


def strings(value: object) -> tuple[str, ...]:
    """Read a list of texts; a single one will do.

    Parameters
    ----------
    value : object
        What stands there: text from a sheet, any value from a job file.

    Returns
    -------
    tuple of str
        The texts.

    Raises
    ------
    UnitError
        If it is anything else.
    """
    items = [value] if isinstance(value, str) else value
    if not isinstance(items, list) or not items or not all(isinstance(i, str) and i.strip() for i in items):
        raise UnitError(f"{_shown(value)} is not a list of names.", 'Write it as ["one.csv", "two.csv"].')
    return tuple(items)


def _number(value: object) -> float:
    if isinstance(value, str):
        return units.number(value)
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise UnitError(f"{_shown(value)} is not a number.", PLAIN_NUMBER)
    result = float(value)
    if not math.isfinite(result):
        raise UnitError(f"{_shown(value)} is not a finite number.", PLAIN_NUMBER)
    return result


def _shown(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "A table"
    if isinstance(value, str):
        return units.quoted(value)
    written = f"{value}"
    return written if len(written) <= 60 else f"{written[:60]}..."
