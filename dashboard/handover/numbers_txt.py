"""``numbers.txt``: before and after in plain text, for under a video.

Nothing in it depends on columns that line up, so a proportional font does it no harm: each line
says what it is, and reads on its own. It goes public, so the customer's name is never in it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from core.job import SIDES
from core.power_results import PowerModel
from core.results import Review
from core.units import UnitSet, label
from dashboard import answer_words, power_words, words
from dashboard.evidence import finding_lines, levels_mean
from dashboard.handover import facts
from dashboard.handover.choice import EVERYTHING, Choice, shown_to
from dashboard.handover.compared import Compared, whole_work
from dashboard.handover.plain import name_in_line, one_line
from dashboard.ladder import ladder
from dashboard.tables import Cell, flow_figure, gain_table


def numbers_txt(review: Review, units: UnitSet, choice: Choice = EVERYTHING) -> bytes:
    """Return all work and its conditions as text in UTF-8; the same review gives the same bytes."""
    review = shown_to(review, choice)
    found = whole_work(review, units)
    blocks = [
        _head(review, found, units),
        *(_side(review, one, units) for one in found),
        _stages(review, units) if len(review.stages) > 1 else (),
        _power(review.power, units) if review.power is not None else (),
        _basis(review, units),
        (f"Data {review.job.fingerprint}",),
    ]
    text = "\n\n".join("\n".join(block) for block in map(tuple, blocks) if block)
    return f"{text}\n".encode()


def _head(review: Review, found: Sequence[Compared], units: UnitSet) -> Iterator[str]:
    safe = name_in_line
    yield from map(one_line, filter(None, (review.job.title, review.job.casting, review.job.note)))
    yield answer_words.answer(review, safe)
    said = (
        answer_words.steps(review, safe),
        *answer_words.doubts(review, safe),
        answer_words.planned(review, safe),
    )
    yield from filter(None, said)
    yield words.conditions(review, units)
    if found:
        yield f"{facts.measure(found)}. Tested at {facts.test_pressures(review.job, found, units)}."
        if valves := facts.valves(review.job, found, units):
            yield f"{valves}."
    if days := facts.bench_days(review.job):
        yield f"{days.capitalize()}."


def _side(review: Review, one: Compared, units: UnitSet) -> Iterator[str]:
    """Yield one side's comparison: the single figure, then every lift."""
    gain, whole = one.gain, one.flow_gain
    names = " → ".join(map(name_in_line, (gain.other, gain.stage)))
    yield f"{one.side.upper()}: {names}, {label('flow', units)}"
    head, *rows = gain_table(review, [gain], units).rows
    yield f"{head.lift}: {one.before} → {one.after}, {whole.number} ({one.change.number}), {whole.words}"
    yield from (f"Doubt: {one_line(doubt)}." for doubt in whole.doubts)
    flows = zip(gain.before_m3_s, gain.after_m3_s, gain.expanded_uncertainty_m3_s, strict=True)
    for row, (before, after, expanded) in zip(rows, flows, strict=True):
        if before is not None and after is not None:
            pair = " → ".join(flow_figure(flow, expanded, units) for flow in (before, after))
            yield f"{_lift(row.lift, units)}: {pair}, {_called(row.cells[0])}"
    if beyond := words.beyond_caption(review, one.side, units):
        yield beyond


def _lift(text: str, units: UnitSet) -> str:
    """Return a lift with its unit before what is said of it: ``11 mm (beyond cam)``."""
    number, _, remark = text.partition(" ")
    return " ".join(filter(None, (number, label("lift", units), remark)))


def _called(cell: Cell) -> str:
    return ", ".join(filter(None, (cell.number, cell.words)))


def _stages(review: Review, units: UnitSet) -> Iterator[str]:
    """Yield the ladder, a line a stage."""
    yield f"EACH STAGE, {label('flow', units)}"
    for row in ladder(review, units):
        price = f" ({one_line(row.price)})" if words.is_priced(review) else ""
        sides = "; ".join(f"{side} {one_line(str(row.gain[side]))}" for side in SIDES)
        yield f"{name_in_line(row.stage)}{price}: {sides}"
    yield words.ladder_caption(review)
    yield words.ROUNDED


def _power(model: PowerModel, units: UnitSet) -> Iterator[str]:
    """Yield what the work may be worth, always with its caveat."""
    yield f"ROUGH POWER, {label('power', units)}"
    yield one_line(power_words.answer(model, units, name_in_line))
    if model.because is None:
        yield words.CAVEAT
        yield one_line(power_words.basis(model, units))


def _basis(review: Review, units: UnitSet) -> Iterator[str]:
    """Yield what was noticed, and how well readings repeat."""
    lines = finding_lines(review.findings, units, customer=True)
    if lines:
        yield "WHAT TO KNOW"
    for finding, line in zip(review.findings, lines, strict=True):
        yield f"{finding.level}: {one_line(line.text)}"
    if levels := levels_mean(review.findings):
        yield levels
    if repeats := words.repeat_line(review):
        yield one_line(repeats)
