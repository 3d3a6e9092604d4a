"""Compression: what chamber work and a surfaced deck do to the ratio, and what the ratio is worth."""

from __future__ import annotations

import numpy as np

from core.checks import FloatOrArray, require_positive, require_within

GAMMAS = (1.25, 1.30, 1.35)
"""Ratio of specific heats of a burning charge, least, usual and greatest [1]. Heywood (1988), from memory."""


def cylinder_volume(bore_m: FloatOrArray, stroke_m: FloatOrArray) -> FloatOrArray:
    """Return the volume that a piston sweeps, or of any other round disc such as a gasket's bore.

    Parameters
    ----------
    bore_m : float or ndarray
        Diameter. [m]
    stroke_m : float or ndarray
        Stroke or height. [m]

    Returns
    -------
    float or ndarray
        Volume. [m3]

    Raises
    ------
    ValueError
        If the bore is not positive or the stroke is negative.
    """
    require_positive(bore_m=bore_m)
    require_within(0, np.inf, stroke_m=stroke_m)
    return np.pi / 4 * np.square(bore_m) * stroke_m


def compression_ratio(swept_m3: FloatOrArray, clearance_m3: FloatOrArray) -> FloatOrArray:
    """Return the geometric compression ratio.

    Parameters
    ----------
    swept_m3 : float or ndarray
        Swept volume of one cylinder. [m3]
    clearance_m3 : float or ndarray
        All that is left above the piston at top dead centre. [m3]

    Returns
    -------
    float or ndarray
        Compression ratio. [1]

    Raises
    ------
    ValueError
        If a volume is not positive.
    """
    require_positive(swept_m3=swept_m3, clearance_m3=clearance_m3)
    return 1 + np.divide(swept_m3, clearance_m3)


def ratio_with_chamber(
    known_ratio: FloatOrArray,
    swept_m3: FloatOrArray,
    known_chamber_m3: FloatOrArray,
    chamber_m3: FloatOrArray,
) -> FloatOrArray:
    """Return the compression ratio after the chamber alone has changed.

    Parameters
    ----------
    known_ratio : float or ndarray
        Compression ratio with the known chamber. [1]
    swept_m3 : float or ndarray
        Swept volume of one cylinder. [m3]
    known_chamber_m3 : float or ndarray
        Chamber volume at that ratio. [m3]
    chamber_m3 : float or ndarray
        Chamber volume now. [m3]

    Returns
    -------
    float or ndarray
        Compression ratio now. [1]

    Raises
    ------
    ValueError
        If a volume is not positive, the known ratio is not above 1, or no clearance is left.
    """
    require_positive(
        known_chamber_m3=known_chamber_m3,
        chamber_m3=chamber_m3,
        **{"known_ratio - 1": np.subtract(known_ratio, 1)},
    )
    known_clearance_m3 = np.divide(swept_m3, np.subtract(known_ratio, 1))
    return compression_ratio(swept_m3, known_clearance_m3 + np.subtract(chamber_m3, known_chamber_m3))


def surfacing_volume(plan_area_m2: FloatOrArray, depth_m: FloatOrArray) -> FloatOrArray:
    """Return the chamber volume that surfacing a deck takes away, for small depths.

    Parameters
    ----------
    plan_area_m2 : float or ndarray
        Plan area of one chamber at the deck. [m2]
    depth_m : float or ndarray
        Depth of metal taken off. [m]

    Returns
    -------
    float or ndarray
        Volume. [m3]

    Raises
    ------
    ValueError
        If the area is not positive or the depth is negative.
    """
    require_positive(plan_area_m2=plan_area_m2)
    require_within(0, np.inf, depth_m=depth_m)
    return np.multiply(plan_area_m2, depth_m)


def surfacing_depth(plan_area_m2: float, volume_m3: float) -> float:
    """Return how much metal off a deck takes a volume out of its chamber: `surfacing_volume` turned round.

    Parameters
    ----------
    plan_area_m2 : float
        Plan area of one chamber at the deck. [m2]
    volume_m3 : float
        Volume to take away. [m3]

    Returns
    -------
    float
        Depth. [m]

    Raises
    ------
    ValueError
        If the area is not positive or the volume is negative.
    """
    require_positive(plan_area_m2=plan_area_m2)
    require_within(0, np.inf, volume_m3=volume_m3)
    return volume_m3 / plan_area_m2


def otto_efficiency(ratio: FloatOrArray, gamma: FloatOrArray) -> FloatOrArray:
    """Return the efficiency of the ideal Otto cycle.

    It serves as a relative factor between two ratios; a real engine's efficiency is far lower.

    Parameters
    ----------
    ratio : float or ndarray
        Compression ratio, 1 or more. [1]
    gamma : float or ndarray
        Ratio of specific heats of the charge, above 1; 1.3 is usual, 1.25 to 1.35 its range. [1]

    Returns
    -------
    float or ndarray
        Efficiency. [1]

    Raises
    ------
    ValueError
        If the ratio is less than 1 or gamma is not above 1.

    References
    ----------
    Heywood, Internal Combustion Engine Fundamentals (1988), eq. 5.31 (number from memory).
    """
    require_within(1, np.inf, ratio=ratio)
    require_positive(**{"gamma - 1": np.subtract(gamma, 1)})
    return 1 - np.power(ratio, 1 - np.asarray(gamma, float))


def otto_effect(ratio: float, base_ratio: float) -> tuple[float, float]:
    """Return what one ratio gives over another, as a range over what gamma may be.

    Parameters
    ----------
    ratio : float
        Compression ratio now. [1]
    base_ratio : float
        Compression ratio to compare with, above 1. [1]

    Returns
    -------
    tuple of (float, float)
        Least and greatest relative change of the ideal efficiency, and so of power at the same
        breathing; 0 where the ratios are the same, below 0 where compression was lost. [1]

    Raises
    ------
    ValueError
        If a ratio is not above 1.
    """
    require_positive(**{"ratio - 1": ratio - 1, "base_ratio - 1": base_ratio - 1})
    changes = [float(otto_efficiency(ratio, g) / otto_efficiency(base_ratio, g)) - 1 for g in GAMMAS]
    return min(changes), max(changes)
