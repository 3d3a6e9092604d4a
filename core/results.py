"""What a review holds: plain frozen results in SI, ready to be shown.

Tuples over lift run parallel to ``lift_m`` of the same object; ``None`` in them is
"cannot be worked out", and a finding says why.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Literal

from core.job import Finding, Job, Side, Sides
from core.power_results import PowerModel

Verdict = Literal["clear gain", "clear loss", "too close to call"]
Against = Literal["baseline", "previous", "target"]
Numbers = tuple[float | None, ...]


@dataclass(frozen=True)
class Reference:
    """What every flow is stated at."""

    pressure_pa: float
    density_kg_m3: float
    air: str
    rule: str


@dataclass(frozen=True)
class PortCurve:
    """The mean of one port's set-ups."""

    port: str | None
    lift_m: tuple[float, ...]
    flow_m3_s: Numbers
    n_setups: int


@dataclass(frozen=True)
class SideCurve:
    """One side of one stage: corrected flow at the reference, and what follows from it."""

    lift_m: tuple[float, ...]
    flow_m3_s: Numbers
    expanded_uncertainty_m3_s: Numbers  # 95 %, with everything that is known to be uncertain
    expanded_bench_m3_s: Numbers  # 95 %, without what all stages share: tells stages apart
    discharge_coefficient: Numbers  # on curtain area, isentropic
    flow_coefficient: Numbers  # on head area, isentropic
    lift_to_diameter: Numbers
    ports: tuple[str | None, ...]
    n_setups: int
    by_port: tuple[PortCurve, ...]
    at_reference: bool  # False: no test pressure was stated, flows are not scaled
    usable_lift_m: float | None  # the cam's net lift or this curve's top, the smaller
    peak_flow_m3_s: float | None  # largest reading within usable lift ...
    peak_lift_m: float | None
    highest_flow_m3_s: float | None  # ... and the largest of all
    highest_lift_m: float | None
    mean_flow_m3_s: float | None
    mean_expanded_m3_s: float | None  # 95 %, without what all stages share
    cam_weighted_flow_m3_s: float | None
    cam_weighted_expanded_m3_s: float | None  # likewise
    held_share: float  # share of open time above the last reading, where flow was held


@dataclass(frozen=True)
class StageResult:
    """One stage with both its sides."""

    name: str
    price: float | None
    planned: bool
    intake: SideCurve | None
    exhaust: SideCurve | None
    ratio_lift_m: tuple[float, ...]  # exhaust to intake, where both have a flow
    exhaust_to_intake: Numbers
    chamber_volume_m3: float | None
    chamber_inherited: bool
    compression_ratio: float | None

    def side(self, side: Side) -> SideCurve | None:
        """Return one side's curve, None where it was not measured."""
        return getattr(self, side)


@dataclass(frozen=True)
class Summary:
    """One gain over the whole of usable lift, with its own single verdict."""

    before_m3_s: float
    after_m3_s: float
    gain_m3_s: float
    gain_fraction: float
    expanded_uncertainty_m3_s: float
    expanded_fraction: float
    verdict: Verdict


@dataclass(frozen=True)
class Gain:
    """One stage against another, one side."""

    stage: str
    against: Against
    other: str
    side: Side
    usable_lift_m: float
    lift_m: tuple[float, ...]  # union of both curves' lifts inside their common range
    interpolated: tuple[bool, ...]
    before_m3_s: Numbers  # over the ports that are compared
    after_m3_s: Numbers
    gain_m3_s: Numbers
    gain_fraction: Numbers
    expanded_uncertainty_m3_s: Numbers
    expanded_fraction: Numbers
    verdict: tuple[Verdict | None, ...]  # None at interpolated lifts
    mean: Summary | None
    cam_weighted: Summary | None
    at_peak_m3_s: float | None  # gain at the highest measured lift within usable lift
    at_peak_expanded_m3_s: float | None
    shared_ports: tuple[str | None, ...]
    different_ports: bool
    port_spread_known: bool
    same_setup: bool | None
    setup_differences: tuple[str, ...]
    setup_unknown: tuple[str, ...]
    coefficient_gain: Numbers  # in flow coefficient: what is left when the valve size is taken out
    price: float | None
    price_per_flow: float | None  # per m3/s of a clear gain

    @property
    def summary(self) -> Summary | None:
        """Return the cam-weighted gain, else the mean."""
        return self.cam_weighted or self.mean


@dataclass(frozen=True)
class Ceiling:
    """What a flow like this has fed, as a level; never a gain."""

    stage: str
    low_w: float
    mid_w: float
    high_w: float


@dataclass(frozen=True)
class CompressionLine:
    """What one stage's chamber does to compression, beside the first chamber that is known."""

    stage: str
    base: str  # the stage of that first chamber
    chamber_volume_m3: float
    inherited: bool  # not measured at this stage: the last known one
    added_m3: float  # over the first chamber; below 0: the chamber became smaller
    ratio: float | None
    low_fraction: float | None  # relative change of ideal efficiency over gamma 1.25 to 1.35
    high_fraction: float | None
    surfacing_m: float | None  # off the deck for the first chamber's volume, where the plan area is known


@dataclass(frozen=True)
class Repeatability:
    """Pooled scatter of one side on one bench."""

    bench: str | None
    side: Side
    assumed: bool
    relative: float  # standard uncertainty of one reading, relative, at the middle lifts
    setup_dof: float
    sweep_dof: float


@dataclass(frozen=True)
class PlateCheck:
    """One reading of a certified plate beside all of its bench and side."""

    bench: str | None
    side: Side
    file: str
    line: int | None
    date: dt.date | None
    factor: float  # certified over measured flow
    pooled_factor: float
    low: float  # action limits around the pooled factor
    high: float
    departs: bool  # outside them: flows of that day take this day's factor


@dataclass(frozen=True)
class LeakCheck:
    """One leak test, beside the most that its side flows."""

    side: Side
    file: str
    date: dt.date | None
    flow_m3_s: float  # at the reference
    share_of_peak: float | None


@dataclass(frozen=True)
class BalanceRow:
    """The ports of a head at one lift; relative figures are over their mean."""

    lift_m: float
    mean_m3_s: float
    spread_m3_s: float  # best less worst port
    spread_fraction: float
    worst_port: str | None
    shortfall_fraction: float  # of the worst port, below 0
    expanded_fraction: float  # 95 %, of that shortfall


@dataclass(frozen=True)
class Balance:
    """How alike the ports of the finished head are, one side."""

    stage: str
    side: Side
    ports: tuple[str | None, ...]
    rows: tuple[BalanceRow, ...]  # empty with a single port


@dataclass(frozen=True)
class Reached:
    """A stage's share of the target over usable lift, 1 at the target."""

    fraction: float
    expanded_fraction: float  # 95 %
    weighting: Literal["cam-weighted", "mean over lift"]


@dataclass(frozen=True)
class Third:
    """The mean gap over one third of usable lift; below 0 where flow is missing."""

    part: Literal["low", "middle", "high"]
    from_m: float
    to_m: float
    gap_m3_s: float
    gap_fraction: float  # of the target's flow there
    expanded_m3_s: float
    expanded_fraction: float
    verdict: Verdict
    share_of_missing: float | None  # of all that the three parts miss; None where nothing clear is missing
    flow_coefficient_gap: float | None  # on head area, each with its own valves
    flow_coefficient_expanded: float | None
    coefficient_fraction: float | None  # the same, of the target's coefficient there
    coefficient_expanded_fraction: float | None


@dataclass(frozen=True)
class ToFind:
    """What a stage would have to find at a lift to be level with the target."""

    lift_m: float
    flow_m3_s: float
    expanded_m3_s: float


@dataclass(frozen=True)
class Gap:
    """One stage against the target, one side; tuples over lift run parallel to ``gain.lift_m``."""

    gain: Gain  # against the target: flow at each lift and over usable lift, with verdicts
    reached: Reached | None
    reached_coefficient: Reached | None  # the same share of the flow coefficient, on head area
    flow_coefficient_expanded: Numbers  # of gain.coefficient_gain
    discharge_coefficient_gap: Numbers  # on curtain area
    discharge_coefficient_expanded: Numbers
    thirds: tuple[Third, ...]
    to_find: tuple[ToFind, ...]  # lifts in use with a clear loss, the most first

    @property
    def stage(self) -> str:
        """Return the stage that is compared."""
        return self.gain.stage

    @property
    def side(self) -> Side:
        """Return its side."""
        return self.gain.side


@dataclass(frozen=True)
class TargetResult:
    """The target's own curves, and every stage's gap to it."""

    name: str
    curves: Sides[SideCurve | None]
    diameter_m: Sides[float | None]  # of one valve head
    valves: Sides[int | None]  # that flowed
    own_bench: bool  # read on benches that are not the job's
    gaps: tuple[Gap, ...]  # in the order of work, intake first

    def gap(self, stage: str, side: Side) -> Gap | None:
        """Return one stage's gap, None where there is none."""
        return next((gap for gap in self.gaps if (gap.stage, gap.side) == (stage, side)), None)

    def last(self, side: Side) -> Gap | None:
        """Return the gap of the last stage that has this side."""
        found = [gap for gap in self.gaps if gap.side == side]
        return found[-1] if found else None

    def first(self, side: Side) -> Gap | None:
        """Return the gap of the first stage that has this side."""
        return next((gap for gap in self.gaps if gap.side == side), None)


@dataclass(frozen=True)
class Review:
    """Everything worked out from a job, once."""

    job: Job
    reference: Reference
    usable_lift_m: Sides[float | None]
    cam_net_lift_m: Sides[float | None]
    stages: tuple[StageResult, ...]
    gains: tuple[Gain, ...]
    ceiling: tuple[Ceiling, ...]
    repeatability: tuple[Repeatability, ...]
    findings: tuple[Finding, ...]
    calibration: tuple[PlateCheck, ...] = ()
    leaks: tuple[LeakCheck, ...] = ()
    balance: tuple[Balance, ...] = ()
    compression: tuple[CompressionLine, ...] = ()
    target: TargetResult | None = None
    power: PowerModel | None = None  # None: not worked out, for it takes its time

    def gain(self, stage: str, side: Side, against: Against) -> Gain | None:
        """Return one comparison, None where there is none."""
        for gain in self.gains:
            if (gain.stage, gain.side, gain.against) == (stage, side, against):
                return gain
        return None
