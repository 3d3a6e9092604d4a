"""The one comparison that a still and a video's description show: before and after, each side."""

from __future__ import annotations

from dataclasses import dataclass

from core.job import SIDES, Side
from core.results import Gain, Review
from core.units import UnitSet
from dashboard import words
from dashboard.handover.choice import Choice
from dashboard.tables import Cell, change_cell, flow_figure, summary_cell


class NotComparedError(ValueError):
    """Two stages were asked for that the review does not compare."""


@dataclass(frozen=True)
class Compared:
    """One side's comparison as finished text; its flows are those of the ports that both stages share."""

    gain: Gain
    before: str
    after: str
    flow_gain: Cell
    change: Cell  # the same in percent
    short_doubts: tuple[str, ...]  # for where there is little room

    @property
    def side(self) -> Side:
        """Return the side of the head."""
        return self.gain.side


def pairs(review: Review) -> tuple[tuple[str, str], ...]:
    """Return every (before, after) that the review compares: all work first, then step by step."""
    wholes = [gain for side in SIDES if (gain := words.whole_gain(review, side))]
    found = [*wholes, *(gain for gain in review.gains if gain.against != "target")]
    return tuple(dict.fromkeys((gain.other, gain.stage) for gain in found if gain.summary))


def compared(review: Review, choice: Choice, units: UnitSet) -> tuple[Compared, ...]:
    """Return the chosen comparison, by default all work, of the chosen sides.

    Raises
    ------
    NotComparedError
        If the choice names two stages that the review does not compare.
    """
    if choice.stages is not None and tuple(choice.stages) not in pairs(review):
        known = "; ".join(f"{before} and {after}" for before, after in pairs(review)) or "none"
        raise NotComparedError(
            f"No comparison of {' and '.join(choice.stages)} was worked out. Compared are: {known}."
        )
    gains = [_gain(review, side, choice) for side in SIDES if choice.side in (None, side)]
    return tuple(_as_text(gain, review, units) for gain in gains if gain and gain.summary)


def whole_work(review: Review, units: UnitSet) -> tuple[Compared, ...]:
    """Return the last stage against the baseline, of each side that has both."""
    gains = [words.whole_gain(review, side) for side in SIDES]
    return tuple(_as_text(gain, review, units) for gain in gains if gain and gain.summary)


def _gain(review: Review, side: Side, choice: Choice) -> Gain | None:
    if choice.stages is None:
        return words.whole_gain(review, side)
    for gain in review.gains:
        if (
            gain.side == side
            and gain.against != "target"
            and (gain.other, gain.stage) == tuple(choice.stages)
        ):
            return gain
    return None


def _as_text(gain: Gain, review: Review, units: UnitSet) -> Compared:
    summary = gain.summary
    before, after = (
        flow_figure(flow, summary.expanded_uncertainty_m3_s, units)
        for flow in (summary.before_m3_s, summary.after_m3_s)
    )
    return Compared(
        gain,
        before,
        after,
        summary_cell(gain, review, units),
        change_cell(gain, review),
        tuple(words.short_doubts(gain, review)),
    )
