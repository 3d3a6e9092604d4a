"""Typing readings, without a screen: the sheet in hand, and a draft that is files."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path

import pytest
from pypdf import PdfReader

from core.files import draft as drafts
from core.files.draft import new_draft
from core.files.folder import NAME, read_whole
from core.files.load import load_job
from core.job import Job
from core.numbers import review_numbers
from core.review import review
from core.units import METRIC, US
from dashboard import entry_words, hand
from dashboard.charts.entry import Mark, live_sweep
from dashboard.entry import at_bench
from dashboard.entry.at_bench import Place
from dashboard.entry.draft import Work, base_files, laid_over, load, sound_files
from dashboard.entry.in_hand import choosing_lift, choosing_setup, entered, in_hand, just_taken, next_lift
from dashboard.entry.line import take
from dashboard.handover.blank_sheet import Blank, blank_sheet
from dashboard.look import THEMES

NOW = dt.datetime(2026, 4, 1, 9, 30)
PLACE = Place("port polish", "3", "intake")


@pytest.fixture
def sprint(demo_runs: Path) -> Job:
    loaded = load_job([demo_runs / "sprint-four"])
    assert loaded.job is not None
    return loaded.job


@pytest.fixture
def files(demo_runs: Path) -> dict[str, bytes]:
    return base_files(read_whole(demo_runs / "sprint-four"))


# --- the sheet in hand ------------------------------------------------------------------


def test_a_new_set_up_has_the_conditions_units_and_lifts_of_the_last(sprint: Job, files: dict) -> None:
    made = at_bench.begin(files, PLACE, METRIC, NOW)
    assert made.value("stage") == "port polish"
    assert (made.value("date"), made.value("time")) == ("2026-04-01", "09:30")
    last = max((s for s in sprint.sheets), key=lambda s: (s.date, s.time))
    for key in ("barometer", "test pressure", "intake entry"):
        assert f"# {key}: {made.value(key)}\n".encode() in files[last.file]
    assert made.lifts == tuple(str(n) for n in range(1, 12))
    assert made.is_empty()
    assert made.value("note") == ""


@pytest.mark.parametrize(("units", "lift", "flow"), [(METRIC, "mm", "L/s"), (US, "in", "cfm")])
def test_a_first_sheet_is_in_the_units_of_the_sidebar(units: object, lift: str, flow: str) -> None:
    made = at_bench.begin({}, PLACE, units, NOW)
    assert (made.lift_unit, made.unit("intake")) == (lift, flow)


def test_what_was_typed_is_in_the_file_as_it_was_typed(sprint: Job, files: dict) -> None:
    made = at_bench.begin(files, PLACE, METRIC, NOW)
    done = take(made, (), "hand.csv", "intake", "1", "11,40 23.1")
    assert done.problem == ""
    text = done.hand.text()
    assert "\n1,11.40,\n2,23.1,\n3,,\n" in text
    assert hand.from_text(text.encode()) == done.hand
    assert done.lift == "3"


def test_a_minus_takes_back_and_gives_back_what_was_there(sprint: Job, files: dict) -> None:
    made = at_bench.begin(files, PLACE, METRIC, NOW)
    first = take(made, (), "hand.csv", "intake", "1", "11.4 108")
    back = take(first.hand, first.steps, "hand.csv", "intake", first.lift, "-")
    assert (back.lift, back.hand.rows[1].intake) == ("2", "")
    again = take(first.hand, first.steps, "hand.csv", "intake", "1", "11.5")
    undone = take(again.hand, again.steps, "hand.csv", "intake", again.lift, "-")
    assert undone.hand == first.hand
    both = take(first.hand, first.steps, "hand.csv", "intake", first.lift, "- 10.8")
    assert [row.intake for row in both.hand.rows[:2]] == ["11.4", "10.8"]
    other_side = take(first.hand.measured_in("exhaust", "L/s"), first.steps, "hand.csv", "exhaust", "1", "-")
    assert other_side.problem == entry_words.NOTHING_TO_TAKE_BACK


@pytest.mark.parametrize("line", ["1O.8", "-5", "11.4 x", "1,234", "1e9", "11.4 - -"])
def test_a_line_is_taken_whole_or_not_at_all(sprint: Job, files: dict, line: str) -> None:
    made = at_bench.begin(files, PLACE, METRIC, NOW)
    done = take(made, (), "hand.csv", "intake", "1", line)
    assert done.problem
    assert done.hand == made
    assert done.lift == "1"


def test_more_readings_than_lifts_are_refused(sprint: Job, files: dict) -> None:
    made = at_bench.begin(files, PLACE, METRIC, NOW)
    assert "no intake lift left" in take(made, (), "h.csv", "intake", "1", " ".join(["11"] * 12)).problem


def test_lifts_can_be_planned_anew_and_readings_stay(sprint: Job, files: dict) -> None:
    made = take(at_bench.begin(files, PLACE, METRIC, NOW), (), "h", "intake", "3", "35").hand
    planned = made.planned(["2", "2.5", "1"])
    assert [(row.lift, row.intake) for row in planned.rows] == [
        ("1", ""),
        ("2", ""),
        ("2.5", ""),
        ("3", "35"),
    ]


def test_a_sheet_written_in_another_way_is_not_edited_here() -> None:
    ours = b"# stage: a\nlift [mm],intake [L/s]\n1,2.0\n"
    assert hand.from_text(ours) is not None
    for other in (
        ours.replace(b",", b";"),
        b"# stage:a\n" + ours,
        ours + b"a note\n",
        b"\xef\xbb\xbf" + ours,
    ):
        assert hand.from_text(other) is None


def test_the_verdict_names_the_slip_and_what_would_fit(sprint: Job, files: dict) -> None:
    made = at_bench.begin(files, PLACE, METRIC, NOW)
    done = take(made, (), "hand.csv", "intake", "1", "12.0 23.7 3.51")
    sweep = at_bench.judged(sprint, done.hand, "hand.csv", "intake")
    level, words = entry_words.verdict(done.hand, "intake", sweep, 1e-3, ["1", "2", "3"])
    assert level == "stop"
    assert "stop: 3.51 at 3\u00a0mm, intake" in words
    assert "Decimal slip? 35.1 would." in words
    table = entry_words.sweep_table(done.hand, "intake", sweep, 1e-3, done.lift)
    assert table.columns == ("Lift, mm", "Now, L/s", "Before", "Change", "Check")
    assert [row[4] for row in table.rows[:4]] == ["ok", "ok", "stop", ""]
    assert table.rows[3][1] == "next"


def test_the_live_chart_says_in_words_what_it_shows() -> None:
    marks = [
        Mark(1, 0.2, 0.6, "", "11.4 L/s at 1 mm"),
        Mark(2, -9.0, 0.7, "stop", "2.3 L/s at 2 mm"),
        Mark(3),
    ]
    spec = live_sweep(marks, 3.0, THEMES["light"], "L/s", "mm", change=True)
    assert "11.4 L/s at 1 mm; 2.3 L/s at 2 mm" in spec["description"]
    assert any(row.get("text") == "stop" for row in spec["datasets"]["rows"])
    empty = live_sweep([Mark(1), Mark(2)], 1.0, THEMES["dark"], "L/s", "mm", change=False)
    assert "nothing read yet" in empty["description"]


def test_the_blank_sheet_has_the_jobs_lifts(tmp_path: Path) -> None:
    lifts = tuple(f"{n / 20:.3f}" for n in range(1, 25))
    blank = Blank("Job <b>", "port work", "2", lifts, "in", ("cfm", "cfm"), (("test pressure", "25 inH2O"),))
    data = blank_sheet(blank)
    assert data == blank_sheet(blank)
    path = tmp_path / "blank.pdf"
    path.write_bytes(data)
    text = "\n".join(page.extract_text() for page in PdfReader(path).pages)
    for word in (*lifts, "port work", "25 inH2O", "Job <b>", "intake, cfm", "lift, in", "leak checked"):
        assert word in text


# --- a draft is files ---------------------------------------------------------------------


def typed_by_hand(work: Work, stage: str, line: str) -> Work:
    """Type a whole sweep of one stage as the screen does."""
    work, problem = entered(work, Place(stage, "1", "intake"), METRIC, NOW, line)
    assert problem == ""
    return work


def test_the_draft_alone_says_which_sheet_and_lift_is_next() -> None:
    work = typed_by_hand(laid_over(new_draft(None), {}), "as cast", "12 23.7")
    place = Place("as cast", "1", "intake")
    file, hand_ = in_hand(work, place, METRIC, NOW)
    assert next_lift(work, file, hand_, "intake") == "3"
    assert just_taken(work, file, "intake") == ["1", "2"]
    again = choosing_lift(work, file, "intake", "1")
    work = typed_by_hand(again, "as cast", "12.4")
    assert [row.intake for row in in_hand(work, place, METRIC, NOW)[1].rows[:3]] == ["12.4", "23.7", ""]
    assert next_lift(work, *in_hand(work, place, METRIC, NOW), "intake") == "3"
    new = typed_by_hand(choosing_setup(work, place, None), "as cast", "11.9")
    assert len(sound_files(new.files)) == 2


def test_a_job_typed_gives_the_review_of_one_written_by_hand(tmp_path: Path) -> None:
    work = laid_over(new_draft(None), {})
    work = typed_by_hand(work, "as cast", "12 23,7 35.1 45.6 54 60.5 65 67.7 69.7 71 72")
    work = typed_by_hand(work, "valve job", "12.9 25.2 36.4 46.5 54.4 60.8 65.3 68 69.8 71.2 72.3")
    typed = load(work.files, "typed", tmp_path)
    folder = tmp_path / "typed"
    folder.mkdir()
    rows = {
        "as cast": "1,12\n2,23.7\n3,35.1\n4,45.6\n5,54\n6,60.5\n7,65\n8,67.7\n9,69.7\n10,71\n11,72\n",
        "valve job": (
            "1,12.9\n2,25.2\n3,36.4\n4,46.5\n5,54.4\n6,60.8\n7,65.3\n8,68\n9,69.8\n10,71.2\n11,72.3\n"
        ),
    }
    for n, (stage, readings) in enumerate(rows.items()):
        head = f"# stage: {stage}\n# port: 1\n# date: 2026-04-01\n# time: 09:30\n"
        text = f"{head}lift [mm],intake [L/s]\n{readings}"
        (folder / f"{'ab'[n]}.csv").write_text(text, "utf-8", newline="\n")
    by_hand = load_job([folder])

    def shown(job: Job | None) -> object:
        """Return the numbers without where they stood: files of other names, lines of blank rows."""
        found = review_numbers(review(replace(job, name="", title="", fingerprint="")))
        return [
            {k: v for k, v in one.items() if k not in ("file", "line", "text")} for one in found["findings"]
        ], {key: value for key, value in found.items() if key not in ("findings", "fingerprint")}

    assert shown(typed.job) == shown(by_hand.job)


def test_a_blank_sheet_is_neither_read_nor_saved(tmp_path: Path) -> None:
    work = laid_over(new_draft(None), {})
    made = at_bench.begin({}, PLACE, METRIC, NOW)
    work = work.changing({"hand.csv": made.text().encode()})
    assert sound_files(work.files) == {}
    assert not work.is_changed()


def test_only_what_differs_is_saved(files: dict) -> None:
    work = laid_over(new_draft("sprint-four"), files)
    assert not work.is_changed()
    gone = next(name for name in files if name != NAME)
    work = work.changing({gone: None, "a.csv": b"lift [mm],intake [L/s]\n1,2\n"})
    assert work.to_save() == {gone: None, "a.csv": b"lift [mm],intake [L/s]\n1,2\n"}
    assert not work.changing({gone: files[gone], "a.csv": None}).is_changed()


@pytest.mark.parametrize("data", [b"caf\xe9\n", "Zündapp µ\n".encode(), b"\xef\xbb\xbfa\r\n", b""])
def test_files_come_out_of_a_draft_as_they_went_in(tmp_path: Path, data: bytes) -> None:
    kept = drafts.keep(tmp_path, laid_over(new_draft(None), {}).changing({"a.csv": data}).draft)
    found = drafts.find(tmp_path, kept.id)
    assert laid_over(found, {}).files == {"a.csv": data}
