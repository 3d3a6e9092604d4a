"""A jobs' root in bad shape: the screens say so in a sentence, and what is sound is still shown."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from core.files.disk import LEDGER
from core.files.draft import drafts, drop, find, keep, new_draft
from core.files.folder import COMMIT, JOURNAL
from core.files.listing import stamps
from core.files.save import NOTHING, Refused, save
from core.shelf import Shelf
from dashboard import phrases
from tests.dashboard.conftest import OpenScreen
from tests.dashboard.test_app import said
from tests.faults.conftest import OTHER, SOUND
from tests.faults.locked import locked


def shelf_alone() -> None:
    """Draw the shelf as the app does; the test tool cannot choose among screens that are functions."""
    from dashboard.screens import shelf, sidebar

    sidebar.draw()
    shelf.draw()


def sheet_alone() -> None:
    """Draw the job sheet as the app does."""
    from dashboard.screens import job_sheet, sidebar

    sidebar.draw()
    job_sheet.draw()


SCREENS = {"results": None, "shelf": shelf_alone, "job sheet": sheet_alone}


def odd_name(folder: Path, name: bytes) -> Path:
    """Return a path whose name is no text; skip where the system has no such names."""
    path = Path(os.fsdecode(os.fsencode(folder) + b"/" + name))
    try:
        path.mkdir()
        path.rmdir()
    except (OSError, ValueError):
        pytest.skip("names are always text here")
    return path


@pytest.mark.parametrize("screen", SCREENS)
def test_a_folder_that_may_not_be_opened_takes_nothing_else_with_it(
    screen: str, open_screen: OpenScreen, jobs: Path
) -> None:
    with locked(jobs / OTHER):
        app = open_screen(SCREENS[screen], jobs, job=SOUND)
    assert not app.exception
    assert not app.error


@pytest.mark.parametrize("screen", ["results", "job sheet"])
def test_who_opens_it_is_told_why(screen: str, open_screen: OpenScreen, jobs: Path) -> None:
    with locked(jobs / OTHER):
        app = open_screen(SCREENS[screen], jobs, job=OTHER)
    assert not app.exception
    assert app.error
    assert "Permission denied" in said(app)


@pytest.mark.parametrize("screen", ["results", "job sheet"])
def test_a_sheet_that_may_not_be_opened_is_named(screen: str, open_screen: OpenScreen, jobs: Path) -> None:
    with locked(jobs / SOUND / "valve-job.csv"):
        app = open_screen(SCREENS[screen], jobs, job=SOUND)
    assert not app.exception
    assert app.error
    assert "Permission denied" in said(app)


def test_a_root_that_cannot_be_looked_into_is_not_called_empty(open_screen: OpenScreen, jobs: Path) -> None:
    with locked(jobs):
        app = open_screen(None, jobs)
    assert not app.exception
    assert phrases.EMPTY_LEAD not in said(app)
    assert "Permission denied" in app.error[0].value


@pytest.mark.parametrize("screen", SCREENS)
def test_a_folder_whose_name_is_no_text_is_counted(screen: str, open_screen: OpenScreen, jobs: Path) -> None:
    shutil.copytree(jobs / SOUND, odd_name(jobs, b"old\xff"))
    app = open_screen(SCREENS[screen], jobs, job=SOUND)
    assert not app.exception
    assert [warning.value for warning in app.warning] == [phrases.unshown_folders(1)]


@pytest.mark.parametrize("screen", SCREENS)
def test_a_sheet_whose_name_is_no_text_is_read(screen: str, open_screen: OpenScreen, jobs: Path) -> None:
    shutil.copy(jobs / SOUND / "valve-job.csv", odd_name(jobs / SOUND, b"old\xff.csv"))
    assert not open_screen(SCREENS[screen], jobs, job=SOUND).exception


def test_a_job_that_goes_away_while_it_is_shown_is_said_to_be_gone(
    open_screen: OpenScreen, jobs: Path
) -> None:
    app = open_screen(None, jobs, job=OTHER)
    assert not app.warning
    (jobs / OTHER).rename(jobs.parent / "elsewhere")
    app.run()
    assert not app.exception
    assert app.session_state["job"] == SOUND
    assert [warning.value for warning in app.warning] == [phrases.NO_SUCH_JOB]


def test_sheets_that_a_person_takes_away_are_not_called_gone(open_screen: OpenScreen, jobs: Path) -> None:
    app = open_screen(None, jobs, job=SOUND)
    sheet = (jobs / SOUND / "valve-job.csv").read_bytes()
    app.file_uploader(key="uploader").set_value([("one.csv", sheet, "text/csv")]).run()
    app.file_uploader(key="uploader").set_value([]).run()
    assert not app.exception
    assert not app.warning


def test_a_root_that_comes_back_has_the_gains_it_had(jobs: Path) -> None:
    gains = {}
    for is_away in (True, False):
        shelf = Shelf(jobs)
        shelf.entries()
        if is_away:
            away = jobs.rename(jobs.parent / "away")
            assert shelf.work_out(60.0) == 0
            assert shelf.entries() == ()
            away.rename(jobs)
            shelf.entries()
        assert shelf.work_out(60.0) == 0
        gains[is_away] = shelf.entries()
    assert gains[True] == gains[False]
    assert all(entry.problems == 0 for entry in gains[True])


def test_half_a_file_is_a_problem_and_then_none(open_screen: OpenScreen, jobs: Path) -> None:
    sheet = jobs / SOUND / "valve-job.csv"
    whole = sheet.read_bytes()
    app = open_screen(None, jobs, job=SOUND)
    answer = app.header[0].value
    sheet.write_bytes(whole[: whole.index(b"[") + 2])  # as a slow copy may leave it for a moment
    assert app.run().error and not app.exception
    sheet.write_bytes(whole)
    assert app.run().header[0].value == answer


# --- clocks and copies ------------------------------------------------------------------


def spoilt_at_the_same_time(sheet: Path) -> None:
    """Change a digit, as an unpacked archive or a clock set back would: neither length nor time tells."""
    about = sheet.stat()
    text = sheet.read_text(encoding="utf-8")
    last = text.rstrip("\n")
    changed = last[:-1] + ("1" if last[-1] != "1" else "2") + text[len(last) :]
    sheet.write_text(changed, encoding="utf-8", newline="\n")
    os.utime(sheet, ns=(about.st_atime_ns, about.st_mtime_ns))
    assert (sheet.stat().st_size, sheet.stat().st_mtime_ns) == (about.st_size, about.st_mtime_ns)


@pytest.mark.skipif(os.name == "nt", reason="Windows keeps no time of change that a program can read")
def test_another_content_of_the_same_length_and_time_is_noticed(open_screen: OpenScreen, jobs: Path) -> None:
    app = open_screen(None, jobs, job=SOUND)
    before, listed = said(app), stamps(jobs)
    spoilt_at_the_same_time(jobs / SOUND / "port-work.csv")
    assert said(app.run()) != before
    assert stamps(jobs)[SOUND] != listed[SOUND]


@pytest.mark.parametrize("year", [1970, 2100])
def test_a_clock_in_another_year_loses_no_version(
    jobs: Path, year: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    import core.files.save as saving

    class Clock(saving.dt.datetime):
        @classmethod
        def now(cls, tz: object = None) -> saving.dt.datetime:
            return saving.dt.datetime(year, 1, 2, 3, 4, 5)

    folder, seen = jobs / "new", NOTHING
    monkeypatch.setattr(saving.dt, "datetime", Clock)
    for number in range(3):
        seen = save(folder, jobs, {"one.csv": b"%d" % number}, seen).snapshot
    kept = sorted(path.read_bytes() for path in (folder / "history").rglob("one.csv"))
    assert (folder / "one.csv").read_bytes() == b"2"
    assert kept == [b"0", b"1"]


# --- the hidden folder ------------------------------------------------------------------

BOTTOMLESS = "[" * 200_000  # JSON's reader gives up on it with another error than on other nonsense


@pytest.mark.parametrize("screen", SCREENS)
def test_nonsense_in_hidden_files_counts_for_nothing(
    screen: str, open_screen: OpenScreen, jobs: Path
) -> None:
    draft = jobs / LEDGER / "drafts" / f"{'a' * 16}.json"
    for path in (draft, jobs / LEDGER / "shelf.json", jobs / SOUND / JOURNAL / COMMIT):
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(BOTTOMLESS, encoding="utf-8")
    app = open_screen(SCREENS[screen], jobs, job=SOUND, draft="a" * 16)
    assert not app.exception
    assert not app.error
    assert draft.read_text(encoding="utf-8") == BOTTOMLESS


def test_a_file_in_place_of_the_hidden_folder_is_named(open_screen: OpenScreen, jobs: Path) -> None:
    (jobs / LEDGER).write_text("mine", encoding="utf-8")
    assert not open_screen(sheet_alone, jobs, job=SOUND).exception
    for refused in (keep(jobs, new_draft(None)), save(jobs / "new", jobs, {"a.csv": b"1"})):
        assert isinstance(refused, Refused)
        assert f"'{LEDGER}' in 'jobs' is a file" in str(refused)
        assert "Move that file away" in str(refused)
    assert (jobs / LEDGER).read_text(encoding="utf-8") == "mine"


def test_a_hidden_folder_that_may_not_be_opened_holds_nothing(open_screen: OpenScreen, jobs: Path) -> None:
    kept = keep(jobs, new_draft(SOUND))
    with locked(jobs / LEDGER):
        assert (drafts(jobs), find(jobs, kept.id)) == ((), None)
        drop(jobs, kept.id)
        assert isinstance(keep(jobs, kept), Refused)
        assert [entry.head.folder for entry in Shelf(jobs).entries()] == [SOUND, OTHER]
        assert not open_screen(sheet_alone, jobs, job=SOUND, draft=kept.id).exception
    assert find(jobs, kept.id) == kept


@pytest.mark.parametrize("screen", SCREENS)
def test_what_leads_round_in_a_circle_is_left_alone(screen: str, open_screen: OpenScreen, jobs: Path) -> None:
    try:
        (jobs / "loop").symlink_to("loop")
        (jobs / "up").symlink_to(jobs, target_is_directory=True)
        (jobs / SOUND / "self").symlink_to(".", target_is_directory=True)
        (jobs / SOUND / "round.csv").symlink_to("round.csv")
    except OSError:
        pytest.skip("no links here")
    app = open_screen(SCREENS[screen], jobs, job=SOUND)
    assert not app.exception
    assert not app.error
