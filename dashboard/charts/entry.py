"""A sweep while it is typed: the change against the stage before on a grey ±, or the curve itself."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from dashboard.charts.frame import Plot, Spec, rules, tick_texts, ticks
from dashboard.figures import common_figures
from dashboard.look import DASH_PX, POINT_PX, STROKE_PX, TYPE_PX, Theme

_HEIGHT, _FOOT, _HEAD = 240.0, 30.0, 14.0
_LEAST_SPAN = 1e-9


@dataclass(frozen=True)
class Mark:
    """One lift in the units that are shown; ``value`` is the change, or the reading itself."""

    lift: float
    value: float | None = None
    room: float | None = None  # the grey band's half width
    level: str = ""  # "look" or "stop"; nothing where it fits
    said: str = ""  # the reading in words, for the tooltip


def live_sweep(
    marks: Sequence[Mark], next_lift: float | None, theme: Theme, unit: str, lift_unit: str, *, change: bool
) -> Spec:
    """Return the chart of a sweep; it keeps its scale of lifts from the first reading to the last."""
    shown = [m.value for m in marks if m.value is not None and m.level != "stop"]
    ends = [0.0, *shown, *(s * m.room for m in marks if m.room is not None and change for s in (1, -1))]
    low, high = min(ends), max(ends)
    if high - low < _LEAST_SPAN:
        low, high = (-1.0, 1.0) if change else (0.0, 1.0)
    room = 0.06 * (high - low)
    low, high = (low - room if change else 0.0), high + room
    scale = (high - low) / (_HEIGHT - _FOOT - _HEAD)
    lifts = [m.lift for m in marks]
    plot = Plot(
        theme,
        x=(0.0, max(lifts, default=1.0)),
        y=(low - _FOOT * scale, high + _HEAD * scale),
        height=_HEIGHT,
        left=46.0,
        right=14.0,
    )
    at = ticks(low, high, 5)
    layers = [
        *(_band(plot, marks) if change else ()),
        rules(plot, at),
        *_scale(plot, at, change),
        *_lifts(plot, lifts),
        *_next(plot, next_lift, low, high),
        *_sweep(plot, marks),
        *_doubted(plot, marks, low, high),
    ]
    return plot.spec(layers, _description(marks, unit, lift_unit, change))


def _band(plot: Plot, marks: Sequence[Mark]) -> Iterator[Spec]:
    rows = [{"x": m.lift, "y": -m.room, "y2": m.room} for m in marks if m.room is not None]
    if len(rows) > 1:
        yield plot.layer("area", rows, ("x", "y", "y2"), color=plot.theme.muted, opacity=0.22)


def _scale(plot: Plot, at: list[float], change: bool) -> Iterator[Spec]:
    texts = tick_texts(at, signed=change)
    rows = [{"x": 0.0, "y": y, "text": text} for y, text in zip(at, texts, strict=True)]
    muted = {"size": TYPE_PX["axis"], "color": plot.theme.muted}
    yield plot.text(rows, align="right", baseline="middle", dx=-8, **muted)


def _lifts(plot: Plot, lifts: Sequence[float]) -> Iterator[Spec]:
    """Name the lifts, every second one or fewer where they are many."""
    step = 1 + (len(lifts) - 1) // 12
    named = [0.0, *lifts[step - 1 :: step]]
    bottom = plot.y_of(plot.height - _FOOT)
    texts = common_figures(named, 3)
    rows = [{"x": x, "y": bottom, "text": text} for x, text in zip(named, texts, strict=True)]
    muted = {"size": TYPE_PX["axis"], "color": plot.theme.muted, "baseline": "top", "dy": 10}
    yield plot.text(rows, align="center", **muted)


def _next(plot: Plot, lift: float | None, low: float, high: float) -> Iterator[Spec]:
    if lift is not None:
        rows = [{"x": lift, "y": low, "y2": high}]
        yield plot.layer(
            "rule", rows, ("x", "y", "y2"), color=plot.theme.text, strokeWidth=1, strokeDash=DASH_PX["beyond"]
        )


def _sweep(plot: Plot, marks: Sequence[Mark]) -> Iterator[Spec]:
    theme = plot.theme
    fitting = [m for m in marks if m.value is not None and not m.level]
    sound = [{"x": m.lift, "y": m.value, "series": "now"} for m in fitting]
    yield plot.layer("line", sound, color=theme.text, strokeWidth=STROKE_PX["middle"])
    points = [{"x": m.lift, "y": m.value, "tip": {"Reading": m.said}} for m in fitting]
    full = {"fill": theme.text, "stroke": theme.text, "opacity": 1}
    yield plot.layer("point", points, shape="circle", size=POINT_PX["area_last"], **full)


def _doubted(plot: Plot, marks: Sequence[Mark], low: float, high: float) -> Iterator[Spec]:
    """Mark a doubtful reading with a cross and its level; one far off stands at the edge."""
    rows = [
        {"x": m.lift, "y": min(max(m.value, low), high), "tip": {"Reading": m.said}, "text": m.level}
        for m in marks
        if m.value is not None and m.level
    ]
    crosses = [{k: v for k, v in row.items() if k != "text"} for row in rows]
    yield plot.layer(
        "point", crosses, shape="cross", fill=plot.theme.text, stroke=plot.theme.text, opacity=1, size=90
    )
    words = [{k: v for k, v in row.items() if k != "tip"} for row in rows]
    yield plot.text(words, align="left", baseline="middle", dx=10, fontWeight=600)


def _description(marks: Sequence[Mark], unit: str, lift_unit: str, change: bool) -> str:
    taken = [m for m in marks if m.value is not None]
    what = "Change against the stage before" if change else "Readings"
    if not taken:
        return f"{what}, {unit}, over lift, {lift_unit}: nothing read yet."
    return f"{what} over lift, {lift_unit}: {'; '.join(m.said for m in taken)}."
