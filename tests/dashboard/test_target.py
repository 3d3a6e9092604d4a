"""The target as a person reads it: words, tables, chart, screen, ladder and PDF."""

from __future__ import annotations

import io
import json
import shutil
import subprocess
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from core.files.load import load_job
from core.job import Setup, Sides, Target, Valve
from core.results import Review
from core.review import review
from core.units import METRIC, US
from dashboard import phrases, state, target_tables, target_words
from dashboard.charts.gap import gap_chart
from dashboard.charts.overlay import overlay
from dashboard.handover.pdf import summary_pdf
from dashboard.look import THEMES
from tests.core.jobs import CAM, LIFTS_M, job, sheet, truth
from tests.dashboard.conftest import OpenScreen
from tests.dashboard.test_app import charts, said

Start = Callable[..., AppTest]


def times(factor: float) -> dict[float, float]:
    return {lift: factor * truth(lift) for lift in LIFTS_M}


def made(factor: float, *, valve: float | None = 0.033, own: float = 0.033, **target_sheet: object) -> Review:
    """Return one stage of a factor of the target's flow, with a cam."""
    aim = sheet(times(1.0), "t.csv", role="target", stage="aim", **target_sheet)
    target = Target("aim", (aim,), Sides(Valve(diameter_m=valve), None))
    valves = Sides(Valve(diameter_m=own), None)
    stages = {"cast": [sheet(times(0.8), "c.csv")], "work": [sheet(times(factor), "a.csv")]}
    return review(job(stages, target=target, valves=valves, cams=Sides(CAM, None)))


def plain(text: str) -> str:
    return text.replace("\u00a0", " ").replace("\u202f", " ")


@pytest.fixture(scope="module")
def twin() -> Review:
    folder = Path(__file__).resolve().parents[2] / "demo_runs" / "touring-twin"
    return review(load_job([folder]).job)


# --- words -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("factor", "sentence"),
    [
        (0.93, "The intake reaches 93.0 ± 1.3 % of the target."),
        (1.0, "The intake, at 100.0 ± 1.4 % of the target, is too close to call apart from it."),
        (1.1, "The intake passes the target, at 110.0 ± 1.5 % of it."),
    ],
)
def test_the_answer(factor: float, sentence: str) -> None:
    # 0.5 % for each of two set-ups: 1.96 * 0.5 % * sqrt(2) * factor, 1.3, 1.4 and 1.5 %.
    assert plain(target_words.answer(made(factor))) == sentence


def test_another_setup_is_not_called() -> None:
    there = replace(sheet(times(1.0), "t.csv"), fixture=Setup(bore_m=0.08))
    target = Target("aim", (replace(there, role="target", stage="aim"),), Sides(None, None))
    here = replace(sheet(times(0.93), "a.csv"), fixture=Setup(bore_m=0.09))
    result = review(job({"work": [here]}, target=target))
    assert "in another set-up: that cannot be called" in target_words.answer(result)
    assert target_words.to_find(result.target.last("intake"), METRIC) == target_words.OTHER_SETUP


def test_what_to_find_names_flow_and_lift() -> None:
    gap = made(0.93).target.last("intake")
    first, second = gap.to_find[:2]
    text = plain(target_words.to_find(gap, METRIC))
    assert text.startswith("To reach it, find ")
    assert f"L/s at {first.lift_m * 1000:g} mm and " in text
    assert text.endswith(f"L/s at {second.lift_m * 1000:g} mm.")
    assert "cfm at 0." in plain(target_words.to_find(gap, US))
    assert target_words.to_find(made(1.0).target.last("intake"), METRIC) == target_words.NOTHING_TO_FIND


def test_where_the_missing_flow_sits() -> None:
    gap = made(0.93).target.last("intake")

    def with_shares(*shares: float | None) -> str:
        thirds = [replace(t, share_of_missing=s) for t, s in zip(gap.thirds, shares, strict=True)]
        return plain(target_words.where(replace(gap, thirds=tuple(thirds)), METRIC))

    assert with_shares(0.1, 0.3, 0.6) == "Most of what is missing sits at high lift, 6.7 to 10.0 mm."
    assert with_shares(0.6, 0.3, 0.1) == "Most of what is missing sits at low lift, 0 to 3.3 mm."
    assert with_shares(0.1, 0.45, 0.45) == "What is missing sits at middle and high lift, 3.3 to 10.0 mm."
    assert with_shares(0.3, 0.3, 0.4) == "What is missing is spread over all of the lift in use."
    assert with_shares(0.45, 0.1, 0.45) == "What is missing is spread over all of the lift in use."
    assert with_shares(None, None, None) == ""


def test_a_larger_valve_is_named_for_what_it_does() -> None:
    def said_of(result: Review) -> str:
        return plain(target_words.valve_for_valve(result, result.target.last("intake"), METRIC))

    # 93 % of the flow on 33 mm against 35 mm: 93 % times (35 / 33)^2 is 104.6 %.
    assert "larger, 35 mm" in said_of(made(0.93, valve=0.035))
    # Its ± likewise: 1.96 * 0.5 % * sqrt(2) * 1.046 is 1.45 %, a hair below.
    assert "it reaches 104.6 ± 1.4 %: the gap is one of valve size." in said_of(made(0.93, valve=0.035))
    assert "the rest of the gap goes with valve size" in said_of(made(0.86, valve=0.034))
    assert "valve size" not in said_of(made(1.05, valve=0.034))
    assert "smaller, 31 mm" in said_of(made(0.93, valve=0.031))
    assert "same size, 33 mm" in said_of(made(0.93))
    assert said_of(made(0.93, valve=None)) == phrases.NO_TARGET_COEFFICIENTS


# --- tables ----------------------------------------------------------------------------


def test_thirds_name_what_usually_limits() -> None:
    result = made(0.93)
    table = target_tables.thirds(result.target.last("intake"), METRIC)
    assert [plain(row[0]) for row in table.rows] == ["low, to 3.3", "middle, 3.3 to 6.7", "high, from 6.7"]
    assert [row[4] for row in table.rows] == list(target_words.LIMITS.values())
    for row, third in zip(table.rows, result.target.last("intake").thirds, strict=True):
        gap, _, _ = plain(row[1]).replace("−", "-").partition(" ± ")
        assert float(gap) == pytest.approx(1000 * third.gap_m3_s, abs=0.05)
        assert plain(row[2]).startswith("−7.0 ± ")
        assert plain(row[3]) == plain(row[2])  # the same valves
    level = target_tables.thirds(made(1.0).target.last("intake"), METRIC)
    assert all("too close to call" in row[1] for row in level.rows)


def test_the_gap_at_each_lift_is_the_reviews_own(twin: Review) -> None:
    gap = twin.target.last("intake")
    table = target_tables.by_lift(twin, gap, US)
    assert len(table.rows) == len(gap.gain.lift_m)
    assert "(beyond cam)" in table.rows[-1][0]
    assert table.marked[-1] and not table.marked[0]
    cfm = 0.3048**3 / 60
    for row, change in zip(table.rows, gap.gain.gain_m3_s, strict=True):
        assert float(plain(row[1]).split(" ±")[0].replace("−", "-")) == pytest.approx(change / cfm, abs=0.06)


def test_coefficients_of_several_stages_side_by_side(twin: Review) -> None:
    gains = [twin.gain(stage.name, "intake", "target") for stage in twin.stages]
    table = target_tables.coefficient_gaps(twin, gains, METRIC)
    assert table.columns[1:] == tuple(stage.name for stage in twin.stages)
    last = twin.target.last("intake")
    for row, change, expanded in zip(
        table.rows, last.gain.coefficient_gain, last.flow_coefficient_expanded, strict=True
    ):
        value, _, half = plain(row[-1]).replace("−", "-").partition(" ± ")
        # To the digits that the ± supports: half a step of the last one shown.
        step = 10.0 ** -len(half.partition(".")[2])
        assert float(value) == pytest.approx(change, abs=step / 2 * 1.001)
        assert float(half) == pytest.approx(expanded, abs=step / 2 * 1.001)
    assert target_tables.coefficient_gaps(replace(twin, target=None), gains, METRIC).rows == ()


def test_every_stage_is_beside_the_target(twin: Review) -> None:
    table = target_tables.every_stage(twin)
    assert [row[0] for row in table.rows] == [stage.name for stage in twin.stages]
    assert len(table.columns) == 5
    row = target_tables.row(twin)
    assert row.intake == f"{table.rows[-1][1]} reached"
    assert row.exhaust == f"{table.rows[-1][3]} reached"
    assert target_tables.row(replace(twin, target=None)) is None


# --- charts ----------------------------------------------------------------------------


@pytest.mark.parametrize("side", ["intake", "exhaust"])
@pytest.mark.parametrize("units", [METRIC, US])
def test_the_gap_chart_draws_what_the_review_holds(twin: Review, side: str, units) -> None:
    spec = gap_chart(twin, side, units, THEMES["light"])
    rows = spec["datasets"]["rows"]
    tips = [row for row in rows if "Gap" in row]
    assert len(tips) == len(twin.target.last(side).gain.lift_m)
    texts = {row["text"] for row in rows if "text" in row}
    assert {"target", "larger intake", "as delivered"} <= texts
    assert sum(text.startswith(("low ", "middle ", "high ")) for text in texts) == 3
    # Positions are pixels from the top and shares of the width: a lower gap is drawn lower.
    gaps = twin.target.last(side).gain.gain_m3_s
    drawn = [row["y"] for row in tips]
    assert sorted(range(len(gaps)), key=gaps.__getitem__) == sorted(range(len(gaps)), key=drawn.__getitem__)
    assert all(-spec["height"] <= row["y"] <= 0 for row in rows if "y" in row)
    assert "Mean gap: low lift" in spec["description"]
    json.dumps(spec)


def test_the_chart_reads_the_same_in_both_units(twin: Review) -> None:
    one, two = (gap_chart(twin, "intake", units, THEMES["dark"]) for units in (METRIC, US))
    assert one["description"] == two["description"]
    assert [layer["mark"] for layer in one["layer"]] == [layer["mark"] for layer in two["layer"]]


def test_the_target_is_a_dotted_line_of_ink_in_the_overlay(twin: Review) -> None:
    theme = THEMES["light"]
    spec = overlay(twin, "intake", METRIC, theme)
    dotted = [layer for layer in spec["layer"] if layer["mark"].get("strokeDash") == [1, 4]]
    (line,) = [layer["mark"] for layer in dotted]
    assert (line["type"], line["color"], line["strokeCap"]) == ("line", theme.target, "round")
    assert "target" in {row.get("text") for row in spec["datasets"]["rows"]}
    without = overlay(replace(twin, target=None), "intake", METRIC, theme)
    assert "target" not in {row.get("text") for row in without["datasets"]["rows"]}


# --- the screen ------------------------------------------------------------------------


def target_alone() -> None:
    """Draw Target with every section open: the test tool cannot choose among such screens."""
    import streamlit as st

    from dashboard.screens import sidebar, target

    for key in ("target-intake", "target-exhaust", "target-stages"):
        st.session_state[f"fold-{key}"] = True
    sidebar.draw()
    target.draw()


@pytest.fixture
def start(open_screen: OpenScreen) -> Start:
    return partial(open_screen, target_alone)


@pytest.mark.parametrize("reader", ["shop", "customer"])
def test_the_screen_says_what_is_reached(start: Start, twin: Review, reader: str) -> None:
    app = start(job="touring-twin", units="US", reader=reader)
    assert not app.exception
    text = said(app)
    assert plain(target_words.answer(twin)) in text
    assert "reference head, valves: intake 1.94 in, exhaust 1.58 in" in text
    for part in (
        "common practice, no source",
        "To reach it, find",
        "Valve for valve",
        "throat, bowl, short turn",
    ):
        assert part in text
    assert "cfm" in text and "L/s" not in text
    assert len(charts(app)) == 2
    assert len(app.table) == 5  # thirds and lifts of both sides, and every stage


def test_a_job_without_a_target_says_how_to_give_it_one(start: Start) -> None:
    app = start(job="sprint-four")
    assert not app.exception
    assert app.header[0].value == target_words.EMPTY_LEAD
    (example,) = app.code
    for way in ("sheets = ", "job = ", "[target.typed]"):
        assert way in example.value
    app = start(job="sprint-four", reader="customer")
    assert app.header[0].value == target_words.EMPTY_CUSTOMER
    assert not app.code


def test_the_ways_that_it_shows_can_be_read(tmp_path: Path) -> None:
    ways = target_words.EMPTY_WAYS.split("\n\n")
    assert len(ways) == 3
    folder = tmp_path / "mine"
    folder.mkdir()
    text = "lift [mm],intake [L/s]\n1,21.4\n2,43.1\n3,61.0\n"
    for place in (folder / "one.csv", folder / "reference_1.csv"):
        place.write_text(f"# stage: as cast\n{text}", "utf-8", newline="\n")
    (tmp_path / "references").mkdir()
    (tmp_path / "references" / "reference_2.csv").write_text(text, "utf-8", newline="\n")
    other = tmp_path / "other-job"
    other.mkdir()
    (other / "one.csv").write_text(f"# stage: port polish\n{text}", "utf-8", newline="\n")
    (other / "job.toml").write_text('[[stage]]\nname = "port polish"\n', "utf-8", newline="\n")
    for way in ways:
        job_file = '[[stage]]\nname = "as cast"\n' + way
        (folder / "job.toml").write_text(job_file, "utf-8", newline="\n")
        loaded = load_job([folder])
        assert loaded.job is not None, (way, loaded.problems)
        assert loaded.job.target is not None


def test_hostile_names_stay_inert(start: Start, tmp_path: Path, demo_runs: Path) -> None:
    shutil.copytree(demo_runs / "touring-twin", tmp_path / "hostile")
    job_file = tmp_path / "hostile" / "job.toml"
    text = job_file.read_text("utf-8").replace(
        '"reference head" ', '"**b** ![x](http://198.51.100.7/a.png)" '
    )
    job_file.write_text(text, "utf-8", newline="\n")
    app = start(tmp_path, job="hostile")
    assert not app.exception
    raw = "\n".join(element.value for kind in ("header", "markdown", "caption") for element in app.get(kind))
    assert "![x](" not in raw and "**b**" not in raw


def test_what_the_target_leaves_open_stands_on_its_screen(
    start: Start, tmp_path: Path, demo_runs: Path
) -> None:
    shutil.copytree(demo_runs / "touring-twin", tmp_path / "bare")
    job_file = tmp_path / "bare" / "job.toml"
    text = job_file.read_text("utf-8")
    job_file.write_text(text[: text.index("[target.intake]")], "utf-8", newline="\n")
    app = start(tmp_path, job="bare")
    assert not app.exception
    assert "a larger valve could hide a worse port" in said(app)
    assert "target's intake valve is not known" in said(app)


# --- read again, hand-over -------------------------------------------------------------


def test_a_change_in_the_targets_job_is_seen(
    tmp_path: Path, demo_runs: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("GAIN_LEDGER_ROOT", str(tmp_path))
    shutil.copytree(demo_runs / "touring-twin", tmp_path / "twin")
    aimed = tmp_path / "aimed"
    shutil.copytree(demo_runs / "touring-twin", aimed)
    text = (aimed / "job.toml").read_text("utf-8")
    text = text[: text.index("[target]")] + '[target]\njob = "../twin"\nstage = "larger intake"\n'
    (aimed / "job.toml").write_text(text, "utf-8", newline="\n")
    for one in aimed.glob("reference-head_*.csv"):
        one.unlink()
    first = state.open_job("aimed")
    assert first.problems == ()
    state.open_job("aimed")
    assert state.open_job("aimed") is state.open_job("aimed")
    there = tmp_path / "twin" / "larger-intake_front_1.csv"
    there.write_text(there.read_text("utf-8").replace("0.050,", "0.0500,"), "utf-8", newline="\n")
    assert state.open_job("aimed").review.job.fingerprint != first.review.job.fingerprint
    (tmp_path / "twin" / "job.toml").write_text("titel = 1\n", "utf-8", newline="\n")
    assert "cannot be used" in str(state.open_job("aimed").problems[0])
    shutil.copy(demo_runs / "touring-twin" / "job.toml", tmp_path / "twin" / "job.toml")
    assert state.open_job("aimed").problems == ()  # mended elsewhere, and seen at once


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="needs poppler-utils")
def test_the_pdf_holds_the_target(twin: Review) -> None:
    def text_of(result: Review) -> str:
        run = subprocess.run(
            ["pdftotext", "-layout", "-", "-"], input=summary_pdf(result, US), capture_output=True, check=True
        )
        return plain(io.TextIOWrapper(io.BytesIO(run.stdout), "utf-8").read())

    text = text_of(twin)
    assert "target: reference head" in text
    assert "93.3 ± 0.5 % reached" in text
    assert "Intake: larger intake against the target, reference head" in text
    assert plain(target_words.side_answer(twin.target.last("exhaust"))) in text
    for row in target_tables.by_lift(twin, twin.target.last("intake"), US).rows:
        assert plain(row[3]) in text
    assert "the target" not in text_of(replace(twin, target=None)).lower()
