"""Every stage's flow against valve lift, one side: readings, their curve, and what tells stages apart."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from core.curve import interpolate
from core.job import SIDES, Side
from core.results import Review, SideCurve
from core.units import UnitSet, label, show, to_display
from dashboard import words
from dashboard.charts.frame import Plot, Row, Spec, rules, tick_texts, ticks
from dashboard.figures import lifts, plus_minus
from dashboard.labels import dodge, shorten
from dashboard.look import DASH_PX, LABEL_PX, OPACITY, POINT_PX, STROKE_PX, TYPE_PX, Theme, weight_of
from dashboard.tables import change_cell

HEIGHT = 340.0
_ABOVE, _BELOW = 34.0, 26.0  # pixels over the highest tick and under zero
_LEFT = 38.0
_STEPS = 6  # line segments from one reading to the next
_NUMBER_GAP = 10.5  # pixels between the numbers of many stages, which stand in two columns
_FADES_FROM = 1 + 1e-9


@dataclass(frozen=True)
class _Line:
    """One stage's curve in display units."""

    name: str
    index: int
    count: int
    lift: np.ndarray
    flow: np.ndarray  # nan where no reading was taken
    half_band: np.ndarray
    beyond: float | None  # the lift above which the cam does not use the curve
    is_target: bool = False

    @property
    def weight(self) -> str:
        return "target" if self.is_target else weight_of(self.index, self.count)

    def colour(self, theme: Theme) -> str:
        return theme.target if self.is_target else theme.line_colour(self.index, self.count)

    def text_colour(self, theme: Theme) -> str:
        return theme.target if self.is_target else theme.text_colour(self.index, self.count)

    @property
    def series(self) -> str:
        return f"s{self.index}"

    @property
    def top(self) -> tuple[float, float]:
        """Return the highest lift that was read, and its flow."""
        last = np.flatnonzero(np.isfinite(self.flow))[-1]
        return float(self.lift[last]), float(self.flow[last])

    def sampled(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Return lift, flow and half-width of the band, from the shut valve to the last reading."""
        read = np.isfinite(self.flow)
        knots = np.concatenate([[0.0], self.lift[read]])
        parts = [np.linspace(a, b, _STEPS, endpoint=False) for a, b in pairwise(knots)]
        lift = np.concatenate(
            [*parts, knots[-1:], [self.beyond] if self.beyond and self.beyond < knots[-1] else []]
        )
        lift = np.unique(lift)
        band = np.interp(lift, knots, np.concatenate([[0.0], np.nan_to_num(self.half_band[read])]))
        return lift, interpolate(self.lift, self.flow, lift), band


def overlay(review: Review, side: Side, units: UnitSet, theme: Theme) -> Spec:
    """Return the overlay of one side; both sides of a job share the same limits."""
    measured = [index for index, stage in enumerate(review.stages) if stage.side(side)]
    lines = [_line(review, side, units, index) for index in measured]
    lines = [line for line in lines if np.isfinite(line.flow).any()]
    aim = _target(review, side, units)
    high_lift, high_flow = _limits(review, units)
    at = ticks(0.0, high_flow, 7)
    top = max(at[-1], high_flow)
    scale = top / (HEIGHT - _ABOVE - _BELOW)
    plot = Plot(
        theme,
        x=(0.0, high_lift),
        y=(-_BELOW * scale, top + _ABOVE * scale),
        height=HEIGHT,
        left=_LEFT,
        right=LABEL_PX["gutter"],
    )
    layers = [
        *_beyond(plot, review, side, units),
        rules(plot, at),
        *_ticks(plot, at, units),
        *_curves(plot, lines, side),
        *([_target_curve(plot, aim)] if aim else []),
        *_points(plot, lines, side, units),
        *_names(plot, [*lines, *([aim] if aim else [])], side),
    ]
    return plot.spec(layers, _description(review, side, lines))


def _line(review: Review, side: Side, units: UnitSet, index: int) -> _Line:
    stage = review.stages[index]
    return _drawn(review, stage.name, stage.side(side), side, units, index)


def _target(review: Review, side: Side, units: UnitSet) -> _Line | None:
    curve = review.target.curves[side] if review.target else None
    if curve is None:
        return None
    return replace(_drawn(review, "target", curve, side, units, 0), is_target=True)


def _drawn(review: Review, name: str, curve: SideCurve, side: Side, units: UnitSet, index: int) -> _Line:
    net = review.cam_net_lift_m[side]
    return _Line(
        name,
        index,
        len(review.stages),
        to_display(np.array(curve.lift_m), "lift", units),
        _array(curve.flow_m3_s, units),
        _array(curve.expanded_bench_m3_s, units),
        None if net is None else to_display(net, "lift", units),
    )


def _array(values: tuple[float | None, ...], units: UnitSet) -> np.ndarray:
    return to_display(np.array([np.nan if v is None else v for v in values], dtype=float), "flow", units)


def _limits(review: Review, units: UnitSet) -> tuple[float, float]:
    curves: list[SideCurve] = [c for stage in review.stages for side in SIDES if (c := stage.side(side))]
    curves += [curve for _, curve in review.target.curves.items() if curve] if review.target else []
    lift = max(c.lift_m[-1] for c in curves)
    flow = max(
        (f or 0.0) + (u or 0.0)
        for c in curves
        for f, u in zip(c.flow_m3_s, c.expanded_bench_m3_s, strict=True)
    )
    return to_display(lift, "lift", units), to_display(flow, "flow", units)


def _beyond(plot: Plot, review: Review, side: Side, units: UnitSet) -> Iterator[Spec]:
    net_m = review.cam_net_lift_m[side]
    if net_m is None:
        return
    net, (_, right) = to_display(net_m, "lift", units), plot.x
    if net >= right:
        return
    top = plot.y_of(16)
    yield plot.layer(
        "rect",
        [{"x": net, "x2": right, "y": 0.0, "y2": top}],
        ("x", "x2", "y", "y2"),
        color=plot.theme.beyond,
    )
    yield plot.layer(
        "rule",
        [{"x": net, "y": 0.0, "y2": top}],
        ("x", "y", "y2"),
        color=plot.theme.muted,
        strokeWidth=1,
        strokeDash=DASH_PX["beyond"],
    )
    text = f"{words.NOT_OPENED} {show(net_m, 'lift', units)}"
    yield plot.text(
        [{"x": right, "y": top, "text": text}],
        size=TYPE_PX["axis"],
        color=plot.theme.muted,
        align="right",
        baseline="bottom",
        dy=-3,
    )


def _ticks(plot: Plot, at: list[float], units: UnitSet) -> Iterator[Spec]:
    muted = {"size": TYPE_PX["axis"], "color": plot.theme.muted}
    left, right = plot.x
    rows = [{"x": left, "y": y, "text": text} for y, text in zip(at, tick_texts(at), strict=True)]
    yield plot.text(rows, align="right", baseline="middle", dx=-7, **muted)
    yield plot.text(
        [{"x": left, "y": plot.y_of(0), "text": label("flow", units)}],
        align="right", baseline="top", dx=-7, dy=3, **muted,
    )  # fmt: skip
    across = ticks(left, right, 7)
    rows = [{"x": x, "y": 0.0, "text": text} for x, text in zip(across, tick_texts(across), strict=True)]
    yield plot.text(rows, baseline="top", dy=7, **muted)
    rows = [{"x": right, "y": 0.0, "text": f"lift, {label('lift', units)}"}]
    yield plot.text(rows, align="left", baseline="top", dx=14, dy=7, **muted)


def _curves(plot: Plot, lines: list[_Line], side: Side) -> Iterator[Spec]:
    bands: list[Row] = []
    drawn: list[Row] = []
    for line in lines:
        lift, flow, half = line.sampled()
        colour = plot.theme.line_colour(line.index, line.count)
        width = STROKE_PX[line.weight]
        if line.weight != "context":
            shade = OPACITY["band_last" if line.weight == "last" else "band"]
            bands += [
                {"x": x, "y": y - h, "y2": y + h, "series": line.series, "fill": colour, "fillOpacity": shade}
                for x, y, h in zip(lift.tolist(), flow.tolist(), half.tolist(), strict=True)
            ]
        whole = OPACITY["context"] if line.weight == "context" else 1.0
        for part, opacity in (("a", whole), ("b", whole * OPACITY["beyond_line"])):
            inside = np.ones(len(lift), bool)
            if line.beyond is not None:
                limit = line.beyond * _FADES_FROM
                inside = lift <= limit if part == "a" else lift >= line.beyond / _FADES_FROM
            elif part == "b":
                continue
            drawn += [
                {
                    "x": x,
                    "y": y,
                    "series": line.series + part,
                    "color": colour,
                    "strokeWidth": width,
                    "opacity": opacity,
                }
                for x, y in zip(lift[inside].tolist(), flow[inside].tolist(), strict=True)
            ]
    yield plot.layer("area", bands, ("x", "y", "y2"), interpolate="linear", line=False)
    dash = {"strokeDash": DASH_PX["exhaust"]} if side == "exhaust" else {}
    yield plot.layer("line", drawn, interpolate="linear", strokeJoin="round", **dash)


def _target_curve(plot: Plot, line: _Line) -> Spec:
    lift, flow, _ = line.sampled()
    rows = [{"x": x, "y": y} for x, y in zip(lift.tolist(), flow.tolist(), strict=True)]
    looks = {"strokeDash": DASH_PX["target"], "strokeCap": "round", "strokeWidth": STROKE_PX["target"]}
    return plot.layer("line", rows, color=plot.theme.target, interpolate="linear", **looks)


def _points(plot: Plot, lines: list[_Line], side: Side, units: UnitSet) -> Iterator[Spec]:
    rows: list[Row] = []
    flow_unit, lift_unit = label("flow", units), label("lift", units)
    for line in lines:
        if line.weight == "context":
            continue
        area = POINT_PX["area_last" if line.weight == "last" else "area"]
        texts = lifts(line.lift.tolist(), units, shown=True)
        for x, y, half, text in zip(
            line.lift.tolist(), line.flow.tolist(), line.half_band.tolist(), texts, strict=True
        ):
            if not np.isfinite(y):
                continue
            tip = {
                "Stage": line.name,
                "Lift": f"{text} {lift_unit}",
                "Flow": f"{plus_minus(y, np.nan_to_num(half), signed=False)} {flow_unit}",
            }
            rows.append(
                {
                    "x": x,
                    "y": y,
                    "color": plot.theme.line_colour(line.index, line.count),
                    "size": area,
                    "tip": tip,
                }
            )
    yield _symbols(plot, rows, side)


def _symbols(plot: Plot, rows: list[Row], side: Side, **mark: float) -> Spec:
    """Return readings: filled circles on the intake, hollow squares on the exhaust."""
    if side == "intake":
        rows = [{**{k: v for k, v in row.items() if k != "color"}, "fill": row["color"]} for row in rows]
        looks = {"shape": "circle", "stroke": plot.theme.background, "strokeWidth": POINT_PX["halo"]}
    else:
        rows = [{**{k: v for k, v in row.items() if k != "color"}, "stroke": row["color"]} for row in rows]
        looks = {"shape": "square", "fill": plot.theme.background, "strokeWidth": POINT_PX["stroke"]}
    return plot.layer("point", rows, opacity=1, **looks, **mark)


def _names(plot: Plot, lines: list[_Line], side: Side) -> Iterator[Spec]:
    """Write names at line ends, as near as they fit; many middle stages get their numbers."""
    named = [line for line in lines if line.weight != "context"]
    numbered = [line for line in lines if line.weight == "context"]
    shift = 34.0 if numbered else 0.0
    right = plot.x[1]
    ends = [plot.pixel_of(line.top[1]) for line in named]
    placed = dodge(ends, LABEL_PX["line"], LABEL_PX["line"], plot.pixel_of(0.0))
    leaders = [
        {
            "x": line.top[0],
            "x2": right,
            "y": line.top[1],
            "y2": plot.y_of(y),
            "color": line.colour(plot.theme),
        }
        for line, y in zip(named, placed, strict=True)
    ]
    leader_to = LABEL_PX["leader_to"] + shift
    yield plot.layer(
        "rule", leaders, ("x", "x2", "y", "y2"),
        xOffset=LABEL_PX["leader_from"], x2Offset=leader_to, strokeWidth=STROKE_PX["leader"],
    )  # fmt: skip
    glyphs = [
        {
            "x": right,
            "y": plot.y_of(y),
            "color": line.colour(plot.theme),
            "size": POINT_PX["area"],
        }
        for line, y in zip(named, placed, strict=True)
        if not line.is_target
    ]
    yield _symbols(plot, glyphs, side, xOffset=LABEL_PX["glyph"] + shift)
    for strong in (False, True):
        rows = [
            {
                "x": right,
                "y": plot.y_of(y),
                "text": _numbered(line, shorten(line.name), bool(numbered)),
                "color": line.text_colour(plot.theme),
            }
            for line, y in zip(named, placed, strict=True)
            if (line.weight == "last") == strong
        ]
        yield plot.text(
            rows,
            align="left",
            baseline="middle",
            dx=LABEL_PX["text"] + shift,
            fontWeight=600 if strong else 400,
        )
    by_height = sorted(numbered, key=lambda line: line.top[1])
    for column in (0, 1):
        some = by_height[column::2]
        at = dodge(
            [plot.pixel_of(line.top[1]) for line in some], _NUMBER_GAP, _NUMBER_GAP, plot.pixel_of(0.0)
        )
        rows = [
            {
                "x": right,
                "y": plot.y_of(y),
                "text": str(line.index + 1),
                "color": plot.theme.text_colour(line.index, line.count),
            }
            for line, y in zip(some, at, strict=True)
        ]
        yield plot.text(rows, size=9.5, align="left", baseline="middle", dx=6 + 15 * column)


def _numbered(line: _Line, name: str, many: bool) -> str:
    return f"{line.index + 1} {name}" if many and not line.is_target else name


def _description(review: Review, side: Side, lines: list[_Line]) -> str:
    gains = [review.gain(line.name, side, "baseline") for line in lines]
    said = "; ".join(
        [
            line.name if gain is None else f"{line.name} {change_cell(gain, review)}"
            for line, gain in zip(lines, gains, strict=True)
        ]
    )
    about = f"{side.capitalize()} flow against valve lift, a line a stage, over all lifts against the first"
    return f"{about}: {said}. At {words.reference(review)}"
