"""Rough power, layer 2: what stages of head work may be worth on this engine, as ranges."""

from __future__ import annotations

from collections.abc import Callable, MutableMapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from core.breathing.cycle import CycleError
from core.job import SIDES, Job, Side
from core.power_answers import Answers, asked
from core.power_assumptions import assumption, unknowns
from core.power_input import PowerInput, Refusal, power_input
from core.power_ranges import COVERAGE, Linear, covering, half_widths, price_range
from core.power_results import (
    AgainstStage,
    Anchor,
    Assumption,
    Contribution,
    PowerBand,
    PowerGain,
    PowerModel,
    Range,
    StagePower,
)
from core.power_runs import STRUCTURES, Bench
from core.results import Review

DISCLOSURES = (
    "The flow that a valve passes is taken as the same in both directions and at any pressure ratio, "
    "as on the bench.",
    "The intake is one lumped runner, its length not known; as a second model, waves are prescribed. "
    "Neither knows this engine's manifold.",
    "The exhaust is a pressure behind the valve with an assumed dip at overlap: no wave action of its pipes.",
    "The cylinders do not act on each other.",
    "The charge burns alike in every stage: no credit for swirl, tumble, mixture or resistance to knock.",
    "All walls have one temperature.",
    "Lobe shape, friction, and the air's temperature are assumed where they are not set.",
    "Gains are at the baseline's compression; what the chamber does to it is a line of its own.",
    "Unknowns are taken to move a gain in proportion, each independent of the others.",
    "Nothing here was checked against a dynamometer.",
)
_SOURCES = {
    "structure": "runner or waves: two models of what lies outside the head",
    "intake flow": "measured intake flow",
    "exhaust flow": "measured exhaust flow",
    "bench scale": "scale of the bench, shared by all stages",
}
_MEASURED = tuple(key for key in _SOURCES if key != "structure")


@dataclass(frozen=True)
class PowerSettings:
    """What a person may set; None leaves the stated assumption in place."""

    runner_length_m: float | None = None
    runner_diameter_m: float | None = None
    intake_temperature_k: float | None = None
    back_pressure_pa: float | None = None  # above ambient
    friction_level: float | None = None  # of the friction formula
    burn_duration_rad: float | None = None
    burn_centre_rad: float | None = None  # half burned, after top dead centre
    heat_level: float | None = None  # of the heat transfer formula
    wall_temperature_k: float | None = None
    fuel_level: float | None = None  # of the heat assumed in each kg of fresh charge
    pulse_level: float | None = None  # of the pressure waves that are assumed
    intake_centreline_rad: float | None = None
    exhaust_centreline_rad: float | None = None
    lobe_stretch: float | None = None  # cam duration over that of the lobe shape used
    flow_level: float | None = None  # flow in the running engine over steady flow
    anchor: Anchor | None = None


def power_model(
    job: Job,
    review: Review,
    settings: PowerSettings = PowerSettings(),
    progress: Callable[[float], None] | None = None,
    kept: MutableMapping[tuple, Answers] | None = None,
) -> PowerModel:
    """Return what the stages of a job may be worth in power, as ranges.

    Parameters
    ----------
    job : Job
        What was measured.
    review : Review
        What was worked out from it.
    settings : PowerSettings
        Values that are known better than the assumptions, and an anchor.
    progress : callable, optional
        Called now and then with the share of the work that is done, 0 to 1.
    kept : mutable mapping, optional
        Answers of earlier calls, by what they depend on; new ones are added. Another known peak,
        name or price then asks for no run of the model.

    Returns
    -------
    PowerModel
        Ranges, or why there are none; it never raises for a job that gives no figure.

    References
    ----------
    See core.breathing for the model and its sources, core.power_ranges for the ranges.
    """
    engine = power_input(job, review)
    if isinstance(engine, Refusal):
        return _refused(review, engine.because, engine.cure)
    try:
        assumptions = assumptions_of(engine, settings)
    except ValueError as error:
        return _refused(
            review, f"a value that was set cannot be used: {str(error).rstrip('.')}", "Set another."
        )
    bench = Bench(engine, assumptions)
    answers = None if kept is None else kept.get(bench.key)
    try:
        answers = answers or asked(bench, progress)
    except CycleError as error:
        cure = "Check the redline, the cams, the sizes of engine and valves, and what was set."
        return _refused(review, f"the model does not settle: {error}", cure)
    if kept is not None:
        kept[bench.key] = answers
    return _Model(job, review, engine, answers, assumptions, settings.anchor).result()


def _refused(review: Review, because: str, cure: str) -> PowerModel:
    """Return a model without a figure for any stage."""
    return PowerModel(
        because, cure, stages=tuple(StagePower(one.name, because, cure) for one in review.stages)
    )


def assumptions_of(engine: PowerInput, settings: PowerSettings) -> dict[str, Assumption]:
    """Return every value that the model needs beside the job's.

    Parameters
    ----------
    engine : PowerInput
        Engine and stages.
    settings : PowerSettings
        Values that were set.

    Returns
    -------
    dict
        By key, the field of the settings.

    Raises
    ------
    ValueError
        If a value that was set lies outside what is allowed.

    References
    ----------
    core.power_assumptions.
    """
    lobes = engine.lobes
    found = unknowns(engine.head_area_m2, engine.redline_rad_s, lobes.intake, lobes.exhaust)
    stated = {f"{side}_centreline_rad" for side in SIDES if lobes[side].lobe.centreline_rad is not None}
    return {one.key: assumption(one, getattr(settings, one.key), one.key in stated) for one in found}


class _Model:
    """A job's ranges, from the model's answers."""

    def __init__(
        self,
        job: Job,
        review: Review,
        engine: PowerInput,
        answers: Answers,
        assumptions: dict[str, Assumption],
        anchor: Anchor | None,
    ):
        self.job, self.review, self.engine, self.answers = job, review, engine, answers
        self.assumptions = assumptions
        self.names = [stage.name for stage in engine.stages]
        self.anchor, self.anchor_because = self._anchor(anchor)

    def _anchor(self, anchor: Anchor | None) -> tuple[Anchor | None, str | None]:
        if anchor is None:
            return None, None
        if anchor.stage not in self.names:
            return None, f"the known peak is that of {anchor.stage}, which has no figure"
        if not (np.isfinite(anchor.power_w) and anchor.power_w > 0):
            return None, "the known peak is not above zero"
        return anchor, None

    def result(self) -> PowerModel:
        """Return everything."""
        answers, anchor = self.answers, self.anchor
        factor = None
        if anchor is not None:
            factor = anchor.power_w / max(self._power(anchor.stage))
        return PowerModel(
            because=None,
            baseline=self.names[0],
            stages=tuple(self._stage(stage.name, factor) for stage in self.review.stages),
            speed_rad_s=tuple(answers.speed_rad_s.tolist()),
            window_rad_s=answers.window_rad_s,
            structures=STRUCTURES,
            anchor=anchor,
            anchor_factor=factor,
            anchor_because=self.anchor_because,
            assumptions=tuple(self.assumptions.values()),
            disclosures=DISCLOSURES,
            notes=(*self.engine.notes, *self._lost()),
        )

    def _lost(self) -> list[str]:
        """Say at which speeds the curves have no point."""
        rpm = [speed * 30 / np.pi for speed in self.answers.lost_rad_s]
        text = "The curves begin above {:.0f} rpm: up to there the model's cycle does not repeat."
        return [text.format(rpm[-1])] if rpm else []

    def _stage(self, name: str, factor: float | None) -> StagePower:
        refusal = self.engine.refused.get(name)
        if refusal is not None:
            return StagePower(name, refusal.because, refusal.cure)
        found = StagePower(name, band=self._band(name, factor))
        at = self.names.index(name)
        if at == 0:
            return found
        return replace(
            found,
            against_baseline=self._gain(name, self.names[0], "baseline"),
            against_previous=self._gain(name, self.names[at - 1], "previous"),
        )

    # gains --------------------------------------------------------------------------------

    def _gain(self, name: str, other: str, against: AgainstStage) -> PowerGain:
        after, before = self.names.index(name), self.names.index(other)
        flows = {side: self._flow(name, other, side) for side in SIDES}
        close = all(verdict == "too close to call" for _, verdict in flows.values())
        gains, fractions, whole, parts = [], [], [], []
        for structure in self.answers.structures:
            base = structure.power[before]
            gain = (structure.power[after] - base).with_effects(
                **{f"{side} flow": structure.flow_weight_w[side] * flows[side][0] for side in SIDES}
            )
            gain = gain.with_effects(**{"bench scale": gain.effects["flow_level"] * self._bench_scale})
            fraction = gain.over(base)
            scale = self._scale(structure.power, before)
            gains.append(gain if scale is None else fraction.scaled(scale))
            fractions.append(fraction)
            whole.append(gain.value)
            parts.append(structure.intake_w[after] - structure.intake_w[before])
        gain_w, widened = covering(gains, close)
        share = float(np.mean(parts)) / float(np.mean(whole)) if np.mean(whole) else 0.0
        open_ = gain_w.low <= 0 <= gain_w.high
        price = self._price(name, other)
        return PowerGain(
            against=against,
            other=other,
            gain_w=gain_w,
            gain_fraction=covering(fractions, close)[0],
            intake_w=share * gain_w.mid,
            exhaust_w=(1 - share) * gain_w.mid,
            intake_share=None if open_ else share,
            exhaust_share=None if open_ else 1 - share,
            too_close_to_call=close,
            widened=widened,
            by_structure_w=tuple(zip(STRUCTURES, (gain.value for gain in gains), strict=True)),
            contributions=self._contributions(gains),
            price=price,
            price_per_w=price_range(price, gain_w),
        )

    @cached_property
    def _bench_scale(self) -> float:
        """Return the doubt of what all stages share of the bench, over that of the flow level."""
        shares = []
        for side in SIDES:
            curve = next(one for one in self.review.stages if one.name == self.names[0]).side(side)
            rows = zip(
                curve.flow_m3_s, curve.expanded_uncertainty_m3_s, curve.expanded_bench_m3_s, strict=True
            )
            shares += [max(whole**2 - own**2, 0.0) ** 0.5 / flow for flow, whole, own in rows if flow]
        return float(np.median(shares)) / COVERAGE / self.assumptions["flow_level"].standard_uncertainty

    def _scale(self, power: tuple[Linear, ...], before: int) -> float | None:
        """Return the known power of a stage in the window, where one stage's peak is known."""
        if self.anchor is None:
            return None
        known = power[self.names.index(self.anchor.stage)]
        return self.anchor.power_w * power[before].value / known.value

    def _flow(self, name: str, other: str, side: Side) -> tuple[float, str]:
        """Return the standard uncertainty of a relative flow gain, and its verdict."""
        for against in ("previous", "baseline"):
            gain = self.review.gain(name, side, against)
            if gain is not None and gain.other == other and gain.summary is not None:
                return gain.summary.expanded_fraction / COVERAGE, gain.summary.verdict
        # Two stages with another between them that has no figure: both against the baseline.
        both = [self.review.gain(one, side, "baseline") for one in (name, other)]
        known = [gain for gain in both if gain is not None and gain.summary is not None]
        seen = [gain.summary for gain in known]
        unsure = float(np.hypot.reduce([one.expanded_fraction / COVERAGE for one in seen] or [0.0]))
        apart = abs(float(np.subtract.reduce([one.gain_fraction for one in seen] or [0.0])))
        alike = all(gain.same_setup is not False for gain in known)  # else nothing is clear
        return unsure, "clear" if alike and apart > COVERAGE * unsure else "too close to call"

    def _contributions(self, gains: list[Linear]) -> tuple[Contribution, ...]:
        found = []
        for key, width in half_widths(gains).items():
            kind = "structure" if key == "structure" else "measured flow" if key in _MEASURED else "unknown"
            name = _SOURCES[key] if key in _SOURCES else self.assumptions[key].name
            found.append(Contribution(key, name, kind, width))
        return tuple(found)

    def _price(self, name: str, other: str) -> float | None:
        names = [stage.name for stage in self.job.stages]
        bought = self.job.stages[names.index(other) + 1 : names.index(name) + 1]
        prices = [stage.price for stage in bought if not stage.planned]
        return None if None in prices or not prices else sum(prices)

    # levels -------------------------------------------------------------------------------

    def _power(self, name: str) -> list[float]:
        """Return a stage's middle power over speed."""
        at = self.names.index(name)
        return np.mean([s.curve_w[at] for s in self.answers.structures], axis=0).tolist()

    def _band(self, name: str, factor: float | None) -> PowerBand:
        at, scale = self.names.index(name), factor or 1.0
        speed = self.answers.speed_rad_s
        lows, highs = [], []
        for structure in self.answers.structures:
            # With a known peak the level is known; what is left is how lengths shape the curve.
            level = structure.power[0]
            doubt = 0.0 if factor else level.standard_uncertainty / level.value
            half = COVERAGE * np.hypot(doubt, structure.ripple[at])
            lows.append(structure.curve_w[at] * (1 - half))
            highs.append(structure.curve_w[at] * (1 + half))
        low, high = scale * np.min(lows, axis=0), scale * np.max(highs, axis=0)
        mid = scale * np.array(self._power(name))
        low = np.maximum(low, 0.0)
        return PowerBand(
            *(tuple(row.tolist()) for row in (low, mid, high)),
            *(tuple((row / speed).tolist()) for row in (low, mid, high)),
            peak_w=Range(float(low.max()), float(mid.max()), float(high.max())),
            peak_speed_rad_s=float(speed[mid.argmax()]),
        )
