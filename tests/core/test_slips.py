"""Slips found by laying sweeps beside each other."""

from __future__ import annotations

from dataclasses import replace

import pytest

from core.files.load import load_files
from core.review import review
from tests.core.jobs import BENCH, LIFTS_M, job, sheet, truth

FLOWS = {lift: truth(lift) for lift in LIFTS_M}


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
