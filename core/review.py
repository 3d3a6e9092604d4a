"""Everything worked out from a job, once: ``review(job)``."""

from __future__ import annotations

import numpy as np

from core.balance import port_balance
from core.bench_checks import leak_shares, plate_history
from core.ceiling import flow_ceiling, no_ceiling_because
from core.chambers import compression_lines, stage_chamber
from core.constants import STANDARD_AIRS
from core.findings import bench_day, comparisons, in_order, sheets
from core.findings.slips import of_swapped_sides
from core.findings.target import of_target
from core.job import SIDES, Finding, Job, Sides, Stage
from core.results import Reference, Review, StageResult
from core.side import SideWork
from core.stages import numbers, valves_open
from core.target import against_target


def review(job: Job) -> Review:
    """Work out everything from a job.

    Parameters
    ----------
    job : Job
        What was measured. Readers have checked that it can be worked on.

    Returns
    -------
    Review
        Curves, gains, verdicts, power level and findings.
    """
    sides = worked_sides(job)
    compression = compression_lines(job)
    ratios = {line.stage: line.ratio for line in compression}
    stages = tuple(_stage_result(job, stage, sides, ratios.get(stage.name)) for stage in job.stages)
    gains = tuple(gain for side in SIDES for gain in sides[side].gains())
    usable = Sides(*(sides[side].usable_lift_m for side in SIDES))
    standard = STANDARD_AIRS[job.standard_air]
    found = [*job.findings, *(finding for side in SIDES for finding in sides[side].findings)]
    found += sheets.of_job(job)
    repeatability = tuple(r for side in SIDES for r in sides[side].repeatability())
    found += comparisons.of_repeats(repeatability)
    found += comparisons.of_stages(stages, Sides(*(sides[s].cam_net_lift_m for s in SIDES)))
    found += comparisons.of_gains(gains, stages)
    leak_checks = tuple(leak for side in SIDES for leak in leak_shares(sides[side].leaks, side, stages))
    found += bench_day.of_air(job) + bench_day.of_pressures(job) + bench_day.of_days(job)
    found += [one for side in SIDES for one in bench_day.of_plates(sides[side].calibrations.values())]
    found += bench_day.of_leaks(leak_checks)
    target = against_target(job, sides, gains)
    found += of_target(job, target, stages, usable)
    why_not = no_ceiling_because(job.engine)
    if why_not is not None:
        found.append(Finding("note", "no-power", "No power figure, because {}.", values=((why_not, "text"),)))
    return Review(
        job,
        Reference(job.reference_pressure_pa, standard.density_kg_m3, standard.name, job.pressure_rule),
        usable,
        Sides(*(sides[side].cam_net_lift_m for side in SIDES)),
        stages,
        gains,
        tuple(
            flow_ceiling(
                stage.name,
                stage.intake.peak_flow_m3_s,
                job.engine.cylinders,
                job.reference_pressure_pa,
                job.standard_air,
            )
            for stage in stages
            if why_not is None and _feeds(job, stage, sides)
        ),
        repeatability,
        in_order(found),
        tuple(entry for side in SIDES for entry in plate_history(sides[side].calibrations.values())),
        leak_checks,
        tuple(one for side in SIDES if (one := port_balance(sides[side])) is not None),
        compression,
        target,
    )


def worked_sides(job: Job) -> Sides[SideWork]:
    """Return both sides of a job, with the findings that only the two together give.

    Parameters
    ----------
    job : Job
        What was measured.

    Returns
    -------
    Sides
        The work on each side, ready for curves and gains.
    """
    sides = Sides(*(SideWork(job, side) for side in SIDES))
    swapped = of_swapped_sides(Sides(*(sides[side].profiles for side in SIDES)))
    for side in SIDES:
        sides[side].notice(swapped)
    return sides


def _feeds(job: Job, stage: StageResult, sides: Sides[SideWork]) -> bool:
    """Return whether a stage's intake is a whole cylinder's at the reference: all valves, a known drop."""
    curve = stage.intake
    if curve is None or not curve.at_reference or curve.peak_flow_m3_s is None:
        return False
    valve = job.valve_of(stage.name, "intake")
    return valves_open(valve, sides.intake.sheets["stage", stage.name]) == (valve.valves_per_cylinder or 1)


def _stage_result(job: Job, stage: Stage, sides: Sides[SideWork], ratio: float | None) -> StageResult:
    intake, exhaust = (sides[side].curves.get(stage.name) for side in SIDES)
    lifts, flow_ratio = (), ()
    if intake is not None and exhaust is not None:
        one, two = intake.measured, exhaust.measured
        both = one.lift_m[one.measured & two.is_measured(one.lift_m)]
        gone = [lift for _, work in sides.items() for lift in work.stopped.get(("stage", stage.name), ())]
        both = both[~np.isin(both, gone)]
        lifts, flow_ratio = numbers(both), numbers(two.at(both) / one.at(both))
    chamber, inherited = stage_chamber(job, stage.name)
    return StageResult(
        stage.name,
        stage.price,
        stage.planned,
        intake.result if intake else None,
        exhaust.result if exhaust else None,
        lifts,
        flow_ratio,
        chamber,
        inherited,
        ratio,
    )
