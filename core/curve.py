"""A flow curve over lift: interpolation and means, never extrapolation.

The curve is the shape-preserving cubic (PCHIP) through the shut valve, (0, 0), and the
readings: it does not overshoot, and has no bump that the readings do not have. A reading
at zero lift (a leak) is no part of it.

Building a curve costs more than using it, so a set of curves over the same lifts can be
given at once, and what was worked out last is remembered.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache, wraps
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import PchipInterpolator

from core.checks import FloatOrArray, require_positive, require_within

Array = NDArray[np.float64]
_Content = tuple[bytes, tuple[int, ...]]

# One lift, converted from inches on two ways, differs in its last bits.
_SAME_LIFT = 1 + 1e-9


def _remembered(function: Callable[..., Any]) -> Callable[..., Any]:
    """Remember results by the content of the arrays given; arrays among the results are read-only."""

    @lru_cache(maxsize=512)
    def by_content(*contents: _Content, **named: _Content) -> Any:
        result = function(*map(_array, contents), **{name: _array(one) for name, one in named.items()})
        if isinstance(result, np.ndarray):
            result.flags.writeable = False
        return result

    @wraps(function)
    def remembered(*arrays: ArrayLike, **named: ArrayLike) -> Any:
        return by_content(*map(_content, arrays), **{name: _content(one) for name, one in named.items()})

    return remembered


def _content(values: ArrayLike) -> _Content:
    array = np.asarray(values, float)
    return array.tobytes(), array.shape


def _array(content: _Content) -> Array:
    data, shape = content
    return np.frombuffer(data).reshape(shape)


def interpolate(lift_m: ArrayLike, flow_m3_s: ArrayLike, at_m: ArrayLike) -> FloatOrArray:
    """Return the flow at any lift that the readings reach.

    Parameters
    ----------
    lift_m : array_like, shape (n,)
        Lifts of the readings, rising. [m]
    flow_m3_s : array_like, shape (n,) or (n, k)
        Flow at these lifts, of one curve or of k curves at once. In a single curve a nan is
        a reading not taken. [m3/s]
    at_m : float or array_like, shape (j,)
        Lifts asked for. [m]

    Returns
    -------
    float or ndarray, shape (j,) or (j, k)
        Flow, nan below zero lift and above the highest reading. [m3/s]

    Raises
    ------
    ValueError
        If lifts do not rise or are negative, or a set of several curves has a gap.

    References
    ----------
    Fritsch, Butland, SIAM J. Sci. Stat. Comput. 5 (1984) 300-304.
    """
    at_m = np.asarray(at_m, float)
    curve = _curve(lift_m, flow_m3_s)
    if curve is None:
        return np.full(at_m.shape + np.shape(flow_m3_s)[1:], np.nan)[()]
    top_m = curve.x[-1]
    flow = curve(np.minimum(at_m, top_m))
    flow[(at_m < 0) | (at_m > top_m * _SAME_LIFT)] = np.nan
    return flow[()]


def mean_flow(lift_m: ArrayLike, flow_m3_s: ArrayLike, top_m: float) -> FloatOrArray:
    """Return the mean flow over lift, from the shut valve up to a lift.

    Parameters
    ----------
    lift_m : array_like, shape (n,)
        Lifts of the readings, rising. [m]
    flow_m3_s : array_like, shape (n,) or (n, k)
        Flow at these lifts, as for `interpolate`. [m3/s]
    top_m : float
        Highest lift that counts. [m]

    Returns
    -------
    float or ndarray, shape (k,)
        Mean flow, nan where the readings do not reach that lift. [m3/s]

    Raises
    ------
    ValueError
        If lifts do not rise or are negative, a set of several curves has a gap, or `top_m` is not positive.
    """
    require_positive(top_m=top_m)
    curve = _curve(lift_m, flow_m3_s)
    if curve is None or top_m > curve.x[-1] * _SAME_LIFT:
        return np.full(np.shape(flow_m3_s)[1:], np.nan)[()]
    return curve.integrate(0, min(top_m, curve.x[-1]))[()] / top_m


def time_mean_flow(lift_m: ArrayLike, flow_m3_s: ArrayLike, lift_path_m: ArrayLike) -> FloatOrArray:
    """Return the mean flow over the time that a valve is open.

    Above the highest reading the flow is held at that reading.

    Parameters
    ----------
    lift_m : array_like, shape (n,)
        Lifts of the readings, rising. [m]
    flow_m3_s : array_like, shape (n,) or (n, k)
        Flow at these lifts, as for `interpolate`. [m3/s]
    lift_path_m : array_like, shape (t,)
        Valve lift at equal steps of time from opening to closing, both included. [m]

    Returns
    -------
    float or ndarray, shape (k,)
        Mean flow, nan without any reading. [m3/s]

    Raises
    ------
    ValueError
        If lifts do not rise or are negative, or a set of several curves has a gap.
    """
    path = _checked_path(lift_path_m)
    curve = _curve(lift_m, flow_m3_s)
    if curve is None:
        return np.full(np.shape(flow_m3_s)[1:], np.nan)[()]
    return _time_steps(path.size) @ curve(np.minimum(path, curve.x[-1]))


@_remembered
def mean_weights(lift_m: ArrayLike, top_m: float) -> Array:
    """Return how much each reading weighs in the mean over lift.

    The weights are those of straight lines between the readings, starting at (0, 0): near
    enough to those of the curve to say how errors of single readings add up in its mean.

    Parameters
    ----------
    lift_m : array_like, shape (n,)
        Lifts of the readings, rising. [m]
    top_m : float
        Highest lift that counts. [m]

    Returns
    -------
    ndarray, shape (n,)
        Weights, nan where the readings do not reach that lift. [1]

    Raises
    ------
    ValueError
        If lifts do not rise or are negative, or `top_m` is not positive.
    """
    require_positive(top_m=top_m)
    nodes = _nodes(lift_m)
    if top_m > nodes[-1] * _SAME_LIFT:
        return np.full(np.shape(lift_m), np.nan)
    step = np.diff(nodes)
    covered = np.clip(top_m - nodes[:-1], 0, step)
    upper = covered**2 / (2 * step)
    weights = np.append(covered - upper, 0) + np.append(0, upper)
    return _of_readings(weights / top_m, lift_m)


@_remembered
def time_weights(lift_m: ArrayLike, lift_path_m: ArrayLike) -> Array:
    """Return how much each reading weighs in the mean over the time that a valve is open.

    As `mean_weights`, with the flow held above the highest reading.

    Parameters
    ----------
    lift_m : array_like, shape (n,)
        Lifts of the readings, rising. [m]
    lift_path_m : array_like, shape (t,)
        Valve lift at equal steps of time from opening to closing, both included. [m]

    Returns
    -------
    ndarray, shape (n,)
        Weights. [1]

    Raises
    ------
    ValueError
        If lifts do not rise or are negative.
    """
    path = _checked_path(lift_path_m)
    nodes = _nodes(lift_m)
    if nodes.size == 1:
        return np.zeros(np.shape(lift_m))
    path = np.minimum(path, nodes[-1])
    below = np.clip(np.searchsorted(nodes, path, side="right") - 1, 0, nodes.size - 2)
    upper = (path - nodes[below]) / np.diff(nodes)[below]
    time = _time_steps(path.size)
    weights = np.bincount(below, time * (1 - upper), nodes.size)
    weights += np.bincount(below + 1, time * upper, nodes.size)
    return _of_readings(weights, lift_m)


@_remembered
def _curve(lift_m: Array, flow_m3_s: Array) -> PchipInterpolator | None:
    if lift_m.ndim != 1 or flow_m3_s.shape[:1] != lift_m.shape:
        raise ValueError(
            f"flow_m3_s has shape {flow_m3_s.shape}. It must have one row for each of {lift_m.size} lifts."
        )
    missing = np.isnan(flow_m3_s)
    if missing.any():
        if flow_m3_s.ndim > 1:
            raise ValueError("flow_m3_s has a nan. Curves with gaps must be given one by one.")
        lift_m, flow_m3_s = lift_m[~missing], flow_m3_s[~missing]
    nodes = _nodes(lift_m)
    if nodes.size == 1:
        return None
    flow = flow_m3_s[lift_m > 0]
    return PchipInterpolator(nodes, np.concatenate((np.zeros((1, *flow.shape[1:])), flow)))


def _nodes(lift_m: Array) -> Array:
    """Return the lifts with the shut valve before them."""
    require_within(0, np.inf, lift_m=lift_m)
    if not np.all(np.diff(lift_m) > 0):
        raise ValueError(f"lift_m is {lift_m.tolist()}. Lifts must rise from each to the next.")
    return np.append(0, lift_m[lift_m > 0])


def _of_readings(node_weights: Array, lift_m: Array) -> Array:
    """Return the readings' weights from the nodes'; the shut valve, without error, has none."""
    weights = np.zeros(lift_m.shape)
    weights[lift_m > 0] = node_weights[1:]
    return weights


def _checked_path(lift_path_m: ArrayLike) -> Array:
    path = np.asarray(lift_path_m, float)
    require_within(0, np.inf, lift_path_m=path)
    return path


@lru_cache(maxsize=16)
def _time_steps(n: int) -> Array:
    """Return the trapezoidal weights of n equal steps in time; they add up to 1."""
    if n < 2:
        raise ValueError(f"lift_path_m has {n} values. It must have 2 or more.")
    steps = np.full(n, 1 / (n - 1))
    steps[[0, -1]] /= 2
    return steps
