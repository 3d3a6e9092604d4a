"""The text, the sheet, the archives: every number is the review's own, and hostile text stays text."""

from __future__ import annotations

import io
import json
import math
import os
import re
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path

import pypdf
import pytest

from core.files.load import load_files, load_job
from core.job import SIDES, Finding, Job, Stage
from core.results import Review
from core.review import review
from core.units import METRIC, US, UnitSet, to_display
from dashboard import answer_words, words
from dashboard.handover.archive import job_zip, part, zipped
from dashboard.handover.bundle import FILES, archive, offered
from dashboard.handover.choice import EVERYTHING, Choice
from dashboard.handover.compared import NotComparedError, compared, pairs
from dashboard.handover.numbers_txt import numbers_txt
from tests.conftest import ROOT
from tests.dashboard.invented_jobs import invented_job
from tests.dashboard.test_pdf import LONG_NAMES, STRANGE

DEMO = ROOT / "demo_runs"
UNITS = {"metric": METRIC, "US": US}
SHAPES = {
    "four stages": {},
    "twelve stages, 24 lifts, long names": {"stages": 12, "lifts": 24, "names": LONG_NAMES},
    "one stage": {"stages": 1},
    "no exhaust": {"stages": 3, "sides": ("intake",)},
    "no prices, no cam": {"priced": False, "cam": False},
    "names in many scripts": {"stages": len(STRANGE), "names": STRANGE, "setups": 1, "lifts": 3},
}


@cache
def reviewed(shape: str) -> Review:
    return review(invented_job(**SHAPES[shape]))


@cache
def demo(name: str) -> Review:
    return review(load_job([DEMO / name]).job)


def assert_same(said: str, value: float | None, kind: str, units: UnitSet) -> None:
    """A number that is shown is the review's, rounded to the digits shown."""
    assert value is not None
    decimals = len(said.partition(".")[2])
    shown = to_display(value, kind, units) if kind != "percent" else 100 * value
    # Half of the last digit shown; the rest is the floats' own.
    assert abs(float(said) - shown) <= 0.5 * 10.0**-decimals * (1 + 1e-9) + 1e-9, (said, shown)


# numbers.txt ------------------------------------------------------------------------------------

NUMBER = r"[+\u2212]?\d[\d\u202f]*(?:\.\d+)?"
PAIR = re.compile(rf"({NUMBER}) → ({NUMBER}), ({NUMBER})\u00a0±\u00a0({NUMBER})")


def plain(said: str) -> str:
    return said.replace("\u2212", "-").replace("\u202f", "")


@pytest.mark.parametrize("units", UNITS)
@pytest.mark.parametrize("shape", ["four stages", "twelve stages, 24 lifts, long names", "no prices, no cam"])
def test_every_number_of_the_text_is_the_reviews(shape: str, units: str) -> None:
    shown, used = reviewed(shape), UNITS[units]
    text = numbers_txt(shown, used).decode()
    assert answer_words.answer(shown) in text
    assert words.conditions(shown, used) in text
    assert f"Data {shown.job.fingerprint}" in text
    for side in SIDES:
        gain = words.whole_gain(shown, side)
        block = next(block for block in text.split("\n\n") if block.startswith(side.upper()))
        found = [
            (line.partition(":")[0], match) for line in block.splitlines() if (match := PAIR.search(line))
        ]
        (head, whole), *by_lift = found
        one = gain.summary
        assert head == ("cam-weighted" if gain.cam_weighted else "mean over lift")
        values = (one.before_m3_s, one.after_m3_s, one.gain_m3_s, one.expanded_uncertainty_m3_s)
        for said, value in zip(whole.groups(), values, strict=True):
            assert_same(plain(said), value, "flow", used)
        assert len(by_lift) == len(gain.lift_m)
        for i, (lift, match) in enumerate(by_lift):
            assert abs(float(lift.split(" ")[0]) - to_display(gain.lift_m[i], "lift", used)) < 0.006
            columns = (gain.before_m3_s, gain.after_m3_s, gain.gain_m3_s, gain.expanded_uncertainty_m3_s)
            for said, column in zip(match.groups(), columns, strict=True):
                assert_same(plain(said), column[i], "flow", used)


def test_the_text_needs_no_columns() -> None:
    for shape in SHAPES:
        text = numbers_txt(reviewed(shape), METRIC).decode()
        assert "  " not in text and "\t" not in text


def test_a_name_from_the_right_keeps_to_its_place() -> None:
    text = numbers_txt(reviewed("names in many scripts"), METRIC).decode()
    assert "\u2068שלום\u2069" in text
    assert "бочка" in text and "\u2068бочка" not in text


@pytest.mark.parametrize(
    ("job", "said"),
    [
        (invented_job(stages=1), "One stage so far"),
        (replace(invented_job(stages=2), sheets=()), "No flow can be shown yet"),
        (invented_job(stages=2, sides=("intake",)), "The exhaust was not measured."),
    ],
    ids=["one stage", "no sheets", "no exhaust"],
)
def test_text_of_little(job: Job, said: str) -> None:
    assert said in numbers_txt(review(job), METRIC).decode()


def test_a_quotation_and_a_missing_pressure_are_said() -> None:
    job = invented_job(stages=2)
    planned = replace(job, stages=(*job.stages, Stage("seat rings", price=640.0, planned=True)))
    text = numbers_txt(review(planned), METRIC).decode()
    assert "only quoted: seat rings (640\u00a0EUR)" in text
    bare = tuple(replace(one, air=replace(one.air, test_pressure_pa=None)) for one in job.sheets)
    text = numbers_txt(review(replace(job, sheets=bare)), METRIC).decode()
    assert "Doubt: no test pressure stated" in text
    assert "Tested at a pressure that was not stated" in text


# what the racer may see -------------------------------------------------------------------------


def with_secrets() -> Review:
    job = replace(invented_job(), customer="Ada Example", files=(("a.csv", b"1"),))
    note = Finding("note", "unknown-key", "An unknown key was kept: {}.", values=(("xyzzy", "text"),))
    return replace(review(job), findings=(note,))


def read_all(files: dict[str, bytes]) -> dict[str, str]:
    """Return every file's text, without any blank."""
    said = {name: data.decode("utf-8", "replace") for name, data in files.items()}
    for name in said:
        if name.endswith(".pdf"):
            pages = pypdf.PdfReader(io.BytesIO(files[name])).pages
            said[name] = "".join(page.extract_text() for page in pages)
    return {name: re.sub(r"\s", "", text) for name, text in said.items()}


def test_what_is_withheld_is_in_no_file() -> None:
    shown = with_secrets()
    hidden = Choice(prices=False, doubts=False, customer=False)
    assert "job.zip" in offered(shown) and "job.zip" not in offered(shown, hidden)
    whole = read_all({name: FILES[name](shown, METRIC, EVERYTHING) for name in offered(shown)})
    held = read_all({name: FILES[name](shown, METRIC, hidden) for name in offered(shown, hidden)})
    for secret in ("EUR", "AdaExample", "xyzzy"):
        assert any(secret in text for text in whole.values())
        assert [name for name, text in held.items() if secret in text] == []


def test_nothing_private_goes_public() -> None:
    shown = with_secrets()
    for name in ("numbers.txt", "still-16x9.png", "still-9x16.png", "still-overlay.png"):
        assert b"Ada Example" not in FILES[name](shown, METRIC, EVERYTHING)


def test_a_still_of_stages_that_are_not_compared_says_which_are() -> None:
    shown = reviewed("four stages")
    assert pairs(shown)[0] == ("as cast", "port exit")
    assert {one.gain.stage for one in compared(shown, Choice(stages=("seat cut", "throat and bowl")), METRIC)}
    with pytest.raises(NotComparedError, match="as cast and port exit"):
        compared(shown, Choice(stages=("port exit", "as cast")), METRIC)


# the archives -----------------------------------------------------------------------------------


def unpacked(data: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(data)) as archive_:
        assert archive_.testzip() is None
        return {name: archive_.read(name) for name in archive_.namelist()}


@pytest.mark.parametrize("name", ["sprint-four", "touring-twin", "bare-sheets", "messy-day"])
def test_the_job_is_there_as_read_and_reads_again(name: str, tmp_path: Path) -> None:
    first = load_job([DEMO / name]).job
    for path, data in unpacked(job_zip(first)).items():
        target = tmp_path / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(data)
    again = load_job([tmp_path / name]).job
    assert again.fingerprint == first.fingerprint
    assert again == first


def test_the_job_is_what_was_read_and_not_what_lies_there_now(tmp_path: Path) -> None:
    sheet = tmp_path / "job" / "a.csv"
    sheet.parent.mkdir()
    sheet.write_text("# test pressure: 28 inH2O\nlift [mm],intake [L/s]\n1,10\n2,20\n", encoding="utf-8")
    job = load_job([sheet.parent]).job
    before = sheet.read_bytes()
    sheet.write_text("gone", encoding="utf-8")
    assert unpacked(job_zip(job)) == {"job/a.csv": before}


@pytest.mark.skipif(os.name == "nt", reason="no name has a backslash there")
def test_a_sheet_with_a_backslash_in_its_name_is_there_again(tmp_path: Path) -> None:
    job = tmp_path / "job"
    job.mkdir()
    text = "# test pressure: 28 inH2O\nlift [mm],intake [L/s]\n1,10\n2,20\n"
    (job / "valve\\job.csv").write_text(text, encoding="utf-8")
    with zipfile.ZipFile(io.BytesIO(job_zip(load_job([job]).job))) as packed:
        packed.extractall(tmp_path / "out")
    assert [sheet.readings.intake for sheet in load_job([tmp_path / "out" / "job"]).job.sheets] == [
        sheet.readings.intake for sheet in load_job([job]).job.sheets
    ]


TRICKS = (
    "../../etc/passwd.csv", "..\\..\\boot.csv", "/root/x.csv", "C:\\x.csv", "con.csv", "a/../../b.csv",
    "a\nb.csv", "x" * 300 + ".csv", "a:b.csv", "a_b.csv", "nul", " .csv", "\u202egpj.csv",
)  # fmt: skip


def test_no_path_leaves_its_folder() -> None:
    job = replace(invented_job(), name="../..", files=tuple((name, name.encode()) for name in TRICKS))
    files = unpacked(job_zip(job))
    assert sorted(files.values()) == sorted(name.encode() for name in TRICKS)  # and none is lost
    for name in [*files, *unpacked(archive(replace(reviewed("four stages"), job=job), {"numbers.txt": b""}))]:
        parts = name.split("/")
        assert not name.startswith("/") and ".." not in parts and "" not in parts
        assert all(len(one) <= 120 and not set(one) & set('<>:"|?*\\\n\u202e') for one in parts)
        assert all(one.split(".")[0].casefold() not in ("con", "nul") for one in parts)


@pytest.mark.parametrize("name", ["", ".", "..", " ", "con", "LPT1.txt"])
def test_a_part_of_a_path_is_a_plain_name(name: str) -> None:
    assert part(name) not in ("", ".", "..", name)


def test_what_is_beside_a_jobs_folder_stays_beside_it() -> None:
    job = replace(invented_job(), name="four", files=(("job.toml", b"1"), ("../references/r.csv", b"2")))
    assert set(unpacked(job_zip(job))) == {"four/job.toml", "references/r.csv"}


def test_a_target_beside_the_job_reads_again(tmp_path: Path) -> None:
    target = '[target]\nname = "shop reference"\nsheets = ["../references/one.csv"]\n'
    sheet = "# test pressure: 28 inH2O\n# port: 1\nlift [mm],intake [L/s]\n1,10\n2,20\n"
    for path, text in (("job/job.toml", target), ("job/cast.csv", sheet), ("references/one.csv", sheet)):
        (tmp_path / path).parent.mkdir(exist_ok=True)
        (tmp_path / path).write_text(text, "utf-8")
    with zipfile.ZipFile(io.BytesIO(job_zip(load_job([tmp_path / "job"]).job))) as packed:
        packed.extractall(tmp_path / "out")
    assert load_job([tmp_path / "out" / "job"]).job.target.name == "shop reference"


def test_an_old_or_missing_date_is_no_obstacle() -> None:
    assert unpacked(zipped({"a": b"1"}, None)) == {"a": b"1"}


# all of them ------------------------------------------------------------------------------------


MAKE_ALL = """
import sys, hashlib
from pathlib import Path
from core.files.load import load_job
from core.review import review
from core.units import METRIC, US
from dashboard.handover.bundle import FILES, archive
from dashboard.handover.choice import Choice
for folder, units in (("sprint-four", METRIC), ("messy-day", US)):
    done = review(load_job([Path(sys.argv[1]) / folder]).job)
    made = {name: FILES[name](done, units, Choice()) for name in FILES}
    made["all"] = archive(done, made)
    for name, data in made.items():
        print(folder, name, hashlib.sha256(data).hexdigest())
"""


def test_same_bytes_wherever_and_whenever(tmp_path: Path) -> None:
    """Another process, order of sets, time zone, language and folder: the files are the same."""
    said = []
    for seed, zone, tongue, folder in (
        ("5", "Asia/Tokyo", "C", ROOT),
        ("77", "America/Lima", "tr_TR.UTF-8", tmp_path),
    ):
        of_place = {"PYTHONHASHSEED": seed, "TZ": zone, "LANG": tongue, "LC_ALL": tongue}
        environment = {**os.environ, **of_place, "PYTHONPATH": str(ROOT)}
        command = [sys.executable, "-c", MAKE_ALL, str(DEMO)]
        done = subprocess.run(command, cwd=folder, env=environment, capture_output=True, check=True)
        said.append(done.stdout)
    assert said[0] == said[1]
    assert len(said[0].splitlines()) == 2 * (len(FILES) + 1)


def test_the_fingerprint_is_on_every_file() -> None:
    shown = demo("sprint-four")
    for name in FILES:
        if name != "job.zip":  # it is the data
            data = FILES[name](shown, METRIC, EVERYTHING)
            assert shown.job.fingerprint in read_all({name: data})[name], name


def test_uploads_carry_their_bytes() -> None:
    sheet = b"# test pressure: 28 inH2O\nlift [mm],intake [L/s]\n1,10\n2,20\n"
    loaded = load_files({"up.csv": sheet}, "your sheets")
    assert unpacked(job_zip(loaded.job)) == {"your sheets/up.csv": sheet}


def test_numbers_json_is_the_commands_own() -> None:
    data = json.loads(FILES["numbers.json"](demo("bare-sheets"), METRIC, EVERYTHING))
    assert data["fingerprint"] == demo("bare-sheets").job.fingerprint
    assert all(math.isfinite(one) for one in walk(data) if isinstance(one, float))


def walk(value: object) -> Iterator[object]:
    if isinstance(value, dict | list):
        for one in value.values() if isinstance(value, dict) else value:
            yield from walk(one)
    else:
        yield value
