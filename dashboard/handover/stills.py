"""Stills for beside or on a video: before and after at a glance, and what the numbers stand on.

They go public, so neither prices nor the customer's name are in them. Nothing is set smaller than
a phone shows, but for the chart's axis.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from core.job import SIDES, Side
from core.results import Review
from core.units import NO_BREAK_SPACE, UnitSet, label
from dashboard import answer_words, words
from dashboard.curves import Line
from dashboard.handover import facts
from dashboard.handover.canvas import BOLD, REGULAR, SEMIBOLD, Canvas, Colour, ink, shrunk, width_of, wrapped
from dashboard.handover.choice import EVERYTHING, Choice, shown_to
from dashboard.handover.compared import Compared, compared
from dashboard.handover.plain import one_line
from dashboard.handover.still_chart import draw_chart, draw_small_chart, still_lines
from dashboard.ladder import LadderRow, ladder
from dashboard.look import THEMES, TYPE_STILL

_LOOK = THEMES["dark"]
_ARROW = "→"
_TITLE, _GAIN, _SIDE = TYPE_STILL["title"], TYPE_STILL["gain"], TYPE_STILL["side"]
_NOTE, _LEAST = TYPE_STILL["note"], TYPE_STILL["least"]
_PANEL = 0.92  # how much of the video an overlay covers
_BEFORE, _AFTER = _LOOK.muted, _LOOK.text_colour(1, 2)


@dataclass(frozen=True)
class _Shown:
    """All that a still says, as finished text."""

    title: str
    names: tuple[str, str] | None  # the compared stages, None where each side has its own, or none
    found: tuple[Compared, ...]
    baselines: tuple[tuple[Side, str], ...]  # where there is nothing to compare yet
    answer: str
    measure: str
    conditions: str
    pressure: str
    tested: str
    data: str
    lines: list[Line]
    unit: str

    @property
    def description(self) -> str:
        """Return the still in words."""
        pairs = [
            f"{one.side} {one.gain.other} {_ARROW} {one.gain.stage}: {one.before} {_ARROW} {one.after} "
            f"{self.unit}, {one.change}"
            for one in self.found
        ]
        pairs += [f"{side} {flow} {self.unit}" for side, flow in self.baselines]
        said = (*pairs, self.answer, self.measure, self.conditions, self.tested, self.data)
        return one_line(". ".join(part.rstrip(".") for part in said if part)) + "."


def still_wide(review: Review, units: UnitSet, choice: Choice = EVERYTHING) -> bytes:
    """Return the still for beside a video, 1920 by 1080: numbers at the left, the chart at the right."""
    shown, review = _shown(review, units, choice)
    canvas = Canvas(1920, 1080, _LOOK.background)
    x, width = 96, 1728
    y = _draw_head(canvas, shown, x, 104, width, lines=1)
    foot = _draw_foot(canvas, shown, x, 1080 - 60, width)
    left = 800 if shown.lines else width
    _draw_numbers(canvas, shown, x, y + 16, left, foot - 28, TYPE_STILL["number_wide"])
    if shown.lines:
        box = (x + left + 64, y + 24, x + width, foot - 30)
        draw_chart(canvas, box, ink(_LOOK.background), _LOOK, review, shown.lines, units)
    canvas.panel((x, foot - 22, x + width, foot - 20), ink(_LOOK.rule))
    return canvas.png(one_line(shown.title), shown.description)


def still_tall(review: Review, units: UnitSet, choice: Choice = EVERYTHING) -> bytes:
    """Return the still for a phone held upright, 1080 by 1920, clear of what a player lays over it."""
    shown, review = _shown(review, units, choice)
    canvas = Canvas(1080, 1920, _LOOK.background)
    x, width, bottom = 96, 864, 1700
    y = _draw_head(canvas, shown, x, 204, width, lines=2)
    foot = _draw_foot(canvas, shown, x, bottom - 8, width)
    room = foot - y - (420 if shown.lines else 40)
    y = _draw_numbers(canvas, shown, x, y + 16, width, y + room, TYPE_STILL["number_tall"])
    if shown.lines:
        box = (x, y + 24, x + width, foot - 30)
        draw_chart(canvas, box, ink(_LOOK.background), _LOOK, review, shown.lines, units)
    return canvas.png(one_line(shown.title), shown.description)


def still_overlay(review: Review, units: UnitSet, choice: Choice = EVERYTHING) -> bytes:
    """Return the still that lies on a video, 1920 by 1080: a band at the bottom, the rest transparent."""
    shown, review = _shown(review, units, choice)
    canvas = Canvas(1920, 1080, None)
    doubtful = any(one.flow_gain.doubts for one in shown.found)
    x0, y0, x1, y1 = 96, 736 - (36 if doubtful else 0), 1824, 1000
    ground = ink(_LOOK.surface, _PANEL)
    canvas.panel((x0, y0, x1, y1), ground)
    canvas.panel((x0, y0, x1, y0 + 4), ink(_LOOK.line_colour(1, 2)))
    x, chart = x0 + 48, 380 if shown.found else 0
    right = x1 - 48 - chart
    _draw_band(canvas, shown, x, y0, right - 24 if chart else right)
    for line, said in enumerate(reversed(_band_notes(shown))):
        text = wrapped(said, x1 - 48 - x, _LEAST, most=1)
        canvas.text(x, y1 - 22 - 36 * line, text[0], _LEAST, _LOOK.muted)
    if chart and shown.lines:
        draw_small_chart(canvas, (right, y0 + 20, x1 - 40, y1 - 96), ground, _LOOK, shown.lines)
    return canvas.png(one_line(shown.title), shown.description)


# what it says -----------------------------------------------------------------------------


def _shown(review: Review, units: UnitSet, choice: Choice) -> tuple[_Shown, Review]:
    """Return what to say, and the review that it is said of: one without prices."""
    review = shown_to(review, replace(choice, prices=False))
    found = compared(review, choice, units)
    names = {(one.gain.other, one.gain.stage) for one in found}
    return _Shown(
        title=review.job.title,
        names=names.pop() if len(names) == 1 else None,
        found=found,
        baselines=() if found else _baselines(review, units, choice),
        answer="" if found else answer_words.answer(review),
        measure=facts.measure(found) if found else "",
        conditions=words.conditions(review, units),
        pressure=f"Tested at {facts.test_pressures(review.job, found, units)}" if found else "",
        tested=_tested(review, found, units) if found else "",
        data=f"data {review.job.fingerprint}",
        lines=still_lines(review, found, choice.side, units),
        unit=label("flow", units),
    ), review


def _baselines(review: Review, units: UnitSet, choice: Choice) -> tuple[tuple[Side, str], ...]:
    """Return each side's first flow, where there is nothing to compare it with yet."""
    rows = ladder(review, units)
    return tuple(
        (side, f"{row.gain[side].number}, {_mean_of(review, row, side)}")
        for side in SIDES
        if choice.side in (None, side)
        for row in rows
        if row.gain[side].number.endswith(words.BASELINE)
    )


def _mean_of(review: Review, row: LadderRow, side: Side) -> str:
    curve = review.stages[row.place].side(side)
    return "cam-weighted" if curve.cam_weighted_flow_m3_s is not None else "mean over lift"


def _tested(review: Review, found: Sequence[Compared], units: UnitSet) -> str:
    beyond = any(words.beyond_caption(review, one.side, units) for one in found)
    said = [
        f"Tested at {facts.test_pressures(review.job, found, units)}",
        facts.valves(review.job, found, units),
        f"Shaded: {words.BEYOND_CAM}" if beyond else "",
    ]
    return " ".join(f"{part}." for part in said if part)


def _band_notes(shown: _Shown) -> tuple[str, str]:
    """Return what the numbers are, and of what, the more needful first: a line may be cut."""
    conditions = shown.conditions.partition(" (")[0].rstrip(".")
    measure = [shown.measure] if shown.measure else []
    said = [shown.data]
    said += [f"{shown.pressure[:1].lower()}{shown.pressure[1:]}"] if shown.pressure else []
    said += [f" {_ARROW} ".join(shown.names)] if shown.names else []
    return (
        " · ".join([f"{conditions}, ± is 95{NO_BREAK_SPACE}%", *measure]),
        " · ".join([*said, shown.title]),
    )


# how it is set ----------------------------------------------------------------------------


def _draw_head(canvas: Canvas, shown: _Shown, x: int, top: int, width: int, *, lines: int) -> int:
    """Set title, stages and measure below ``top``; return where they end."""
    size = shrunk(shown.title, width, _TITLE, BOLD, least=_GAIN - 4)
    y = top
    for line in wrapped(shown.title, width, size, BOLD, most=lines):
        y += size
        canvas.text(x, y, line, size, _LOOK.text, weight=BOLD)
        y += round(size * 0.14)
    y += 8
    if shown.names:
        y = _draw_names(canvas, shown.names, x, y, width, lines=lines)
    for line in wrapped(shown.measure or shown.answer, width, _NOTE, most=3):
        y += _NOTE + 10
        canvas.text(x, y, line, _NOTE, _LOOK.muted)
    return y


def _draw_names(canvas: Canvas, names: tuple[str, str], x: int, y: int, width: int, *, lines: int) -> int:
    """Set the compared stages: on one line where they fit, else a line or two each."""
    before, after = names
    size = _SIDE - 4
    step = size + 12
    if width_of(f"{before} {_ARROW} {after}", size, SEMIBOLD) <= width:
        y += step
        end = canvas.text(x, y, f"{before} {_ARROW} ", size, _BEFORE)
        canvas.text(end, y, after, size, _AFTER, weight=SEMIBOLD)
        return y
    for said, name, colour in (("before: ", before, _BEFORE), ("after: ", after, _AFTER)):
        indent = width_of(said, size)
        for n, line in enumerate(wrapped(name, width - indent, size, SEMIBOLD, most=lines)):
            y += step
            if n == 0:
                canvas.text(x, y, said, size, _LOOK.muted)
            canvas.text(x + indent, y, line, size, colour, weight=SEMIBOLD if colour == _AFTER else REGULAR)
    return y


def _draw_numbers(canvas: Canvas, shown: _Shown, x: int, y: int, width: int, bottom: int, size: int) -> int:
    """Set each side's numbers, smaller where there is little room; return where they end."""
    rest = _SIDE + 24 + _GAIN + 24
    count = len(shown.found) or len(shown.baselines)
    extra = sum(_NOTE + 12 for one in shown.found if _doubts(one) or not shown.names)
    gap = 0
    if count:
        size = min(size, max(_GAIN, round((bottom - y - extra) / count - rest)))
        gap = min(44, max(0, (bottom - y - extra - count * (size + rest)) // (count + 1)))
    for one in shown.found:
        y = _draw_side(canvas, shown, one, x, y + gap, width, size)
    for side, flow in shown.baselines:
        y += gap + _SIDE + 24
        canvas.text(x, y, side.capitalize(), _SIDE, _LOOK.text, weight=SEMIBOLD)
        y += size
        number, _, said = flow.partition(" ")
        end = canvas.text(x, y, number, size, _LOOK.text, weight=SEMIBOLD)
        rest = f"{shown.unit} {said}"
        small = shrunk(rest, x + width - end - 24, _GAIN, least=_LEAST)
        canvas.text(end + 24, y, rest, small, _LOOK.muted)
    return y


def _draw_side(canvas: Canvas, shown: _Shown, one: Compared, x: int, y: int, width: int, size: int) -> int:
    y += _SIDE + 24
    end = canvas.text(x, y, one.side.capitalize(), _SIDE, _LOOK.text, weight=SEMIBOLD)
    if not shown.names:
        names = f"{one.gain.other} {_ARROW} {one.gain.stage}"
        for line in wrapped(names, width - (end - x) - 24, _NOTE, most=1):
            canvas.text(end + 24, y, line, _NOTE, _LOOK.muted)
    y += size - round(size * 0.14) + 10
    _draw_pair(canvas, one, shown.unit, x, y, width, size)
    y += _GAIN + 20
    _draw_change(canvas, one, x, y, _GAIN, _SIDE - 4, ink(_LOOK.background))
    if doubts := _doubts(one):
        y += _NOTE + 12
        canvas.text(x, y, wrapped(doubts, width, _NOTE, most=1)[0], _NOTE, _LOOK.text)
    return y


def _draw_pair(canvas: Canvas, one: Compared, unit: str, x: int, y: int, width: int, size: int) -> None:
    """Set ``42.1 → 45.6 L/s``, as large as fits."""
    gap = size // 6
    small = max(_LEAST, round(size * 0.36))

    def wide(size: int) -> float:
        both = width_of(one.before, size) + width_of(one.after, size, BOLD)
        return both + width_of(_ARROW, size * 2 // 3) + 2 * gap + gap + width_of(unit, small)

    while size > _SIDE and wide(size) > width:
        size -= 2
    end = canvas.text(x, y, one.before, size, _BEFORE)
    arrow = size * 2 // 3
    end = canvas.text(end + gap, y - round(size * 0.06), _ARROW, arrow, _LOOK.muted)
    end = canvas.text(end + gap, y, one.after, size, _AFTER, weight=BOLD)
    canvas.text(end + gap, y, unit, small, _LOOK.muted)


def _draw_change(
    canvas: Canvas, one: Compared, x: float, y: int, size: int, small: int, ground: Colour
) -> None:
    """Set the gain in percent, and the verdict after it."""
    end = canvas.text(x, y, one.change.number, size, _LOOK.text, weight=SEMIBOLD) + small * 0.7
    canvas.verdict_mark(one.change.verdict, end, y, small, _LOOK.text, ground)
    canvas.text(end + small * 0.9, y, one.change.words, small, _LOOK.text)


def _doubts(one: Compared) -> str:
    return "; ".join(one.flow_gain.doubts)


def _draw_foot(canvas: Canvas, shown: _Shown, x: int, bottom: int, width: int) -> int:
    """Set conditions, valves and fingerprint above ``bottom``; return where they begin."""
    lines = [
        *wrapped(shown.conditions, width, _NOTE, most=4),
        *wrapped(f"{shown.tested} {shown.data[0].upper()}{shown.data[1:]}.", width, _LEAST, most=4),
    ]
    first = len(wrapped(shown.conditions, width, _NOTE, most=4))
    step = _NOTE + 10
    y = bottom - step * (len(lines) - 1)
    top = y - step
    for n, line in enumerate(lines):
        size, colour = (_NOTE, _LOOK.text) if n < first else (_LEAST, _LOOK.muted)
        canvas.text(x, y, line, size, colour)
        y += step
    return top


def _draw_band(canvas: Canvas, shown: _Shown, x: int, top: int, right: int) -> None:
    """Set the numbers side by side inside the band."""
    if not shown.found:
        for n, line in enumerate(wrapped(shown.answer or shown.title, right - x, _SIDE, most=2)):
            canvas.text(x, top + 70 + n * 52, line, _SIDE, _LOOK.text)
        return
    column = (right - x) // len(shown.found)
    for n, one in enumerate(shown.found):
        left, y = x + n * column, top + 54
        end = canvas.text(left, y, one.side.capitalize(), 34, _LOOK.text, weight=SEMIBOLD)
        _draw_change(canvas, one, end + 18, y, 32, _LEAST, ink(_LOOK.surface, _PANEL))
        y += 100
        _draw_pair(canvas, one, shown.unit, left, y, column - 32, TYPE_STILL["number_overlay"])
        if doubts := "; ".join(one.short_doubts):
            canvas.text(left, y + 40, wrapped(doubts, column - 24, _LEAST, most=1)[0], _LEAST, _LOOK.text)
