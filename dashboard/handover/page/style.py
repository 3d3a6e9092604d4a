"""The page's style sheet: the colours and strokes of the look, then the rules of ``page.css``."""

from __future__ import annotations

from pathlib import Path

from core.results import Review
from dashboard.look import DASH_PX, OPACITY, STROKE_PX, THEMES, Mode

_COLOURS = ("background", "surface", "text", "muted", "rule", "rule_strong", "beyond", "primary")
_RULES = Path(__file__).with_name("page.css")


def sheet(review: Review) -> str:
    """Return the style sheet for as many stages as a review has."""
    count = len(review.stages)
    light, dark = _variables("light", count), _variables("dark", count)
    return "\n".join(
        [
            f":root{{color-scheme:light dark;{light}}}",
            f"@media screen and (prefers-color-scheme:dark){{:root{{{dark}}}}}",
            *_strokes(),
            *(f".g{i}{{--line:var(--s{i});--name:var(--t{i})}}" for i in range(count)),
            ".target{--line:var(--text);--name:var(--text)}",
            *(f":root:has(#stage-{i}:not(:checked)) .flow .g{i}{{display:none}}" for i in range(count)),
            ":root:has(#stage-target:not(:checked)) .flow .target{display:none}",
            _RULES.read_text(encoding="utf-8"),
        ]
    )


def _variables(mode: Mode, count: int) -> str:
    theme = THEMES[mode]
    named = [f"--{name.replace('_', '-')}:{getattr(theme, name)}" for name in _COLOURS]
    lines = [f"--s{i}:{theme.line_colour(i, count)}" for i in range(count)]
    names = [f"--t{i}:{theme.text_colour(i, count)}" for i in range(count)]
    return ";".join([*named, *lines, *names])


def _strokes() -> list[str]:
    dot = sum(DASH_PX["target"])
    return [
        *(f".{weight}{{stroke-width:{width}px}}" for weight, width in STROKE_PX.items()),
        f".band{{fill-opacity:{OPACITY['band']}}}.band.last{{fill-opacity:{OPACITY['band_last']}}}",
        f".exhaust .line{{stroke-dasharray:{_dash('exhaust')}}}.edge{{stroke-dasharray:{_dash('beyond')}}}",
        f".flow .target .line{{stroke-dasharray:0 {dot};stroke-linecap:round}}",
    ]


def _dash(name: str) -> str:
    return " ".join(map(str, DASH_PX[name]))
