"""What sheets and benches leave open, and what is assumed instead."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from core.conditions import BENCH_DEFAULTS, UNCERTAINTIES
from core.job import Bench, BenchSheet, Finding, Job, Level, MeterKind
from core.orifice import DIAMETER_RATIO, LEAST_PLATE_M, PIPE_M, is_covered


class Matter(NamedTuple):
    """Something that sheets may leave open; the text goes on after "2 sheets are"."""

    code: str
    level: Level
    holds: Callable[[BenchSheet], bool]
    text: str
    cure: str


def _has_pressure(sheet: BenchSheet) -> bool:
    rows = [reading for _, readings in sheet.readings.items() for reading in readings]
    return sheet.air.test_pressure_pa is not None or all(r.test_pressure_pa is not None for r in rows)


def _meter_follows_room(sheet: BenchSheet) -> bool:
    rows = [reading for _, readings in sheet.readings.items() for reading in readings]
    return sheet.air.meter_temperature_k is None and any(r.meter_temperature_k is None for r in rows)


_STATE_PRESSURE = "Add # test pressure: 28 inH2O, with the pressure that was used."
DROP = (
    Matter(
        "no-test-pressure",
        "look",
        lambda s: not _has_pressure(s),
        "without a test pressure: flows are shown as read, not scaled to the reference.",
        _STATE_PRESSURE,
    ),
)
WEATHER = (
    Matter(
        "assumed-barometer",
        "note",
        lambda s: s.air.barometer_pa is None and s.air.altitude_m is None,
        "without barometer or altitude: 1013.25 hPa is taken.",
        "Add # barometer: 984 hPa, as read at the bench.",
    ),
    Matter(
        "assumed-altitude",
        "note",
        lambda s: s.air.barometer_pa is None and s.air.altitude_m is not None,
        "without a barometer reading: the standard pressure at the stated altitude is taken.",
        "Add # barometer: 984 hPa, as read at the bench.",
    ),
    Matter(
        "assumed-temperature",
        "note",
        lambda s: s.air.air_temperature_k is None,
        "without air temperature: that of standard air is taken.",
        "Add # air temperature: 21 degC.",
    ),
    Matter(
        "assumed-humidity",
        "note",
        lambda s: s.air.humidity is None,
        "without humidity: dry air is taken.",
        "Add # humidity: 45 %.",
    ),
    Matter(
        "assumed-meter-temperature",
        "note",
        _meter_follows_room,
        "without a meter temperature: the meter is taken to be as warm as the room.",
        "Add # meter temperature: 24 degC.",
    ),
)
CORRECTED_BY_THE_BENCH = (
    Matter(
        "already-corrected",
        "note",
        lambda s: True,
        "already corrected by the bench: its own correction is kept, none is added.",
        "",
    ),
    Matter(
        "corrected-to-what",
        "look",
        lambda s: s.printed.corrected_to_pressure_pa is None or s.printed.corrected_to_air is None,
        "already corrected, but to which pressure or air is not stated: the job's own are taken.",
        "Add # corrected to pressure: 28 inH2O and # corrected to air: ISO 2533.",
    ),
)
ANY = (
    Matter(
        "port-unnamed",
        "note",
        lambda s: s.port is None,
        "without a port: taken as one unnamed port.",
        "Add # port: 2.",
    ),
)
CHECKS = (
    Matter(
        "no-certified-flow",
        "look",
        lambda s: s.role == "calibration" and s.certificate.flow_m3_s is None,
        "of a calibration without a certified flow: no factor can be worked out.",
        "Add # certified flow: 100 L/s, with # certified at: and # certified air:.",
    ),
    Matter(
        "certified-where",
        "look",
        lambda s: s.certificate.flow_m3_s is not None and None in (s.certificate.at_pa, s.certificate.air),
        "of a calibration whose certified flow is of no stated pressure or air: the job's own are taken.",
        "Add # certified at: 28 inH2O and # certified air: ISO 2533.",
    ),
    Matter(
        "check-without-pressure",
        "look",
        lambda s: not (s.printed.already_corrected or _has_pressure(s)),
        "of a plate or a leak without a test pressure: taken as read at the reference pressure.",
        _STATE_PRESSURE,
    ),
)

_WITH_A_SCALE: tuple[MeterKind, ...] = ("volume flow", "percent of range")  # of flow, so set in one state


def of_job(job: Job) -> list[Finding]:
    """Say what sheets and benches leave open, and what is assumed instead.

    Parameters
    ----------
    job : Job
        What was measured.

    Returns
    -------
    list of Finding
        One a matter, with the number of sheets it concerns.
    """
    flows = [s for s in job.sheets if s.role == "stage"] + list(job.target.sheets if job.target else ())
    read = [s for s in flows if not s.printed.already_corrected]
    corrected = [s for s in flows if s.printed.already_corrected]
    checks = [s for s in job.sheets if s.role in ("calibration", "leak")]
    checks += job.target.checks if job.target else ()
    # A leak is subtracted as read, whatever the weather.
    weathered = read + [s for s in checks if s.role == "calibration" and not s.printed.already_corrected]
    work = [s for s in flows if s.role == "stage"]  # which port of a target was read matters to nobody here
    groups = (
        (read, DROP),
        (weathered, WEATHER),
        (corrected, CORRECTED_BY_THE_BENCH),
        (work, ANY),
        (checks, CHECKS),
    )
    every = len(flows) + len(checks)
    found = [_of_sheets(sheets, matter, every) for sheets, matters in groups for matter in matters]
    return [finding for finding in found if finding is not None] + _of_benches(job, read)


def _of_sheets(sheets: list[BenchSheet], matter: Matter, every: int) -> Finding | None:
    """Return one finding for the sheets, of every one there is, that a matter holds for; None for none."""
    mine = [sheet for sheet in sheets if matter.holds(sheet)]
    if not mine:
        return None
    who = f"{len(mine)} sheets are"
    if len(mine) == 1:
        who = f"{mine[0].file} is"
    elif len(mine) == every:
        who = "All sheets are"
    return Finding(
        matter.level, matter.code, "{} " + matter.text, matter.cure, ((who, "text"),), mine[0].file
    )


def _of_benches(job: Job, read: list[BenchSheet]) -> list[Finding]:
    benches = list(dict.fromkeys(job.bench_of(sheet) for sheet in read))
    found = []
    for bench in benches:
        # Which bench it is goes without saying where there is but one.
        who = (bench.name if len(benches) > 1 and bench.name else "the bench", "text")
        if bench.calibration is None:
            text = (
                "No uncertainty of the calibration of {} is stated: {} (standard) is taken. "
                "It cancels in gains on one bench."
            )
            values = (who, (BENCH_DEFAULTS.calibration, "fraction"))
            found.append(
                Finding("note", "assumed-calibration", text, 'Add calibration = "1 %" to [[bench]].', values)
            )
        rest = [
            _key(name)
            for name in UNCERTAINTIES
            if name not in ("calibration", "repeatability") and getattr(bench, name) is None
        ]
        if rest:
            text = "On {}, usual standard uncertainties are taken for {}."
            cure = "State {} in [[bench]]."
            said = ", ".join(key.replace("_", " ") for key in rest)
            values = (who, (said, "text"), (", ".join(rest), "text"))
            found.append(Finding("note", "assumed-readings", text, cure, values))
        if bench.calibrated_at_pa is None and bench.meter in _WITH_A_SCALE:
            text = (
                "At which test pressure the scale of {} was set is not stated: it is taken to hold at each."
            )
            cure = 'Add calibrated_at = "28 inH2O" to [[bench]].'
            found.append(Finding("note", "assumed-scale", text, cure, (who,)))
        found += _of_plate(bench, who)
    return found


def _of_plate(bench: Bench, who: tuple[str, str]) -> list[Finding]:
    """Say that a metering plate's coefficient is an extrapolation, where it is one."""
    if bench.meter != "plate pressure drop" or bench.plate_diameter_m is None:
        return []
    if is_covered(bench.plate_diameter_m, bench.pipe_diameter_m):
        return []
    where = "in a plenum" if bench.pipe_diameter_m is None else "in its pipe"
    text = (
        "The plate of {}, {} {}, is outside what ISO 5167-2 covers: at least {}, in a pipe of {} to {}, "
        "at {} to {} of its diameter. Its coefficient is an extrapolation; it cancels in gains on one bench."
    )
    cure = "Read a plate of certified flow (# role: calibration); its factor puts that right."
    values = (
        who,
        (bench.plate_diameter_m, "length"),
        (where, "text"),
        (LEAST_PLATE_M, "length"),
        *((size, "length") for size in PIPE_M),
        *((ratio, "fraction") for ratio in DIAMETER_RATIO),
    )
    return [Finding("note", "plate-beyond-standard", text, cure, values)]


def _key(field: str) -> str:
    """Return a bench's field as job.toml names it: without the unit."""
    for unit in ("_pa", "_k", "_m"):
        field = field.removesuffix(unit)
    return field
