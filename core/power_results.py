"""What the breathing model gives: frozen results in SI, ready to be shown.

Every power here is an estimate for comparing stages of work. ``None`` is "cannot be worked
out", and ``because`` beside it is a clause that completes "No power figure, because ...".
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

AgainstStage = Literal["baseline", "previous"]
Origin = Literal["job", "set", "assumed"]
ContributionKind = Literal["structure", "unknown", "measured flow"]


@dataclass(frozen=True)
class Range:
    """A range with its middle; never narrower than 40 % of the middle on either side."""

    low: float
    mid: float
    high: float


@dataclass(frozen=True)
class PriceRange:
    """Price for each watt of a gain.

    ``high`` is None where the gain's range reaches down to zero, ``mid`` where its middle
    does: nothing bounds the price then.
    """

    low: float
    mid: float | None
    high: float | None


@dataclass(frozen=True)
class Contribution:
    """What one source alone puts into a gain's range."""

    key: str  # "structure", "intake flow", "exhaust flow", "bench scale", or an Assumption's key
    name: str
    kind: ContributionKind
    half_width_w: float  # half of the 95 % range that it alone would give; 0 or more


@dataclass(frozen=True)
class PowerGain:
    """One stage against another, over the window of speeds around peak power."""

    against: AgainstStage
    other: str
    gain_w: Range
    gain_fraction: Range  # of the other stage's power in the window
    intake_w: float  # the intake's and the exhaust's part of the middle; they add up to it
    exhaust_w: float
    intake_share: float | None  # part over middle; None where the range reaches zero: no share means anything
    exhaust_share: float | None
    too_close_to_call: bool  # no flow gain that it rests on is clear: the range includes zero
    widened: bool  # model and unknowns gave less than 40 % of the middle on a side
    by_structure_w: tuple[tuple[str, float], ...]  # name of the structure, its middle
    contributions: tuple[Contribution, ...]  # largest first
    price: float | None  # the stages' own prices after ``other``, up to and with this one
    price_per_w: PriceRange | None  # None without a price, or where even ``high`` is no gain


@dataclass(frozen=True)
class PowerBand:
    """Power and torque over the model's speeds, at the baseline's compression."""

    power_low_w: tuple[float, ...]
    power_mid_w: tuple[float, ...]
    power_high_w: tuple[float, ...]
    torque_low_n_m: tuple[float, ...]
    torque_mid_n_m: tuple[float, ...]
    torque_high_n_m: tuple[float, ...]
    peak_w: Range
    peak_speed_rad_s: float  # of the middle curve


@dataclass(frozen=True)
class StagePower:
    """One stage; either ``because`` or a band, and gains where there is a stage to compare with."""

    name: str
    because: str | None = None
    cure: str = ""
    band: PowerBand | None = None
    against_baseline: PowerGain | None = None
    against_previous: PowerGain | None = None


@dataclass(frozen=True)
class Assumption:
    """One value that the model needs and the flow bench does not give."""

    key: str  # the field of PowerSettings that sets it
    name: str
    value: float  # in SI
    unit_kind: str  # kind of quantity for core.units
    origin: Origin
    standard_uncertainty: float  # in SI, drawn around the value
    least: float  # what PowerSettings allows
    greatest: float
    note: str = ""  # where the value comes from


@dataclass(frozen=True)
class Anchor:
    """A peak that a dynamometer measured, with the standard that it was corrected to."""

    power_w: float
    stage: str
    standard: str | None = None


@dataclass(frozen=True)
class PowerModel:
    """The breathing model of a job; ``because`` is None where it gave a figure for any stage."""

    because: str | None
    cure: str = ""
    baseline: str | None = None  # first stage with a figure
    stages: tuple[StagePower, ...] = ()  # all stages of the job, in the order of work
    speed_rad_s: tuple[float, ...] = ()  # of the bands
    window_rad_s: tuple[float, float] | None = None  # speeds that gains are the mean over
    structures: tuple[str, ...] = ()
    anchor: Anchor | None = None  # as applied
    anchor_factor: float | None = None  # known over modelled peak of that stage
    anchor_because: str | None = None  # why an anchor that was given was not applied
    assumptions: tuple[Assumption, ...] = ()
    disclosures: tuple[str, ...] = ()  # what the model cannot know, in plain sentences
    notes: tuple[str, ...] = ()  # about this job: what was held, inherited or not stated

    def stage(self, name: str) -> StagePower | None:
        """Return one stage's figures, None where the job has no such stage."""
        return next((stage for stage in self.stages if stage.name == name), None)
