"""Saving: nobody overwritten, nothing outside the jobs' root, and plain refusals."""

from __future__ import annotations

import errno
import json
import os
import threading
from pathlib import Path

import pytest

from core.files.disk import LEDGER
from core.files.folder import COMMIT, JOURNAL, NOTHING, Snapshot, pending, read_whole
from core.files.load import load_job
from core.files.save import HISTORY, Conflict, Refused, Saved, finish, save
from tests.core.saving import (
    CHANGES,
    NEW,
    OLD,
    everything,
    failing_from,
    files_in,
    old_job,
    reset,
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return the folder of a job with three files, in a root of its own."""
    return old_job(tmp_path)


# --- the plain course of things --------------------------------------------------------


def test_a_save_changes_what_it_names_and_keeps_the_version_before(folder: Path) -> None:
    (folder / "photo.jpg").write_bytes(b"not ours")
    done = save(folder, folder.parent, CHANGES, read_whole(folder).snapshot)
    assert isinstance(done, Saved)
    assert files_in(folder) == {**NEW, "photo.jpg": b"not ours"}
    assert files_in(folder / done.history) == OLD
    assert read_whole(folder).snapshot == done.snapshot
    assert not (folder / JOURNAL).exists()


def test_only_files_that_differ_are_replaced(folder: Path) -> None:
    before = (folder / "one.csv").stat().st_ino
    done = save(folder, folder.parent, {**OLD, "two.csv": b"new"}, read_whole(folder).snapshot)
    assert (folder / "one.csv").stat().st_ino == before
    assert files_in(folder / done.history) == {"two.csv": OLD["two.csv"]}


def test_saving_the_same_again_changes_nothing(folder: Path) -> None:
    first = save(folder, folder.parent, CHANGES, read_whole(folder).snapshot)
    there = everything(folder)
    again = save(folder, folder.parent, CHANGES, first.snapshot)
    assert again == Saved(first.snapshot)
    assert everything(folder) == there


def test_a_second_click_on_save_is_no_conflict(folder: Path) -> None:
    seen = read_whole(folder).snapshot
    first = save(folder, folder.parent, CHANGES, seen)
    assert save(folder, folder.parent, CHANGES, seen) == Saved(first.snapshot)


def test_a_new_job_is_there_whole_and_reads_as_saved(tmp_path: Path, demo_runs: Path) -> None:
    source = read_whole(demo_runs / "sprint-four")
    done = save(tmp_path / "copy", tmp_path, source.files)
    assert done == Saved(source.snapshot)
    ours, theirs = (load_job([path]).job for path in (tmp_path / "copy", demo_runs / "sprint-four"))
    assert ours.fingerprint == theirs.fingerprint


def test_history_holds_every_version(folder: Path) -> None:
    seen = read_whole(folder).snapshot
    for number in range(12):
        seen = save(folder, folder.parent, {"one.csv": b"%d" % number}, seen).snapshot
    kept = {path.read_bytes() for path in (folder / HISTORY).rglob("one.csv")}
    assert kept == {OLD["one.csv"], *(b"%d" % number for number in range(11))}


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such modes")
def test_who_may_read_a_file_stays_as_it_was(folder: Path) -> None:
    (folder / "job.toml").chmod(0o640)
    save(folder, folder.parent, CHANGES, read_whole(folder).snapshot)
    assert (folder / "job.toml").stat().st_mode & 0o777 == 0o640


# --- nobody is overwritten -------------------------------------------------------------


@pytest.mark.parametrize("change", ["edited", "added", "removed"])
def test_a_job_changed_on_disk_meanwhile_is_not_overwritten(folder: Path, change: str) -> None:
    seen = read_whole(folder).snapshot
    if change == "edited":
        (folder / "one.csv").write_bytes(b"by hand\n")
    elif change == "added":
        (folder / "more.csv").write_bytes(b"by hand\n")
    else:
        (folder / "two.csv").unlink()
    there = everything(folder)
    done = save(folder, folder.parent, CHANGES, seen)
    name = {"edited": "one.csv", "added": "more.csv", "removed": "two.csv"}[change]
    assert done == Conflict((name,), read_whole(folder).snapshot)
    assert everything(folder) == there


def test_overwriting_on_purpose_keeps_what_was_there(folder: Path) -> None:
    seen = read_whole(folder).snapshot
    (folder / "one.csv").write_bytes(b"by hand\n")
    asked = save(folder, folder.parent, CHANGES, seen)
    done = save(folder, folder.parent, CHANGES, asked.now)
    assert files_in(folder) == NEW
    assert (folder / done.history / "one.csv").read_bytes() == b"by hand\n"


def test_a_new_job_does_not_take_an_old_ones_place(folder: Path) -> None:
    done = save(folder, folder.parent, {"job.toml": b"title = 'other'\n"})
    assert isinstance(done, Conflict) and files_in(folder) == OLD


def test_a_job_that_was_moved_away_is_not_made_anew_in_part(folder: Path) -> None:
    seen = read_whole(folder).snapshot
    folder.rename(folder.with_name("elsewhere"))
    assert save(folder, folder.parent, CHANGES, seen) == Conflict(tuple(sorted(OLD)), NOTHING)
    assert not folder.exists()


def test_of_two_savers_one_is_told_and_neither_is_lost(folder: Path) -> None:
    for turn in range(20):
        seen = read_whole(folder).snapshot
        left, right = (f"{who} {turn}".encode() for who in ("left", "right"))
        done = at_once(folder, seen, left, right)
        told = next(content for content in done if isinstance(done[content], Conflict))
        first = left if told == right else right
        assert isinstance(done[first], Saved)
        assert (folder / "one.csv").read_bytes() == first
        save(folder, folder.parent, {"one.csv": told}, done[told].now)
        assert (folder / "one.csv").read_bytes() == told
        assert first in {path.read_bytes() for path in (folder / HISTORY).rglob("one.csv")}


def at_once(folder: Path, seen: Snapshot, *contents: bytes) -> dict[bytes, Saved | Conflict | Refused]:
    """Save each content in a thread of its own, all at the same moment; return how each ended."""
    start = threading.Barrier(len(contents))
    done: dict[bytes, Saved | Conflict | Refused] = {}

    def run(content: bytes) -> None:
        start.wait()
        done[content] = save(folder, folder.parent, {"one.csv": content}, seen)

    threads = [threading.Thread(target=run, args=(content,)) for content in contents]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return done


# --- what the disk refuses -------------------------------------------------------------


def test_a_full_disk_at_any_step_is_said_plainly_and_loses_nothing(folder: Path) -> None:
    """Room may run out at one step and be there at the next; a rename may be refused as well."""
    seen, refusals, step = read_whole(folder).snapshot, 0, 0
    while True:
        reset(folder)
        with failing_from(step, OSError(errno.ENOSPC, "No space left on device"), once=True) as met:
            done = save(folder, folder.parent, CHANGES, seen)
        if len(met) <= step:
            break
        step += 1
        read = read_whole(folder).files
        if isinstance(done, Refused):
            refusals += 1
            assert "disk is full" in done.text and "room" in done.cure
            assert read == OLD and files_in(folder) == OLD
        else:
            assert read == NEW and done.snapshot == read_whole(folder).snapshot
            assert finish(folder, folder.parent) and files_in(folder) == NEW
    assert refusals > 8


def test_a_file_that_another_program_holds_waits_and_is_not_lost(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Windows refuses to replace a file that is open in a spreadsheet program."""
    real = os.replace

    def replace(source: Path, target: Path) -> None:
        if Path(target).name == "one.csv":
            raise PermissionError(errno.EACCES, "The process cannot access the file")
        real(source, target)

    with monkeypatch.context() as patch:
        patch.setattr(os, "replace", replace)
        done = save(folder, folder.parent, CHANGES, read_whole(folder).snapshot)
        assert isinstance(done, Saved) and done.waiting == ("one.csv",)
        assert read_whole(folder).files == NEW
        more = save(folder, folder.parent, {"one.csv": b"newer"}, done.snapshot)
        assert isinstance(more, Refused) and "one.csv" in more.text and "Close it" in more.cure
    assert isinstance(save(folder, folder.parent, {"one.csv": b"newer"}, done.snapshot), Saved)
    assert files_in(folder) == {**NEW, "one.csv": b"newer"}


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="needs a folder that may only be read")
def test_a_folder_that_may_only_be_read_refuses_in_plain_words(folder: Path) -> None:
    seen = read_whole(folder).snapshot
    folder.chmod(0o555)
    try:
        done = save(folder, folder.parent, CHANGES, seen)
    finally:
        folder.chmod(0o755)
    assert isinstance(done, Refused) and "may only be read" in done.text
    assert files_in(folder) == OLD


@pytest.mark.parametrize("number", [errno.EACCES, errno.EROFS, errno.EPERM])
def test_no_leave_to_write_is_said_in_plain_words(folder: Path, number: int) -> None:
    seen = read_whole(folder).snapshot
    with failing_from(0, OSError(number, os.strerror(number))):
        done = save(folder, folder.parent, CHANGES, seen)
    assert isinstance(done, Refused) and "may only be read" in done.text and "download" in done.cure
    assert files_in(folder) == OLD


def test_a_root_that_is_missing_is_not_made(tmp_path: Path) -> None:
    root = tmp_path / "unplugged"
    done = save(root / "job", root, OLD)
    assert isinstance(done, Refused) and "is not there" in done.text and "drive" in done.cure
    assert not root.exists()


# --- nothing outside the jobs' root ----------------------------------------------------


@pytest.mark.parametrize(
    "name",
    [
        "../x.csv",
        "..\\x.csv",
        "/tmp/x.csv",
        "C:x.csv",
        "sub/x.csv",
        ".hidden.csv",
        "x.csv.",
        "con.csv",
        "LPT1.csv",
        "nul .csv",
        "x\0.csv",
        "x\u202ecsv.csv",
        "x.exe",
        "job.toml.lnk",
        "",
        "a" * 300 + ".csv",
    ],
)
def test_a_name_that_is_a_path_or_no_name_is_refused(folder: Path, name: str) -> None:
    there = everything(folder.parent.parent)
    done = save(folder, folder.parent, {name: b"x", "one.csv": b"x"}, read_whole(folder).snapshot)
    assert isinstance(done, Refused) and "no name for a file" in done.text
    assert everything(folder.parent.parent) == there


@pytest.mark.parametrize("place", ["..", "../other", "sub/job", ".hidden", "con", "a:b"])
def test_a_folder_elsewhere_is_refused(folder: Path, place: str) -> None:
    there = everything(folder.parent.parent)
    assert isinstance(save(folder.parent / place, folder.parent, OLD), Refused)
    assert everything(folder.parent.parent) == there


@pytest.mark.parametrize("link", ["folder", "file", "history", "journal", "ledger", "broken file"])
def test_a_link_leads_nothing_outside(folder: Path, tmp_path: Path, link: str) -> None:
    outside = tmp_path / "outside"
    outside.mkdir()
    (outside / "one.csv").write_bytes(b"outside\n")
    job = folder
    try:
        if link == "folder":
            job = folder.with_name("linked")
            job.symlink_to(outside, target_is_directory=True)
        elif link == "file":
            (folder / "one.csv").unlink()
            (folder / "one.csv").symlink_to(outside / "one.csv")
        elif link == "broken file":
            (folder / "three.csv").symlink_to(outside / "three.csv")
        else:
            place = {
                "history": folder / HISTORY,
                "journal": folder / JOURNAL,
                "ledger": folder.parent / LEDGER,
            }
            place[link].symlink_to(outside, target_is_directory=True)
    except OSError:
        pytest.skip("links may not be made here")
    done = save(job, folder.parent, CHANGES, read_whole(job).snapshot)
    assert everything(outside) == {"one.csv": b"outside\n"}
    assert isinstance(done, Saved if link == "journal" else Refused)


def test_a_commit_that_names_paths_counts_for_nothing(folder: Path) -> None:
    journal = folder / JOURNAL
    (journal / "new").mkdir(parents=True)
    (folder.parent / "x.csv").write_bytes(b"outside the job")
    for content in (
        {"token": "t", "put": ["../../x.csv"], "drop": [], "stamp": "s"},
        {"token": "t", "put": [], "drop": ["../x.csv"], "stamp": "s"},
        {"token": "t", "put": [], "drop": [], "stamp": "../../s"},
        {"token": 1, "put": [], "drop": [], "stamp": "s"},
        {"put": []},
        [],
    ):
        (journal / COMMIT).write_text(json.dumps(content), encoding="utf-8")
        assert pending(folder) is None
        assert read_whole(folder).files == OLD
    assert finish(folder, folder.parent)
    assert (folder.parent / "x.csv").exists() and not journal.exists()


def test_names_that_some_systems_take_for_one_are_refused(folder: Path) -> None:
    seen = read_whole(folder).snapshot
    assert isinstance(save(folder, folder.parent, {"One.csv": b"x"}, seen), Refused)
    assert isinstance(save(folder, folder.parent, {"x.csv": b"x", "X.csv": b"y"}, seen), Refused)
    renamed = save(folder, folder.parent, {"One.csv": b"x", "one.csv": None}, seen)
    assert isinstance(renamed, Refused)  # the two could not be told apart there
    assert files_in(folder) == OLD
