"""A blank bench sheet to print: the job's lifts, boxes for conditions, and lines for a pencil."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from core.job import SIDES
from dashboard.handover.fonts import STRONG
from dashboard.handover.paper import LEFT, LOOK, TOP, WIDTH, Paper
from dashboard.look import TYPE_PT

_ROW, _BOX = 8.2, 9.0  # mm: room for a pencil and a glove
_MOST_ROWS = 20  # of one page; more go on beside it
_FOOT = "Type it under Job sheet, At the bench. Flows are corrected by these conditions: leave no box empty."
_CONDITIONS = ("test pressure", "barometer", "air temperature", "humidity", "meter temperature", "range")
_SETUP = ("fixture bore", "intake entry", "exhaust exit", "valves open", "spark plug", "bench")
_CHECKS = ("bench checked on its plate", "leak checked, valves shut", "lift zero set", "clamped, plug fitted")


@dataclass(frozen=True)
class Blank:
    """What is known before the reading begins; blank where the pencil says it."""

    title: str
    stage: str
    port: str
    lifts: tuple[str, ...]
    lift_unit: str
    units: Sequence[str]  # of intake and exhaust
    stated: Sequence[tuple[str, str]] = ()  # conditions and set-up that will be the same


def blank_sheet(blank: Blank) -> bytes:
    """Return the sheet as a PDF; the same lifts give the same bytes."""
    paper = Paper(f"Bench sheet, {blank.title}", None, (_FOOT, blank.title[:40]))
    with paper.tagged("H1"):
        paper.y += 7.0
        paper.line_of_text(LEFT, paper.y, "Bench sheet", size=TYPE_PT["title"], style=STRONG)
    paper.y += 2.0
    paper.paragraph(blank.title, colour=LOOK.muted)
    paper.y += 2.0
    _boxes(paper, [("stage", blank.stage), ("port", blank.port), ("date", ""), ("time", ""), ("by", "")], 5)
    stated = dict(blank.stated)
    _boxes(paper, [(name, stated.get(name, "")) for name in _CONDITIONS], 6)
    _boxes(paper, [(name, stated.get(name, "")) for name in _SETUP], 6)
    _ticks(paper)
    _readings(paper, blank)
    _boxes(paper, [("notes", "")], 1, height=16.0)
    return paper.finish()


def _boxes(paper: Paper, named: Sequence[tuple[str, str]], across: int, height: float = _BOX) -> None:
    """Draw boxes with their names inside, in rows."""
    width = WIDTH / across
    paper.need(height + 2)
    with paper.tagged("P"):
        for i, (name, value) in enumerate(named):
            x = LEFT + i * width
            _frame(paper, x, paper.y, width, height)
            paper.line_of_text(x + 1.2, paper.y + 3.0, name, size=TYPE_PT["small"], colour=LOOK.muted)
            lines = paper.wrapped(value, width - 2.4, TYPE_PT["small"])
            paper.line_of_text(x + 1.2, paper.y + 7.2, lines[0], size=TYPE_PT["small"])
    paper.y += height


def _frame(paper: Paper, x: float, y: float, width: float, height: float) -> None:
    paper.set_draw_color(LOOK.rule_strong)
    paper.set_line_width(0.18)
    paper.rect(x, y, width, height)


def _ticks(paper: Paper) -> None:
    paper.y += 2.6
    width = WIDTH / len(_CHECKS)
    with paper.tagged("P"):
        for i, text in enumerate(_CHECKS):
            x = LEFT + i * width
            _frame(paper, x, paper.y, 3.6, 3.6)
            paper.line_of_text(x + 5.0, paper.y + 3.0, text, size=TYPE_PT["small"])
    paper.y += 6.6


def _readings(paper: Paper, blank: Blank) -> None:
    """Draw a line for each lift: both sides with room to read them again."""
    for start in range(0, len(blank.lifts), _MOST_ROWS):
        lifts = blank.lifts[start : start + _MOST_ROWS]
        if start:
            paper.add_page()
            paper.y = TOP
        _head(paper, blank)
        for lift in lifts:
            _line(paper, lift)
    paper.y += 3.0


def _edges() -> list[float]:
    """Return where the columns begin: lift, then each side's reading and its repeat, then remarks."""
    lift, reading = 20.0, 30.0
    return [LEFT, *(LEFT + lift + reading * i for i in range(5)), LEFT + WIDTH]


def _head(paper: Paper, blank: Blank) -> None:
    edges = _edges()
    names = [f"lift, {blank.lift_unit}"]
    for side, unit in zip(SIDES, blank.units, strict=True):
        names += [f"{side}, {unit}", "again"]
    with paper.tagged("P"):
        for x, name in zip(edges, [*names, "remark"], strict=False):
            paper.line_of_text(x + 1.2, paper.y + 4.0, name, size=TYPE_PT["small"], colour=LOOK.muted)
    paper.y += 5.4


def _line(paper: Paper, lift: str) -> None:
    edges = _edges()
    with paper.tagged("P"):
        for left, right in pairwise(edges):
            _frame(paper, left, paper.y, right - left, _ROW)
        paper.line_of_text(edges[0] + 2.0, paper.y + 5.6, lift, size=TYPE_PT["head"], style=STRONG)
    paper.y += _ROW
