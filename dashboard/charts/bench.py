"""The plate over the days: one bench and side, with the pooled factor and its action limits."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from core.results import PlateCheck
from dashboard.bench_tables import FACTOR_DECIMALS, day, plate_limits, plate_verdict
from dashboard.charts.frame import Plot, Spec, tick_texts, ticks
from dashboard.figures import figure
from dashboard.look import DASH_PX, POINT_PX, TYPE_PX, Theme

_HEIGHT, _FOOT = 220.0, 24.0


def plate_history(checks: Sequence[PlateCheck], theme: Theme) -> Spec:
    """Return the plate readings of one bench and side, in the order of days."""
    places = _places(checks)
    first = checks[0]
    ends = [one.factor for one in checks] + [first.low, first.high]
    low, high = min(ends), max(ends)
    room = 0.12 * (high - low)
    scale = (high - low + 2 * room) / (_HEIGHT - _FOOT)
    plot = Plot(
        theme,
        x=(min(places), max(places) if max(places) > min(places) else min(places) + 1.0),
        y=(low - room - _FOOT * scale, high + room),
        height=_HEIGHT,
        left=52.0,
        right=64.0,
    )
    layers = [
        *_scale(plot, ticks(low - room, high + room, 5)),
        *_limits(plot, first),
        *_points(plot, checks, places),
        *_days(plot, checks, places),
    ]
    return plot.spec(layers, _description(checks))


def _places(checks: Sequence[PlateCheck]) -> list[float]:
    """Return where each reading stands: by its day, or in order where a day is missing."""
    if any(one.date is None for one in checks):
        return [float(i) for i in range(len(checks))]
    return [float(one.date.toordinal()) for one in checks]


def _scale(plot: Plot, at: list[float]) -> Iterator[Spec]:
    left, right = plot.x
    rows = [{"x": left, "x2": right, "y": y} for y in at]
    yield plot.layer("rule", rows, ("x", "x2", "y"), strokeWidth=1, color=plot.theme.rule)
    texts = [{"x": plot.x[0], "y": y, "text": text} for y, text in zip(at, tick_texts(at), strict=True)]
    muted = {"size": TYPE_PX["axis"], "color": plot.theme.muted}
    yield plot.text(texts, align="right", baseline="middle", dx=-14, **muted)


def _limits(plot: Plot, check: PlateCheck) -> Iterator[Spec]:
    left, right = plot.x
    looks = {"color": plot.theme.rule_strong, "xOffset": -8, "x2Offset": 8}
    pooled = [{"x": left, "x2": right, "y": check.pooled_factor}]
    yield plot.layer("rule", pooled, ("x", "x2", "y"), strokeWidth=1.5, **looks)
    limits = [{"x": left, "x2": right, "y": y} for y in (check.low, check.high)]
    yield plot.layer(
        "rule", limits, ("x", "x2", "y"), strokeWidth=1.25, strokeDash=DASH_PX["exhaust"], **looks
    )
    names = [
        {"x": right, "y": y, "text": text}
        for y, text in ((check.pooled_factor, "pooled"), (check.low, "limit"), (check.high, "limit"))
    ]
    muted = {"size": TYPE_PX["axis"], "color": plot.theme.muted}
    yield plot.text(names, align="left", baseline="middle", dx=14, **muted)


def _points(plot: Plot, checks: Sequence[PlateCheck], places: Sequence[float]) -> Iterator[Spec]:
    """Mark a day within limits by its side's shape, a day off by a cross and its words."""
    theme = plot.theme
    within, off, words = [], [], []
    for one, x in zip(checks, places, strict=True):
        row = {
            "x": x,
            "y": one.factor,
            "tip": {
                "Day": day(one),
                "Factor": figure(one.factor, FACTOR_DECIMALS),
                "Verdict": plate_verdict(one),
                "File": one.file,
            },
        }
        (off if one.departs else within).append(row)
        if one.departs:
            words.append({"x": x, "y": one.factor, "text": plate_verdict(one)})
    looks = {
        "opacity": 1,
        "size": POINT_PX["area_last"],
        "stroke": theme.text,
        "strokeWidth": POINT_PX["stroke"],
    }
    if checks[0].side == "intake":
        yield plot.layer("point", within, shape="circle", fill=theme.text, **looks)
    else:
        yield plot.layer("point", within, shape="square", fill=theme.background, **looks)
    yield plot.layer("point", off, shape="cross", fill=theme.text, **(looks | {"size": 90}))
    yield plot.text(words, baseline="bottom", dy=-9, fontWeight=600)


def _days(plot: Plot, checks: Sequence[PlateCheck], places: Sequence[float]) -> Iterator[Spec]:
    """Name the first and the last day; the table has them all."""
    bottom = plot.y_of(plot.height - _FOOT)
    rows = [{"x": places[0], "y": bottom, "text": day(checks[0])}]
    muted = {"size": TYPE_PX["axis"], "color": plot.theme.muted, "baseline": "top", "dy": 7}
    yield plot.text(rows, align="left", **muted)
    if places[-1] > places[0]:
        yield plot.text([{"x": places[-1], "y": bottom, "text": day(checks[-1])}], align="right", **muted)


def _description(checks: Sequence[PlateCheck]) -> str:
    first = checks[0]
    read = ", ".join(
        f"{day(one)} {figure(one.factor, FACTOR_DECIMALS)} {plate_verdict(one)}" for one in checks
    )
    return f"Factor of the {first.side} plate over the days: {read}. {plate_limits(first)}"
