"""From the breathing model's answers to ranges: what a gain is worth, and what its range is made of.

To first order (JCGM 100:2008, 5.1): each unknown moves a gain by its effect for one standard
uncertainty, and independent effects add up in squares. Both structures have a middle and
effects of their own; a range covers the 95 % intervals of both.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from core.power_results import PriceRange, Range

Array = NDArray[np.float64]

COVERAGE = 1.96  # 95 % of a normal distribution
LEAST_SHARE = 0.4  # a range is never narrower than this share of its middle, either way (judgement)


@dataclass(frozen=True)
class Linear:
    """A value and its effects: its change for one standard uncertainty of each unknown, by key."""

    value: float
    effects: Mapping[str, float]

    def __add__(self, other: Linear) -> Linear:
        """Return the sum; an unknown that both know moves both."""
        keys = [*self.effects, *(key for key in other.effects if key not in self.effects)]
        return Linear(
            self.value + other.value,
            {key: self.effects.get(key, 0.0) + other.effects.get(key, 0.0) for key in keys},
        )

    def __sub__(self, other: Linear) -> Linear:
        """Return the difference."""
        return self + other.scaled(-1.0)

    def scaled(self, factor: float) -> Linear:
        """Return the value and its effects times an exact number."""
        return Linear(self.value * factor, {key: effect * factor for key, effect in self.effects.items()})

    def over(self, other: Linear) -> Linear:
        """Return the quotient, to first order."""
        own = self.scaled(1 / other.value)
        return Linear(own.value, (own - other.scaled(own.value / other.value)).effects)

    def with_effects(self, **effects: float) -> Linear:
        """Return the value with further effects."""
        return Linear(self.value, {**self.effects, **effects})

    @property
    def standard_uncertainty(self) -> float:
        """Return the standard uncertainty."""
        return float(np.sqrt(sum(effect**2 for effect in self.effects.values())))


def covering(parts: Sequence[Linear], includes_zero: bool) -> tuple[Range, bool]:
    """Return the range that covers several estimates of one thing.

    Parameters
    ----------
    parts : sequence of Linear
        One a structure.
    includes_zero : bool
        Nothing says that there is a gain at all: the range reaches zero.

    Returns
    -------
    tuple of (Range, bool)
        Middle: the mean of the estimates. True where the range had to be widened to
        `LEAST_SHARE` of its middle.

    References
    ----------
    JCGM 100:2008, 5.1.2.
    """
    mid = float(np.mean([part.value for part in parts]))
    low = min(part.value - COVERAGE * part.standard_uncertainty for part in parts)
    high = max(part.value + COVERAGE * part.standard_uncertainty for part in parts)
    least = LEAST_SHARE * abs(mid)
    widened = low > mid - least or high < mid + least
    low, high = min(low, mid - least), max(high, mid + least)
    if includes_zero:
        low, high = min(low, 0.0), max(high, 0.0)
    return Range(low, mid, high), widened and mid != 0


def half_widths(parts: Sequence[Linear]) -> dict[str, float]:
    """Return half the 95 % range that each source alone would give, largest first.

    Parameters
    ----------
    parts : sequence of Linear
        One a structure.

    Returns
    -------
    dict
        By key; "structure" is half the distance between the outermost middles. An unknown's
        is the mean over the structures.

    References
    ----------
    JCGM 100:2008, 5.1.2.
    """
    values = [part.value for part in parts]
    found = {"structure": (max(values) - min(values)) / 2}
    for key in dict.fromkeys(key for part in parts for key in part.effects):
        found[key] = COVERAGE * float(np.mean([abs(part.effects.get(key, 0.0)) for part in parts]))
    return dict(sorted(found.items(), key=lambda item: -item[1]))


def price_range(price: float | None, gain_w: Range) -> PriceRange | None:
    """Return the price of each watt.

    Parameters
    ----------
    price : float or None
        What the gain cost.
    gain_w : Range
        Gain. [W]

    Returns
    -------
    PriceRange or None
        None without a price or without any gain.
    """
    if not price or gain_w.high <= 0:
        return None
    return PriceRange(
        price / gain_w.high,
        price / gain_w.mid if gain_w.mid > 0 else None,
        price / gain_w.low if gain_w.low > 0 else None,
    )
