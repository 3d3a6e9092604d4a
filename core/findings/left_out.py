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
    """What the undoubted readings of one stage say of all its readings; arrays of shape (k, n)."""

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
    """Fit a stage's curve, each set-up's level and its zero of the lift to the undoubted readings.

    Parameters
    ----------
    log_flow : ndarray, shape (k, n)
        Logarithms of the flows of k sweeps of one stage over n lifts, nan where there is none.
    doubted : ndarray, shape (k, n)
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
    k, n = log_flow.shape
    sound = np.isfinite(log_flow) & ~doubted
    held = sound.any(axis=0)
    sweep, column = np.nonzero(np.isfinite(log_flow) & held)
    rows, at = np.zeros((sweep.size, n + 2 * k)), np.arange(sweep.size)
    rows[at, column] = 1.0
    rows[at, n + sweep] = 1.0
    rows[at, n + k + sweep] = steepness[column] * lift_setting_m
    flow, unit = log_flow[sweep, column], usual[column]
    used = sound[sweep, column]
    weighted = rows[used] / unit[used, None]
    prior = np.diag(np.concatenate([~held, np.full(k, LEVEL**-2), np.ones(k)]).astype(float))
    spread = np.linalg.inv(weighted.T @ weighted + prior)
    best = spread @ weighted.T @ (flow[used] / unit[used])
    left, leverage = np.full((k, n), np.nan), np.full((k, n), np.nan)
    left[sweep, column] = flow - rows @ best
    leverage[sweep, column] = np.sum((rows @ spread) * rows, axis=1) / unit**2
    return Fit(left, doubted, usual, leverage)


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
