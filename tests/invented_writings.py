"""Invented spreadsheets that differ in how things are written: marks, fractions, dates, units."""

from __future__ import annotations

import datetime as dt

from tests.invented_book import (
    CFM,
    EVEN,
    INCH_WATER,
    INCHES,
    INVENTED,
    MM,
    Made,
    Rows,
    Tab,
    csv_text,
    curve,
    flow,
)


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
        "comma.csv", [Tab("", rows)], truth, "text", text=lambda rows: csv_text(rows, ";").encode("cp1252")
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


def two_measurements() -> Made:
    first = flow(88, MM, "mm")
    second = [round(value * 1.004, 1) for value in first]
    rows: Rows = [["Zylinderkopf 3, Einlass"], ["Ventilhub", "Messung 1", "Messung 2", "Mittelwert"]]
    rows.append(["mm", "l/s", "l/s", "l/s"])
    for i, row in enumerate(zip(MM, first, second, strict=True)):
        rows.append([*row, f"=AVERAGE(B{i + 4}:C{i + 4})"])
    truth = [curve("Zylinderkopf 3", "intake", MM + MM, first + second, ("mm", "L/s"), None)]
    return Made("two-measurements.ods", [Tab("Messung", rows)], truth, "LibreOffice")


WRITINGS = (
    comma,
    fractions,
    dates,
    heads,
    percent,
    unitless,
    corrected,
    pasted,
    two_units,
    remarks,
    two_measurements,
)
