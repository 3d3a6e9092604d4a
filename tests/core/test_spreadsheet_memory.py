"""A mapping that a job keeps: said again of the next spreadsheet, it says the same, and nothing else."""

from __future__ import annotations

import tomllib
from dataclasses import replace

import pytest

from core.files.spreadsheet import (
    Mapping,
    apply,
    curves,
    entry_for,
    keeping,
    kept,
    propose,
    read_grid,
    recalled,
)
from core.files.spreadsheet.grid import Book
from core.files.spreadsheet.shape import signature
from core.files.write_job import edited

HEAD = 'Lift (in),Stock intake (cfm @ 28"),Ported intake (cfm @ 28")\n'
ROWS = ".1,60.2,63.0\n.2,118.5,124.1\n.3,166.1,175.9\n.4,201.4,214.8\n"
BARE = "Lift,Stock intake,Ported intake\n"
ANSWERS = {"lift": "in", "flow": "cfm", "test pressure": "28 inH2O"}
STACKED = """\
Intake cfm,,
Lift (in),as cast,bowls
0.1,60.2,62.0
0.2,118.5,121.4
0.3,166.1,171.9
,,
Exhaust cfm,,
Lift (in),as cast,bowls
0.1,48.1,50.2
0.2,90.4,94.0
0.3,124.8,131.1
"""


def text(content: str) -> Book:
    return read_grid("flow.csv", content.encode("utf-8"))


def with_lines(mapping: Mapping, *changes: dict[str, str]) -> Mapping:
    (table,) = mapping.tables
    lines = tuple(replace(line, **change) for line, change in zip(table.lines, changes, strict=True))
    return replace(mapping, tables=(replace(table, lines=lines),))


def through_a_job_file(entry: dict[str, object]) -> bytes:
    """Return a hand-written job file with a mapping in it."""
    data = b'# by hand\ntitle = "A head"\n'
    return edited(data, keeping(data, entry))


def words(proposal: object) -> list[tuple[object, ...]]:
    return [
        (line.use, line.stage, line.side, line.port, line.unit, line.test_pressure)
        for table in proposal.mapping.tables
        for line in table.lines
    ]


def test_answers_serve_the_next_sheet_of_its_shape() -> None:
    first = text(BARE + ROWS)
    following = text(BARE.replace("Stock", "Welded") + ROWS.replace("60.2", "61.3"))
    job_file = through_a_job_file(kept(first, propose(first, ANSWERS).mapping, ANSWERS))
    assert job_file.startswith(b'# by hand\ntitle = "A head"\n')
    assert {question.key for question in propose(following).questions} == {"lift", "flow", "test pressure"}
    proposal = recalled(following, entry_for(following, job_file))
    assert proposal.questions == ()
    assert words(proposal)[0] == ("reading", "Welded", "intake", None, "cfm", "28 inH2O")
    assert "as you said for flow.csv" in proposal.reasons[0].text
    assert "lift in, flow cfm, test pressure 28 inH2O" in proposal.reasons[0].text


def test_corrections_serve_it_too() -> None:
    first = text(HEAD + ROWS)
    following = text(HEAD.replace("Stock", "Welded") + ROWS.replace("60.2", "61.3"))
    mapping = with_lines(propose(first).mapping, {"side": "exhaust", "port": "2"}, {"use": "skip"})
    entry = entry_for(following, through_a_job_file(kept(first, mapping, {})))
    imported = apply(following, recalled(following, entry).mapping)
    assert imported.problems == ()
    assert [(c.stage, c.side, c.port) for c in curves(imported)] == [("Welded", "exhaust", "2")]


@pytest.mark.parametrize(
    ("change", "kept_of", "following", "said"),
    [
        ({"test_pressure": "5 inH2O"},
         'Lift (in),Stock intake (cfm @ 28"),Ported intake (cfm @ 28")\n',
         'Lift (in),Stock intake (cfm @ 10"),Ported intake (cfm @ 10")\n', ("cfm", "10 inH2O")),
        ({"test_pressure": "5 inH2O"},
         "tested at 28 inH2O\nLift (in),Stock intake cfm,Ported intake cfm\n",
         "tested at 10 inH2O\nLift (in),Stock intake cfm,Ported intake cfm\n", ("cfm", "10 inH2O")),
        ({"unit": "L/min"},
         "flow in cfm\nLift (in),Stock intake,Ported intake\n",
         "flow in L/s\nLift (in),Stock intake,Ported intake\n", ("L/s", None)),
    ],
)  # fmt: skip
def test_what_the_next_sheet_says_itself_comes_first(
    change: dict[str, str], kept_of: str, following: str, said: tuple[str, str | None]
) -> None:
    first, second = text(kept_of + ROWS), text(following + ROWS)
    assert signature(first) == signature(second)
    mapping = with_lines(propose(first).mapping, change, {})
    entry = kept(first, mapping, {})
    assert recalled(first, entry).mapping == mapping
    assert [one[4:] for one in words(recalled(second, entry))] == [said] * 2


def test_a_unit_of_lift_is_asked_again_where_these_lifts_would_be_no_valve_s() -> None:
    inches, millimetres = text(BARE + ROWS), text(BARE + "2,60,63\n4,118,124\n6,166,175\n8,201,214\n")
    entry = kept(inches, propose(inches, ANSWERS).mapping, ANSWERS)
    assert signature(inches) == signature(millimetres)
    assert [question.key for question in recalled(millimetres, entry).open] == ["lift"]
    proposal = recalled(millimetres, entry, {"lift": "mm"})
    assert proposal.open == ()
    assert proposal.mapping.tables[0].lift_unit == "mm"


def test_words_that_mean_not_taken_add_up() -> None:
    head = HEAD + ".05,{},20\n"
    first, second = text(head.format("stuck") + ROWS), text(head.format("leaked") + ROWS)
    entry = kept(first, propose(first, {"blank": "stuck"}).mapping, {"blank": "stuck"})
    assert [question.key for question in recalled(second, entry).open] == ["blank"]
    assert recalled(second, entry, {"blank": "leaked"}).open == ()
    assert recalled(first, entry, {"blank": "leaked"}).open == ()


def test_tables_one_below_the_other_are_not_mixed_up() -> None:
    book = text(STACKED)
    proposal = propose(book, {"test pressure": "28 inH2O"})
    assert [one[2] for one in words(proposal)] == ["intake", "intake", "exhaust", "exhaust"]
    tables = proposal.mapping.tables
    second = replace(tables[1], lines=tuple(replace(line, port="3") for line in tables[1].lines))
    mapping = replace(proposal.mapping, tables=(tables[0], second))
    again = recalled(book, kept(book, mapping, {"test pressure": "28 inH2O"}))
    assert again.mapping.tables == mapping.tables


def test_another_shape_is_another_shape() -> None:
    shapes = {signature(text(content)) for content in (HEAD + ROWS, "x\n\n" + HEAD + ROWS, ROWS, "a" + ROWS)}
    assert len(shapes) >= 3


def test_a_mapping_is_kept_once_a_shape() -> None:
    first, other = text(BARE + ROWS), text(STACKED)
    data = through_a_job_file(kept(first, propose(first, ANSWERS).mapping, ANSWERS))
    data = edited(data, keeping(data, kept(other, propose(other).mapping, {})))
    answers = {**ANSWERS, "flow": "L/s"}
    data = edited(data, keeping(data, kept(first, propose(first, answers).mapping, answers)))
    entries = tomllib.loads(data.decode())["mapping"]
    assert [entry["shape"] for entry in entries] == [signature(first), signature(other)]
    assert "flow: L/s" in entries[0]["answers"]


@pytest.mark.parametrize(
    "entry",
    [
        {"shape": "x", "lines": ["table: 7 3 1 down | unit: L/s | unit was: cfm"]},
        {"shape": "x", "lines": ["table: 0 0 1 down | line: 1 | use: guess | use was: reading"]},
        {"shape": "x", "lines": ["table: 0 0 1 down | line: 1 | side: left | side was: intake"]},
        {"shape": "x", "lines": ["nonsense", 7, "||:|"], "answers": ["side: left", "flow: furlong", 3, ""]},
        {"shape": "x", "lines": "nonsense", "answers": {"flow": "cfm"}},
    ],
)
def test_a_kept_mapping_that_does_not_fit_changes_nothing(entry: dict[str, object]) -> None:
    book = text(HEAD + ROWS)
    assert recalled(book, entry).mapping == propose(book).mapping


@pytest.mark.parametrize("job_file", [b"", b"\xff", b"mapping = 3", b"mapping = [3]", b"[mapping]\na = 1\n"])
def test_a_job_file_that_keeps_none(job_file: bytes) -> None:
    assert entry_for(text(HEAD + ROWS), job_file) is None
