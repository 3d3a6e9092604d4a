"""How far one side is from the target, by lift: the target is the zero line."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from core.job import Side
from core.results import Gap, Review
from core.units import NO_BREAK_SPACE, UnitSet, label, show, to_display
from dashboard import target_words, words
from dashboard.charts.frame import Plot, Row, Spec, rules, tick_texts, ticks
from dashboard.figures import lifts, percent
from dashboard.labels import dodge, shorten
from dashboard.look import DASH_PX, LABEL_PX, OPACITY, POINT_PX, STROKE_PX, TYPE_PX, Theme
from dashboard.tables import gain_figure

HEIGHT = 320.0
_ABOVE, _BELOW = 26.0, 74.0  # pixels: over the highest tick; for lifts and the thirds
_LEFT = 40.0
_PART_Y = 36.0  # pixels under the plot: the line of each third


@dataclass(frozen=True)
class _Line:
    """One stage's gap in display units."""

    gap: Gap
    index: int
    count: int
    points: tuple[tuple[str, float, float, float], ...]  # lift in words, lift, gap, half-width

    @property
    def end(self) -> tuple[float, float]:
        """Return the highest lift, and the gap there."""
        return self.points[-1][1], self.points[-1][2]


def gap_chart(review: Review, side: Side, units: UnitSet, theme: Theme) -> Spec:
    """Return the gap of the last stage to the target, and thin that of the first."""
    target = review.target
    last, first = target.last(side), target.first(side)
    lines = [_line(review, gap, units) for gap in ([first, last] if first is not last else [last])]
    ends = [0.0, *(p[2] for line in lines for p in line.points)]
    ends += [p[2] + sign * p[3] for p in lines[-1].points for sign in (1, -1)]
    at = ticks(min(ends), max(ends), 6)
    low, high = min(*ends, *at), max(*ends, *at)
    scale = (high - low) / (HEIGHT - _ABOVE - _BELOW)
    plot = Plot(
        theme,
        x=(0.0, max(line.end[0] for line in lines)),
        y=(low - _BELOW * scale, high + _ABOVE * scale),
        height=HEIGHT,
        left=_LEFT,
        right=LABEL_PX["gutter"],
    )
    layers = [
        *_beyond(plot, review, side, units, low, high),
        rules(plot, [value for value in at if value != 0], zero=None),
        _target(plot),
        *_scales(plot, at, low, units),
        *_lines(plot, lines, side),
        *_readings(plot, lines[-1], side, units),
        *_names(plot, lines),
        *_thirds(plot, last, low, units),
    ]
    return plot.spec(layers, _description(review, last))


def _line(review: Review, gap: Gap, units: UnitSet) -> _Line:
    gain = gap.gain
    rows = zip(
        lifts(gain.lift_m, units), gain.lift_m, gain.gain_m3_s, gain.expanded_uncertainty_m3_s, strict=True
    )
    points = tuple(
        (
            text,
            to_display(lift, "lift", units),
            to_display(change, "flow", units),
            to_display(expanded or 0.0, "flow", units),
        )
        for text, lift, change, expanded in rows
        if change is not None
    )
    names = [stage.name for stage in review.stages]
    return _Line(gap, names.index(gap.stage), len(names), points)


def _beyond(
    plot: Plot, review: Review, side: Side, units: UnitSet, low: float, high: float
) -> Iterator[Spec]:
    net = review.cam_net_lift_m[side]
    if net is None or to_display(net, "lift", units) >= plot.x[1]:
        return
    at = to_display(net, "lift", units)
    rows = [{"x": at, "x2": plot.x[1], "y": high, "y2": low}]
    yield plot.layer("rect", rows, ("x", "x2", "y", "y2"), color=plot.theme.beyond)
    note = [{"x": plot.x[1], "y": high, "text": f"{words.NOT_OPENED} {show(net, 'lift', units)}"}]
    muted = {"size": TYPE_PX["axis"], "color": plot.theme.muted}
    yield plot.text(note, align="right", baseline="bottom", dy=-6, **muted)


def _target(plot: Plot) -> Spec:
    return plot.layer(
        "rule",
        [{"x": plot.x[0], "x2": plot.x[1], "y": 0.0}],
        ("x", "x2", "y"),
        color=plot.theme.target,
        strokeWidth=STROKE_PX["target"],
        strokeDash=DASH_PX["target"],
        strokeCap="round",
    )


def _scales(plot: Plot, at: list[float], low: float, units: UnitSet) -> Iterator[Spec]:
    muted = {"size": TYPE_PX["axis"], "color": plot.theme.muted}
    left, right = plot.x
    texts = tick_texts(at, signed=True)
    rows = [{"x": left, "y": y, "text": text} for y, text in zip(at, texts, strict=True)]
    yield plot.text(rows, align="right", baseline="middle", dx=-7, **muted)
    across = ticks(left, right, 7)
    rows = [{"x": x, "y": low, "text": text} for x, text in zip(across, tick_texts(across), strict=True)]
    yield plot.text(rows, baseline="top", dy=7, **muted)
    unit = [{"x": right, "y": low, "text": f"lift, {label('lift', units)}"}]
    yield plot.text(unit, align="left", baseline="top", dx=14, dy=7, **muted)


def _lines(plot: Plot, lines: list[_Line], side: Side) -> Iterator[Spec]:
    last = lines[-1]
    colour = plot.theme.line_colour(last.index, last.count)
    area = [{"x": x, "y": y, "y2": 0.0} for x, y in _path(last)]
    yield plot.layer(
        "area", area, ("x", "y", "y2"), color=colour, fillOpacity=OPACITY["band"], interpolate="linear"
    )
    rows: list[Row] = [
        {
            "x": x,
            "y": y,
            "series": f"s{line.index}",
            "color": plot.theme.line_colour(line.index, line.count),
            "strokeWidth": STROKE_PX["last" if line is last else "baseline"],
        }
        for line in lines
        for x, y in _path(line)
    ]
    dash = {"strokeDash": DASH_PX["exhaust"]} if side == "exhaust" else {}
    yield plot.layer("line", rows, interpolate="linear", strokeJoin="round", **dash)


def _path(line: _Line) -> list[tuple[float, float]]:
    return [(0.0, 0.0), *((lift, gap) for _, lift, gap, _ in line.points)]


def _readings(plot: Plot, line: _Line, side: Side, units: UnitSet) -> Iterator[Spec]:
    colour = plot.theme.line_colour(line.index, line.count)
    whiskers = [{"x": x, "y": y - half, "y2": y + half} for _, x, y, half in line.points]
    yield plot.layer("rule", whiskers, ("x", "y", "y2"), color=colour, strokeWidth=STROKE_PX["whisker"])
    gain = line.gap.gain
    called = [v for v, change in zip(gain.verdict, gain.gain_m3_s, strict=True) if change is not None]
    pairs = [
        (change, expanded)
        for change, expanded in zip(gain.gain_m3_s, gain.expanded_uncertainty_m3_s, strict=True)
        if change is not None
    ]
    rows = [
        {
            "x": x,
            "y": y,
            "tip": {
                "Stage": gain.stage,
                "Target": gain.other,
                "Lift": f"{text} {label('lift', units)}",
                "Gap": f"{gain_figure(change, expanded or 0.0, units)} {label('flow', units)}",
                "Standing": "between readings" if verdict is None else target_words.STANDING[verdict],
            },
        }
        for (text, x, y, _), (change, expanded), verdict in zip(line.points, pairs, called, strict=True)
    ]
    looks = {"size": POINT_PX["area"], "opacity": 1}
    if side == "intake":
        looks |= {"shape": "circle", "fill": colour, "strokeWidth": 0}
    else:
        looks |= {"shape": "square", "fill": plot.theme.background, "stroke": colour}
        looks["strokeWidth"] = POINT_PX["stroke"]
    yield plot.layer("point", rows, **looks)


def _names(plot: Plot, lines: list[_Line]) -> Iterator[Spec]:
    """Write the target's name and the stages' at the ends of their lines."""
    right = plot.x[1]
    names: list[tuple[float, float, str, str, bool]] = [(right, 0.0, "target", plot.theme.text, False)]
    for line in lines:
        colour = plot.theme.text_colour(line.index, line.count)
        names.append((*line.end, shorten(line.gap.stage), colour, line is lines[-1]))
    wanted = [plot.pixel_of(y) for _, y, *_ in names]
    low = plot.height - _BELOW - LABEL_PX["line"] / 3
    placed = dodge(wanted, LABEL_PX["line"], LABEL_PX["line"] / 2, low)
    for strong in (False, True):
        rows = [
            {"x": right, "y": plot.y_of(pixel), "text": name, "color": colour}
            for (_, _, name, colour, bold), pixel in zip(names, placed, strict=True)
            if bold == strong
        ]
        weight = 600 if strong else 400
        yield plot.text(rows, align="left", baseline="middle", dx=14, fontWeight=weight)
    leaders = [
        {"x": x, "x2": right, "y": y, "y2": plot.y_of(pixel), "color": colour}
        for (x, y, _, colour, _), pixel in zip(names, placed, strict=True)
    ]
    offsets = {"xOffset": 3, "x2Offset": 11, "strokeWidth": STROKE_PX["leader"]}
    yield plot.layer("rule", leaders, ("x", "x2", "y", "y2"), **offsets)


def _thirds(plot: Plot, gap: Gap, low: float, units: UnitSet) -> Iterator[Spec]:
    """Draw the three parts of the lift in use under the axis, with the mean gap of each."""
    step = 1 / (plot.height / (plot.y[1] - plot.y[0]))
    y = low - _PART_Y * step
    spare = 0.006 * (plot.x[1] - plot.x[0])
    parts, texts = [], []
    for third in gap.thirds:
        start, stop = (to_display(edge, "lift", units) for edge in (third.from_m, third.to_m))
        parts.append({"x": start + spare, "x2": stop - spare, "y": y})
        number = gain_figure(third.gap_m3_s, third.expanded_m3_s, units)
        texts.append(
            {
                "x": (start + stop) / 2,
                "y": y,
                "text": f"{third.part} {number}",
                "narrow": f"{third.part}\n{number.partition(f'{NO_BREAK_SPACE}±')[0]}",
            }
        )
    colour = plot.theme.rule_strong
    yield plot.layer("rule", parts, ("x", "x2", "y"), color=colour, strokeWidth=STROKE_PX["rule"])
    share = plot.x[1] / to_display(gap.gain.usable_lift_m, "lift", units)
    looks = {"size": TYPE_PX["axis"], "color": plot.theme.text, "baseline": "top"}
    yield plot.narrowing(texts, max(round(3 * share), 3), dy=6, narrow_dy=6, **looks)
    unit = [{"x": plot.x[1], "y": y, "text": f"mean gap, {label('flow', units)}"}]
    yield plot.text(
        unit, align="left", baseline="middle", dx=14, size=TYPE_PX["axis"], color=plot.theme.muted
    )


def _description(review: Review, gap: Gap) -> str:
    """Return the chart in words, in percent: the same in any unit of flow."""
    said = "; ".join(
        f"{third.part} lift {percent(third.gap_fraction, third.expanded_fraction)}" for third in gap.thirds
    )
    about = f"{gap.side.capitalize()} flow of {gap.stage} less that of the target, at each lift"
    return f"{about}. Mean gap: {said}. At {words.reference(review)}"
