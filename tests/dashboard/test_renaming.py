"""A stage gets another name: job file, sheets, known peak and bench follow, and nothing else changes."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from core.files.draft import new_draft
from core.files.folder import NAME, read_whole
from core.files.load import load_job
from core.files.sheet import read_sheet
from dashboard.entry.draft import Work, base_files, laid_over
from dashboard.entry.stages import PLACE, following
from tests.dashboard.conftest import OpenScreen
from tests.dashboard.test_job_sheet import job_sheet_alone

TABLE = "lift [mm],intake [L/s]\n1,10\n2,20\n"


@pytest.fixture
def jobs(tmp_path: Path, demo_runs: Path) -> Path:
    """Return a root with copies of all demo jobs."""
    return Path(shutil.copytree(demo_runs, tmp_path / "jobs"))


def renamed(files: dict[str, bytes], old: str, new: str, **values: object) -> Work:
    return following(laid_over(replace(new_draft("job"), values=values), files), old, new)


@pytest.mark.parametrize(
    ("before", "after"),
    [
        (f"# stage: as cast\n{TABLE}", f"# stage: untouched\n{TABLE}"),
        (f"# date: 2026-03-01\r\n#Stage :  As  Cast ,,\r\n{TABLE}", None),
        (f'"# stage: as cast"\n{TABLE}', f'"# stage: untouched"\n{TABLE}'),
        (
            f"\ufeff# note: as cast\n# stage: as cast\n{TABLE}",
            f"# note: as cast\n# stage: untouched\n{TABLE}",
        ),
    ],
)
def test_only_the_name_changes(before: str, after: str | None) -> None:
    work = renamed({"one.csv": before.encode()}, "as cast", "untouched")
    text = work.files["one.csv"].decode()
    assert text == (after or before.replace("As  Cast", "untouched"))


def test_a_blank_name_is_none_and_the_line_takes_the_new_one() -> None:
    work = renamed({"as cast.csv": f"# stage:\n{TABLE}".encode()}, "as cast", "untouched")
    sheet, _ = read_sheet("as cast.csv", work.files["as cast.csv"])
    assert sheet is not None
    assert sheet.stage == "untouched"
    assert work.files["as cast.csv"].decode().endswith(f"\n{TABLE}")


def test_files_that_the_job_file_names_for_another_purpose_stay() -> None:
    job = b'[target]\nsheets = ["as cast.csv"]\n[intake.cam]\nlift_table = "cam.csv"\n'
    files = {NAME: job, "as cast.csv": TABLE.encode(), "cam.csv": f"# stage: as cast\n{TABLE}".encode()}
    assert renamed(files, "as cast", "untouched").files == files


def test_a_sheet_named_by_its_file_gets_a_line() -> None:
    work = renamed({"as cast.csv": TABLE.encode(), "bowl.csv": TABLE.encode()}, "as cast", "untouched")
    assert work.files["as cast.csv"].decode() == f"# stage: untouched\n{TABLE}"
    assert work.files["bowl.csv"].decode() == TABLE


@pytest.mark.parametrize(
    "text",
    [
        f"# stage: bowl\n{TABLE}",
        f"# stage: as cast\n# role: bench check\n{TABLE}",
        "# stage: as cast\nangle [deg],height [mm]\n1,2\n",
        "",
    ],
)
def test_what_is_no_sheet_of_that_stage_stays(text: str) -> None:
    assert (
        renamed({"as cast.csv": text.encode()}, "as cast", "untouched").files["as cast.csv"].decode() == text
    )


def test_the_bench_follows() -> None:
    work = renamed({}, "as cast", "untouched", **{PLACE: {"stage": "As cast", "port": "1", "side": "intake"}})
    assert work.draft.values[PLACE] == {"stage": "untouched", "port": "1", "side": "intake"}


@pytest.mark.parametrize("job", ["sprint-four", "touring-twin", "messy-day", "bare-sheets"])
def test_a_whole_job_says_the_same_under_another_name(open_screen: OpenScreen, jobs: Path, job: str) -> None:
    before = load_job([jobs / job]).job
    assert before is not None
    last = len(before.stages) - 1
    app = open_screen(job_sheet_alone, jobs, job=job, tab="Stages and prices")
    assert app.text_input(key=f"field-stage.{last}.name").value == before.stages[last].name
    app.text_input(key=f"field-stage.{last}.name").set_value("finished, at last").run()
    assert not app.exception
    app.button(key="entry-save").click().run()
    loaded = load_job([jobs / job])
    assert loaded.job is not None, loaded.problems
    after = loaded.job
    assert [stage.name for stage in after.stages] == [s.name for s in before.stages[:-1]] + [
        "finished, at last"
    ]
    old = before.stages[last].name
    known = {sheet.file: sheet for sheet in after.sheets}
    assert len(known) == len(before.sheets)
    for sheet in before.sheets:
        assert known[sheet.file].stage == ("finished, at last" if sheet.stage == old else sheet.stage)
        assert known[sheet.file].readings == sheet.readings
        assert known[sheet.file].air == sheet.air
    if before.dyno is not None:
        assert after.dyno is not None
        assert (after.dyno.stage == "finished, at last") == (before.dyno.stage == old)


def test_a_name_that_is_taken_or_empty_is_refused(open_screen: OpenScreen, jobs: Path) -> None:
    app = open_screen(job_sheet_alone, jobs, job="bare-sheets", tab="Stages and prices")
    names = [field.value for field in app.text_input if (field.key or "").endswith(".name")]
    files = base_files(read_whole(jobs / "bare-sheets"))
    for wrong, why in ((names[1].upper(), "is there already"), (" ", "The name is empty")):
        app.text_input(key="field-stage.0.name").set_value(wrong).run()
        assert why in captions(app)
        assert app.text_input(key="field-stage.0.name").value == wrong
    assert base_files(read_whole(jobs / "bare-sheets")) == files
    app.text_input(key="field-stage.0.name").set_value("first").run()
    app.button(key="entry-save").click().run()
    loaded = load_job([jobs / "bare-sheets"])
    assert loaded.job is not None
    assert [stage.name for stage in loaded.job.stages] == ["first", *names[1:]]
    assert NAME in base_files(read_whole(jobs / "bare-sheets"))


def captions(app: AppTest) -> str:
    return "\n".join(one.value for one in app.caption).replace("\u2060", "")
