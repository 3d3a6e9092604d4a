"""Every stage's flow against lift as it is drawn for hand-over: lines in display units, and their frame.

A frame's coordinates grow as those of its medium do: millimetres on paper, units of an SVG.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from core.curve import interpolate
from core.job import SIDES, Side
from core.results import Review, SideCurve
from core.units import UnitSet, label, show, to_display
from dashboard import words
from dashboard.figures import figure, significant
from dashboard.look import OPACITY, Weight, weight_of

_STEPS = 8  # line segments from one reading to the next

Points = list[tuple[float, float]]


@dataclass(frozen=True)
class Line:
    """One stage's curve of one side, ready to be drawn."""

    name: str
    side: Side
    index: int
    count: int
    lift: np.ndarray  # all in display units
    flow: np.ndarray
    half_band: np.ndarray
    beyond: float | None  # the lift above which the cam does not use the curve
    is_target: bool = False

    @property
    def weight(self) -> Weight:
        """Return how heavily the line is drawn."""
        return weight_of(self.index, self.count)

    @property
    def has_band(self) -> bool:
        """Return whether what tells stages apart is drawn around the line."""
        return self.weight != "context" and bool(self.half_band.any())

    def sampled(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Return lift, flow and half-width of the band, from the shut valve to the last reading."""
        knots = np.concatenate([[0.0], self.lift])
        between = np.linspace(0, 1, _STEPS, endpoint=False)
        lift = np.append((knots[:-1, None] + np.diff(knots)[:, None] * between).ravel(), knots[-1])
        if self.beyond is not None and self.beyond < knots[-1]:
            lift = np.unique(np.append(lift, self.beyond))
        band = np.interp(lift, knots, np.concatenate([[0.0], self.half_band]))
        return lift, interpolate(self.lift, self.flow, lift), band

    def pieces(self, frame: Frame) -> Iterator[tuple[Points, float]]:
        """Yield the line within the cam's lift and beyond it, each with its opacity."""
        lift, flow, _ = self.sampled()
        within = lift <= (self.beyond if self.beyond is not None else lift[-1])
        turn = max(int(within.sum()) - 1, 0)
        strength = OPACITY["context"] if self.weight == "context" else 1.0
        for piece, opacity in (
            (slice(0, turn + 1), strength),
            (slice(turn, None), OPACITY["beyond_line"]),
        ):
            points = frame.points(lift[piece], flow[piece])
            if len(points) > 1:
                yield points, opacity

    def band(self, frame: Frame) -> Points:
        """Return the outline of the band around the line."""
        lift, flow, half = self.sampled()
        return frame.points(lift, flow + half) + frame.points(lift[::-1], (flow - half)[::-1])


@dataclass(frozen=True)
class Frame:
    """Where the axes stand, and what they reach; ``y0`` is the height of zero flow."""

    x0: float
    x1: float
    y0: float
    y1: float
    top_lift: float
    top_flow: float

    def x(self, lift: float) -> float:
        """Return where a lift stands."""
        return self.x0 + (self.x1 - self.x0) * lift / self.top_lift

    def y(self, flow: float) -> float:
        """Return where a flow stands."""
        return self.y0 + (self.y1 - self.y0) * flow / self.top_flow

    def points(self, lift: np.ndarray, flow: np.ndarray) -> Points:
        """Return a curve's points."""
        return list(zip(self.x(lift), self.y(flow), strict=True))


def lines_of(review: Review, units: UnitSet) -> list[Line]:
    """Return a line for every stage and side with a usable reading, intake first."""
    return [line for side in SIDES for line in _of_side(review, side, units)]


def target_lines(review: Review, units: UnitSet) -> list[Line]:
    """Return the target's curve of every side that it has."""
    found = []
    for side, curve in review.target.curves.items() if review.target else ():
        if _taken(curve):
            found.append(replace(_line(review, "target", side, curve, units), is_target=True))
    return found


def _of_side(review: Review, side: Side, units: UnitSet) -> Iterator[Line]:
    for index, stage in enumerate(review.stages):
        if _taken(stage.side(side)):
            yield replace(_line(review, stage.name, side, stage.side(side), units), index=index)


def _line(review: Review, name: str, side: Side, curve: SideCurve, units: UnitSet) -> Line:
    net = review.cam_net_lift_m[side]
    lift, flow, band = (np.array(column) for column in zip(*_taken(curve), strict=True))
    return Line(
        name=name,
        side=side,
        index=0,
        count=len(review.stages),
        lift=to_display(lift, "lift", units),
        flow=to_display(flow, "flow", units),
        half_band=to_display(band, "flow", units),
        beyond=None if net is None else to_display(net, "lift", units),
    )


def _taken(curve: SideCurve | None) -> list[tuple[float, float, float]]:
    """Return (lift, flow, half-width of the band) of the readings that can be used."""
    if curve is None:
        return []
    rows = zip(curve.lift_m, curve.flow_m3_s, curve.expanded_bench_m3_s, strict=True)
    return [(lift, flow, band or 0.0) for lift, flow, band in rows if flow is not None]


def reach(lines: Sequence[Line]) -> tuple[float, float]:
    """Return the highest lift and the highest flow with its band, so that all lines share a frame."""
    top_flow = max(float(np.max(line.flow + line.half_band)) for line in lines)
    return max(float(line.lift[-1]) for line in lines), top_flow


def cam_edges(review: Review, sides: Sequence[Side], frame: Frame, units: UnitSet) -> list[float]:
    """Return the lifts inside a frame above which these sides' cams do not open, each once."""
    nets = {net for side in sides if (net := review.cam_net_lift_m[side]) is not None}
    edges = sorted({to_display(net, "lift", units) for net in nets})
    return [edge for edge in edges if edge < frame.top_lift * (1 - 1e-6)]


def cam_note(review: Review, sides: Sequence[Side], units: UnitSet) -> str:
    """Return what the shading is: where the cam stops, for each side where the cams differ."""
    nets = {side: review.cam_net_lift_m[side] for side in sides}
    said = {side: show(net, "lift", units) for side, net in nets.items() if net is not None}
    if len(set(said.values())) == 1:
        return f"{words.NOT_OPENED} {next(iter(said.values()))}"
    return f"{words.NOT_OPENED} " + ", ".join(f"{text} ({side})" for side, text in said.items())


def in_words(lines: Sequence[Line], units: UnitSet) -> str:
    """Return the figure in words, for who cannot see it."""
    flow, lift = label("flow", units), label("lift", units)
    said = [
        f"{line.side}, {line.name}: {figure(line.flow[-1], 0)} {flow} "
        f"at {significant(line.lift[-1], 3)} {lift}"
        for line in lines
    ]
    return (
        f"Flow against valve lift. At the highest reading: {'; '.join(said)}. "
        "Every value is in the tables by lift."
    )
