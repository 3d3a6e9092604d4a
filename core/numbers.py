"""The review as plain JSON-ready data in SI units: what ``numbers`` prints and anyone may recompute."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable
from dataclasses import asdict
from typing import Any

from core.job import SIDES, Finding
from core.power_results import PowerModel
from core.results import (
    Gain,
    Gap,
    LeakCheck,
    PlateCheck,
    Reached,
    Review,
    SideCurve,
    StageResult,
    Summary,
    TargetResult,
)
from core.units import METRIC, UnitSet, show

FORMAT = "gain-ledger numbers 1"


def review_numbers(review: Review) -> dict[str, Any]:
    """Return a review as dicts, lists, numbers and text.

    A list over lift runs parallel to ``lift_m`` beside it. ``None`` stands for what cannot
    be worked out, and for any number that is not finite.

    Parameters
    ----------
    review : Review
        What was worked out from a job.

    Returns
    -------
    dict
        SI units, laid out as format "gain-ledger numbers 1".
    """
    return _finite(
        {
            "format": FORMAT,
            "title": review.job.title,
            "fingerprint": review.job.fingerprint,
            "currency": review.job.currency,
            "reference": asdict(review.reference),
            "usable_lift_m": dict(review.usable_lift_m.items()),
            "cam_net_lift_m": dict(review.cam_net_lift_m.items()),
            "stages": [_stage(stage) for stage in review.stages],
            "gains": [_gain(gain) for gain in review.gains],
            "power": {
                "ceiling": [asdict(one) for one in review.ceiling],
                "model": _dict_of(review.power),
            },
            "target": _target(review.target),
            "repeatability": [asdict(one) for one in review.repeatability],
            "findings": [_finding(finding) for finding in review.findings],
            "calibration": [_checked(reading) for reading in review.calibration],
            "leaks": [_checked(leak) for leak in review.leaks],
            "balance": [asdict(balance) for balance in review.balance],
            "compression": [asdict(line) for line in review.compression],
        }
    )


def numbers_json(review: Review) -> str:
    """Return a review as JSON text that ends in a line feed.

    Parameters
    ----------
    review : Review
        What was worked out from a job.

    Returns
    -------
    str
        JSON without NaN or infinity, in a fixed order of keys.
    """
    return json.dumps(review_numbers(review), ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def finding_text(finding: Finding, units: UnitSet, *, cure: bool = True) -> str:
    """Return what a finding says, with its values in the units given.

    Parameters
    ----------
    finding : Finding
        What was noticed.
    units : UnitSet
        Units to show.
    cure : bool
        Say what to do about it, too.

    Returns
    -------
    str
        One or two sentences, without file and line.
    """
    template = f"{finding.text} {finding.cure}" if cure else finding.text
    return filled(template.strip(), finding.values, units)


def filled(template: str, values: Iterable[tuple[float | str, str]], units: UnitSet) -> str:
    """Return a template with its values in the units given.

    Parameters
    ----------
    template : str
        Text with ``{}`` for each value.
    values : iterable of (number in SI, kind) or (text, "text")
        As in Finding.
    units : UnitSet
        Units to show.

    Returns
    -------
    str
        What a person reads.
    """
    return template.format(*(value if kind == "text" else show(value, kind, units) for value, kind in values))


def _stage(stage: StageResult) -> dict[str, Any]:
    return {
        "name": stage.name,
        "price": stage.price,
        "planned": stage.planned,
        "intake": _curve(stage.intake),
        "exhaust": _curve(stage.exhaust),
        "exhaust_to_intake": {"lift_m": stage.ratio_lift_m, "ratio": stage.exhaust_to_intake},
        "chamber_volume_m3": stage.chamber_volume_m3,
        "chamber_inherited": stage.chamber_inherited,
        "compression_ratio": stage.compression_ratio,
    }


def _curve(curve: SideCurve | None) -> dict[str, Any] | None:
    if curve is None:
        return None
    return {
        "lift_m": curve.lift_m,
        "flow_m3_s": curve.flow_m3_s,
        "expanded_uncertainty_m3_s": curve.expanded_uncertainty_m3_s,
        "expanded_bench_m3_s": curve.expanded_bench_m3_s,
        "discharge_coefficient": curve.discharge_coefficient,
        "flow_coefficient": curve.flow_coefficient,
        "lift_to_diameter": curve.lift_to_diameter,
        "ports": curve.ports,
        "n_setups": curve.n_setups,
        "at_reference": curve.at_reference,
        "usable_lift_m": curve.usable_lift_m,
        "peak_flow_m3_s": curve.peak_flow_m3_s,
        "peak_lift_m": curve.peak_lift_m,
        "highest_flow_m3_s": curve.highest_flow_m3_s,
        "highest_lift_m": curve.highest_lift_m,
        "mean_flow_m3_s": curve.mean_flow_m3_s,
        "mean_expanded_m3_s": curve.mean_expanded_m3_s,
        "cam_weighted_flow_m3_s": curve.cam_weighted_flow_m3_s,
        "cam_weighted_expanded_m3_s": curve.cam_weighted_expanded_m3_s,
        "held_share": curve.held_share,
        "by_port": [asdict(port) for port in curve.by_port],
    }


def _gain(gain: Gain) -> dict[str, Any]:
    return {
        "stage": gain.stage,
        "against": gain.against,
        "other": gain.other,
        "side": gain.side,
        "usable_lift_m": gain.usable_lift_m,
        "lift_m": gain.lift_m,
        "interpolated": gain.interpolated,
        "before_m3_s": gain.before_m3_s,
        "after_m3_s": gain.after_m3_s,
        "gain_m3_s": gain.gain_m3_s,
        "gain_fraction": gain.gain_fraction,
        "expanded_uncertainty_m3_s": gain.expanded_uncertainty_m3_s,
        "expanded_fraction": gain.expanded_fraction,
        "verdict": gain.verdict,
        "mean": _dict_of(gain.mean),
        "cam_weighted": _dict_of(gain.cam_weighted),
        "at_peak_m3_s": gain.at_peak_m3_s,
        "at_peak_expanded_m3_s": gain.at_peak_expanded_m3_s,
        "coefficient_gain": gain.coefficient_gain,
        "shared_ports": gain.shared_ports,
        "different_ports": gain.different_ports,
        "port_spread_known": gain.port_spread_known,
        "same_setup": gain.same_setup,
        "setup_differences": gain.setup_differences,
        "setup_unknown": gain.setup_unknown,
        "price": gain.price,
        "price_per_flow": gain.price_per_flow,
    }


def _target(target: TargetResult | None) -> dict[str, Any] | None:
    if target is None:
        return None
    return {
        "name": target.name,
        "own_bench": target.own_bench,
        **{
            side: {
                "valve_diameter_m": target.diameter_m[side],
                "valves_open": target.valves[side],
                "curve": _curve(target.curves[side]),
            }
            for side in SIDES
        },
        "gaps": [_gap(gap) for gap in target.gaps],
    }


def _gap(gap: Gap) -> dict[str, Any]:
    return {
        "stage": gap.stage,
        "side": gap.side,
        "usable_lift_m": gap.gain.usable_lift_m,
        "reached": _dict_of(gap.reached),
        "reached_flow_coefficient": _dict_of(gap.reached_coefficient),
        "lift_m": gap.gain.lift_m,
        "gap_m3_s": gap.gain.gain_m3_s,
        "expanded_uncertainty_m3_s": gap.gain.expanded_uncertainty_m3_s,
        "verdict": gap.gain.verdict,
        "flow_coefficient_gap": gap.gain.coefficient_gain,
        "flow_coefficient_expanded": gap.flow_coefficient_expanded,
        "discharge_coefficient_gap": gap.discharge_coefficient_gap,
        "discharge_coefficient_expanded": gap.discharge_coefficient_expanded,
        "thirds": [asdict(third) for third in gap.thirds],
        "to_find": [asdict(one) for one in gap.to_find],
    }


def _finding(finding: Finding) -> dict[str, Any]:
    return {
        "level": finding.level,
        "code": finding.code,
        "text": finding_text(finding, METRIC),
        "file": finding.file,
        "line": finding.line,
        "stage": finding.stage,
        "side": finding.side,
        "lift_m": finding.lift_m,
    }


def _checked(check: PlateCheck | LeakCheck) -> dict[str, Any]:
    return {**asdict(check), "date": None if check.date is None else check.date.isoformat()}


def _dict_of(result: Summary | Reached | PowerModel | None) -> dict[str, Any] | None:
    return None if result is None else asdict(result)


def _finite(value: Any) -> Any:
    """Return the value with every tuple a list and every number that is not finite None."""
    if isinstance(value, dict):
        return {key: _finite(entry) for key, entry in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(entry) for entry in value]
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    return value
