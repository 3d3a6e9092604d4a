"""The bench against a plate of certified flow, and against itself with the valves shut.

A calibration sheet is a plate instead of a head: certified over measured flow is the
bench's factor for that side. The days are pooled, since the scatter of one reading of the
plate is no news about the bench; a day outside the control limits keeps its own factor.
A leak sheet is the head with its valves shut: that flow never went through the valve.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from core.bench import pressure_factor
from core.constants import STANDARD_AIRS
from core.job import BenchSheet, Job, Side
from core.rows import Rows, correct_side

Array = NDArray[np.float64]

# Action limits in standard uncertainties of one plate reading. A control chart has them at 3
# (Shewhart, ISO 7870-2:2013), which stops one sound reading in 370; a job has several, so a
# little more (judgement).
ACTION = 3.5
LEAK_DOUBT = 0.1  # relative standard uncertainty of a leak reading (judgement)


@dataclass(frozen=True)
class PlateReading:
    """One calibration sheet: what the plate should have read, over what it read."""

    file: str
    line: int | None
    date: dt.date | None
    factor: float


@dataclass(frozen=True, eq=False)
class Calibration:
    """The factor of one side of one bench."""

    bench: str | None
    side: Side
    readings: tuple[PlateReading, ...]
    factor: float  # pooled over the days within limits
    certificate: float  # relative standard uncertainty of the plate
    of_reading: float  # relative standard uncertainty of one reading of the plate

    @property
    def reach(self) -> float:
        """Return how far the action limits lie from the pooled factor, relative."""
        return _reach(self.of_reading, len(self.readings))

    def departs(self, reading: PlateReading) -> bool:
        """Return whether a reading lies outside the action limits around the pooled factor."""
        return abs(reading.factor / self.factor - 1) > self.reach

    def of_day(self, date: dt.date | None) -> tuple[float, float, dt.date | None]:
        """Return the factor for a day, its relative standard uncertainty, and the day it belongs to."""
        own = [r.factor for r in self.readings if r.date == date and date is not None and self.departs(r)]
        if own:
            return float(np.mean(own)), self.of_reading / len(own) ** 0.5, date
        pooled = sum(not self.departs(reading) for reading in self.readings)
        return self.factor, self.of_reading / max(pooled, 1) ** 0.5, None


def calibrations(job: Job, side: Side) -> dict[str | None, Calibration]:
    """Return the calibration of one side of each bench that has calibration sheets.

    Parameters
    ----------
    job : Job
        Job with its calibration sheets.
    side : {"intake", "exhaust"}
        Side of the head.

    Returns
    -------
    dict
        Calibration under the bench's name.

    References
    ----------
    Pooling and limits: Shewhart control charts, ISO 7870-2:2013.
    """
    sheets = [s for s in job.sheets if s.role == "calibration" and s.certificate.flow_m3_s is not None]
    found = {}
    for rows in correct_side(job, side, sheets, shut=True):
        readings = []
        for sheet, mine in rows.by_sheet():
            measured = float(np.mean(rows.flow_m3_s[mine]))
            if measured > 0:
                factor = _certified(job, side, sheet) / measured
                readings.append(PlateReading(sheet.file, rows.readings[mine.start].line, sheet.date, factor))
        if not readings:
            continue
        stated = [
            s.certificate.uncertainty for s, _ in rows.by_sheet() if s.certificate.uncertainty is not None
        ]
        certificate = max(stated) if stated else rows.bench.calibration
        factor = _centre([reading.factor for reading in readings], rows.bench.repeatability)
        found[rows.bench.name] = Calibration(
            rows.bench.name, side, tuple(readings), factor, certificate, rows.bench.repeatability
        )
    return found


def _certified(job: Job, side: Side, sheet: BenchSheet) -> float:
    """Return the plate's certified flow at the job's reference, in its standard air."""
    certificate, standard = sheet.certificate, STANDARD_AIRS[job.standard_air]
    air = STANDARD_AIRS[certificate.air or job.standard_air]
    at = certificate.at_pa or job.reference_pressure_pa
    factor = pressure_factor(
        job.pressure_rule, side, at, air.pressure_pa, job.reference_pressure_pa, standard.pressure_pa
    )
    return float(certificate.flow_m3_s * factor * np.sqrt(air.density_kg_m3 / standard.density_kg_m3))


def _centre(factors: Sequence[float], of_reading: float) -> float:
    """Return the mean of the factors within action limits of their median."""
    middle = np.median(factors)
    within = [f for f in factors if abs(f / middle - 1) <= _reach(of_reading, len(factors))]
    return float(np.mean(within or factors))


def _reach(of_reading: float, readings: int) -> float:
    """Return the action limits around a pooled factor, relative.

    A reading is judged against the others, whose mean scatters, too. Of two readings none
    can be told to be the one that is off: each lies half their difference from the middle.
    """
    if readings == 2:
        return ACTION * of_reading / 2**0.5
    return ACTION * of_reading * (1 + 1 / max(readings - 1, 1)) ** 0.5


@dataclass(frozen=True)
class Leak:
    """What one leak sheet read on one side, in the meter's own quantity."""

    sheet: BenchSheet
    base: float
    test_pressure_pa: float
    flow_m3_s: float


def leaks(job: Job, side: Side) -> list[Leak]:
    """Return what the leak sheets read on one side.

    Parameters
    ----------
    job : Job
        Job with its leak sheets.
    side : {"intake", "exhaust"}
        Side of the head.

    Returns
    -------
    list of Leak
        One for each leak sheet that has this side and can be read.
    """
    sheets = [sheet for sheet in job.sheets if sheet.role == "leak"]
    found = [
        Leak(
            sheet,
            float(np.mean(rows.base[mine])),
            float(np.mean(rows.state.test_pressure_pa[mine])),
            float(np.mean(rows.flow_m3_s[mine])),
        )
        for rows in correct_side(job, side, sheets, shut=True)
        for sheet, mine in rows.by_sheet()
    ]
    return [leak for leak in found if np.isfinite(leak.flow_m3_s)]


def leak_of(leaks: Sequence[Leak], job: Job, sheet: BenchSheet) -> Leak | None:
    """Return the leak that holds for a sheet: of its bench and day, and of its stage if that is said.

    Parameters
    ----------
    leaks : sequence of Leak
        From leaks.
    job : Job
        Gives the benches.
    sheet : BenchSheet
        Sheet of a stage or the target.

    Returns
    -------
    Leak or None
        The closest match; None where no leak test holds for it.
    """
    bench = job.bench_of(sheet)
    fitting = [
        leak
        for leak in leaks
        if job.bench_of(leak.sheet) == bench
        and leak.sheet.date in (None, sheet.date)
        and leak.sheet.stage in (None, sheet.stage)
    ]
    fitting.sort(key=lambda leak: (leak.sheet.stage is None, leak.sheet.date is None))
    return fitting[0] if fitting else None


@dataclass(frozen=True, eq=False)
class Checked:
    """Rows after leak and calibration, and what the calibration is uncertain by."""

    rows: Rows
    calibration: Calibration | None
    leaks: tuple[Leak | None, ...]  # of each sheet, in the order of rows.by_sheet()


def check_rows(job: Job, rows: Rows, calibration: Calibration | None, found: Sequence[Leak]) -> Checked:
    """Subtract the leak and apply the calibration factor.

    What a bench has corrected already is calibrated all the same: its scale is the same scale.

    Parameters
    ----------
    job : Job
        Gives the benches.
    rows : Rows
        Readings of one side on one bench, neither subtracted nor calibrated.
    calibration : Calibration or None
        Of that bench and side.
    found : sequence of Leak
        All leaks of that side.

    Returns
    -------
    Checked
        The same readings with their flows.

    References
    ----------
    A leak is an orifice: its flow goes with the root of the drop (Bernoulli).
    """
    leak, factor = np.zeros(rows.base.size), np.ones(rows.base.size)
    held = []
    for sheet, mine in rows.by_sheet():
        fitting = leak_of(found, job, sheet)
        held.append(fitting)
        if fitting is not None:
            leak[mine] = fitting.base * np.sqrt(rows.state.test_pressure_pa[mine] / fitting.test_pressure_pa)
        if calibration is not None:
            factor[mine] = calibration.of_day(sheet.date)[0]
    flow = (rows.base - leak) * factor * rows.density_factor * rows.pressure_factor
    checked = replace(rows, leak=leak, calibration_factor=factor, flow_m3_s=flow)
    return Checked(checked, calibration, tuple(held))
