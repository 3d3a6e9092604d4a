"""The shelf: every job is found by what it is, at once, and no figure outlives what it came from."""

from __future__ import annotations

import datetime as dt
import json
import shutil
import threading
from pathlib import Path

import pytest

from core import shelf as shelf_module
from core.files import listing
from core.files.disk import LEDGER
from core.files.folder import COMMIT, JOURNAL, read_whole
from core.files.listing import Head, read_head, stamps
from core.files.load import load_job
from core.files.save import save
from core.review import review
from core.shelf import ORDERS, Best, Entry, Shelf, best_gain, in_order, matching

HEAD = "# stage: {}\n# port: 1\n# date: {}\n# test pressure: 28 inH2O\nlift [mm],intake [L/s]\n"
BROKEN = [b"", b"[]", b"{", b'{"format": "gain-ledger shelf 1"}', b"\xff", b"null"]


def sheet(stage: str, factor: float, date: str = "2026-03-01") -> bytes:
    """Return an invented bench sheet whose flow is so many times another one's."""
    rows = "".join(f"{lift},{factor * 9 * lift:.2f}\n" for lift in range(1, 9))
    return (HEAD.format(stage, date) + rows).encode()


def job(folder: Path, head: str = "", factor: float = 1.2, date: str = "2026-03-01") -> Path:
    """Make a job of two stages; return its folder."""
    folder.mkdir(parents=True)
    (folder / "one.csv").write_bytes(sheet("as cast", 1, "2026-02-01"))
    (folder / "two.csv").write_bytes(sheet("ported", factor, date))
    stages = '[[stage]]\nname = "as cast"\n[[stage]]\nname = "ported"\n'
    (folder / "job.toml").write_bytes(f"{head}\n{stages}".encode())
    return folder


# --- what is told at once --------------------------------------------------------------


def test_a_head_is_what_the_files_state(tmp_path: Path) -> None:
    head = 'title = "Sprint"\ncustomer = "M. Möller"\ncasting = "B 12"\nserial_number = 7\n'
    head += '[engine]\ncylinders = 4\nbore = "80 mm"\nstroke = "3 in"\n'
    found = read_head(job(tmp_path / "sprint", head, date="2026-03-09"))
    assert found == Head(
        "sprint", "Sprint", "M. Möller", "B 12", "7", 4, "80 mm", "3 in", dt.date(2026, 3, 9)
    )  # fmt: skip


@pytest.mark.parametrize(
    "head",
    [
        'title = """A\n[not a table]\nB"""\n[engine]\nbore = "8 mm"\n',
        'engine.bore = "8 mm"\ntitle = "A [not a table] B"\n',
        'title = "A [not a table] B"\nengine = {bore = "8 mm"}\n',
        'title = "A [not a table] B"\n[intake]\nstem_diameter = "5 mm"\n  [ engine ] # late\nbore = "8 mm"\n',
    ],
)
def test_a_head_is_read_however_it_is_written(tmp_path: Path, head: str) -> None:
    found = read_head(job(tmp_path / "job", head))
    assert (found.title, found.bore) == ("A [not a table] B", "8 mm")


def test_a_head_agrees_with_the_whole_job(demo_runs: Path) -> None:
    for name in ("sprint-four", "touring-twin", "messy-day", "bare-sheets"):
        head, whole = read_head(demo_runs / name), load_job([demo_runs / name]).job
        if name != "bare-sheets":
            assert head.title == whole.title
        assert (head.customer, head.casting, head.serial_number) == (
            whole.customer,
            whole.casting,
            whole.serial_number,
        )
        assert head.cylinders == (whole.engine.cylinders if whole.engine else None)
        assert head.date == max((one.date for one in whole.sheets if one.date), default=None)


def test_a_date_is_found_in_every_encoding_that_a_sheet_is_read_in(tmp_path: Path) -> None:
    text = sheet("as cast", 1, "2026-05-04").decode()
    for encoding in ("utf-8", "utf-8-sig", "utf-16", "cp1252"):
        folder = tmp_path / encoding
        folder.mkdir()
        (folder / "one.csv").write_bytes(text.replace("\n", "\r\n").encode(encoding))
        assert read_head(folder).date == dt.date(2026, 5, 4)


@pytest.mark.parametrize("content", [b"title = ", b"\xff\x00\x01", b"", b"x = " + b"[" * 5000])
def test_a_job_file_that_cannot_be_read_is_on_the_shelf_all_the_same(tmp_path: Path, content: bytes) -> None:
    folder = job(tmp_path / "broken")
    (folder / "job.toml").write_bytes(content)
    assert read_head(folder) == Head("broken", "broken", date=dt.date(2026, 3, 1), readable=False)


def test_odd_values_are_left_to_the_reader_of_jobs(tmp_path: Path) -> None:
    head = 'title = ["x"]\ncustomer = true\n[engine]\ncylinders = "4"\nbore = {x = 1}\n'
    found = read_head(job(tmp_path / "job", head))
    assert found == Head("job", "job", date=dt.date(2026, 3, 1))
    assert read_head(tmp_path / "gone") == Head("gone", "gone", readable=False)


def test_only_folders_of_jobs_are_listed(tmp_path: Path) -> None:
    job(tmp_path / "b")
    job(tmp_path / "a")
    (tmp_path / "references").mkdir()
    (tmp_path / "photos").mkdir()
    (tmp_path / "photos" / "x.jpg").write_bytes(b"x")
    job(tmp_path / ".hidden")
    (tmp_path / "loose.csv").write_bytes(sheet("x", 1))
    assert list(stamps(tmp_path)) == ["a", "b"]
    assert stamps(tmp_path / "gone") == {}


def test_links_that_lead_nowhere_hide_no_job(tmp_path: Path) -> None:
    folder = job(tmp_path / "job")
    try:
        for place in (folder, tmp_path):
            (place / "broken.csv").symlink_to(place / "nowhere")
            (place / "circle.csv").symlink_to(place / "circle.csv")
    except OSError:
        pytest.skip("links may not be made here")
    assert list(stamps(tmp_path)) == ["job"]
    assert read_head(folder).date == dt.date(2026, 3, 1)


def test_a_stamp_changes_with_every_save_and_stays_else(tmp_path: Path) -> None:
    folder = job(tmp_path / "job")
    first = stamps(tmp_path)["job"]
    (folder / "photo.jpg").write_bytes(b"x")
    assert stamps(tmp_path)["job"] == first
    seen = read_whole(folder).snapshot
    save(folder, tmp_path, {"two.csv": sheet("ported", 1.3)}, seen)
    second = stamps(tmp_path)["job"]
    (folder / JOURNAL).mkdir()
    (folder / JOURNAL / COMMIT).write_bytes(b"{}")
    assert len({first, second, stamps(tmp_path)["job"]}) == 3


# --- the best gain ---------------------------------------------------------------------


def test_the_best_gain_is_the_largest_clear_one_of_the_review(demo_runs: Path) -> None:
    whole = load_job([demo_runs / "sprint-four"]).job
    summaries = [
        (gain.summary.gain_fraction, gain.side, gain.stage)
        for gain in review(whole).gains
        if gain.against == "baseline" and gain.summary and gain.summary.verdict == "clear gain"
    ]
    best = best_gain(whole)
    assert (best.gain_fraction, best.side, best.stage) == max(summaries)


def test_no_clear_gain_is_no_best_gain(tmp_path: Path) -> None:
    assert best_gain(load_job([job(tmp_path / "same", factor=1.001)]).job) is None
    assert best_gain(load_job([job(tmp_path / "worse", factor=0.8)]).job) is None


def test_listing_works_nothing_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    job(tmp_path / "job")
    monkeypatch.setattr(shelf_module, "load_job", None)
    assert [entry.is_worked_out for entry in Shelf(tmp_path).entries()] == [False]


def test_gains_are_worked_out_bit_by_bit_those_looked_at_first(tmp_path: Path) -> None:
    for name in "abcd":
        job(tmp_path / name)
    shelf = Shelf(tmp_path)
    entries = shelf.entries()
    assert shelf.work_out(0, first=[entries[2]]) == 3
    assert [entry.head.folder for entry in shelf.entries() if entry.is_worked_out] == ["c"]
    assert shelf.work_out(60) == 0
    assert all(entry.best.gain_fraction == pytest.approx(0.2, rel=1e-3) for entry in shelf.entries())


def test_a_changed_job_is_worked_out_anew(tmp_path: Path) -> None:
    folder = job(tmp_path / "job", factor=1.2)
    shelf = Shelf(tmp_path)
    shelf.entries()
    shelf.work_out(60)
    save(folder, tmp_path, {"two.csv": sheet("ported", 1.4)}, read_whole(folder).snapshot)
    (entry,) = shelf.entries()
    assert not entry.is_worked_out and entry.best is None
    shelf.work_out(60)
    assert shelf.entries()[0].best.gain_fraction == pytest.approx(0.4, rel=1e-3)


def test_a_job_whose_cam_lies_elsewhere_follows_that_file(tmp_path: Path) -> None:
    folder = job(tmp_path / "job", '[intake]\nlift_table = "../cams/one.csv"\n')
    (tmp_path / "cams").mkdir()
    table = "".join(f"{angle},{8 - abs(angle) / 15:.3f}\n" for angle in range(-120, 121, 5))
    cam = tmp_path / "cams" / "one.csv"
    cam.write_text(f"angle [deg],lift [mm]\n{table}", "utf-8")
    assert load_job([folder]).problems == ()
    shelf = Shelf(tmp_path)
    shelf.entries()
    shelf.work_out(60)
    done = {entry.head.folder: entry.is_worked_out for entry in shelf.entries()}
    assert done["job"]
    cam.write_text(f"angle [deg],lift [mm]\n{table}\n", "utf-8")
    assert not next(e for e in shelf.entries() if e.head.folder == "job").is_worked_out


def test_a_job_that_cannot_be_used_says_so_and_holds_nothing_up(tmp_path: Path) -> None:
    bad = job(tmp_path / "bad")
    (bad / "two.csv").write_bytes(b"lift [mm],intake [L/s]\n1,21.O\n")
    job(tmp_path / "good")
    shelf = Shelf(tmp_path)
    shelf.entries()
    assert shelf.work_out(60) == 0
    first, second = shelf.entries()
    assert first.problems > 0 and first.best is None and second.best is not None


# --- the index -------------------------------------------------------------------------


def worked_out(root: Path) -> tuple[Entry, ...]:
    """Return a root's jobs, all worked out."""
    shelf = Shelf(root)
    shelf.entries()
    assert shelf.work_out(60) == 0
    return shelf.entries()


def test_the_index_saves_all_the_work(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("a", "b"):
        job(tmp_path / name, f'title = "Ü {name}"')
    before = worked_out(tmp_path)
    monkeypatch.setattr(shelf_module, "load_job", None)
    monkeypatch.setattr(shelf_module, "read_head", None)
    assert Shelf(tmp_path).entries() == before


def test_another_calculation_works_everything_out_anew(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    job(tmp_path / "job")
    worked_out(tmp_path)
    monkeypatch.setattr(shelf_module, "_method", lambda: "another")
    assert not Shelf(tmp_path).entries()[0].is_worked_out


@pytest.mark.parametrize("content", BROKEN)
def test_a_broken_index_is_made_anew(tmp_path: Path, content: bytes) -> None:
    job(tmp_path / "job")
    before = worked_out(tmp_path)
    index = tmp_path / LEDGER / "shelf.json"
    good = index.read_bytes()
    index.write_bytes(content)
    assert worked_out(tmp_path) == before and index.read_bytes() == good


def test_an_index_with_odd_entries_is_made_anew(tmp_path: Path) -> None:
    job(tmp_path / "job")
    before = worked_out(tmp_path)
    index = tmp_path / LEDGER / "shelf.json"
    data = json.loads(index.read_bytes())
    data["jobs"][0]["entry"]["best"] = {"side": "intake"}
    index.write_text(json.dumps(data), "utf-8")
    assert worked_out(tmp_path) == before


def test_an_index_behind_a_link_is_neither_read_nor_written(tmp_path: Path) -> None:
    root, outside = tmp_path / "jobs", tmp_path / "outside"
    job(root / "job")
    outside.mkdir()
    try:
        (root / LEDGER).symlink_to(outside, target_is_directory=True)
    except OSError:
        pytest.skip("links may not be made here")
    assert worked_out(root)[0].best is not None
    assert list(outside.iterdir()) == []


def test_a_root_that_may_not_be_written_to_keeps_its_gains_in_memory(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object) -> None:
        raise PermissionError

    job(tmp_path / "job")
    monkeypatch.setattr(shelf_module, "replace_file", refuse)
    assert worked_out(tmp_path)[0].best is not None


def test_two_sessions_share_the_work(tmp_path: Path) -> None:
    for number in range(12):
        job(tmp_path / f"job-{number}")
    shelf = Shelf(tmp_path)
    shelf.entries()

    def run() -> None:
        while shelf.work_out(0):
            shelf.entries()

    threads = [threading.Thread(target=run) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert all(entry.best for entry in shelf.entries())


# --- finding and sorting ---------------------------------------------------------------


ENTRIES = tuple(
    Entry(head, True, 0, Best("intake", "x", gain, 0.01, "clear gain") if gain else None)
    for head, gain in (
        (Head("a", "Übungs twin", "Möller", None, "S-7", 2, "58 mm", "54 mm", dt.date(2026, 1, 2)), 0.09),
        (Head("b", "alpha", None, "B 12", None, 4, "80 mm", "99 mm", dt.date(2025, 1, 2)), 0.11),
        (Head("c", "Beta", "adams", "A 3", "s-12"), None),
    )
)


@pytest.mark.parametrize(
    ("words", "found"),
    [
        ("", "abc"),
        ("ubungs", "a"),
        ("MÖLLER twin", "a"),
        ("s-", "ac"),
        ("2025", "b"),
        ("80 mm", "b"),
        ("cylinders 80", "b"),
        ("B 12 alpha", "b"),
        ("alpha twin", ""),
        (".*", ""),
    ],
)
def test_a_job_is_found_by_any_words_of_what_it_is(words: str, found: str) -> None:
    assert "".join(entry.head.folder for entry in matching(ENTRIES, words)) == found


@pytest.mark.parametrize(
    ("order", "sorted_"),
    [
        ("date", "abc"),
        ("title", "bca"),
        ("customer", "cab"),
        ("casting", "cba"),
        ("serial number", "cab"),
        ("engine", "abc"),
        ("best gain", "bac"),
    ],
)
def test_jobs_are_sorted_and_the_unknown_comes_last(order: str, sorted_: str) -> None:
    assert "".join(entry.head.folder for entry in in_order(ENTRIES, order)) == sorted_


def test_every_order_is_tried_here() -> None:
    assert set(ORDERS) == {"date", "title", "customer", "casting", "serial number", "engine", "best gain"}


def test_what_listing_opens_of_a_sheet_is_its_head_alone(tmp_path: Path) -> None:
    """The date of a sheet that goes on for long costs no more than that of a short one."""
    folder = job(tmp_path / "job")
    late = b"# note: x\n" * (listing._HEAD // 10) + b"# date: 2027-01-01\n"
    (folder / "two.csv").write_bytes(late + sheet("ported", 1.2))
    assert read_head(folder).date == dt.date(2026, 2, 1)
    shutil.rmtree(folder)
