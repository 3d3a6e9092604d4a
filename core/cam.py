"""The cam: how high it lifts the valve, for how long, and along which path.

A lobe that is known from its card is taken as L = L_max (1 - x^2)^2, x from -1 to 1 over
the open period: an assumed shape, smooth at both ends like a real one.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from core.checks import require_positive
from core.job import CamLobe

Array = NDArray[np.float64]

# A lift table may start at a checking height; one that starts higher has lost its flanks (judgement).
_SHUT_SHARE = 0.1


def net_lift(lobe: CamLobe) -> float | None:
    """Return the highest lift of the valve, after rocker ratio and lash.

    Parameters
    ----------
    lobe : CamLobe
        Cam lobe from its card, or a table of valve lift.

    Returns
    -------
    float or None
        Lift at the valve, None where the lobe states none. [m]

    Raises
    ------
    ValueError
        If nothing is left of the lift, or the table is no lift table.
    """
    if lobe.table:
        return float(_open_table(lobe)[1].max())
    if lobe.lift_m is None:
        return None
    lift_m = lobe.lift_m * lobe.rocker_ratio - lobe.lash_m
    require_positive(**{"cam lift x rocker ratio - lash, in m,": lift_m})
    return lift_m


def duration_lift(lobe: CamLobe) -> float | None:
    """Return the lift at the valve between which the card's duration was taken.

    Parameters
    ----------
    lobe : CamLobe
        Cam lobe from its card.

    Returns
    -------
    float or None
        Lift at the valve, None where the card states none. [m]

    Raises
    ------
    ValueError
        If that lift is not below the net lift, or the lash is more than it.
    """
    if lobe.at_lift_m is None:
        return None
    at_m = lobe.at_lift_m
    if lobe.at == "tappet":
        at_m = at_m * lobe.rocker_ratio - lobe.lash_m
    if at_m < 0:
        raise ValueError(
            f"The duration's lift at the valve is {at_m * 1e3:.3g} mm: {lobe.at_lift_m * 1e3:.3g} mm at the "
            f"{lobe.at} is taken up by {lobe.lash_m * 1e3:.3g} mm of lash. It must be 0 or more."
        )
    lift_m = net_lift(lobe)
    if lift_m is not None and at_m >= lift_m:
        raise ValueError(
            f"The duration was taken at {at_m * 1e3:.4g} mm of valve lift. "
            f"That must be below the net lift, {lift_m * 1e3:.4g} mm."
        )
    return at_m


def seat_duration(lobe: CamLobe) -> float | None:
    """Return the crank angle over which the valve is off its seat.

    Parameters
    ----------
    lobe : CamLobe
        Cam lobe from its card, or a table of valve lift.

    Returns
    -------
    float or None
        Crank angle, None where lift, duration or the duration's lift is not stated. [rad]

    Raises
    ------
    ValueError
        If the duration is not positive, or as `net_lift` and `duration_lift`.
    """
    if lobe.table:
        angle_rad, _ = _open_table(lobe)
        return float(angle_rad[-1] - angle_rad[0])
    lift_m, at_m = net_lift(lobe), duration_lift(lobe)
    if lift_m is None or at_m is None or lobe.duration_rad is None:
        return None
    require_positive(duration_rad=lobe.duration_rad)
    return float(lobe.duration_rad / np.sqrt(1 - np.sqrt(at_m / lift_m)))


def lift_path(lobe: CamLobe, n: int = 721) -> Array | None:
    """Return the valve's lift at equal steps of crank angle, from opening to closing.

    The duration only stretches the path in time, so it need not be known.

    Parameters
    ----------
    lobe : CamLobe
        Cam lobe from its card, or a table of valve lift.
    n : int
        Number of steps, both ends included.

    Returns
    -------
    ndarray, shape (n,), or None
        Lift at the valve, None where the lobe states none. [m]

    Raises
    ------
    ValueError
        As `net_lift`.
    """
    lift_m = net_lift(lobe)
    if lift_m is None:
        return None
    if not lobe.table:
        return lift_m * _shape(np.linspace(-1, 1, n))
    angle_rad, table_m = _open_table(lobe)
    return np.interp(np.linspace(angle_rad[0], angle_rad[-1], n), angle_rad, table_m)


def lift_at(lobe: CamLobe, crank_angle_rad: ArrayLike) -> Array | None:
    """Return the valve's lift at a crank angle.

    Parameters
    ----------
    lobe : CamLobe
        Cam lobe from its card, or a table of valve lift.
    crank_angle_rad : float or ndarray
        Crank angle, from the lobe's centreline; with a table, in the table's own angle. [rad]

    Returns
    -------
    ndarray or None
        Lift at the valve, None where lift, duration or the duration's lift is not stated. [m]

    Raises
    ------
    ValueError
        As `seat_duration`.
    """
    if lobe.table:
        return np.interp(crank_angle_rad, *_open_table(lobe), left=0.0, right=0.0)
    duration_rad = seat_duration(lobe)
    if duration_rad is None:
        return None
    return net_lift(lobe) * _shape(np.clip(np.divide(crank_angle_rad, duration_rad / 2), -1, 1))


def _shape(x: Array) -> Array:
    return (1 - x**2) ** 2


def _open_table(lobe: CamLobe) -> tuple[Array, Array]:
    """Return angle and lift of a table from where it opens to where it closes."""
    angle_rad, lift_m = np.array(lobe.table, float).T
    if not np.all(np.diff(angle_rad) > 0):
        raise ValueError("The lift table's crank angles must rise from each row to the next.")
    lifted = np.flatnonzero(lift_m > 0)
    if lifted.size == 0:
        raise ValueError("The lift table never lifts the valve. It needs lifts above 0.")
    opened = slice(max(lifted[0] - 1, 0), lifted[-1] + 2)
    angle_rad, lift_m = angle_rad[opened], lift_m[opened]
    for end, inner in ((0, 1), (-1, -2)):
        if lift_m[end] < 0:  # below the seat: the valve opens where the line to the next row crosses zero
            slope = (lift_m[inner] - lift_m[end]) / (angle_rad[inner] - angle_rad[end])
            angle_rad[end] -= lift_m[end] / slope
    lift_m = np.maximum(lift_m, 0)
    ends_m = max(lift_m[0], lift_m[-1])
    if ends_m > _SHUT_SHARE * lift_m.max():
        raise ValueError(
            f"The lift table ends with the valve {ends_m * 1e3:.3g} mm open. "
            "It must hold the whole lobe, from the valve's seat to its seat."
        )
    return angle_rad, lift_m
