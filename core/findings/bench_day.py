"""What a bench day leaves to say: its weather, its warmth, its plate and its leaks."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

import numpy as np

from core.air import standard_barometer
from core.bench import pressure_factor
from core.calibration import ACTION, Calibration
from core.conditions import used_air, with_defaults
from core.constants import STANDARD_AIRS
from core.job import SIDES, BenchSheet, Finding, Job, Side
from core.results import LeakCheck

# Weather moves a barometer by some 35 hPa either way; more is another altitude (judgement).
WEATHER_PA = 3500.0
WARM_K = 10.0  # a meter this much warmer than the room reads 1.7 % of flow differently (judgement)
RULES_APART = 0.01  # where both rules for the pressure are this far apart, it is worth knowing (judgement)
SCALE_OFF = 0.05  # a scale this far off wants more than a factor (judgement)
LEAK_LARGE = 0.02  # of the largest flow (judgement)


def of_air(job: Job) -> list[Finding]:
    """Say where a barometer or a temperature is not what a flow bench usually sees.

    Parameters
    ----------
    job : Job
        What was measured.

    Returns
    -------
    list of Finding
        At most one a matter and sheet.

    References
    ----------
    ISO 2533:1975 for the pressure at an altitude.
    """
    read = [s for s in job.sheets if s.role != "leak" and not s.printed.already_corrected]
    read += [s for s in (job.target.sheets if job.target else ()) if not s.printed.already_corrected]
    stated: dict[str | None, list[float]] = {}
    for sheet in read:
        if sheet.air.barometer_pa is not None:
            stated.setdefault(job.bench_of(sheet).name, []).append(sheet.air.barometer_pa)
    usual = {bench: float(np.median(pressures)) for bench, pressures in stated.items()}
    found = []
    for sheet in read:
        found += _of_barometer(sheet, usual.get(job.bench_of(sheet).name))
        found += _of_warmth(job, sheet)
    return found


def _of_barometer(sheet: BenchSheet, usual: float | None) -> list[Finding]:
    pressure, altitude = sheet.air.barometer_pa, sheet.air.altitude_m
    if pressure is None:
        return []
    line = sheet.line_of("barometer")
    cure = "Put in the pressure in the room (station pressure)."
    if altitude is not None:
        expected = float(standard_barometer(altitude))
        if abs(pressure - expected) > WEATHER_PA:
            text = "{}: {} does not go with an altitude of {} m, where it is near {}."
            if pressure - float(standard_barometer(0.0)) > -WEATHER_PA and pressure > expected:
                text += " It looks reduced to sea level."
            values = (
                (sheet.file, "text"),
                (pressure, "barometer"),
                (f"{altitude:.0f}", "text"),
                (expected, "barometer"),
            )
            return [Finding("look", "barometer-reduced", text, cure, values, sheet.file, line, sheet.stage)]
        return []
    if usual is not None and abs(pressure - usual) > 2 * WEATHER_PA:
        text = "{}: {} is far from {}, which this bench's sheets usually state. Reduced to sea level?"
        values = ((sheet.file, "text"), (pressure, "barometer"), (usual, "barometer"))
        return [Finding("look", "barometer-reduced", text, cure, values, sheet.file, line, sheet.stage)]
    return []


def _of_warmth(job: Job, sheet: BenchSheet) -> list[Finding]:
    air = used_air(sheet.air, with_defaults(job.bench_of(sheet)), STANDARD_AIRS[job.standard_air])
    own = [r.meter_temperature_k for _, rows in sheet.readings.items() for r in rows if r.meter_temperature_k]
    warmest = max([*own, sheet.air.meter_temperature_k or 0.0])
    if warmest - air.temperature_k < WARM_K:
        return []
    text = "{}: the meter was {} warmer than the room, worth {} of the flow."
    cure = "Let the bench settle and read the temperature at the meter again."
    effect = (warmest / air.temperature_k) ** 0.5 - 1
    values = (
        (sheet.file, "text"),
        (warmest - air.temperature_k, "temperature difference"),
        (effect, "fraction"),
    )
    line = sheet.line_of("meter temperature")
    return [Finding("look", "meter-warm", text, cure, values, sheet.file, line, sheet.stage)]


def of_pressures(job: Job) -> list[Finding]:
    """Say where a side was tested so far from the reference that the rule for it matters.

    Parameters
    ----------
    job : Job
        What was measured.

    Returns
    -------
    list of Finding
        At most one a side: `look` where stages were tested at different such pressures, since
        the rule is then in their gain, else `note`.

    References
    ----------
    Both rules: core.bench.pressure_factor.
    """
    standard = STANDARD_AIRS[job.standard_air]
    found = []
    for side in SIDES:
        apart: dict[float, float] = {}
        for sheet in job.sheets:
            if sheet.role != "stage" or sheet.printed.already_corrected:
                continue
            air = used_air(sheet.air, with_defaults(job.bench_of(sheet)), standard)
            for drop in {r.test_pressure_pa or sheet.air.test_pressure_pa for r in sheet.readings[side]}:
                if drop is not None and drop not in apart:
                    apart[drop] = _rules_apart(job, side, drop, air.ambient_pa)
        if apart:
            found += _of_rules(side, job, apart)
    return found


def _rules_apart(job: Job, side: Side, drop_pa: float, ambient_pa: float) -> float:
    standard = STANDARD_AIRS[job.standard_air]
    root, flux = (
        pressure_factor(rule, side, drop_pa, ambient_pa, job.reference_pressure_pa, standard.pressure_pa)
        for rule in ("square root", "isentropic")
    )
    return float(root / flux - 1)


def _of_rules(side: Side, job: Job, apart: dict[float, float]) -> list[Finding]:
    far = max(apart, key=lambda drop: abs(apart[drop]))
    if abs(apart[far]) < RULES_APART:
        return []
    differs = max(apart.values()) - min(apart.values())
    text = (
        "The {} was tested at {} and is shown at {}: the two rules for that differ by {}, which is in the ±."
    )
    values = (
        (side, "text"),
        (far, "pressure"),
        (job.reference_pressure_pa, "pressure"),
        (abs(apart[far]), "fraction"),
    )
    if differs < RULES_APART:
        return [Finding("note", "pressure-far", text, "", values, side=side)]
    text += " Stages were tested at different pressures, so {} of it stays in their gains."
    cure = "Test the stages that are compared at one pressure, near the reference."
    return [Finding("look", "pressure-rule", text, cure, (*values, (differs, "fraction")), side=side)]


def of_plates(calibrations: Iterable[Calibration]) -> list[Finding]:
    """Say where a plate read off, or drifted.

    Parameters
    ----------
    calibrations : iterable of Calibration
        Of one side, bench by bench.

    Returns
    -------
    list of Finding
        One for each reading outside the limits; else one for a drift over the days.

    References
    ----------
    Shewhart control charts: ISO 7870-2:2013. Trend: slope of least squares over its
    standard uncertainty, JCGM 100:2008, H.3.
    """
    found = []
    for one in calibrations:
        who = ((one.bench or "The bench", "text"), (one.side, "text"))
        off = [reading for reading in one.readings if one.departs(reading)]
        for reading in off:
            read = one.factor / reading.factor - 1
            text = "{}, {}: the plate in {} read {} " + _word(read) + " beside the other days. "
            text += (
                "Flows of that day take its own factor." if reading.date else "Without a date it is left out."
            )
            cure = "Read the plate again; look for a leak, a wrong plate or range, a shifted zero."
            values = (*who, (reading.file, "text"), (abs(read), "fraction"))
            found.append(
                Finding(
                    "look", "calibration-off", text, cure, values, reading.file, reading.line, side=one.side
                )
            )
        drift = None if off else _drift(one)
        if drift is not None:
            text = "{}, {}: the plate's readings drift by {} over the days it was read, to the "
            text += _word(drift) + " side."
            cure = "Find out why before comparing stages of the first and the last day."
            found.append(
                Finding(
                    "look", "calibration-drift", text, cure, (*who, (abs(drift), "fraction")), side=one.side
                )
            )
        if abs(one.factor - 1) > SCALE_OFF:
            off_by = 1 / one.factor - 1
            text = "{}, {}: by its plate the scale reads {} " + _word(off_by) + "; the factor mends that."
            cure = "Have the scale mended: it cannot be told whether it is off alike at every flow."
            values = (*who, (abs(off_by), "fraction"))
            found.append(Finding("look", "scale-off", text, cure, values, side=one.side))
    return found


def _word(difference: float) -> str:
    return "high" if difference > 0 else "low"


def _drift(one: Calibration) -> float | None:
    """Return how far the plate's readings moved from the first day to the last, if that is no accident."""
    dated = [(r.date.toordinal(), 1 / r.factor) for r in one.readings if isinstance(r.date, dt.date)]
    if len({day for day, _ in dated}) < 3:
        return None
    day, read = np.array(dated, float).T
    day -= day.mean()
    slope = float(day @ read / (day @ day)) * one.factor
    if abs(slope) * float(day @ day) ** 0.5 < ACTION * one.of_reading:
        return None
    return slope * float(np.ptp(day))


def of_leaks(leaks: Iterable[LeakCheck]) -> list[Finding]:
    """Say which leaks are large.

    Parameters
    ----------
    leaks : iterable of LeakCheck
        Leaks beside the largest flow of their side.

    Returns
    -------
    list of Finding
        One a large leak.
    """
    text = "{}: the {} leaks {}, which is {} of its largest flow."
    cure = "Seal the fixture and the valves; a leak this large seldom stays the same."
    return [
        Finding(
            "look",
            "leak-large",
            text,
            cure,
            (
                (leak.file, "text"),
                (leak.side, "text"),
                (leak.flow_m3_s, "flow"),
                (leak.share_of_peak, "fraction"),
            ),
            leak.file,
            side=leak.side,
        )
        for leak in leaks
        if leak.share_of_peak is not None and leak.share_of_peak > LEAK_LARGE
    ]


def of_days(job: Job) -> list[Finding]:
    """Say that stages were read on different days or benches.

    Parameters
    ----------
    job : Job
        What was measured.

    Returns
    -------
    list of Finding
        At most one of each.
    """
    sheets = [sheet for sheet in job.sheets if sheet.role == "stage"]
    days = {sheet.date for sheet in sheets if sheet.date is not None}
    benches = list(dict.fromkeys(job.bench_of(sheet).name for sheet in sheets))
    found = []
    if len(days) > 1:
        text = (
            "The stages were read on {} days: what the weather of a day is uncertain by is in their gains' ±."
        )
        found.append(Finding("note", "different-days", text, "", ((str(len(days)), "text"),)))
    if len(benches) > 1:
        text = (
            "The stages were read on different benches ({}): "
            "their calibrations do not cancel in gains between them."
        )
        named = ", ".join(name or "unnamed" for name in benches)
        found.append(Finding("note", "different-benches", text, "", ((named, "text"),)))
    return found
