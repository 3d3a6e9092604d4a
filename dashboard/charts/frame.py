"""What all charts share: a plot with pixel margins at any width, and marks that carry their looks as data."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from dashboard.figures import figure
from dashboard.look import TYPE_PX, Theme

Spec = dict[str, Any]
Row = dict[str, Any]

# Channels that a row may set for itself; without a scale the value is used as it stands.
_LOOKS = {
    **dict.fromkeys(("color", "fill", "stroke", "shape"), "nominal"),
    **dict.fromkeys(("opacity", "fillOpacity", "strokeWidth", "size"), "quantitative"),
}
NARROW_PART = 100  # pixels; the longest verdict needs about this much
FONT = '"Source Sans", "Source Sans Pro", sans-serif'


@dataclass(frozen=True)
class Plot:
    """Data limits, and the pixels kept free around them; x stretches with the page, y does not."""

    theme: Theme
    x: tuple[float, float]
    y: tuple[float, float]  # of the whole height
    height: float
    left: float
    right: float

    def y_of(self, pixel: float) -> float:
        """Return the data value at a height in pixels from the top."""
        low, high = self.y
        return high - pixel * (high - low) / self.height

    def pixel_of(self, y: float) -> float:
        """Return the pixels from the top at a data value."""
        low, high = self.y
        return (high - y) * self.height / (high - low)

    def channel(self, name: str, field: str | None = None) -> Row:
        """Return the encoding of a position: ``x`` and ``y`` with their scale, ``x2`` and ``y2`` without."""
        if name.endswith("2"):
            return {"field": field or name}
        encoding: Row = {
            "field": field or name,
            "type": "quantitative",
            "axis": None,
            "scale": self._scale(name),
        }
        if name == "y":
            encoding["stack"] = None
        return encoding

    def _scale(self, name: str) -> Row:
        if name == "y":
            return {"domain": [-self.height, 0], "nice": False, "zero": False}
        inner = f"(width - {self.left + self.right})"
        return {
            "domainMin": {"expr": f"-{self.left} / {inner}"},
            "domainMax": {"expr": f"1 + {self.right} / {inner}"},
            "nice": False,
            "zero": False,
        }

    def _drawn(self, row: Row) -> Row:
        """Return a row as it is sent: positions as shares of the width and as pixels from the top.

        So a chart in other units is the same specification with other rows, and the browser
        need not build it again.
        """
        sent = dict(row)
        for name in ("x", "x2"):
            if name in row:
                sent[name] = round((row[name] - self.x[0]) / (self.x[1] - self.x[0]), 5)
        for name in ("y", "y2"):
            if name in row:
                sent[name] = round(-self.pixel_of(row[name]), 2)
        return sent

    def layer(
        self, kind: str, rows: Iterable[Row], channels: Sequence[str] = ("x", "y"), **mark: Any
    ) -> Spec:
        """Return one layer; fields named like a channel (``color``, ``opacity`` …) set each row's looks."""
        rows = list(rows)
        encoding: Row = {name: self.channel(name) for name in channels}
        keys = rows[0].keys() if rows else ()
        for name, kind_of_data in _LOOKS.items():
            if name in keys:
                encoding[name] = {"field": name, "type": kind_of_data, "scale": None, "legend": None}
        if "series" in keys:
            encoding["detail"] = {"field": "series", "type": "nominal"}
        if "text" in keys:
            encoding["text"] = {"field": "text", "type": "nominal"}
        if "tip" in keys:
            encoding["tooltip"] = [
                {"field": name, "type": "nominal", "title": name} for name in rows[0]["tip"]
            ]
            rows = [{**{k: v for k, v in row.items() if k != "tip"}, **row["tip"]} for row in rows]
        looks: Row = {"type": kind, "clip": False, **mark}
        if "tooltip" not in encoding:
            looks["tooltip"] = None
        return {"data": {"values": [self._drawn(row) for row in rows]}, "mark": looks, "encoding": encoding}

    def text(
        self, rows: Iterable[Row], *, size: float = TYPE_PX["label"], color: str | None = None, **mark: Any
    ) -> Spec:
        """Return a layer of words; they always carry a colour, for the library's own is black."""
        rows = list(rows)
        if not rows or "color" not in rows[0]:
            mark["color"] = color or self.theme.text
        return self.layer("text", rows, fontSize=size, **mark)

    def narrowing(
        self, rows: Iterable[Row], parts: int, *, dy: float, narrow_dy: float, **looks: Any
    ) -> Spec:
        """Return a layer of words that show each row's ``narrow`` text where a part of the plot is narrow.

        The lines of a narrow text go downwards; what still does not fit is cut visibly.
        """
        part = f"(width - {self.left + self.right}) / {parts}"
        narrow = f"{part} < {NARROW_PART}"
        layer = self.text(rows, dy={"expr": f"{narrow} ? {narrow_dy} : {dy}"}, lineBreak="\n", **looks)
        layer["mark"]["text"] = {"expr": f"{narrow} ? datum.narrow : datum.text"}
        layer["mark"]["limit"] = {"expr": f"{part} - 4"}
        layer["encoding"].pop("text", None)
        return layer

    def spec(self, layers: Iterable[Spec], description: str) -> Spec:
        """Return the whole chart: one table of rows, of which each layer draws its own.

        The description names no unit of flow: with another one the browser would build the chart anew.
        """
        rows: list[Row] = []
        drawn: list[Spec] = []
        for layer in layers:
            mine = layer["data"]["values"]
            if not mine:
                continue
            rows += [{"layer": len(drawn), **row} for row in mine]
            drawn.append(
                {
                    "transform": [{"filter": f"datum.layer === {len(drawn)}"}],
                    **{k: v for k, v in layer.items() if k != "data"},
                }
            )
        return {
            "description": description,
            "data": {"name": "rows"},
            "datasets": {"rows": rows},
            "width": "container",
            "height": self.height,
            "padding": 0,
            "autosize": {"type": "fit", "contains": "padding"},
            "background": "transparent",
            "layer": drawn,
            "config": {"font": FONT, "view": {"stroke": None}, "text": {"color": self.theme.text}},
        }


def rules(plot: Plot, at: Sequence[float], *, zero: float | None = 0.0) -> Spec:
    """Return the horizontal rules; the zero line is the strong one."""
    theme = plot.theme
    rows = [
        {
            "x": plot.x[0],
            "x2": plot.x[1],
            "y": y,
            "color": theme.rule_strong if y == zero else theme.rule,
        }
        for y in at
    ]
    return plot.layer("rule", rows, ("x", "x2", "y"), strokeWidth=1)


def ticks(low: float, high: float, most: int) -> list[float]:
    """Return round values inside the limits, at most so many."""
    span = high - low
    if not span > 0:
        return [low]
    raw = span / max(most - 1, 1)
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(power * n for n in (1, 2, 2.5, 5, 10, 20) if power * n >= raw * (1 - 1e-9))
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [round(n * step, 10) for n in range(first, last + 1)]


def tick_texts(values: Sequence[float], *, signed: bool = False) -> list[str]:
    """Return the ticks with the same decimals, as few as tell them; zero needs none."""
    decimals = next((d for d in range(4) if all(abs(round(v, d) - v) < 1e-9 for v in values)), 4)
    return [figure(value, decimals if value else 0, signed=signed) for value in values]
