"""By lift: where did it gain?"""

from __future__ import annotations

import streamlit as st

from core.job import SIDES, Side
from core.results import Against, Gain, Review
from core.units import UnitSet, label
from dashboard import phrases, state, tables, target_tables, words
from dashboard.charts import gain_by_lift
from dashboard.charts.frame import Spec
from dashboard.look import MANY_STAGES, Theme
from dashboard.screens.page import cell_text, draw_kept_chart, draw_rows, draw_table, fold, open_screen
from dashboard.state import Shown
from dashboard.usertext import inert


def draw() -> None:
    """Draw the screen: choices, gain by lift as chart and table, then what it is made of."""
    opened = open_screen("By lift")
    if opened is None:
        return
    shown, review = opened
    side, against = _choose(review)
    if not words.measured(review, side):
        st.markdown(f"**{side.capitalize()}: {words.NOT_MEASURED}**")
        return
    chosen = (side, against, _choose_stage(review, side, against))
    gains, _ = _compared(review, *chosen)
    what = "against the target" if against == "target" else "gain by lift"
    st.header(f"{side.capitalize()} {what}, {label('flow', shown.units)}")
    if gains:
        draw_kept_chart(shown, _chart, *chosen, shown.units, shown.theme)
        draw_rows(*shown.opened.drawn(_rows, *chosen, shown.units))
        _draw_captions(shown, review, gains)
    else:
        st.markdown(phrases.NO_STEP_HERE)
    if against == "target":
        fold(phrases.TARGET_TITLE, "target", _draw_target, shown, review, gains)
    fold("Flow at each lift", "flows", _draw_flows, shown, review, side)
    fold("Discharge coefficient and L/D", "coefficients", _draw_coefficients, shown, review, side)
    fold("Exhaust ÷ intake", "ratio", _draw_ratio, shown, review)


def _choose(review: Review) -> tuple[Side, Against]:
    state.begin("side", list(SIDES), "intake")
    with st.container(horizontal=True):
        side = st.segmented_control("Side", SIDES, key="side", required=True, persist_state="session")
        side = side or "intake"
        offered = _comparisons(review, side)
        state.begin("against", list(offered), "previous")
        against = st.segmented_control(
            "Compare each stage with",
            list(offered),
            key="against",
            format_func=offered.get,
            required=True,
            persist_state="session",
        )
    state.to_address(side=side, against=against)
    return side, against or "previous"


def _comparisons(review: Review, side: Side) -> dict[Against, str]:
    """Return what a side's stages can be compared with, by name."""
    stages = words.measured(review, side)
    offered: dict[Against, str] = {
        "previous": "stage before",
        "baseline": f"first stage, {inert(stages[0].name)}" if stages else "first stage",
    }
    if any(review.gain(stage.name, side, "target") for stage in stages):
        offered["target"] = f"target, {inert(review.job.target.name)}"
    return offered


def _choose_stage(review: Review, side: Side, against: Against) -> str | None:
    """Return the stage that is picked where there are too many to show, else None."""
    _, names = _compared(review, side, against)
    if len(names) < MANY_STAGES - 1:
        return None
    return st.selectbox("Stage", names, key=f"stage-{review.job.fingerprint}")


def _compared(
    review: Review, side: Side, against: Against, stage: str | None = None
) -> tuple[list[Gain], list[str]]:
    """Return the comparisons to show with their names: all, or those of one stage and of the whole."""
    gains = [gain for each in review.stages if (gain := review.gain(each.name, side, against))]
    gains = [gain for gain in gains if any(change is not None for change in gain.gain_m3_s)]
    if stage is None:
        return gains, [gain.stage for gain in gains]
    chosen = [gain for gain in gains if gain.stage == stage]
    whole = words.whole_gain(review, side) if against != "target" else None
    names = [stage for _ in chosen]
    return ([*chosen, whole], [*names, words.ALL_WORK]) if whole else (chosen, names)


def _chart(
    review: Review, side: Side, against: Against, stage: str | None, units: UnitSet, theme: Theme
) -> Spec:
    return gain_by_lift(review, *_compared(review, side, against, stage), units, theme)


def _rows(
    review: Review, side: Side, against: Against, stage: str | None, units: UnitSet
) -> tuple[list[str], list[list[str]]]:
    """Return the table's heads and rows."""
    gains, names = _compared(review, side, against, stage)
    heads = [f"Lift, {label('lift', units)}", *(inert(name) for name in names)]
    return heads, [
        [f"**{row.lift}**" if row.whole else row.lift, *(cell_text(cell) for cell in row.cells)]
        for row in tables.gain_table(review, gains, units).rows
    ]


def _draw_captions(shown: Shown, review: Review, gains: list[Gain]) -> None:
    single = f"At the right: {words.weighting(gains)}."
    st.caption(f"{words.MARKS}. {single} {words.JUDGED_TOGETHER} {words.VERDICTS_MEAN}")
    beyond = words.beyond_caption(review, gains[0].side, shown.units)
    if beyond:
        st.caption(beyond)


def _draw_target(shown: Shown, review: Review, gains: list[Gain]) -> None:
    table = target_tables.coefficient_gaps(review, gains, shown.units)
    if not table.rows:
        st.markdown(phrases.NO_TARGET_COEFFICIENTS)
        return
    draw_table(table)
    st.caption(phrases.TARGET_CAPTION)


def _draw_flows(shown: Shown, review: Review, side: Side) -> None:
    draw_table(tables.flows(review, side, shown.units))
    st.caption(words.flow_caption(review, side))


def _draw_coefficients(shown: Shown, review: Review, side: Side) -> None:
    if not tables.has_coefficients(review, side):
        st.markdown(phrases.NO_COEFFICIENTS)
        return
    st.markdown(phrases.CURTAIN_TITLE)
    draw_table(tables.coefficients(review, side, shown.units))
    st.markdown(phrases.HEAD_TITLE)
    draw_table(tables.coefficients(review, side, shown.units, on="head"))
    st.caption(tables.coefficient_caption(review, side))


def _draw_ratio(shown: Shown, review: Review) -> None:
    ratio = tables.exhaust_to_intake(review, shown.units)
    if not ratio.rows:
        st.markdown(phrases.NO_RATIO)
        return
    draw_table(ratio)
    st.caption(phrases.RATIO_CAPTION)
