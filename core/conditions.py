"""What is used where a job is silent: every default and its uncertainty, in one place.

Nothing here is guessed in silence: ``core.findings`` says of each what was assumed.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from functools import lru_cache

from core.air import standard_barometer
from core.constants import INCH_WATER_PA, STANDARD_AIRS, StandardAir
from core.job import Air, Bench

# Standard uncertainties of a careful shop's instruments (judgement; a job states its own).
BENCH_DEFAULTS = Bench(
    repeatability=0.005,
    lift_setting_m=0.02e-3,
    calibration=0.015,
    test_pressure_reading_pa=0.05 * INCH_WATER_PA,
    barometer_reading_pa=100.0,
    temperature_reading_k=0.5,
    humidity_reading=0.05,
)
UNCERTAINTIES = tuple(
    field.name
    for field in fields(Bench)
    if getattr(BENCH_DEFAULTS, field.name) != getattr(Bench(), field.name)
)

# Standard uncertainties of what nobody read (judgement): weather at a known altitude,
# a shop anywhere below some 1,500 m, a room that is not at 15 degC, air that is not dry.
WEATHER_PA = 1000.0
STATION_PA = 5000.0
ROOM_K = 6.0
HUMIDITY = 0.3
METER_DROP_PA = 5 * INCH_WATER_PA  # a meter's own drop, that no sheet states


@dataclass(frozen=True)
class UsedAir:
    """The conditions used for one sheet, each with its standard uncertainty."""

    ambient_pa: float
    ambient_u_pa: float
    temperature_k: float
    temperature_u_k: float
    humidity: float
    humidity_u: float


@lru_cache(maxsize=16)  # asked sheet after sheet
def with_defaults(bench: Bench) -> Bench:
    """Return the bench with every unstated standard uncertainty filled in.

    Parameters
    ----------
    bench : Bench
        Bench as the job states it.

    Returns
    -------
    Bench
        The same bench without a None among its uncertainties.
    """
    return replace(
        bench, **{n: getattr(BENCH_DEFAULTS, n) for n in UNCERTAINTIES if getattr(bench, n) is None}
    )


def used_air(stated: Air, bench: Bench, standard: StandardAir) -> UsedAir:
    """Return the conditions to reckon with: those stated, else those of standard air.

    Parameters
    ----------
    stated : Air
        Conditions on a sheet.
    bench : Bench
        Bench with its uncertainties filled in.
    standard : StandardAir
        The job's standard air.

    Returns
    -------
    UsedAir
        Values and standard uncertainties.

    References
    ----------
    ISO 2533:1975 for the pressure at a stated altitude.
    """
    if stated.barometer_pa is not None:
        ambient, ambient_u = stated.barometer_pa, bench.barometer_reading_pa
    elif stated.altitude_m is not None:
        ambient, ambient_u = float(standard_barometer(stated.altitude_m)), WEATHER_PA
    else:
        ambient, ambient_u = STANDARD_AIRS["ISO 2533"].pressure_pa, STATION_PA
    warm, damp = stated.air_temperature_k, stated.humidity
    return UsedAir(
        ambient,
        ambient_u,
        standard.temperature_k if warm is None else warm,
        ROOM_K if warm is None else bench.temperature_reading_k,
        0.0 if damp is None else damp,
        HUMIDITY if damp is None else bench.humidity_reading,
    )
