"""What the target leaves open: a side, a valve's size, lifts, a bench of its own."""

from __future__ import annotations

from core.gains import SAME_LIFT
from core.job import SIDES, Finding, Job, Side, Sides
from core.results import StageResult, TargetResult


def of_target(
    job: Job, target: TargetResult | None, stages: tuple[StageResult, ...], usable_lift_m: Sides[float | None]
) -> list[Finding]:
    """Say where a comparison with the target is less than it seems.

    Parameters
    ----------
    job : Job
        What was measured.
    target : TargetResult or None
        How far the stages are from it.
    stages : tuple of StageResult
        Stages of the job.
    usable_lift_m : Sides
        The cam's net lift, else the least top lift of all stages. [m]

    Returns
    -------
    list of Finding
        At most one a matter and side.
    """
    if target is None:
        return []
    found = []
    for side in SIDES:
        last = next((stage.name for stage in reversed(stages) if stage.side(side)), None)
        if last is None:
            continue
        curve = target.curves[side]
        if curve is None:
            text = "The target {} has no {} that can be used, so that side has nothing to reach."
            values = ((target.name, "text"), (side, "text"))
            cure = f"Add its {side} readings."
            found.append(Finding("note", "target-without-side", text, cure, values, side=side))
            continue
        found += _of_valves(job, target, last, side)
        usable = usable_lift_m[side]
        if usable is not None and curve.lift_m[-1] * SAME_LIFT < usable:
            text = "The target {}, {}: readings stop at {}, below the {} in use: no more is compared."
            values = ((target.name, "text"), (side, "text"), (curve.lift_m[-1], "lift"), (usable, "lift"))
            cure = "Read the target to that lift."
            found.append(Finding("look", "target-short", text, cure, values, side=side))
    if target.own_bench:
        text = "The target {} was not read on this job's bench: what either bench is off by is in the ±."
        cure = "Read both on one bench; a bench of another job is the same if both name and state it alike."
        found.append(Finding("note", "target-other-bench", text, cure, ((target.name, "text"),)))
    return found


def _of_valves(job: Job, target: TargetResult, stage: str, side: Side) -> list[Finding]:
    own = job.valve_of(stage, side).diameter_m
    if own is not None and target.diameter_m[side] is not None:
        return []
    whose, table = ("target's", f"[target.{side}]") if own is not None else ("head's", f"[{side}]")
    text = "The size of the {} {} valve is not known, so a larger valve could hide a worse port."
    cure = f'Add valve_diameter = "33.5 mm" under {table}, with the size it has.'
    values = ((whose, "text"), (side, "text"))
    return [Finding("look", "target-without-valve", text, cure, values, side=side)]
