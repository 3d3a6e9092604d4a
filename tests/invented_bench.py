"""A made-up truth, seen through a made-up bench: what invents the demo readings.

A truth is a flow curve of standard air at the reference pressure: the lesser of what the
curtain under the valve and what the throat let through. The bench model of the project is
run backwards, from that truth to what a meter would have indicated that day. Set-up, lift
setting, test pressure and port spread add their noise.

It shares no code with ``core``, and what it makes is never evidence that ``core`` is right.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass

INH2O_PA = 249.08891
CFM_M3_S = 0.3048**3 / 60
INCH_M = 0.0254
INHG_PA = 3386.389
REFERENCE_PA = 28 * INH2O_PA
GAMMA = 1.4

# Noise, as standard deviations (judgement; a careful operator on a plain bench).
SETUP = 0.004  # the whole sweep, when the head was taken off and put back
READING = 0.002  # one reading against its sweep
LIFT_ZERO_M = 0.000014  # dial zero of one set-up ...
LIFT_STEP_M = 0.000014  # ... and one setting: together 0.02 mm
PRESSURE_PA = 0.05 * INH2O_PA
PORT = 0.008  # from port to port of one casting
METER = 1.006  # the bench reads this much high, always; nobody knows


@dataclass(frozen=True)
class Truth:
    """One side of one stage: discharge coefficients, and the valve they belong to."""

    curtain: float  # on curtain area as the valve leaves its seat
    throat: float  # on throat area with the valve out of the way
    knee: float = 3.6  # how sharply one limit hands over to the other
    rise: float = 0.06  # of the curtain coefficient, per lift over diameter


@dataclass(frozen=True)
class Weather:
    """The air of one sheet, as its operator wrote it down; SI."""

    barometer_pa: float
    air_k: float
    humidity: float
    meter_k: float


@dataclass(frozen=True)
class Scale:
    """What the bench's scale was made for."""

    air_pa: float
    air_k: float
    air_kg_m3: float
    set_at_pa: float


@dataclass(frozen=True)
class Valve:
    """Geometry of one side; SI."""

    count: int
    head_m: float
    throat_m: float
    stem_m: float


ISO_2533 = Scale(101325, 288.15, 1.2250, 28 * INH2O_PA)
DRY_60F = Scale(101325, 288.706, 1.2231, 10 * INH2O_PA)


def density(pressure_pa: float, temperature_k: float, vapour_ratio: float = 0.0) -> float:
    """Return the density of moist air, an ideal gas; the ratio is vapour over total pressure."""
    return pressure_pa * (1 - 0.378 * vapour_ratio) / (287.05 * temperature_k)


def vapour_ratio(weather: Weather) -> float:
    """Return vapour over total pressure (Magnus form, from memory)."""
    celsius = weather.air_k - 273.15
    return weather.humidity * 611.2 * math.exp(17.62 * celsius / (243.12 + celsius)) / weather.barometer_pa


def isentropic(upstream_pa: float, downstream_pa: float) -> float:
    """Return mass flux through a smooth nozzle over the root of the upstream density."""
    ratio = downstream_pa / upstream_pa
    bracket = ratio ** (2 / GAMMA) - ratio ** ((GAMMA + 1) / GAMMA)
    return math.sqrt(2 * GAMMA / (GAMMA - 1) * upstream_pa * bracket)


def isentropic_through(side: str, ambient_pa: float, drop_pa: float) -> float:
    """Return that flux for air drawn (intake) or blown (exhaust)."""
    if side == "intake":
        return isentropic(ambient_pa, ambient_pa - drop_pa)
    return isentropic(ambient_pa + drop_pa, ambient_pa)


def true_flow(truth: Truth, valve: Valve, lift_m: float, scale: Scale) -> float:
    """Return the flow of standard air at the reference pressure. [m3/s]"""
    if lift_m <= 0:
        return 0.0
    velocity = isentropic(scale.air_pa, scale.air_pa - REFERENCE_PA) / math.sqrt(scale.air_kg_m3)
    coefficient = truth.curtain + truth.rise * lift_m / valve.head_m
    curtain = coefficient * math.pi * valve.head_m * lift_m
    throat = truth.throat * math.pi / 4 * (valve.throat_m**2 - valve.stem_m**2)
    least = (curtain**-truth.knee + throat**-truth.knee) ** (-1 / truth.knee)
    return valve.count * least * velocity


def indicated(flow_m3_s: float, side: str, drop_pa: float, weather: Weather, scale: Scale) -> float:
    """Return what the meter shows while that flow's piece is under ``drop_pa``.

    A real port lies between a plain root of the pressure and a smooth nozzle: half-way here.
    Drawn air is metered after the piece, blown air before it.
    """
    ambient = weather.barometer_pa
    root = math.sqrt(drop_pa / REFERENCE_PA)
    nozzle = isentropic_through(side, ambient, drop_pa) / isentropic_through(side, scale.air_pa, REFERENCE_PA)
    standard = flow_m3_s * math.sqrt(root * nozzle)
    wet = vapour_ratio(weather)
    if side == "intake":
        at_piece = density(ambient, weather.air_k, wet)
        at_meter = density(ambient - drop_pa, weather.meter_k, wet)
        scaled_for = scale.air_kg_m3 * scale.air_pa / (scale.air_pa - scale.set_at_pa)
    else:
        at_piece = at_meter = density(ambient + drop_pa, weather.meter_k, wet)
        scaled_for = scale.air_kg_m3
    return METER * standard * math.sqrt(at_piece * scale.air_kg_m3 / (scaled_for * at_meter))


def sweep(
    rng: random.Random,
    truths: dict[str, tuple[Truth, Valve]],
    ports: dict[str, float],
    lifts_m: list[float],
    drop_pa: float,
    weather: Weather,
    scale: Scale,
) -> list[tuple[float, dict[str, float]]]:
    """Return one set-up's readings: (lift, indicated flow by side), all noise included."""
    zero = rng.gauss(0, LIFT_ZERO_M)
    setup = {side: rng.gauss(1, SETUP) for side in truths}
    rows = []
    for lift in lifts_m:
        row = {}
        for side, (truth, valve) in truths.items():
            real_lift = lift + zero + rng.gauss(0, LIFT_STEP_M)
            real_drop = drop_pa + rng.gauss(0, PRESSURE_PA)
            flow = true_flow(truth, valve, real_lift, scale) * ports[side] * setup[side]
            row[side] = indicated(flow, side, real_drop, weather, scale) * rng.gauss(1, READING)
        rows.append((lift, row))
    return rows
