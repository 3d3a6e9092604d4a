"""A doubted reading against what all the others of its stage foretell of it.

Medians find doubted readings, since a slip cannot move them; but with a few sweeps a median
is a rough foreteller, and makes the scatter look smaller than it is. So doubted readings are
judged a second time, by least squares over the readings that nobody doubts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

LEVEL = 0.05  # standard deviation of a set-up's level, relative: far more than any bench's (judgement)


@dataclass(frozen=True, eq=False)
class Fit:
    """What the undoubted readings of s stages say of all their readings; arrays of shape (s, k, n)."""

    left: Array  # what is left of each reading, relative
    doubted: Flags
    unit: Array  # (n,) the standard deviation of one reading that the fit reckoned with
    leverage: Array  # variance of what is foretold, over that of one reading

    @property
    def undoubted(self) -> Flags:
        """Return which readings the fit was made of."""
        return np.isfinite(self.left) & ~self.doubted

    def score(self, usual: Array) -> Array:
        """Return the standard score of the doubted readings, nan elsewhere."""
        return np.where(self.doubted, self.left / (usual * np.sqrt(1 + self.leverage)), np.nan)


def fit(log_flow: Array, doubted: Flags, usual: Array, steepness: Array, lift_setting_m: float) -> Fit:
    """Fit each stage's curve, each set-up's level and its zero of the lift to the undoubted readings.

    Parameters
    ----------
    log_flow : ndarray, shape (s, k, n)
        Logarithms of the flows of k sweeps of each stage over n lifts, nan where there is none.
    doubted : ndarray, shape (s, k, n)
        True for readings to be judged; they foretell nothing.
    usual : ndarray, shape (n,)
        Standard deviation of one reading, relative.
    steepness : ndarray, shape (n,)
        Relative change of flow with lift. [1/m]
    lift_setting_m : float
        Standard uncertainty of a set-up's zero of the lift. [m]

    Returns
    -------
    Fit
        Nothing is left (nan) at a lift where no undoubted reading is.

    References
    ----------
    Residuals with the case left out: Cook and Weisberg, Residuals and Influence in
    Regression (1982), sect. 2.2, from memory.
    """
    s, k, n = log_flow.shape
    there = np.isfinite(log_flow)
    sound = there & ~doubted
    held = sound.any(axis=1)
    # What each cell holds: the flow at its lift, its sweep's level, its sweep's zero of the lift.
    sweep, column = np.divmod(np.arange(k * n), n)
    rows, at = np.zeros((k * n, n + 2 * k)), np.arange(k * n)
    rows[at, column] = 1.0
    rows[at, n + sweep] = 1.0
    rows[at, n + k + sweep] = steepness[column] * lift_setting_m
    weight = (sound / usual).reshape(s, k * n, 1)  # a cell that foretells nothing weighs nothing
    weighted = (rows * weight).swapaxes(1, 2)
    prior = np.concatenate([~held, np.tile([LEVEL**-2] * k + [1.0] * k, (s, 1))], axis=1)
    spread = np.linalg.inv(weighted @ weighted.swapaxes(1, 2) + prior[..., None] * np.eye(n + 2 * k))
    best = spread @ weighted @ (np.where(sound, log_flow, 0.0).reshape(s, k * n, 1) * weight)
    known = there & held[:, None]
    left = np.where(known, log_flow - (rows @ best).reshape(s, k, n), np.nan)
    leverage = np.sum((rows @ spread) * rows, axis=2).reshape(s, k, n) / usual**2
    return Fit(left, doubted, usual, np.where(known, leverage, np.nan))


def scatter(fits: Sequence[Fit], columns: Flags) -> float:
    """Return the scatter of undoubted readings over what their fits reckoned with.

    Parameters
    ----------
    fits : sequence of Fit
        Stages of one side.
    columns : ndarray, shape (n,)
        True for the lifts to pool.

    Returns
    -------
    float
        Ratio; 1 where there is nothing to tell it from.

    References
    ----------
    Residual mean square of least squares: JCGM 100:2008, H.3.
    """
    square = freedom = 0.0
    for one in fits:
        cells = one.undoubted & columns
        square += float(np.sum(np.square((one.left / one.unit)[cells])))
        freedom += float(np.sum(1 - one.leverage[cells]))
    return (square / freedom) ** 0.5 if freedom > 1 and square > 0 else 1.0
