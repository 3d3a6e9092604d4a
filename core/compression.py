"""Compression: what chamber work and a surfaced deck do to the ratio."""

from __future__ import annotations

import numpy as np

from core.checks import FloatOrArray, require_positive, require_within


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
        swept_m3=swept_m3,
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
