"""Constants with their sources, and the standard airs that a flow may be stated in."""

from __future__ import annotations

from dataclasses import dataclass

GAMMA = 1.4
"""Ratio of specific heats of air [1]. ISO 2533:1975."""

R_DRY_AIR = 287.05287
"""Specific gas constant of dry air [J/(kg K)]. ISO 2533:1975."""

STANDARD_PRESSURE_PA = 101325.0
"""Standard pressure at sea level [Pa]. ISO 2533:1975."""

STANDARD_TEMPERATURE_K = 288.15
"""Standard temperature at sea level [K]. ISO 2533:1975."""

STANDARD_GRAVITY_M_S2 = 9.80665
"""Standard acceleration of free fall [m/s2]. ISO 2533:1975."""

TROPOSPHERE_LAPSE_K_M = 0.0065
"""Fall of temperature with geopotential altitude below 11 km [K/m]. ISO 2533:1975."""

EARTH_RADIUS_M = 6_356_766.0
"""Nominal earth radius that turns geometric into geopotential altitude [m]. ISO 2533:1975."""

INCH_WATER_PA = 249.08891
"""Conventional inch of water [Pa]. NIST SP 811 (2008), appendix B.8."""

INCH_MERCURY_PA = 3386.389
"""Conventional inch of mercury [Pa]. NIST SP 811 (2008), appendix B.8."""

POUND_KG = 0.45359237
"""Avoirdupois pound, exact [kg]. NIST SP 811 (2008), appendix B.8."""

FOOT_M = 0.3048
"""International foot, exact [m]. NIST SP 811 (2008), appendix B.8."""

CFM_M3_S = FOOT_M**3 / 60
"""Cubic foot a minute, exact [m3/s]. NIST SP 811 (2008), appendix B.8."""

CELSIUS_ZERO_K = 273.15
"""0 degC, exact [K]. The International System of Units, 9th edition, 2.3.1."""


@dataclass(frozen=True)
class StandardAir:
    """The air that corrected flows are stated in: a definition, its density is never computed.

    Attributes
    ----------
    name : str
        As it is written in a job.
    temperature_k : float
        Temperature of the definition. [K]
    pressure_pa : float
        Pressure of the definition. [Pa]
    density_kg_m3 : float
        Density, to the digits of the definition. [kg/m3]
    """

    name: str
    temperature_k: float
    pressure_pa: float
    density_kg_m3: float


STANDARD_AIRS: dict[str, StandardAir] = {
    air.name: air
    for air in (
        # ISO 2533:1975; the default.
        StandardAir("ISO 2533", STANDARD_TEMPERATURE_K, STANDARD_PRESSURE_PA, 1.2250),
        # The dry air of SAE J607; density by CIPM-2007, rounded.
        StandardAir("29.92 inHg 60 degF dry", CELSIUS_ZERO_K + 28 / 1.8, 29.92 * INCH_MERCURY_PA, 1.2231),
        # Common practice, no source; density by CIPM-2007, rounded.
        StandardAir("29.92 inHg 68 degF dry", CELSIUS_ZERO_K + 20, 29.92 * INCH_MERCURY_PA, 1.2045),
        # Only its density is defined. Standard pressure is put in here, and the temperature
        # at which dry air of that pressure has that density (CIPM-2007, rounded).
        StandardAir("0.075 lb/ft3", 293.92, STANDARD_PRESSURE_PA, 0.075 * POUND_KG / FOOT_M**3),
        # The dry part of SAE J1349 and ISO 1585; density by CIPM-2007, rounded.
        StandardAir("99 kPa 25 degC dry", CELSIUS_ZERO_K + 25, 99_000.0, 1.1571),
    )
}
"""The standard airs on offer, by name."""
