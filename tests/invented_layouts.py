"""Invented spreadsheets that differ in where things stand: stages down or across, blocks, tabs."""

from __future__ import annotations

import datetime as dt

from tests.invented_book import EVEN, INCH_WATER, INCHES, MM, Made, Rows, Tab, curve, flow


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


LAYOUTS = (
    plain,
    blocks,
    pairs,
    across,
    stacked,
    a_sheet_a_stage,
    long,
    repeats,
    ports,
    middle,
    side_by_side,
    report,
    corners,
    database,
    across_in_blocks,
    by_cylinder,
    stages_down,
    titled_blocks,
)
