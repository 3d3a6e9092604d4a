"""The ladder as a chart: what each stage added to the one before, and all work together.

A step is as high as the number over it; the level it ends at is the sum of the steps so
far. Stairs suit a few stages on a wide page; rungs, a row a stage, suit any number and width.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from core.job import SIDES, Side
from core.results import Gain, Review, Verdict
from core.units import NO_BREAK_SPACE, UnitSet, label, to_display
from dashboard import words
from dashboard.charts.frame import Plot, Row, Spec, rules, tick_texts, ticks
from dashboard.figures import money
from dashboard.labels import shorten
from dashboard.look import OPACITY, TYPE_PX, VERDICT_MARK, Theme
from dashboard.tables import Cell, change_cell, gain_figure

MOST_STAIRS = 6  # stages that fit side by side
_STAIRS_HEIGHT, _ABOVE, _BELOW = 262.0, 50.0, 56.0
_DOUBTS_ABOVE = 28.0  # pixels of doubts on two lines
_STAIR_NAME = 22  # characters that fit under a stair
_ROW, _BAR = 44.0, 11.0
_DOUBTS = 14.0  # pixels of a line for doubts
_OPEN: Verdict = "too close to call"


@dataclass(frozen=True)
class _Step:
    """One step in display units, or all work, which starts from zero."""

    name: str
    index: int | None  # of the stage; None for all work
    price: str
    start: float
    gain: float
    half: float
    figure: str
    change: Cell  # in percent
    verdict: Verdict
    doubts: tuple[str, ...]

    @property
    def end(self) -> float:
        return self.start + self.gain

    @property
    def verdict_text(self) -> str:
        return f"{VERDICT_MARK[self.verdict]} {words.verdict_words(self.verdict)}"


def _steps(review: Review, side: Side, units: UnitSet) -> list[_Step]:
    level, found = 0.0, []
    for index, stage in enumerate(review.stages):
        gain = review.gain(stage.name, side, "previous")
        if gain and gain.summary:
            found.append(_step(gain, review, index, stage.name, stage.price, level, units))
            level = found[-1].end
    whole = words.whole_gain(review, side)
    if found and whole and whole.summary:
        found.append(_step(whole, review, None, words.ALL_WORK, words.total_price(review), 0.0, units))
    return found


def _step(
    gain: Gain,
    review: Review,
    index: int | None,
    name: str,
    price: float | None,
    start: float,
    units: UnitSet,
) -> _Step:
    summary = gain.summary
    return _Step(
        name,
        index,
        _price(review, price),
        start,
        to_display(summary.gain_m3_s, "flow", units),
        to_display(summary.expanded_uncertainty_m3_s, "flow", units),
        gain_figure(summary.gain_m3_s, summary.expanded_uncertainty_m3_s, units),
        change_cell(gain, review),
        summary.verdict,
        tuple(words.short_doubts(gain, review)),
    )


def _price(review: Review, price: float | None) -> str:
    return money(price, review.job.currency) if words.is_priced(review) else ""


def _limits(review: Review, units: UnitSet) -> tuple[float, float]:
    """Return the least and greatest value of both sides, so that they share one scale."""
    ends = [0.0]
    for side in SIDES:
        for step in _steps(review, side, units):
            ends += [step.start, step.end - step.half, step.end + step.half]
    return min(ends), max(ends)


def _colours(review: Review, step: _Step, theme: Theme) -> tuple[str, str]:
    """Return the colours of a step's mark and of its name."""
    count = len(review.stages)
    if step.index is None:
        return theme.line_colour(count - 1, count), theme.text
    return theme.line_colour(step.index, count), theme.text_colour(step.index, count)


# --- stairs ----------------------------------------------------------------------------


def stairs(review: Review, side: Side, units: UnitSet, theme: Theme) -> Spec:
    """Return the steps of one side side by side, rising to the right."""
    steps = _steps(review, side, units)
    low, high = _limits(review, units)
    above = _ABOVE + (_DOUBTS_ABOVE if any(step.doubts for step in steps) else 0.0)
    height = _STAIRS_HEIGHT + above - _ABOVE
    scale = (high - low) / (height - above - _BELOW)
    first = words.measured(review, side)[0]
    plot = Plot(
        theme,
        x=(-0.5, len(steps) + 0.5),
        y=(low - _BELOW * scale, high + above * scale),
        height=height,
        left=38.0,
        right=6.0,
    )
    at = ticks(low, high, 5)
    columns = [(first.name, 0, _price(review, first.price), theme.text_colour(0, len(review.stages)))]
    columns += [(s.name, i, s.price, _colours(review, s, theme)[1]) for i, s in enumerate(steps, start=1)]
    layers = [
        rules(plot, at),
        *_stair_ticks(plot, at, units),
        *_blocks(plot, review, steps),
        *_treads(plot, review, steps),
        *_whiskers(plot, [(i, s) for i, s in enumerate(steps, start=1)], upright=True),
        *_stair_texts(plot, steps),
        *_stair_names(plot, columns, low),
    ]
    return plot.spec(layers, _description(review, side, steps))


def _stair_ticks(plot: Plot, at: list[float], units: UnitSet) -> Iterator[Spec]:
    muted = {"size": TYPE_PX["axis"], "color": plot.theme.muted, "align": "right", "dx": -7}
    rows = [
        {"x": plot.x[0], "y": y, "text": text}
        for y, text in zip(at, tick_texts(at, signed=True), strict=True)
    ]
    yield plot.text(rows, baseline="middle", **muted)
    yield plot.text(
        [{"x": plot.x[0], "y": plot.y_of(0), "text": label("flow", units)}], baseline="top", dy=3, **muted
    )


def _blocks(plot: Plot, review: Review, steps: list[_Step]) -> Iterator[Spec]:
    """Fill a clear step in its stage's hue; leave one that is too close hollow and dashed."""
    for hollow in (False, True):
        rows: list[Row] = []
        for i, step in enumerate(steps, start=1):
            if (step.verdict == _OPEN) != hollow:
                continue
            colour = (
                plot.theme.beyond
                if step.index is None and not hollow
                else _colours(review, step, plot.theme)[0]
            )
            low, high = sorted((step.start, step.end))
            rows.append(
                {"x": i - 0.3, "x2": i + 0.3, "y": low, "y2": high, "stroke" if hollow else "fill": colour}
            )
            if not hollow:
                rows[-1]["fillOpacity"] = 1.0 if step.index is None else OPACITY["step"]
        looks = {"fillOpacity": 0, "strokeWidth": 1.25, "strokeDash": [3, 2]} if hollow else {}
        yield plot.layer("rect", rows, ("x", "x2", "y", "y2"), **looks)


def _treads(plot: Plot, review: Review, steps: list[_Step]) -> Iterator[Spec]:
    count = len(review.stages)
    rows = [{"x": -0.3, "x2": 0.5, "y": 0.0, "color": plot.theme.line_colour(0, count)}]
    for i, step in enumerate(steps, start=1):
        colour = _colours(review, step, plot.theme)[0]
        left, right = (i - 0.3, i + 0.3) if step.index is None else (i - 0.5, i + 0.5)
        rows.append({"x": left, "x2": right, "y": step.end, "color": colour})
    yield plot.layer("rule", rows, ("x", "x2", "y"), strokeWidth=2.5)
    risers = [
        {"x": i + 0.5, "y": one.end, "y2": two.end, "color": _colours(review, two, plot.theme)[0]}
        for i, (one, two) in enumerate(pairwise(steps), start=1)
        if two.index is not None
    ]
    first = [{"x": 0.5, "y": 0.0, "y2": steps[0].end, "color": _colours(review, steps[0], plot.theme)[0]}]
    yield plot.layer("rule", first + risers, ("x", "y", "y2"), strokeWidth=1.25)


def _whiskers(plot: Plot, placed: list[tuple[float, _Step]], *, upright: bool) -> Iterator[Spec]:
    """Draw each step's ± around where it ends, on a halo of the background."""
    along, across = ("y", "x") if upright else ("x", "y")
    rows = [
        {across: at, along: step.end - step.half, f"{along}2": step.end + step.half} for at, step in placed
    ]
    channels = (across, along, f"{along}2")
    yield plot.layer("rule", rows, channels, strokeWidth=4.5, color=plot.theme.background)
    yield plot.layer("rule", rows, channels, strokeWidth=1.5, color=plot.theme.text)
    ends = [
        {across: at, along: end}
        for at, step in placed
        for end in (step.end - step.half, step.end + step.half)
    ]
    looks = {"width": 9, "height": 1.5} if upright else {"width": 1.5, "height": 9}
    yield plot.layer("rect", ends, (across, along), color=plot.theme.text, **looks)


def _stair_texts(plot: Plot, steps: list[_Step]) -> Iterator[Spec]:
    """Write figure, verdict and doubts over each step; where steps are narrow, the verdict's mark alone."""
    figures, verdicts, doubts = [], [], []
    for i, step in enumerate(steps, start=1):
        at = {"x": i, "y": max(step.start, step.end) + _over(step)}
        figures.append(
            {**at, "text": step.figure, "narrow": step.figure.replace(f"{NO_BREAK_SPACE}±", "\n±")}
        )
        verdicts.append({**at, "text": step.verdict_text, "narrow": VERDICT_MARK[step.verdict]})
        if step.doubts:
            text = ", ".join(step.doubts)
            doubts.append({**at, "text": text, "narrow": text.replace(" ", "\n", 1)})
    place = {"parts": len(steps) + 1, "baseline": "bottom"}
    muted = {"size": TYPE_PX["note"], "color": plot.theme.muted, **place}
    yield plot.narrowing(figures, dy=-21, narrow_dy=-21, fontWeight=600, **place)
    yield plot.narrowing(verdicts, dy=-7, narrow_dy=-37, **muted)
    yield plot.narrowing(doubts, dy=-37, narrow_dy=-64, **muted)


def _over(step: _Step) -> float:
    """Return how far the whisker stands over the higher end of the step."""
    return max(step.end + step.half - max(step.start, step.end), 0.0)


def _stair_names(plot: Plot, columns: list[tuple[str, int, str, str]], low: float) -> Iterator[Spec]:
    rows = [
        {"x": i, "y": low, "text": shorten(name, _STAIR_NAME), "color": colour}
        for name, i, _, colour in columns
    ]
    rows = [{**row, "narrow": row["text"]} for row in rows]
    top = {"baseline": "top", "parts": len(columns)}
    yield plot.narrowing(rows, dy=9, narrow_dy=9, fontWeight=600, **top)
    rows = [
        {"x": i, "y": low, "text": price, "narrow": price.replace(NO_BREAK_SPACE, "\n")}
        for _, i, price, _ in columns
    ]
    yield plot.narrowing(rows, dy=26, narrow_dy=26, color=plot.theme.muted, **top)


# --- rungs -----------------------------------------------------------------------------


def rungs(review: Review, side: Side, units: UnitSet, theme: Theme) -> Spec:
    """Return the steps of one side as rows, words over each bar."""
    steps = _steps(review, side, units)
    low, high = _limits(review, units)
    line = _DOUBTS if any(step.doubts for step in steps) else 0.0
    row = _ROW + line
    height = row * len(steps) + 22.0
    plot = Plot(theme, x=(low, high), y=(-height, 0.0), height=height, left=10.0, right=10.0)
    placed = [(-(row * i + line + 30.0), step) for i, step in enumerate(steps)]
    at = ticks(low, high, 5)
    layers = [
        *_rung_ticks(plot, at, placed, units),
        *_bars(plot, review, placed),
        *_whiskers(plot, placed, upright=False),
        *_rung_texts(plot, review, placed, line),
    ]
    return plot.spec(layers, _description(review, side, steps))


def _rung_ticks(
    plot: Plot, at: list[float], placed: list[tuple[float, _Step]], units: UnitSet
) -> Iterator[Spec]:
    """Draw the scale behind the bars only: words stand between them."""
    theme, bottom = plot.theme, plot.y[0] + 20.0
    rows = [
        {"x": x, "y": y - _BAR, "y2": y + _BAR, "color": theme.rule_strong if x == 0 else theme.rule}
        for x in at
        for y, _ in placed
    ]
    yield plot.layer("rule", rows, ("x", "y", "y2"), strokeWidth=1)
    texts = tick_texts(at, signed=True)
    texts[-1] += f" {label('flow', units)}"
    rows = [{"x": x, "y": bottom, "text": text} for x, text in zip(at, texts, strict=True)]
    muted = {"size": TYPE_PX["axis"], "color": theme.muted, "baseline": "top", "dy": 5}
    yield plot.text(rows, **muted)


def _bars(plot: Plot, review: Review, placed: list[tuple[float, _Step]]) -> Iterator[Spec]:
    for hollow in (False, True):
        rows: list[Row] = []
        for y, step in placed:
            if (step.verdict == _OPEN) != hollow:
                continue
            low, high = sorted((step.start, step.end))
            colour = _colours(review, step, plot.theme)[0]
            row: Row = {"x": low, "x2": high, "y": y - _BAR / 2, "y2": y + _BAR / 2}
            if hollow:
                row["stroke"] = colour
            else:
                row |= {"fill": colour, "fillOpacity": OPACITY["step"]}
            rows.append(row)
        looks = {"fillOpacity": 0, "strokeWidth": 1.25, "strokeDash": [3, 2]} if hollow else {}
        yield plot.layer("rect", rows, ("x", "x2", "y", "y2"), **looks)
    ends = [
        {"x": step.end, "y": y - _BAR / 2, "y2": y + _BAR / 2, "color": _colours(review, step, plot.theme)[0]}
        for y, step in placed
    ]
    yield plot.layer("rule", ends, ("x", "y", "y2"), strokeWidth=2.5)


def _rung_texts(plot: Plot, review: Review, placed: list[tuple[float, _Step]], line: float) -> Iterator[Spec]:
    """Write name and gain over each bar, and doubts, where there are any, on a line between."""
    count = len(review.stages)
    names, gains, doubts = [], [], []
    for y, step in placed:
        number = f"{step.index + 1} " if step.index is not None and count > MOST_STAIRS else ""
        names.append(
            {"y": y, "text": number + shorten(step.name), "color": _colours(review, step, plot.theme)[1]}
        )
        gains.append({"y": y, "text": f"{step.figure} {step.verdict_text}"})
        if step.doubts:
            doubts.append({"y": y, "text": ", ".join(step.doubts)})
    over = {"baseline": "bottom", "dy": -9 - line}
    yield _at_edge(plot.text(names, align="left", fontWeight=600, **over), 0)
    yield _at_edge(plot.text(gains, align="right", **over), "width")
    muted = {"size": TYPE_PX["note"], "color": plot.theme.muted}
    yield _at_edge(plot.text(doubts, align="right", baseline="bottom", dy=-9, **muted), "width")


def _at_edge(layer: Spec, x: float | str) -> Spec:
    layer["encoding"]["x"] = {"value": x}
    return layer


def _description(review: Review, side: Side, steps: list[_Step]) -> str:
    said = "; ".join(f"{step.name} {step.change}" for step in steps)
    about = f"{side.capitalize()}: what each stage added to the one before"
    return f"{about}: {said}. At {words.reference(review)}"
