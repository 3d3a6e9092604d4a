"""How fast the charge burns: Wiebe's function."""

from __future__ import annotations

import numpy as np

from core.checks import FloatOrArray, require_positive

WIEBE_A, WIEBE_M = 5.0, 2.0


def burned_share(progress: FloatOrArray) -> FloatOrArray:
    """Return the burned mass fraction at a share of the burn duration.

    Parameters
    ----------
    progress : float or ndarray
        (angle - start) / duration; before 0 nothing, past 1 everything is burned. [1]

    Returns
    -------
    float or ndarray
        1 - exp(-a y^(m+1)) with a = 5, m = 2, over its value at y = 1, so that all of the
        charge burns. [1]

    References
    ----------
    Heywood (1988), eq. 9.30 (number from memory).
    """
    y = np.clip(progress, 0.0, 1.0)
    return np.expm1(-WIEBE_A * y ** (WIEBE_M + 1)) / np.expm1(-WIEBE_A)


def burn_start(centre_rad: FloatOrArray, duration_rad: FloatOrArray) -> FloatOrArray:
    """Return the crank angle at which burning starts.

    Parameters
    ----------
    centre_rad : float or ndarray
        Crank angle at which half of the charge is burned. [rad]
    duration_rad : float or ndarray
        From start to end. [rad]

    Returns
    -------
    float or ndarray
        Crank angle. [rad]

    Raises
    ------
    ValueError
        If the duration is not positive.

    References
    ----------
    `burned_share`, solved for one half.
    """
    require_positive(duration_rad=duration_rad)
    half = (-np.log1p(0.5 * np.expm1(-WIEBE_A)) / WIEBE_A) ** (1 / (WIEBE_M + 1))
    return centre_rad - half * np.asarray(duration_rad)
