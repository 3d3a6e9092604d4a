"""What stages and their comparisons leave to say."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from core.gains import CAM_REACH
from core.job import SIDES, Finding, Level, Side, Sides
from core.results import Gain, Repeatability, SideCurve, StageResult

Value = tuple[float | str, str]

TURNS = 0.01  # a fall of less than this share is no turning over (judgement)


def of_repeats(repeatability: Iterable[Repeatability]) -> list[Finding]:
    """Say where the scatter of re-set-ups is assumed and not measured.

    Parameters
    ----------
    repeatability : iterable of Repeatability
        Of each side and bench.

    Returns
    -------
    list of Finding
        One a side and bench without repeats.
    """
    text = "The {} has no usable repeats: {} is assumed for taking the head off and putting it back."
    cure = "Test one stage again with the head taken off and the lift reset."
    repeatability = list(repeatability)
    several = len({r.bench for r in repeatability}) > 1
    return [
        Finding(
            "note",
            "assumed-repeatability",
            text,
            cure,
            ((f"{r.side} on {r.bench}" if several and r.bench else r.side, "text"), (r.relative, "fraction")),
            side=r.side,
        )
        for r in repeatability
        if r.assumed
    ]


def of_stages(stages: Sequence[StageResult], cam_net_lift_m: Sides[float | None]) -> list[Finding]:
    """Say where readings stop short of the cam, and what was inherited.

    Parameters
    ----------
    stages : sequence of StageResult
        All that were measured.
    cam_net_lift_m : Sides
        The cams' net lift. [m]

    Returns
    -------
    list of Finding
        One a stage and side.
    """
    found = []
    for stage in stages:
        for side in SIDES:
            curve, cam = stage.side(side), cam_net_lift_m[side]
            if curve is None or cam is None or curve.lift_m[-1] >= cam * (1 - 1e-6):
                continue
            values = ((stage.name, "text"), (side, "text"), (curve.lift_m[-1], "lift"), (cam, "lift"))
            if curve.lift_m[-1] < CAM_REACH * cam:
                text = "{}, {}: readings stop at {}, far below the cam's {}: no cam-weighted flow."
                found.append(
                    Finding(
                        "look",
                        "short-of-cam",
                        text,
                        "Read to the cam's lift.",
                        values,
                        stage=stage.name,
                        side=side,
                    )
                )
            else:
                text = "{}, {}: readings stop at {}, the cam opens {}: held there for {} of the open time."
                values += ((curve.held_share, "fraction"),)
                found.append(
                    Finding("note", "held-above-readings", text, "", values, stage=stage.name, side=side)
                )
        found += [_turning(stage.name, side, curve) for side in SIDES if _turns(curve := stage.side(side))]
        if stage.chamber_inherited:
            text = "{}: no chamber volume stated, that of the stage before is taken."
            found.append(
                Finding("note", "chamber-inherited", text, "", ((stage.name, "text"),), stage=stage.name)
            )
    return found


def _turns(curve: SideCurve | None) -> bool:
    """Return whether flow falls again at higher lift, by more than the readings scatter."""
    if curve is None or curve.highest_flow_m3_s is None or curve.flow_m3_s[-1] is None:
        return False
    fall = curve.highest_flow_m3_s - curve.flow_m3_s[-1]
    return fall > max(TURNS * curve.highest_flow_m3_s, curve.expanded_bench_m3_s[-1] or 0.0)


def _turning(stage: str, side: Side, curve: SideCurve) -> Finding:
    text = "{}, {}: flow turns over: {} at {}, {} at {}. Ports do that; see where the air leaves the wall."
    values = (
        (stage, "text"),
        (side, "text"),
        (curve.highest_flow_m3_s, "flow"),
        (curve.highest_lift_m, "lift"),
        (curve.flow_m3_s[-1], "flow"),
        (curve.lift_m[-1], "lift"),
    )
    return Finding("note", "flow-turns-over", text, "", values, stage=stage, side=side)


def of_gains(gains: Iterable[Gain], stages: Sequence[StageResult]) -> list[Finding]:
    """Say which comparisons are not of the same thing, and why a gain is not a plain difference.

    Parameters
    ----------
    gains : iterable of Gain
        All comparisons.
    stages : sequence of StageResult
        The stages they compare.

    Returns
    -------
    list of Finding
        One a pair of stages and side.
    """
    curves = {(stage.name, side): stage.side(side) for stage in stages for side in SIDES}
    found: dict[tuple[str, str, str, str], Finding] = {}
    unknown: set[str] = set()
    apart: dict[tuple[Side, tuple[str, ...]], list[Gain]] = {}

    def add(gain: Gain, level: Level, code: str, text: str, cure: str, *more: Value) -> None:
        values = ((gain.stage, "text"), (gain.other, "text"), (gain.side, "text"), *more)
        key = (code, gain.stage, gain.other, gain.side)
        found.setdefault(key, Finding(level, code, text, cure, values, stage=gain.stage, side=gain.side))

    for gain in gains:
        unknown.update(gain.setup_unknown)
        if gain.same_setup is False:
            apart.setdefault((gain.side, gain.setup_differences), []).append(gain)
        if gain.against == "target":
            continue
        if gain.different_ports:
            tail = (
                "their own spread is in the ±."
                if gain.port_spread_known
                else "their own spread is not known."
            )
            text = "{} against {}, {}: measured in different ports; " + tail
            add(gain, "look", "different-ports", text, "Test the same port after each stage.")
        elif _other_ports(curves[gain.stage, gain.side], curves[gain.other, gain.side], gain):
            text = (
                "{} against {}, {}: the gain is that of {} alone, which both were read in; "
                "it is not the difference of the two stage curves."
            )
            add(gain, "note", "shared-ports", text, "", (_ports(gain.shared_ports), "text"))
    if unknown:
        text = "Not stated on every sheet, so sameness of the set-up is not known: {}."
        found["setup-unknown", "", "", ""] = Finding(
            "note",
            "setup-unknown",
            text,
            "Add these keys to the sheets.",
            ((", ".join(sorted(unknown)), "text"),),
        )
    return [_other_setup(*key, pairs) for key, pairs in apart.items()] + list(found.values())


def _other_setup(side: Side, differences: tuple[str, ...], pairs: list[Gain]) -> Finding:
    """Return one finding for all comparisons that the same difference spoils."""
    named = ", ".join(dict.fromkeys(f"{gain.stage} against {gain.other}" for gain in pairs))
    text = "{}, {}: another set-up ({}), so no verdict is clear."
    values = ((named, "text"), (side, "text"), (", ".join(differences), "text"))
    stage = pairs[0].stage
    cure = "Test both in the same set-up."
    return Finding("look", "other-setup", text, cure, values, stage=stage, side=side)


def _other_ports(one: SideCurve, other: SideCurve, gain: Gain) -> bool:
    return any(set(curve.ports) != set(gain.shared_ports) for curve in (one, other))


def _ports(names: tuple[str | None, ...]) -> str:
    named = [name or "the unnamed port" for name in names]
    return ("ports " if len(named) > 1 else "port ") + ", ".join(named)
