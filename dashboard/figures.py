"""How a number is written: digits, signs, spaces.

Real minus, signed gains, no-break spaces, narrow spaces between thousands, and never more
digits than the uncertainty supports (JCGM 100:2008, 7.2.6).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from core.units import MINUS, NARROW_SPACE, NO_BREAK_SPACE, UnitSet, to_display

NOTHING = "–"
NO_PRICE = "no price"


def places(expanded: float) -> int:
    """Return the decimals that show one digit of an uncertainty, two where it begins with 1."""
    leading, exponent = f"{expanded:.5e}".split("e")
    return -int(exponent) + (1 if leading.startswith("1") else 0)


def figure(value: float, decimals: int, *, signed: bool = False) -> str:
    """Return a number with a real minus and narrow spaces; negative decimals round to tens, hundreds."""
    rounded = round(value, decimals)
    text = f"{abs(rounded):,.{max(decimals, 0)}f}".replace(",", NARROW_SPACE)
    sign = MINUS if rounded < 0 else "+" if signed and rounded > 0 else ""
    return sign + text


def plus_minus(value: float, expanded: float, *, signed: bool = True) -> str:
    """Return ``+6.2 ± 0.6``, with one digit more where only that shows that the value is the larger.

    Rounding both to the same decimals never swaps them: at worst a value that exceeds its ± comes out
    like it, as 0.80 and 0.76 do at one digit. One digit more parts all that differ by 5 % of the ±. What
    even that leaves alike is given the usual digits: whether a hair's breadth is clear, the verdict beside
    it says, and no digit could. A value within its ± never needs more.
    """
    if not expanded > 0:
        return figure(value, 1, signed=signed)
    decimals = places(expanded)
    if abs(value) > expanded:
        parted = (n for n in (decimals, decimals + 1) if abs(round(value, n)) > round(expanded, n))
        decimals = next(parted, decimals)
    pair = (figure(value, decimals, signed=signed), "±", figure(expanded, decimals))
    return NO_BREAK_SPACE.join(pair)


def percent(fraction: float, expanded: float, *, signed: bool = True) -> str:
    """Return ``+12.3 ± 0.8 %``."""
    return plus_minus(fraction * 100, expanded * 100, signed=signed) + NO_BREAK_SPACE + "%"


def significant(value: float, digits: int = 2) -> str:
    """Return a number rounded to so many significant digits."""
    if value == 0 or not math.isfinite(value):
        return figure(0.0, 0) if value == 0 else NOTHING
    return figure(value, digits - 1 - math.floor(math.log10(abs(value))))


def span(low: float, high: float, digits: int = 2) -> str:
    """Return ``150–240``, each end to so many significant digits."""
    ends = significant(low, digits), significant(high, digits)
    return ends[0] if ends[0] == ends[1] else "–".join(ends)


def money(amount: float | None, currency: str | None) -> str:
    """Return ``1 050 EUR``, or that there is no price."""
    if amount is None:
        return NO_PRICE
    text = figure(amount, 0 if amount == round(amount) else 2)
    return f"{text}{NO_BREAK_SPACE}{currency}" if currency else text


def counted(count: int, noun: str) -> str:
    """Return ``1 note``, ``3 notes``."""
    return f"{count} {noun}{'' if count == 1 else 's'}"


def joined(parts: Sequence[str]) -> str:
    """Return parts as a person counts them up: ``a, b and c``."""
    return parts[0] if len(parts) == 1 else ", ".join(parts[:-1]) + " and " + parts[-1]


def common_figures(values: Sequence[float], most: int) -> list[str]:
    """Return numbers with the fewest decimals, up to ``most``, that tell every one of them."""
    for decimals in range(most + 1):
        if all(abs(round(value, decimals) - value) <= 0.5001 * 10.0**-most for value in values):
            return [figure(value, decimals) for value in values]
    return [figure(value, most) for value in values]


def lifts(values: Sequence[float], units: UnitSet, *, shown: bool = False) -> list[str]:
    """Return lifts without their unit, all with the same decimals; in SI, or as ``shown`` already."""
    in_units = values if shown else [to_display(value, "lift", units) for value in values]
    return common_figures(in_units, units.shown["lift"].digits)
