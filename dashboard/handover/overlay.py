"""The overlay for paper: every stage's flow against valve lift, drawn as vectors."""

from __future__ import annotations

from core.job import SIDES
from core.results import Review
from core.units import UnitSet, label
from dashboard import words
from dashboard.charts.frame import tick_texts, ticks
from dashboard.curves import Frame, Line, cam_edges, cam_note, in_words, lines_of, reach, target_lines
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
)

HIGHEST, LEAST, ALONE = 124.0, 78.0, 150.0  # mm: over the ladder, at least, and with a page for itself
_PX = WIDTH / 900  # screen pixels of the look's tokens, on paper
_GUTTER_LEFT, _GUTTER_RIGHT, _ABOVE, _BELOW = 9.0, 38.0, 8.0, 8.0


def draw_overlay(paper: Paper, review: Review, units: UnitSet, height: float) -> None:
    """Draw the overlay across the page below what is there, nothing where no flow is known."""
    lines = lines_of(review, units)
    if not lines:
        return
    paper.heading("Flow against valve lift", words.POINTS_AND_BANDS, room=height)
    top = paper.y
    paper.y += height
    aims = target_lines(review, units)
    top_lift, top_flow = reach([*lines, *aims])
    plot = Frame(
        x0=LEFT + _GUTTER_LEFT,
        x1=LEFT + WIDTH - _GUTTER_RIGHT,
        y0=top + height - _BELOW,
        y1=top + _ABOVE,
        top_lift=top_lift,
        top_flow=top_flow,
    )
    with paper.tagged("Figure", in_words(lines, units)):
        _draw_beyond(paper, plot, review, units)
        _draw_axes(paper, plot, units)
        for line in sorted(lines, key=lambda one: one.weight != "context"):
            _draw_band(paper, plot, line)
        for line in sorted(lines, key=lambda one: one.weight != "context"):
            _draw_line(paper, plot, line)
        for aim in aims:
            _draw_target(paper, plot, aim)
        _draw_names(paper, plot, [*lines, *aims])


def _draw_axes(paper: Paper, plot: Frame, units: UnitSet) -> None:
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


def _draw_beyond(paper: Paper, plot: Frame, review: Review, units: UnitSet) -> None:
    """Shade the lift that no cam opens, with a boundary for each side where the cams differ."""
    edges = cam_edges(review, SIDES, plot, units)
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
    note = cam_note(review, SIDES, units)
    paper.line_of_text(plot.x1, plot.y1 - 1.4, note, size=TYPE_PT["small"], colour=LOOK.muted, align="right")


def _colour(line: Line) -> str:
    return LOOK.target if line.is_target else LOOK.line_colour(line.index, line.count)


def _draw_band(paper: Paper, plot: Frame, line: Line) -> None:
    if not line.has_band:
        return
    opacity = OPACITY["band_last" if line.weight == "last" else "band"]
    with paper.local_context(fill_opacity=opacity, fill_color=_colour(line)):
        paper.polygon(line.band(plot), style="F")


def _draw_line(paper: Paper, plot: Frame, line: Line) -> None:
    width = (STROKE_PT["baseline"] * 0.6 if line.weight == "context" else STROKE_PT[line.weight]) * MM_PER_PT
    dash = tuple(length * _PX for length in DASH_PX["exhaust"]) if line.side == "exhaust" else (0.0, 0.0)
    for points, opacity in line.pieces(plot):
        with paper.local_context(
            stroke_opacity=opacity, draw_color=_colour(line), line_width=width, dash_pattern=(*dash, 0),
            stroke_cap_style="butt", stroke_join_style="round",
        ):  # fmt: skip
            paper.polyline(points)
    if line.weight != "context":
        for x, y in plot.points(line.lift, line.flow):
            _draw_point(paper, line, x, y, last=line.weight == "last")


def _draw_target(paper: Paper, plot: Frame, line: Line) -> None:
    """Draw the target: dots of ink, without readings."""
    lift, flow, _ = line.sampled()
    gap = sum(DASH_PX["target"]) * _PX
    with paper.local_context(
        draw_color=LOOK.target, line_width=STROKE_PT["target"] * MM_PER_PT, dash_pattern=(0.01, gap, 0),
        stroke_cap_style="round", stroke_join_style="round",
    ):  # fmt: skip
        paper.polyline(plot.points(lift, flow))


def _draw_point(paper: Paper, line: Line, x: float, y: float, *, last: bool = False) -> None:
    """Draw a reading: a filled circle with a halo for the intake, a hollow square for the exhaust."""
    edge = POINT_PX["area_last" if last else "area"] ** 0.5 * _PX * 0.95
    if line.side == "intake":
        edge = edge * 1.19 + POINT_PX["halo"] * _PX  # a circle of that area, and half of its halo around it
        paper.set_draw_color(LOOK.surface)
        paper.set_fill_color(_colour(line))
        paper.set_line_width(POINT_PX["halo"] * _PX)
    else:
        paper.set_draw_color(_colour(line))
        paper.set_fill_color(LOOK.surface)
        paper.set_line_width(POINT_PX["stroke"] * _PX)
    shape = paper.ellipse if line.side == "intake" else paper.rect
    shape(x - edge / 2, y - edge / 2, edge, edge, style="DF")


def _draw_names(paper: Paper, plot: Frame, lines: list[Line]) -> None:
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


def _draw_name(paper: Paper, plot: Frame, line: Line, start: float, x: float, y: float) -> None:
    start += plot.x(line.lift[-1]) - plot.x1
    with paper.local_context(draw_color=_colour(line), line_width=0.15, stroke_opacity=0.9):
        paper.polyline([(start, plot.y(line.flow[-1])), (x - 0.8, y), (x + 0.2, y)])
    colour, style = LOOK.target, REGULAR
    if not line.is_target:
        _draw_point(paper, line, x + 1.2, y)
        colour = LOOK.text_colour(line.index, line.count)
        style = STRONG if line.weight == "last" else REGULAR
    room = LEFT + WIDTH - x - 3.2
    many = line.count >= MANY_STAGES and not line.is_target
    name = f"{line.index + 1} {line.name}" if many else line.name
    while paper.width_of(name, TYPE_PT["chart_label"], style) > room and len(name) > 2:
        name = shorten(name, len(name) - 1)
    paper.line_of_text(x + 3.2, y + 1.0, name, size=TYPE_PT["chart_label"], style=style, colour=colour)


def _draw_numbers(paper: Paper, plot: Frame, lines: list[Line]) -> None:
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
