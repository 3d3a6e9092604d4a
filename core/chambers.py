"""Compression stage by stage: a ledger of its own, so that it is never booked as flow."""

from __future__ import annotations

from core.compression import (
    compression_ratio,
    cylinder_volume,
    otto_effect,
    ratio_with_chamber,
    surfacing_depth,
)
from core.job import Engine, Job
from core.results import CompressionLine


def stage_chamber(job: Job, stage: str) -> tuple[float | None, bool]:
    """Return a stage's chamber volume, else the last one known before it.

    Parameters
    ----------
    job : Job
        What was measured.
    stage : str
        Name of the stage.

    Returns
    -------
    tuple of (float or None, bool)
        Volume [m3], and whether it is inherited from an earlier stage.
    """
    known = None
    for done in job.stages:
        known = done.chamber_volume_m3 if done.chamber_volume_m3 is not None else known
        if done.name == stage:
            return known, known is not None and done.chamber_volume_m3 is None
    return None, False


def ratio_of_chamber(engine: Engine | None, first_m3: float, chamber_m3: float) -> float | None:
    """Return the compression ratio that an engine has with a chamber.

    Parameters
    ----------
    engine : Engine or None
        Engine of the job. Its stated ratio is the one with the first known chamber; without
        one, gasket, deck and dish make the ratio where all three are stated.
    first_m3 : float
        First known chamber volume. [m3]
    chamber_m3 : float
        Chamber volume now. [m3]

    Returns
    -------
    float or None
        Ratio [1]; None where the engine does not say enough.

    Raises
    ------
    ValueError
        If no clearance is left.
    """
    if engine is None or engine.bore_m is None or engine.stroke_m is None:
        return None
    swept = cylinder_volume(engine.bore_m, engine.stroke_m)
    if engine.compression_ratio is not None:
        return float(ratio_with_chamber(engine.compression_ratio, swept, first_m3, chamber_m3))
    rest = (engine.gasket_volume_m3, engine.deck_volume_m3, engine.dish_volume_m3)
    if None in rest:
        return None
    return float(compression_ratio(swept, chamber_m3 + sum(rest)))


def compression_lines(job: Job, plan_area_m2: float | None = None) -> tuple[CompressionLine, ...]:
    """Return the compression ledger: a line for each stage from the first known chamber on.

    Parameters
    ----------
    job : Job
        What was measured. Readers have checked that every chamber leaves clearance.
    plan_area_m2 : float, optional
        Plan area of one chamber at the deck, where the job states none. [m2]

    Returns
    -------
    tuple of CompressionLine
        Empty where no chamber volume is stated.
    """
    base = next((stage for stage in job.stages if stage.chamber_volume_m3 is not None), None)
    if base is None:
        return ()
    first = base.chamber_volume_m3
    area = (job.engine and job.engine.chamber_plan_area_m2) or plan_area_m2
    base_ratio = ratio_of_chamber(job.engine, first, first)
    lines = []
    for stage in job.stages[job.stages.index(base) :]:
        chamber, inherited = stage_chamber(job, stage.name)
        ratio = ratio_of_chamber(job.engine, first, chamber)
        low, high = (None, None) if ratio is None else otto_effect(ratio, base_ratio)
        added = chamber - first
        depth = surfacing_depth(area, added) if area is not None and added > 0 else None
        lines.append(
            CompressionLine(stage.name, base.name, chamber, inherited, added, ratio, low, high, depth)
        )
    return tuple(lines)
