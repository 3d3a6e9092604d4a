"""Random layouts: whatever the shape, what is taken is the truth, or a question or problem stands."""

from __future__ import annotations

import csv
import io
from random import Random

import openpyxl
import pytest

from core.files.spreadsheet import apply, curves, propose, read_grid
from tests.invented_book import FLOW_UNITS, LIFT_UNITS, flow

STAGES = (
    "Stock",
    "As cast",
    "Valve job",
    "Bowl blend",
    "Stage 1",
    "Stage 2",
    "Ported & polished",
    "5-angle seats",
)
SIDES = {"intake": ("Intake", "Int", "Inlet", "IN"), "exhaust": ("Exhaust", "Exh", "EXH.", "EX")}
Row = list[object]


class Layout:
    """One random flow sheet and what it says."""

    def __init__(self, seed: int) -> None:
        self.random = random = Random(seed)
        self.lift_unit = random.choice(["in", "mm", "thou"])
        self.flow_unit = random.choice(["cfm", "L/s", "m3/h"])
        step = {"in": 0.05, "mm": 1.0, "thou": 50.0}[self.lift_unit]
        self.lifts = [round(step * i, 3) for i in range(1, random.randint(6, 11))]
        self.sides = random.choice([["intake"], ["exhaust"], ["intake", "exhaust"]])
        self.ports = random.choice([[None], [None], ["1", "2"]])
        self.stages = random.sample(STAGES, random.randint(1, 3))
        self.words = {
            side: random.choice(SIDES[side][: 4 if len(self.sides) == 2 else 3]) for side in self.sides
        }
        keys = [(stage, side, port) for stage in self.stages for side in self.sides for port in self.ports]
        self.flows: dict[tuple, list[float]] = {
            key: flow(200 + 9 * i + random.uniform(-3, 3), self.lifts, self.lift_unit)
            for i, key in enumerate(keys)
        }

    def heads(self, group: bool) -> list[Row]:
        """Return the heading rows: stage in the head itself, or over its columns."""
        flow_word = self.random.choice(["", f" ({self.flow_unit})"])
        lift = self.random.choice([f"Lift ({self.lift_unit})", f"valve lift [{self.lift_unit}]", "Lift"])
        top: Row = [""]
        row: Row = [lift]
        for stage, side, port in self.flows:
            parts = [self.words[side], f"Port {port}" if port else "", "" if group else stage]
            self.random.shuffle(parts)
            row.append(" ".join(part for part in parts if part) + flow_word)
            top.append(stage if group and stage not in top else "")
        return [top, row] if group else [row]

    def rows(self) -> list[Row]:
        """Return the whole sheet."""
        random = self.random
        rows: list[Row] = [
            [text] for text in random.sample(["Flow sheet", "Head 12", "all in " + self.flow_unit], 2)
        ]
        rows += [[]] * random.randint(0, 2)
        rows += self.heads(group=random.random() < 0.5)
        body = [[lift, *(values[i] for values in self.flows.values())] for i, lift in enumerate(self.lifts)]
        rows += body
        if random.random() < 0.3:
            rows.append(["Max", *(max(values) for values in self.flows.values())])
        if random.random() < 0.3:
            self.slip(body)
        if random.random() < 0.5:
            rows += [[], ['tested at 28" H2O']]
        indent = [""] * random.randint(0, 2)
        return [[*indent, *row] for row in rows]

    def slip(self, body: list[Row]) -> None:
        """Spoil one cell, or leave it blank."""
        r, c = self.random.randrange(len(body)), self.random.randrange(1, len(body[0]))
        what = self.random.choice(["", "-", "4O.1", "sep", "1,234", "08-Jan"])
        body[r][c] = what
        list(self.flows.values())[c - 1][r] = None if what in ("", "-") else float("nan")

    def content(self) -> tuple[str, bytes]:
        """Return a file's name and bytes."""
        rows = self.rows()
        if self.random.random() < 0.5:
            stream = io.StringIO()
            csv.writer(stream, delimiter=self.random.choice(",;\t")).writerows(rows)
            return "flow.csv", stream.getvalue().encode("utf-8")
        book = openpyxl.Workbook()
        for row in rows:
            book.active.append([None if cell == "" else cell for cell in row])
        packed = io.BytesIO()
        book.save(packed)
        return "flow.xlsx", packed.getvalue()


@pytest.mark.parametrize("seed", range(150))
def test_what_is_taken_is_the_truth(seed: int) -> None:
    layout = Layout(seed)
    book = read_grid(*layout.content())
    answers: dict[str, str] = {}
    for _ in range(2):
        proposal = propose(book, answers)
        known = {"lift": layout.lift_unit, "flow": layout.flow_unit}
        answers |= {question.key: known[question.key] for question in proposal.open if question.key in known}
    imported = apply(book, proposal.mapping)
    spoilt = any(value != value for values in layout.flows.values() for value in values)
    if spoilt:
        assert proposal.open or imported.problems
        return
    assert proposal.open == ()
    assert imported.problems == ()
    found = {
        (curve.side, curve.port, tuple(zip(curve.lifts_m, curve.values, strict=True)))
        for curve in curves(imported)
    }
    scales = LIFT_UNITS[layout.lift_unit], FLOW_UNITS[layout.flow_unit]
    truth = {
        (side, port, tuple((lift * scales[0], value * scales[1]) for lift, value in pairs))
        for (_, side, port), values in layout.flows.items()
        if (pairs := [(lift, v) for lift, v in zip(layout.lifts, values, strict=True) if v is not None])
    }
    assert rounded(found) == rounded(truth)
    if len(layout.stages) > 1:
        assert {curve.stage for curve in curves(imported)} == set(layout.stages)


def rounded(sweeps: set) -> set:
    """Return sweeps to nine figures, far beyond what is written, for a conversion rounds in its last."""
    return {
        (side, port, tuple((f"{lift:.9g}", f"{value:.9g}") for lift, value in pairs))
        for side, port, pairs in sweeps
    }
