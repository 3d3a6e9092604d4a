"""Colours, strokes and marks shared by charts, screens and PDF; the values are in ``look.toml``."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

Mode = Literal["light", "dark"]
Weight = Literal["baseline", "middle", "last", "context"]

_VALUES: dict[str, Any] = tomllib.loads(Path(__file__).with_name("look.toml").read_text(encoding="utf-8"))

STROKE_PX: dict[str, float] = _VALUES["stroke_px"]
STROKE_PT: dict[str, float] = _VALUES["stroke_pt"]
DASH_PX: dict[str, list[float]] = _VALUES["dash_px"]
OPACITY: dict[str, float] = _VALUES["opacity"]
POINT_PX: dict[str, float] = _VALUES["point_px"]
LABEL_PX: dict[str, float] = _VALUES["label_px"]
TYPE_PX: dict[str, float] = _VALUES["type_px"]
TYPE_PT: dict[str, float] = _VALUES["type_pt"]
TYPE_STILL: dict[str, int] = _VALUES["type_still"]  # px
VERDICT_MARK: dict[str, str] = _VALUES["verdict_mark"]
VERDICT_SHAPE: dict[str, str] = _VALUES["verdict_shape"]
LEVEL_MARK: dict[str, str] = _VALUES["level_mark"]

MANY_STAGES = 7  # from here on the stages between first and last are drawn as thin, numbered context
LONGEST_RAMP = 12


@dataclass(frozen=True)
class Theme:
    """The colours of one mode."""

    mode: Mode
    background: str
    surface: str
    text: str
    muted: str
    rule: str
    rule_strong: str
    beyond: str
    target: str
    primary: str
    stage: dict[str, list[str]] = field(compare=False)
    stage_text: dict[str, list[str]] = field(compare=False)

    def line_colour(self, index: int, count: int) -> str:
        """Return the colour of a stage's line, its place counted from 0."""
        return _of_ramp(self.stage, index, count)

    def text_colour(self, index: int, count: int) -> str:
        """Return the colour of a stage's name."""
        return _of_ramp(self.stage_text, index, count)


def _of_ramp(ramps: dict[str, list[str]], index: int, count: int) -> str:
    # More stages than the longest ramp share neighbouring hues: names and numbers tell them apart.
    length = min(count, LONGEST_RAMP)
    place = index if count <= LONGEST_RAMP else round(index * (length - 1) / (count - 1))
    return ramps[str(length)][place]


THEMES: dict[Mode, Theme] = {mode: Theme(mode=mode, **_VALUES["theme"][mode]) for mode in ("light", "dark")}


def weight_of(index: int, count: int) -> Weight:
    """Return how heavily a stage is drawn: the last one loudest, many middle ones as context."""
    if index == count - 1:
        return "last"
    if index == 0:
        return "baseline"
    return "context" if count >= MANY_STAGES else "middle"
