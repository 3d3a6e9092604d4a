"""The command line: exit codes, one line a problem, and nothing written when nothing can be."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pypdf
import pytest

from dashboard import command_line, launch
from dashboard.handover.bundle import FILES
from tests.conftest import ROOT

SHEET = """# stage: {stage}
# date: 2026-03-0{day}
# test pressure: 28 inH2O
# barometer: 1002 hPa
# air temperature: 21 degC
# humidity: 40 %
lift [mm],intake [L/s]
2,{a}
4,{b}
6,{c}
"""


def write_sheet(folder: Path, stage: str, day: int, flows: tuple[object, object, object]) -> Path:
    path = folder / f"{stage.replace(' ', '-')}.csv"
    a, b, c = flows
    path.write_text(SHEET.format(stage=stage, day=day, a=a, b=b, c=c), encoding="utf-8")
    return path


@pytest.fixture
def sheets(tmp_path: Path) -> list[str]:
    before = write_sheet(tmp_path, "as cast", 1, (30.1, 58.2, 80.4))
    after = write_sheet(tmp_path, "bowl blend", 2, (31.0, 62.9, 90.2))
    return [str(before), str(after)]


def run(*words: str, folder: Path = ROOT, **more: object) -> subprocess.CompletedProcess[bytes]:
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "ascii"}
    return subprocess.run(
        [sys.executable, "-m", "dashboard", *words], cwd=folder, env=environment, capture_output=True, **more
    )


# numbers and check ------------------------------------------------------------------------------


def test_numbers_of_bare_sheets(sheets: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert command_line.main(["numbers", *sheets]) == 0
    out, err = capsys.readouterr()
    numbers = json.loads(out)
    assert err == ""
    assert numbers["format"] == "gain-ledger numbers 1"
    assert [stage["name"] for stage in numbers["stages"]] == ["as cast", "bowl blend"]
    assert [stage["exhaust"] for stage in numbers["stages"]] == [None, None]
    assert numbers["gains"][0]["gain_m3_s"][-1] == pytest.approx((90.2 - 80.4) / 1000, rel=0.05)


@pytest.mark.parametrize("job", ["sprint-four", "touring-twin", "bare-sheets"])
def test_demo_jobs_from_any_folder(job: str, demo_runs: Path, tmp_path: Path) -> None:
    done = run("numbers", str(demo_runs / job), folder=tmp_path)
    assert (done.returncode, done.stderr) == (0, b"")
    numbers = json.loads(done.stdout.decode("utf-8"))
    assert len(numbers["stages"]) >= 3
    assert numbers["gains"]
    assert list(tmp_path.iterdir()) == []


JOB_FILE = """title = "Invented head"
[intake]
valve_diameter = "33.5 mm"
valves_per_cylinder = 1
stem_diameter = "5.5 mm"
throat_diameter = "29 mm"
seat_angle = "45 deg"
seat_width = "1.2 mm"
[[stage]]
name = "as cast"
[[stage]]
name = "bowl blend"
"""


def test_check_says_stop_and_numbers_still_work(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "job.toml").write_text(JOB_FILE, encoding="utf-8")
    write_sheet(tmp_path, "as cast", 1, (15.1, 29.2, 40.4))
    write_sheet(tmp_path, "bowl blend", 2, (15.5, 316.0, 44.2))  # a slipped decimal point
    assert command_line.main(["check", str(tmp_path)]) == 1
    out, err = capsys.readouterr()
    stops = [line for line in out.splitlines() if line.startswith("stop: ")]
    assert len(stops) == 1 and stops[0].endswith("(bowl-blend.csv, line 9)")
    assert err == ""
    assert {line.split(":")[0] for line in out.splitlines()} <= {"stop", "look", "note"}
    assert command_line.main(["numbers", str(tmp_path)]) == 0
    numbers = json.loads(capsys.readouterr().out)
    assert [flow is None for flow in numbers["stages"][1]["intake"]["flow_m3_s"]] == [False, True, False]
    assert [gain["gain_m3_s"][1] for gain in numbers["gains"]] == [None, None]


def test_check_without_a_stop_exits_0(sheets: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert command_line.main(["check", *sheets]) == 0
    assert "stop:" not in capsys.readouterr().out


def test_units_of_a_bare_table_are_named_on_the_command_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "head.csv"
    path.write_text("lift,intake\n0.100,60\n0.200,118\n0.300,165\n", encoding="utf-8")
    assert command_line.main(["numbers", str(path)]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert "--lift" in err or "lift" in err
    words = ["numbers", str(path), "--lift", "in", "--flow", "cfm", "--test-pressure", "28 inH2O"]
    assert command_line.main(words) == 0
    curve = json.loads(capsys.readouterr().out)["stages"][0]["intake"]
    assert curve["lift_m"] == pytest.approx([0.00254, 0.00508, 0.00762])
    assert curve["flow_m3_s"][0] == pytest.approx(60 * 0.3048**3 / 60, rel=0.02)


# what cannot be used ----------------------------------------------------------------------------


@pytest.mark.parametrize("command", ["numbers", "check", "handover"])
def test_all_problems_at_once_one_line_each(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bad = [
        str(write_sheet(tmp_path, "as cast", 1, ("3O.1", 58.2, 80.4))),
        str(write_sheet(tmp_path, "bowl blend", 2, (31.0, -62.9, 90.2))),
        str(tmp_path / "missing.csv"),
    ]
    out_folder = tmp_path / "out"
    words = [command, *bad] + (["--out", str(out_folder)] if command == "handover" else [])
    assert command_line.main(words) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert not out_folder.exists()
    lines = err.splitlines()
    assert any("as-cast.csv, line 8" in line and "3O.1" in line for line in lines)
    assert any("bowl-blend.csv, line 9" in line for line in lines)
    assert any("missing.csv" in line for line in lines)
    assert len(lines) == 3
    assert "Traceback" not in err


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"\x00\x01\x02" * 50,
        b"PK\x03\x04" + bytes(60),
        b"\xff\xfe",
        b"no table here\n",
        b"lift [Pa],intake [L/s]\n1,2\n",
    ],
    ids=["empty", "binary", "zip", "two bytes", "prose", "wrong unit"],
)
def test_unreadable_files(content: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "bad.csv"
    path.write_bytes(content)
    assert command_line.main(["numbers", str(path)]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith(("bad.csv", str(path)))
    assert "Traceback" not in err


@pytest.mark.parametrize(
    "words",
    [
        ["numbers"],
        ["nonsense"],
        ["handover", "a.csv"],
        ["handover", "a.csv", "--out", "x", "--only", "summary.doc"],
        ["numbers", "a.csv", "--lift", "inH2O"],
        ["numbers", "a.csv", "--test-pressure", "28"],
        ["open", "no-such-folder"],
        ["open", "x" * 5_000],
        ["check", "x" * 5_000],
        ["handover", "x" * 5_000, "--out", "x"],
        ["import", "x" * 5_000, "--to", "x"],
        ["--port", "x"],
        ["--port", "0"],
        ["open", ".", "--port", "99999999"],
    ],
    ids=lambda words: " ".join(words)[:40],
)
def test_a_wrong_call_is_one_line(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    try:
        code = command_line.main(words)
    except SystemExit as left:
        code = left.code
    out, err = capsys.readouterr()
    assert (code, out) == (2, "")
    assert len(err.splitlines()) == 1


# hand-over --------------------------------------------------------------------------------------


@pytest.mark.parametrize("out", ["x" * 5_000, "a\0b"], ids=["too long", "no path"])
def test_a_folder_that_cannot_be_is_one_line(
    out: str, sheets: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert command_line.main(["handover", *sheets, "--out", out, "--only", "numbers.txt"]) == 2
    written, err = capsys.readouterr()
    assert written == ""
    assert "cannot be written to" in err and len(err.splitlines()) == 1


def test_handover_writes_and_names_its_files(
    sheets: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "new" / "out"
    assert command_line.main(["handover", *sheets, "--out", str(out)]) == 0
    names = [Path(line).name for line in capsys.readouterr().out.splitlines()]
    assert sorted(names) == sorted(path.name for path in out.iterdir()) == sorted([*FILES, "handover.zip"])
    with zipfile.ZipFile(out / "handover.zip") as archive:
        packed = {Path(name).name: archive.read(name) for name in archive.namelist()}
    assert packed == {name: (out / name).read_bytes() for name in FILES}
    assert "bowl blend" in pypdf.PdfReader(out / "summary.pdf").pages[0].extract_text()
    command_line.main(["numbers", *sheets])
    assert (out / "numbers.json").read_text(encoding="utf-8") == capsys.readouterr().out


def test_handover_only_and_in_us_units(sheets: list[str], tmp_path: Path) -> None:
    out = tmp_path / "out"
    words = ["handover", *sheets, "--out", str(out), "--only", "summary.pdf", "--units", "us"]
    assert command_line.main(words) == 0
    assert [path.name for path in out.iterdir()] == ["summary.pdf"]
    text = pypdf.PdfReader(out / "summary.pdf").pages[0].extract_text()
    assert "cfm" in text and "L/s" not in text


def test_handover_replaces_the_file_of_before(sheets: list[str], tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (out / "numbers.json").write_text("old", encoding="utf-8")
    assert command_line.main(["handover", *sheets, "--out", str(out), "--only", "numbers.json"]) == 0
    assert json.loads((out / "numbers.json").read_text(encoding="utf-8"))["gains"]
    assert len(list(out.iterdir())) == 1


def test_handover_to_a_place_that_is_a_file(
    sheets: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    taken = tmp_path / "taken"
    taken.write_text("mine", encoding="utf-8")
    assert command_line.main(["handover", *sheets, "--out", str(taken)]) == 2
    out, err = capsys.readouterr()
    assert out == "" and len(err.splitlines()) == 1
    assert taken.read_text(encoding="utf-8") == "mine"


def test_handover_of_many_jobs_shows_how_far_it_is(
    demo_runs: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    jobs, out = tmp_path / "jobs", tmp_path / "out"
    names = ["head-1", "head-2", "head-3"]
    for name in names:
        shutil.copytree(demo_runs / "bare-sheets", jobs / name)
    words = ["handover", str(jobs), "--out", str(out), "--only", "numbers.txt,handover.zip"]
    assert command_line.main(words) == 0
    told, err = capsys.readouterr()
    assert err.splitlines() == [f"{n} of 3: {name}" for n, name in enumerate(names, start=1)]
    assert len(told.splitlines()) == 6
    for name in names:
        assert sorted(path.name for path in (out / name).iterdir()) == ["handover.zip", "numbers.txt"]


def test_a_bad_job_stops_no_other(
    demo_runs: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bad = tmp_path / "bad"
    bad.mkdir()
    (bad / "a.csv").write_text("lift [mm],intake [L/s]\n1,3O\n", encoding="utf-8")
    out = tmp_path / "out"
    words = ["handover", str(bad), str(demo_runs / "bare-sheets"), "--out", str(out), "--only", "numbers.txt"]
    assert command_line.main(words) == 2
    assert "bad: a.csv, line 2" in capsys.readouterr().err
    assert [path.name for path in out.iterdir()] == ["bare-sheets"]


def test_two_jobs_of_one_name_do_not_overwrite_each_other(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for place in ("a", "b"):
        folder = tmp_path / place / "four"
        folder.mkdir(parents=True)
        write_sheet(folder, "as cast", 1, (30.1, 58.2, 80.4))
    words = [
        "handover",
        str(tmp_path / "a" / "four"),
        str(tmp_path / "b" / "four"),
        "--out",
        str(tmp_path / "o"),
    ]
    assert command_line.main(words) == 2
    assert "two jobs have this name" in capsys.readouterr().err
    assert not (tmp_path / "o").exists()


def test_handover_withholds(sheets: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["handover", *sheets, "--out", str(tmp_path / "o"), "--withhold", "prices,customer"]
    assert command_line.main([*words, "--only", "job.zip"]) == 2
    assert "job.zip holds" in capsys.readouterr().err
    assert not (tmp_path / "o").exists()
    assert command_line.main([*words, "--only", "numbers.txt,numbers.csv,handover.zip"]) == 0
    with zipfile.ZipFile(tmp_path / "o" / "handover.zip") as archive:
        assert sorted(Path(name).name for name in archive.namelist()) == sorted({*FILES} - {"job.zip"})
    capsys.readouterr()
    (tmp_path / "o" / "job.zip").write_bytes(b"of yesterday")
    assert command_line.main([*words, "--only", "numbers.txt,numbers.csv,handover.zip"]) == 0
    assert capsys.readouterr().err.splitlines() == [
        f"{tmp_path / 'o' / 'job.zip'}: of an earlier hand-over, and may hold what is withheld."
    ]


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (["--before", "as cast"], "give --before and --after"),
        (["--before", "x", "--after", "y"], "Compared are: as cast and bowl blend"),
    ],
)
def test_stills_of_stages_that_cannot_be_compared(
    more: list[str], said: str, sheets: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["handover", *sheets, "--out", str(tmp_path / "o"), "--only", "still-overlay.png", *more]
    assert command_line.main(words) == 2
    err = capsys.readouterr().err
    assert said in err and len(err.splitlines()) == 1
    assert not (tmp_path / "o").exists()


# the process ------------------------------------------------------------------------------------


def test_a_closed_pipe_leaves_no_traceback(demo_runs: Path) -> None:
    command = [sys.executable, "-m", "dashboard", "numbers", str(demo_runs / "sprint-four")]
    process = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    process.stdout.close()  # long before the first byte is written
    error = process.stderr.read()
    process.stderr.close()
    assert process.wait(timeout=60) == 1
    assert error == b""


def test_output_is_utf8_whatever_the_console(tmp_path: Path) -> None:
    path = write_sheet(tmp_path, "бочка čistá", 1, (30.1, 58.2, 80.4))
    done = run("numbers", str(path))
    assert done.returncode == 0
    assert json.loads(done.stdout.decode("utf-8"))["stages"][0]["name"] == "бочка čistá"


# starting the app -------------------------------------------------------------------------------


@pytest.fixture
def started(monkeypatch: pytest.MonkeyPatch) -> list[tuple[dict[str, str], int | None]]:
    calls: list[tuple[dict[str, str], int | None]] = []
    monkeypatch.setattr(
        launch, "run_app", lambda environment, port, browser: calls.append((environment, port))
    )
    return calls


def test_no_arguments_open_the_demo_jobs(started: list) -> None:
    assert command_line.main(["--port", "8765"]) == 0
    assert started == [({"GAIN_LEDGER_ROOT": str(ROOT / "demo_runs")}, 8765)]


def test_open_tells_a_job_from_a_folder_of_jobs(started: list, demo_runs: Path) -> None:
    job = demo_runs / "sprint-four"
    command_line.main(["open", str(demo_runs)])
    command_line.main(["open", str(job), "--customer", "--port", "8766"])
    assert started[0] == ({"GAIN_LEDGER_ROOT": str(demo_runs)}, None)
    assert started[1] == (
        {"GAIN_LEDGER_ROOT": str(demo_runs), "GAIN_LEDGER_JOB": str(job), "GAIN_LEDGER_READER": "customer"},
        8766,
    )


def test_a_customer_is_not_shown_a_folder_of_jobs(started: list, demo_runs: Path) -> None:
    assert command_line.main(["open", str(demo_runs), "--customer"]) == 2
    assert started == []


def test_the_server_stays_on_this_machine_and_silent() -> None:
    given = launch.arguments(8501, browser=False)
    for setting in (
        "browser.gatherUsageStats=false", "server.address=127.0.0.1", "client.showErrorLinks=false",
        "client.toolbarMode=minimal", "server.headless=true", "server.port=8501",
    ):  # fmt: skip
        assert f"--{setting}" in given
    assert given[1] == str(ROOT / "dashboard" / "app.py")
