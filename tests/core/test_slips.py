"""Slips found by laying sweeps beside each other."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from math import exp

import pytest

from core.files.load import load_files
from core.job import BenchSheet, Job, Reading, Sides
from core.numbers import finding_text
from core.review import review
from core.units import METRIC
from tests.core.jobs import BENCH, LIFTS_M, PRESSURE_PA, job, sheet, truth
from tests.core.test_calibration import leak

FLOWS = {lift: truth(lift) for lift in LIFTS_M}
L_S_IN_CFM = 60 / 0.3048**3 / 1000  # the foot is exact: 2.1189


def told(made: Job, code: str) -> list[str]:
    """Return what a person reads under a code, with plain spaces."""
    found = [finding_text(f, METRIC) for f in review(made).findings if f.code == code]
    return [text.replace("\u00a0", " ").replace("\u202f", " ") for text in found]


def slipped(made: Job) -> list[tuple[str, str]]:
    return [(f.level, f.code) for f in review(made).findings if f.level != "note"]


def times(factor: float, flows: Mapping[float, float] = FLOWS) -> dict[float, float]:
    return {lift: factor * flow for lift, flow in flows.items()}


def one_stage(cell: float):
    """Return five sweeps of a stage that repeat to 0.2 %, one of them with its fifth cell multiplied."""
    level = (1.0, 1.002, 0.998, 1.001, 0.999)
    wobble = (0.001, -0.001, 0.0005, -0.0005, 0.0)
    sweeps = []
    for k, factor in enumerate(level):
        flows = {
            lift: q * factor * (1 + wobble[(k + 3 * i) % 5]) for i, (lift, q) in enumerate(FLOWS.items())
        }
        if k == 2:
            flows[LIFTS_M[4]] *= cell
        sweeps.append(sheet(flows, f"{k}.csv"))
    return job({"a": sweeps}, benches=(replace(BENCH, lift_setting_m=0.02e-3),))


@pytest.mark.parametrize(
    ("cell", "level", "code"),
    [
        (10.0, "stop", "decimal-slip"),
        (0.1, "stop", "decimal-slip"),
        (0.4719, "stop", "unit-slip"),
        (1.6, "stop", "off-curve-gross"),
        (1.1, "look", "off-curve"),
    ],
)
def test_one_cell_off_is_found_named_and_alone(cell, level, code):
    found = [f for f in review(one_stage(cell)).findings if f.level != "note"]
    assert [(f.level, f.code, f.file, f.line) for f in found] == [(level, code, "2.csv", 13)]


def test_what_one_cell_read_and_what_would_fit_is_said():
    """By hand: truth at 5 mm is 85.619 L/s, the third sweep reads 0.2 % low; the median of five sweeps is
    known to 0.1 %, so the last digit of what would fit may be one off."""
    (text,) = told(one_stage(10.0), "decimal-slip")
    assert text.startswith(
        "a, intake at 5 mm: 854.5 L/s lies off the curve of its neighbours and repeats; 85."
    )
    assert float(text.split("; ")[1].split(" ")[0]) == pytest.approx(85.45, abs=0.15)
    assert text.endswith("It is left out. A decimal slip? Take it again, or mend the sheet.")
    (text,) = told(one_stage(L_S_IN_CFM), "unit-slip")
    assert text.endswith("Another unit in this cell? Take it again, or mend the sheet.")
    (text,) = told(one_stage(1.1), "off-curve")
    assert text.endswith("would fit. Take it again, or mend the sheet.")


@pytest.mark.parametrize(
    ("cell", "code"),
    [
        # The line between a look and a stop is at 0.25 in logarithms, either way (judgement).
        (exp(0.245), "off-curve"),
        (exp(0.255), "off-curve-gross"),
        (exp(-0.245), "off-curve"),
        (exp(-0.255), "off-curve-gross"),
        # A slip explains what it explains to 0.08.
        (100 * exp(0.075), "decimal-slip"),
        (100 * exp(-0.075), "decimal-slip"),
        (0.01, "decimal-slip"),
        (10 * exp(0.075), "decimal-slip"),
        (10 * exp(0.085), "off-curve-gross"),
        (10 * exp(-0.075), "decimal-slip"),
        (10 * exp(-0.085), "off-curve-gross"),
        (L_S_IN_CFM, "unit-slip"),
        (L_S_IN_CFM * exp(0.075), "unit-slip"),
        (L_S_IN_CFM * exp(0.085), "off-curve-gross"),
        (exp(-0.085) / L_S_IN_CFM, "off-curve-gross"),
    ],
)
def test_where_one_name_of_a_slip_ends(cell, code):
    assert [found for _, found in slipped(one_stage(cell))] == [code]


def test_a_slip_is_looked_for_in_what_was_read_before_the_leak():
    """A tenth of the reading less the whole leak is 5.5 % of the flow, which no slip of the pen explains."""
    stage = one_stage(1.0)
    leaking = 0.05 * FLOWS[LIFTS_M[4]]
    sheets = []
    for one in stage.sheets:
        cells = [r._replace(flow_m3_s=r.flow_m3_s + leaking) for r in one.readings.intake]
        if one.file == "2.csv":
            cells[4] = cells[4]._replace(flow_m3_s=cells[4].flow_m3_s / 10)
        sheets.append(replace(one, readings=Sides(tuple(cells), ())))
    made = replace(stage, sheets=(*sheets, leak(leaking, PRESSURE_PA)))
    assert ("stop", "decimal-slip") in slipped(made)


@pytest.mark.parametrize(
    ("meant", "read", "expected"),
    [
        (0.0652, 0.0562, True),  # 65.2 and 56.2 L/s
        (0.0757, 0.0775, True),
        (0.1542 / L_S_IN_CFM, 0.1452 / L_S_IN_CFM, True),  # 154.2 and 145.2 cfm
        (0.0757, 0.0790, False),
        (0.0652 * 1.018, 0.0562, True),  # 2 % is near enough (judgement)
        (0.0652 * 1.022, 0.0562, False),
    ],
)
def test_two_digits_that_were_swapped(meant, read, expected):
    """At 4 mm one is meant and another read: the same digits in L/s or in cfm, or not."""
    factor = meant / FLOWS[LIFTS_M[3]]
    read_right = [sheet(times(factor * level), f"{level}.csv") for level in (1.0, 1.002, 0.998, 1.001)]
    slip = sheet(times(factor) | {LIFTS_M[3]: read}, "slip.csv")
    made = job({"a": [*read_right, slip]}, benches=(replace(BENCH, lift_setting_m=0.02e-3),))
    (text,) = told(made, "off-curve")
    assert ("Two digits swapped?" in text) is expected


def sweeps(*factors: float) -> Job:
    """Return a stage of one sweep a factor."""
    return job({"a": [sheet(times(factor), f"{n}.csv") for n, factor in enumerate(factors, start=1)]})


@pytest.mark.parametrize(
    ("factor", "expected"),
    [
        (10 * exp(0.095), True),
        (10 * exp(0.105), False),
        (0.1 * exp(0.095), True),
        (0.1 * exp(-0.105), False),
        (L_S_IN_CFM * exp(0.095), True),
        (L_S_IN_CFM * exp(-0.105), False),
        (exp(0.095) / L_S_IN_CFM, True),
        (exp(0.105) / L_S_IN_CFM, False),
    ],
)
def test_a_whole_sweep_in_another_unit(factor, expected):
    """A stage may have gains of its own: what a slip explains may be 0.1 off in logarithms (judgement)."""
    made = sweeps(1.0, 1.001, 0.999, factor)
    assert slipped(made) == [("stop", "unit-of-sheet") if expected else ("look", "repeats-disagree")]


def test_a_sweep_in_another_unit_is_said_in_figures():
    (text,) = told(sweeps(1.0, 1.0, 1.0, 1 / L_S_IN_CFM), "unit-of-sheet")
    assert text.startswith("a, intake: the whole sweep reads 47.2 % of the others: cfm for L/s, or the other")
    (text,) = told(sweeps(1.0, 1.0, 1.0, 10.0), "unit-of-sheet")
    assert text.startswith("a, intake: the whole sweep reads 1 000 % of the others: a decimal slip?")


@pytest.mark.parametrize(
    ("levels", "expected"),
    [
        ((1.0, 1.0, 1.0, exp(0.0235)), 0),  # six times 0.4 %, which no bench is better than (judgement)
        ((1.0, 1.0, 1.0, exp(0.0245)), 1),
        ((1.0, 1.0, 1.0, exp(-0.0245)), 1),
        ((1.0, 1.0, exp(0.2)), 0),  # of three, the usual is not known
        # Half lie within 1 %, of the middle: 1.4826 times that is the standard deviation of a normal one.
        ((exp(0.01), exp(-0.01), exp(0.01), exp(-0.01), 1.0, exp(0.087)), 0),
        ((exp(0.01), exp(-0.01), exp(0.01), exp(-0.01), 1.0, exp(0.096)), 1),
    ],
)
def test_a_set_up_that_does_not_repeat(levels, expected):
    assert len(told(sweeps(*levels), "repeats-disagree")) == expected


def test_a_set_up_that_does_not_repeat_is_said_in_figures():
    (text,) = told(sweeps(1.0, 1.0, 1.0, exp(0.05)), "repeats-disagree")
    assert text.startswith("a, intake: this set-up lies 5 % from the others of its stage")


def both_sides(*exhausts: float) -> Job:
    """Return a stage a factor of exhaust over intake; a negative one has its columns swapped."""
    stages = {}
    for n, factor in enumerate(exhausts, start=1):
        intake, exhaust = FLOWS, times(abs(factor))
        if factor < 0:
            intake, exhaust = exhaust, intake
        cells = [
            tuple(Reading(lift, line, flow_m3_s=flow) for line, (lift, flow) in enumerate(flows.items(), 9))
            for flows in (intake, exhaust)
        ]
        stages[f"{n}"] = [replace(sheet({}, f"{n}.csv"), readings=Sides(*cells))]
    return job(stages)


@pytest.mark.parametrize(
    ("exhausts", "expected"),
    [
        ((0.7, 0.71, 0.69), []),
        ((0.7, 0.71, -0.7), ["3.csv"]),
        ((0.7, -0.7, 0.71, -0.69, 0.7), ["2.csv", "4.csv"]),
        ((0.7, -0.7), []),  # of two nobody knows which
        ((0.86, -0.637), []),
        ((0.7, 0.7, 0.7, 1.02), []),  # another head, no swap
        ((0.92, 0.92, 0.92, -0.92), []),  # sides so alike tell nothing
    ],
)
def test_columns_the_wrong_way_round(exhausts, expected):
    found = [f for f in review(both_sides(*exhausts)).findings if f.code == "sides-swapped"]
    assert [f.file for f in found] == expected
    assert all(f.level == "stop" for f in found)


def test_a_copy_is_no_repeat():
    five = {lift: FLOWS[lift] for lift in LIFTS_M[:5]}
    four = {lift: FLOWS[lift] for lift in LIFTS_M[:4]}

    def copies(*sheets: BenchSheet) -> list[tuple[str | None, str]]:
        made = job({"a": [*sheets]})
        return [
            (f.file, text)
            for f, text in zip(
                (f for f in review(made).findings if f.code == "copied"), told(made, "copied"), strict=True
            )
        ]

    ((file, text),) = copies(sheet(five, "1.csv"), sheet(times(1.001, five), "2.csv"), sheet(five, "3.csv"))
    assert file == "3.csv"
    assert text.startswith("The intake readings are those of 1.csv to the last digit.")
    short = (sheet(four, "1.csv"), sheet(four, "2.csv"))
    assert copies(*short) == []
    assert [file for file, _ in copies(*short, sheet(five, "3.csv"), sheet(five, "4.csv"))] == ["4.csv"]
    exhaust = sheet(five, "2.csv", side="exhaust")
    assert copies(sheet(five, "1.csv"), exhaust) == []


@pytest.mark.parametrize(
    ("made", "code", "place"),
    [
        (one_stage(10.0), "decimal-slip", ("2.csv", 13, "a", "intake", LIFTS_M[4], "A")),
        (one_stage(1.1), "off-curve", ("2.csv", 13, "a", "intake", LIFTS_M[4], "Take")),
        (sweeps(1.0, 1.001, 0.999, 10.0), "unit-of-sheet", ("4.csv", None, "a", "intake", None, "Check")),
        (sweeps(1.0, 1.001, 0.999, 1.2), "repeats-disagree", ("4.csv", None, "a", "intake", None, "Set")),
        (sweeps(1.0, 0.999, 1.0), "copied", ("3.csv", None, "a", "intake", None, "A")),
        (both_sides(0.7, 0.7, -0.7), "sides-swapped", ("3.csv", None, None, None, None, "Check")),
    ],
)
def test_a_slip_is_said_where_it_stands_and_with_its_cure(made, code, place):
    (found,) = [f for f in review(made).findings if f.code == code]
    assert (found.file, found.line, found.stage, found.side, found.lift_m, found.cure.split(" ")[0]) == place


def test_a_swapped_sheet_is_named():
    (text,) = told(both_sides(0.7, 0.7, -0.7), "sides-swapped")
    assert text.startswith("3.csv: intake and exhaust look swapped: the other sheets have it the other way")


def test_a_sound_stage_raises_nothing():
    assert [f for f in review(one_stage(1.0)).findings if f.level != "note"] == []


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("flow_m3_s", [0.0, 5e-324, 1e-12])
def test_a_reading_of_next_to_nothing_is_no_flow(flow_m3_s):
    """The least number there is went through as a flow, and out of any number's range."""
    nothing = dict.fromkeys(LIFTS_M, flow_m3_s)
    one_off = sheet(FLOWS | {LIFTS_M[4]: flow_m3_s}, "b.csv")
    result = review(job({"a": [sheet(FLOWS, "a.csv")], "b": [one_off], "c": [sheet(nothing, "c.csv")]}))
    stopped = [(f.code, f.file, f.lift_m) for f in result.findings if f.level == "stop"]
    assert stopped == [("no-flow", "b.csv", LIFTS_M[4])] + [("no-flow", "c.csv", lift) for lift in LIFTS_M]
    # Each stop is of its own reading: the rest of that sweep is as good as before.
    assert result.stages[1].intake.flow_m3_s[4] is None
    assert result.stages[1].intake.flow_m3_s[5] == pytest.approx(FLOWS[LIFTS_M[5]])
    assert result.stages[2].intake is None


RUNAWAY = {
    "0.csv": "# stage: a\nlift [mm],intake [L/s],exhaust [L/s]\n8,80.17,80.88\n1,0,58\n",
    "1.csv": "# stage: a\n# test pressure: 100 inH2O\nlift [mm],exhaust [L/s]\n"
    "3,44.61\n50,138.58\n0.01,0.70\n1,30\n",
    "2.csv": "# stage: a\nlift [mm],intake [L/s],exhaust [L/s]\n"
    "0.01,1.14,0.31\n3,43.96,44.42\n50,138.31,0.01\n",
}


def test_a_tiny_lift_beside_a_gross_outlier_does_not_run_away():
    """An unbounded zero of the lift drove these three sweeps out of any number's range."""
    loaded = load_files({name: text.encode() for name, text in RUNAWAY.items()}, "runaway")
    codes = {finding.code for finding in review(loaded.job).findings}
    assert "no-flow" in codes  # the 0 at 1 mm: the review came to its end
