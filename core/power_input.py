"""From a job and its review to what the breathing model needs, or to every reason why it cannot run."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from core.breathing.areas import AreaCurve, Lobe, effective_area
from core.breathing.cases import CYCLE_RAD, START_RAD
from core.breathing.crank import Crank
from core.cam import seat_duration
from core.ceiling import kind_needed
from core.constants import STANDARD_AIRS
from core.curve import interpolate
from core.gains import CAM_REACH
from core.job import SIDES, CamLobe, Engine, Job, Side, Sides
from core.results import Gain, Review, SideCurve, StageResult
from core.stages import valves_open
from core.valve import head_area

Array = NDArray[np.float64]

LEAST_SPEED_RAD_S = 2000 * np.pi / 30  # below it the lumped intake and the steps mean nothing
ROD_OVER_STROKE = 1.75
REDLINE_PISTON_SPEED_M_S = 20.0
CENTRES_RAD = {"intake": np.radians(108), "exhaust": np.radians(112)}
CENTRE_LIMITS_DEG = 60, 150  # as for one that is set
# Wide of any engine of this kind: what lies outside is a slip of the pen.
ALLOWED = {
    "cylinders": (1, 24, "", 1.0),
    "bore": (20, 300, " mm", 1e3),
    "stroke": (15, 300, " mm", 1e3),
    "compression ratio": (5, 18, "", 1.0),
}
MOST_VALVES = 4
MOST_PISTON_SPEED_M_S = 35.0
MOST_HEAD_SHARE = 0.6  # of the bore's area, all intake valves together


@dataclass(frozen=True)
class Refusal:
    """Why there is no figure, and what would mend it."""

    because: str
    cure: str


@dataclass(frozen=True, eq=False)
class Stage:
    """One stage that the model can work on."""

    name: str
    areas: Sides[AreaCurve]


@dataclass(frozen=True, eq=False)
class PowerInput:
    """An engine and the stages of its head."""

    crank: Crank
    cylinders: int
    redline_rad_s: float
    head_area_m2: float  # of all intake valves of a cylinder
    lobes: Sides[Lobe]
    stages: tuple[Stage, ...]  # those that get a figure, the baseline first
    refused: dict[str, Refusal]  # the others, by name
    notes: tuple[str, ...]


def power_input(job: Job, review: Review) -> PowerInput | Refusal:
    """Return what the model needs, or why no stage gets a figure.

    Parameters
    ----------
    job : Job
        What was measured.
    review : Review
        What was worked out from it.

    Returns
    -------
    PowerInput or Refusal
        A refusal names everything that is wrong at once.
    """
    refusal = _kind(job.engine)
    if refusal is not None:
        return refusal
    ratio = _compression_ratio(job, review)
    wrong = [*_missing(job, ratio), *_outside(job, ratio), *_cams(job)]
    if wrong:
        return Refusal(
            "; ".join(because for because, _ in wrong), " ".join(dict.fromkeys(c for _, c in wrong))
        )
    notes: list[str] = []
    crank, redline = _crank(job.engine, ratio, notes)
    if redline < LEAST_SPEED_RAD_S:
        return Refusal(
            f"the redline, {redline * 30 / np.pi:.0f} rpm, is below 2000 rpm, where the model does not hold",
            "Give the speed that the engine is run to, in rpm.",
        )
    if crank.piston_speed(redline) > MOST_PISTON_SPEED_M_S:
        return Refusal(
            f"at the redline, {redline * 30 / np.pi:.0f} rpm, the piston would move at a mean "
            f"{crank.piston_speed(redline):.0f} m/s",
            f"Check redline and stroke: no engine is run above {MOST_PISTON_SPEED_M_S:g} m/s.",
        )
    lobes = Sides(*(_lobe(job.cams[side], side, notes) for side in SIDES))
    valve = job.valve_of(job.stages[0].name, "intake")
    heads_m2 = (valve.valves_per_cylinder or 1) * float(head_area(valve.diameter_m))
    if heads_m2 > MOST_HEAD_SHARE * np.pi / 4 * crank.bore_m**2:
        return Refusal(
            "the intake valves are larger than the bore has room for", "Check valve diameter and bore."
        )
    refused = {stage.name: found for stage in review.stages if (found := _refuse(job, review, stage, lobes))}
    names = [stage.name for stage in review.stages if stage.name not in refused]
    if not names:
        return next(iter(refused.values()))
    stages = tuple(Stage(name, Sides(*(_areas(job, review, name, side) for side in SIDES))) for name in names)
    notes += _held(review, names, lobes)
    return PowerInput(crank, job.engine.cylinders, redline, heads_m2, lobes, stages, refused, tuple(notes))


# the engine ------------------------------------------------------------------------------


def _kind(engine: Engine | None) -> Refusal | None:
    if engine is None:
        return Refusal(
            "the job has no engine", "Give [engine] with cylinders, bore, stroke and compression ratio."
        )
    kind = kind_needed(engine)
    if kind is not None:
        return Refusal(
            f"the model holds for {kind} only",
            "There is none for any other. If this engine is one, leave kind and aspiration out of [engine].",
        )
    return None


def _compression_ratio(job: Job, review: Review) -> float | None:
    """Return the baseline's compression ratio: as stated, else as its volumes make it."""
    known = (stage.compression_ratio for stage in review.stages if stage.compression_ratio is not None)
    return next(known, job.engine.compression_ratio)


def _missing(job: Job, ratio: float | None) -> list[tuple[str, str]]:
    """Return what must be known and is not stated."""
    engine = job.engine
    first = job.stages[0].name if job.stages else ""
    needed = {
        "the number of cylinders": engine.cylinders,
        "the bore": engine.bore_m,
        "the stroke": engine.stroke_m,
        "the compression ratio": ratio,
        "the diameter of the intake valve": job.valve_of(first, "intake").diameter_m,
        **{f"the {side} cam": job.cams[side] for side in SIDES},
    }
    wrong = [] if job.stages else [("the job has no stage", "Add bench sheets.")]
    absent = [name for name, value in needed.items() if value is None]
    if absent:
        said = f"{', '.join(absent)} {'is' if len(absent) == 1 else 'are'} not stated"
        wrong.append((said, "State it in the job."))
    return wrong


def _outside(job: Job, ratio: float | None) -> list[tuple[str, str]]:
    """Return sizes that no such engine has."""
    engine = job.engine
    given = {
        "cylinders": engine.cylinders,
        "bore": engine.bore_m,
        "stroke": engine.stroke_m,
        "compression ratio": ratio,
    }
    wrong = []
    for name, value in given.items():
        least, greatest, unit, scale = ALLOWED[name]
        if value is not None and not least <= value * scale <= greatest:
            wrong.append(
                (f"the engine's {name} is {value * scale:g}{unit}", f"Give {least:g} to {greatest:g}{unit}.")
            )
    rod, stroke = engine.rod_length_m, engine.stroke_m
    if rod is not None and stroke and not 1.1 * stroke <= rod <= 4 * stroke:
        wrong.append(("the rod is no match for the stroke", "Give a rod of 1.1 to 4 times the stroke."))
    for side in SIDES:
        valve = job.valves[side]
        count = valve.valves_per_cylinder if valve else None
        if count is not None and not 1 <= count <= MOST_VALVES:
            wrong.append((f"a cylinder has {count} {side} valves", f"Give 1 to {MOST_VALVES} for each side."))
    return wrong


def _cams(job: Job) -> list[tuple[str, str]]:
    """Return what is wrong with cams that are stated."""
    wrong = []
    for side in SIDES:
        lobe = job.cams[side]
        if lobe is None:
            continue
        try:
            duration = seat_duration(lobe)
        except ValueError as error:
            wrong.append((f"the {side} cam cannot be: {str(error).rstrip('.')}", "Mend the cam."))
            continue
        if duration is None:
            wrong.append(
                (
                    f"the {side} cam's lift, duration or the lift of that duration is not stated",
                    "State all three.",
                )
            )
            continue
        if lobe.centreline_rad is not None:
            centre, (least, greatest) = float(np.degrees(lobe.centreline_rad)), CENTRE_LIMITS_DEG
            if not least <= round(centre, 6) <= greatest:
                cure = f"Give a centreline of {least} to {greatest} deg."
                wrong.append((f"the {side} cam's centreline is {centre:.5g} deg", cure))
                continue
        placed = _lobe(lobe, side, [])
        # Firing is at 0: shut from the start of a cycle until well after burning, and again before its end.
        first, last = np.radians(60), START_RAD + CYCLE_RAD - np.radians(4)
        if not (first <= placed.opens_rad < placed.closes_rad <= last) or duration < np.radians(150):
            opens, closes = np.degrees([placed.opens_rad, placed.closes_rad])
            wrong.append(
                (
                    f"the {side} valve would be open from {opens:.0f} to {closes:.0f} deg after firing, "
                    f"{np.degrees(duration):.0f} deg in all",
                    "The model needs it open for 150 deg or more, between 60 and 656 deg: check duration, "
                    "the lift that it was taken at, and centreline.",
                )
            )
    return wrong


def _crank(engine: Engine, ratio: float, notes: list[str]) -> tuple[Crank, float]:
    """Return the crank at the baseline's compression, and the redline."""
    rod, redline = engine.rod_length_m, engine.redline_rad_s
    if rod is None:
        rod = ROD_OVER_STROKE * engine.stroke_m
        notes.append(f"The rod's length is not stated: {ROD_OVER_STROKE:g} times the stroke is taken.")
    if redline is None:
        redline = np.pi * REDLINE_PISTON_SPEED_M_S / engine.stroke_m
        notes.append(
            f"The redline is not stated: {redline * 30 / np.pi:.0f} rpm is taken, "
            f"{REDLINE_PISTON_SPEED_M_S:g} m/s of mean piston speed."
        )
    return Crank(engine.bore_m, engine.stroke_m, rod, ratio), float(redline)


def _lobe(lobe: CamLobe, side: Side, notes: list[str]) -> Lobe:
    """Return a lobe on the crank: the exhaust before, the intake after the top dead centre between them."""
    centre = lobe.centreline_rad
    if centre is None:
        centre = CENTRES_RAD[side]
        notes.append(f"The {side} centreline is not stated: {np.degrees(centre):.0f} deg is taken.")
    return Lobe(lobe, 2 * np.pi + (centre if side == "intake" else -centre))


# the stages ------------------------------------------------------------------------------


def _refuse(job: Job, review: Review, stage: StageResult, lobes: Sides[Lobe]) -> Refusal | None:
    """Return why one stage gets no figure."""
    for side in SIDES:
        curve = stage.side(side)
        if curve is None:
            share = (
                "it brings a large part of any gain and must not be guessed"
                if side == "exhaust"
                else "without it there is nothing to work out"
            )
            return Refusal(f"its {side} was not measured: {share}", f"Flow the {side} of this stage.")
        if not curve.at_reference:
            return Refusal(f"its {side} was flowed at an unknown test pressure", "State the test pressure.")
        lift, _ = _known(curve)
        if lift.size < 3:
            return Refusal(f"its {side} has too few readings", "Read three lifts or more.")
        top = lobes[side].net_lift_m
        if lift[-1] < CAM_REACH * top:
            return Refusal(
                f"its {side} readings stop at {lift[-1] / top:.1%} of the cam's lift",
                f"Read on to the cam's lift, or to {CAM_REACH:.0%} of it at least.",
            )
        sheets = [s for s in job.sheets if s.role == "stage" and s.stage == stage.name and s.readings[side]]
        valve = job.valve_of(stage.name, side)
        if valves_open(valve, sheets) != (valve.valves_per_cylinder or 1):
            return Refusal(
                f"its {side} was not flowed with all valves open", "Flow all valves of a port together."
            )
        gain = review.gain(stage.name, side, "baseline")
        if gain is not None and not _shared(gain):
            return Refusal(f"its {side} shares no lift with {gain.other}", "Read both at the same lifts.")
    return None


def _areas(job: Job, review: Review, name: str, side: Side) -> AreaCurve:
    """Return a stage's areas: those of the side's first curve, times the gain that ports share."""
    base = next(stage for stage in review.stages if stage.side(side) is not None)
    lift, flow = _known(base.side(side))
    standard = STANDARD_AIRS[job.standard_air]
    area = effective_area(side, flow, job.reference_pressure_pa, standard.pressure_pa, standard.density_kg_m3)
    curve = AreaCurve(lift, area, lift, np.ones(lift.size))
    gain = review.gain(name, side, "baseline")
    if gain is None:
        return curve
    own = review.stages[[stage.name for stage in review.stages].index(name)].side(side)
    at, ratio = np.array(_shared(gain)).T
    higher, more = _known(own)
    over = higher > lift[-1]
    if over.any():
        # Read higher than the baseline: the shape up there is this stage's own.
        # Over what its own line has at the baseline's top, which is what the gain there was worked out from.
        area = np.append(area, area[-1] * more[over] / interpolate(higher, more, lift[-1]))
        curve = replace(curve, lift_m=np.append(lift, higher[over]), area_m2=area)
    return replace(curve, ratio_lift_m=at, ratio=ratio)


def _shared(gain: Gain) -> list[tuple[float, float]]:
    """Return the lifts that both curves have, and the later flow over the earlier one there."""
    rows = zip(gain.lift_m, gain.before_m3_s, gain.after_m3_s, strict=True)
    return [(lift, after / before) for lift, before, after in rows if before and after]


def _known(curve: SideCurve) -> tuple[Array, Array]:
    """Return lifts and flows, without those that may not be used."""
    pairs = [pair for pair in zip(curve.lift_m, curve.flow_m3_s, strict=True) if pair[1] is not None]
    return np.array([lift for lift, _ in pairs]), np.array([flow for _, flow in pairs])


def _held(review: Review, names: Sequence[str], lobes: Sides[Lobe]) -> list[str]:
    """Return where the cam opens further than was read."""
    notes = []
    for stage in review.stages:
        for side in SIDES if stage.name in names else ():
            top = _known(stage.side(side))[0][-1]
            if top < lobes[side].net_lift_m * (1 - 1e-9):
                notes.append(
                    f"The {side} of {stage.name} was read to {top / lobes[side].net_lift_m:.0%} of the "
                    "cam's lift; above that its flow is held."
                )
    return notes
