"""Ranges of rough power as SVG: a bar a stage, its ends, its middle as a tick, words over it."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from markupsafe import Markup

from core.power_results import PowerModel
from core.units import UnitSet, label, to_display
from dashboard import power_tables, power_words
from dashboard.charts.frame import tick_texts, ticks
from dashboard.handover.plain import name_in_line, one_line
from dashboard.handover.svg import WIDTH, coordinate, fitting, framed, words_at
from dashboard.power_tables import RangeRow

_ROW, _BAR, _FOOT, _MARGIN = 46.0, 12.0, 26.0, 16.0
_NAMES = 240.0  # of the width; figures have the rest


def range_chart(model: PowerModel, units: UnitSet) -> Markup:
    """Return a bar for each stage's range and for all work, empty where there is none."""
    rows = power_tables.range_rows(model)
    if not rows:
        return Markup("")
    low, high = power_tables.limits(rows, units)
    height, span = _ROW * len(rows) + _FOOT, (high - low) or 1.0

    def across(value: float) -> float:
        return _MARGIN + (value - low) / span * (WIDTH - 3 * _MARGIN)

    parts = [
        *_scale(low, high, height, len(rows), across, label("power", units)),
        *(_bar(row, _ROW * i + 33.0, len(model.stages), across, units) for i, row in enumerate(rows)),
    ]
    said = "; ".join(f"{name_in_line(row.name)} {power_words.cell(row.gain, units)}" for row in rows)
    return framed("power", height, f"{power_words.RANGES_TITLE}, {label('power', units)}: {said}", parts)


def _scale(
    low: float, high: float, height: float, count: int, across: Callable[[float], float], unit: str
) -> Iterator[Markup]:
    """Draw the scale behind the bars only: words stand between them."""
    at = ticks(low, high, 5)
    texts = tick_texts(at, signed=True)
    texts[-1] += f" {unit}"
    for value, text in zip(at, texts, strict=True):
        x = coordinate(across(value))
        steps = "".join(f"M{x} {coordinate(_ROW * i + 33.0 - _BAR)}v{2 * _BAR:g}" for i in range(count))
        yield Markup('<path class="{}" d="{}"/>').format("zero" if value == 0 else "rule", steps)
        yield words_at(across(value), height - 8.0, text, "tick centred")


def _bar(row: RangeRow, y: float, count: int, across: Callable[[float], float], units: UnitSet) -> Markup:
    low, middle, high = (
        across(to_display(value, "power", units)) for value in vars(row.gain.gain_w).values()
    )
    top, tall = coordinate(y - _BAR / 2 - 1.5), f"v{_BAR + 3:g}"
    place = count - 1 if row.place is None else row.place
    name = fitting(one_line(row.name), _NAMES)
    return Markup(
        '<g class="g{} {}"><rect class="range{}" x="{}" y="{}" width="{}" height="{}"/>'
        '<path class="end-tick" d="{}"/><path class="mid-tick" d="{}"/>{}{}</g>'
    ).format(
        place,
        "whole" if row.place is None else "name",
        " open" if power_words.is_open(row.gain) else "",
        coordinate(low),
        coordinate(y - _BAR / 2),
        coordinate(high - low),
        f"{_BAR:g}",
        "".join(f"M{coordinate(x)} {top}{tall}" for x in (low, high)),
        f"M{coordinate(middle)} {top}{tall}",
        words_at(0, y - 12.0, name, "strong"),
        words_at(WIDTH - 1, y - 12.0, power_words.gain_text(row.gain, units), "end"),
    )
