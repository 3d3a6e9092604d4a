"""Refuse what a formula cannot mean. A nan (not measured) passes and stays a nan."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatOrArray = float | NDArray[np.float64]


def require_positive(**quantities: FloatOrArray) -> None:
    """Refuse values of zero or less.

    Parameters
    ----------
    **quantities : float or ndarray
        Values under the names they have for the caller; the names go into the error.

    Raises
    ------
    ValueError
        If a value is not positive.
    """
    for name, value in quantities.items():
        if _any(value <= 0):
            raise ValueError(f"{name} is {_given(value)}. It must be above 0.")


def require_within(low: float, high: float, **quantities: FloatOrArray) -> None:
    """Refuse values outside a closed range.

    Parameters
    ----------
    low, high : float
        Least and greatest value allowed, in the unit of the quantities; high may be infinite.
    **quantities : float or ndarray
        Values under the names they have for the caller; the names go into the error.

    Raises
    ------
    ValueError
        If a value lies outside.
    """
    for name, value in quantities.items():
        if _any(value < low) or _any(value > high):
            allowed = f"{low:g} or more" if high == np.inf else f"{low:g} to {high:g}"
            raise ValueError(f"{name} is {_given(value)}. It must be {allowed}.")


def _any(condition: bool | NDArray[np.bool_]) -> bool:
    """Return whether a condition holds anywhere; a plain bool is spared numpy's overhead."""
    return condition if isinstance(condition, bool) else bool(condition.any())


def _given(value: FloatOrArray) -> str:
    least, greatest = np.nanmin(value), np.nanmax(value)
    return f"{least:g}" if least == greatest else f"between {least:g} and {greatest:g}"
