"""Gain by lift: a row a stage, one scale for all rows; the mark is the verdict."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from core.job import Side
from core.results import Gain, Review, Verdict
from core.units import NO_BREAK_SPACE, UnitSet, label, to_display
from dashboard import words
from dashboard.charts.frame import Plot, Row, Spec, tick_texts, ticks
from dashboard.figures import figure, lifts
from dashboard.labels import shorten
from dashboard.look import POINT_PX, STROKE_PX, TYPE_PX, VERDICT_SHAPE, Theme
from dashboard.tables import Cell, change_cell, gain_figure, summary_cell

_HEADING, _PAD, _FOOT = 34.0, 8.0, 26.0  # pixels: over a row, within it, under all rows
_DOUBTS = 12.0  # pixels of a line for doubts
_ALL_ROWS = 300.0  # pixels that the gains of all rows share
_LEAST = 20.0  # pixels of the flattest row
_UNJUDGED = "between readings, not judged"


@dataclass(frozen=True)
class _Point:
    """One lift of one comparison, in display units."""

    lift: float
    text: str
    gain: float
    half: float | None
    figure: str
    verdict: Verdict | None


@dataclass(frozen=True)
class _Band:
    """One comparison and where its row stands, in pixels from the top."""

    gain: Gain
    name: str
    cell: Cell
    short_doubts: str
    points: tuple[_Point, ...]
    low: float
    high: float
    top: float
    scale: float  # pixels a unit of flow

    def pixel(self, gain: float) -> float:
        return self.head + _PAD + (self.high - gain) * self.scale

    @property
    def head(self) -> float:
        """Return where the heading ends: doubts take a line of their own."""
        return self.top + _HEADING + (_DOUBTS if self.short_doubts else 0.0)

    @property
    def bottom(self) -> float:
        return self.pixel(self.low) + _PAD


def gain_by_lift(
    review: Review, gains: Sequence[Gain], names: Sequence[str], units: UnitSet, theme: Theme
) -> Spec:
    """Return these comparisons, all of one side, a named row each."""
    bands = _bands(review, gains, names, units)
    height = round(bands[-1].bottom + _FOOT, 1)
    top_lift = max(point.lift for band in bands for point in band.points)
    plot = Plot(theme, x=(0.0, top_lift), y=(-height, 0.0), height=height, left=40.0, right=14.0)
    layers = [
        *_beyond(plot, review, gains[0].side, units, bands),
        *_rules(plot, bands),
        *_marks(plot, review, bands, units),
        *_headings(plot, review, bands, units),
        *_foot(plot, bands[-1].bottom, units),
    ]
    return plot.spec(layers, _description(review, bands))


def _bands(review: Review, gains: Sequence[Gain], names: Sequence[str], units: UnitSet) -> list[_Band]:
    points = [_points(gain, units) for gain in gains]
    limits = []
    for row in points:
        ends = [0.0, *(p.gain + sign * (p.half or 0.0) for p in row for sign in (1, -1))]
        limits.append((min(ends), max(ends)))
    scale = _ALL_ROWS / sum(high - low for low, high in limits)
    bands: list[_Band] = []
    for gain, name, row, (low, high) in zip(gains, names, points, limits, strict=True):
        spare = max(_LEAST / scale - (high - low), 0.0) / 2
        top = bands[-1].bottom if bands else 0.0
        cell, short = summary_cell(gain, review, units), ", ".join(words.short_doubts(gain, review))
        bands.append(_Band(gain, name, cell, short, row, low - spare, high + spare, top, scale))
    return bands


def _points(gain: Gain, units: UnitSet) -> tuple[_Point, ...]:
    texts = lifts(gain.lift_m, units)
    return tuple(
        _Point(
            lift=to_display(lift, "lift", units),
            text=text,
            gain=to_display(change, "flow", units),
            half=None if expanded is None else to_display(expanded, "flow", units),
            figure=gain_figure(change, expanded or 0.0, units),
            verdict=verdict,
        )
        for lift, text, change, expanded, verdict in zip(
            gain.lift_m, texts, gain.gain_m3_s, gain.expanded_uncertainty_m3_s, gain.verdict, strict=True
        )
        if change is not None
    )


def _beyond(plot: Plot, review: Review, side: Side, units: UnitSet, bands: Sequence[_Band]) -> Iterator[Spec]:
    net = review.cam_net_lift_m[side]
    right = plot.x[1]
    if net is None or to_display(net, "lift", units) >= right:
        return
    at = to_display(net, "lift", units)
    rows = [{"x": at, "x2": right, "y": -band.head, "y2": -band.bottom} for band in bands]
    yield plot.layer("rect", rows, ("x", "x2", "y", "y2"), color=plot.theme.beyond, x2Offset=8)


def _rules(plot: Plot, bands: Sequence[_Band]) -> Iterator[Spec]:
    rows: list[Row] = []
    texts: list[Row] = []
    step = _common_step(bands)
    for band in bands:
        first, last = -(-band.low // step), band.high // step
        at = [round(n * step, 10) for n in range(int(first), int(last) + 1)]
        for value, text in zip(at, tick_texts(at, signed=True), strict=True):
            y = -band.pixel(value)
            colour = plot.theme.rule_strong if value == 0 else plot.theme.rule
            rows.append({"x": plot.x[0], "x2": plot.x[1], "y": y, "color": colour})
            texts.append({"x": plot.x[0], "y": y, "text": text})
    yield plot.layer("rule", rows, ("x", "x2", "y"), strokeWidth=1, x2Offset=8)
    muted = {"size": TYPE_PX["axis"], "color": plot.theme.muted}
    yield plot.text(texts, align="right", baseline="middle", dx=-8, **muted)


def _common_step(bands: Sequence[_Band]) -> float:
    """Return the step of the ticks, about 30 pixels, the same in all rows."""
    at = ticks(0.0, 30.0 / bands[0].scale * 4, 5)
    return at[1] - at[0]


def _marks(plot: Plot, review: Review, bands: Sequence[_Band], units: UnitSet) -> Iterator[Spec]:
    whiskers: list[Row] = []
    filled: list[Row] = []
    hollow: list[Row] = []
    between: list[Row] = []
    places = {stage.name: i for i, stage in enumerate(review.stages)}
    for band in bands:
        colour = plot.theme.line_colour(places[band.gain.stage], len(places))
        for point in band.points:
            row: Row = {"x": point.lift, "y": -band.pixel(point.gain), "tip": _tip(band, point, units)}
            if point.half is not None:
                ends = {s: -band.pixel(point.gain + n * point.half) for s, n in (("y", -1), ("y2", 1))}
                whiskers.append({"x": point.lift, "color": colour, **ends})
            if point.verdict is None:
                between.append({**row, "stroke": colour})
            elif point.verdict == "too close to call":
                hollow.append({**row, "stroke": colour})
            else:
                filled.append({**row, "fill": colour, "shape": VERDICT_SHAPE[point.verdict]})
    yield plot.layer("rule", whiskers, ("x", "y", "y2"), strokeWidth=STROKE_PX["whisker"])
    looks = {"opacity": 1, "size": POINT_PX["area_last"]}
    yield plot.layer("point", filled, strokeWidth=0, **looks)
    hollow_looks = {"shape": "circle", "fill": plot.theme.background, "strokeWidth": POINT_PX["stroke"]}
    yield plot.layer("point", hollow, **hollow_looks, **looks)
    yield plot.layer("point", between, shape="stroke", strokeWidth=2, opacity=1, size=60)


def _tip(band: _Band, point: _Point, units: UnitSet) -> Row:
    return {
        "Stage": band.gain.stage,
        "Against": band.gain.other,
        "Lift": f"{point.text} {label('lift', units)}",
        "Gain": f"{point.figure} {label('flow', units)}",
        "Verdict": "; ".join([point.verdict or _UNJUDGED, *band.cell.doubts]),
    }


def _headings(plot: Plot, review: Review, bands: Sequence[_Band], units: UnitSet) -> Iterator[Spec]:
    places = {stage.name: i for i, stage in enumerate(review.stages)}
    muted = plot.theme.muted
    names, verdicts, doubts = [], [], []
    for band in bands:
        y = -(band.top + 20.0)
        colour = plot.theme.text_colour(places[band.gain.stage], len(places))
        names.append({"y": y, "text": shorten(band.name), "color": colour})
        said = (band.cell.number, band.cell.mark, band.cell.words)
        verdicts.append({"y": y, "text": " ".join(filter(None, said))})
        if band.short_doubts:
            doubts.append({"y": y, "text": band.short_doubts})
    for layer, edge in (
        (plot.text(names, align="left", baseline="middle", fontWeight=600, size=13), 0),
        (plot.text(verdicts, align="right", baseline="middle"), "width"),
        (
            plot.text(doubts, align="right", baseline="middle", dy=14, size=TYPE_PX["note"], color=muted),
            "width",
        ),
    ):
        layer["encoding"]["x"] = {"value": edge}
        yield layer


def _foot(plot: Plot, bottom: float, units: UnitSet) -> Iterator[Spec]:
    at = ticks(*plot.x, 12)
    texts = tick_texts(at)
    rows = [{"x": x, "y": -bottom, "text": text} for x, text in zip(at, texts, strict=True)]
    muted = {"size": TYPE_PX["axis"], "color": plot.theme.muted, "baseline": "top", "dy": 6}
    yield plot.text(rows, **muted)
    unit = plot.text([{"y": -bottom, "text": label("lift", units)}], align="left", **muted)
    unit["encoding"]["x"] = {"value": 0}
    yield unit


def _description(review: Review, bands: Sequence[_Band]) -> str:
    said = "; ".join(
        f"{band.name} against {band.gain.other} {change_cell(band.gain, review)}, most at {_most(band)}"
        for band in bands
    )
    about = f"{bands[0].gain.side.capitalize()} gain at each lift, over all lifts"
    return f"{about}: {said}. At {words.reference(review)}"


def _most(band: _Band) -> str:
    best = max(band.points, key=lambda point: point.gain)
    return f"{figure(100 * best.lift / band.points[-1].lift, 0)}{NO_BREAK_SPACE}% of the highest lift"
