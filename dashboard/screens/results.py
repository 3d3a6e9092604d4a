"""Results: what did the money buy?"""

from __future__ import annotations

from dataclasses import replace

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from core.job import SIDES, Finding, Side
from core.results import Review
from core.units import label
from dashboard import (
    answer_words,
    evidence,
    phrases,
    power_state,
    power_words,
    state,
    target_tables,
    target_words,
    words,
)
from dashboard.charts import overlay, rungs, stairs
from dashboard.charts.steps import MOST_STAIRS
from dashboard.figures import counted
from dashboard.handover import facts
from dashboard.handover.choice import EVERYTHING, FOR_CUSTOMER
from dashboard.ladder import LadderRow, ladder
from dashboard.screens.noticed import finding_row
from dashboard.screens.page import (
    LINE_BREAK,
    beside,
    cell_text,
    draw_apart,
    draw_kept_chart,
    draw_rows,
    fold,
    open_screen,
)
from dashboard.screens.power import draw_working
from dashboard.state import Shown
from dashboard.tables import Cell
from dashboard.usertext import inert


def draw() -> None:
    """Draw the screen: the answer, the ladder, then the charts."""
    opened = open_screen("Results")
    if opened is None:
        return
    shown, review = opened
    if about := facts.about(review.job):
        st.caption(" · ".join(map(inert, about)))
    st.header(answer_words.answer(review, inert))
    for line in (
        answer_words.steps(review, inert),
        *answer_words.doubts(review, inert),
        answer_words.planned(review, inert),
    ):
        if line:
            st.markdown(line)
    review = power_state.ready(review) or review
    power, place, download = st.empty(), st.empty(), st.empty()
    rows = ladder(review, shown.units)
    _draw_power(power, shown, review)
    with place.container():
        _draw_ladder(shown, review, rows)
    with download:
        _draw_download(shown, review)
    _draw_overlays(shown, review)
    _draw_steps(shown, review)
    if words.step_gains(review):
        fold(phrases.MORE_FIGURES, "more", _draw_more, shown, review, rows)
    _draw_ceiling(shown, review)
    _draw_findings(shown, review)
    if review.power is None:  # it takes a while, so all else is there first
        with download:
            review = draw_working(review)
        _draw_power(power, shown, review)
        with place.container():
            _draw_ladder(shown, review, ladder(review, shown.units))
        with download:
            _draw_download(shown, review)


def _draw_power(place: DeltaGenerator, shown: Shown, review: Review) -> None:
    if line := power_words.beside_answer(review.power, shown.units, inert):
        place.markdown(line)


def _draw_ladder(shown: Shown, review: Review, rows: tuple[LadderRow, ...]) -> None:
    flow = label("flow", shown.units)
    table = []
    for row in rows:
        name = inert(row.stage) if row.place is not None else f"**{row.stage}**"
        if words.is_priced(review):
            name += LINE_BREAK + inert(row.price)
        table.append([name, cell_text(row.gain.intake), cell_text(row.gain.exhaust)])
    heads = ["Stage", f"Intake, {flow}", f"Exhaust, {flow}"]
    caption = words.ladder_caption(review)
    if review.power is not None:
        caption += f" {power_words.ladder_note(review.power, inert)}"
        if review.power.because is None:
            heads.append(f"{power_words.TITLE}, {label('power', shown.units)}")
            table = [[*cells, inert(row.power)] for cells, row in zip(table, rows, strict=True)]
    if reached := target_tables.row(review):
        shares = [inert(reached[side]) for side in SIDES]
        table.append([target_words.row_name(review, inert), *shares, *[""] * (len(heads) - 3)])
    draw_rows(heads, table, phrases.LADDER_TITLE)
    st.caption(caption)


def _draw_download(shown: Shown, review: Review) -> None:
    if review.power is None:
        st.button(phrases.PDF_LABEL, disabled=True, help=power_words.WORKING)
        return
    choice = EVERYTHING if shown.reader == "shop" else FOR_CUSTOMER
    data = state.handover_file("summary.pdf", shown.units.name, choice, review)
    st.download_button(phrases.PDF_LABEL, data, "summary.pdf", "application/pdf", on_click="ignore")


def _draw_overlays(shown: Shown, review: Review) -> None:
    flow = label("flow", shown.units)
    for place, side in zip(beside(len(SIDES)), SIDES, strict=True):
        with place:
            st.subheader(f"{side.capitalize()} flow, {flow}")
            if words.measured(review, side):
                draw_kept_chart(shown, overlay, side, shown.units, shown.theme)
            else:
                st.markdown(words.NOT_MEASURED)
    st.caption(words.POINTS_AND_BANDS)


def _draw_steps(shown: Shown, review: Review) -> None:
    sides = [side for side in SIDES if any(gain.side == side for gain in words.step_gains(review))]
    if not sides:
        return
    if len(review.stages) <= MOST_STAIRS and not shown.phone:
        for side in sides:
            st.subheader(_steps_title(shown, side))
            draw_kept_chart(shown, stairs, side, shown.units, shown.theme)
    else:
        for place, side in zip(beside(len(sides)), sides, strict=True):
            with place:
                st.subheader(_steps_title(shown, side))
                draw_kept_chart(shown, rungs, side, shown.units, shown.theme)
    st.caption(f"{phrases.STEPS_CAPTION} {words.MARKS}.")


def _steps_title(shown: Shown, side: Side) -> str:
    return f"{side.capitalize()}: what each stage added, {label('flow', shown.units)}"


def _draw_more(shown: Shown, review: Review, rows: tuple[LadderRow, ...]) -> None:
    for side in SIDES:
        steps = [row for row in rows if row.gain[side].verdict]
        if steps:
            st.subheader(side.capitalize())
            _draw_side_of_more(shown, review, side, steps)
    st.caption(phrases.MORE_CAPTION)


def _draw_side_of_more(shown: Shown, review: Review, side: Side, steps: list[LadderRow]) -> None:
    flow, priced = label("flow", shown.units), words.is_priced(review)
    last = "Share, and price" if priced else "Share of the whole"
    heads = ["Stage", "Gain", f"At the highest lift in use, {flow}", last]
    table = [
        [
            inert(row.stage),
            cell_text(replace(row.gain[side], number=row.change[side])),
            cell_text(Cell(row.at_peak[side], row.verdict_at_peak[side])),
            # In one column: a phone shows four.
            LINE_BREAK.join(map(inert, (row.share[side], *([row.price_per_flow[side]] if priced else [])))),
        ]
        for row in steps
    ]
    draw_rows(heads, table)


def _draw_ceiling(shown: Shown, review: Review) -> None:
    st.subheader(words.CEILING_TITLE)
    st.markdown(words.ceiling_line(review, shown.units, inert))
    if review.ceiling:
        st.caption(words.CAVEAT)


def _draw_findings(shown: Shown, review: Review) -> None:
    found = words.findings_for(review, customer=shown.reader == "customer")
    grave = [finding for finding in found if finding.level != "note"]
    notes = [finding for finding in found if finding.level == "note"]
    st.subheader(phrases.FINDINGS_TITLE)
    if grave:
        _draw_lines(shown, grave)
        st.caption(evidence.levels_mean(grave))
    else:
        st.markdown(phrases.NOTHING_GRAVE)
    if notes:
        fold(counted(len(notes), "note"), "notes", _draw_lines, shown, notes)
    if line := words.repeat_line(review):
        st.caption(inert(line))
    fold(phrases.CONDITIONS_TITLE, "conditions", _draw_conditions, shown, review)


def _draw_lines(shown: Shown, findings: list[Finding]) -> None:
    lines = evidence.finding_lines(findings, shown.units, customer=shown.reader == "customer")
    draw_rows(("Level", "What"), [finding_row(line) for line in lines])


def _draw_conditions(shown: Shown, review: Review) -> None:
    draw_apart(evidence.conditions(review, shown.units), phrases.ON_EVERY_SHEET)
