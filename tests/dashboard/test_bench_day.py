"""Bench day, without a browser: what it says of every demo job, and who may see it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from core.files.load import load_job
from core.job import Finding
from core.results import Review
from core.review import review
from core.trail import trail
from core.units import METRIC, US
from dashboard import bench_tables, bench_words
from dashboard.charts.bench import plate_history
from dashboard.look import THEMES
from tests.dashboard.conftest import OpenScreen
from tests.dashboard.test_app import said, sheet

Start = Callable[..., AppTest]
JOBS = ("sprint-four", "touring-twin", "bare-sheets", "messy-day")


def bench_day_alone() -> None:
    """Draw Bench day with every section open: the test tool cannot choose among such screens."""
    import streamlit as st

    from dashboard.screens import bench_day, sidebar

    for key in ("bench-notes", "bench-conditions", "calibration", "leak", "repeats", "balance"):
        st.session_state[f"fold-{key}"] = True
    sidebar.draw()
    bench_day.draw()


@pytest.fixture
def start(open_screen: OpenScreen) -> Start:
    return partial(open_screen, bench_day_alone)


@pytest.fixture(scope="module")
def messy() -> Review:
    made = load_job([Path(__file__).resolve().parents[2] / "demo_runs" / "messy-day"]).job
    return review(made)


@pytest.mark.parametrize("units", ["metric", "US"])
@pytest.mark.parametrize("job", JOBS)
def test_every_demo_job_shows_its_bench_day(start: Start, job: str, units: str) -> None:
    app = start(job=job, units=units)
    assert not app.exception
    text = said(app)
    for part in ("Bench day", bench_words.TRAIL_TITLE, "pressure rule: ", "re-set-up"):
        assert part in text
    assert "unit" not in app.query_params
    # Readings stand in their bench's unit, what follows from them in the one chosen.
    shown, other = ("cfm", "L/s") if units == "US" else ("L/s", "cfm")
    heads = [column for table in app.table for column in table.value.columns]
    assert shown in heads
    assert not any(other in head for head in heads)


def test_the_messy_day_is_told_as_it_is(start: Start) -> None:
    app = start(job="messy-day")
    assert "1 reading cannot be used" in app.error[0].value
    text = said(app)
    assert "seats-cut_port-1_setup-1.csv, line 26" in text
    assert "plate_2026-04-04.csv" in text
    assert text.count(bench_words.OFF) == 2  # that day, on both sides
    assert "leak sheet leak_2026-04-11.csv" in text
    assert len(app.get("vega_lite_chart")) == 2


def test_a_sound_day_is_called_sound(start: Start) -> None:
    app = start(job="touring-twin")
    assert not app.error
    assert "Nothing stands against this bench day" in app.success[0].value


def test_another_point_is_followed(start: Start) -> None:
    app = start(job="sprint-four")
    (stage,) = [box for box in app.selectbox if box.label == "Stage"]
    stage.set_value("as cast").run()
    (lift,) = [box for box in app.selectbox if box.label.startswith("Lift")]
    lift.set_value(0.003).run()
    assert not app.exception
    text = said(app)
    assert "as cast, intake at 3 mm" in text
    assert "as-cast_port-2_setup-1.csv, line 21" in text
    assert "port 2, mean of 3 set-ups" in text
    (reading,) = [box for box in app.selectbox if box.label == "Reading"]
    reading.set_value(4).run()
    assert not app.exception
    assert "reading: as-cast_port-3_setup-2.csv, line 21" in said(app)


def test_a_stopped_point_shows_what_was_left_out(start: Start) -> None:
    app = start(job="messy-day")
    (stage,) = [box for box in app.selectbox if box.label == "Stage"]
    stage.set_value("seats cut").run()
    (lift,) = [box for box in app.selectbox if box.label.startswith("Lift")]
    lift.set_value(0.007).run()
    assert not app.exception
    assert "left out" in said(app)
    assert bench_words.NO_SHARES in said(app)


def test_other_units_keep_the_point(start: Start) -> None:
    app = start(job="sprint-four")
    (lift,) = [box for box in app.selectbox if box.label.startswith("Lift")]
    lift.set_value(0.003).run()
    app.segmented_control(key="units").set_value("US").run()
    assert not app.exception
    assert "port polish, intake at 0.118 in" in said(app)


def test_further_columns_stand_beside_the_reading(start: Start, tmp_path: Path) -> None:
    folder = tmp_path / "with-swirl"
    folder.mkdir()
    head, *rows = sheet("as cast", 1).partition("lift [mm]")[2].splitlines()
    table = [f"{head},swirl [rpm],remark", *(f"{row},{100 * n},**<b>** {n}" for n, row in enumerate(rows))]
    text = "# stage: as cast\nlift [mm]" + "\n".join(table)
    (folder / "a.csv").write_text(text, "utf-8", newline="\n")
    app = start(tmp_path, job="with-swirl")
    assert not app.exception
    assert "Beside it on the sheet, and not computed with: swirl [rpm] 700; remark **<b>** 7." in said(app)
    assert "<b>" not in "".join(one.value for one in app.markdown)


def test_user_text_stays_inert(start: Start, tmp_path: Path) -> None:
    folder = tmp_path / "hostile"
    folder.mkdir()
    for place, name in enumerate(("**as** <b>cast</b>", "![x](http://198.51.100.7/a.png)")):
        text = sheet(name, 1 + 0.2 * place).replace("# port: 1", "# port: :red[$x$]")
        (folder / f"s{place}.csv").write_text(f"# order: {place}\n{text}", "utf-8", newline="\n")
    app = start(tmp_path, job="hostile")
    assert not app.exception
    markdown = "\n".join(str(cell) for table in app.table for cell in table.value.to_numpy().ravel())
    markdown += "\n".join(e.value for kind in ("header", "markdown", "caption") for e in app.get(kind))
    for raw in ("<b>", "![x]", "http://", ":red[", "$x$"):
        assert raw not in markdown
    assert ":red[$x$]" in said(app)


def test_a_customer_has_no_bench_day(
    root: Path, demo_runs: Path, monkeypatch: pytest.MonkeyPatch, start: Start
) -> None:
    """Neither as an entry nor where the screen itself is asked for."""
    import streamlit as st

    offered: list[list[str]] = []
    navigation = st.navigation

    def noted(pages, **more):
        offered.append([page.title for page in pages])
        return navigation(pages, **more)

    monkeypatch.setattr(st, "navigation", noted)
    monkeypatch.setenv("GAIN_LEDGER_ROOT", str(demo_runs))
    app = AppTest.from_file(str(root / "dashboard" / "app.py"), default_timeout=60).run()
    assert "Bench day" in offered[-1]
    app.segmented_control(key="reader").set_value("customer").run()
    assert not app.exception
    assert "Bench day" not in offered[-1]
    linked = AppTest.from_file(str(root / "dashboard" / "app.py"), default_timeout=60)
    linked.query_params["reader"] = "customer"
    linked.run()
    assert "Bench day" not in offered[-1]
    monkeypatch.setenv("GAIN_LEDGER_JOB", str(demo_runs / "sprint-four"))
    monkeypatch.setenv("GAIN_LEDGER_READER", "customer")
    AppTest.from_file(str(root / "dashboard" / "app.py"), default_timeout=60).run()
    assert "Bench day" not in offered[-1]
    asked = start(job="messy-day", reader="customer")
    assert not asked.exception
    assert not asked.table
    assert bench_words.SHOP_ONLY in said(asked)


def test_the_first_job_is_the_sound_one(root: Path, demo_runs: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("GAIN_LEDGER_JOB", raising=False)
    monkeypatch.setenv("GAIN_LEDGER_ROOT", str(demo_runs))
    app = AppTest.from_file(str(root / "dashboard" / "app.py"), default_timeout=60).run()
    assert app.session_state["job"] == "sprint-four"


# --- words and tables --------------------------------------------------------------------


def stop(line: int | None, lift: float | None = None, side: str = "intake") -> Finding:
    return Finding("stop", "x", "x", file="a.csv", line=line, side=side, lift_m=lift)


@pytest.mark.parametrize(
    ("findings", "level", "words"),
    [
        ((), "note", "Nothing stands against this bench day"),
        ((Finding("note", "x", "x"),), "note", "Nothing stands against this bench day"),
        ((Finding("look", "x", "x"),), "look", "1 thing wants a check"),
        ((stop(9, 0.004),), "stop", "1 reading cannot be used"),
        ((stop(9, 0.004), stop(9, 0.004)), "stop", "1 reading cannot be used"),
        ((stop(9, 0.004), stop(9, 0.004, "exhaust")), "stop", "2 readings cannot be used"),
        (
            (stop(None), stop(9, 0.004), *[Finding("look", str(i), "x") for i in range(2)]),
            "stop",
            "1 reading cannot be used, 1 sweep cannot be used, 2 want a check",
        ),
    ],
)
def test_the_day_in_one_sentence(messy: Review, findings: tuple, level: str, words: str) -> None:
    assert bench_words.trust(replace(messy, findings=findings))[:2] == (level, words)


def test_shown_shares_keep_every_source(messy: Review) -> None:
    found = trail(messy.job, "bowls opened", "intake", 0.009)
    shown = " ".join(row[0] for row in bench_tables.shares(found, METRIC).rows)
    assert all(share.source in shown for share in found.shares)


def test_a_chain_reads_in_the_units_chosen(messy: Review) -> None:
    found = trail(messy.job, "bowls opened", "intake", 0.009)
    one = found.ports[0].readings[0]
    metric, us = (bench_tables.chain(one, found, units) for units in (METRIC, US))
    assert metric.columns[2] == "L/s"
    assert us.columns[2] == "cfm"
    for table, factor in ((metric, 1e-3), (us, 0.3048**3 / 60)):
        last = float(table.rows[-1][2].replace("\u202f", ""))
        assert last * factor == pytest.approx(found.ports[0].flow_m3_s, abs=0.0501 * factor)
    assert [row[1] for row in metric.rows[2:]] == [row[1] for row in us.rows[2:]]


@pytest.mark.parametrize("mode", ["light", "dark"])
def test_the_plate_chart_says_what_it_shows(messy: Review, mode: str) -> None:
    checks = [one for one in messy.calibration if one.side == "intake"]
    spec = plate_history(checks, THEMES[mode])
    for one in checks:
        assert one.date.isoformat() in spec["description"]
    assert spec["description"].count(bench_words.OFF) == 1
    drawn = [row for row in spec["datasets"]["rows"] if row.get("Day")]
    assert len(drawn) == len(checks)


def test_a_single_plate_reading_without_a_date_can_be_drawn(messy: Review) -> None:
    (check,) = (replace(messy.calibration[0], date=None),)
    spec = plate_history([check], THEMES["light"])
    assert "within limits" in spec["description"]
