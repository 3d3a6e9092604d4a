"""Target: how far is it to that casting?"""

from __future__ import annotations

import streamlit as st

from core.results import Gap, Review
from core.units import label
from dashboard import target_tables, target_words, words
from dashboard.charts.gap import gap_chart
from dashboard.evidence import finding_lines
from dashboard.screens.noticed import finding_row
from dashboard.screens.page import LINE_BREAK, draw_kept_chart, draw_rows, draw_table, fold, open_screen
from dashboard.state import Shown
from dashboard.usertext import inert


def draw() -> None:
    """Draw the screen: what is reached, then each side's gap as chart, table and what to find."""
    opened = open_screen("Target")
    if opened is None:
        return
    shown, review = opened
    if review.target is None:
        _draw_empty(shown)
        return
    st.caption(target_words.line(review, shown.units, inert))
    st.header(target_words.answer(review))
    findings = [one for one in review.findings if one.code.startswith("target-")]
    if findings:
        lines = finding_lines(findings, shown.units, customer=shown.reader == "customer")
        draw_rows(("Level", "What"), [finding_row(line) for line in lines])
    gaps = target_words.last_gaps(review)
    for gap in gaps:
        _draw_side(shown, review, gap)
    if gaps:
        st.caption(f"{target_words.CHART_CAPTION} {target_words.TABLE_CAPTION}")
        for gap in gaps:
            title = f"{gap.side.capitalize()}. {target_words.BY_LIFT}"
            fold(title, f"target-{gap.side}", _draw_lifts, shown, review, gap)
        fold(target_words.EVERY_STAGE, "target-stages", _draw_stages, review)


def _draw_empty(shown: Shown) -> None:
    if shown.reader == "customer":
        st.header(target_words.EMPTY_CUSTOMER)
        return
    st.header(target_words.EMPTY_LEAD)
    st.markdown(target_words.EMPTY_HELP)
    st.code(target_words.EMPTY_WAYS, language="toml")


def _draw_side(shown: Shown, review: Review, gap: Gap) -> None:
    name = f"{gap.side.capitalize()}: {inert(gap.stage)} less target, {label('flow', shown.units)}"
    st.subheader(name)
    left, right = st.columns([6, 5])
    with left:
        draw_kept_chart(shown, gap_chart, gap.side, shown.units, shown.theme)
        lines = (target_words.where(gap, shown.units), target_words.to_find(gap, shown.units, _strong))
        st.markdown(" ".join(filter(None, lines)))
    with right:
        _draw_thirds(shown, gap)
        st.markdown(target_words.valve_for_valve(review, gap, shown.units))
        for doubt in words.doubts(gap.gain, inert, review=review):
            st.caption(doubt[0].upper() + doubt[1:] + ".")


def _draw_thirds(shown: Shown, gap: Gap) -> None:
    """Draw the table of the thirds with two lines a cell, so that a phone shows all of it."""
    table = target_tables.thirds(gap, shown.units)
    lift, flow, _, coefficient, limits = table.columns
    rows = [
        [f"**{row[0]}**{LINE_BREAK}{row[4]}", f"{row[1]}{LINE_BREAK}{row[2]}", inert(row[3])]
        for row in table.rows
    ]
    draw_rows([f"{lift}: {limits.lower()}", f"{flow}, and in %", coefficient], rows)


def _strong(text: str) -> str:
    return f"**{text}**"


def _draw_lifts(shown: Shown, review: Review, gap: Gap) -> None:
    draw_table(target_tables.by_lift(review, gap, shown.units))
    st.caption(target_words.BY_LIFT_CAPTION)


def _draw_stages(review: Review) -> None:
    draw_table(target_tables.every_stage(review))
    st.caption(target_words.EVERY_STAGE_CAPTION)
