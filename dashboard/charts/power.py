"""Power as ranges: a bar a stage; what a range is made of; power and torque bands over speed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from core.power_results import PowerGain, PowerModel, StagePower
from core.units import UnitSet, label, to_display
from dashboard import power_tables, power_words
from dashboard.charts.frame import Plot, Row, Spec, rules, tick_texts, ticks
from dashboard.labels import dodge, shorten
from dashboard.look import LABEL_PX, OPACITY, TYPE_PX, Theme
from dashboard.power_tables import RangeRow

_ROW, _BAR, _FOOT = 46.0, 12.0, 24.0  # pixels
_RANGE = 0.32  # opacity of a range's bar
_LONGEST_NAME, _LONGEST_SOURCE = 26, 42  # characters
_BANDS_HEIGHT, _ABOVE, _BELOW = 260.0, 18.0, 26.0


def power_ranges(model: PowerModel, units: UnitSet, theme: Theme) -> Spec:
    """Return a bar for each stage's range and for all work: ends, the middle as a tick, words above."""
    rows = power_tables.range_rows(model)
    plot, placed = _bar_plot(theme, *power_tables.limits(rows, units), len(rows))
    layers = [
        *_scale(plot, placed, label("power", units)),
        *_bars(plot, rows, placed, len(model.stages), units),
        *_bar_names(plot, rows, placed, len(model.stages), units),
    ]
    said = "; ".join(f"{row.name} {power_words.cell(row.gain, units)}" for row in rows)
    return plot.spec(layers, f"Range of the gain near peak power, {label('power', units)}: {said}")


def power_parts(gain: PowerGain, units: UnitSet, theme: Theme) -> Spec:
    """Return what one range is made of: half of what each source alone would give, the largest first."""
    parts = power_tables.largest_parts(gain)
    values = [to_display(width, "power", units) for _, width in parts]
    plot, placed = _bar_plot(theme, 0.0, max([*values, 1e-3]), len(parts))
    bars = [
        {"x": 0.0, "x2": value, "y": y - _BAR / 2, "y2": y + _BAR / 2}
        for value, y in zip(values, placed, strict=True)
    ]
    names = [
        {"y": y, "text": shorten(name, _LONGEST_SOURCE)} for (name, _), y in zip(parts, placed, strict=True)
    ]
    widths = [
        {"y": y, "text": power_words.part_text(width, units)}
        for (_, width), y in zip(parts, placed, strict=True)
    ]
    layers = [
        *_scale(plot, placed, label("power", units), sign="±"),
        plot.layer("rect", bars, ("x", "x2", "y", "y2"), color=theme.muted, opacity=0.55),
        *_over_bars(plot, names, widths),
    ]
    said = "; ".join(f"{name} {power_words.part_text(width, units)}" for name, width in parts)
    return plot.spec(layers, f"What the range is made of: {said}")


def _bar_plot(theme: Theme, low: float, high: float, count: int) -> tuple[Plot, list[float]]:
    """Return a plot for rows of bars, and where each bar's middle stands."""
    if high - low < 1e-9:
        low, high = low - 1.0, high + 1.0
    height = _ROW * count + _FOOT
    plot = Plot(theme, x=(low, high), y=(-height, 0.0), height=height, left=14.0, right=34.0)
    return plot, [-(_ROW * i + 31.0) for i in range(count)]


def _scale(plot: Plot, placed: Sequence[float], unit: str, sign: str = "") -> Iterator[Spec]:
    """Draw the scale behind the bars only: words stand between them."""
    theme, bottom = plot.theme, plot.y[0] + _FOOT - 2.0
    at = ticks(*plot.x, 5)
    rows = [
        {"x": x, "y": y - _BAR, "y2": y + _BAR, "color": theme.rule_strong if x == 0 else theme.rule}
        for x in at
        for y in placed
    ]
    yield plot.layer("rule", rows, ("x", "y", "y2"), strokeWidth=1)
    texts = tick_texts(at, signed=not sign)
    if sign:
        texts = [text if text == "0" else f"{sign}{text}" for text in texts]
    texts[-1] += f" {unit}"
    names = [{"x": x, "y": bottom, "text": text} for x, text in zip(at, texts, strict=True)]
    yield plot.text(names, size=TYPE_PX["axis"], color=theme.muted, baseline="top", dy=5)


def _colour(row: RangeRow, count: int, theme: Theme) -> str:
    return theme.line_colour(count - 1 if row.place is None else row.place, count)


def _bars(
    plot: Plot, rows: Sequence[RangeRow], placed: Sequence[float], count: int, units: UnitSet
) -> Iterator[Spec]:
    """Fill a range that stays clear of zero; one that does not is hollow and dashed."""
    full: list[Row] = []
    hollow: list[Row] = []
    ends: list[Row] = []
    middles: list[Row] = []
    for row, y in zip(rows, placed, strict=True):
        colour = _colour(row, count, plot.theme)
        low, mid, high = (to_display(value, "power", units) for value in vars(row.gain.gain_w).values())
        box = {"x": low, "x2": high, "y": y - _BAR / 2, "y2": y + _BAR / 2}
        tall = {"y": y - _BAR / 2 - 1.5, "y2": y + _BAR / 2 + 1.5, "color": colour}
        if power_words.is_open(row.gain):
            hollow.append({**box, "stroke": colour})
        else:
            full.append({**box, "fill": colour, "fillOpacity": _RANGE})
        ends += [{"x": end, **tall} for end in (low, high)]
        middles.append({"x": mid, **tall})
    edges = ("x", "x2", "y", "y2")
    yield plot.layer("rect", full, edges)
    yield plot.layer("rect", hollow, edges, fillOpacity=0, strokeWidth=1.25, strokeDash=[3, 2])
    yield plot.layer("rule", ends, ("x", "y", "y2"), strokeWidth=1.5)
    yield plot.layer("rule", middles, ("x", "y", "y2"), strokeWidth=3)


def _bar_names(
    plot: Plot, rows: Sequence[RangeRow], placed: Sequence[float], count: int, units: UnitSet
) -> Iterator[Spec]:
    theme = plot.theme
    names, ranges = [], []
    for row, y in zip(rows, placed, strict=True):
        colour = theme.text if row.place is None else theme.text_colour(row.place, count)
        names.append({"y": y, "text": shorten(row.name, _LONGEST_NAME), "color": colour})
        ranges.append({"y": y, "text": power_words.gain_text(row.gain, units)})
    yield from _over_bars(plot, names, ranges, fontWeight=600)


def _over_bars(plot: Plot, names: list[Row], figures: list[Row], **of_names: object) -> Iterator[Spec]:
    """Write a name over each bar's left end, and its figure at the right edge of the chart."""
    above = {"baseline": "bottom", "dy": -11}
    for texts, edge, looks in (
        (names, 0, {"align": "left", **of_names}),
        (figures, "width", {"align": "right"}),
    ):
        layer = plot.text(texts, **looks, **above)
        layer["encoding"]["x"] = {"value": edge}
        yield layer


# --- bands -----------------------------------------------------------------------------


def power_bands(model: PowerModel, units: UnitSet, theme: Theme) -> Spec:
    """Return the power of the first and the last stage over speed, as bands."""
    return _bands(model, "power", units, theme)


def torque_bands(model: PowerModel, units: UnitSet, theme: Theme) -> Spec:
    """Return the torque of the first and the last stage over speed, as bands."""
    return _bands(model, "torque", units, theme)


def _bands(model: PowerModel, kind: str, units: UnitSet, theme: Theme) -> Spec:
    stages = power_tables.band_stages(model)
    speed = [to_display(one, "speed", units) for one in model.speed_rad_s]
    edges = {stage.name: _edges(stage, kind, units) for stage in stages}
    top = max(float(np.max(high)) for _, high in edges.values())
    at = ticks(0.0, top, 6)
    top = max(at[-1], top)
    scale = top / (_BANDS_HEIGHT - _ABOVE - _BELOW)
    plot = Plot(
        theme,
        x=(speed[0], speed[-1]),
        y=(-_BELOW * scale, top + _ABOVE * scale),
        height=_BANDS_HEIGHT,
        left=40.0,
        right=LABEL_PX["gutter"],
    )
    places = {stage.name: place for place, stage in enumerate(model.stages)}
    layers = [
        *_window(plot, model, units, top),
        rules(plot, at),
        *_axes(plot, at, kind, units),
        *(
            plot.layer(
                "area",
                [
                    {"x": x, "y": low, "y2": high}
                    for x, low, high in zip(speed, *edges[stage.name], strict=True)
                ],
                ("x", "y", "y2"),
                color=theme.line_colour(places[stage.name], len(model.stages)),
                opacity=OPACITY["band_last" if stage is stages[-1] else "band"] + 0.08,
            )
            for stage in stages
        ),
        *_band_names(plot, stages, edges, places),
    ]
    tops = "; ".join(
        f"{stage.name} {power_words.about(*_peak(stage, kind), units, kind)} at most" for stage in stages
    )
    return plot.spec(layers, f"{kind.capitalize()} over engine speed as bands: {tops}")


def _edges(stage: StagePower, kind: str, units: UnitSet) -> tuple[np.ndarray, np.ndarray]:
    low, high = (to_display(np.array(edge), kind, units) for edge in power_tables.band_edges(kind)(stage))
    return low, high


def _peak(stage: StagePower, kind: str) -> tuple[float, float]:
    if kind == "power":
        return stage.band.peak_w.low, stage.band.peak_w.high
    return max(stage.band.torque_low_n_m), max(stage.band.torque_high_n_m)


def _window(plot: Plot, model: PowerModel, units: UnitSet, top: float) -> Iterator[Spec]:
    if model.window_rad_s is None:
        return
    low, high = (to_display(speed, "speed", units) for speed in model.window_rad_s)
    box = [{"x": low, "x2": high, "y": 0.0, "y2": top}]
    yield plot.layer("rect", box, ("x", "x2", "y", "y2"), color=plot.theme.beyond)


def _axes(plot: Plot, at: Sequence[float], kind: str, units: UnitSet) -> Iterator[Spec]:
    muted = {"size": TYPE_PX["axis"], "color": plot.theme.muted}
    left, right = plot.x
    rows = [{"x": left, "y": y, "text": text} for y, text in zip(at, tick_texts(at), strict=True)]
    yield plot.text(rows, align="right", baseline="middle", dx=-7, **muted)
    unit = [{"x": left, "y": plot.y_of(0), "text": label(kind, units)}]
    yield plot.text(unit, align="right", baseline="top", dx=-7, dy=2, **muted)
    across = ticks(left, right, 5)
    rows = [{"x": x, "y": 0.0, "text": text} for x, text in zip(across, tick_texts(across), strict=True)]
    rows[-1]["text"] += f" {label('speed', units)}"
    yield plot.text(rows, baseline="top", dy=8, **muted)


def _band_names(
    plot: Plot,
    stages: Sequence[StagePower],
    edges: dict[str, tuple[np.ndarray, np.ndarray]],
    places: dict[str, int],
) -> Iterator[Spec]:
    ends = [plot.pixel_of(float(np.mean([edge[-1] for edge in edges[stage.name]]))) for stage in stages]
    count = len(places)
    rows = [
        {
            "x": plot.x[1],
            "y": plot.y_of(pixel),
            "text": shorten(stage.name),
            "color": plot.theme.text_colour(places[stage.name], count),
        }
        for stage, pixel in zip(
            stages, dodge(ends, LABEL_PX["line"], 8.0, _BANDS_HEIGHT - _BELOW), strict=True
        )
    ]
    yield plot.text(rows, align="left", baseline="middle", dx=8, fontWeight=600)
