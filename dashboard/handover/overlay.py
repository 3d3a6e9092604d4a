"""The overlay for paper: every stage's flow against valve lift, drawn as vectors."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from core.curve import interpolate
from core.job import SIDES, Side
from core.results import Review, SideCurve
from core.units import UnitSet, label, show, to_display
from dashboard import words
from dashboard.charts.frame import tick_texts, ticks
from dashboard.figures import figure, significant
from dashboard.handover.fonts import REGULAR, STRONG
from dashboard.handover.paper import LEFT, LOOK, MM_PER_PT, WIDTH, Paper
from dashboard.labels import dodge, dodge_blocks, shorten
from dashboard.look import (
    DASH_PX,
    LABEL_PX,
    MANY_STAGES,
    OPACITY,
    POINT_PX,
    STROKE_PT,
    TYPE_PT,
    weight_of,
)

HEIGHT = 104.0
_PX = WIDTH / 900  # screen pixels of the look's tokens, on paper
_GUTTER_LEFT, _GUTTER_RIGHT, _ABOVE, _BELOW = 9.0, 38.0, 8.0, 8.0
_STEPS = 8  # line segments from one reading to the next


@dataclass(frozen=True)
class _Line:
    """One stage's curve of one side, ready to be drawn."""

    name: str
    side: Side
    index: int
    count: int
    lift: np.ndarray  # all in display units
    flow: np.ndarray
    half_band: np.ndarray
    beyond: float | None  # the lift above which the cam does not use the curve

    @property
    def weight(self) -> str:
        return weight_of(self.index, self.count)

    @property
    def colour(self) -> str:
        return LOOK.line_colour(self.index, self.count)

    def sampled(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Return lift, flow and half-width of the band, from the shut valve to the last reading."""
        knots = np.concatenate([[0.0], self.lift])
        between = np.linspace(0, 1, _STEPS, endpoint=False)
        lift = np.append((knots[:-1, None] + np.diff(knots)[:, None] * between).ravel(), knots[-1])
        if self.beyond is not None and self.beyond < knots[-1]:
            lift = np.unique(np.append(lift, self.beyond))
        band = np.interp(lift, knots, np.concatenate([[0.0], self.half_band]))
        return lift, interpolate(self.lift, self.flow, lift), band


@dataclass(frozen=True)
class _Plot:
    """Where the axes stand on the page, and what they reach."""

    x0: float
    x1: float
    y0: float  # of zero flow, below
    y1: float
    top_lift: float
    top_flow: float

    def x(self, lift: float) -> float:
        return self.x0 + (self.x1 - self.x0) * lift / self.top_lift

    def y(self, flow: float) -> float:
        return self.y0 + (self.y1 - self.y0) * flow / self.top_flow

    def points(self, lift: np.ndarray, flow: np.ndarray) -> list[tuple[float, float]]:
        return list(zip(self.x(lift), self.y(flow), strict=True))


def draw_overlay(paper: Paper, review: Review, units: UnitSet) -> None:
    """Draw the overlay across the page below what is there, nothing where no flow is known."""
    lines = list(_lines(review, units))
    if not lines:
        return
    paper.heading("Flow against valve lift", words.POINTS_AND_BANDS, room=HEIGHT)
    top = paper.y
    paper.y += HEIGHT
    highest = max(np.max(line.flow + line.half_band) for line in lines)
    plot = _Plot(
        x0=LEFT + _GUTTER_LEFT,
        x1=LEFT + WIDTH - _GUTTER_RIGHT,
        y0=top + HEIGHT - _BELOW,
        y1=top + _ABOVE,
        top_lift=max(line.lift[-1] for line in lines),
        top_flow=highest,
    )
    with paper.tagged("Figure", _alternative(lines, units)):
        _draw_beyond(paper, plot, review, units)
        _draw_axes(paper, plot, units)
        for line in sorted(lines, key=lambda one: one.weight != "context"):
            _draw_band(paper, plot, line)
        for line in sorted(lines, key=lambda one: one.weight != "context"):
            _draw_line(paper, plot, line)
        _draw_names(paper, plot, lines)


def _lines(review: Review, units: UnitSet) -> Iterator[_Line]:
    for side in SIDES:
        net = review.cam_net_lift_m[side]
        for index, stage in enumerate(review.stages):
            taken = _taken(stage.side(side))
            if not taken:
                continue
            lift, flow, band = (np.array(column) for column in zip(*taken, strict=True))
            yield _Line(
                name=stage.name,
                side=side,
                index=index,
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


def _draw_axes(paper: Paper, plot: _Plot, units: UnitSet) -> None:
    size, muted = TYPE_PT["chart_label"], LOOK.muted
    flows, across = ticks(0.0, plot.top_flow, 6), ticks(0.0, plot.top_lift, 12)
    for value, text in zip(flows, tick_texts(flows), strict=True):
        paper.rule(plot.y(value), x=plot.x0, width=plot.x1 - plot.x0, strong=value == 0)
        paper.line_of_text(plot.x0 - 1.8, plot.y(value) + 1.0, text, size=size, colour=muted, align="right")
    paper.line_of_text(LEFT, plot.y1 - 4.0, label("flow", units), size=size, colour=muted)
    for value, text in zip(across, tick_texts(across), strict=True):
        x = plot.x(value)
        paper.line(x, plot.y0, x, plot.y0 + 0.9)
        paper.line_of_text(x, plot.y0 + 4.0, text, size=size, colour=muted, align="centre")
    paper.line_of_text(
        plot.x1 + 4.0, plot.y0 + 4.0, f"valve lift, {label('lift', units)}", size=size, colour=muted
    )


def _draw_beyond(paper: Paper, plot: _Plot, review: Review, units: UnitSet) -> None:
    """Shade the lift that no cam opens, with a boundary for each side where the cams differ."""
    nets = {side: net for side, net in review.cam_net_lift_m.items() if net is not None}
    edges = sorted({to_display(net, "lift", units) for net in nets.values()})
    edges = [edge for edge in edges if edge < plot.top_lift * (1 - 1e-6)]
    if not edges:
        return
    paper.set_fill_color(LOOK.beyond)
    last = plot.x(edges[-1])
    paper.rect(last, plot.y1, plot.x1 - last, plot.y0 - plot.y1, style="F")
    dash, gap = (length * _PX for length in DASH_PX["beyond"])
    with paper.local_context(
        draw_color=LOOK.rule_strong, line_width=_PX, dash_pattern=(dash, gap, 0), stroke_cap_style="butt"
    ):
        for edge in edges:
            paper.line(plot.x(edge), plot.y1, plot.x(edge), plot.y0)
    said = {side: show(net, "lift", units) for side, net in nets.items()}
    if len(set(said.values())) == 1:
        note = f"{words.NOT_OPENED} {next(iter(said.values()))}"
    else:
        note = f"{words.NOT_OPENED} " + ", ".join(f"{text} ({side})" for side, text in said.items())
    paper.line_of_text(plot.x1, plot.y1 - 1.4, note, size=TYPE_PT["small"], colour=LOOK.muted, align="right")


def _alternative(lines: list[_Line], units: UnitSet) -> str:
    """Return the figure in words."""
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


def _draw_band(paper: Paper, plot: _Plot, line: _Line) -> None:
    if line.weight == "context" or not line.half_band.any():
        return
    lift, flow, band = line.sampled()
    outline = plot.points(lift, flow + band) + plot.points(lift[::-1], (flow - band)[::-1])
    opacity = OPACITY["band_last" if line.weight == "last" else "band"]
    with paper.local_context(fill_opacity=opacity, fill_color=line.colour):
        paper.polygon(outline, style="F")


def _draw_line(paper: Paper, plot: _Plot, line: _Line) -> None:
    lift, flow, _ = line.sampled()
    width = (STROKE_PT["baseline"] * 0.6 if line.weight == "context" else STROKE_PT[line.weight]) * MM_PER_PT
    within = lift <= (line.beyond if line.beyond is not None else lift[-1])
    strength = OPACITY["context"] if line.weight == "context" else 1.0
    dash = tuple(length * _PX for length in DASH_PX["exhaust"]) if line.side == "exhaust" else (0.0, 0.0)
    start_beyond = max(int(within.sum()) - 1, 0)
    for piece, opacity in (
        (slice(0, start_beyond + 1), strength),
        (slice(start_beyond, None), OPACITY["beyond_line"]),
    ):
        points = plot.points(lift[piece], flow[piece])
        if len(points) > 1:
            with paper.local_context(
                stroke_opacity=opacity, draw_color=line.colour, line_width=width, dash_pattern=(*dash, 0),
                stroke_cap_style="butt", stroke_join_style="round",
            ):  # fmt: skip
                paper.polyline(points)
    if line.weight != "context":
        for x, y in plot.points(line.lift, line.flow):
            _draw_point(paper, line, x, y, last=line.weight == "last")


def _draw_point(paper: Paper, line: _Line, x: float, y: float, *, last: bool = False) -> None:
    """Draw a reading: a filled circle with a halo for the intake, a hollow square for the exhaust."""
    edge = POINT_PX["area_last" if last else "area"] ** 0.5 * _PX * 0.95
    if line.side == "intake":
        paper.set_draw_color(LOOK.surface)
        paper.set_fill_color(line.colour)
        paper.set_line_width(POINT_PX["halo"] * _PX)
    else:
        paper.set_draw_color(line.colour)
        paper.set_fill_color(LOOK.surface)
        paper.set_line_width(POINT_PX["stroke"] * _PX)
    shape = paper.ellipse if line.side == "intake" else paper.rect
    shape(x - edge / 2, y - edge / 2, edge, edge, style="DF")


def _draw_names(paper: Paper, plot: _Plot, lines: list[_Line]) -> None:
    """Name the lines at their ends: the intake's block above the exhaust's."""
    named = [line for line in lines if line.weight != "context"]
    blocks = [(side, [line for line in named if line.side == side]) for side in SIDES]
    blocks = [(side, block) for side, block in blocks if block]
    wanted = [[plot.y(line.flow[-1]) for line in block] for _, block in blocks]
    gap = LABEL_PX["line"] * _PX * 1.28
    places = dodge_blocks(wanted, gap, plot.y1 - 2.0, plot.y0 - 1.0)
    many = any(line.weight == "context" for line in lines)
    # Where stages are numbered, leaders begin behind the numbers.
    start, x = (8.0, 10.5) if many else (1.1, 4.5)
    start, x = plot.x1 + start, plot.x1 + x
    for (side, block), (heading, heights) in zip(blocks, places, strict=True):
        paper.line_of_text(x, heading + 1.0, side.capitalize(), size=TYPE_PT["chart_label"], style=STRONG)
        for line, y in zip(block, heights, strict=True):
            _draw_name(paper, plot, line, start, x, y)
    if many:
        _draw_numbers(paper, plot, [line for line in lines if line.weight == "context"])


def _draw_name(paper: Paper, plot: _Plot, line: _Line, start: float, x: float, y: float) -> None:
    start += plot.x(line.lift[-1]) - plot.x1
    with paper.local_context(draw_color=line.colour, line_width=0.15, stroke_opacity=0.9):
        paper.polyline([(start, plot.y(line.flow[-1])), (x - 0.8, y), (x + 0.2, y)])
    _draw_point(paper, line, x + 1.2, y)
    colour = LOOK.text_colour(line.index, line.count)
    style = STRONG if line.weight == "last" else REGULAR
    room = LEFT + WIDTH - x - 3.2
    name = f"{line.index + 1} {line.name}" if line.count >= MANY_STAGES else line.name
    while paper.width_of(name, TYPE_PT["chart_label"], style) > room and len(name) > 2:
        name = shorten(name, len(name) - 1)
    paper.line_of_text(x + 3.2, y + 1.0, name, size=TYPE_PT["chart_label"], style=style, colour=colour)


def _draw_numbers(paper: Paper, plot: _Plot, lines: list[_Line]) -> None:
    """Number the stages between first and last at their line ends, in two staggered columns."""
    size = TYPE_PT["small"] * 0.9
    for side in SIDES:
        block = sorted((line for line in lines if line.side == side), key=lambda one: one.flow[-1])
        for start in (0, 1):
            column = block[start::2]
            heights = dodge([plot.y(line.flow[-1]) for line in column], 2.5, plot.y1 - 2.0, plot.y0 - 1.0)
            for line, y in zip(column, heights, strict=True):
                colour = LOOK.text_colour(line.index, line.count)
                x = plot.x(line.lift[-1]) + 1.6 + 3.2 * start
                paper.line_of_text(x, y + 0.8, str(line.index + 1), size=size, colour=colour)
