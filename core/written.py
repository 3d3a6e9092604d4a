"""Numbers as people write them: decimal point or comma, thousands in spaces, fractions of an inch."""

from __future__ import annotations

import math
import re

PLAIN_NUMBER = "Write a number such as 21.4."
MINUS = "\u2212"
SPACES = "\u00a0\u2009\u202f\u2007"  # no-break and thin spaces, which may group thousands
LOOKALIKES = "OolISB"  # letters that slip in where a figure was meant

_PLAIN = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d{1,4})?", re.ASCII)
_GROUPED = re.compile(rf"([+-]?\d{{1,3}}(?:[{SPACES}]\d{{3}})+)((?:[.,]\d*)?)", re.ASCII)
_AMBIGUOUS = re.compile(r"[+-]?[1-9]\d{0,2}([.,])\d{3}", re.ASCII)
_FRACTION = re.compile(r"(?:(\d{1,4})[ -])?(\d{1,4})/(\d{1,4})", re.ASCII)


class UnitError(ValueError):
    """A number or a quantity that cannot be read: what was given, and what is allowed."""

    def __init__(self, text: str, cure: str = "") -> None:
        super().__init__(f"{text} {cure}".rstrip())
        self.text = text
        self.cure = cure


def quoted(text: str) -> str:
    """Return what a person wrote, in quotes, and cut where it is endless.

    Parameters
    ----------
    text : str
        Anything.

    Returns
    -------
    str
        For an error's text.
    """
    return f"'{text}'" if len(text) <= 60 else f"'{text[:60]}...'"


def number(text: str, *, fractions: bool = False, decimal_comma: bool = False) -> float:
    """Return the number that a person wrote, with a decimal point or a decimal comma.

    Parameters
    ----------
    text : str
        The number.
    fractions : bool
        Accept ``3/16`` and ``1 1/4``, as lifts in inches are written.
    decimal_comma : bool
        The text stands in a table that uses decimal commas, so ``1,234`` is plain there
        and ``1.234`` is not; elsewhere it is the other way round.

    Returns
    -------
    float
        A finite number.

    Raises
    ------
    UnitError
        If it is no number, not finite, or could be read in two ways.
    """
    if not decimal_comma and text.isascii() and len(text) < 20 and text.replace(".", "", 1).isdecimal():
        return float(text)  # nearly every number, and nothing to doubt in it
    given = text.strip()
    plain = given.replace(MINUS, "-")
    if fractions and (match := _FRACTION.fullmatch(plain)):
        whole, top, bottom = (int(part or 0) for part in match.groups())
        if bottom == 0:
            raise UnitError(f"{quoted(given)} divides by zero.", PLAIN_NUMBER)
        return whole + top / bottom
    if match := _GROUPED.fullmatch(plain):
        plain = re.sub(f"[{SPACES}]", "", match[1]) + match[2]
    if not _PLAIN.fullmatch(plain):
        raise UnitError(f"{quoted(given)} is not a number{_why_not(plain)}.", PLAIN_NUMBER)
    if (match := _AMBIGUOUS.fullmatch(plain)) and match[1] == ("." if decimal_comma else ","):
        whole, part = plain.split(match[1])
        raise UnitError(
            f"{quoted(given)} can be read as {whole}{part} or as {whole}.{part}.",
            "Write it without a thousands mark.",
        )
    value = float(plain.replace(",", "."))
    if not math.isfinite(value):
        raise UnitError(f"{quoted(given)} is too large.", PLAIN_NUMBER)
    return value


def _why_not(text: str) -> str:
    if not text:
        return " (nothing is written)"
    if text.casefold().lstrip("+-") in ("nan", "inf", "infinity"):
        return " (only finite numbers are)"
    if any(c.isdigit() for c in text):
        strange = [c for c in text if not c.isdigit() and c not in "+-., "]
        if len(strange) == 1 and strange[0] in LOOKALIKES:
            return f" (letter {strange[0]}?)"
        if ("." in text and "," in text) or text.count(".") > 1 or text.count(",") > 1:
            return " (more than one decimal mark, or a thousands mark)"
        if "/" in text:
            return " (fractions are read for lifts and lengths only)"
        if " " in text and not strange:
            return " (a space inside it)"
    return ""
