"""Rough power: what may the work be worth?"""

from __future__ import annotations

import streamlit as st

from core.chambers import compression_lines
from core.dyno import STANDARDS
from core.power_results import PowerModel
from core.results import Review
from core.units import UnitError, label, show
from dashboard import phrases, power_entry, power_state, power_tables, power_words, words
from dashboard.charts.power import power_bands, power_parts, power_ranges, torque_bands
from dashboard.screens.page import LINE_BREAK, beside, draw_chart, draw_rows, draw_table, fold, open_screen
from dashboard.state import Shown
from dashboard.usertext import inert


def draw() -> None:
    """Draw the screen: first all that needs no model, then the model into the places kept for it."""
    opened = open_screen(power_words.TITLE)
    if opened is None:
        return
    shown, review = opened
    answer = st.container()
    settings = st.container()
    fold(power_words.LEDGER_TITLE, "compression", _draw_ledger, shown, review)
    limits = st.container()
    st.subheader(words.CEILING_TITLE)
    st.markdown(words.ceiling_line(review, shown.units, inert))
    if review.ceiling:
        st.caption(words.CAVEAT)
    with answer:
        review = power_state.ready(review) or draw_working(review)
        _draw_answer(shown, review, review.power)
    with settings:
        _draw_settings(shown, review, review.power)
    with limits:
        _draw_limits(shown, review.power)


def draw_working(review: Review) -> Review:
    """Draw progress while the model is worked out; each step of it lets a click through."""
    place = st.empty()
    place.progress(0.0, power_words.WORKING)
    review = power_state.work_out(review, lambda share: place.progress(min(share, 1.0), power_words.WORKING))
    place.empty()
    return review


def _draw_answer(shown: Shown, review: Review, model: PowerModel) -> None:
    st.header(power_words.answer(model, shown.units, inert))
    if model.because is None:
        st.markdown(power_words.CAVEAT_LINE)
    for line in (power_words.anchor_line(model, shown.units, inert), *power_words.missing(model, inert)):
        if line:
            st.markdown(line)
    rows = power_tables.range_rows(model)
    if not rows:
        return
    whole = rows[-1].gain
    left, right = beside(2)
    with left:
        st.subheader(f"{power_words.RANGES_TITLE}, {label('power', shown.units)}")
        draw_chart(power_ranges(model, shown.units, shown.theme))
    with right:
        st.subheader(f"{_parts_title(rows)}, {label('power', shown.units)}")
        draw_chart(power_parts(whole, shown.units, shown.theme))
    st.caption(power_words.basis(model, shown.units))
    draw_rows(*_range_table(shown, review, rows))
    st.caption(power_words.SHARES_CAPTION)


def _range_table(
    shown: Shown, review: Review, rows: tuple[power_tables.RangeRow, ...]
) -> tuple[list[str], list[list[str]]]:
    """Return the ranges in four columns at most, so that a phone shows them: cells of two lines."""
    table = power_tables.ranges(rows, review, shown.units)
    stage, gain, _, brought, *price = table.columns
    cells = [
        [
            inert(name),
            LINE_BREAK.join((inert(amount), inert(percent))),
            LINE_BREAK.join(inert(side) for side in sides.split(", ")),
            *(LINE_BREAK.join(inert(part) for part in one.split(", ")) for one in paid),
        ]
        for name, amount, percent, sides, *paid in table.rows
    ]
    return [stage, gain, brought, *price], cells


def _parts_title(rows: tuple[power_tables.RangeRow, ...]) -> str:
    last = rows[-1]
    return power_words.parts_title(None if last.place is None else last.name, inert)


# --- what was assumed ------------------------------------------------------------------


def _draw_settings(shown: Shown, review: Review, model: PowerModel) -> None:
    if model.assumptions:
        settable = shown.reader == "shop"
        title = power_words.ASSUMED_TITLE if settable else phrases.ASSUMED_FOR_CUSTOMER
        fold(title, "assumed", _draw_assumed, shown, review, model)
    if model.baseline is not None and shown.reader == "shop":
        fold(power_words.ANCHOR_ASK, "anchor", _draw_anchor, shown, review, model)


def _draw_assumed(shown: Shown, review: Review, model: PowerModel) -> None:
    here = power_state.set_here(review.job)
    draw_table(power_tables.assumptions(model, shown.units, frozenset(here)))
    for note in model.notes:
        st.caption(inert(note))
    if shown.reader == "customer":
        return
    values, wrong = {}, False
    with st.form(f"power-{shown.units.name}", border=False):
        st.markdown(power_words.SETTINGS_HELP)
        columns = st.columns(3)
        high = -(-len(model.assumptions) // len(columns))
        for place, one in enumerate(model.assumptions):
            with columns[place // high]:  # down, then across: stacked on a phone the order stays
                text = st.text_input(
                    power_entry.field_label(one, shown.units),
                    power_entry.typed_text(here[one.key], one, shown.units) if one.key in here else "",
                    placeholder=power_tables.value_text(one.value, one, shown.units),
                    key=f"power-{shown.units.name}-{one.key}-{review.job.fingerprint}",
                )
                if not text.strip():
                    continue
                try:
                    values[one.key] = power_entry.read_value(text, one, shown.units)
                except UnitError as error:
                    wrong = True
                    st.error(inert(str(error)))
        if st.form_submit_button(power_words.SETTINGS_BUTTON) and not wrong and values != here:
            power_state.keep(review.job, values)
            st.rerun()
    if wrong:
        st.markdown(power_words.NOT_TAKEN)
    _draw_keep(power_entry.power_lines(here, {one.key: one for one in model.assumptions}))


def _draw_keep(lines: str) -> None:
    if lines:
        st.markdown(power_words.KEEP_TITLE)
        st.code(lines, language=None)


def _draw_anchor(shown: Shown, review: Review, model: PowerModel) -> None:
    st.markdown(power_words.ANCHOR_HELP)
    anchor = power_state.settings(review.job).anchor
    names = [stage.name for stage in model.stages if stage.band is not None]
    given = "" if anchor is None else show(anchor.power_w, "power", shown.units)
    key = f"{shown.units.name}-{review.job.fingerprint}"
    with st.form(f"anchor-{shown.units.name}", border=False):
        text = st.text_input(
            f"Corrected peak, {label('power', shown.units)}", given, key=f"anchor-power-{key}"
        )
        problem = st.container()
        stage = st.selectbox(
            "At which stage",
            names,
            index=names.index(anchor.stage) if anchor and anchor.stage in names else 0,
            key=f"anchor-stage-{key}",
        )
        standard = st.selectbox(
            "Corrected to",
            STANDARDS,
            index=STANDARDS.index(anchor.standard) if anchor and anchor.standard in STANDARDS else 0,
            key=f"anchor-standard-{key}",
        )
        if st.form_submit_button(power_words.ANCHOR_BUTTON):
            try:
                wanted = power_entry.read_anchor(text, stage, standard, shown.units)
            except UnitError as error:
                problem.error(inert(str(error)))
            else:
                power_state.keep_anchor(review.job, wanted)
                st.rerun()
    if anchor is not None and anchor.standard:
        st.caption(power_words.other_standards(anchor.power_w, anchor.standard, shown.units))
    _draw_keep(power_entry.dyno_lines(power_state.anchor_here(review.job)))


# --- compression, and what is not known ------------------------------------------------


def _draw_ledger(shown: Shown, review: Review) -> None:
    st.markdown(power_words.ledger_line(review, inert))
    if not review.compression:
        return
    lines = review.compression
    grew = any(line.added_m3 > 0 for line in lines)
    stated = review.job.engine is not None and review.job.engine.chamber_plan_area_m2 is not None
    if grew and not stated and shown.reader == "shop":
        area = _ask_area(shown, review)
        lines = lines if area is None else compression_lines(review.job, area)
    draw_table(power_tables.ledger(lines, shown.units))
    st.caption(power_words.LEDGER_CAPTION.format(base=inert(lines[0].base)))
    if deck := power_words.deck_line(lines, shown.units):
        st.markdown(deck)
    if grew:
        st.markdown(power_words.DECK_CAUTION)


def _ask_area(shown: Shown, review: Review) -> float | None:
    st.markdown(power_words.ASK_AREA)
    unit = label("area", shown.units)
    key = f"plan-area-{shown.units.name}-{review.job.fingerprint}"
    text = st.text_input(f"Plan area of one chamber at the deck, {unit}", key=key)
    if not text.strip():
        return None
    try:
        return power_entry.read_area(text, shown.units)
    except UnitError as error:
        st.error(inert(str(error)))
        return None


def _draw_limits(shown: Shown, model: PowerModel) -> None:
    if rows := power_tables.range_rows(model):
        fold(power_words.SOURCES_TITLE, "parts", _draw_parts, shown, rows[-1])
    if model.baseline is not None:
        fold(power_words.BANDS_TITLE, "bands", _draw_bands, shown, model)
    if model.disclosures:
        fold(power_words.LIMITS_TITLE, "limits", _draw_disclosures, model)


def _draw_parts(shown: Shown, row: power_tables.RangeRow) -> None:
    draw_table(power_tables.parts(row.gain, shown.units))
    st.caption(power_words.PARTS_CAPTION)


def _draw_bands(shown: Shown, model: PowerModel) -> None:
    for place, kind, chart in zip(beside(2), ("power", "torque"), (power_bands, torque_bands), strict=True):
        with place:
            st.subheader(f"{kind.capitalize()}, {label(kind, shown.units)}")
            draw_chart(chart(model, shown.units, shown.theme))
            draw_table(power_tables.bands(model, kind, shown.units))
    st.caption(f"{power_words.window_note(model)} {power_words.BANDS_CAPTION} {words.CAVEAT}".strip())


def _draw_disclosures(model: PowerModel) -> None:
    st.markdown("\n".join(f"- {inert(line)}" for line in model.disclosures))
