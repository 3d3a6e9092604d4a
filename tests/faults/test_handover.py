"""A hand-over that is cut short: every file in the folder is whole, and the person is told."""

from __future__ import annotations

import errno
import os
import shutil
import signal
import subprocess
import sys
import time
from functools import partial
from pathlib import Path

import pytest

from dashboard.command_line import main
from dashboard.handover.save import write_files
from dashboard.stopping import STOPPED
from dashboard.unusable import UNUSABLE
from tests.core.saving import KilledError, failing_from

OLD = {"summary.pdf": b"old pdf", "numbers.csv": b"old csv"}
NEW = {"summary.pdf": b"new pdf", "numbers.csv": b"new csv", "numbers.txt": b"new text"}


def visible(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir() if not path.name.startswith(".")}


def full(path: Path) -> OSError:
    return OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(path))


def test_killed_at_any_step_it_leaves_only_whole_files(tmp_path: Path) -> None:
    for step in range(100):
        out = tmp_path / str(step)
        write_files(out, OLD)
        try:
            with failing_from(step, KilledError()):
                write_files(out, NEW)
        except KilledError:
            found = visible(out)
            assert OLD.keys() <= found.keys() <= NEW.keys()
            assert all(data in (OLD.get(name), NEW[name]) for name, data in found.items())
        else:
            assert visible(out) == NEW
            assert step >= 2 * len(NEW)  # a flush and a move each
            return
    pytest.fail("it never came to its end")


def test_a_disk_that_fills_up_leaves_all_as_it_was(tmp_path: Path) -> None:
    write_files(tmp_path, OLD)
    for step in range(1, 1 + len(NEW)):  # each file's flush, after the folder was made sure of
        with failing_from(step, full(tmp_path), once=True), pytest.raises(OSError, match="No space"):
            write_files(tmp_path, NEW)
        assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == OLD


def test_a_full_disk_is_said_with_the_file(
    tmp_path: Path, demo_runs: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["handover", str(demo_runs / "bare-sheets"), "--only", "numbers.csv", "--out", str(tmp_path)]
    with failing_from(1, full(tmp_path)):
        assert main(words) == UNUSABLE
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.startswith(f"{tmp_path / 'numbers.csv'}: cannot be written to (No space left on device).")
    assert "Make room" in told.err


def test_a_folder_in_the_place_of_a_file_is_named_before_anything_is_written(
    tmp_path: Path, demo_runs: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "numbers.txt").mkdir()
    only = "numbers.csv,numbers.txt"
    words = ["handover", str(demo_runs / "bare-sheets"), "--only", only, "--out", str(tmp_path)]
    assert main(words) == UNUSABLE
    assert f"{tmp_path / 'numbers.txt'}: cannot be written to" in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["numbers.txt"]


def test_two_jobs_whose_names_differ_in_case_do_not_overwrite_each_other(
    tmp_path: Path, demo_runs: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sheet = (demo_runs / "bare-sheets" / "valve-job.csv").read_bytes()
    folders = [tmp_path / "a" / "Head", tmp_path / "b" / "head"]
    for folder in folders:
        folder.mkdir(parents=True)
        (folder / "one.csv").write_bytes(sheet)
    out = tmp_path / "out"
    assert main(["handover", *map(str, folders), "--only", "numbers.txt", "--out", str(out)]) == UNUSABLE
    assert "Head, head: two jobs have this name" in capsys.readouterr().err
    assert not out.exists()


@pytest.mark.skipif(os.name == "nt", reason="Ctrl-C reaches a whole console there")
def test_ctrl_c_among_many_jobs_is_a_sentence_and_whole_files(
    root: Path, demo_runs: Path, tmp_path: Path
) -> None:
    jobs, out = tmp_path / "jobs", tmp_path / "out"
    for number in range(20):  # far more than are done before the signal comes
        shutil.copytree(demo_runs / "sprint-four", jobs / f"job-{number}")
    command = [sys.executable, "-m", "dashboard", "handover", str(jobs), "--out", str(out)]
    heard = partial(signal.signal, signal.SIGINT, signal.SIG_DFL)  # what runs in the background ignores it
    with subprocess.Popen(
        command, cwd=root, stdout=subprocess.PIPE, stderr=subprocess.PIPE, preexec_fn=heard
    ) as process:
        process.stderr.readline()  # the first job is at work
        time.sleep(0.3)
        process.send_signal(signal.SIGINT)
        _, told = process.communicate(timeout=60)
    assert process.returncode == STOPPED, told
    assert told.decode().splitlines()[-1] == "Stopped. Every file that was written is whole."
    assert b"Traceback" not in told
    assert not list(out.rglob(".*"))
