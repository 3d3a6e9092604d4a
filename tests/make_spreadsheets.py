"""Spreadsheets of many shapes, with the truth beside each: ``python -m tests.make_spreadsheets``.

All numbers are invented. openpyxl writes some of the files and LibreOffice (``soffice``, its
headless Calc) others, so that the quirks of both are met. The files are kept; run this only to
change them.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import math
import shutil
import subprocess
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import openpyxl
from openpyxl.comments import Comment
from openpyxl.styles import Font

FOLDER = Path(__file__).parent / "spreadsheets"
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


def plain() -> Made:
    stages = {"As cast": flow(260, INCHES), "Valve job": flow(268, INCHES), "Bowl blend": flow(281, INCHES)}
    rows: Rows = [
        ["Trial head no. 7"],
        ['Intake flow, CFM @ 28"'],
        [],
        ["Lift (in)", *stages],
        *([lift, *row] for lift, *row in zip(INCHES, *stages.values(), strict=True)),
        [],
    ]
    return Made(
        "plain.csv", [Tab("", rows)], [curve(s, "intake", INCHES, f) for s, f in stages.items()], "text"
    )


def blocks() -> Made:
    stages = ["Stock", "Stage 1", "Stage 2"]
    intake = [flow(top, EVEN) for top in (250, 259, 274)]
    exhaust = [flow(top, EVEN) for top in (180, 186, 195)]
    rows: Rows = [
        ["Flow sheet"],
        ["", "INTAKE", "", "", "EXHAUST", "", ""],
        ['Lift "', *stages, *stages],
        *([lift, *row] for lift, *row in zip(EVEN, *intake, *exhaust, strict=True)),
        [],
        ['All flows in cfm at 28" H2O'],
    ]
    truth = [curve(s, "intake", EVEN, f) for s, f in zip(stages, intake, strict=True)]
    truth += [curve(s, "exhaust", EVEN, f) for s, f in zip(stages, exhaust, strict=True)]
    return Made("blocks.xlsx", [Tab("Flow", rows, ["A1:G1", "B2:D2", "E2:G2"])], truth)


def pairs() -> Made:
    stages = {"Untouched": (300, 210), "Seats": (306, 216), "Ported": (330, 231)}
    columns = [flow(top, INCHES) for tops in stages.values() for top in tops]
    rows: Rows = [
        ["Head B"],
        ["", "Untouched", "", "Seats", "", "Ported", ""],
        ["Valve", *(["Int", "Exh"] * 3)],
        ["lift", *['CFM @ 25"'] * 6],
        ["in.", *[""] * 6],
        *([lift, *row] for lift, *row in zip(INCHES, *columns, strict=True)),
    ]
    truth = [
        curve(stage, side, INCHES, flow(top, INCHES), pressure=25)
        for stage, tops in stages.items()
        for side, top in zip(("intake", "exhaust"), tops, strict=True)
    ]
    return Made("pairs.xlsx", [Tab("B", rows, ["B2:C2", "D2:E2", "F2:G2"])], truth)


def across() -> Made:
    sweeps = [("As delivered", "Intake", 120), ("As delivered", "Exhaust", 90), ("Reshaped", "Intake", 131),
              ("Reshaped", "Exhaust", 97)]  # fmt: skip
    rows: Rows = [
        ["Flow over lift, L/s, test pressure 7 kPa"],
        ["Stage", "Side", "Lift [mm]", *MM],
        *([stage, side, "", *flow(top, MM, "mm")] for stage, side, top in sweeps),
        [],
    ]
    truth = [
        curve(stage, side.lower(), MM, flow(top, MM, "mm"), ("mm", "L/s"), 7000 / INCH_WATER)
        for stage, side, top in sweeps
    ]
    return Made("across.xlsx", [Tab("lifts across", rows)], truth)


def stacked() -> Made:
    names = ["Original", "Finished"]
    made: Rows = [["Twin, cylinder 2"], []]
    truth = []
    for side, tops in (("Intake", (110, 124)), ("Exhaust", (80, 88))):
        columns = [flow(top, MM, "mm") for top in tops]
        made += [[f"{side} side"], ["Lift mm", *names], ["", "l/s", "l/s"]]
        made += [[lift, *row] for lift, *row in zip(MM, *columns, strict=True)]
        made += [["Max", *(max(column) for column in columns)], []]
        truth += [
            curve(name, side.lower(), MM, f, ("mm", "L/s"), 20, port="2")
            for name, f in zip(names, columns, strict=True)
        ]
    made += [['Depression 20" of water, barometer not written down']]
    return Made("stacked.ods", [Tab("Twin", made)], truth, "LibreOffice")


def comma() -> Made:
    columns = [flow(top, MM, "mm") for top in (95, 70, 101, 76)]
    shown = lambda value: f"{value:.1f}".replace(".", ",")  # noqa: E731
    rows: Rows = [
        ["Prüfstand"],
        [
            "Hub (mm)",
            "Einlass Serie (l/s)",
            "Auslass Serie (l/s)",
            "Einlass bearbeitet (l/s)",
            "Auslass bearbeitet (l/s)",
        ],
        *([shown(lift), *map(shown, row)] for lift, *row in zip(MM, *columns, strict=True)),
    ]
    keys = [("Serie", "intake"), ("Serie", "exhaust"), ("bearbeitet", "intake"), ("bearbeitet", "exhaust")]
    truth = [
        curve(stage, side, MM, f, ("mm", "L/s"), None) for (stage, side), f in zip(keys, columns, strict=True)
    ]
    return Made(
        "comma.csv", [Tab("", rows)], truth, "text", text=lambda rows: _csv(rows, ";").encode("cp1252")
    )


FRACTIONS = {
    "1/16": 1 / 16,
    "1/8": 1 / 8,
    "3/16": 3 / 16,
    "1/4": 1 / 4,
    "5/16": 5 / 16,
    "3/8": 3 / 8,
    "7/16": 7 / 16,
}


def fractions() -> Made:
    lifts = list(FRACTIONS.values())
    columns = [flow(240, lifts), flow(251, lifts)]
    rows: Rows = [
        ['Exhaust, 28" H2O'],
        [],
        ["Valve lift", "before", "after"],
        *([f'{name}"', f"{a} cfm", f"{b} cfm"] for name, a, b in zip(FRACTIONS, *columns, strict=True)),
    ]
    truth = [curve(name, "exhaust", lifts, f) for name, f in zip(("before", "after"), columns, strict=True)]
    return Made("fractions.xlsx", [Tab("Sheet1", rows)], truth)


def dates() -> Made:
    lifts = [1 / 16, 1 / 8, 3 / 16, 1 / 4, 3 / 8]
    days = [
        dt.date(2026, 1, 16),
        dt.date(2026, 1, 8),
        dt.date(2026, 3, 16),
        dt.date(2026, 1, 4),
        dt.date(2026, 3, 8),
    ]
    values = flow(222, lifts)
    rows: Rows = [
        ["Intake @ 28 in H2O"],
        ["Lift", "Stock CFM"],
        *([day, value] for day, value in zip(days, values, strict=True)),
    ]
    return Made(
        "dates.xlsx",
        [Tab("Flow", rows, formats={"A": "d-mmm"})],
        [curve("Stock", "intake", lifts, values)],
        asks=["dates"],
        answers={"dates": "month/day"},
    )


def heads() -> Made:
    tabs, truth = [], []
    for name, tops in (("Head A", (250, 170)), ("Head B", (262, 181)), ("Head C", (255, 176))):
        columns = [flow(top, EVEN) for top in (*tops, tops[0] + 12, tops[1] + 9)]
        rows: Rows = [
            [f"{name}: the customer's"],
            ["", "as cast", "", "ported", ""],
            ["lift (in)", "intake cfm", "exhaust cfm", "intake cfm", "exhaust cfm"],
            *([lift, *row] for lift, *row in zip(EVEN, *columns, strict=True)),
            ["tested at 28 inH2O"],
        ]
        tabs.append(Tab(name, rows, ["B2:C2", "D2:E2"]))
        if name == "Head B":
            keys = [
                ("as cast", "intake"),
                ("as cast", "exhaust"),
                ("ported", "intake"),
                ("ported", "exhaust"),
            ]
            truth = [curve(*key, EVEN, f) for key, f in zip(keys, columns, strict=True)]
    return Made("heads.xlsx", tabs, truth, asks=["sheet"], answers={"sheet": "Head B"})


def a_sheet_a_stage() -> Made:
    tabs, truth = [], []
    for name, tops in (("Stock", (140, 101)), ("Bowls", (146, 108)), ("Finished", (157, 113))):
        columns = [flow(top, MM, "mm") for top in tops]
        rows: Rows = [
            ["Date", dt.date(2026, 2, 14)],
            ["Lift", "Flow (L/s)", ""],
            ["(mm)", "Intake", "Exhaust"],
            *([lift, *row] for lift, *row in zip(MM, *columns, strict=True)),
            ["", "at 25 inH2O"],
        ]
        tabs.append(Tab(name, rows, ["B2:C2"], {"B1": "yyyy-mm-dd"}))
        sides = zip(("intake", "exhaust"), columns, strict=True)
        truth += [curve(name, side, MM, f, ("mm", "L/s"), 25) for side, f in sides]
    return Made("a-sheet-a-stage.ods", tabs, truth, "LibreOffice")


def long() -> Made:
    rows: Rows = [["Stage", "Port", "Lift mm", "Intake L/s", "Exhaust L/s", "Remark"]]
    truth = []
    for stage, gain in (("as cast", 1.0), ("ported", 1.07)):
        for port in ("1", "2"):
            tops = [gain * (100 + int(port)), gain * (74 + int(port))]
            columns = [flow(top, MM, "mm") for top in tops]
            rows += [[stage, port, lift, *row, ""] for lift, *row in zip(MM, *columns, strict=True)]
            for side, f in zip(("intake", "exhaust"), columns, strict=True):
                truth.append(curve(stage, side, MM, f, ("mm", "L/s"), None, port=port))
    return Made("long.csv", [Tab("", rows)], truth, "text")


def repeats() -> Made:
    runs = [flow(top, EVEN) for top in (231, 232.4, 230.6, 244, 245.2)]
    rows: Rows = [
        ['Intake, CFM at 28"'],
        ["", "Stock", "", "", "", "Ported", "", "", "Gain", ""],
        ["Lift (in)", "Run 1", "Run 2", "Run 3", "Avg", "Run 1", "Run 2", "Avg", "cfm", "%"],
    ]
    for i, lift in enumerate(EVEN):
        r = i + 4
        rows.append(
            [lift, *(run[i] for run in runs[:3]), f"=AVERAGE(B{r}:D{r})", *(run[i] for run in runs[3:]),
             f"=AVERAGE(F{r}:G{r})", f"=H{r}-E{r}", f"=H{r}/E{r}-1"]
        )  # fmt: skip
    truth = []
    for stage, own in (("Stock", runs[:3]), ("Ported", runs[3:])):
        values = [value for row in zip(*own, strict=True) for value in row]
        truth.append(curve(stage, "intake", [lift for lift in EVEN for _ in own], values))
    formats = {"J": "0.0%"}
    merged = ["B2:E2", "F2:H2", "I2:J2"]
    return Made("repeats.xlsx", [Tab("Flow", rows, merged, formats)], truth, "LibreOffice")


def ports() -> Made:
    lifts = [50.0, 100.0, 200.0, 300.0, 400.0, 500.0]
    tops = {("Stage A", n): 210 + 3 * n for n in range(1, 5)} | {
        ("Stage B", n): 228 + 2 * n for n in range(1, 5)
    }
    columns = [flow(top, lifts, "thou") for top in tops.values()]
    rows: Rows = [
        ["Exhaust ports"],
        ["Lift", "Stage A", "", "", "", "Stage B", "", "", ""],
        ["(thou)", *([f"Cyl {n}" for n in range(1, 5)] * 2)],
        *([lift, *row] for lift, *row in zip(lifts, *columns, strict=True)),
        ["CFM, corrected to 28 in. H2O"],
    ]
    truth = [
        curve(stage, "exhaust", lifts, f, ("thou", "cfm"), None, port=str(n), corrected_to_pa=28 * INCH_WATER)
        for (stage, n), f in zip(tops, columns, strict=True)
    ]
    return Made("ports.ods", [Tab("Ports", rows, ["B2:E2", "F2:I2"])], truth, "LibreOffice")


def percent() -> Made:
    lifts = [0.1, 0.2, 0.3, 0.4]
    rows: Rows = [
        ["Intake, as cast, test pressure 25 inH2O"],
        ["Lift (in)", "Reading (% of range)", "Range (cfm)"],
        [0.1, 0.612, 100],
        [0.2, 0.587, 200],
        [0.3, 0.793, 200],
        [0.4, 0.931, 200],
    ]
    values = [61.2, 58.7, 79.3, 93.1]
    truth = [curve("as cast", "intake", lifts, values, ("in", "%"), 25, kind="range_fraction")]
    return Made("percent.xlsx", [Tab("Sheet1", rows, ["A1:C1"], {"B": "0.0%"})], truth, answers={})


def unitless() -> Made:
    stages = {"start": flow(200, EVEN), "end": flow(214, EVEN)}
    rows: Rows = [
        ["intake side"],
        ["Lift", *stages],
        *([lift, *row] for lift, *row in zip(EVEN, *stages.values(), strict=True)),
    ]
    truth = [curve(s, "intake", EVEN, f, pressure=None) for s, f in stages.items()]
    asks, answers = ["flow", "lift"], {"lift": "in", "flow": "cfm"}
    return Made("unitless.csv", [Tab("", rows)], truth, "text", asks, answers)


def corrected() -> Made:
    columns = [flow(190, EVEN), flow(140, EVEN)]
    rows: Rows = [
        ["Customer:", "nobody"],
        ["Stage:", "first cut"],
        ['Tested at 10" H2O, corrected to 28" H2O'],
        [],
        ["LIFT", "INT", "EXH", "EXH/INT"],
        ["inches", "CFM", "CFM", "%"],
        *([lift, a, b, round(100 * b / a, 1)] for lift, a, b in zip(EVEN, *columns, strict=True)),
    ]
    truth = [
        curve("first cut", side, EVEN, f, pressure=10, corrected_to_pa=28 * INCH_WATER)
        for side, f in zip(("intake", "exhaust"), columns, strict=True)
    ]
    return Made("corrected.xlsx", [Tab("Sheet1", rows)], truth)


def pasted() -> Made:
    columns = [flow(88, MM, "mm"), flow(63, MM, "mm")]
    lines = ["Lift mm    Intake L/s    Exhaust L/s"]
    lines += [f"{lift:4.1f}   {a:5.1f}   {b:5.1f}" for lift, a, b in zip(MM, *columns, strict=True)]
    lines += ["", f"({INVENTED})"]
    truth = [
        curve("pasted", side, MM, f, ("mm", "L/s"), None)
        for side, f in zip(("intake", "exhaust"), columns, strict=True)
    ]
    return Made("pasted.txt", [], truth, "text", text=lambda _rows: "\n".join(lines).encode("utf-8"))


def two_units() -> Made:
    lifts = INCHES
    values = flow(255, lifts)
    rows: Rows = [
        ["Inlet port, 28 inH2O"],
        ["Lift", "", "L/D", "Flow", "", "Cd", "Velocity"],
        ["in", "mm", "", "cfm", "L/s", "", "ft/s"],
        *(
            [
                x,
                round(x * 25.4, 2),
                round(x / 1.6, 3),
                v,
                round(v * CFM * 1000, 2),
                round(0.8 - 0.3 * x, 3),
                150 + i,
            ]
            for i, (x, v) in enumerate(zip(lifts, values, strict=True))
        ),
    ]
    truth = [curve("two units", "intake", lifts, values)]
    return Made("two-units.xlsx", [Tab("Sheet1", rows, ["A2:B2", "D2:E2"])], truth)


def remarks() -> Made:
    stages = {"Before": flow(205, INCHES), "After": flow(219, INCHES)}
    after: list[float | None] = list(stages["After"])
    after[2] = None
    rows: Rows = [
        ["", "", "Flow log"],
        ["", "", 'CFM at 28" of water, exhaust'],
        [],
        ["", "", "Lift [in]", "Before", "After", "Remarks"],
        *(
            ["", "", x, a, "-" if b is None else b, ""]
            for x, a, b in zip(INCHES, stages["Before"], after, strict=True)
        ),
        [],
        ["", "", "", "read by", "nobody"],
    ]
    rows[6][5] = "whistles here"
    rows[8][5] = "3 readings agree"
    truth = [curve("Before", "exhaust", INCHES, stages["Before"]), curve("After", "exhaust", INCHES, after)]
    hidden = Tab("old", [["Lift (in)", "Intake cfm"], [0.1, 1.0], [0.2, 2.0], [0.3, 3.0]], hidden=True)
    tab = Tab("Log", rows, ["C1:F1"], comments={"D5": "taken twice, 99.9 the first time"})
    return Made("remarks.ods", [tab, hidden], truth, "LibreOffice")


def middle() -> Made:
    columns = [flow(230, EVEN), flow(170, EVEN)]
    rows: Rows = [
        ["As raced"],
        ["Intake CFM", "Lift (in)", "Exhaust CFM"],
        *([a, lift, b] for lift, a, b in zip(EVEN, *columns, strict=True)),
        ['28"', "", '28"'],
    ]
    truth = [
        curve("As raced", side, EVEN, f, pressure=None)
        for side, f in zip(("intake", "exhaust"), columns, strict=True)
    ]
    return Made("middle.xlsx", [Tab("Sheet1", rows, ["A1:C1"])], truth)


def side_by_side() -> Made:
    left, right = [0.1, 0.2, 0.3, 0.4, 0.5, 0.6], [0.1, 0.2, 0.3, 0.4, 0.5]
    intake = [flow(280, left), flow(291, left)]
    exhaust = [flow(205, right), flow(212, right)]
    rows: Rows = [
        ["", "Flow numbers"],
        [],
        ["", 'Intake @ 28"', "", "", "", "", 'Exhaust @ 25"', "", ""],
        ["", "Lift in", "Std", "Mod", "", "", "Lift in", "Std", "Mod"],
    ]
    for i, lift in enumerate(left):
        row = ["", lift, intake[0][i], intake[1][i], "", ""]
        rows.append(row + ([right[i], exhaust[0][i], exhaust[1][i]] if i < len(right) else []))
    rows += [[], ["", "cfm throughout"]]
    truth = [curve(n, "intake", left, f) for n, f in zip(("Std", "Mod"), intake, strict=True)]
    truth += [
        curve(n, "exhaust", right, f, pressure=25) for n, f in zip(("Std", "Mod"), exhaust, strict=True)
    ]
    return Made("side-by-side.xlsx", [Tab("Data", rows, ["B3:D3", "G3:I3"])], truth, "LibreOffice")


def report() -> Made:
    lifts = [0.1, 0.2, 0.3, 0.4]
    cfm = flow(120, lifts)
    ranges = [100, 100, 200, 200]
    shares = [round(100 * value / full, 1) for value, full in zip(cfm, ranges, strict=True)]
    rows: Rows = [
        ["Exhaust port #2"],
        ["Operator", "", "nobody"],
        [],
        ["", "", "", "Valve lift (in)", "Test press (in H2O)", "Range (cfm)", "% flow", "CFM"],
        *(["", "", "", *row] for row in zip(lifts, [28] * 4, ranges, shares, cfm, strict=True)),
    ]
    truth = [curve("Report", "exhaust", lifts, shares, ("in", "%"), None, port="2")]
    return Made("report.xlsx", [Tab("Report", rows)], truth)


def corners() -> Made:
    stages = ("Original", "Seats cut", "Final")
    rows: Rows = [["Porting log", "", "", "", "job 114"], ["Engine", "twin cam", "", "Bench", "shop bench"]]
    rows += [["Depression", 28, "in H2O"], []]
    truth = []
    for side, tops in (("intake", (251, 266, 280)), ("exhaust", (181, 186, 199))):
        columns = [flow(top, EVEN) for top in tops]
        rows += [[f"{side.upper()} (cfm)", *stages, "Gain total"], ["Lift in"]]
        first = len(rows) + 1
        rows += [
            [x, *row, f"=D{first + i}-B{first + i}"]
            for i, (x, *row) in enumerate(zip(EVEN, *columns, strict=True))
        ]
        rows.append([])
        truth += [curve(stage, side, EVEN, f) for stage, f in zip(stages, columns, strict=True)]
    return Made("corners.xlsx", [Tab("114", rows)], truth, "LibreOffice")


def database() -> Made:
    lifts = [100.0, 200.0, 300.0, 400.0]
    rows: Rows = [["stage", "port side", "run", "lift_thou", "cfm", "dp_inH2O"]]
    truth = []
    for stage, top in (("base", 210), ("blend", 222)):
        for word, side, share in (("int", "intake", 1.0), ("exh", "exhaust", 0.72)):
            runs = [flow(top * share + run, lifts, "thou") for run in (1, 2)]
            for number, values in enumerate(runs, start=1):
                rows += [[stage, word, number, x, v, 25] for x, v in zip(lifts, values, strict=True)]
            pairs = [(x, v) for values in runs for x, v in zip(lifts, values, strict=True)]
            truth.append(curve(stage, side, *map(list, zip(*pairs, strict=True)), ("thou", "cfm"), None))
    return Made("database.csv", [Tab("", rows)], truth, "text")


def across_in_blocks() -> Made:
    lifts = [1.0, 3.0, 5.0, 7.0, 9.0]
    tops = {"As received": (95, 68), "Bowls": (99, 73), "Full port": (108, 79)}
    rows: Rows = [
        ["Results, litres/s @ 10 kPa"],
        ["", "INLET", *[""] * 4, "OUTLET"],
        ["Lift mm", *lifts, *lifts],
        *([stage, *flow(a, lifts, "mm"), *flow(b, lifts, "mm")] for stage, (a, b) in tops.items()),
    ]
    truth = [
        curve(stage, side, lifts, flow(top, lifts, "mm"), ("mm", "L/s"), 10_000 / INCH_WATER)
        for stage, pair in tops.items()
        for side, top in zip(("intake", "exhaust"), pair, strict=True)
    ]
    return Made("across-in-blocks.ods", [Tab("Res", rows, ["B2:F2", "G2:K2"])], truth, "LibreOffice")


def by_cylinder() -> Made:
    tabs, truth = [], []
    for side, top in (("Intake", 230), ("Exhaust", 170)):
        columns = [flow(top + i, EVEN) for i in range(4)]
        rows: Rows = [
            ["Condition: as machined"],
            ["Flow at 28 in. water, CFM"],
            ["LIFT", "CYLINDER"],
            ["(inch)", 1, 2, 3, 4, "AVERAGE"],
        ]
        for i, (lift, *row) in enumerate(zip(EVEN, *columns, strict=True)):
            rows.append([lift, *row, f"=AVERAGE(B{i + 5}:E{i + 5})"])
        tabs.append(Tab(side, rows, ["B3:E3"]))
        truth += [
            curve("as machined", side.lower(), EVEN, f, port=str(n)) for n, f in enumerate(columns, start=1)
        ]
    return Made("by-cylinder.xlsx", tabs, truth, "LibreOffice")


def stages_down() -> Made:
    lifts = [1.0, 3.0, 5.0, 7.0, 9.0]
    rows: Rows = [["Head", "Lift [mm]", "Int [m3/h]", "Exh [m3/h]"]]
    merged, truth = [], []
    for stage, pair in (("Unported", (340, 250)), ("Ported", (366, 278))):
        columns = [flow(top, lifts, "mm") for top in pair]
        merged.append(f"A{len(rows) + 1}:A{len(rows) + len(lifts)}")
        rows += [[stage if i == 0 else "", *row] for i, row in enumerate(zip(lifts, *columns, strict=True))]
        sides = zip(("intake", "exhaust"), columns, strict=True)
        truth += [curve(stage, side, lifts, f, ("mm", "m3/h"), None) for side, f in sides]
    return Made("stages-down.ods", [Tab("Data", rows, merged)], truth, "LibreOffice")


def titled_blocks() -> Made:
    rows: Rows = []
    truth = []
    for title, pair in (("Stage 1 - bowl work", (210, 150)), ("Stage 2 - short turn", (220, 155))):
        columns = [flow(top, EVEN) for top in pair]
        rows += [[title], ['Lift"', "Int", "Exh"], *map(list, zip(EVEN, *columns, strict=True)), []]
        truth += [curve(title, side, EVEN, f) for side, f in zip(("intake", "exhaust"), columns, strict=True)]
    rows.append(['cfm@28"'])
    return Made("titled-blocks.xlsx", [Tab("Sheet1", rows)], truth)


def two_measurements() -> Made:
    first = flow(88, MM, "mm")
    second = [round(value * 1.004, 1) for value in first]
    rows: Rows = [["Zylinderkopf 3, Einlass"], ["Ventilhub", "Messung 1", "Messung 2", "Mittelwert"]]
    rows.append(["mm", "l/s", "l/s", "l/s"])
    for i, row in enumerate(zip(MM, first, second, strict=True)):
        rows.append([*row, f"=AVERAGE(B{i + 4}:C{i + 4})"])
    truth = [curve("Zylinderkopf 3", "intake", MM + MM, first + second, ("mm", "L/s"), None)]
    return Made("two-measurements.ods", [Tab("Messung", rows)], truth, "LibreOffice")


SHAPES = (
    plain, blocks, pairs, across, stacked, comma, fractions, dates, heads, a_sheet_a_stage, long, repeats,
    ports, percent, unitless, corrected, pasted, two_units, remarks, middle, side_by_side, report, corners,
    database, across_in_blocks, by_cylinder, stages_down, titled_blocks, two_measurements,
)  # fmt: skip


# writing ----------------------------------------------------------------------------------


def _csv(rows: Rows, delimiter: str = ",") -> str:
    stream = io.StringIO()
    csv.writer(stream, delimiter=delimiter, lineterminator="\r\n").writerows(rows)
    return stream.getvalue()


def workbook(tabs: list[Tab]) -> bytes:
    """Return an XLSX file as openpyxl writes it."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for tab in tabs:
        sheet = book.create_sheet(tab.name)
        for row in [*tab.rows, [], [INVENTED]]:
            sheet.append([None if cell == "" else cell for cell in row])
        for area in tab.merged:
            sheet.merge_cells(area)
        for place, number_format in tab.formats.items():
            cells = sheet[place] if place.isalpha() else [sheet[place]]
            for cell in cells:
                cell.number_format = number_format
        for place, text in tab.comments.items():
            sheet[place].comment = Comment(text, "nobody")
        sheet["A1"].font = Font(bold=True)
        sheet.sheet_state = "hidden" if tab.hidden else "visible"
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def through_libreoffice(data: bytes, suffix: str) -> bytes:
    """Return an XLSX file as LibreOffice saves it, formulas worked out."""
    program = shutil.which("soffice")
    if program is None:
        raise SystemExit("LibreOffice is needed: install the package libreoffice-calc.")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "in.xlsx").write_bytes(data)
        out = folder / "out"
        command = [program, f"-env:UserInstallation={(folder / 'profile').as_uri()}", "--headless",
                   "--convert-to", suffix, "--outdir", str(out), str(folder / "in.xlsx")]  # fmt: skip
        subprocess.run(command, check=True, capture_output=True, timeout=180)
        return (out / f"in.{suffix}").read_bytes()


def content(made: Made) -> bytes:
    """Return the bytes of one spreadsheet."""
    if made.by == "text":
        rows = made.tabs[0].rows if made.tabs else []
        rows = [*rows, [], [INVENTED]]
        return made.text(rows) if made.text else _csv(rows).encode("utf-8")
    data = workbook(made.tabs)
    return data if made.by == "openpyxl" else through_libreoffice(data, made.file.rpartition(".")[2])


def write(made: Made, folder: Path = FOLDER) -> None:
    """Write one spreadsheet and its truth."""
    (folder / made.file).write_bytes(content(made))
    truth = {"note": INVENTED, "asks": sorted(made.asks), "answers": made.answers, "curves": made.curves}
    text = json.dumps(truth, indent=1, ensure_ascii=False) + "\n"
    (folder / f"{made.file}.json").write_text(text, encoding="utf-8", newline="\n")


def main() -> None:
    """Write all spreadsheets."""
    FOLDER.mkdir(exist_ok=True)
    for shape in SHAPES:
        made = shape()
        write(made)
        print(made.file)


if __name__ == "__main__":
    main()
