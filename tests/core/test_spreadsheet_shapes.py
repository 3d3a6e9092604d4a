"""Spreadsheets of many shapes: the proposal is right as it stands, or asks; no wrong number is taken."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path

import pytest

from core.files.columns import ATTRIBUTE
from core.files.sheet import read_sheet
from core.files.spreadsheet import Imported, apply, propose, read_grid
from core.files.write_sheet import sheet_text
from core.job import SIDES

FOLDER = Path(__file__).parents[1] / "spreadsheets"
FILES = sorted(path for path in FOLDER.iterdir() if path.suffix != ".json")


def truth_of(path: Path) -> dict:
    return json.loads(path.with_name(f"{path.name}.json").read_text(encoding="utf-8"))


def sweeps(imported: Imported) -> Iterable[tuple[tuple, list[tuple[float, float]]]]:
    """Yield what each side of each bench sheet says, and its readings."""
    for one in imported.sheets:
        sheet = one.sheet
        for side in SIDES:
            pairs = []
            for reading in sheet.readings[side]:
                value = next(v for name in ATTRIBUTE.values() if (v := getattr(reading, name)) is not None)
                pairs.append((reading.lift_m, value))
            if pairs:
                printed = sheet.printed.corrected_to_pressure_pa
                yield (sheet.stage, side, sheet.port, sheet.air.test_pressure_pa, printed), sorted(pairs)


def expected(truth: dict) -> Iterable[tuple[tuple, list[tuple[float, float]]]]:
    for curve in truth["curves"]:
        key = (curve["stage"], curve["side"], curve["port"], curve["test_pressure_pa"])
        pairs = sorted(zip(curve["lift_m"], curve["values"], strict=True))
        yield (*key, curve.get("corrected_to_pa")), pairs


def assert_same(imported: Imported, truth: dict) -> None:
    def rounded(found: Iterable) -> list:
        # to 1e-9 of the value: the roundings of a conversion, far below the last figure written
        return sorted(
            (
                tuple(None if v is None else f"{v:.9g}" if isinstance(v, float) else v for v in key),
                [(f"{lift:.9g}", f"{value:.9g}") for lift, value in pairs],
            )
            for key, pairs in found
        )

    key = lambda one: repr(one)  # noqa: E731
    assert sorted(rounded(sweeps(imported)), key=key) == sorted(rounded(expected(truth)), key=key)


def test_there_are_shapes_of_every_kind() -> None:
    assert len(FILES) >= 16
    assert {path.suffix for path in FILES} >= {".csv", ".xlsx", ".ods", ".txt"}


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_the_proposal_is_right_or_asks(path: Path) -> None:
    truth = truth_of(path)
    book = read_grid(path.name, path.read_bytes())
    proposal = propose(book)
    assert sorted(question.key for question in proposal.open) == truth["asks"]
    answers = truth["answers"]
    if answers:
        proposal = propose(book, answers)
        assert proposal.open == ()
    imported = apply(book, proposal.mapping)
    assert imported.problems == ()
    assert_same(imported, truth)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_the_bench_sheets_read_back_the_same(path: Path) -> None:
    book = read_grid(path.name, path.read_bytes())
    imported = apply(book, propose(book, truth_of(path)["answers"]).mapping)
    for one in imported.sheets:
        again, log = read_sheet(one.sheet.file, one.text.encode("utf-8"))
        assert log.problems == []
        assert again is not None
        assert sheet_text(again) == sheet_text(one.sheet)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_every_line_has_a_reason(path: Path) -> None:
    proposal = propose(read_grid(path.name, path.read_bytes()))
    said = {reason.where.split()[-1] for reason in proposal.reasons}
    for table in proposal.mapping.tables:
        assert len(said) >= sum(line.use in ("reading", "skip") for line in table.lines) / len(
            proposal.mapping.tables
        )
