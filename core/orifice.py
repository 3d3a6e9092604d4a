"""Mass flow through a sharp-edged plate from its pressure drop, after ISO 5167-2:2003.

A plate in the wall of a plenum is the same formula with the diameter ratio going to zero.
That is an extrapolation: the standard begins at a ratio of 0.1.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from core.checks import require_positive, require_within
from core.constants import GAMMA

Array = NDArray[np.float64]
Taps = Literal["corner", "flange", "D and D/2"]

# ISO 5167-2:2003, 5.3.1: limits of use.
LEAST_PLATE_M = 0.0125
PIPE_M = (0.050, 1.0)
DIAMETER_RATIO = (0.10, 0.75)

_ROUNDS = 30  # the coefficient changes so little with the Reynolds number that a few would do


def is_covered(plate_diameter_m: float, pipe_diameter_m: float | None) -> bool:
    """Return whether the standard covers a plate of this size in this pipe.

    Parameters
    ----------
    plate_diameter_m : float
        Diameter of the hole. [m]
    pipe_diameter_m : float or None
        Inner diameter of the pipe, None for a plenum. [m]

    Returns
    -------
    bool
        False for any plate in a plenum: the ratio is below the least that is covered.

    References
    ----------
    ISO 5167-2:2003, 5.3.1.
    """
    if pipe_diameter_m is None:
        return False
    ratio = round(plate_diameter_m / pipe_diameter_m, 9)  # 20 mm in 200 mm is a tenth
    in_pipe = PIPE_M[0] <= pipe_diameter_m <= PIPE_M[1]
    return plate_diameter_m >= LEAST_PLATE_M and in_pipe and DIAMETER_RATIO[0] <= ratio <= DIAMETER_RATIO[1]


def discharge_coefficient(
    pipe_reynolds: ArrayLike, plate_diameter_m: float, pipe_diameter_m: float | None, taps: Taps = "corner"
) -> Array:
    """Return the discharge coefficient of a plate by the Reader-Harris/Gallagher equation.

    Parameters
    ----------
    pipe_reynolds : float or ndarray
        Reynolds number on the pipe's diameter; on the plate's for a plenum. [1]
    plate_diameter_m : float
        Diameter of the hole. [m]
    pipe_diameter_m : float or None
        Inner diameter of the pipe, None for a plenum. [m]
    taps : {"corner", "flange", "D and D/2"}
        Where the pressures are taken; of no account in a plenum.

    Returns
    -------
    float or ndarray
        Discharge coefficient. [1]

    Raises
    ------
    ValueError
        If a size or the Reynolds number is not positive, or the plate is wider than the pipe.

    References
    ----------
    ISO 5167-2:2003, 5.3.2.1, eq. 4; the term for pipes under 71.12 mm with it. Its stated
    uncertainty is 0.5 % up to a ratio of 0.6, more below 0.2 and above 0.6.
    """
    reynolds = np.asarray(pipe_reynolds, dtype=float)
    require_positive(pipe_reynolds=reynolds, plate_diameter_m=plate_diameter_m)
    if pipe_diameter_m is None:
        return 0.5961 + 0.000521 * (1e6 / reynolds) ** 0.7
    require_positive(**{"pipe_diameter_m - plate_diameter_m": pipe_diameter_m - plate_diameter_m})
    beta = plate_diameter_m / pipe_diameter_m
    pipe_mm = pipe_diameter_m * 1000
    upstream = {"corner": 0.0, "flange": 25.4 / pipe_mm, "D and D/2": 1.0}[taps]
    downstream = {"corner": 0.0, "flange": 25.4 / pipe_mm, "D and D/2": 0.47}[taps]
    a = (19000 * beta / reynolds) ** 0.8
    m = 2 * downstream / (1 - beta)
    coefficient = (
        0.5961
        + 0.0261 * beta**2
        - 0.216 * beta**8
        + 0.000521 * (1e6 * beta / reynolds) ** 0.7
        + (0.0188 + 0.0063 * a) * beta**3.5 * (1e6 / reynolds) ** 0.3
        + (0.043 + 0.080 * np.exp(-10 * upstream) - 0.123 * np.exp(-7 * upstream))
        * (1 - 0.11 * a)
        * beta**4
        / (1 - beta**4)
        - 0.031 * (m - 0.8 * m**1.1) * beta**1.3
    )
    if pipe_mm < 71.12:
        coefficient = coefficient + 0.011 * (0.75 - beta) * (2.8 - pipe_mm / 25.4)
    return coefficient


def expansibility(
    plate_drop_pa: ArrayLike, upstream_pa: ArrayLike, diameter_ratio: float, gamma: float = GAMMA
) -> Array:
    """Return the expansibility factor of a plate.

    Parameters
    ----------
    plate_drop_pa : float or ndarray
        Drop over the plate. [Pa]
    upstream_pa : float or ndarray
        Static pressure before the plate. [Pa]
    diameter_ratio : float
        Plate over pipe diameter, 0 in a plenum. [1]
    gamma : float
        Isentropic exponent. [1]

    Returns
    -------
    float or ndarray
        Factor, 1 at no drop. [1]

    Raises
    ------
    ValueError
        If the drop is negative or larger than the pressure before the plate.

    References
    ----------
    ISO 5167-2:2003, 5.3.2.2, eq. 5; valid down to a pressure ratio of 0.75.
    """
    drop = np.divide(plate_drop_pa, upstream_pa)
    require_within(0, 1, **{"plate_drop_pa / upstream_pa": drop})
    b4 = diameter_ratio**4
    return 1 - (0.351 + 0.256 * b4 + 0.93 * b4**2) * (1 - (1 - drop) ** (1 / gamma))


def plate_mass_flow(
    plate_drop_pa: ArrayLike,
    upstream_pa: ArrayLike,
    upstream_density_kg_m3: ArrayLike,
    viscosity_pa_s: ArrayLike,
    plate_diameter_m: float,
    pipe_diameter_m: float | None = None,
    taps: Taps = "corner",
) -> Array:
    """Return the mass flow through a plate.

    Parameters
    ----------
    plate_drop_pa : float or ndarray
        Drop over the plate. [Pa]
    upstream_pa : float or ndarray
        Static pressure before the plate. [Pa]
    upstream_density_kg_m3 : float or ndarray
        Density before the plate. [kg/m3]
    viscosity_pa_s : float or ndarray
        Dynamic viscosity. [Pa s]
    plate_diameter_m : float
        Diameter of the hole. [m]
    pipe_diameter_m : float or None
        Inner diameter of the pipe, None for a plenum. [m]
    taps : {"corner", "flange", "D and D/2"}
        Where the pressures are taken.

    Returns
    -------
    float or ndarray
        Mass flow, 0 at no drop. [kg/s]

    Raises
    ------
    ValueError
        As discharge_coefficient and expansibility.

    References
    ----------
    ISO 5167-1:2003, eq. 1, iterated on the Reynolds number as in its annex A.
    """
    require_positive(plate_diameter_m=plate_diameter_m, viscosity_pa_s=viscosity_pa_s)
    if pipe_diameter_m is not None:
        require_positive(**{"pipe_diameter_m - plate_diameter_m": pipe_diameter_m - plate_diameter_m})
    drop = np.asarray(plate_drop_pa, dtype=float)
    ratio = 0.0 if pipe_diameter_m is None else plate_diameter_m / pipe_diameter_m
    area = np.pi / 4 * plate_diameter_m**2
    ideal = area * np.sqrt(2 * drop * upstream_density_kg_m3 / (1 - ratio**4))
    ideal = ideal * expansibility(drop, upstream_pa, ratio)
    width = plate_diameter_m if pipe_diameter_m is None else pipe_diameter_m
    per_flow = 4 / (np.pi * width * np.asarray(viscosity_pa_s))
    flow = 0.6 * ideal
    moving = ideal > 0
    for _ in range(_ROUNDS):
        reynolds = np.where(moving, flow * per_flow, 1.0)
        flow = ideal * discharge_coefficient(reynolds, plate_diameter_m, pipe_diameter_m, taps)
    return np.where(moving, flow, 0.0)
