"""Air: its density and viscosity, the standard atmosphere, and what can pass an opening at most."""

from __future__ import annotations

import numpy as np

from core.checks import FloatOrArray, require_positive, require_within
from core.constants import (
    CELSIUS_ZERO_K,
    EARTH_RADIUS_M,
    GAMMA,
    R_DRY_AIR,
    STANDARD_GRAVITY_M_S2,
    STANDARD_PRESSURE_PA,
    STANDARD_TEMPERATURE_K,
    TROPOSPHERE_LAPSE_K_M,
)
from core.job import SIDES, Side

# Wide of anything on a bench; outside it the polynomials of CIPM-2007 mean nothing. A
# temperature in degC that was taken for kelvin falls outside as well.
AIR_TEMPERATURE_RANGE_K = (200.0, 400.0)

CRITICAL_RATIO = (2 / (GAMMA + 1)) ** (GAMMA / (GAMMA - 1))
"""Pressure ratio at and below which an isentropic flow is choked [1]."""

# CIPM-2007, appendix: molar gas constant [J/(mol K)], molar mass of dry air with a mole fraction
# of 0.0004 of CO2 and of water [kg/mol].
_R, _M_DRY, _M_WATER = 8.314472, 0.02896546, 0.01801528


def vapour_mole_fraction(
    pressure_pa: FloatOrArray, temperature_k: FloatOrArray, relative_humidity: FloatOrArray
) -> FloatOrArray:
    """Return the mole fraction of water vapour in moist air.

    Air that is warmed, throttled or compressed keeps this fraction as long as no water
    condenses, while its relative humidity changes.

    Parameters
    ----------
    pressure_pa : float or ndarray
        Static pressure. [Pa]
    temperature_k : float or ndarray
        Temperature, 200 to 400. [K]
    relative_humidity : float or ndarray
        Relative humidity, 0 to 1. [1]

    Returns
    -------
    float or ndarray
        Mole fraction of water vapour. [1]

    Raises
    ------
    ValueError
        If a pressure is not positive, or a temperature or humidity is out of range.

    References
    ----------
    Picard, Davis, Glaeser, Fujii, Metrologia 45 (2008) 149-155 (CIPM-2007), appendix.
    """
    require_positive(pressure_pa=pressure_pa)
    _require_air_temperature(temperature_k)
    require_within(0, 1, relative_humidity=relative_humidity)
    t_c = temperature_k - CELSIUS_ZERO_K
    saturation_pa = np.exp(
        1.2378847e-5 * temperature_k**2
        - 1.9121316e-2 * temperature_k
        + 33.93711047
        - 6343.1645 / temperature_k
    )
    enhancement = 1.00062 + 3.14e-8 * pressure_pa + 5.6e-7 * t_c**2
    return relative_humidity * enhancement * saturation_pa / pressure_pa


def moist_air_density_of_ratio(
    pressure_pa: FloatOrArray, temperature_k: FloatOrArray, vapour_fraction: FloatOrArray
) -> FloatOrArray:
    """Return the density of moist air whose water content is known as a mole fraction.

    Parameters
    ----------
    pressure_pa : float or ndarray
        Static pressure. [Pa]
    temperature_k : float or ndarray
        Temperature, 200 to 400. [K]
    vapour_fraction : float or ndarray
        Mole fraction of water vapour, see `vapour_mole_fraction`. [1]

    Returns
    -------
    float or ndarray
        Density. [kg/m3]

    Raises
    ------
    ValueError
        If a pressure is not positive, or a temperature or fraction is out of range.

    References
    ----------
    Picard, Davis, Glaeser, Fujii, Metrologia 45 (2008) 149-155 (CIPM-2007), eq. 1 and its
    appendix, with a mole fraction of CO2 of 0.0004. Stated range: 60 to 110 kPa, 15 to 27 degC.
    """
    require_positive(pressure_pa=pressure_pa)
    _require_air_temperature(temperature_k)
    require_within(0, 1, vapour_fraction=vapour_fraction)
    t_c = temperature_k - CELSIUS_ZERO_K
    p_t = pressure_pa / temperature_k
    compressibility = (
        1
        - p_t
        * (
            1.58123e-6
            - 2.9331e-8 * t_c
            + 1.1043e-10 * t_c**2
            + (5.707e-6 - 2.051e-8 * t_c) * vapour_fraction
            + (1.9898e-4 - 2.376e-6 * t_c) * vapour_fraction**2
        )
        + p_t**2 * (1.83e-11 - 0.765e-8 * vapour_fraction**2)
    )
    return p_t * _M_DRY / (compressibility * _R) * (1 - vapour_fraction * (1 - _M_WATER / _M_DRY))


def moist_air_density(
    pressure_pa: FloatOrArray, temperature_k: FloatOrArray, relative_humidity: FloatOrArray
) -> FloatOrArray:
    """Return the density of moist air.

    Parameters
    ----------
    pressure_pa : float or ndarray
        Static pressure. [Pa]
    temperature_k : float or ndarray
        Temperature, 200 to 400. [K]
    relative_humidity : float or ndarray
        Relative humidity, 0 to 1. [1]

    Returns
    -------
    float or ndarray
        Density. [kg/m3]

    Raises
    ------
    ValueError
        If a pressure is not positive, or a temperature or humidity is out of range.

    References
    ----------
    Picard, Davis, Glaeser, Fujii, Metrologia 45 (2008) 149-155 (CIPM-2007).
    """
    fraction = vapour_mole_fraction(pressure_pa, temperature_k, relative_humidity)
    return moist_air_density_of_ratio(pressure_pa, temperature_k, fraction)


def dry_air_viscosity(temperature_k: FloatOrArray) -> FloatOrArray:
    """Return the dynamic viscosity of dry air.

    Parameters
    ----------
    temperature_k : float or ndarray
        Temperature. [K]

    Returns
    -------
    float or ndarray
        Dynamic viscosity, about 0.4 % low near room temperature. [Pa s]

    Raises
    ------
    ValueError
        If a temperature is not positive.

    References
    ----------
    Sutherland, as in ISO 2533:1975.
    """
    require_positive(temperature_k=temperature_k)
    return 1.458e-6 * temperature_k**1.5 / (temperature_k + 110.4)


def standard_barometer(altitude_m: FloatOrArray) -> FloatOrArray:
    """Return the station pressure of the standard atmosphere at an altitude.

    It stands in for a barometer that was not read; weather moves the true pressure by some percent.

    Parameters
    ----------
    altitude_m : float or ndarray
        Geometric altitude above sea level, -5000 to 11000. [m]

    Returns
    -------
    float or ndarray
        Static pressure. [Pa]

    Raises
    ------
    ValueError
        If an altitude is out of range.

    References
    ----------
    ISO 2533:1975.
    """
    require_within(-5000, 11000, altitude_m=altitude_m)
    geopotential_m = EARTH_RADIUS_M * altitude_m / (EARTH_RADIUS_M + altitude_m)
    exponent = STANDARD_GRAVITY_M_S2 / (R_DRY_AIR * TROPOSPHERE_LAPSE_K_M)
    cooling = 1 - TROPOSPHERE_LAPSE_K_M * geopotential_m / STANDARD_TEMPERATURE_K
    return STANDARD_PRESSURE_PA * cooling**exponent


def incompressible_velocity(pressure_drop_pa: FloatOrArray, density_kg_m3: FloatOrArray) -> FloatOrArray:
    """Return the velocity that a pressure drop gives to a fluid of constant density.

    Parameters
    ----------
    pressure_drop_pa : float or ndarray
        Pressure drop, 0 or more. [Pa]
    density_kg_m3 : float or ndarray
        Density. [kg/m3]

    Returns
    -------
    float or ndarray
        Velocity. [m/s]

    Raises
    ------
    ValueError
        If a drop is negative or a density is not positive.

    References
    ----------
    Bernoulli's equation.
    """
    require_within(0, np.inf, pressure_drop_pa=pressure_drop_pa)
    require_positive(density_kg_m3=density_kg_m3)
    return np.sqrt(2 * pressure_drop_pa / density_kg_m3)


def isentropic_flux(
    upstream_pa: FloatOrArray, upstream_density_kg_m3: FloatOrArray, pressure_drop_pa: FloatOrArray
) -> FloatOrArray:
    """Return the greatest mass flow per area that air can have through an opening.

    Parameters
    ----------
    upstream_pa : float or ndarray
        Stagnation pressure before the opening. [Pa]
    upstream_density_kg_m3 : float or ndarray
        Density before the opening. [kg/m3]
    pressure_drop_pa : float or ndarray
        Pressure drop over the opening, 0 to the pressure before it; beyond the critical drop
        (47.2 % of that pressure) the flow is choked and rises no further. [Pa]

    Returns
    -------
    float or ndarray
        Mass flux. [kg/(m2 s)]

    Raises
    ------
    ValueError
        If a pressure or density is not positive, or a drop is negative or more than the pressure.

    References
    ----------
    Heywood, Internal Combustion Engine Fundamentals (1988), appendix C, C.8, C.9 (from memory).
    """
    require_positive(upstream_pa=upstream_pa, upstream_density_kg_m3=upstream_density_kg_m3)
    drop = np.divide(pressure_drop_pa, upstream_pa)
    require_within(0, 1, **{"pressure_drop_pa / upstream_pa": drop})
    # log1p and expm1 keep all digits at small drops, where 1 - r**k would lose them.
    log_ratio = np.log1p(-np.minimum(drop, 1 - CRITICAL_RATIO))
    head = -np.expm1(log_ratio * (GAMMA - 1) / GAMMA) * np.exp(log_ratio * 2 / GAMMA)
    return np.sqrt(2 * GAMMA / (GAMMA - 1) * upstream_pa * upstream_density_kg_m3 * head)


def ideal_velocity(
    side: Side, pressure_drop_pa: FloatOrArray, ambient_pa: FloatOrArray, density_kg_m3: FloatOrArray
) -> FloatOrArray:
    """Return the volume flow per area, at the inlet's density, of an isentropic flow on a bench.

    An intake is drawn from ambient pressure, an exhaust is blown from above it.

    Parameters
    ----------
    side : {"intake", "exhaust"}
        Side of the head.
    pressure_drop_pa : float or ndarray
        Pressure drop over the piece. [Pa]
    ambient_pa : float or ndarray
        Ambient pressure. [Pa]
    density_kg_m3 : float or ndarray
        Density at the inlet of the piece. [kg/m3]

    Returns
    -------
    float or ndarray
        Volume flow per area. [m/s]

    Raises
    ------
    ValueError
        If the side is not known, a pressure or density is not positive, or a drop is out of range.

    References
    ----------
    Heywood, Internal Combustion Engine Fundamentals (1988), appendix C, C.8, C.9 (from memory).
    """
    if side not in SIDES:
        raise ValueError(f"side is {side!r}. It must be one of {', '.join(SIDES)}.")
    upstream_pa = ambient_pa if side == "intake" else np.add(ambient_pa, pressure_drop_pa)
    return isentropic_flux(upstream_pa, density_kg_m3, pressure_drop_pa) / density_kg_m3


def _require_air_temperature(temperature_k: FloatOrArray) -> None:
    require_within(*AIR_TEMPERATURE_RANGE_K, temperature_k=temperature_k)
