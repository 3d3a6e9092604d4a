"""Flow against lift as SVG: the lines and the frame of the PDF, drawn for a page of any width.

Colours are classes (``g2`` is the third stage), so that a page can have a light and a dark mode
and can hide a stage. All text goes through ``Markup.format``, which escapes it.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from markupsafe import Markup

from core.job import Side
from core.results import Review
from core.units import UnitSet, label
from dashboard.charts.frame import tick_texts, ticks
from dashboard.curves import Frame, Line, Points, cam_edges, cam_note, in_words
from dashboard.handover.plain import name_in_line, one_line
from dashboard.labels import dodge, shorten
from dashboard.look import LABEL_PX, MANY_STAGES, POINT_PX

WIDTH, HEIGHT = 460, 400
_LEFT, _RIGHT, _ABOVE, _BELOW = 38.0, 140.0, 30.0, 36.0
_NUMBER_GAP = 11.5  # between the numbers of many stages, which stand in two columns
_EM = 13.0

Said = Mapping[tuple[int, int], str]  # (place of the stage, place of the reading) -> what it says


def flow_chart(
    review: Review, side: Side, lines: Sequence[Line], limits: tuple[float, float], units: UnitSet, said: Said
) -> Markup:
    """Return one side's lines and target as an SVG element; all charts reach to the same ``limits``."""
    frame = Frame(_LEFT, WIDTH - _RIGHT, HEIGHT - _BELOW, _ABOVE, *limits)
    by_weight = sorted(lines, key=lambda line: line.weight != "context")
    parts = [
        *_beyond(review, side, frame, units),
        *_axes(frame, units),
        *(_band(frame, line) for line in by_weight if line.has_band and not line.is_target),
        *(_curve(frame, line, said) for line in by_weight),
        *_names(frame, lines),
    ]
    alternative = in_words([replace(line, name=name_in_line(line.name)) for line in lines], units)
    return framed(f"flow {side}", HEIGHT, alternative, parts)


def framed(kind: str, height: float, alternative: str, parts: Iterable[Markup]) -> Markup:
    """Return a chart of what is drawn, with words that stand for it where it cannot be seen."""
    return Markup('<svg class="chart {}" viewBox="0 0 {} {}" role="img" aria-label="{}">{}</svg>').format(
        kind, WIDTH, coordinate(height), alternative, Markup("").join(parts)
    )


def line_sample(index: int, side: Side = "intake") -> Markup:
    """Return a short piece of a stage's line with one reading on it."""
    line = Markup('<path class="line" d="M1 6H25"/>')
    return Markup('<svg class="sample {} g{}" viewBox="0 0 26 12" aria-hidden="true">{}{}</svg>').format(
        side, index, line, _mark(side, 13.0, 6.0, POINT_PX["area"])
    )


# --- parts -----------------------------------------------------------------------------


def _beyond(review: Review, side: Side, frame: Frame, units: UnitSet) -> Iterator[Markup]:
    for edge in cam_edges(review, (side,), frame, units):
        x = frame.x(edge)
        yield Markup('<rect class="beyond" x="{}" y="{}" width="{}" height="{}"/>').format(
            coordinate(x), coordinate(frame.y1), coordinate(frame.x1 - x), coordinate(frame.y0 - frame.y1)
        )
        yield Markup('<path class="edge" d="M{} {}V{}"/>').format(
            coordinate(x), coordinate(frame.y1), coordinate(frame.y0)
        )
        yield words_at(frame.x1, frame.y1 - 5, cam_note(review, (side,), units), "tick end")


def _axes(frame: Frame, units: UnitSet) -> Iterator[Markup]:
    flows, across = ticks(0.0, frame.top_flow, 6), ticks(0.0, frame.top_lift, 7)
    for value, text in zip(flows, tick_texts(flows), strict=True):
        y = frame.y(value)
        yield Markup('<path class="{}" d="M{} {}H{}"/>').format(
            "zero" if value == 0 else "rule", coordinate(frame.x0), coordinate(y), coordinate(frame.x1)
        )
        yield words_at(frame.x0 - 6, y + 4, text, "tick end")
    yield words_at(2, frame.y1 - 16, label("flow", units), "tick")
    for value, text in zip(across, tick_texts(across), strict=True):
        yield words_at(frame.x(value), frame.y0 + 17, text, "tick centred")
    yield words_at(frame.x1 + 14, frame.y0 + 17, f"lift, {label('lift', units)}", "tick")


def _band(frame: Frame, line: Line) -> Markup:
    return Markup('<path class="g{} band {}" d="{}Z"/>').format(
        line.index, line.weight, _path(line.band(frame))
    )


def _curve(frame: Frame, line: Line, said: Said) -> Markup:
    pieces = [
        Markup('<path class="line" d="{}" opacity="{}"/>').format(_path(points), f"{opacity:g}")
        for points, opacity in line.pieces(frame)
    ]
    area = POINT_PX["area_last" if line.weight == "last" else "area"]
    points = [
        _mark(line.side, x, y, area, said[line.index, place])
        for place, (x, y) in enumerate(frame.points(line.lift, line.flow))
        if not line.is_target  # a line without readings
    ]
    return Markup('<g class="{}">{}</g>').format(_paint(line), Markup("").join([*pieces, *points]))


def _paint(line: Line) -> str:
    """Return the classes that give a line its colour and weight."""
    return "target" if line.is_target else f"g{line.index} {line.weight}"


def _mark(side: Side, x: float, y: float, area: float, said: str = "") -> Markup:
    """Draw a reading with what it says for a pointer that rests on it, or a line's key, which is silent."""
    title = Markup("<title>{}</title>").format(said) if said else Markup("")
    kind = "point" if said else "key"
    if side == "intake":
        return Markup('<circle class="{}" cx="{}" cy="{}" r="{}">{}</circle>').format(
            kind, coordinate(x), coordinate(y), coordinate((area / 3.1416) ** 0.5), title
        )
    edge = area**0.5 * 0.95
    return Markup('<rect class="{}" x="{}" y="{}" width="{}" height="{}">{}</rect>').format(
        kind, coordinate(x - edge / 2), coordinate(y - edge / 2), coordinate(edge), coordinate(edge), title
    )


def _names(frame: Frame, lines: Sequence[Line]) -> Iterator[Markup]:
    """Write names at line ends, as near as they fit; many middle stages get their numbers."""
    named = [line for line in lines if line.weight != "context"]
    numbered = [line for line in lines if line.weight == "context"]
    shift = 30.0 if numbered else 0.0
    gap = LABEL_PX["line"]
    for line, y in _dodged(frame, named, gap):
        x0, x1 = frame.x(line.lift[-1]), frame.x1 + LABEL_PX["leader_to"] + shift
        leader = Markup('<path class="leader" d="M{} {}L{} {}"/>').format(
            coordinate(x0 + LABEL_PX["leader_from"] + shift),
            coordinate(frame.y(line.flow[-1])),
            coordinate(x1),
            coordinate(y),
        )
        at = frame.x1 + LABEL_PX["glyph"] + shift
        mark = Markup("") if line.is_target else _mark(line.side, at, y, POINT_PX["area"])
        x = frame.x1 + LABEL_PX["text"] + shift
        many = line.count >= MANY_STAGES and not line.is_target
        number = f"{line.index + 1}\u00a0" if many else ""
        name = fitting(one_line(line.name), WIDTH - x - len(number) * 0.5 * _EM)
        yield Markup('<g class="{} name">{}{}<text x="{}" y="{}">{}<tspan>{}</tspan></text></g>').format(
            _paint(line), leader, mark, coordinate(x), coordinate(y + 4), number, name
        )
    by_height = sorted(numbered, key=lambda line: line.flow[-1])
    for column in (0, 1):
        for line, y in _dodged(frame, by_height[column::2], _NUMBER_GAP):
            yield Markup('<text class="g{} number" x="{}" y="{}">{}</text>').format(
                line.index,
                coordinate(frame.x(line.lift[-1]) + 6 + 14 * column),
                coordinate(y + 3.5),
                line.index + 1,
            )


def _dodged(frame: Frame, lines: Sequence[Line], gap: float) -> Iterable[tuple[Line, float]]:
    wanted = [frame.y(line.flow[-1]) for line in lines]
    return zip(lines, dodge(wanted, gap, frame.y1, frame.y0), strict=True)


def fitting(name: str, room: float) -> str:
    """Return a name cut to a width, which is only guessed: the reader's own typeface is not known."""
    while _guessed_width(name) > room and len(name) > 2:
        name = shorten(name, len(name) - 1)
    return name


def _guessed_width(text: str) -> float:
    wide = sum(unicodedata.east_asian_width(character) in "WF" for character in text)
    capitals = sum(character.isupper() for character in text)
    return _EM * (1.02 * wide + 0.7 * capitals + 0.54 * (len(text) - wide - capitals))


def words_at(x: float, y: float, text: str, looks: str) -> Markup:
    """Return one line of text."""
    return Markup('<text class="{}" x="{}" y="{}">{}</text>').format(
        looks, coordinate(x), coordinate(y), text
    )


def _path(points: Points) -> str:
    return "M" + "L".join(f"{coordinate(x)} {coordinate(y)}" for x, y in points)


def coordinate(value: float) -> str:
    """Return a coordinate to a tenth, as short as it can be written."""
    return f"{round(value, 1) + 0.0:.1f}".removesuffix(".0")
