"""What a job file says of power: ``[dyno]``, ``[power]``, and chambers that the engine can have."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from core.chambers import ratio_of_chamber
from core.compression import cylinder_volume
from core.dyno import STANDARDS
from core.files import fields
from core.files.fields import Choice, Field, Quantity
from core.files.log import Log, did_you_mean, folded
from core.files.toml import Path, TomlFile
from core.job import Dyno, Engine, Stage

LEAST_RATIO, GREATEST_RATIO = 2.0, 30.0  # of any engine that burns with a spark (judgement)

DYNO = {
    "power": Field("power_w", Quantity("power", "0.5 kW", "5000 kW")),
    "stage": Field("stage", fields.name),
    "standard": Field("standard", Choice(*STANDARDS)),
}
_MISSING = {
    "power": 'Add power = "95 kW": the corrected peak.',
    "stage": 'Add stage = "...": the stage that the engine was at on the dynamometer.',
    "standard": f'Add standard = "SAE J1349"; allowed: {", ".join(STANDARDS)}.',
}
_LEVEL = Quantity("fraction", "0 %", "300 %")
_CENTRELINE = Quantity("angle", "60 deg", "150 deg")
# Limits lie inside those of the breathing model, in units that a person writes.
POWER = {
    "runner_length": Field("runner_length_m", Quantity("length", "50 mm", "1.5 m")),
    "runner_diameter": Field("runner_diameter_m", Quantity("length", "10 mm", "150 mm")),
    "intake_temperature": Field("intake_temperature_k", Quantity("temperature", "-20 degC", "105 degC")),
    "back_pressure": Field("back_pressure_pa", Quantity("pressure", "0 kPa", "50 kPa")),
    "pulse_level": Field("pulse_level", _LEVEL),
    "friction_level": Field("friction_level", Quantity("fraction", "0 %", "200 %")),
    "burn_duration": Field("burn_duration_rad", Quantity("angle", "15 deg", "100 deg")),
    "burn_centre": Field("burn_centre_rad", Quantity("angle", "-5 deg", "30 deg")),
    "heat_level": Field("heat_level", _LEVEL),
    "wall_temperature": Field("wall_temperature_k", Quantity("temperature", "30 degC", "425 degC")),
    "fuel_level": Field("fuel_level", Quantity("fraction", "50 %", "120 %")),
    "intake_centreline": Field("intake_centreline_rad", _CENTRELINE),
    "exhaust_centreline": Field("exhaust_centreline_rad", _CENTRELINE),
    "lobe_stretch": Field("lobe_stretch", Quantity("fraction", "90 %", "110 %")),
    "flow_level": Field("flow_level", Quantity("fraction", "70 %", "130 %")),
}
KEYS = {field.attribute: key for key, field in POWER.items()}
"""Key of ``[power]`` by the field of ``PowerSettings`` that it sets."""


def read_dyno(file: TomlFile, stages: Iterable[Stage]) -> Dyno | None:
    """Return the known peak of a job file.

    Parameters
    ----------
    file : TomlFile
        The job file; what is wrong goes to its log.
    stages : iterable of Stage
        Stages that it lists; without any, `with_stage` finds the stage later.

    Returns
    -------
    Dyno or None
        None where there is none, or it says too little.
    """
    table = file.table(file.data, ("dyno",))
    if table is None:
        return None
    values = file.read(table, ("dyno",), DYNO)
    for key, cure in _MISSING.items():
        if key not in table:
            file.problem(("dyno",), f"[dyno] has no {key}.", cure)
    names = _by_name(stages)
    if names and "stage" in values and folded(values["stage"]) not in names:
        file.problem(("dyno", "stage"), *_unknown(values["stage"], names))
    line = file.lines.get(("dyno", "stage"), file.lines.get(("dyno",)))
    return Dyno(**values, line=line) if len(values) == len(DYNO) else None


def with_stage(dyno: Dyno | None, stages: Iterable[Stage], log: Log) -> Dyno | None:
    """Return the known peak with its stage as the job writes it.

    Parameters
    ----------
    dyno : Dyno or None
        As read.
    stages : iterable of Stage
        Stages of the job, whether its job file or its sheets name them.
    log : Log
        Takes the problem where no stage has that name.

    Returns
    -------
    Dyno or None
        None where there is none, or its stage is not known.
    """
    names = _by_name(stages)
    if dyno is None or folded(dyno.stage) in names:
        return dyno and replace(dyno, stage=names[folded(dyno.stage)])
    log.problem(*_unknown(dyno.stage, names), dyno.line)
    return None


def _by_name(stages: Iterable[Stage]) -> dict[str, str]:
    return {folded(stage.name): stage.name for stage in stages}


def _unknown(stage: str, names: Mapping[str, str]) -> tuple[str, str]:
    text = f"[dyno] '{stage}' is no stage of this job{did_you_mean(stage, names.values())}."
    return text, f"Allowed: {', '.join(names.values())}."


def read_power(file: TomlFile) -> tuple[tuple[str, float], ...]:
    """Return what a job file knows better than the assumptions of the breathing model.

    Parameters
    ----------
    file : TomlFile
        The job file; what is wrong goes to its log.

    Returns
    -------
    tuple of (str, float)
        Field of ``PowerSettings`` and its value in SI.
    """
    table = file.table(file.data, ("power",))
    return () if table is None else tuple(file.read(table, ("power",), POWER).items())


def check_chambers(file: TomlFile, engine: Engine | None, stages: Mapping[Path, Stage]) -> None:
    """Refuse chambers that leave no clearance, or a ratio that no engine of this kind has.

    Parameters
    ----------
    file : TomlFile
        The job file; what is wrong goes to its log.
    engine : Engine or None
        Its engine.
    stages : mapping of tuple to Stage
        Its stages by where they stand.
    """
    chambers = {p: s.chamber_volume_m3 for p, s in stages.items() if s.chamber_volume_m3 is not None}
    first = next(iter(chambers.values()), 0.0)
    for path, chamber in chambers.items():
        try:
            ratio = ratio_of_chamber(engine, first, chamber)
        except ValueError:
            text, cure = _no_clearance(engine, first, chamber)
            file.problem((*path, "chamber_volume"), text, cure)
            continue
        if ratio is not None and not LEAST_RATIO <= ratio <= GREATEST_RATIO:
            file.problem(
                (*path, "chamber_volume"),
                f"A chamber of {chamber * 1e6:g} cc makes a compression ratio of {ratio:.3g}, which is not "
                f"possible here. Allowed: {LEAST_RATIO:g} to {GREATEST_RATIO:g}.",
                "Check chamber volumes, bore, stroke and what else makes the clearance.",
            )


def _no_clearance(engine: Engine, first_m3: float, chamber_m3: float) -> tuple[str, str]:
    lead = f"A chamber of {chamber_m3 * 1e6:g} cc leaves no clearance"
    if engine.compression_ratio is None:
        rest = engine.gasket_volume_m3 + engine.deck_volume_m3 + engine.dish_volume_m3
        text = f"{lead}: gasket, deck and dish are {rest * 1e6:g} cc together."
        return text, "Check chamber_volume, gasket_volume, deck_volume and dish_volume."
    left = cylinder_volume(engine.bore_m, engine.stroke_m) / (engine.compression_ratio - 1)
    text = (
        f"{lead}: with the first stage's {first_m3 * 1e6:g} cc the whole of it is {left * 1e6:.1f} cc at "
        f"compression_ratio {engine.compression_ratio:g}."
    )
    return text, "Check both volumes, compression_ratio, bore and stroke."
