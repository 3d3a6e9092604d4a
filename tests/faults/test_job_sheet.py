"""The Job sheet while its disk, its folder or its job goes away: nothing typed is lost, and it is said."""

from __future__ import annotations

import datetime as dt
import errno
import html
import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from core.files import disk
from core.files.draft import drafts
from dashboard import draft_words, phrases
from tests.dashboard.conftest import OpenScreen
from tests.dashboard.test_app import said as shown
from tests.faults.conftest import OTHER, SOUND
from tests.faults.test_folders import sheet_alone, shelf_alone

ALONE = "held by this page alone"


def plain(text: str) -> str:
    """Return text without the characters that keep it from being read as Markdown."""
    return html.unescape(text).replace("\u2060", "")


def said(app: AppTest) -> str:
    """Return all that the screen says."""
    return plain(
        "\n".join([shown(app), *(one.value for one in app.success), *(c.value for c in app.caption)])
    )


def enter(app: AppTest, line: str) -> AppTest:
    """Type a line at the bench, and press Enter."""
    app.text_input(key="bench-reading").set_value(line)
    return next(button for button in app.button if button.label == "Take").click().run()


def save(app: AppTest) -> AppTest:
    return app.button(key="entry-save").click().run()


def typed(job: Path) -> list[str]:
    """Return the readings of the one sheet that was typed and saved."""
    (sheet,) = job.glob("*_setup.csv")
    return [row.split(",")[1] for row in sheet.read_text("utf-8").splitlines() if row[:1].isdigit()]


@contextmanager
def full_disk() -> Iterator[None]:
    """Let no file grow."""

    def write(path: Path, data: bytes) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(path))

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(disk, "write_flushed", write)
        yield


def test_a_draft_that_the_disk_does_not_take_is_said_held_and_kept_later(
    open_screen: OpenScreen, jobs: Path
) -> None:
    app = open_screen(sheet_alone, jobs, job=SOUND)
    with full_disk():
        enter(app, "12.1 23.9")
        assert "The disk is full" in said(app)
        assert ALONE in said(app)
        assert "loses nothing" not in said(app)
        app.run()  # said until it is kept
        assert "The disk is full" in said(app)
    assert drafts(jobs) == ()
    app.run()
    assert ALONE not in said(app)
    assert len(drafts(jobs)) == 1
    assert f"Saved as {SOUND}" in said(save(app))
    assert typed(jobs / SOUND)[:2] == ["12.1", "23.9"]


def test_a_root_that_goes_away_takes_no_reading_with_it(open_screen: OpenScreen, jobs: Path) -> None:
    app = open_screen(sheet_alone, jobs, job=SOUND)
    enter(app, "12.1")
    away = jobs.rename(jobs.parent / "away")
    enter(app, "23.9")
    assert not app.exception
    assert phrases.missing_root(os.strerror(errno.ENOENT)) in said(app)
    assert draft_words.ROOT_IS_MISSING in said(app)
    assert ALONE in said(app)
    enter(app, "35.4")
    assert app.query_params["job"] in (SOUND, [SOUND])  # so that a reload finds back
    away.rename(jobs)
    assert f"Saved as {SOUND}" in said(save(app))
    assert typed(jobs / SOUND)[:3] == ["12.1", "23.9", "35.4"]
    assert app.session_state["job"] == SOUND


@pytest.mark.parametrize("screen", [shelf_alone, sheet_alone])
def test_a_missing_root_is_said_on_the_shops_screens(
    screen: Callable[[], None], open_screen: OpenScreen, jobs: Path
) -> None:
    app = open_screen(screen, jobs, job=OTHER)
    away = jobs.rename(jobs.parent / "away")
    app.run()
    assert [error.value for error in app.error] == [phrases.missing_root(os.strerror(errno.ENOENT))]
    away.rename(jobs)
    app.run()
    assert not app.error
    assert app.session_state["job"] == OTHER


@pytest.mark.parametrize("action", ["enter", "save"])
def test_a_job_that_is_taken_away_leaves_unsaved_work_as_a_new_job(
    open_screen: OpenScreen, jobs: Path, action: str
) -> None:
    app = open_screen(sheet_alone, jobs, job=SOUND)
    enter(app, "12.1")
    shutil.rmtree(jobs / SOUND)
    enter(app, "23.9") if action == "enter" else save(app)
    assert not app.exception
    assert "no longer in the jobs' folder" in said(app)
    app.text_input(key="entry-save-name").set_value("again").run()
    app.button(key="entry-save-as").click().run()
    assert typed(jobs / "again")[: 1 + (action == "enter")] == ["12.1", "23.9"][: 1 + (action == "enter")]
    assert {path.name for path in (jobs / "again").glob("*.csv")} > {"as-received.csv", "valve-job.csv"}


def test_unsaved_work_on_a_job_that_is_gone_is_offered_to_whoever_comes(
    open_screen: OpenScreen, jobs: Path
) -> None:
    enter(open_screen(sheet_alone, jobs, job=SOUND), "12.1")
    shutil.rmtree(jobs / SOUND)
    app = open_screen(sheet_alone, jobs, job=OTHER)
    next(button for button in app.button if f"unsaved work on {SOUND}" in plain(button.label)).click().run()
    assert "no longer in the jobs' folder" in said(app)
    assert len(drafts(jobs)) == 1


def test_a_question_about_one_job_is_not_asked_on_another(open_screen: OpenScreen, jobs: Path) -> None:
    one, two = (open_screen(sheet_alone, jobs, job=SOUND) for _ in range(2))
    enter(one, "12.1")
    enter(two, "12.2 24.0")
    save(one)
    assert "saved by somebody else" in said(save(two))
    two.selectbox(key="job").set_value(OTHER).run()
    assert "saved by somebody else" not in said(two)


def test_a_folder_that_is_no_job_does_not_take_a_new_one(open_screen: OpenScreen, jobs: Path) -> None:
    (jobs / "head").mkdir()
    (jobs / "head" / "notes.txt").write_text("mine", "utf-8")
    app = open_screen(sheet_alone, jobs, job=SOUND)
    app.text_input(key="entry-save-name").set_value("head").run()
    app.button(key="entry-save-as").click().run()
    assert not app.exception
    assert "Saved as head_2" in said(app)
    assert [path.name for path in (jobs / "head").iterdir()] == ["notes.txt"]


@pytest.mark.parametrize(
    ("kept_at", "when"),
    [
        ("2026-03-14T09:05:11", "at 09:05."),
        ("2026-03-12T09:05:11", "at 09:05 on 2026-03-12."),
        ("1970-01-01T00:00:07", "at 00:00 on 1970-01-01."),
        ("2100-01-01T12:00:00", "at 12:00 on 2100-01-01."),
        ("yesterday", "unsaved changes. A reload"),
    ],
)
def test_a_draft_of_another_day_says_its_day(kept_at: str, when: str) -> None:
    line = draft_words.draft_line("head", True, kept_at, today=dt.date(2026, 3, 14), sound=True, on_disk=True)
    assert when in line
