"""The command line where its streams, its names or its surroundings are bad."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path

import pytest

from dashboard.command_line import main
from dashboard.stopping import STOPPED
from dashboard.unusable import UNUSABLE

needs_shell = pytest.mark.skipif(os.name == "nt", reason="needs a POSIX shell")


def run(
    root: Path,
    *words: str | bytes,
    switches: tuple[str, ...] = (),
    environment: Mapping[str, str] | None = None,
) -> subprocess.CompletedProcess[bytes]:
    """Run a command as a person would, in another process."""
    return subprocess.run(
        [sys.executable, *switches, "-m", "dashboard", *words],
        cwd=root,
        env={**os.environ, **(environment or {})},
        capture_output=True,
    )


def in_shell(root: Path, redirected: str, *words: str) -> subprocess.CompletedProcess[bytes]:
    """Run a command with its streams redirected as a shell does it."""
    line = f'exec "$@" {redirected}'
    return subprocess.run(
        ["sh", "-c", line, "sh", sys.executable, "-m", "dashboard", *words], cwd=root, capture_output=True
    )


@needs_shell
@pytest.mark.parametrize("closed", ["2>&-", "<&- >&- 2>&-"])
def test_closed_streams_keep_nothing_from_being_done(
    root: Path, demo_runs: Path, tmp_path: Path, closed: str
) -> None:
    job = str(demo_runs / "bare-sheets")
    done = in_shell(root, closed, "handover", job, "--only", "numbers.txt", "--out", str(tmp_path))
    assert (done.returncode, done.stderr) == (0, b"")
    assert [path.name for path in tmp_path.iterdir()] == ["numbers.txt"]


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="no disk here is always full")
def test_output_to_a_full_disk_is_a_sentence(root: Path, demo_runs: Path) -> None:
    done = in_shell(root, ">/dev/full", "check", str(demo_runs / "bare-sheets"))
    assert done.returncode == 1
    assert (
        done.stderr.decode() == "The output cannot be written: No space left on device. Send it elsewhere.\n"
    )


@needs_shell
def test_names_that_are_no_text(root: Path, demo_runs: Path, tmp_path: Path) -> None:
    odd = os.fsencode(tmp_path) + b"/old\xff"
    try:
        os.mkdir(odd)
    except OSError:
        pytest.skip("names are always text here")
    (Path(os.fsdecode(odd)) / "one.csv").write_bytes(
        (demo_runs / "bare-sheets" / "valve-job.csv").read_bytes()
    )
    done = run(root, "handover", str(tmp_path), "--only", "numbers.txt", "--out", odd + b"/out")
    assert done.returncode == 0, done.stderr
    assert os.path.isfile(odd + b"/out/old\xff/numbers.txt")
    assert b"1 of 1: old\\udcff" in done.stderr
    opened = run(root, "open", odd)
    assert opened.returncode == UNUSABLE
    assert b"Rename the folder" in opened.stderr


@pytest.mark.parametrize(
    ("switches", "environment"),
    [
        (("-O",), {}),
        (("-W", "error"), {}),
        ((), {"LC_ALL": "C", "PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"}),
    ],
    ids=["without asserts", "warnings are errors", "ASCII"],
)
def test_surroundings_change_nothing(
    root: Path,
    demo_runs: Path,
    switches: tuple[str, ...],
    environment: dict[str, str],
    capsys: pytest.CaptureFixture[str],
) -> None:
    words = ("check", str(demo_runs / "bare-sheets"))
    code, usual = main(words), capsys.readouterr().out
    assert "±" in usual
    done = run(root, *words, switches=switches, environment=environment)
    told = done.stdout.decode().replace(os.linesep, "\n")
    assert (done.returncode, told, done.stderr) == (code, usual, b"")


def test_a_port_in_use_is_a_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        assert main(["--port", str(port)]) == UNUSABLE
    assert capsys.readouterr().err.startswith(f"Port {port} is in use. Give another with --port")


@pytest.mark.skipif(os.name == "nt", reason="Ctrl-C reaches a whole console there")
@pytest.mark.parametrize(
    ("words", "module"), [((), "core.files"), ((), "streamlit"), (("check", "."), "scipy")]
)
def test_ctrl_c_while_it_is_being_loaded(root: Path, words: tuple[str, ...], module: str) -> None:
    command = [sys.executable, "-X", "importtime", "-m", "dashboard", *words]
    with subprocess.Popen(command, cwd=root, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        loaded = iter(process.stderr.readline, b"")
        assert any(line.decode().rpartition("|")[2].strip().startswith(module) for line in loaded)
        process.send_signal(signal.SIGINT)
        _, told = process.communicate(timeout=60)
    assert process.returncode == STOPPED
    assert b"Traceback" not in told
    assert told.endswith(b"Stopped before anything was begun.\n")


@needs_shell
def test_no_home_no_temporary_folder_and_a_folder_that_is_gone(
    demo_runs: Path, root: Path, tmp_path: Path
) -> None:
    gone, out = tmp_path / "gone", tmp_path / "out"
    gone.mkdir()
    line = 'cd "$1" && rmdir "$1" && shift && exec env -u HOME TMPDIR="$PWD/none" "$@"'
    words = ["handover", str(demo_runs / "bare-sheets"), "--out", str(out)]
    done = subprocess.run(
        ["sh", "-c", line, "sh", str(gone), sys.executable, "-m", "dashboard", *words],
        env={**os.environ, "PYTHONPATH": str(root)},
        capture_output=True,
    )
    assert done.returncode == 0, done.stderr
    assert (out / "summary.pdf").stat().st_size > 1000
