"""Power that a dynamometer gave, corrected for the air of its day, and what it is in other air.

Each standard multiplies the observed power by a factor that is 1 in its own reference air.
So a corrected power is the power in that reference air, and the same factor, turned round,
tells it in any other air: that of another standard, or that of the breathing model.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite, sqrt

from core.air import vapour_mole_fraction
from core.constants import CELSIUS_ZERO_K, INCH_MERCURY_PA, STANDARD_PRESSURE_PA, STANDARD_TEMPERATURE_K

STANDARDS = ("SAE J1349", "ISO 1585", "DIN 70020", "SAE J607")


@dataclass(frozen=True)
class EngineAir:
    """The air that an engine draws.

    Attributes
    ----------
    pressure_pa : float
        Barometer at the station, with the water vapour in it. [Pa]
    temperature_k : float
        Temperature at the inlet. [K]
    humidity : float
        Relative humidity, 0 to 1. [1]
    """

    pressure_pa: float
    temperature_k: float
    humidity: float = 0.0


@dataclass(frozen=True)
class _Limits:
    """What a standard allows: a factor, a temperature and a pressure, each from least to greatest."""

    factor: tuple[float, float]
    temperature_c: tuple[float, float]
    pressure_kpa: tuple[float, float]  # of dry air; DIN 70020: the barometer
    source: str


# Each standard's own air: its factor is 1 there.
REFERENCE_AIR = {
    "SAE J1349": EngineAir(99_000.0, CELSIUS_ZERO_K + 25),
    "ISO 1585": EngineAir(99_000.0, CELSIUS_ZERO_K + 25),
    "DIN 70020": EngineAir(101_300.0, CELSIUS_ZERO_K + 20),
    "SAE J607": EngineAir(29.92 * INCH_MERCURY_PA, CELSIUS_ZERO_K + 28 / 1.8),
}

# What the breathing model draws: a standard day, from which its intake air is warmed.
MODEL_AIR = EngineAir(STANDARD_PRESSURE_PA, STANDARD_TEMPERATURE_K)

# The reference airs of all four lie inside the limits of each, so every conversion between
# them is one that both standards would allow.
_LIMITS = {
    "SAE J1349": _Limits((0.93, 1.07), (15.0, 35.0), (90.0, 105.0), "SAE J1349, from memory"),
    "ISO 1585": _Limits((0.93, 1.07), (15.0, 35.0), (80.0, 110.0), "ISO 1585, from memory"),
    "DIN 70020": _Limits((0.93, 1.07), (5.0, 40.0), (80.0, 110.0), "a judgement, none is known"),
    "SAE J607": _Limits((0.93, 1.07), (5.0, 40.0), (80.0, 110.0), "a judgement, none is known"),
}


def formula_factor(standard: str, air: EngineAir) -> float:
    """Return a standard's factor as its formula gives it, inside its limits or not.

    Parameters
    ----------
    standard : str
        One of ``STANDARDS``.
    air : EngineAir
        Air of the day on the dynamometer.

    Returns
    -------
    float
        Corrected over observed power. [1]

    Raises
    ------
    ValueError
        If the standard is not known, or the air is none that can be breathed.

    References
    ----------
    SAE J1349 (1990): 1.18·(990/p)·√((t + 273)/298) − 0.18, p dry air in hPa, which takes a
    mechanical efficiency of 85 %. ISO 1585: (99/p)^1.2·((t + 273)/298)^0.6, p dry air in kPa.
    DIN 70020: (1013/p)·√((t + 273)/293), p the barometer in hPa. SAE J607:
    (29.92/p)·√((t + 460)/520), p dry air in inHg, t in degF. Formulas from memory, as they
    are usually printed, with their rounded zeros of temperature.
    """
    celsius = air.temperature_k - CELSIUS_ZERO_K
    dry_pa = _dry_pressure(air)
    if standard == "SAE J1349":
        return 1.18 * (99_000.0 / dry_pa) * sqrt((celsius + 273) / 298) - 0.18
    if standard == "ISO 1585":
        return (99_000.0 / dry_pa) ** 1.2 * ((celsius + 273) / 298) ** 0.6
    if standard == "DIN 70020":
        return 101_300.0 / air.pressure_pa * sqrt((celsius + 273) / 293)
    if standard == "SAE J607":
        return 29.92 * INCH_MERCURY_PA / dry_pa * sqrt((1.8 * celsius + 32 + 460) / 520)
    raise ValueError(f"The standard {standard!r} is not known. Allowed: {', '.join(STANDARDS)}.")


def correction_factor(standard: str, air: EngineAir) -> float:
    """Return a standard's factor, and refuse air to which it does not apply.

    Parameters
    ----------
    standard : str
        One of ``STANDARDS``.
    air : EngineAir
        Air of the day on the dynamometer.

    Returns
    -------
    float
        Corrected over observed power. [1]

    Raises
    ------
    ValueError
        If the standard is not known, or the air or the factor lies outside its limits.

    References
    ----------
    Limits: beside each standard in this module.
    """
    factor = formula_factor(standard, air)
    limits = _LIMITS[standard]
    celsius = air.temperature_k - CELSIUS_ZERO_K
    if standard == "DIN 70020":
        pressure, name = air.pressure_pa / 1e3, "barometer"
    else:
        pressure, name = _dry_pressure(air) / 1e3, "dry air pressure"
    for what, value, (low, high), unit in (
        ("air temperature", celsius, limits.temperature_c, " degC"),
        (name, pressure, limits.pressure_kpa, " kPa"),
        ("factor", factor, limits.factor, ""),
    ):
        # a hair of room, so that a limit itself is inside whatever its unit was
        if not low - 1e-9 <= value <= high + 1e-9:
            raise ValueError(
                f"{standard} does not apply: the {what} is {value:.4g}{unit}. "
                f"Allowed: {low:g} to {high:g}{unit} ({limits.source})."
            )
    return factor


def power_in_air(power_w: float, standard: str, air: EngineAir) -> float:
    """Return what a corrected power is in other air.

    Parameters
    ----------
    power_w : float
        Power, corrected to the standard. [W]
    standard : str
        One of ``STANDARDS``.
    air : EngineAir
        The other air.

    Returns
    -------
    float
        Power that the same engine gives in that air. [W]

    Raises
    ------
    ValueError
        If the power is not positive, or the standard does not reach that air.
    """
    if not (isfinite(power_w) and power_w > 0):
        raise ValueError(f"A power of {power_w:g} W is not possible. It must be above 0.")
    return power_w / correction_factor(standard, air)


def converted(power_w: float, given: str, wanted: str) -> float:
    """Return a corrected power as another standard would state it.

    Parameters
    ----------
    power_w : float
        Power, corrected to the standard ``given``. [W]
    given, wanted : str
        Two of ``STANDARDS``.

    Returns
    -------
    float
        Power, corrected to the standard ``wanted``. [W]

    Raises
    ------
    ValueError
        If the power is not positive or a standard is not known.

    Notes
    -----
    The given figure is the power in the given standard's own air; the wanted factor corrects
    it from there.
    """
    if given not in REFERENCE_AIR:
        raise ValueError(f"The standard {given!r} is not known. Allowed: {', '.join(STANDARDS)}.")
    if not (isfinite(power_w) and power_w > 0):
        raise ValueError(f"A power of {power_w:g} W is not possible. It must be above 0.")
    if given == wanted:
        return power_w
    return power_w * correction_factor(wanted, REFERENCE_AIR[given])


def _dry_pressure(air: EngineAir) -> float:
    """Return the pressure of the air without its water vapour."""
    if not (isfinite(air.pressure_pa) and air.pressure_pa > 0):
        raise ValueError(f"An air pressure of {air.pressure_pa:g} Pa is not possible. It must be above 0.")
    share = vapour_mole_fraction(air.pressure_pa, air.temperature_k, air.humidity)
    return air.pressure_pa * (1 - float(share))
