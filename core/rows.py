"""Every reading of a side, corrected in one go: arrays, one entry a reading.

The factors stay apart, so that any flow can be followed back to its reading.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from core.air import dry_air_viscosity
from core.bench import (
    Conditions,
    corrected_flow,
    flow_of_mass,
    pressure_factor,
    scale_density,
    static_pressures,
    stream_densities,
)
from core.conditions import UsedAir, used_air, with_defaults
from core.constants import STANDARD_AIRS, StandardAir
from core.job import Bench, BenchSheet, Job, MeterPlace, PressureRule, Reading, Side
from core.orifice import plate_mass_flow

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

LEAST_FLOW_M3_S = 1e-9  # a cubic millimetre a second: no bench tells that from nothing (judgement)


@dataclass(frozen=True, eq=False)
class Correction:
    """How n readings of one side on one bench become flows at the reference."""

    side: Side
    rule: PressureRule
    place: MeterPlace
    standard: StandardAir
    scale_air: StandardAir
    reference_pressure_pa: float
    by_mass: Flags
    plate_density_kg_m3: Array  # before the plate, where the mass flow came from its drop; nan elsewhere
    printed_factor: Array  # what turns a flow the bench had corrected into the job's air; nan elsewhere
    scaled: Flags  # False: no test pressure is stated

    def density_factor(self, state: Conditions) -> Array:
        """Return what turns the meter's reading into a corrected flow at its own drop."""
        meter, piece = stream_densities(self.side, self.place, state)
        scale = scale_density(
            self.side, self.place, self.scale_air, state.calibrated_at_pa, state.meter_drop_pa
        )
        by_flow = corrected_flow(1.0, scale, meter, piece, self.standard.density_kg_m3)
        if self.by_mass.any():
            by_mass = flow_of_mass(1.0, piece, self.standard.density_kg_m3)
            # A plate's mass flow goes with the root of the density before it.
            by_mass = by_mass * np.where(
                np.isnan(self.plate_density_kg_m3), 1.0, np.sqrt(meter / self.plate_density_kg_m3)
            )
            by_flow = np.where(self.by_mass, by_mass, by_flow)
        return np.where(np.isnan(self.printed_factor), by_flow, self.printed_factor)

    def pressure_factor(self, state: Conditions, rule: PressureRule | None = None) -> Array:
        """Return what brings that flow to the reference pressure, 1 where no drop is known."""
        factor = pressure_factor(
            rule or self.rule,
            self.side,
            state.test_pressure_pa,
            state.ambient_pa,
            self.reference_pressure_pa,
            self.standard.pressure_pa,
        )
        return np.where(self.scaled, factor, 1.0)


@dataclass(frozen=True, eq=False)
class Rows:
    """The readings of one side on one bench; arrays of shape (n,)."""

    bench: Bench  # with its uncertainties filled in
    correction: Correction
    state: Conditions
    airs: tuple[UsedAir, ...]  # the stated or assumed air of each reading
    sheets: tuple[BenchSheet, ...]  # the sheet of each reading
    readings: tuple[Reading, ...]
    lift_m: Array
    base: Array  # indicated volume flow [m3/s] or mass flow [kg/s]
    leak: Array  # of the same quantity as base, at each reading's own drop
    calibration_factor: Array
    density_factor: Array
    pressure_factor: Array
    flow_m3_s: Array  # (base - leak) x the three factors

    def by_sheet(self) -> tuple[tuple[BenchSheet, slice], ...]:
        """Return each sheet with the slice of its readings: they stand together."""
        return self._by_sheet

    @cached_property
    def _by_sheet(self) -> tuple[tuple[BenchSheet, slice], ...]:
        found, start = [], 0
        for _, group in groupby(self.sheets, key=id):
            stop = start + len(list(group))
            found.append((self.sheets[start], slice(start, stop)))
            start = stop
        return tuple(found)

    @property
    def flows(self) -> Flags:
        """Return which readings are of a flow at all."""
        return np.isfinite(self.flow_m3_s) & (self.flow_m3_s > LEAST_FLOW_M3_S)

    @property
    def side(self) -> Side:
        """Return the side of the head."""
        return self.correction.side


def correct_side(job: Job, side: Side, sheets: Sequence[BenchSheet], shut: bool = False) -> list[Rows]:
    """Correct every reading of one side, bench by bench.

    Parameters
    ----------
    job : Job
        Gives the reference, the pressure rule and the benches.
    side : {"intake", "exhaust"}
        Side of the head.
    sheets : sequence of BenchSheet
        Sheets to read.
    shut : bool
        True for sheets on which no valve opens (a plate, a leak): readings need no lift then.

    Returns
    -------
    list of Rows
        One for each bench that read this side.
    """
    by_bench: dict[Bench, list[tuple[BenchSheet, Reading]]] = {}
    for sheet in sheets:
        # At lift 0 every curve is at 0; what is read there is a leak, not a flow.
        pairs = [(sheet, reading) for reading in sheet.readings[side] if shut or reading.lift_m > 0]
        if pairs:
            by_bench.setdefault(job.bench_of(sheet), []).extend(pairs)
    return [_correct(job, side, with_defaults(bench), pairs) for bench, pairs in by_bench.items()]


def _correct(job: Job, side: Side, bench: Bench, pairs: list[tuple[BenchSheet, Reading]]) -> Rows:
    standard = STANDARD_AIRS[job.standard_air]
    place = bench.intake_meter if side == "intake" else bench.exhaust_meter
    sheets, readings = zip(*pairs, strict=True)
    used = {id(sheet): used_air(sheet.air, bench, standard) for sheet in {id(s): s for s in sheets}.values()}
    airs = tuple(used[id(sheet)] for sheet in sheets)
    state, scaled = _state(job, bench, standard, pairs, airs)
    base = np.array([_base(side, sheet, reading) for sheet, reading in pairs])
    by_mass = np.array([reading.mass_flow_kg_s is not None for reading in readings])
    plate_density = np.full(base.size, np.nan)
    plate = ~np.isnan(
        [reading.plate_drop_pa if reading.plate_drop_pa is not None else np.nan for reading in readings]
    )
    if plate.any() and bench.plate_diameter_m is not None:
        plate_density, mass = _through_plate(side, place, bench, state)
        base, by_mass = np.where(plate, mass, base), by_mass | plate
    correction = Correction(
        side,
        job.pressure_rule,
        place,
        standard,
        STANDARD_AIRS[bench.scale_air or job.standard_air],
        job.reference_pressure_pa,
        by_mass,
        np.where(plate, plate_density, np.nan),
        np.array([_printed_factor(sheet, standard) for sheet in sheets]),
        scaled,
    )
    density, pressure = correction.density_factor(state), correction.pressure_factor(state)
    return Rows(
        bench,
        correction,
        state,
        airs,
        sheets,
        readings,
        np.array([reading.lift_m for reading in readings]),
        base,
        np.zeros(base.size),
        np.ones(base.size),
        density,
        pressure,
        base * density * pressure,
    )


def _through_plate(side: Side, place: MeterPlace, bench: Bench, state: Conditions) -> tuple[Array, Array]:
    """Return the density before the plate and the mass flow through it."""
    before, _ = static_pressures(side, place, state.ambient_pa, state.test_pressure_pa, state.meter_drop_pa)
    density, _ = stream_densities(side, place, state)
    meter_k = np.where(
        np.isnan(state.meter_temperature_k), state.air_temperature_k, state.meter_temperature_k
    )
    mass = plate_mass_flow(
        state.meter_drop_pa,
        before,
        density,
        dry_air_viscosity(meter_k),
        bench.plate_diameter_m,
        bench.pipe_diameter_m,
        bench.taps or "corner",
    )
    return density, mass


def _base(side: Side, sheet: BenchSheet, reading: Reading) -> float:
    """Return what the meter itself said, nan where this bench's meter cannot be read."""
    if reading.flow_m3_s is not None:
        return reading.flow_m3_s
    if reading.mass_flow_kg_s is not None:
        return reading.mass_flow_kg_s
    printed = sheet.printed
    whole = reading.range_m3_s or (
        printed.intake_range_m3_s if side == "intake" else printed.exhaust_range_m3_s
    )
    if reading.range_fraction is not None and whole is not None:
        return reading.range_fraction * whole
    return np.nan


def _printed_factor(sheet: BenchSheet, standard: StandardAir) -> float:
    if not sheet.printed.already_corrected:
        return np.nan
    return float(np.sqrt(_printed_air(sheet, standard).density_kg_m3 / standard.density_kg_m3))


def _printed_air(sheet: BenchSheet, standard: StandardAir) -> StandardAir:
    """Return the air that a bench corrected its print-out to; the job's where it does not say."""
    return STANDARD_AIRS[sheet.printed.corrected_to_air or standard.name]


def _state(
    job: Job,
    bench: Bench,
    standard: StandardAir,
    pairs: list[tuple[BenchSheet, Reading]],
    airs: tuple[UsedAir, ...],
) -> tuple[Conditions, Flags]:
    columns: list[tuple[float, ...]] = []
    for (sheet, reading), air in zip(pairs, airs, strict=True):
        drop = reading.test_pressure_pa or sheet.air.test_pressure_pa
        if sheet.printed.already_corrected:
            drop = sheet.printed.corrected_to_pressure_pa or job.reference_pressure_pa
        columns.append(
            (
                # Without a drop nothing is scaled; the density ratio then needs some drop,
                # and the reference is the likeliest.
                drop or job.reference_pressure_pa,
                _printed_air(sheet, standard).pressure_pa
                if sheet.printed.already_corrected
                else air.ambient_pa,
                air.temperature_k,
                air.humidity,
                reading.meter_temperature_k or sheet.air.meter_temperature_k or np.nan,
                sheet.air.piece_temperature_k or np.nan,
                reading.plate_drop_pa or 0.0,  # the meter's own drop: known only where it is the reading
                bench.calibrated_at_pa or drop or job.reference_pressure_pa,
                drop is not None,
            )
        )
    *state, scaled = np.array(columns, dtype=float).T.copy()  # a column is worked on in one piece
    return Conditions(*state), scaled.astype(bool)
