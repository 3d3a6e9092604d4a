"""Habits of flow sheets, each in a few lines: read right, or asked about, and never a wrong number."""

from __future__ import annotations

import pytest

from core.files.spreadsheet import Imported, apply, curves, propose, read_grid

CFM = 0.3048**3 / 60  # m3/s, by definition of the foot
INCH = 0.0254


def book(content: str) -> object:
    return read_grid("flow.csv", content.encode("utf-8"))


def result(content: str, **answers: str) -> Imported:
    found = book(content)
    return apply(found, propose(found, {k.replace("_", " "): v for k, v in answers.items()}).mapping)


def asked(content: str, **answers: str) -> list[str]:
    proposal = propose(book(content), {k.replace("_", " "): v for k, v in answers.items()})
    return sorted(question.key for question in proposal.open)


REMARKS = """\
lift in;intake cfm;exhaust cfm
0,1;62,3;48,1
0,2;121,7;95,0
{remark};;
0,3;174,2;135,9
0,4;214,9;168,0
"""


def test_a_remark_between_rows_ends_no_table() -> None:
    intake, exhaust = curves(result(REMARKS.format(remark="changed range here")))
    assert intake.lifts_m == pytest.approx([0.1 * INCH, 0.2 * INCH, 0.3 * INCH, 0.4 * INCH])
    assert intake.values == pytest.approx([62.3 * CFM, 121.7 * CFM, 174.2 * CFM, 214.9 * CFM])
    assert exhaust.values == pytest.approx([48.1 * CFM, 95.0 * CFM, 135.9 * CFM, 168.0 * CFM])


@pytest.mark.parametrize("remark", ["port 2", "exhaust side", "from here in L/s", "run 2"])
def test_a_remark_that_changes_what_follows_is_not_passed_over(remark: str) -> None:
    assert "rows" in asked(REMARKS.format(remark=remark))


def test_a_pressure_named_between_rows_is_not_that_of_the_rows_above() -> None:
    content = REMARKS.format(remark="dropped to 10 inH2O")
    assert asked(content) == ["rows", "test pressure"]
    assert asked(content, rows="leave out", test_pressure="28 inH2O") == []
    found = result(content, rows="leave out", test_pressure="28 inH2O")
    assert found.problems == ()
    (sheet,) = [one.sheet for one in found.sheets]
    assert sheet.air.test_pressure_pa == pytest.approx(28 * 249.08891)
    assert len(sheet.readings.intake) == 2


def test_a_pressure_below_a_whole_table_is_its_own() -> None:
    content = "lift in,intake cfm\n0.1,62.3\n0.2,121.7\n0.3,174.2\n\nall tested at 25 inH2O,\n"
    assert asked(content) == []
    (sheet,) = [one.sheet for one in result(content).sheets]
    assert sheet.air.test_pressure_pa == pytest.approx(25 * 249.08891)


def test_a_title_that_contradicts_a_heading_is_asked_about() -> None:
    content = "All flows in L/s\nLift mm,Intake cfm\n2,62.3\n4,121.7\n6,174.2\n"
    assert asked(content) == ["flow"]
    (curve,) = curves(result(content, flow="L/s"))
    assert curve.values == pytest.approx([0.0623, 0.1217, 0.1742])


def test_a_title_that_names_the_unit_of_another_line_contradicts_none() -> None:
    content = "All flows in L/s\nLift mm,Intake cfm,Exhaust L/s\n2,62.3,22.1\n4,121.7,44.0\n6,174.2,63.2\n"
    assert asked(content) == []


@pytest.mark.parametrize(
    ("content", "place"),
    [
        ("Lift mm;Intake L/min\n2;1.310,5\n4;2.590,0\n6;3.700,1\n", "B2"),
        ('Lift mm,Intake L/min\n2,"1,310"\n4,"2,590"\n6,"3,700"\n', "B2"),
        ("Lift mm,Intake L/min\n2,131\n4,~259\n6,370\n", "B3"),
        ("Lift mm,Intake L/min\n2,131\n4,259\n6,max 370\n", "B4"),
    ],
)
def test_figures_that_are_no_plain_number_are_named_by_their_cell(content: str, place: str) -> None:
    found = result(content)
    assert found.sheets == ()
    assert f"{place}:" in found.problems[0].text


def test_a_peak_over_a_column_is_no_part_of_a_stage_s_name() -> None:
    content = (
        "Peak cfm,251,264\nLift in,Stock intake,Ported intake\n.1,62.3,65.4\n.2,121.7,127.8\n.6,251,264\n"
    )
    assert [curve.stage for curve in curves(result(content))] == ["Stock", "Ported"]


def test_a_column_without_a_heading_is_asked_about() -> None:
    content = (
        "Lift in,Intake cfm,Exhaust cfm,\n.1,62.3,48.1,110.4\n.2,121.7,95.0,216.7\n.3,174.2,135.9,310.1\n"
    )
    assert asked(content) == ["use column D"]
    assert {curve.side for curve in curves(result(content))} == {"intake", "exhaust"}


def test_runs_with_their_mean_are_one_set_up() -> None:
    content = "As cast intake CFM @ 28 inH2O,,,\nLift in,1st run,2nd run,Avg\n"
    content += ".1,62.3,63.1,62.7\n.2,121.7,122.5,122.1\n.3,174.2,175.0,174.6\n"
    (curve,) = curves(result(content))
    assert curve.stage == "As cast"
    assert sorted(curve.values) == pytest.approx([v * CFM for v in (62.3, 63.1, 121.7, 122.5, 174.2, 175.0)])
