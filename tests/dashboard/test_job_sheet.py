"""The screen Job sheet, without a browser: what is typed is judged, kept, saved, and never trusted."""

from __future__ import annotations

import datetime as dt
import os
import shutil
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from core.files import draft as drafts
from core.files.draft import new_draft
from core.files.folder import NAME, NOTHING, read_whole
from core.files.load import load_job
from core.units import METRIC
from dashboard import entry_words
from dashboard.entry.at_bench import Place
from dashboard.entry.draft import base_files, laid_over
from dashboard.entry.in_hand import choosing_lift, choosing_setup, entered
from dashboard.usertext import inert
from tests.dashboard.conftest import OpenScreen
from tests.dashboard.test_app import said

NOW = dt.datetime(2026, 4, 1, 9, 30)
Start = Callable[..., AppTest]


@pytest.fixture
def root_of_jobs(tmp_path: Path, demo_runs: Path) -> Path:
    """Return a jobs' root with copies that may be written to."""
    for name in ("sprint-four", "bare-sheets"):
        shutil.copytree(demo_runs / name, tmp_path / "jobs" / name)
    return tmp_path / "jobs"


def job_sheet_alone() -> None:
    """Draw the Job sheet as the app does."""
    from dashboard.screens import job_sheet, sidebar

    sidebar.draw()
    job_sheet.draw()


@pytest.fixture
def start(open_screen: OpenScreen) -> Start:
    """Return a function that opens the screen on a jobs' root."""
    return partial(open_screen, job_sheet_alone)


def enter(app: AppTest, line: str) -> AppTest:
    """Enter a line at the bench."""
    app.text_input(key="bench-reading").set_value(line)
    return next(b for b in app.button if b.label == "Take").click().run()


def with_stage_named(root: Path, job: str | None, stage: str) -> str:
    """Return the id of a draft with a new stage on the bench; the test tool knows listed options only."""
    begun = new_draft(job, read_whole(root / job).snapshot if job else NOTHING)
    place = {"stage": stage, "port": "", "side": "intake"}
    return drafts.keep(root, replace(begun, values={"place": place})).id


def test_typing_at_the_bench_is_judged_kept_and_saved(start: Start, root_of_jobs: Path) -> None:
    app = enter(start(root_of_jobs, job="sprint-four"), "12.3 23.9 3.55")
    assert not app.exception
    assert "Decimal slip? 35.5 would." in said(app)
    app = enter(app, "- 35.5")
    assert "**35.5 at 3 mm**: ok." in app.success[0].value.replace("\u00a0", " ")
    (kept,) = drafts.drafts(root_of_jobs)
    assert app.query_params["draft"] == kept.id
    # another browser, by the address: everything is there
    other = start(root_of_jobs, job="sprint-four", draft=kept.id)
    assert "Intake at 4 mm" in said(other)
    app.button(key="entry-save").click().run()
    assert not app.exception
    saved = root_of_jobs / "sprint-four" / "port-polish_port-3_setup.csv"
    assert b"\n3,35.5," in saved.read_bytes()
    assert drafts.drafts(root_of_jobs) == ()
    # read again and entered again it is the same file, and there is nothing to save
    place = {"stage": "port polish", "port": "3", "side": "intake"}
    again = laid_over(new_draft("sprint-four"), base_files(read_whole(root_of_jobs / "sprint-four")))
    again = choosing_setup(again, Place(**place), saved.name)
    again, _ = entered(choosing_lift(again, saved.name, "intake", "3"), Place(**place), METRIC, NOW, "35.5")
    assert not again.is_changed()
    assert "draft" not in app.query_params


def test_two_browsers_save_one_job_and_neither_is_lost(start: Start, root_of_jobs: Path) -> None:
    one = enter(start(root_of_jobs, job="bare-sheets"), "9.9 20.1")
    two = enter(start(root_of_jobs, job="bare-sheets"), "9.8 20.2 30.1")
    one.button(key="entry-save").click().run()
    first = (root_of_jobs / "bare-sheets" / "port-work_setup.csv").read_bytes()
    two.button(key="entry-save").click().run()
    assert "saved by somebody else" in said(two)
    assert (root_of_jobs / "bare-sheets" / "port-work_setup.csv").read_bytes() == first
    two.button(key="entry-over").click().run()
    assert not two.exception
    assert b"30.1" in (root_of_jobs / "bare-sheets" / "port-work_setup.csv").read_bytes()
    history = [path.read_bytes() for path in (root_of_jobs / "bare-sheets" / "history").rglob("*.csv")]
    assert first in history


def test_a_field_keeps_what_cannot_be_read_and_says_why(start: Start, root_of_jobs: Path) -> None:
    app = start(root_of_jobs, job="sprint-four", tab="Valves")
    before = (root_of_jobs / "sprint-four" / NAME).read_bytes()
    app.text_input(key="field-intake.seat_angle").set_value("45").run()
    assert "'45' has no unit." in said(app)
    assert app.text_input(key="field-intake.seat_angle").value == "45"
    app.text_input(key="field-intake.stem_diameter").set_value("40 mm").run()
    assert "not smaller than throat_diameter" in said(app)
    assert app.button(key="entry-save").disabled
    app.text_input(key="field-intake.stem_diameter").set_value("7 mm").run()
    app.text_input(key="field-intake.seat_angle").set_value("30 deg").run()
    app.button(key="entry-save").click().run()
    after = (root_of_jobs / "sprint-four" / NAME).read_bytes()
    assert after == before.replace(b'seat_angle = "45 deg"', b'seat_angle = "30 deg"', 1)  # and nothing else


def test_a_job_from_nothing(start: Start, tmp_path: Path) -> None:
    app = start(tmp_path)
    assert not app.exception
    assert "Name what is on the bench" in app.info[0].value
    app = start(tmp_path, draft=with_stage_named(tmp_path, None, "as cast"))
    app = enter(app, "12 23.7 35.1")
    assert not app.exception
    app.session_state["tab"] = "Job"
    app.run()
    app.text_input(key="field-title").set_value("Hillclimb **four**").run()
    assert "One stage so far" in said(app)
    app.text_input(key="entry-save-name").set_value("../up and away").run()
    app.button(key="entry-save-as").click().run()
    assert not app.exception
    folder = tmp_path / "up-and-away"
    assert sorted(path.name for path in folder.iterdir()) == ["as-cast_setup.csv", NAME]
    assert (folder / NAME).read_text("utf-8") == 'title = "Hillclimb **four**"\n'
    assert app.session_state["job"] == "up-and-away"


def test_a_new_job_begun_in_a_browser_that_was_closed_is_offered_beside_the_line(
    start: Start, tmp_path: Path
) -> None:
    enter(start(tmp_path, draft=with_stage_named(tmp_path, None, "as cast")), "12.1")
    app = start(tmp_path)
    offer = next(button for button in app.button if "unsaved work on a new job" in button.label)
    # not under 'More', which nobody opens who thinks that all is lost
    assert offer.key not in [button.key for fold in app.get("popover") for button in fold.button]
    assert any(fold.button for fold in app.get("popover"))
    offer.click().run()
    assert "Intake at 2 mm" in said(app)


def test_a_target_is_typed_and_wrong_figures_are_named_at_their_field(
    start: Start, root_of_jobs: Path
) -> None:
    app = start(root_of_jobs, job="bare-sheets", tab="Target")

    def state(name: str, text: str) -> None:
        app.text_input(key=f"field-target.typed.{name}").set_value(text).run()
        assert not app.exception

    state("lift", "1 2 3 x")
    assert "'x' is not a number" in said(app)
    assert app.text_input(key="field-target.typed.lift").value == "1 2 3 x"
    for name, text in (
        ("lift", "1; 2 3,5"),
        ("lift_unit", "mm"),
        ("intake", "25,10 - 72"),
        ("flow_unit", "L/s"),
    ):
        state(name, text)
    assert "has no test_pressure" in said(app)  # at no field of its own
    state("test_pressure", "28 mm")
    assert "28 mm" in said(app)
    state("test_pressure", "28 inH2O")
    assert app.text_input(key="field-target.typed.intake").value == "25.10, -, 72"
    state("intake", "25.1, -")
    assert "intake has 2 entries, and lift has 3" in said(app)
    state("intake", "25.1, -, 72")
    (kept,) = drafts.drafts(root_of_jobs)
    text = kept.values["changes"][NAME]
    assert "lift = [1, 2, 3.5]" in text
    assert 'intake = [25.1, "", 72]' in text
    app.button(key="entry-save").click().run()
    loaded = load_job([root_of_jobs / "bare-sheets"])
    assert loaded.problems == ()
    assert [r.flow_m3_s for r in loaded.job.target.sheets[0].readings.intake] == [0.0251, 0.072]


def test_stages_are_listed_moved_and_priced(start: Start, root_of_jobs: Path) -> None:
    app = start(root_of_jobs, job="bare-sheets", tab="Stages and prices")
    app.text_input(key="field-stage.1.price").set_value("420,50").run()
    assert not app.exception
    app.button(key="field-Later-0").click().run()
    app.text_input(key="field-new-stage").set_value("  port   exit ").run()
    app.button(key="entry-save").click().run()
    text = (root_of_jobs / "bare-sheets" / NAME).read_text("utf-8")
    names = [line for line in text.splitlines() if line.startswith("name")]
    assert names == ['name = "valve job"', 'name = "as received"', 'name = "port work"', 'name = "port exit"']
    assert "price = 420.50" in text


def test_a_pasted_block_is_asked_about_and_taken(start: Start, root_of_jobs: Path) -> None:
    app = start(root_of_jobs, job="bare-sheets", tab="Sheets")
    block = "Lift\tIntake\n0.1\t20.5\n0.2\t41.0\n0.3\t58.5\n0.4\t66.0\n"
    app.text_area(key="entry-block").set_value(block).run()
    app.button(key="entry-take-block").click().run()
    assert not app.exception
    assert app.button(key="map-take").disabled
    app.selectbox(key="map-answer-lift").set_value("in").run()
    app.selectbox(key="map-answer-flow").set_value("cfm").run()
    assert not app.exception
    assert not app.button(key="map-take").disabled
    app.button(key="map-take").click().run()
    assert not app.exception
    (kept,) = drafts.drafts(root_of_jobs)
    added = [text for text in kept.values["changes"].values() if "66.0" in str(text)]
    assert len(added) == 1


def test_who_has_answered_once_is_not_asked_again(start: Start, root_of_jobs: Path) -> None:
    app = start(root_of_jobs, job="bare-sheets", tab="Sheets")

    def paste(stage: str) -> None:
        block = f"Lift\t{stage} intake\n0.1\t20.5\n0.2\t41.0\n0.3\t58.5\n0.4\t66.0\n"
        app.text_area(key="entry-block").set_value(block).run()
        app.button(key="entry-take-block").click().run()
        assert not app.exception

    def keys() -> set[str]:
        return {one.key for one in (*app.selectbox, *app.button, *app.checkbox) if one.key}

    paste("bowls")
    app.selectbox(key="map-answer-lift").set_value("in").run()
    app.selectbox(key="map-answer-flow").set_value("cfm").run()
    assert app.checkbox(key="map-keep").value
    app.button(key="map-take").click().run()
    paste("short turn")
    assert not {"map-answer-lift", "map-answer-flow", "map-keep"} & keys()
    assert any(inert("lift in, flow cfm") in one.value for one in app.info)
    app.button(key="map-anew").click().run()
    assert {"map-answer-lift", "map-answer-flow"} <= keys()
    assert app.button(key="map-take").disabled
    app.selectbox(key="map-answer-lift").set_value("in").run()
    app.selectbox(key="map-answer-flow").set_value("L/s").run()
    app.checkbox(key="map-keep").uncheck().run()
    app.button(key="map-take").click().run()
    paste("throat")
    app.button(key="map-take").click().run()
    assert not app.exception
    (kept,) = drafts.drafts(root_of_jobs)
    units = [
        line for text in kept.values["changes"].values() for line in text.split("\n") if "lift [" in line
    ]
    assert sorted(units) == ["lift [in],intake [L/s]", "lift [in],intake [cfm]", "lift [in],intake [cfm]"]


@pytest.mark.parametrize("name", ["../../up.csv", "C:\\up.csv", "job.toml", ".hidden.csv"])
def test_an_uploads_name_is_never_a_path(start: Start, root_of_jobs: Path, name: str) -> None:
    app = start(root_of_jobs, job="bare-sheets", tab="Sheets")
    content = b"title = 'x'\n" if name == NAME else b"# stage: up\nlift [mm],intake [L/s]\n1,2.0\n2,4.0\n"
    app.file_uploader(key="entry-upload").set_value([(name, content, "text/csv")]).run()
    assert not app.exception
    app.button(key="entry-save").click().run()
    assert not app.exception
    assert [path.name for path in root_of_jobs.parent.iterdir()] == ["jobs"]
    outside = {path.name for path in root_of_jobs.iterdir()}
    assert outside == {"bare-sheets", "sprint-four", ".ledger"}
    added = NAME if name == NAME else "hidden.csv" if "hidden" in name else "up.csv"
    found = [
        path.name
        for path in (root_of_jobs / "bare-sheets").iterdir()
        if path.is_file() and path.read_bytes() == content
    ]
    assert [one.removeprefix("c-") for one in found] == [added]


@pytest.mark.skipif(os.name == "nt", reason="no file can have such a name here")
@pytest.mark.parametrize("name", ["day 2026-03-28 14:05.csv", 'a"b<c>|?*.csv', "con.csv"])
def test_a_sheets_name_that_another_system_cannot_write_is_no_obstacle(
    start: Start, tmp_path: Path, name: str
) -> None:
    (tmp_path / "job").mkdir()
    sheet = "# stage: bowl\n# test pressure: 28 inH2O\nlift [mm],intake [L/s]\n1,10\n2,20\n"
    (tmp_path / "job" / name).write_text(sheet, "utf-8")
    app = start(tmp_path, job="job")
    assert not app.exception
    assert app.download_button


def test_hostile_words_stay_inert(start: Start, root_of_jobs: Path) -> None:
    named = with_stage_named(root_of_jobs, "bare-sheets", "![x](http://198.51.100.7/a.png)")
    app = start(root_of_jobs, job="bare-sheets", draft=named)
    app = enter(app, "9.9")
    assert not app.exception
    kinds = ("header", "subheader", "markdown", "caption", "error", "success", "warning")
    assert not any("![x](" in str(element.value) for kind in kinds for element in app.get(kind))


def test_the_customer_gets_nothing_of_it(start: Start, root_of_jobs: Path) -> None:
    app = start(root_of_jobs, job="bare-sheets", reader="customer")
    assert not app.exception
    assert not app.text_input
    assert entry_words.SHOP_ONLY in said(app)
