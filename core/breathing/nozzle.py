"""Flow through a valve: isentropic, both ways, choked where it chokes; made cheap by a polynomial.

The mass flux is sqrt(p rho psi2(s)) with p and rho upstream and s = 1 - p_down / p_up, and
psi2(s) = 2 gamma / (gamma - 1) (r^(2/gamma) - r^((gamma+1)/gamma)), r = 1 - s. Its root is
infinitely steep at s = 0, which no explicit step can follow: s is taken out of psi2, and
sqrt(s) is replaced by s / (s^2 + e^2)^(1/4), which is the same but for s near e.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.polynomial import Chebyshev, Polynomial

from core.checks import FloatOrArray

SMOOTH = 2e-3
"""e: share of the upstream pressure below which the root of the pressure drop is smoothed."""

_DEGREE = 3  # psi2 / s to 4e-5 up to choking, the flux to half of that


def choking_share(gamma: float) -> float:
    """Return the pressure drop over the upstream pressure at which a flow chokes.

    Parameters
    ----------
    gamma : float
        Ratio of specific heats. [1]

    Returns
    -------
    float
        Share of the upstream pressure. [1]

    References
    ----------
    Heywood (1988), appendix C, eq. C.10 (number from memory).
    """
    return 1 - (2 / (gamma + 1)) ** (gamma / (gamma - 1))


def squared_flux_over_share(share: FloatOrArray, gamma: float) -> FloatOrArray:
    """Return psi2(s) / s, exactly, for s between 0 and choking.

    Parameters
    ----------
    share : float or ndarray
        Pressure drop over the upstream pressure, above 0. [1]
    gamma : float
        Ratio of specific heats. [1]

    Returns
    -------
    float or ndarray
        2 at s = 0, where the flow is incompressible. [1]

    References
    ----------
    Heywood (1988), appendix C, eq. C.8 (number from memory).
    """
    log_ratio = np.log1p(-np.asarray(share))
    head = -np.expm1(log_ratio * (gamma - 1) / gamma) * np.exp(2 / gamma * log_ratio)
    return 2 * gamma / (gamma - 1) * head / share


@lru_cache(maxsize=8)
def flux_polynomial(gamma: float) -> tuple[float, ...]:
    """Return the coefficients of psi2(s) / s, highest power first.

    Parameters
    ----------
    gamma : float
        Ratio of specific heats. [1]

    Returns
    -------
    tuple of float
        For Horner's scheme.

    References
    ----------
    Chebyshev interpolation of `squared_flux_over_share`.
    """
    limits = [0.0, choking_share(gamma)]
    fitted = Chebyshev.interpolate(squared_flux_over_share, _DEGREE, limits, args=(gamma,))
    return tuple(fitted.convert(kind=Polynomial).coef[::-1].tolist())
