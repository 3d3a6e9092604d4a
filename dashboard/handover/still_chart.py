"""The chart of a still: before and after against valve lift, on one ground, large enough for a phone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from core.job import SIDES, Side
from core.results import Review
from core.units import NO_BREAK_SPACE, UnitSet, label
from dashboard.charts.frame import tick_texts, ticks
from dashboard.curves import Frame, Line, cam_edges, lines_of, reach
from dashboard.handover.canvas import REGULAR, SEMIBOLD, Box, Canvas, Colour, Vectors, ink, mixed, width_of
from dashboard.handover.compared import Compared
from dashboard.labels import dodge_blocks
from dashboard.look import DASH_PX, OPACITY, POINT_PX, STROKE_PX, TYPE_STILL, Theme

_SCALE = 2.4  # strokes of the screen's charts, made fit for a still
_AXIS, _NAME = TYPE_STILL["axis"], TYPE_STILL["least"]
_LABEL_GAP = 34


def still_lines(review: Review, found: Sequence[Compared], side: Side | None, units: UnitSet) -> list[Line]:
    """Return the compared stages' lines, each as before or as after; without a comparison all there is."""
    lines = [line for line in lines_of(review, units) if side in (None, line.side)]
    if not found:
        return (
            [replace(line, index=0, count=1) for line in lines] if len({ln.name for ln in lines}) == 1 else []
        )
    kept = []
    for one in found:
        for place, name in enumerate((one.gain.other, one.gain.stage)):
            kept += [
                replace(line, index=place, count=2)
                for line in lines
                if (line.side, line.name) == (one.side, name)
            ]
    return kept


def draw_chart(
    canvas: Canvas,
    box: Box,
    ground: Colour,
    theme: Theme,
    review: Review,
    lines: Sequence[Line],
    units: UnitSet,
) -> None:
    """Draw the lines in a box, with axes and names."""
    x0, y0, x1, y1 = box
    gutter = _NAME + 2 + max(width_of(text, _NAME, SEMIBOLD) for text in (*_sides(lines), *_names(lines)))
    frame = Frame(x0 + 4, x1 - gutter - 14, y1 - 44, y0 + 12, *reach(lines))
    with canvas.vectors(box, ground) as draw:
        _draw_frame(draw, frame, theme, review, lines, units)
        for line in lines:
            _draw_line(draw, frame, line, theme, ground)
        places = _draw_leaders(draw, frame, lines, theme)
    _set_axes(canvas, frame, theme, units)
    for text, y, line in places:
        x = frame.x1 + 40
        if line is None:
            canvas.text(x, y + 10, text, _NAME, theme.text, weight=SEMIBOLD)
        else:
            weight = SEMIBOLD if line.index else REGULAR
            canvas.text(x, y + 10, text, _NAME, theme.text_colour(line.index, line.count), weight=weight)


def draw_small_chart(canvas: Canvas, box: Box, ground: Colour, theme: Theme, lines: Sequence[Line]) -> None:
    """Draw the bare lines, for where there is no room for axes."""
    x0, y0, x1, y1 = box
    frame = Frame(x0 + 4, x1 - 8, y1 - 4, y0 + 8, *reach(lines))
    with canvas.vectors(box, ground) as draw:
        draw.line([(frame.x0, frame.y0), (frame.x1, frame.y0)], 2, ink(theme.rule_strong))
        for line in lines:
            _draw_line(draw, frame, line, theme, ground, scale=0.6)


def _sides(lines: Sequence[Line]) -> list[str]:
    return [side.capitalize() for side in SIDES if any(line.side == side for line in lines)]


def _names(lines: Sequence[Line]) -> list[str]:
    return [_name(line) for line in lines]


def _name(line: Line) -> str:
    return ("before", "after")[line.index] if line.count == 2 else line.name[:12]


def _draw_frame(
    draw: Vectors, frame: Frame, theme: Theme, review: Review, lines: Sequence[Line], units: UnitSet
) -> None:
    sides = [side for side in SIDES if any(line.side == side for line in lines)]
    edges = cam_edges(review, sides, frame, units)
    if edges:
        x = frame.x(edges[-1])
        corners = [(x, frame.y1), (frame.x1, frame.y1), (frame.x1, frame.y0), (x, frame.y0)]
        draw.shape(corners, ink(theme.beyond))
    for edge in edges:
        x = frame.x(edge)
        draw.line([(x, frame.y0), (x, frame.y1)], 2, ink(theme.rule_strong), (4, 6))
    for flow in ticks(0.0, frame.top_flow, 4):
        y = frame.y(flow)
        draw.line([(frame.x0, y), (frame.x1, y)], 2, ink(theme.rule if flow else theme.rule_strong))


def _set_axes(canvas: Canvas, frame: Frame, theme: Theme, units: UnitSet) -> None:
    flows, across = ticks(0.0, frame.top_flow, 4), ticks(0.0, frame.top_lift, 7)
    for flow, text in list(zip(flows, tick_texts(flows), strict=True))[1:]:
        unit = f"{NO_BREAK_SPACE}{label('flow', units)}" if flow == flows[-1] else ""
        canvas.text(frame.x0, frame.y(flow) - 8, text + unit, _AXIS, theme.muted)
    for lift, text in zip(across, tick_texts(across), strict=True):
        half = width_of(text, _AXIS) / 2
        canvas.text(max(frame.x(lift) - half, frame.x0), frame.y0 + 34, text, _AXIS, theme.muted)
    canvas.text(frame.x1 + 26, frame.y0 + 34, f"lift, {label('lift', units)}", _AXIS, theme.muted)


def _draw_line(
    draw: Vectors, frame: Frame, line: Line, theme: Theme, ground: Colour, scale: float = 1.0
) -> None:
    hue = theme.line_colour(line.index, line.count)
    if line.has_band:
        opacity = OPACITY["band_last" if line.weight == "last" else "band"]
        draw.shape(line.band(frame), ink(hue, opacity))
    width = STROKE_PX[line.weight] * _SCALE * scale
    dash = [length * _SCALE * scale for length in DASH_PX["exhaust"]] if line.side == "exhaust" else []
    for points, opacity in line.pieces(frame):
        draw.line(points, width, mixed(hue, opacity, ground), dash)
    if scale < 1:
        return
    radius = (POINT_PX["area_last" if line.weight == "last" else "area"] / 3.1416) ** 0.5 * _SCALE
    for x, y in frame.points(line.lift, line.flow):
        _draw_point(draw, line.side, x, y, radius, ink(hue), ground)


def _draw_point(
    draw: Vectors, side: Side, x: float, y: float, radius: float, hue: Colour, ground: Colour
) -> None:
    """Draw a reading: a filled circle with a halo for the intake, a hollow square for the exhaust."""
    around = (*ground[:3], 255)
    if side == "intake":
        draw.circle(x, y, radius + POINT_PX["halo"] * _SCALE, around)
        draw.circle(x, y, radius, hue)
    else:
        draw.square(x, y, radius * 0.9, around, hue, POINT_PX["stroke"] * _SCALE)


def _draw_leaders(
    draw: Vectors, frame: Frame, lines: Sequence[Line], theme: Theme
) -> list[tuple[str, float, Line | None]]:
    """Draw a leader from each line's end to its name; return where names and headings stand."""
    blocks = [[line for line in lines if line.side == side] for side in SIDES]
    blocks = [block for block in blocks if block]
    wanted = [[frame.y(float(line.flow[-1])) for line in block] for block in blocks]
    placed: list[tuple[str, float, Line | None]] = []
    for block, (heading, heights) in zip(
        blocks, dodge_blocks(wanted, _LABEL_GAP, frame.y1 + 4, frame.y0 - 8), strict=True
    ):
        placed.append((block[0].side.capitalize(), heading, None))
        for line, y in zip(block, heights, strict=True):
            end = (frame.x(float(line.lift[-1])) + 8, frame.y(float(line.flow[-1])))
            hue = ink(theme.line_colour(line.index, line.count))
            draw.line([end, (frame.x1 + 24, y), (frame.x1 + 34, y)], 2, hue)
            placed.append((_name(line), y, line))
    return placed
