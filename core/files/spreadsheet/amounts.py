"""One cell to a number and the unit written beside it, or to what it is instead."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from typing import Literal

from core import units
from core.files.spreadsheet.grid import Cell
from core.units import UnitError, quoted
from core.written import LOOKALIKES

AmountKind = Literal["number", "blank", "text", "date", "doubtful"]

BLANKS = frozenset({"", "-", "--", "---", "\u2013", "\u2014", "\u2212", "n/a", "n.a.", "na", "n/t", "nil"})
FLOW_KINDS = ("flow", "fraction", "mass flow")
_VULGAR = {"½": "1/2", "¼": "1/4", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}
_FIGURES = r"[+\-\u2212]?(?:\d+[ -]\d+/\d+|\d+/\d+|[\d.,\u00a0\u2009\u202f]*\d[\d.,]*(?:[eE][+-]?\d+)?)"
_AMOUNT = re.compile(rf"({_FIGURES})\s*(\D.*)?", re.ASCII)
_SLIP = re.compile(rf"[\d.,{LOOKALIKES}]+")  # "O.2", "2l.4"
_MONTHS = {
    name: i
    for i, names in enumerate(
        ("jan", "feb fev", "mar mär mrz", "apr avr", "may mai", "jun", "jul", "aug", "sep", "oct okt", "nov",
         "dec dez")
    , start=1)
    for name in names.split()
}  # fmt: skip
_WORD_DATE = re.compile(
    r"(?:(\d{1,2})[\s./-]+([a-zä]{3})[a-zä]*|([a-zä]{3})[a-zä]*[\s./-]+(\d{1,2}))\.?(?:[\s./-]+\d{2,4})?"
)
_FIGURE_DATE = re.compile(
    r"(\d{1,2})/(\d{1,2})/\d{2,4}|(\d{1,2})\.(\d{1,2})\.\d{2,4}|\d{4}-(\d{1,2})-(\d{1,2})(?: .*)?"
)


@dataclass(frozen=True)
class Amount:
    """What a cell says: a number with the unit beside it, or why it is none."""

    kind: AmountKind
    figures: str = ""  # as a bench sheet has them
    value: float = 0.0
    unit: str | None = None  # as written in the cell; "%" of a percentage
    month_day: tuple[int, int] | None = None  # of a date
    is_fraction: bool = False  # written as 3/16
    why: str = ""  # of what is doubtful


_BLANK = Amount("blank")


def amount(cell: Cell | None, decimal_comma: bool = False) -> Amount:
    """Return what one cell says.

    Parameters
    ----------
    cell : Cell or None
        None for a blank one.
    decimal_comma : bool
        Its table writes decimal commas.

    Returns
    -------
    Amount
        Never a guess: what can be read in two ways is doubtful.
    """
    if cell is None:
        return _BLANK
    if cell.kind == "number":
        return Amount("number", cell.text, cell.number or 0.0)
    if cell.kind == "percent":
        return Amount("number", cell.text.removesuffix(" %"), (cell.number or 0.0) * 100, "%")
    if cell.kind == "date":
        return Amount("date", month_day=(cell.date.month, cell.date.day) if cell.date else None)
    if cell.kind == "unread":
        return Amount("doubtful", why=cell.text)
    return _of_text(cell.text, decimal_comma)


def _of_text(text: str, decimal_comma: bool) -> Amount:
    text = " ".join(text.replace("\u2044", "/").split(" ")).strip().lstrip("'")
    for sign, fraction in _VULGAR.items():
        text = re.sub(rf"(\d?)\s*{sign}", lambda m, f=fraction: f"{m[1]} {f}".strip(), text)
    if text.casefold() in BLANKS:
        return _BLANK
    if (day := _month_day(text.casefold())) is not None:
        return Amount("date", month_day=day)
    match = _AMOUNT.fullmatch(text)
    if not match:
        slip = _SLIP.fullmatch(text) and any(c.isdigit() for c in text)
        return Amount("doubtful", why=f"{quoted(text)} is not a number") if slip else Amount("text")
    unit = (match[2] or "").strip() or None
    if unit is not None and not is_unit(unit):
        # "21O" is a slip, "1st run" a heading
        return Amount("doubtful", why=f"{quoted(text)} is not a number") if len(unit) == 1 else Amount("text")
    try:
        value = units.number(match[1], fractions=True, decimal_comma=decimal_comma)
    except UnitError as error:
        return Amount("doubtful", why=error.text.rstrip("."))
    return Amount("number", f"{value:.15g}", value, unit, is_fraction="/" in match[1])


def _month_day(text: str) -> tuple[int, int] | None:
    """Return month and day of text that is a date, as a CSV file holds what was once 1/8."""
    if match := _WORD_DATE.fullmatch(text):
        day, month = int(match[1] or match[4]), _MONTHS.get(match[2] or match[3])
        return (month, day) if month and 1 <= day <= 31 else None
    if match := _FIGURE_DATE.fullmatch(text):
        first, second = (int(part) for part in match.groups() if part)
        month, day = (second, first) if "." in text else (first, second)
        if month > 12:
            month, day = day, month
        return (month, day) if 1 <= month <= 12 and 1 <= day <= 31 else None
    return None


def is_unit(text: str, *kinds: str) -> bool:
    """Return whether text is a unit.

    Parameters
    ----------
    text : str
        For example ``mm`` or ``cfm``.
    *kinds : str
        Kinds of `core.units` that count; without any, those of lifts and readings.

    Returns
    -------
    bool
        True for what `core.units` knows of these kinds.
    """
    try:
        units.factor(text, kinds or ("lift", "pressure", *FLOW_KINDS))
    except UnitError:
        return False
    return True


def fraction_of(month_day: tuple[int, int], order: str) -> float | None:
    """Return the fraction of an inch that a spreadsheet made a date of.

    Parameters
    ----------
    month_day : tuple of (int, int)
        Of the date.
    order : str
        ``month/day`` or ``day/month``: how the fraction was read as a date.

    Returns
    -------
    float or None
        None where it is no fraction of an inch, such as 3/7.
    """
    top, bottom = month_day if order == "month/day" else month_day[::-1]
    return top / bottom if bottom in (2, 4, 8, 16, 32, 64) and top < bottom else None


def shown_date(month_day: tuple[int, int] | None) -> str:
    """Return a date as a person says it.

    Parameters
    ----------
    month_day : tuple of (int, int) or None
        Month and day; None of a time.

    Returns
    -------
    str
        For example ``8 January``.
    """
    if month_day is None:
        return "a time"
    return f"{month_day[1]} {dt.date(2000, month_day[0], 1):%B}"
