"""Bench day: can today be trusted, and where does a number come from?"""

from __future__ import annotations

from itertools import cycle, groupby

import streamlit as st

from core.job import SIDES, Finding, Job, Side
from core.results import Review, SideCurve
from core.trail import Trail, trail
from core.units import label
from dashboard import bench_tables, bench_words, evidence, phrases, words
from dashboard.charts.bench import plate_history
from dashboard.figures import counted, lifts
from dashboard.screens.noticed import finding_row
from dashboard.screens.page import draw_apart, draw_chart, draw_rows, draw_table, fold, open_screen
from dashboard.state import Shown
from dashboard.tables import Table
from dashboard.usertext import inert

_BOX = {"stop": st.error, "look": st.warning, "note": st.success}


def draw() -> None:
    """Draw the screen: can the day be trusted, one number followed, then what it all rests on."""
    opened = open_screen("Bench day")
    if opened is None:
        return
    shown, review = opened
    if shown.reader == "customer":
        st.markdown(bench_words.SHOP_ONLY)
        return
    level, said, rest = bench_words.trust(review)
    _BOX[level](f"**{said}**  \n{rest}")
    _draw_findings(shown, review)
    st.header(bench_words.TRAIL_TITLE)
    if any(words.measured(review, side) for side in SIDES):
        _draw_trail(shown, review)
    else:
        st.markdown(bench_words.NO_CURVE)
    fold(phrases.CONDITIONS_TITLE, "bench-conditions", _draw_conditions, shown, review)
    fold(bench_words.CALIBRATION, "calibration", _draw_calibration, shown, review)
    fold(bench_words.LEAK, "leak", _draw_leaks, shown, review)
    fold(bench_words.REPEATS, "repeats", _draw_repeats, review)
    fold(bench_words.BALANCE, "balance", _draw_balance, shown, review)


def _draw_findings(shown: Shown, review: Review) -> None:
    grave, notes = bench_words.findings_of_day(review)
    if not grave and not notes:
        st.markdown(bench_words.NOTHING_NOTICED)
    if grave:
        _draw_lines(shown, grave)
        st.caption(evidence.levels_mean(grave))
    if notes:
        fold(counted(len(notes), "note"), "bench-notes", _draw_lines, shown, notes)


def _draw_lines(shown: Shown, findings: list[Finding]) -> None:
    lines = evidence.finding_lines(findings, shown.units, customer=False)
    draw_rows(("Level", bench_words.NOTICED), [finding_row(line) for line in lines])


# --- one number, step by step ----------------------------------------------------------


def _draw_trail(shown: Shown, review: Review) -> None:
    side, stage, lift = _choose_point(shown, review)
    found = _trail(review.job.fingerprint, stage, side, lift, review.job)
    readings = [one for port in found.ports for one in port.readings]
    if len(readings) > 1:
        chosen = st.selectbox(
            "Reading",
            range(len(readings)),
            key=f"reading-{review.job.fingerprint}-{stage}-{side}-{lift}",
            format_func=lambda i: bench_tables.reading_name(readings[i]),
        )
    else:
        chosen = 0
    if readings:
        draw_table(bench_tables.chain(readings[chosen or 0], found, shown.units))
        st.caption(bench_words.TRAIL_CAPTION)
        if line := bench_words.beside(readings[chosen or 0], inert):
            st.markdown(line)
    st.markdown(bench_words.POINT_TITLE)
    _draw_marked(bench_tables.point(found, shown.units))
    st.markdown(bench_words.SHARES_TITLE)
    if found.shares:
        draw_table(bench_tables.shares(found, shown.units))
        st.caption(bench_words.SHARES_CAPTION)
    else:
        st.markdown(bench_words.NO_SHARES)


def _choose_point(shown: Shown, review: Review) -> tuple[Side, str, float]:
    """Let a point be chosen; at first the peak in use of the last stage."""
    print_ = review.job.fingerprint
    sides = [side for side in SIDES if words.measured(review, side)]
    with st.container(horizontal=True):
        side = st.segmented_control(
            "Side",
            sides,
            default=sides[0],
            key=f"trail-side-{print_}",
            required=True,
            persist_state="session",
        )
        side = side or sides[0]
        names = [stage.name for stage in words.measured(review, side)]
        stage = st.selectbox(
            "Stage", names, index=len(names) - 1, key=f"trail-stage-{print_}-{side}", persist_state="session"
        )
        curve = next(s for s in review.stages if s.name == stage).side(side)
        texts = dict(zip(curve.lift_m, lifts(curve.lift_m, shown.units), strict=True))
        lift = st.selectbox(
            f"Lift, {label('lift', shown.units)}",
            curve.lift_m,
            index=_peak(curve),
            key=f"trail-lift-{print_}-{side}-{stage}",
            persist_state="session",
            format_func=texts.get,
        )
    return side, stage, lift


def _peak(curve: SideCurve) -> int:
    return curve.lift_m.index(curve.peak_lift_m) if curve.peak_lift_m in curve.lift_m else 0


@st.cache_resource(show_spinner=False, scope="session", max_entries=64)
def _trail(fingerprint: str, stage: str, side: Side, lift_m: float, _job: Job) -> Trail:
    return trail(_job, stage, side, lift_m)


def _draw_marked(table: Table) -> None:
    rows = []
    for cells, marked in zip(table.rows, table.marked, strict=True):
        rows.append([f"**{inert(cell)}**" if marked and cell else inert(cell) for cell in cells])
    draw_rows(table.columns, rows)


# --- what it all rests on --------------------------------------------------------------


def _draw_conditions(shown: Shown, review: Review) -> None:
    draw_apart(evidence.conditions(review, shown.units), phrases.ON_EVERY_SHEET)


def _draw_calibration(shown: Shown, review: Review) -> None:
    if not review.calibration:
        st.markdown(bench_words.NO_CALIBRATION)
        return
    groups = [list(some) for _, some in groupby(review.calibration, key=lambda one: (one.bench, one.side))]
    for column, checks in zip(cycle(st.columns(2)), groups, strict=False):
        with column:
            st.markdown(bench_words.plate_heading(checks[0], review, inert))
            draw_chart(plate_history(checks, shown.theme))
            st.markdown(bench_tables.plate_limits(checks[0]))
            draw_table(bench_tables.plates(checks))
    st.caption(bench_words.CALIBRATION_CAPTION)


def _draw_leaks(shown: Shown, review: Review) -> None:
    if not review.leaks:
        st.markdown(bench_words.NO_LEAK)
        return
    draw_table(bench_tables.leaks(review, shown.units))
    st.caption(bench_words.LEAK_CAPTION)


def _draw_repeats(review: Review) -> None:
    draw_table(bench_tables.repeats(review))
    st.caption(bench_words.REPEATS_CAPTION)


def _draw_balance(shown: Shown, review: Review) -> None:
    for found in review.balance:
        if found.rows:
            st.markdown(bench_words.side_heading(found.side, found.stage, inert))
            draw_table(bench_tables.balance(found, shown.units))
        else:
            st.markdown(bench_words.one_port(found, inert))
    if any(found.rows for found in review.balance):
        st.caption(bench_words.BALANCE_CAPTION)
