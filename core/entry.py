"""A reading judged while it is typed: beside the stage before, and beside its own neighbours.

The head is still clamped then, and a slip costs one reading; the day after it costs a set-up.
What is compared is the meter's own reading: the curve of the stage before is brought back to
what this meter would show for it today, so that the digits on the bench are the digits here.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import exp, inf, log
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from core.calibration import check_rows, leaks
from core.conditions import with_defaults
from core.files.columns import ATTRIBUTE
from core.findings.profiles import GROSS, NEIGHBOURS
from core.findings.slips import UNIT
from core.job import BenchSheet, Job, Reading, Side, Sides
from core.measured import Measured, average, components, line_weights, weighed
from core.ports import Port, slope, told_apart
from core.repeats import RepeatedPort, Scatter
from core.rows import correct_side
from core.side import SideWork
from core.uncertainty import combine, coverage_factor

Array = NDArray[np.float64]
Kind = Literal["flow", "fraction", "pressure", "mass flow"]
Level = Literal["look", "stop"]
Slip = Literal["decimal", "unit", "digits"]

# Where nothing is read yet: any reading that the formulas can take, for their factors alone.
_STAND_IN: dict[Kind, float] = {"flow": 0.05, "fraction": 0.5, "pressure": 1000.0, "mass flow": 0.05}

# All logarithms of a ratio, and judgement: a doubt costs a glance, so it comes early.
SCORE = 4.0  # standard deviations
FIRST = 0.35  # by how much work may change the first reading, when nothing else is known
STEP = 0.10  # how much of a change may come or go from one lift to the next
BEND = 0.03  # how much its trend over lift may bend
DIP = 0.05  # a flow hardly falls as the valve opens further (common practice, no source) ...
STRAIGHT = 0.10  # ... nor grows faster than the lift, but for an error in the lift's zero (likewise)

Limits = tuple[float, float]  # least and greatest logarithm that a reading may have


@dataclass(frozen=True)
class Point:
    """One lift of a sweep that is being typed; readings are of the meter, in SI."""

    lift_m: float
    reading: float | None = None
    before: float | None = None  # what this meter would show today for the stage before
    room: float | None = None  # two set-ups of the same thing differ by less, 95 %
    level: Level | None = None  # None: nothing against it
    slip: Slip | None = None
    fits: float | None = None  # what would fit instead


@dataclass(frozen=True)
class Sweep:
    """A sweep that is being typed, and the stage that it stands beside."""

    points: tuple[Point, ...]
    other: str | None = None  # None: there is nothing to compare with
    assumed: bool = False  # True: the room rests on an assumed repeatability
    same_port: bool = True  # False: the other stage was not measured in this port


@dataclass(frozen=True, eq=False)
class _Beside:
    """What this meter would show for the stage before, over n lifts; nan where it was not measured."""

    name: str
    reading: Array
    standard: Array  # of the difference of the two, relative
    room: Array
    assumed: bool
    same_port: bool


def judge_sweep(
    job: Job | None,
    sheet: BenchSheet,
    side: Side,
    lifts_m: Sequence[float],
    kind: Kind = "flow",
    unit: float = 1e-3,
) -> Sweep:
    """Judge the readings of a sheet that is being filled.

    Parameters
    ----------
    job : Job or None
        The job without this sheet; None where there is no other sheet yet.
    sheet : BenchSheet
        The sheet in hand, with the readings taken so far; at most one a lift.
    side : {"intake", "exhaust"}
        Side of the head.
    lifts_m : sequence of float
        Lifts that are to be measured, rising; lifts that were read are added. [m]
    kind : {"flow", "fraction", "pressure", "mass flow"}
        What the meter shows.
    unit : float
        One of the unit that is typed, in SI: digits are swapped in that.

    Returns
    -------
    Sweep
        A point for each lift.
    """
    power = 2.0 if kind == "pressure" else 1.0
    taken_so_far = [r for r in sheet.readings[side] if r.lift_m > 0 and getattr(r, ATTRIBUTE[kind])]
    read = {float(told_apart(r.lift_m)): r for r in taken_so_far}
    lifts = sorted({float(told_apart(lift)) for lift in lifts_m if lift > 0} | read.keys())
    values = [getattr(read[lift], ATTRIBUTE[kind]) if lift in read else None for lift in lifts]
    taken = np.array(values, dtype=float)
    beside = None if job is None else _beside(job, sheet, side, np.array(lifts), kind, read, power)
    nothing = np.full(len(lifts), np.nan)
    judged = judge(
        np.array(lifts),
        taken,
        nothing if beside is None else beside.reading,
        nothing if beside is None else beside.standard,
        power=power,
        unit=unit,
    )
    points = []
    for i, (lift, value) in enumerate(zip(lifts, values, strict=True)):
        level, slip, fits = judged[i]
        before, room = (
            (None, None) if beside is None else (_number(beside.reading[i]), _number(beside.room[i]))
        )
        points.append(Point(lift, value, before, room, level, slip, fits))
    if beside is None:
        return Sweep(tuple(points))
    return Sweep(tuple(points), beside.name, beside.assumed, beside.same_port)


def judge(
    lift_m: Array,
    reading: Array,
    before: Array,
    standard: Array,
    *,
    power: float = 1.0,
    unit: float = 1e-3,
) -> list[tuple[Level | None, Slip | None, float | None]]:
    """Judge readings over lift, each by those of the others that can be trusted.

    Beside another stage it is the change that must be smooth over lift. Without one it is
    the curve itself, which rises, and bends downwards.

    Parameters
    ----------
    lift_m : ndarray, shape (n,)
        Lifts, rising. [m]
    reading : ndarray, shape (n,)
        What the meter shows, nan where nothing was read.
    before : ndarray, shape (n,)
        What it would show for the stage before, nan where that is not known.
    standard : ndarray, shape (n,)
        Relative standard uncertainty of a change in flow.
    power : float
        With which power of the flow the reading grows.
    unit : float
        One of the unit that is typed.

    Returns
    -------
    list
        Level, slip and what would fit, for each lift.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        flow, other = np.log(reading) / power, np.log(before) / power
    compared = np.isfinite(other)

    def limits(i: int, others: list[int]) -> Limits:
        if compared[i]:
            beside = [k for k in others if compared[k]]
            low, high = _of_change(i, beside, lift_m, flow - other, standard)
            return low + other[i], high + other[i]
        return _of_shape(i, others, lift_m, flow)

    trusted = _trusted(flow, np.where(compared, flow - other, 0.0), limits)
    judged: list[tuple[Level | None, Slip | None, float | None]] = []
    for i in range(lift_m.size):
        if not np.isfinite(flow[i]):
            judged.append((None, None, None))
            continue
        judged.append(_verdict(float(reading[i]), limits(i, [k for k in trusted if k != i]), power, unit))
    return judged


def _trusted(flow: Array, change: Array, limits: Callable[[int, list[int]], Limits]) -> list[int]:
    """Return the readings that agree with each other: the worst is left out until nothing is wrong."""
    kept = np.flatnonzero(np.isfinite(flow)).tolist()
    while len(kept) > 1:
        off = [(_outside(flow[i], limits(i, [k for k in kept if k != i])), abs(change[i]), i) for i in kept]
        worst = max(off)
        if worst[0] == 0:
            break
        kept.remove(worst[2])
    return kept


def _outside(value: float, limits: Limits) -> float:
    return max(limits[0] - value, value - limits[1], 0.0)


def _of_change(i: int, others: list[int], lift_m: Array, change: Array, standard: Array) -> Limits:
    """Return the limits of a change from those at the nearest lifts: a level, a line, or a parabola."""
    noise = SCORE * float(standard[i])
    if not others:
        return -FIRST - noise, FIRST + noise
    near = sorted(others, key=lambda k: abs(lift_m[k] - lift_m[i]))[:NEIGHBOURS]
    apart = lift_m[near] - lift_m[i]
    between = apart.min() < 0 < apart.max()
    degree = 0 if len(near) == 1 else 2 if between and len(near) == NEIGHBOURS else 1
    weights = np.linalg.pinv(np.vander(apart / np.abs(apart).max(), degree + 1))[-1]
    foretold = float(weights @ change[near])
    room = noise * float(np.sqrt(1 + weights @ weights)) + (BEND if degree else STEP)
    return foretold - room, foretold + room


def _of_shape(i: int, others: list[int], lift_m: Array, flow: Array) -> Limits:
    """Return the limits of a reading from the shape that every flow curve has."""
    below = [k for k in others if lift_m[k] < lift_m[i]]
    above = [k for k in others if lift_m[k] > lift_m[i]]
    low, high = -inf, inf
    if below:
        last = below[-1]
        steeper = log(lift_m[i] / lift_m[last]) + STRAIGHT
        low, high = flow[last] - DIP, flow[last] + steeper
    if above:
        first = above[0]
        flatter = log(lift_m[i] / lift_m[first]) - STRAIGHT
        low, high = max(low, flow[first] + flatter), min(high, flow[first] + DIP)
    return low, high


def _verdict(
    reading: float, limits: Limits, power: float, unit: float
) -> tuple[Level | None, Slip | None, float | None]:
    off = _outside(log(reading) / power, limits)
    if off == 0:
        return None, None, None
    fitting = [one for one in _slips(reading, power, unit) if _outside(log(one[1]) / power, limits) == 0]
    if not fitting:
        return ("stop" if off > GROSS else "look"), None, None
    middle = sum(limits) / 2  # not finite where a limit is open: then the first will do
    slip, meant = min(fitting, key=lambda one: (one[0] != "decimal", abs(log(one[1]) / power - middle)))
    return ("look" if slip == "digits" and off <= GROSS else "stop"), slip, meant


def _slips(reading: float, power: float, unit: float) -> list[tuple[Slip, float]]:
    """Return what may have been meant, the likeliest first."""
    found: list[tuple[Slip, float]] = [("decimal", reading * factor) for factor in (10, 0.1, 100, 0.01)]
    digits = f"{reading / unit:.10g}"
    for a in range(len(digits) - 1):
        for b in (a + 1, a + 2):  # neighbours, and those on either side of the decimal point
            if b < len(digits) and digits[a].isdigit() and digits[b].isdigit() and "e" not in digits:
                swapped = float(digits[:a] + digits[b] + digits[a + 1 : b] + digits[a] + digits[b + 1 :])
                if swapped > 0 and (b == a + 1 or digits[a + 1] == "."):
                    found.append(("digits", swapped * unit))
    if power == 1:
        found += [("unit", reading * exp(UNIT)), ("unit", reading * exp(-UNIT))]
    return found


def _beside(
    job: Job,
    sheet: BenchSheet,
    side: Side,
    lift_m: Array,
    kind: Kind,
    read: dict[float, Reading],
    power: float,
) -> _Beside | None:
    """Bring the stage before back to what this meter would show for it today."""
    work = SideWork(job, side)
    found = _stage_before(work, sheet)
    if found is None or not lift_m.size:
        return None
    name, ports, same_port = found
    curve = average(ports, work.scatters)
    inside = lift_m <= curve.top_m * (1 + 1e-9)
    flow = np.full(lift_m.size, np.nan)
    flow[inside] = curve.at(np.minimum(lift_m[inside], curve.top_m))
    stand_in = {ATTRIBUTE[kind]: _STAND_IN[kind]}
    readings = tuple(read.get(lift) or Reading(lift, 0, **stand_in) for lift in lift_m.tolist())
    filled = replace(sheet, readings=Sides(**{side: readings, _other(side): ()}))
    (rows,) = correct_side(job, side, [filled])
    bench = work.calibrations.get(rows.bench.name)
    rows = check_rows(job, rows, bench, leaks(job, side)).rows
    to_flow = rows.calibration_factor * rows.density_factor * rows.pressure_factor
    shown = np.array([getattr(reading, ATTRIBUTE[kind]) for reading in readings])
    expected = shown * ((flow / to_flow + rows.leak) / rows.base) ** power
    scatter = work.scatters.get(rows.bench.name)
    if scatter is None:
        own = with_defaults(rows.bench)
        scatter = Scatter(own.repeatability, own.lift_setting_m, assumed=True)
    standard, expanded = _repeats(curve, lift_m, flow, inside, rows.bench.name, scatter)
    room = expected * expanded * power
    return _Beside(name, expected, standard, room, scatter.assumed, same_port)


def _stage_before(work: SideWork, sheet: BenchSheet) -> tuple[str, list[Port], bool] | None:
    """Return the latest earlier stage with this side, else this stage's other set-ups, with its ports."""
    names = [stage.name for stage in work.job.stages]
    place = names.index(sheet.stage) if sheet.stage in names else len(names)
    measured = [name for name in names if ("stage", name) in work.ports]
    earlier = [name for name in measured if names.index(name) < place]
    name = earlier[-1] if earlier else sheet.stage if sheet.stage in measured else None
    if name is None:
        return None
    ports = work.ports["stage", name]
    same = [port for port in ports if port.name == sheet.port]
    return name, same or ports, bool(same)


def _repeats(
    curve: Measured,
    lift_m: Array,
    flow: Array,
    inside: NDArray[np.bool_],
    bench: str | None,
    scatter: Scatter,
) -> tuple[Array, Array]:
    """Return by how much one more set-up of the same thing would differ: relative, standard and 95 %."""
    standard, expanded = np.full(lift_m.size, np.nan), np.full(lift_m.size, np.nan)
    at, expected = lift_m[inside], flow[inside]
    if not at.size:
        return standard, expanded
    steep = slope(at, expected)
    none = np.zeros((at.size, curve.shared.shape[1]))
    once = Port(
        None, bench, at, expected, steep, np.ones(at.size), none, 1, RepeatedPort(expected[None], steep), True
    )
    again = average([once], {bench: scatter})
    before = weighed(curve, line_weights(curve.lift_m, np.minimum(at, curve.top_m)))
    terms = [(np.ones(at.size), weighed(again, np.eye(at.size))), (-np.ones(at.size), before)]
    u, dof = combine(components(terms, np.ones(none.shape[1], dtype=bool)))
    standard[inside] = u / expected
    expanded[inside] = coverage_factor(dof) * u / expected
    return standard, expanded


def _other(side: Side) -> Side:
    return "exhaust" if side == "intake" else "intake"


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
