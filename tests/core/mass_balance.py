"""A bench from first principles: a piece and a meter in series, and a scale that was set on a plate."""

from __future__ import annotations

from math import sqrt
from typing import NamedTuple

from hypothesis import strategies as st

from core.constants import INCH_WATER_PA, STANDARD_AIRS, StandardAir
from core.job import MeterPlace, Side

PLACES: list[tuple[Side, MeterPlace]] = [
    ("intake", "after the piece"),
    ("intake", "before the piece"),
    ("exhaust", "before the piece"),
    ("exhaust", "after the piece"),
]
PIECE_M2, PLATE_M2 = 0.0012, 0.0011


class Weather(NamedTuple):
    """Air around the bench; its water stays in it, so that its gas constant [J/(kg K)] stays."""

    ambient_pa: float
    piece_k: float
    meter_k: float
    gas_constant: float


class Stream(NamedTuple):
    """Two openings in series, each passing m = area sqrt(2 rho drop), rho that of the air before it."""

    mass_kg_s: float
    meter_drop_pa: float
    meter_kg_m3: float
    piece_kg_m3: float


weathers = st.builds(
    Weather, st.floats(78e3, 105e3), st.floats(270, 315), st.floats(270, 320), st.floats(287, 295)
)
drops = st.floats(5 * INCH_WATER_PA, 40 * INCH_WATER_PA)
airs = st.sampled_from(list(STANDARD_AIRS.values()))


def balance(
    side: Side, place: MeterPlace, weather: Weather, drop_pa: float, piece_m2: float, meter_m2: float
) -> Stream:
    """Walk down the stream, with a meter drop that passes on what the piece lets through."""
    order = ("meter", "piece") if place == "before the piece" else ("piece", "meter")
    drops = {"piece": drop_pa, "meter": 0.0}
    density = {}
    for _ in range(100):  # each round moves the pressures by a tenth of the one before, at most
        # Drawn air starts at the room's pressure, blown air ends there.
        level = weather.ambient_pa if side == "intake" else weather.ambient_pa + sum(drops.values())
        for part in order:
            kelvin = weather.piece_k if part == "piece" else weather.meter_k
            density[part] = level / (weather.gas_constant * kelvin)
            level -= drops[part]
        mass = piece_m2 * sqrt(2 * density["piece"] * drop_pa)
        drops["meter"] = (mass / meter_m2) ** 2 / (2 * density["meter"])
    return Stream(mass, drops["meter"], density["meter"], density["piece"])


def on_plate(side: Side, place: MeterPlace, air: StandardAir, drop_pa: float, meter_m2: float) -> Stream:
    """Return the stream while the scale is set: a plate in a stated air."""
    gas_constant = air.pressure_pa / (air.density_kg_m3 * air.temperature_k)
    weather = Weather(air.pressure_pa, air.temperature_k, air.temperature_k, gas_constant)
    return balance(side, place, weather, drop_pa, PLATE_M2, meter_m2)


def scale(side: Side, place: MeterPlace, air: StandardAir, drop_pa: float, meter_m2: float) -> float:
    """Return what the bench then shows for each root of the meter's drop.

    It shows the plate's true flow: what that air does through it at that drop.
    """
    true_m3_s = PLATE_M2 * sqrt(2 * drop_pa / air.density_kg_m3)
    return true_m3_s / sqrt(on_plate(side, place, air, drop_pa, meter_m2).meter_drop_pa)
