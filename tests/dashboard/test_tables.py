"""Rows of finished text: the ladder and everything by lift."""

from __future__ import annotations

from dataclasses import replace

import pytest

from core.files.sheet import read_sheet
from core.job import SIDES, Finding, Reading
from core.units import METRIC, US, to_display
from dashboard import evidence, tables
from dashboard.ladder import ladder
from tests.dashboard.reviews import make_review, no_exhaust, one_stage, twelve_stages
from tests.dashboard.test_words import plain
from tests.reference import reference


def test_the_ladder_has_a_row_a_stage_and_all_work() -> None:
    rows = ladder(make_review(), METRIC)
    assert [row.stage for row in rows] == ["as cast", "seat cut", "throat and bowl", "port exit", "all work"]
    assert [plain(row.price) for row in rows] == ["0 EUR", "260 EUR", "480 EUR", "310 EUR", "1 050 EUR"]
    assert plain(str(rows[0].gain.intake)) == "72.0 baseline"
    assert plain(str(rows[2].gain.intake)) == "+8.0 ± 0.6 clear gain"
    assert plain(str(rows[3].gain.intake)) == "+0.3 ± 0.6 too close to call"
    assert rows[3].gain.intake.mark == "○"
    assert plain(rows[2].change.intake) == "+11.0 ± 0.8 %"


def test_price_per_flow_counts_clear_gains_only_and_is_a_range() -> None:
    rows = {row.stage: row for row in ladder(make_review(), METRIC)}
    # 480 EUR for a gain between 8.0 - 0.6 and 8.0 + 0.6 L/s
    assert plain(rows["throat and bowl"].price_per_flow.intake) == "56–65 EUR per L/s"
    assert rows["port exit"].price_per_flow.intake == "no clear gain"
    free = {row.stage: row for row in ladder(make_review(prices=None), METRIC)}
    assert free["throat and bowl"].price_per_flow.intake == "no price"


def test_shares_are_given_for_clear_gains() -> None:
    rows = {row.stage: row for row in ladder(make_review(), METRIC)}
    assert plain(rows["throat and bowl"].share.intake) == "about 86 %"
    assert rows["port exit"].share.intake == "not clear"


def test_one_stage_has_a_baseline_and_no_total() -> None:
    rows = ladder(one_stage(), METRIC)
    assert [row.stage for row in rows] == ["as cast"]


def test_a_missing_side_is_said() -> None:
    rows = ladder(no_exhaust(), METRIC)
    assert {str(row.gain.exhaust) for row in rows[:-1]} == {"not measured"}


def test_a_planned_stage_has_a_quotation_and_no_gain() -> None:
    rows = {row.stage: row for row in ladder(make_review(planned="runner match"), METRIC)}
    assert plain(rows["runner match"].price) == "300 EUR quoted"
    assert str(rows["runner match"].gain.intake) == "planned"
    assert plain(rows["all work"].price) == "1 050 EUR"


@pytest.mark.parametrize(
    ("review", "doubt"),
    [
        (make_review(different_ports=True), "measured in different ports; their own spread is not known"),
        (
            make_review(different_ports=True, spread_known=True),
            "measured in different ports; their spread is in the ±",
        ),
        (
            make_review(setup_differences=("bore: 80 mm, then 86 mm",)),
            "another set-up: bore: 80 mm, then 86 mm",
        ),
        (make_review(at_reference=False), "no test pressure stated; the same is taken for both"),
    ],
)
def test_doubts_stand_in_the_cell_of_their_verdict(review, doubt: str) -> None:
    for row in ladder(review, METRIC):
        for side in SIDES:
            assert (doubt in row.gain[side].doubts) == (row.gain[side].verdict is not None)
    whole = tables.gains_by_lift(review, "intake", "previous", METRIC).rows[0]
    assert all(doubt in cell.doubts for cell in whole.cells)


def test_gain_by_lift_puts_the_single_figure_first_and_marks_what_the_cam_leaves_out() -> None:
    table = tables.gains_by_lift(make_review(), "intake", "previous", METRIC)
    assert table.columns == ("seat cut", "throat and bowl", "port exit")
    assert [row.lift for row in table.rows] == [
        "cam-weighted", *(str(n) for n in range(1, 11)), "11 (beyond cam)",
    ]  # fmt: skip
    assert [row.beyond for row in table.rows] == [False] * 11 + [True]
    without = tables.gains_by_lift(make_review(cam=False), "intake", "previous", METRIC)
    assert [row.lift for row in without.rows][::11] == ["mean over lift", "11"]


def test_an_interpolated_lift_has_no_verdict_and_says_why() -> None:
    review = make_review()
    gain = review.gains[0]
    between = replace(gain, interpolated=(True, *gain.interpolated[1:]), verdict=(None, *gain.verdict[1:]))
    table = tables.gain_table(review, [between], METRIC)
    assert table.rows[1].cells[0].verdict is None
    assert table.rows[1].cells[0].number.endswith("between readings")


def test_us_and_metric_show_the_same_gain() -> None:
    review = make_review()
    metric, us = (tables.gains_by_lift(review, "exhaust", "baseline", units) for units in (METRIC, US))
    for one, other in zip(metric.rows, us.rows, strict=True):
        for a, b in zip(one.cells, other.cells, strict=True):
            assert a.verdict == b.verdict
            litres, cfm = (float(plain(c.number).split(" ± ")[0].replace("−", "-")) for c in (a, b))
            # Half a unit of the last digit shown on each side: 0.05 L/s, and 0.05 cfm.
            assert abs(to_display(litres * 1e-3, "flow", US) - cfm) <= 0.05 * 2.12 + 0.05 + 1e-9


def test_flows_end_with_means_and_peaks() -> None:
    table = tables.flows(make_review(), "intake", METRIC)
    rows = {row[0]: row[1:] for row in table.rows}
    assert plain(rows["10"][0]) == "100.8 ± 0.6"
    assert plain(rows["peak in use"][0]) == "100.8 at 10 mm"
    assert plain(rows["peak overall"][0]) == "102.8 at 11 mm"
    assert table.marked == (False,) * 10 + (True,) + (False,) * 4


def test_coefficients_share_digits_along_a_lift() -> None:
    table = tables.coefficients(make_review(), "intake", METRIC)
    assert table.columns[:3] == ("Lift, mm", "L/D", "as cast")
    assert table.rows[0][:3] == ("1", "0.030", "0.612")
    for row in table.rows:
        assert len({len(cell.partition(".")[2]) for cell in row[2:]}) == 1
    assert tables.has_coefficients(make_review(), "intake")


@pytest.mark.outside
def test_coefficients_can_be_compared_with_those_on_incompressible_flow() -> None:
    # At 28 inH2O in ISO 2533 air, worked out once by other code; the caption has two digits of it.
    for case in reference("valve")["coefficients"]["cases"]:
        less = 1 - case["Cd_curtain_incompressible"] / case["Cd_curtain_isentropic"]
        assert f"each would be {100 * less:.1f} % less" in plain(
            tables.coefficient_caption(make_review(), "intake")
        )


def test_stages_with_other_valves_get_their_own_lift_over_diameter() -> None:
    review = make_review()
    last = review.stages[-1]
    larger = replace(last.intake, lift_to_diameter=tuple(r * 0.9 for r in last.intake.lift_to_diameter))
    review = replace(review, stages=(*review.stages[:-1], replace(last, intake=larger)))
    table = tables.coefficients(review, "intake", METRIC)
    assert "L/D" not in table.columns
    assert table.rows[0][-1] == "0.612 at L/D 0.027"


def test_what_is_the_same_in_every_row_stands_apart() -> None:
    table = tables.Table(("File", "Port", "Air"), (("a", "2", "x"), ("b", "2", "y")))
    rest, same = tables.apart(table)
    assert same == (("Port", "2"),)
    assert (rest.columns, rest.rows) == (("File", "Air"), (("a", "x"), ("b", "y")))
    for left in (
        tables.Table(("A",), (("1",),)),
        tables.Table(("A",), ()),
        tables.Table(("A",), (("1",),) * 2),
    ):
        assert tables.apart(left) == (left, ())


def test_exhaust_to_intake() -> None:
    table = tables.exhaust_to_intake(make_review(), METRIC)
    assert plain(table.rows[0][1]) == "75 %"  # 81 over 108 in the invented curves
    assert tables.exhaust_to_intake(no_exhaust(), METRIC).rows == ()


def test_twelve_stages_fill_twelve_columns() -> None:
    assert len(tables.flows(twelve_stages(), "intake", METRIC).columns) == 13


@pytest.mark.parametrize(
    ("reading", "shown"),
    [
        (Reading(1e-3, 9, flow_m3_s=0.0214), "21.4 L/s"),
        (Reading(1e-3, 9, range_fraction=0.62, range_m3_s=0.1), "62 % of 100 L/s"),
        (Reading(1e-3, 9, plate_drop_pa=6.2 * 249.08891), "6.2 inH2O"),
        (Reading(1e-3, 9, mass_flow_kg_s=0.0305), "30.5 g/s"),
    ],
)
def test_a_reading_is_shown_as_it_was_taken(reading: Reading, shown: str) -> None:
    assert plain(evidence.reading_text(reading, METRIC)) == shown


@pytest.mark.parametrize(
    ("head", "cell", "shown"),
    [
        ("cfm", "175.9", "175.9 cfm"),
        ("L/min", "4980", "4 980 L/min"),
        ("m^3/h", "299,5", "299.5 m^3/h"),
        ("%", "62.5", "62.5 % of 100 L/s"),
        ("mmH2O", "158", "158 mmH2O"),
        ("lb/min", "12.34", "12.34 lb/min"),
    ],
)
def test_a_reading_is_shown_as_the_bench_showed_it(head: str, cell: str, shown: str) -> None:
    text = f"# intake range: 100 L/s\nlift [mm];intake [{head}]\n1;{cell}\n"
    sheet, log = read_sheet("a.csv", text.encode())
    assert sheet is not None, log.problems
    (reading,) = sheet.readings.intake
    for units in (METRIC, US):
        said = plain(evidence.reading_text(reading, units, sheet.read_in.intake))
        assert said.partition(" of ")[0] == shown.partition(" of ")[0]
    assert plain(evidence.reading_text(reading, METRIC, sheet.read_in.intake)) == shown


def test_conditions_say_what_a_sheet_leaves_open() -> None:
    table = evidence.conditions(make_review(), METRIC)
    assert table.rows[0][:3] == ("as-cast.csv", "as cast", "2")
    assert set(table.rows[0][4:]) == {"not stated"}


def test_a_finding_reads_in_the_units_shown_and_hides_the_cure_from_the_customer() -> None:
    finding = Finding(
        "look", "x", "{} at {} looks low.", "Read it again.", (("bowl", "text"), (0.005, "lift")), "a.csv", 7
    )
    (line,) = evidence.finding_lines([finding], METRIC, customer=False)
    assert (plain(line.level), plain(line.text)) == ("◆ look", "bowl at 5 mm looks low.")
    assert (line.cure, line.where) == ("Read it again.", "a.csv, line 7")
    (line,) = evidence.finding_lines([finding], US, customer=True)
    assert (plain(line.text), line.cure) == ("bowl at 0.197 in looks low.", "")
