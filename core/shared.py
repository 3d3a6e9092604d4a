"""What several readings share, as inputs of their own.

Each input has a name; readings that hold the same name move together, so what two curves
share cancels in their gain by itself. A calibration belongs to a bench and a side, the
air to a bench and a day, the pressure rule and an unstated scale to a test pressure.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Hashable, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from core.calibration import LEAK_DOUBT, Checked
from core.conditions import METER_DROP_PA
from core.job import BenchSheet
from core.rows import Rows
from core.uncertainty import sensitivities

Array = NDArray[np.float64]
Day = dt.date | tuple[str, str | None]

SAME_PRESSURE = 0.05  # test pressures closer than this, as a fraction, count as one (judgement)
AIR = ("ambient_pa", "air_temperature_k", "humidity", "meter_temperature_k", "piece_temperature_k")


def shared_inputs(parts: Sequence[Checked]) -> tuple[list[Hashable], list[Array]]:
    """Return the shared inputs of a side and how each reading answers to them.

    Parameters
    ----------
    parts : sequence of Checked
        The readings of one side, bench by bench.

    Returns
    -------
    tuple
        Names of the k inputs; for each entry of parts an ndarray of shape (n, k), the
        relative change of each flow for one standard uncertainty of each input.

    References
    ----------
    JCGM 100:2008, 5.2.4: a common input is one input, whatever depends on it.
    """
    pressures = _clusters(np.concatenate([part.rows.state.test_pressure_pa for part in parts]))
    of_parts = [_effects(part, pressures) for part in parts]
    numbers: dict[Hashable, int] = {}
    for effects in of_parts:
        for effect in effects:
            for name in effect.names:
                numbers.setdefault(name, len(numbers))
    matrices = []
    for part, effects in zip(parts, of_parts, strict=True):
        n = part.rows.lift_m.size
        matrix = np.zeros((n, len(numbers)))
        for effect in effects:
            column = np.array([numbers[name] for name in effect.names])
            matrix[np.arange(n), column[effect.which]] = effect.change
        matrices.append(matrix)
    used = np.any([np.any(matrix != 0, axis=0) for matrix in matrices], axis=0)
    return [name for name, index in numbers.items() if used[index]], [matrix[:, used] for matrix in matrices]


class Effect(NamedTuple):
    """How n readings answer to inputs of one kind, each to one of them."""

    change: Array  # relative, for one standard uncertainty
    names: list[Hashable]
    which: NDArray[np.int64]  # of the names, for each reading


def _effects(part: Checked, clusters: dict[float, int]) -> list[Effect]:
    """Return how each reading answers to each shared input that concerns it."""
    rows = part.rows
    bench, side, n = rows.bench, rows.side, rows.lift_m.size
    distinct, by_pressure = np.unique(rows.state.test_pressure_pa, return_inverse=True)
    pressures = [clusters[p] for p in distinct.tolist()]
    effects = [*_calibration_effects(part), _leak_effect(part)]
    for name, change in _condition_changes(rows).items():
        if name in AIR:
            days: list[Hashable] = [(name, bench.name, _day(sheet)) for sheet, _ in rows.by_sheet()]
            effects.append(Effect(change, days, _sheet_of(rows)))
        else:
            effects.append(Effect(change, [(name, bench.name, side)], np.zeros(n, np.int64)))
    # The truth lies between the two rules, on one side of each: the whole difference is
    # the half-width of a rectangular term. Likewise a scale whose setting is not stated.
    root, flux = (rows.correction.pressure_factor(rows.state, r) for r in ("square root", "isentropic"))
    rule = np.log(root / flux) / np.sqrt(3)
    effects.append(Effect(rule, [("pressure rule", p) for p in pressures], by_pressure))
    if rows.bench.calibrated_at_pa is None:
        at_reference = np.full(n, rows.correction.reference_pressure_pa)
        moved = rows.correction.density_factor(replace(rows.state, calibrated_at_pa=at_reference))
        scale = np.log(moved / rows.density_factor) / np.sqrt(3)
        effects.append(Effect(scale, [("scale", bench.name, p) for p in pressures], by_pressure))
    return effects


def _sheet_of(rows: Rows) -> NDArray[np.int64]:
    """Return the number of each reading's sheet."""
    sizes = [mine.stop - mine.start for _, mine in rows.by_sheet()]
    return np.repeat(np.arange(len(sizes)), sizes)


def _calibration_effects(part: Checked) -> list[Effect]:
    """Return the effect of the bench's scale, range by range, or of its plate and the days it was read."""
    rows, calibration, n = part.rows, part.calibration, part.rows.lift_m.size
    bench, side = rows.bench, rows.side
    if calibration is None:
        read = [reading.range_m3_s for reading in rows.readings]
        ranges = list(dict.fromkeys(read))
        names: list[Hashable] = [("calibration", bench.name, side, one) for one in ranges]
        return [Effect(np.full(n, bench.calibration), names, np.array([ranges.index(one) for one in read]))]
    doubt, days = np.empty(n), []
    for sheet, mine in rows.by_sheet():
        _, doubt[mine], day = calibration.of_day(sheet.date)
        days.append(("plate reading", bench.name, side, day))
    certificate = np.full(n, calibration.certificate)
    return [
        Effect(certificate, [("certificate", bench.name, side)], np.zeros(n, np.int64)),
        Effect(doubt, days, _sheet_of(rows)),
    ]


def _leak_effect(part: Checked) -> Effect:
    """Return the effect of the leak readings: each is shared by all flows it was subtracted from."""
    rows = part.rows
    left = rows.base - rows.leak
    change = -LEAK_DOUBT * rows.leak / np.where(left > 0, left, np.inf)  # with none left it is no flow
    names: list[Hashable] = [
        ("leak", None if leak is None else leak.sheet.file, rows.side) for leak in part.leaks
    ]
    return Effect(change, names, _sheet_of(rows))


def _condition_changes(rows: Rows) -> dict[str, Array]:
    """Return the relative change of each flow for one standard uncertainty of each condition."""
    bench, state, n = rows.bench, rows.state, rows.lift_m.size
    used = rows.airs
    steps = {
        "test_pressure_pa": np.full(n, bench.test_pressure_reading_pa),
        # A plate's own drop is its reading; that of any other meter nobody states.
        "meter_drop_pa": np.where(np.isnan(rows.correction.plate_density_kg_m3), METER_DROP_PA, 0.0),
        "ambient_pa": np.array([air.ambient_u_pa for air in used]),
        "air_temperature_k": np.array([air.temperature_u_k for air in used]),
        "humidity": np.array([air.humidity_u for air in used]),
        "meter_temperature_k": np.full(n, bench.temperature_reading_k),
        "piece_temperature_k": np.full(n, bench.temperature_reading_k),
    }
    for name in ("test_pressure_pa", *AIR):
        # What a bench has corrected already is not read again, nor is a drop that nobody stated.
        untouched = ~np.isnan(rows.correction.printed_factor)
        if name == "test_pressure_pa":
            untouched |= ~rows.correction.scaled
        steps[name] = np.where(untouched | np.isnan(getattr(state, name)), 0.0, steps[name])
    if not rows.correction.by_mass.any():
        del steps["humidity"]  # it cancels wherever a ratio of densities is all that counts
    steps = {name: step for name, step in steps.items() if step.any()}
    if not steps:  # every instrument is stated to be exact
        return {}

    def log_factor(shift: Array) -> Array:
        moved = {
            name: getattr(state, name) + share[:, None] * step
            for share, (name, step) in zip(shift, steps.items(), strict=True)
        }
        if "humidity" in moved:
            moved["humidity"] = np.clip(moved["humidity"], 0.0, 1.0)
        if bench.calibrated_at_pa is None and "test_pressure_pa" in moved:
            moved["calibrated_at_pa"] = moved[
                "test_pressure_pa"
            ]  # the scale holds at each reading's own drop
        at = replace(state, **moved)
        return np.log(rows.correction.density_factor(at) * rows.correction.pressure_factor(at)).T

    changes = sensitivities(log_factor, np.zeros(len(steps)), np.ones(len(steps)))
    return dict(zip(steps, changes.T, strict=True))


def _day(sheet: BenchSheet) -> Day:
    # Sheets without a date may be of any day: only those of one stage are taken as one.
    return sheet.date or (sheet.role, sheet.stage)


def _clusters(pressures_pa: Array) -> dict[float, int]:
    """Number the test pressures so that neighbours within SAME_PRESSURE share a number."""
    numbers: dict[float, int] = {}
    last, number = None, -1
    for pressure in sorted(set(pressures_pa.tolist())):
        if last is None or pressure > last * (1 + SAME_PRESSURE):
            number += 1
        numbers[pressure], last = number, pressure
    return numbers
