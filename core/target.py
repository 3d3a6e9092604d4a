"""How far each stage is from the target: at each lift, over thirds of usable lift, as a share reached.

The gap is the gain against the target; its ± and verdicts come from ``core.gains`` and nowhere
else. In coefficients both flows are divided by areas of their own valves, which are exact
factors: so a larger valve does not hide a worse port.
"""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from core.gains import SAME_LIFT, Difference, at_lifts, between_lifts, together
from core.job import SIDES, Job, Sides
from core.results import Gain, Gap, Numbers, Reached, TargetResult, Third, ToFind
from core.side import SideWork
from core.stages import FlowCoefficients, numbers
from core.uncertainty import verdict

Array = NDArray[np.float64]

PARTS = ("low", "middle", "high")


def against_target(job: Job, sides: Sides[SideWork], gains: tuple[Gain, ...]) -> TargetResult | None:
    """Return every stage's gap to the target.

    Parameters
    ----------
    job : Job
        What was measured.
    sides : Sides
        The work on each side.
    gains : tuple of Gain
        All comparisons; those against the target are looked at.

    Returns
    -------
    TargetResult or None
        None where the job has no target.
    """
    if job.target is None:
        return None
    curves = Sides(*(sides[side].target for side in SIDES))
    factors = Sides(*(_target_factors(sides[side]) if curves[side] else None for side in SIDES))
    known = Sides(*(one if one and np.isfinite(one.diameter_m) else None for _, one in factors.items()))
    return TargetResult(
        job.target.name,
        Sides(*(curves[side].result if curves[side] else None for side in SIDES)),
        Sides(*(one.diameter_m if one else None for _, one in known.items())),
        Sides(*(one.valves if one else None for _, one in known.items())),
        any(_is_on_own_bench(sides[side]) for side in SIDES),
        tuple(_gap(sides[gain.side], gain) for gain in gains if gain.against == "target"),
    )


def _target_factors(work: SideWork) -> FlowCoefficients:
    return work.coefficients(("target", work.job.target.name))


def _is_on_own_bench(work: SideWork) -> bool:
    """Return whether no stage was read on the bench that the target was read on."""
    if work.target is None or not work.curves:
        return False
    benches = {port.bench for curve in work.curves.values() for port in curve.ports}
    return not benches & {port.bench for port in work.target.ports}


def _gap(work: SideWork, gain: Gain) -> Gap:
    after, before = work.curves[gain.stage].measured, work.target.measured
    lifts = np.array(gain.lift_m)
    edges = np.linspace(0, gain.usable_lift_m, len(PARTS) + 1)
    pairs = list(itertools.pairwise(edges))
    views = (
        together(at_lifts(curve, lifts), *(between_lifts(curve, *pair) for pair in pairs))
        for curve in (after, before)
    )
    difference = Difference(*views, None)  # as the gain: against the ports that were read
    one, two = work.coefficients(("stage", gain.stage)), _target_factors(work)
    heads = np.ones(lifts.size + len(PARTS))
    on_head, on_head_u = difference.scaled(one.by_head * heads, two.by_head * heads)
    ratio = one.by_head / two.by_head
    thirds = _thirds(difference, gain, edges, ratio, numbers(on_head), numbers(on_head_u))
    # Over a curtain area at each lift; a mean over lifts has none.
    curtains = [np.append(each.by_curtain(lifts), [0.0] * len(PARTS)) for each in (one, two)]
    on_curtain, on_curtain_u = difference.scaled(*curtains)
    keep = np.array([change is not None for change in gain.gain_m3_s])
    n = lifts.size
    reached = _reached(gain)
    return Gap(
        gain,
        reached,
        _times(reached, ratio) if reached and np.isfinite(ratio) else None,
        numbers(on_head_u[:n], keep),
        numbers(on_curtain[:n], keep),
        numbers(on_curtain_u[:n], keep),
        thirds,
        _to_find(gain),
    )


def _thirds(
    difference: Difference, gain: Gain, edges: Array, ratio: float, on_head: Numbers, on_head_u: Numbers
) -> tuple[Third, ...]:
    """Return the three means that stand behind the lifts, judged as a family of their own."""
    at = np.arange(len(gain.lift_m), len(gain.lift_m) + len(PARTS))
    verdicts = [
        "too close to call" if gain.same_setup is False else verdict(difference.fraction[i], p)
        for i, p in zip(at, difference.family_p(at), strict=True)
    ]
    missing = np.maximum(-difference.gain_m3_s[at], 0.0)
    shares = missing / missing.sum() if "clear loss" in verdicts else np.full(len(PARTS), np.nan)
    of_target = (1 + difference.fraction) * ratio - 1
    return tuple(
        Third(
            part=part,
            from_m=float(edges[k]),
            to_m=float(edges[k + 1]),
            gap_m3_s=float(difference.gain_m3_s[i]),
            gap_fraction=float(difference.fraction[i]),
            expanded_m3_s=float(difference.expanded_m3_s[i]),
            expanded_fraction=float(difference.expanded_fraction[i]),
            verdict=verdicts[k],
            share_of_missing=numbers(shares)[k],
            flow_coefficient_gap=on_head[i],
            flow_coefficient_expanded=on_head_u[i],
            coefficient_fraction=numbers(of_target)[i],
            coefficient_expanded_fraction=numbers(difference.expanded_fraction * ratio)[i],
        )
        for k, (part, i) in enumerate(zip(PARTS, at, strict=True))
    )


def _reached(gain: Gain) -> Reached | None:
    """Return the share of the target's flow: 1 and the relative gain, with that gain's ±."""
    if gain.summary is None:
        return None
    weighting = "mean over lift" if gain.cam_weighted is None else "cam-weighted"
    return Reached(1 + gain.summary.gain_fraction, gain.summary.expanded_fraction, weighting)


def _times(reached: Reached, ratio: float) -> Reached:
    fraction, expanded = reached.fraction * ratio, reached.expanded_fraction * ratio
    return Reached(float(fraction), float(expanded), reached.weighting)


def _to_find(gain: Gain) -> tuple[ToFind, ...]:
    rows = zip(gain.lift_m, gain.gain_m3_s, gain.expanded_uncertainty_m3_s, gain.verdict, strict=True)
    found = [
        ToFind(lift, -gap, expanded)
        for lift, gap, expanded, called in rows
        if called == "clear loss" and lift <= gain.usable_lift_m * SAME_LIFT
    ]
    return tuple(sorted(found, key=lambda one: -one.flow_m3_s))
