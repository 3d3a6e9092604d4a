"""Where one point of a stage's curve comes from: every reading behind it, step by step.

Nothing is worked out anew here: the steps are the factors that the review itself applied,
the shares are the variances that its own ± is made of.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from core.calibration import Calibration, Checked, Leak
from core.job import BenchSheet, Job, Reading, Side
from core.measured import (
    Measured,
    average,
    components,
    line_weights,
    scatter_coefficients,
    weighed,
)
from core.ports import Port, told_apart
from core.review import worked_sides
from core.rows import Rows
from core.side import SideWork
from core.uncertainty import expanded_uncertainty

StepName = Literal["reading", "leak", "calibration", "densities", "pressure rule"]
Values = tuple[tuple[float | str, str], ...]

# What a person calls some inputs of core.shared; the others go by their own names.
SOURCES = {
    "test_pressure_pa": "test pressure reading",
    "meter_drop_pa": "the meter's own drop",
    "ambient_pa": "barometer",
    "air_temperature_k": "air temperature",
    "humidity": "humidity",
    "meter_temperature_k": "meter temperature",
    "piece_temperature_k": "piece temperature",
}


@dataclass(frozen=True)
class Step:
    """One step from a reading to its flow; ``source`` is a template as in Finding."""

    name: StepName
    source: str
    values: Values
    factor: float | None  # None where nothing is multiplied
    subtracted: float | None  # in the meter's own quantity
    after: float  # m3/s, or kg/s as long as ``kind`` says so
    kind: Literal["flow", "mass flow"]


@dataclass(frozen=True)
class ReadingTrail:
    """One reading with its steps; ``used`` is False where a finding has stopped it."""

    sheet: BenchSheet
    reading: Reading
    setup: str
    used: bool
    steps: tuple[Step, ...]

    @property
    def flow_m3_s(self) -> float:
        """Return the flow at the reference."""
        return self.steps[-1].after


@dataclass(frozen=True)
class PortTrail:
    """One port's part in the point: the mean of its set-ups."""

    port: str | None
    flow_m3_s: float | None
    n_setups: int
    interpolated: bool  # True: the readings are those of the lifts on either side
    readings: tuple[ReadingTrail, ...]


@dataclass(frozen=True)
class Share:
    """How much of the point's variance one source brings."""

    source: str
    share: float  # of the variance; all shares together are 1
    standard_m3_s: float
    common: bool  # True: alike on every stage, so that it cannot tell stages apart


@dataclass(frozen=True)
class Trail:
    """One point of a stage's curve; without a flow where a reading of that lift was stopped."""

    stage: str
    side: Side
    lift_m: float
    flow_m3_s: float | None
    expanded_m3_s: float | None  # 95 %, all told
    ports: tuple[PortTrail, ...]
    shares: tuple[Share, ...]  # the largest first


def trail(job: Job, stage: str, side: Side, lift_m: float) -> Trail:
    """Follow one point of a stage's curve back to its readings.

    Parameters
    ----------
    job : Job
        What was measured.
    stage : str
        Name of a stage that has this side.
    side : {"intake", "exhaust"}
        Side of the head.
    lift_m : float
        A lift of the stage's curve. [m]

    Returns
    -------
    Trail
        Readings with their steps, the means they go into, and what the ± is made of.

    Raises
    ------
    ValueError
        If the stage has no such side, or its curve no such lift.

    References
    ----------
    Shares: JCGM 100:2008, 5.1.3, contributions to the combined variance.
    """
    work = worked_sides(job)[side]
    lift = float(told_apart(lift_m))
    curve = work.curves.get(stage)
    known = {one: i for i, one in enumerate(curve.result.lift_m)} if curve else {}
    if curve is None or lift not in known:
        lifts = ", ".join(f"{1000 * one:g}" for one in known) or "none, as it was not measured there"
        raise ValueError(f"{stage}, {side} has no lift of {1000 * lift_m:g} mm; it has {lifts}")
    ports = tuple(_port_trail(work, stage, port, lift) for port in curve.ports)
    flow = curve.result.flow_m3_s[known[lift]]
    if flow is None:
        return Trail(stage, side, lift, None, None, ports, ())
    expanded, shares = _shares(work, curve.measured, line_weights(curve.measured.lift_m, np.array([lift])))
    return Trail(stage, side, lift, flow, expanded, ports, shares)


def _port_trail(work: SideWork, stage: str, port: Port, lift: float) -> PortTrail:
    """Return a port's readings at a lift, or those on either side of it where it was not read there."""
    alone = average((port,), work.scatters)
    readings = [
        one
        for part, sound in zip(work.checked, work.sound, strict=True)
        if part.rows.bench.name == port.bench
        for one in _readings(work.job, part, sound.tolist(), stage, port.name)
    ]
    lifts, interpolated = {lift}, lift not in port.lift_m
    if interpolated and lift <= alone.top_m:
        (weights,) = line_weights(port.lift_m, np.array([lift]))
        lifts |= set(port.lift_m[weights > 0].tolist())
    flow = float(alone.at(np.array([lift]))[0]) if lift <= alone.top_m else None
    mine = tuple(one for one in readings if told_apart(one.reading.lift_m) in lifts)
    return PortTrail(port.name, flow, port.n_setups, interpolated, mine)


def _readings(
    job: Job, part: Checked, sound: list[bool], stage: str, port: str | None
) -> Iterator[ReadingTrail]:
    rows = part.rows
    for (sheet, mine), leak in zip(rows.by_sheet(), part.leaks, strict=True):
        if (sheet.role, sheet.stage, sheet.port) != ("stage", stage, port):
            continue
        for i in range(mine.start, mine.stop):
            setup = sheet.setup if sheet.setup is not None else sheet.file
            yield ReadingTrail(
                sheet, rows.readings[i], setup, sound[i], _steps(job, rows, i, leak, part.calibration)
            )


def _steps(
    job: Job, rows: Rows, i: int, leak: Leak | None, calibration: Calibration | None
) -> tuple[Step, ...]:
    """Return what the review did to reading i of these rows, in its own order."""
    sheet, reading = rows.sheets[i], rows.readings[i]
    kind = "mass flow" if rows.correction.by_mass[i] else "flow"
    base, leaked = float(rows.base[i]), float(rows.leak[i])
    where = ((sheet.file, "text"), (str(reading.line), "text"))
    steps = [Step("reading", "{}, line {}", where, None, None, base, kind)]
    source, values = ("leak sheet {}", ((leak.sheet.file, "text"),)) if leak else ("no leak sheet", ())
    steps.append(Step("leak", source, values, None, leaked, base - leaked, kind))
    factor = float(rows.calibration_factor[i])
    calibrated = (base - leaked) * factor
    steps.append(Step("calibration", *_plate(calibration, sheet), factor, None, calibrated, kind))
    factor = float(rows.density_factor[i])
    dense = calibrated * factor
    steps.append(Step("densities", *_air(rows, i), factor, None, dense, "flow"))
    factor = float(rows.pressure_factor[i])
    steps.append(Step("pressure rule", *_rule(job, rows, i), factor, None, dense * factor, "flow"))
    return tuple(steps)


def _plate(calibration: Calibration | None, sheet: BenchSheet) -> tuple[str, Values]:
    if calibration is None:
        return "no calibration sheet: the scale is taken as it is", ()
    day = calibration.of_day(sheet.date)[2]
    if day is not None:
        return "plate readings of {} alone: that day is off", ((day.isoformat(), "text"),)
    held = [reading for reading in calibration.readings if not calibration.departs(reading)]
    days = sorted({r.date.isoformat() for r in held if r.date is not None})
    if len(days) > 1:
        return "{} plate readings, {} to {}", (
            (str(len(held)), "text"),
            (days[0], "text"),
            (days[-1], "text"),
        )
    if days:
        return "plate readings of {}", ((days[0], "text"),)
    return "plate readings without a date", ()


def _air(rows: Rows, i: int) -> tuple[str, Values]:
    """Return the air that was reckoned with; what nobody stated is said to be assumed."""
    if not np.isnan(rows.correction.printed_factor[i]):
        return "already corrected by the bench", ()
    used, stated, reading = rows.airs[i], rows.sheets[i].air, rows.readings[i]
    parts: list[str] = []
    values: list[tuple[float | str, str]] = []
    for given, value, kind in (
        (stated.barometer_pa, used.ambient_pa, "barometer"),
        (stated.air_temperature_k, used.temperature_k, "temperature"),
        (stated.humidity, used.humidity, "fraction"),
    ):
        parts.append("{}" if given is not None else "{} (assumed)")
        values.append((value, kind))
    meter = reading.meter_temperature_k or stated.meter_temperature_k
    if meter is None:
        parts.append("meter as warm as the room (assumed)")
    for name, value in (("meter", meter), ("piece", stated.piece_temperature_k)):
        if value is not None:
            parts.append(f"{name} {{}}")
            values.append((value, "temperature"))
    return ", ".join(parts), tuple(values)


def _rule(job: Job, rows: Rows, i: int) -> tuple[str, Values]:
    if not rows.correction.scaled[i]:
        return "no test pressure is stated: not scaled", ()
    return "{} to {}, {}", (
        (float(rows.state.test_pressure_pa[i]), "test pressure"),
        (job.reference_pressure_pa, "test pressure"),
        (rows.correction.rule, "text"),
    )


def _shares(
    work: SideWork, measured: Measured, weights: np.ndarray
) -> tuple[float | None, tuple[Share, ...]]:
    """Return the expanded uncertainty of one combination of a curve's flows, and its shares by source."""
    terms = [(np.ones(1), weighed(measured, weights))]
    parts = components(terms)
    total = float(sum(part.variance for part in parts)[0])
    if total == 0:
        return None, ()
    variance: dict[tuple[str, bool], float] = {}
    (shared,) = weights @ measured.shared
    for name, alike, effect in zip(work.inputs, work.common.tolist(), shared.tolist(), strict=True):
        key = (SOURCES.get(name[0], name[0]), alike)
        variance[key] = variance.get(key, 0.0) + effect**2
    for scatter, setup, sweep in scatter_coefficients(terms):
        names = ("re-set-up", "within a sweep")
        if scatter.assumed:
            names = ("re-set-up (assumed)", "lift setting (assumed)")
        for name, part in zip(names, scatter.variances(setup, sweep), strict=True):
            variance[name, False] = variance.get((name, False), 0.0) + float(part[0])
    found = [
        Share(source, part / total, part**0.5, alike)
        for (source, alike), part in variance.items()
        if part > 0
    ]
    found.sort(key=lambda share: -share.share)
    return float(expanded_uncertainty(parts)[0]), tuple(found)
