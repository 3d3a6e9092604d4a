"""``summary.pdf``: the answer, the curves, the ladder; then every lift; then what it all rests on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from core.job import SIDES
from core.results import Review
from core.units import NO_BREAK_SPACE, UnitSet, label
from dashboard import answer_words, phrases, power_words, target_tables, target_words, words
from dashboard.figures import NOTHING, counted
from dashboard.handover import facts
from dashboard.handover.archive import bench_day
from dashboard.handover.basis_pages import READINGS, draw_basis
from dashboard.handover.choice import EVERYTHING, Choice, shown_to
from dashboard.handover.fonts import STRONG
from dashboard.handover.grid import FULL, Column, Grid, Row
from dashboard.handover.lift_pages import BY_LIFT, draw_by_lift
from dashboard.handover.overlay import ALONE, HIGHEST, LEAST, draw_overlay
from dashboard.handover.paper import LEFT, LINE_MM, LOOK, WIDTH, Paper, Sheet
from dashboard.handover.power_page import draw_power
from dashboard.ladder import LadderRow, ladder
from dashboard.look import MANY_STAGES, TYPE_PT
from dashboard.tables import Cell

_SMALL = TYPE_PT["small"]
_SHEETS: dict[str, Sheet] = {"metric": "A4", "US": "Letter"}  # who reads cfm prints on Letter
_ASIDE, _MOST_BESIDE = 62.0, 6  # mm beside the title, and lines of it that a chart can stand below
_OVERLAY_HEAD, _LADDER_HEAD, _TAIL = 16.0, 15.0, 23.5  # room for headings, and for the lines at the end


def summary_pdf(review: Review, units: UnitSet, choice: Choice = EVERYTHING) -> bytes:
    """Return the summary as a PDF, on A4 or for US units on Letter; the same review gives the same bytes."""
    review = shown_to(review, choice)
    foot = (words.conditions(review, units), f"data {review.job.fingerprint}")
    paper = Paper(review.job.title, bench_day(review.job), foot, _SHEETS[units.name])
    rows = ladder(review, units)
    priced = words.is_priced(review)
    _draw_first_page(paper, review, units, rows, priced)
    _draw_other_measures(paper, units, rows, priced)
    for side in SIDES:
        draw_by_lift(paper, review, side, units)
    draw_power(paper, review, units)
    paper.heading(words.CEILING_TITLE, room=16.0)
    paper.paragraph(words.ceiling_line(review, units))
    if review.ceiling:
        paper.paragraph(words.CAVEAT, style=STRONG)
    draw_basis(paper, review, units)
    _draw_inside(paper, review)
    return paper.finish()


def _draw_first_page(
    paper: Paper, review: Review, units: UnitSet, rows: Sequence[LadderRow], priced: bool
) -> None:
    """Set what a racer needs: the answer, the curves, the ladder; the chart gives way so that all fits."""
    paper.bookmark("Summary")
    _draw_title(paper, review)
    _draw_answer(paper, review, units)
    grid = _ladder_grid(paper, review, units, rows, priced) if len(review.stages) > 1 else None
    paper.need(_OVERLAY_HEAD + LEAST + _TAIL)
    room = paper.bottom - paper.y - _OVERLAY_HEAD - _TAIL
    beside = room - (grid.height + _LADDER_HEAD if grid else 0.0)
    height = min(beside, HIGHEST) if beside >= LEAST else min(room, ALONE)
    draw_overlay(paper, review, units, height)
    if grid is not None and beside >= LEAST:
        _draw_ladder(paper, review, grid, priced)
    if repeats := words.repeat_line(review):
        paper.paragraph(repeats, size=_SMALL, colour=LOOK.muted)
    paper.add_page()
    if grid is not None and beside < LEAST:
        _draw_ladder(paper, review, grid, priced)


def _draw_inside(paper: Paper, review: Review) -> None:
    """Say at the foot of the first page what the others hold, and what stands against its numbers."""
    grave = sum(finding.level != "note" for finding in review.findings)
    know = f"{counted(grave, 'doubt')} to know of." if grave else phrases.NOTHING_GRAVE
    parts = {
        "every lift": BY_LIFT,
        "rough power": power_words.TITLE,
        "what to know": phrases.FINDINGS_TITLE,
        "how to recompute": phrases.RECOMPUTE_TITLE,
        "readings": READINGS,
    }
    pages: dict[int, list[str]] = {}
    for part, end in parts.items():
        page = next((page for name, page in paper.sections.items() if name.endswith(end)), None)
        if page is not None:
            pages.setdefault(page, []).append(part)
    where = " ".join(
        f"Page{NO_BREAK_SPACE}{page}: {', '.join(said)}." for page, said in sorted(pages.items())
    )
    paper.turn_to(1)
    paper.y = paper.bottom - LINE_MM
    paper.paragraph(f"{know} {where}", size=_SMALL)


def _draw_ladder(paper: Paper, review: Review, grid: Grid, priced: bool) -> None:
    paper.heading("What each stage gained" + (", and its price" if priced else ""), room=grid.room)
    grid.draw()
    paper.y += 1.2
    caption = words.ladder_caption(review)
    if review.power is not None:
        caption += f" {power_words.ladder_note(review.power)}"
    paper.paragraph(caption, size=_SMALL, colour=LOOK.muted)


def _draw_title(paper: Paper, review: Review) -> None:
    """Set the title, and whose head it is: beside it, or below where that or the title is long."""
    job, said = review.job, facts.about(review.job)
    aside = [line for text in said for line in paper.wrapped(text, _ASIDE - 4, _SMALL)]
    title = paper.wrapped(job.title, WIDTH - (_ASIDE if aside else 0.0), TYPE_PT["title"], STRONG)
    if len(title) > _MOST_BESIDE or len(aside) > 2 * _MOST_BESIDE:
        paper.paragraph(job.title, size=TYPE_PT["lead"], style=STRONG, kind="H1")
        paper.paragraph(" · ".join(said), size=_SMALL, colour=LOOK.muted)
        paper.y += 2.0
    else:
        _draw_beside(paper, title, aside)
    paper.rule(paper.y, strong=True)
    if facts.boxed(job):
        paper.y += 0.8
        paper.paragraph(facts.BOXES, size=_SMALL, colour=LOOK.muted)
    paper.y += 2.6


def _draw_beside(paper: Paper, title: Sequence[str], aside: Sequence[str]) -> None:
    top = paper.y
    with paper.tagged("H1"):
        for line in title:
            paper.y += 7.6
            paper.line_of_text(LEFT, paper.y, line, size=TYPE_PT["title"], style=STRONG)
    y = top + 0.6
    with paper.tagged("P"):
        for line in aside:
            y += 3.5
            paper.line_of_text(LEFT + WIDTH, y, line, size=_SMALL, colour=LOOK.muted, align="right")
    paper.y = max(paper.y, y) + 3.4


def _draw_answer(paper: Paper, review: Review, units: UnitSet) -> None:
    paper.paragraph(answer_words.answer(review), size=TYPE_PT["lead"])
    paper.y += 1.0
    power = power_words.beside_answer(review.power, units)
    for text in (
        answer_words.steps(review),
        *answer_words.doubts(review),
        power,
        answer_words.planned(review),
    ):
        if text:
            paper.paragraph(text, colour=LOOK.muted)


def _ladder_grid(
    paper: Paper, review: Review, units: UnitSet, rows: Sequence[LadderRow], priced: bool
) -> Grid:
    count, unit = len(review.stages), label("flow", units)
    gain = 44.0 if priced else 56.0
    price = [Column("price", 28.0, "right"), Column("", 4.0)] if priced else []
    power: list[Column] = []
    if review.power is not None and review.power.because is None:
        power = [Column(f"rough power, {label('power', units)}", 34.0)]
        gain -= 8.0
    columns = [
        Column("stage", FULL - 2 * gain - (32.0 if priced else 0.0) - (34.0 if power else 0.0)),
        *price,
        *(Column(f"{side}, {unit}", gain, "below") for side in SIDES),
        *power,
    ]
    table = []
    for row in rows:
        # Many stages are numbered in the chart, so they are here.
        number = f"{row.place + 1} " if count >= MANY_STAGES and row.place is not None else ""
        money = (row.price, "") if priced else ()
        entries = (number + row.stage, *money, row.gain.intake, row.gain.exhaust)
        entries += (row.power,) if power else ()
        rule = "heavy" if row.place is None else "light" if row.place else ""
        table.append(Row(entries, strong=row.place is None, rule=rule, sample=row.place))
    if reached := target_tables.row(review):
        blank = ("", "") if priced else ()
        shares = (reached[side] for side in SIDES)
        rest = ("",) if power else ()
        table.append(Row((target_words.row_name(review), *blank, *shares, *rest), rule="light"))
    return Grid(paper, columns, table, samples=count)


def _draw_other_measures(paper: Paper, units: UnitSet, rows: Sequence[LadderRow], priced: bool) -> None:
    """Set the same steps in percent, at peak, as a share of the whole and by price."""
    columns = [
        Column("stage", FULL - (126.0 if priced else 84.0)),
        Column("gain", 29.0, "below"),
        Column(f"gain at the highest lift in use, {label('flow', units)}", 33.0, "below"),
        Column("share of the whole", 22.0, "left"),
        *([Column("price of a clear gain", 42.0, "left")] if priced else []),
    ]
    for side in SIDES:
        steps = [row for row in rows if row.change[side] != NOTHING or row.at_peak[side] != NOTHING]
        if not steps:
            continue
        table = [
            Row(
                (
                    row.stage,
                    replace(row.gain[side], number=row.change[side]),
                    Cell(row.at_peak[side], row.verdict_at_peak[side]),
                    row.share[side],
                )
                + ((row.price_per_flow[side],) if priced else ()),
                strong=row.place is None,
                rule="heavy" if row.place is None else "light" if n else "",
            )
            for n, row in enumerate(steps)
        ]
        grid = Grid(paper, columns, table)
        paper.heading(f"{side.capitalize()} gains in other measures", room=grid.room)
        grid.draw()
