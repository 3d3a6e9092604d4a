"""What stands around a save: safe names, drafts that outlive a reload."""

from __future__ import annotations

import errno
import os
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.files.disk import LEDGER, Refused
from core.files.draft import Draft, drafts, drop, find, keep, new_draft
from core.files.folder import read_whole
from core.files.names import LONGEST, free_name, is_plain, safe_name

# --- names -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "name"),
    [
        ("Bowl blend", "bowl-blend"),
        ("../../etc/passwd", "etc-passwd"),
        ("C:\\jobs\\x", "c-jobs-x"),
        ("Moto Ø 86 mm, ½ Möve", "moto-ø-86-mm-½-möve"),
        ("頭 一", "頭-一"),
        ("con", "con-sheet"),
        ("COM1", "com1-sheet"),
        ("com¹", "com¹-sheet"),
        (" . ", "sheet"),
        ("", "sheet"),
        ("\0\n\u202e", "sheet"),
        ("a" * 500, "a" * LONGEST),
        ("e\u0301", "é"),
    ],
)
def test_words_become_safe_names(typed: str, name: str) -> None:
    assert safe_name(typed, "sheet") == name


@given(st.text(max_size=300))
def test_any_words_become_a_plain_name_that_stays_as_it_is(text: str) -> None:
    name = safe_name(text, "sheet")
    assert is_plain(name) and is_plain(f"{name}_99.csv")
    assert safe_name(name, "sheet") == name


def test_a_taken_name_gets_a_number_whatever_its_case() -> None:
    assert free_name("Bowl", ["bowl.csv", "BOWL_2.csv"], ending=".csv") == "bowl_3.csv"
    assert free_name("Bowl", []) == "bowl"


# --- drafts ----------------------------------------------------------------------------


def test_a_draft_outlives_the_process(tmp_path: Path, demo_runs: Path) -> None:
    seen = read_whole(demo_runs / "sprint-four").snapshot
    draft = replace(new_draft("sprint-four", seen), values={"stage": "bowl ½", "lifts": [1, 2.5, None]})
    kept = keep(tmp_path, draft)
    assert isinstance(kept, Draft) and kept == replace(draft, revision=1, kept_at=kept.kept_at)
    assert find(tmp_path, draft.id) == kept
    assert drafts(tmp_path) == (kept,)
    drop(tmp_path, draft.id)
    drop(tmp_path, draft.id)
    assert find(tmp_path, draft.id) is None and drafts(tmp_path) == ()


def test_two_tabs_on_one_draft_both_stay(tmp_path: Path) -> None:
    begun = keep(tmp_path, new_draft(None))
    left = keep(tmp_path, replace(begun, values={"by": "left"}))
    right = keep(tmp_path, replace(begun, values={"by": "right"}))
    assert left.id == begun.id and right.id != begun.id
    assert {draft.values["by"] for draft in drafts(tmp_path)} == {"left", "right"}
    assert keep(tmp_path, replace(right, values={"by": "right again"})).id == right.id


def test_the_latest_draft_comes_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    first, second = keep(tmp_path, new_draft("a")), keep(tmp_path, new_draft("b"))
    path = tmp_path / LEDGER / "drafts" / f"{first.id}.json"
    path.write_text(path.read_text("utf-8").replace(first.kept_at, "2020-01-01T10:00:00"), "utf-8")
    assert [draft.id for draft in drafts(tmp_path)] == [second.id, first.id]


@pytest.mark.parametrize("name", ["", "../x", "..", "a" * 15, "A" * 16, "0" * 16 + ".json", "\0", "é" * 16])
def test_what_an_address_says_never_becomes_a_path(tmp_path: Path, name: str) -> None:
    (tmp_path / "x.json").write_text("{}", "utf-8")
    assert find(tmp_path / "jobs", name) is None
    drop(tmp_path / "jobs", name)
    assert (tmp_path / "x.json").exists()
    (tmp_path / "jobs").mkdir()
    assert isinstance(keep(tmp_path / "jobs", Draft(name, None)), Refused)
    assert list((tmp_path / "jobs").iterdir()) == []


@pytest.mark.parametrize(
    "content", [b"", b"[]", b"{", b"\xff", b"null", b'{"format": "x"}', b'{"format":"gain-ledger draft 1"}']
)
def test_a_draft_that_cannot_be_read_counts_as_none_and_stays(tmp_path: Path, content: bytes) -> None:
    kept = keep(tmp_path, new_draft("a"))
    path = tmp_path / LEDGER / "drafts" / f"{kept.id}.json"
    path.write_bytes(content)
    assert find(tmp_path, kept.id) is None and drafts(tmp_path) == ()
    assert path.read_bytes() == content


def test_a_full_disk_keeps_the_draft_before(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    kept = keep(tmp_path, replace(new_draft("a"), values={"reading": "91.4"}))

    def full(_handle: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    done = keep(tmp_path, replace(kept, values={"reading": "92"}))
    assert isinstance(done, Refused) and "disk is full" in done.text
    assert find(tmp_path, kept.id) == kept
    assert [path.name for path in (tmp_path / LEDGER / "drafts").iterdir()] == [f"{kept.id}.json"]


def test_drafts_behind_a_link_are_neither_written_nor_read(tmp_path: Path) -> None:
    kept = keep(tmp_path, new_draft("a"))
    outside = tmp_path / "outside"
    (tmp_path / LEDGER / "drafts").rename(outside)
    try:
        (tmp_path / LEDGER / "drafts").symlink_to(outside, target_is_directory=True)
    except OSError:
        pytest.skip("links may not be made here")
    assert isinstance(keep(tmp_path, new_draft("b")), Refused)
    drop(tmp_path, kept.id)
    assert find(tmp_path, kept.id) is None and len(list(outside.iterdir())) == 1
