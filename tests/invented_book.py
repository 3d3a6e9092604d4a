"""What a spreadsheet made for tests is: its tabs, and the truth in SI that must come of it."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Callable
from dataclasses import dataclass, field

INVENTED = "invented data"
INCH, CFM, INCH_WATER = 0.0254, 0.3048**3 / 60, 249.08891
LIFT_UNITS = {"in": INCH, "mm": 1e-3, "thou": INCH / 1000}
FLOW_UNITS = {"cfm": CFM, "L/s": 1e-3, "m3/h": 1 / 3600, "%": 0.01}

Rows = list[list[object]]


@dataclass
class Tab:
    """One sheet to be written."""

    name: str
    rows: Rows
    merged: list[str] = field(default_factory=list)
    formats: dict[str, str] = field(default_factory=dict)  # by column letter or cell
    comments: dict[str, str] = field(default_factory=dict)
    hidden: bool = False


@dataclass
class Made:
    """A spreadsheet and what it says."""

    file: str
    tabs: list[Tab]
    curves: list[dict[str, object]]
    by: str = "openpyxl"  # or "LibreOffice", "text"
    asks: list[str] = field(default_factory=list)  # questions that must be asked
    answers: dict[str, str] = field(default_factory=dict)
    text: Callable[[Rows], bytes] | None = None


def flow(top: float, lifts: list[float], unit: str = "in") -> list[float]:
    """Return an invented flow over lift, one decimal."""
    scale = LIFT_UNITS[unit] / INCH
    return [round(top * (1 - math.exp(-3.4 * lift * scale)), 1) for lift in lifts]


def curve(
    stage: str,
    side: str,
    lifts: list[float],
    flows: list[float | None],
    units: tuple[str, str] = ("in", "cfm"),
    pressure: float | None = 28,
    **more: object,
) -> dict[str, object]:
    """Return the truth of one sweep in SI."""
    pairs = [(lift, value) for lift, value in zip(lifts, flows, strict=True) if value is not None]
    pairs.sort(key=lambda pair: pair[0])
    return {
        "stage": stage,
        "side": side,
        "port": None,
        "test_pressure_pa": None if pressure is None else pressure * INCH_WATER,
        "lift_m": [round(lift * LIFT_UNITS[units[0]], 9) for lift, _ in pairs],
        "values": [value * FLOW_UNITS[units[1]] for _, value in pairs],
        **more,
    }


INCHES = [0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6]
EVEN = [0.1, 0.2, 0.3, 0.4, 0.5]
MM = [float(n) for n in range(1, 12)]


def csv_text(rows: Rows, delimiter: str = ",") -> str:
    """Return rows as a program exports them."""
    stream = io.StringIO()
    csv.writer(stream, delimiter=delimiter, lineterminator="\r\n").writerows(rows)
    return stream.getvalue()
