"""The command import: what it prints, what it asks instead of guessing, and what it leaves alone."""

from __future__ import annotations

import io
import json
import os
from pathlib import Path

import pytest

from core.files.load import load_job
from dashboard.command_line import main

SHEETS = Path(__file__).parents[1] / "spreadsheets"


@pytest.fixture
def job(tmp_path: Path) -> Path:
    return tmp_path / "jobs" / "trial"


@pytest.fixture(autouse=True)
def jobs(job: Path) -> None:
    job.parent.mkdir()


def run(*words: object) -> int:
    try:
        return main(["import", *map(str, words)])
    except SystemExit as left:
        return int(left.code or 0)


def contents(folder: Path) -> dict[str, bytes]:
    return (
        {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}
        if folder.exists()
        else {}
    )


def test_a_spreadsheet_becomes_a_job(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(SHEETS / "blocks.xlsx", "--to", job) == 0
    said = capsys.readouterr().out
    assert "column B: stage 'Stock', intake, in cfm, at 28 inH2O: its heading says 'Stock'" in said
    assert sorted(contents(job)) == ["stage-1.csv", "stage-2.csv", "stock.csv"]
    loaded = load_job([job])
    assert loaded.problems == ()
    assert [stage.name for stage in loaded.job.stages] == ["Stock", "Stage 1", "Stage 2"]
    assert main(["numbers", str(job)]) == 0
    numbers = json.loads(capsys.readouterr().out)
    assert [len(stage["exhaust"]["lift_m"]) for stage in numbers["stages"]] == [5, 5, 5]


def test_what_is_not_said_is_asked_and_nothing_written(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(SHEETS / "unitless.csv", "--to", job) == 2
    said = capsys.readouterr().err.splitlines()
    assert len(said) == 2
    assert said[0].endswith("They look like in. Answer: --lift in.")
    assert said[1].endswith("in which unit are the readings? Answer: --flow cfm.")
    assert not job.exists()
    assert run(SHEETS / "unitless.csv", "--to", job, "--lift", "in", "--flow", "cfm") == 0
    assert len(contents(job)) == 2


def test_options_do_not_overrule_the_sheet(job: Path) -> None:
    assert run(SHEETS / "blocks.xlsx", "--to", job, "--lift", "mm", "--flow", "L/s", "--side", "exhaust") == 0
    assert b"lift [in],intake [cfm],exhaust [cfm]" in contents(job)["stock.csv"]


def test_one_head_of_several(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(SHEETS / "heads.xlsx", "--to", job) == 2
    assert "--sheet NAME" in capsys.readouterr().err
    assert run(SHEETS / "heads.xlsx", "--to", job, "--sheet", "Head B") == 0
    assert len(contents(job)) == 2


def test_fractions_that_became_dates(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(SHEETS / "dates.xlsx", "--to", job) == 2
    assert '--answer "dates=month/day|day/month"' in capsys.readouterr().err
    assert run(SHEETS / "dates.xlsx", "--to", job, "--answer", "dates=month/day") == 0
    assert b"\n0.0625," in contents(job)["stock.csv"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("nowhere.xlsx",), "cannot be read"),
        ((SHEETS,), "this is no file"),
        ((SHEETS / "plain.csv", "--answer", "side=left"), "side: 'left' is no answer"),
        ((SHEETS / "plain.csv", "--answer", "nonsense"), "no pair"),
        ((SHEETS / "plain.csv", "--lift", "furlong"), "furlong"),
        ((SHEETS / "plain.csv", "--stage", "Nothing=New"), "there is no stage 'Nothing'"),
    ],
)
def test_wrong_input(words: tuple, said: str, job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(*words, "--to", job) == 2
    assert said in capsys.readouterr().err
    assert not job.exists()


def test_a_damaged_file_is_one_line(job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    broken = tmp_path / "broken.xlsx"
    broken.write_bytes((SHEETS / "blocks.xlsx").read_bytes()[:-300])
    assert run(broken, "--to", job) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert len(err.splitlines()) == 1
    assert "damaged" in err


def test_a_job_s_stages_are_kept_to(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job.mkdir()
    written = '# by hand\n[[stage]]\nname = "as cast"\n\n[[stage]]\nname = "seats"\n'
    (job / "job.toml").write_text(written, encoding="utf-8")
    assert run(SHEETS / "plain.csv", "--to", job) == 2
    assert "--add-stages" in capsys.readouterr().err
    assert list(contents(job)) == ["job.toml"]
    names = ("--stage", "Valve job=seats")
    assert run(SHEETS / "plain.csv", "--to", job, *names, "--add-stages") == 0
    text = (job / "job.toml").read_text(encoding="utf-8")
    assert text.startswith(written.rstrip("\n"))
    loaded = load_job([job])
    assert [stage.name for stage in loaded.job.stages] == ["as cast", "seats", "Bowl blend"]
    assert {sheet.stage for sheet in loaded.job.sheets} == {"as cast", "seats", "Bowl blend"}


def test_nothing_is_overwritten_or_taken_twice(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(SHEETS / "plain.csv", "--to", job) == 0
    before = contents(job)
    assert run(SHEETS / "plain.csv", "--to", job) == 2
    assert "these readings are in the job already, in as-cast.csv" in capsys.readouterr().err
    assert contents(job) == before
    assert run(SHEETS / "blocks.xlsx", "--to", job) == 0
    assert {name: data for name, data in contents(job).items() if name in before} == before


def test_names_never_become_paths(job: Path, tmp_path: Path) -> None:
    sheet = tmp_path / "x.csv"
    sheet.write_text(
        'Lift in,../../out intake cfm,"C:\\con intake cfm"\n.1,10,11\n.2,20,22\n.3,30,33\n', "utf-8"
    )
    assert run(sheet, "--to", job) == 0
    assert len(contents(job)) == 2
    assert sorted(path.name for path in tmp_path.iterdir()) == ["jobs", "x.csv"]
    assert [path.name for path in job.parent.iterdir() if not path.name.startswith(".")] == ["trial"]


@pytest.mark.skipif(not hasattr(os, "symlink"), reason="no symbolic links here")
def test_a_link_out_of_the_jobs_folder_is_not_followed(job: Path, tmp_path: Path) -> None:
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    job.symlink_to(elsewhere, target_is_directory=True)
    assert run(SHEETS / "plain.csv", "--to", job) == 2
    assert list(elsewhere.iterdir()) == []


def test_a_kept_mapping_needs_no_questions(
    job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(SHEETS / "unitless.csv", "--to", job, "--lift", "in", "--flow", "cfm", "--keep") == 0
    text = (SHEETS / "unitless.csv").read_text(encoding="utf-8")
    following = tmp_path / "next.csv"
    following.write_text(
        text.replace("start", "third").replace("end", "fourth").replace(".1,", ".1,1"), "utf-8"
    )
    capsys.readouterr()
    assert run(following, "--to", job) == 0
    assert "The mapping that job.toml keeps" in capsys.readouterr().out
    loaded = load_job([job])
    assert loaded.problems == ()
    assert {stage.name for stage in loaded.job.stages} == {"start", "end", "third", "fourth"}


OWN = """\
# stage: bowls
# port: 2
# test pressure: 25 inH2O
# barometer: 984 hPa
lift [mm],intake [L/s]
1,21.4
2,43.1
3,62.0
"""


def test_a_bench_sheet_is_taken_as_it_stands(
    job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sheet = tmp_path / "monday.csv"
    sheet.write_bytes(OWN.encode())
    assert run(sheet, "--to", job) == 0
    assert "a bench sheet already, taken as it stands" in capsys.readouterr().out
    assert contents(job) == {"monday.csv": OWN.encode()}
    assert run(sheet, "--to", job) == 2
    assert "in the job already, in monday.csv" in capsys.readouterr().err
    renamed = tmp_path / "renamed" / "job"
    renamed.parent.mkdir()
    assert run(sheet, "--to", renamed, "--stage", "Bowls=bowl blend", "--add-stages") == 0
    loaded = load_job([renamed])
    assert loaded.problems == ()
    (found,) = loaded.job.sheets
    assert (found.stage, found.port, len(found.readings.intake)) == ("bowl blend", "2", 3)


def test_a_bench_sheet_keeps_its_keys_where_units_are_given(job: Path, tmp_path: Path) -> None:
    sheet = tmp_path / "bare.csv"
    sheet.write_text(OWN.replace(" [mm]", "").replace(" [L/s]", ""), "utf-8")
    assert run(sheet, "--to", job) == 2
    assert not job.exists()
    assert run(sheet, "--to", job, "--lift", "mm", "--flow", "L/s") == 0
    assert b"# stage: bowls\n# port: 2\n# test pressure: 25 inH2O\n" in contents(job)["bare.csv"]


def test_a_wrong_bench_sheet_is_refused_by_its_own_reader(
    job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sheet = tmp_path / "slip.csv"
    sheet.write_text(OWN.replace("43.1", "43.l").replace("984 hPa", "984 mm"), "utf-8")
    assert run(sheet, "--to", job) == 2
    said = capsys.readouterr().err.splitlines()
    assert len(said) == 2
    assert "line 4" in said[0]
    assert "line 7" in said[1]
    assert not job.exists()


def test_a_pasted_block(job: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    data = (SHEETS / "pasted.txt").read_bytes()
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(data), encoding="utf-8"))
    assert run("-", "--to", job) == 0
    assert list(contents(job)) == ["pasted.csv"]
