"""``summary.pdf``: the answer, the curves, the ladder; then every lift; then what it all rests on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from core.job import SIDES
from core.results import Review
from core.units import UnitSet, label
from dashboard import words
from dashboard.figures import NO_PRICE, NOTHING
from dashboard.handover.basis_pages import draw_basis
from dashboard.handover.fonts import STRONG
from dashboard.handover.grid import FULL, Column, Grid, Row
from dashboard.handover.lift_pages import draw_by_lift
from dashboard.handover.overlay import draw_overlay
from dashboard.handover.paper import LEFT, LOOK, WIDTH, Paper
from dashboard.ladder import LadderRow, ladder
from dashboard.look import MANY_STAGES, TYPE_PT

_SMALL = TYPE_PT["small"]


def summary_pdf(review: Review, units: UnitSet, *, prices: bool = True) -> bytes:
    """Return the summary as a PDF; the same review gives the same bytes.

    ``prices=False`` leaves every price out, in the sentence as in the tables.
    """
    if not prices:
        review = _without_prices(review)
    days = [sheet.date for sheet in review.job.sheets if sheet.date]
    foot = (words.conditions(review, units), f"data {review.job.fingerprint}")
    paper = Paper(review.job.title, max(days, default=None), foot)
    rows = ladder(review, units)
    priced = any(stage.price is not None for stage in review.stages)
    _draw_title(paper, review)
    _draw_answer(paper, review)
    draw_overlay(paper, review, units)
    if len(review.stages) > 1:
        _draw_ladder(paper, review, units, rows, priced)
    _draw_other_measures(paper, units, rows, priced)
    for side in SIDES:
        draw_by_lift(paper, review, side, units)
    paper.heading(words.CEILING_TITLE, room=16.0)
    paper.paragraph(words.ceiling_line(review, units))
    if review.ceiling:
        paper.paragraph(words.CAVEAT, style=STRONG)
    draw_basis(paper, review, units)
    return paper.finish()


def _without_prices(review: Review) -> Review:
    return replace(
        review,
        stages=tuple(replace(stage, price=None) for stage in review.stages),
        gains=tuple(replace(gain, price=None, price_per_flow=None) for gain in review.gains),
    )


def _draw_title(paper: Paper, review: Review) -> None:
    job = review.job
    days = sorted({sheet.date for sheet in job.sheets if sheet.date})
    said = [part for part in (job.customer, job.casting, job.serial_number, job.note) if part]
    if days:
        said.append(f"bench day {days[0]}" if len(days) == 1 else f"bench days {days[0]} to {days[-1]}")
    aside = 62.0 if said else 0.0
    top = paper.y
    with paper.tagged("H1"):
        for line in paper.wrapped(job.title, WIDTH - aside, TYPE_PT["title"], STRONG):
            paper.y += 7.6
            paper.line_of_text(LEFT, paper.y, line, size=TYPE_PT["title"], style=STRONG)
    y = top + 0.6
    with paper.tagged("P"):
        for line in (line for text in said for line in paper.wrapped(text, aside - 4, _SMALL)):
            y += 3.5
            paper.line_of_text(LEFT + WIDTH, y, line, size=_SMALL, colour=LOOK.muted, align="right")
    paper.y = max(paper.y, y) + 3.4
    paper.rule(paper.y, strong=True)
    paper.y += 2.6


def _draw_answer(paper: Paper, review: Review) -> None:
    paper.paragraph(words.answer(review), size=TYPE_PT["lead"])
    paper.y += 1.0
    # Without prices a quotation has no price to show, so it does not say that there is none.
    planned = words.planned(review).replace(f" ({NO_PRICE})", "")
    for text in (words.steps(review), *words.answer_doubts(review), planned):
        if text:
            paper.paragraph(text, colour=LOOK.muted)


def _draw_ladder(
    paper: Paper, review: Review, units: UnitSet, rows: Sequence[LadderRow], priced: bool
) -> None:
    count, unit = len(review.stages), label("flow", units)
    gain = 47.0 if priced else 56.0
    price = [Column("price", 28.0, "right")] if priced else []
    columns = [
        Column("stage", FULL - 2 * gain - (28.0 if priced else 0.0)),
        *price,
        *(Column(f"{side}, {unit}", gain, "below") for side in SIDES),
    ]
    table = []
    for row in rows:
        # Many stages are numbered in the chart, so they are here.
        number = f"{row.place + 1} " if count >= MANY_STAGES and row.place is not None else ""
        entries = (number + row.stage, *([row.price] if priced else []), row.gain.intake, row.gain.exhaust)
        rule = "heavy" if row.place is None else "light" if row.place else ""
        table.append(Row(entries, strong=row.place is None, rule=rule, sample=row.place))
    grid = Grid(paper, columns, table, samples=count)
    paper.heading("What each stage gained" + (", and its price" if priced else ""), room=grid.room)
    grid.draw()
    paper.y += 1.2
    paper.paragraph(words.ladder_caption(review), size=_SMALL, colour=LOOK.muted)


def _draw_other_measures(paper: Paper, units: UnitSet, rows: Sequence[LadderRow], priced: bool) -> None:
    """Set the same steps in percent, at peak, as a share of the whole and by price."""
    columns = [
        Column("stage", FULL - (124.0 if priced else 82.0)),
        Column("gain", 27.0, "left"),
        Column(f"gain at the highest lift in use, {label('flow', units)}", 33.0, "left"),
        Column("share of the whole", 22.0, "left"),
        *([Column("price of a clear gain", 42.0, "left")] if priced else []),
    ]
    for side in SIDES:
        steps = [row for row in rows if row.change[side] != NOTHING or row.at_peak[side] != NOTHING]
        if not steps:
            continue
        table = [
            Row(
                (row.stage, row.change[side], row.at_peak[side], row.share[side])
                + ((row.price_per_flow[side],) if priced else ()),
                strong=row.place is None,
                rule="heavy" if row.place is None else "",
            )
            for row in steps
        ]
        grid = Grid(paper, columns, table)
        paper.heading(f"{side.capitalize()} gains in other measures", room=grid.room)
        grid.draw()
