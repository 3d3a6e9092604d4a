"""results.html: the target, rough power and compression are what the screens say of them."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from typing import Any

import pytest

from core.files.load import load_job
from core.power_results import PowerModel
from core.results import Review
from core.review import review
from core.units import METRIC
from dashboard import power_tables, power_words, target_tables, target_words, words
from dashboard.handover.choice import Choice
from dashboard.handover.page import results_html
from dashboard.ladder import ladder
from tests.conftest import ROOT
from tests.dashboard.invented_jobs import invented_job
from tests.dashboard.pages import read_page, rows_of
from tests.dashboard.power_models import make_model
from tests.dashboard.test_page import UNITS, page, reviewed, tables


@cache
def demo(name: str) -> Review:
    return review(load_job([ROOT / "demo_runs" / name]).job)


@pytest.mark.parametrize("units", UNITS)
def test_target_is_said_in_the_ladder_and_by_lift(units: str) -> None:
    shown, unit = demo("touring-twin"), UNITS[units]
    root = read_page(results_html(shown, unit))
    (ladder_table,) = root.all("table", "ladder")
    reached = target_tables.row(shown)
    assert rows_of(ladder_table)[-1] == [target_words.row_name(shown), reached.intake, reached.exhaust]
    gaps = target_words.last_gaps(shown)
    assert len(gaps) == 2
    for caption, make in (
        ("Mean gap", lambda gap: target_tables.thirds(gap, unit)),
        ("Gap at each lift", lambda gap: target_tables.by_lift(shown, gap, unit)),
    ):
        got = tables(root, caption)
        expected = [make(gap) for gap in gaps]
        assert got == [[list(one.columns), *map(list, one.rows)] for one in expected]
    for sentence in target_words.sentences(shown, gaps[0], unit):
        assert re.sub(r" +", " ", sentence) in root.text


def with_power(**how: Any) -> Review:
    return replace(reviewed("four stages"), power=make_model(**how))


@pytest.mark.parametrize("units", UNITS)
def test_power_is_a_range_with_its_caveat(units: str) -> None:
    shown, unit = with_power(), UNITS[units]
    root = read_page(results_html(shown, unit))
    rows = power_tables.range_rows(shown.power)
    expected = power_tables.ranges(rows, shown, unit)
    (table,) = tables(root, power_words.RANGES_TITLE)
    assert table == [list(expected.columns), *map(list, expected.rows)]
    (ladder_table,) = root.all("table", "ladder")
    assert [row[-1] for row in rows_of(ladder_table)][1:] == [row.power for row in ladder(shown, unit)]
    assert root.text.count(words.CAVEAT) >= 3  # under the answer, with the ranges, with the ceiling
    (chart,) = root.all("svg", "power")
    for row in rows:
        assert f"{row.name} {power_words.cell(row.gain, unit)}" in chart.attributes["aria-label"]


def test_bars_of_power_are_as_long_as_their_ranges() -> None:
    shown = with_power()
    (chart,) = read_page(results_html(shown, METRIC)).all("svg", "power")
    bars = chart.all("rect", "range")
    rows = power_tables.range_rows(shown.power)
    lengths = [float(bar.attributes["width"]) for bar in bars]
    spans = [row.gain.gain_w.high - row.gain.gain_w.low for row in rows]
    assert len(bars) == len(rows) == 4
    for length, span in zip(lengths, spans, strict=True):
        # Lengths are written to a tenth of about 400.
        assert length / max(lengths) == pytest.approx(span / max(spans), abs=0.001)
    hollow = ["open" in bar.attributes["class"].split() for bar in bars]
    assert hollow == [power_words.is_open(row.gain) for row in rows]
    assert True in hollow and False in hollow


def test_no_power_is_said_to_be_none_and_why() -> None:
    shown = replace(reviewed("four stages"), power=PowerModel("the redline is not stated", "State redline."))
    root = read_page(results_html(shown, METRIC))
    assert "No power figure, because the redline is not stated." in root.text
    assert "State redline." in root.text
    assert not root.all("svg", "power")
    (table,) = root.all("table", "ladder")
    assert len(rows_of(table)[0]) == 3


def test_power_is_not_mentioned_where_it_was_not_worked_out() -> None:
    assert power_words.TITLE not in page("four stages").text


def test_a_withheld_price_is_not_in_the_power_either() -> None:
    root = read_page(results_html(with_power(), METRIC, Choice(prices=False)))
    (table,) = tables(root, power_words.RANGES_TITLE)
    assert "Price" not in table[0]
    assert "per\u00a0kW" not in root.text and "EUR" not in root.text


def test_chambers_that_grew_come_with_their_caution() -> None:
    job = invented_job(stages=2, setups=1)
    stages = tuple(replace(s, chamber_volume_m3=v) for s, v in zip(job.stages, (52e-6, 53.5e-6), strict=True))
    engine = replace(job.engine, compression_ratio=10.5)
    root = read_page(results_html(review(replace(job, stages=stages, engine=engine)), METRIC))
    assert power_words.DECK_CAUTION in root.text
    assert tables(root, power_words.LEDGER_TITLE)[0][1][0] == "as cast"
