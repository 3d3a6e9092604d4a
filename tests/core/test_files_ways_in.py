"""Ways in: folders, uploads and bare sheets, which files of them are read, and which never."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import pytest

from core.files.load import load_files, load_job
from core.job import BenchSheet
from tests.core.written_jobs import STAGE, TABLE, codes, every_key, job_of, problems_of, put, sheet_text

# --- which files are read --------------------------------------------------------------


def test_files_for_another_purpose_are_no_bench_sheets(tmp_path: Path) -> None:
    cam = "angle [deg];lift [mm]\n0;0\n60;4,5\n120;0\n"
    text = STAGE + '[intake]\nlift_table = "./cam.csv"\n[target]\nsheets = ["reference.csv"]\n'
    folder = put(
        tmp_path,
        job=text,
        one=sheet_text("stage: as cast"),
        cam=cam,
        reference=sheet_text("stage: reference"),
    )
    put(folder / "history", one=sheet_text("stage: nowhere"))
    put(folder, **{".hidden": "nonsense"})
    (folder / "notes.txt").write_text("Call them on Monday.", encoding="utf-8")
    (folder / "photo.jpg").write_bytes(b"\xff\xd8\xff")
    job = job_of(folder)
    assert [one.file for one in job.sheets] == ["one.csv"]
    assert job.cams.intake is not None and len(job.cams.intake.table) == 3
    assert job.target is not None and job.target.name == "reference"
    assert [(f.code, f.values) for f in job.findings] == [("unread-files", (("notes.txt", "text"),))]


def test_both_cams_may_share_a_lift_table(tmp_path: Path) -> None:
    text = STAGE + '[intake.cam]\nlift_table = "cam.csv"\n[exhaust.cam]\nlift_table = "cam.csv"\n'
    cam = "angle [deg],lift [mm]\n0,0\n60,4\n120,0\n"
    job = job_of(put(tmp_path, job=text, one=sheet_text("stage: as cast"), cam=cam))
    assert job.cams.intake == job.cams.exhaust != None  # noqa: E711


def test_a_target_may_lie_among_the_sheets(tmp_path: Path) -> None:
    files = {"one": sheet_text("stage: as cast"), "two": sheet_text("stage: big head", "role: target")}
    job = job_of(put(tmp_path, job=STAGE, **files))
    assert job.target is not None and job.target.name == "big head"
    assert [one.file for one in job.sheets] == ["one.csv"]
    files["three"] = sheet_text("stage: other head", "role: target")
    assert "several castings: other head, big head" in problems_of(put(tmp_path, **files))[0]


def test_a_check_sheet_is_no_target(tmp_path: Path) -> None:
    text = STAGE + '[target]\nsheets = ["leak.csv"]\n'
    leak = sheet_text("role: leak")
    (only,) = problems_of(put(tmp_path, job=text, one=sheet_text("stage: as cast"), leak=leak))
    assert only.startswith("leak.csv, line 1: A leak sheet cannot be a target.")


def test_paths_stay_inside_the_jobs_root(tmp_path: Path) -> None:
    put(tmp_path, secret=sheet_text())
    put(tmp_path / "jobs" / "references", reference=sheet_text())
    text = STAGE + '[target]\nname = "t"\nsheets = ["{}"]\n'
    folder = tmp_path / "jobs" / "one"

    def load(name: str, root: Path | None = None) -> list[str]:
        put(folder, job=text.format(name), one=sheet_text("stage: as cast"))
        return [str(problem) for problem in load_job([folder], root).problems]

    assert load("../references/reference.csv") == []
    outside = "lies outside the jobs' folder"
    assert outside in load("../../secret.csv")[0]
    assert outside in load((tmp_path / "secret.csv").as_posix())[0]
    assert outside in load("../references/reference.csv", root=folder)[0]
    assert load("../../secret.csv", root=tmp_path) == []
    assert "There is no file" in load("../references/none.csv")[0]
    assert "There is no file" in load("../references")[0]
    assert "There is no file" in load("\\u0000")[0]
    assert "There is no file" in load("x" * 5000)[0]


@pytest.mark.skipif(os.name == "nt", reason="making a link needs a privilege there")
def test_a_link_out_of_the_root_is_not_followed(tmp_path: Path) -> None:
    put(tmp_path, secret=sheet_text())
    folder = put(
        tmp_path / "jobs" / "one",
        job=STAGE + '[target]\nsheets = ["link.txt"]\n',
        one=sheet_text("stage: as cast"),
    )
    (folder / "link.txt").symlink_to(tmp_path / "secret.csv")
    assert "lies outside" in problems_of(folder)[0]


def test_a_link_in_a_circle_is_a_missing_file(tmp_path: Path) -> None:
    folder = put(tmp_path, job=STAGE + '[target]\nsheets = ["a.txt"]\n', one=sheet_text("stage: as cast"))
    (folder / "a.txt").symlink_to(folder / "b.txt")
    (folder / "b.txt").symlink_to(folder / "a.txt")
    assert "There is no file" in problems_of(folder)[0]


# --- ways in ---------------------------------------------------------------------------


def uploaded(folder: Path) -> dict[str, bytes]:
    return {file.name: file.read_bytes() for file in folder.rglob("*") if file.is_file()}


def test_what_is_named_like_a_sheet_and_is_none_is_not_passed_over_in_silence(tmp_path: Path) -> None:
    (tmp_path / "one.csv").write_text("lift [mm],intake [L/s]\n1,10\n2,20\n", encoding="utf-8")
    (tmp_path / "port.csv").mkdir()
    (tmp_path / "bowl.csv").symlink_to(tmp_path / "nowhere.csv")
    job = load_job([tmp_path], units={"test pressure": "28 inH2O"}).job
    found = next(finding for finding in job.findings if finding.code == "stray-sheet")
    assert (found.level, found.values) == ("look", (("bowl.csv, port.csv", "text"),))


def test_a_folder_and_its_upload_are_one_job(tmp_path: Path, demo_runs: Path) -> None:
    for folder in sorted(path for path in demo_runs.iterdir() if path.is_dir() and path.name[0] != "."):
        job = job_of(folder)
        files = {name: data for name, data in sorted(uploaded(folder).items()) if not name.endswith(".md")}
        again = load_files(files, folder.name)
        assert again.problems == ()
        assert again.job == job
        assert job_of(folder / "job.toml") == job if (folder / "job.toml").exists() else True
    folder = every_key(tmp_path)
    again = load_files(uploaded(folder) | uploaded(tmp_path / "references"), "hillclimb")
    assert again.job is not None
    assert replace(again.job, findings=()) == replace(job_of(folder), findings=())


def test_names_of_uploads_are_never_opened(tmp_path: Path) -> None:
    put(tmp_path, real=sheet_text())
    name = str(tmp_path / "real.csv")
    loaded = load_files({name: b"", "../../etc/passwd": b"a\x00b\x07"}, "upload")
    assert [(p.file, p.text) for p in loaded.problems] == [
        (name, "The file is empty."),
        ("../../etc/passwd", "The file holds binary data, not plain text."),
    ]


def test_an_upload_without_a_named_file_says_so() -> None:
    text = STAGE + '[target]\nsheets = ["../references/reference.csv"]\n'
    loaded = load_files(
        {"job.toml": text.encode(), "one.csv": sheet_text("stage: as cast").encode()}, "upload"
    )
    (only,) = loaded.problems
    assert str(only).startswith("job.toml, line 4: '../references/reference.csv' is not among the files.")


def test_an_upload_says_which_file_it_took_for_a_named_one() -> None:
    text = STAGE + '[target]\nsheets = ["../references/reference.csv"]\n'
    files = {"job.toml": text, "one.csv": sheet_text("stage: as cast"), "reference.csv": sheet_text()}
    loaded = load_files({name: text.encode() for name, text in files.items()}, "upload")
    assert loaded.job is not None and loaded.job.target is not None
    assert codes(loaded.job) == [("look", "named-file-matched")]
    assert loaded.job.findings[0].values == (
        ("../references/reference.csv", "text"),
        ("reference.csv", "text"),
    )


def test_the_fingerprint_follows_names_and_bytes_only(tmp_path: Path) -> None:
    first = job_of(every_key(tmp_path / "here")).fingerprint
    assert job_of(every_key(tmp_path / "there")).fingerprint == first
    assert len(first) == 9 and first[4] == "-"
    folder = every_key(tmp_path / "changed")
    (folder.parent / "references" / "reference-four.csv").write_text(
        sheet_text("stage: other"), encoding="utf-8"
    )
    assert job_of(folder).fingerprint != first
    one = load_files({"ab": b"", "c.csv": TABLE.encode()}, "x")
    assert one.job is None


def test_missing_and_odd_paths(tmp_path: Path) -> None:
    put(tmp_path, a=sheet_text())
    put(tmp_path / "empty")
    assert problems_of(tmp_path / "none.csv") == [
        "none.csv: There is no such file. Check its name and folder."
    ]
    assert "no bench sheets" in problems_of(tmp_path / "empty")[0]
    assert "A folder and other files" in problems_of(tmp_path, tmp_path / "a.csv")[0]
    assert "given twice" in problems_of(tmp_path / "a.csv", tmp_path / "a.csv")[0]
    assert "cannot be read" in problems_of(tmp_path / ("x" * 300))[0]
    assert "cannot be read" in problems_of(tmp_path / "a\0b")[0]
    assert load_job([]).problems[0].text == "No file was given."


@pytest.mark.skipif(os.name == "nt", reason="names are always text there")
def test_sheets_whose_names_are_no_text_are_told_apart(tmp_path: Path) -> None:
    names = (b"one\xfe.csv", b"one\xff.csv")
    paths = [Path(os.fsdecode(os.fsencode(tmp_path) + b"/" + name)) for name in names]
    try:
        for path in paths:
            path.write_text(sheet_text("stage: as cast"), encoding="utf-8", newline="")
    except OSError:
        pytest.skip("names are always text on this file system")
    for job in (job_of(tmp_path), job_of(*paths)):
        assert len({one.file for one in job.sheets}) == len(job.sheets) == 2
        assert all(one.file.isprintable() and one.file.endswith(".csv") for one in job.sheets)


def test_two_sheets_of_one_name_are_told_apart(tmp_path: Path) -> None:
    put(tmp_path / "a", one=sheet_text("stage: as cast"))
    put(tmp_path / "b", one=sheet_text("stage: bowl blend"))
    job = job_of(tmp_path / "a" / "one.csv", tmp_path / "b" / "one.csv")
    assert [one.file for one in job.sheets] == ["a/one.csv", "b/one.csv"]


def test_given_units_reach_every_sheet_and_are_checked(tmp_path: Path) -> None:
    table = "lift,intake\n0.1,44\n"
    put(tmp_path, a=sheet_text(table=table), b=sheet_text(table=table))
    job = job_of(tmp_path, units={"lift": "in", "flow": "cfm", "test pressure": "28 inH2O"})
    assert {one.readings.intake[0].lift_m for one in job.sheets} == {0.00254}
    wrong = problems_of(tmp_path, units={"lift": "inH2O", "flow": "furlong", "test pressure": "28 mm"})
    assert [text.split(":")[0] for text in wrong] == ["--lift", "--flow", "--test-pressure"]


def test_all_problems_come_at_once_in_the_order_of_the_files(tmp_path: Path) -> None:
    text = 'titel = "x"\n' + STAGE + 'price = "much"\n'
    folder = put(
        tmp_path,
        job=text,
        a=sheet_text("stage: as csat", "bore: 28 inH2O", table="lift [mm],intake [L/s]\n1,x\n-2,3\n"),
        b="",
        c=sheet_text("stage: nowhere"),
    )
    found = load_job([folder]).problems
    assert [(p.file, p.line) for p in found] == [
        ("job.toml", 1),
        ("job.toml", 4),
        ("a.csv", 2),
        ("a.csv", 4),
        ("a.csv", 5),
        ("b.csv", None),
        ("c.csv", 1),
    ]


def test_a_broken_job_file_hides_no_broken_sheet(tmp_path: Path) -> None:
    found = load_job(
        [put(tmp_path, job="x = ", a=sheet_text(table="lift [mm],intake [L/s]\n1,x\n"))]
    ).problems
    assert [p.file for p in found] == ["job.toml", "a.csv"]


def test_a_job_can_be_hashed(demo_runs: Path) -> None:
    job = job_of(demo_runs / "sprint-four")
    assert isinstance(hash(job), int)
    assert all(isinstance(one, BenchSheet) for one in job.sheets)
