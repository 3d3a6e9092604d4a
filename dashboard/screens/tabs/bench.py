"""At the bench: for a person with one clean hand. A reading, Enter, a verdict, the next lift."""

from __future__ import annotations

import datetime as dt

import streamlit as st

from core.files.log import folded
from core.job import SIDES, Side
from dashboard import entry_words, state
from dashboard import hand as hands
from dashboard.charts.entry import Mark, live_sweep
from dashboard.entry import at_bench, session
from dashboard.entry.at_bench import Place
from dashboard.entry.draft import Work, job_file_of
from dashboard.entry.in_hand import (
    choosing_lift,
    choosing_setup,
    chosen_setup,
    entered,
    in_hand,
    just_taken,
    next_lift,
    setups_here,
)
from dashboard.entry.line import ALLOWED
from dashboard.entry.stages import PLACE
from dashboard.hand import Hand
from dashboard.handover.blank_sheet import Blank
from dashboard.screens.page import draw_chart, draw_rows
from dashboard.screens.tabs import setup
from dashboard.state import Shown
from dashboard.usertext import inert

STAGE, PORT, SIDE, SETUP, LIFT, READING = (
    f"bench-{name}" for name in ("stage", "port", "side", "setup", "lift", "reading")
)
_NEW = ""  # stands for a set-up that has no file yet
_BOX = {"ok": st.success, "look": st.warning, "stop": st.error}


def draw(work: Work, shown: Shown) -> None:
    """Draw the tab: what is on the bench, the field for readings, the verdict, chart and table."""
    place = _choose(work)
    if place is None:
        st.info(entry_words.NAME_A_STAGE)
        return
    file, hand = in_hand(work, place, shown.units, dt.datetime.now())
    rest, sound = session.without(work, file)
    sweep = at_bench.judged(rest, hand, file, place.side)
    _, unit = at_bench.meter(hand, place.side)
    lift = next_lift(work, file, hand, place.side)
    left, right = st.columns([6, 5], gap="medium")
    with left:
        points = entry_words.by_lift(hand, sweep)
        before = None
        if lift in points:
            before = entry_words.before_figure(points[lift], unit, entry_words.decimals_of(hand, place.side))
        _draw_field(
            hand,
            file,
            place.side,
            lift,
            entry_words.reading_label(hand.unit(place.side), before, sweep.other),
        )
        _draw_verdict(work, hand, place, file, sweep, unit)
        _draw_chart(shown, hand, place.side, sweep, points, unit, lift)
    with right:
        _draw_table(hand, place.side, sweep, unit, lift)
        st.caption(entry_words.compared_with(sweep, hand, inert))
        if not sound:
            st.caption(entry_words.REST_HAS_PROBLEMS)
    st.caption(entry_words.KEYS_CAPTION)
    setup.draw(work, hand, file, place.side)
    _draw_blank(work, hand)


def _draw_blank(work: Work, hand: Hand) -> None:
    """Offer the sheet to print, for a shop whose screen is not beside the bench."""
    units = tuple(hand.unit(side) or hand.units[0][1] for side in SIDES)
    job_file = job_file_of(work.files)
    title = str(job_file.values.get("title", work.name)) if job_file else work.name
    called = {"test pressure": "test pressure", "bore": "fixture bore"}
    called |= {key: key for key in ("intake entry", "exhaust exit", "valves open", "spark plug", "bench")}
    stated = tuple((called[key], value) for key, value in hand.head if key in called)
    blank = Blank(title, hand.value("stage"), hand.value("port"), hand.lifts, hand.lift_unit, units, stated)
    st.download_button(
        entry_words.BLANK_LABEL,
        session.printed(blank),
        "blank-sheet.pdf",
        "application/pdf",
        key="bench-blank",
        on_click="ignore",
    )


# --- what is on the bench ----------------------------------------------------------------


def _stage_names(work: Work) -> list[str]:
    """Return the stages there are, without waiting for the sheet in hand to be read among the others."""
    job_file = job_file_of(work.files)
    if job_file is not None and job_file.stages:
        return [stage.name for stage in job_file.stages]
    job = session.loaded(work.base, work.name).job
    names = [stage.name for stage in job.stages] if job else []
    known = set(map(folded, names))
    for file in work.files.keys() - work.base.keys():
        found = hands.any_form(work.files[file]) if file.endswith(".csv") else None
        stage = found.value("stage") if found and not found.value("role") else ""
        if stage and folded(stage) not in known:
            known.add(folded(stage))
            names.append(stage)
    return names


def _choose(work: Work) -> Place | None:
    kept = work.draft.values.get(PLACE) or {}
    names = _stage_names(work)
    begin = {STAGE: kept.get("stage") or (names[-1] if names else None), SIDE: kept.get("side", "intake")}
    for key, value in begin.items():
        st.session_state.setdefault(key, value)
    with st.container(horizontal=True):
        stage = st.selectbox(
            entry_words.STAGE_LABEL,
            _with(names, st.session_state[STAGE]),
            key=STAGE,
            accept_new_options=True,
            placeholder="as cast",
            width=260,
        )
        ports = _ports(work)
        st.session_state.setdefault(PORT, kept.get("port") or (ports[-1] if ports else None))
        port = st.selectbox(
            entry_words.PORT_LABEL,
            _with(ports, st.session_state[PORT]),
            key=PORT,
            accept_new_options=True,
            placeholder="1",
            width=120,
        )
        side = st.segmented_control(entry_words.SIDE_LABEL, SIDES, key=SIDE, required=True)
        place = place_of(stage, port, side)
        if not place.stage:
            return None
        _choose_setup(work, place)
    return place


def _with(options: list[str], chosen: str | None) -> list[str]:
    return options if chosen is None or chosen in options else [*options, chosen]


def _ports(work: Work) -> list[str]:
    found = dict.fromkeys(
        hand.value("port")
        for name, data in work.files.items()
        if name.endswith(".csv") and (hand := hands.any_form(data))
    )
    return sorted(port for port in found if port)


def _choose_setup(work: Work, place: Place) -> None:
    """Let a set-up be gone on with; the latest of this draft at first, else a new one."""
    here = setups_here(work, place)
    if not here:
        return
    names = {file: entry_words.setup_name(hand, file) for file, hand in here.items()}
    options, chosen = [*here, _NEW], chosen_setup(work, place, here) or _NEW
    # A choice that the draft changes is another widget each time, and what it showed from the
    # start is no choice: the browser may send that back together with the next reading.
    key = f"{SETUP}-{place.stage}-{place.port}-{chosen}"
    st.selectbox(
        entry_words.SETUP_LABEL,
        options,
        index=options.index(chosen),
        key=key,
        format_func=lambda file: names.get(file, entry_words.NEW_SETUP),
        on_change=_take_up,
        args=(key, place, chosen),
        width=320,
    )


def _take_up(key: str, place: Place, shown: str) -> None:
    file = session.seen()[key]
    if file != shown:
        session.keep(choosing_setup(session.work(), place, None if file == _NEW else file))


# --- the field ---------------------------------------------------------------------------


def _draw_field(hand: Hand, file: str, side: Side, lift: str | None, label: str) -> None:
    with st.container(horizontal=True, vertical_alignment="bottom"):
        st.header(entry_words.bench_heading(side, lift, hand.lift_unit))
        key = f"{LIFT}-{file}-{side}-{lift}"  # another widget for each lift, as for the set-up
        st.selectbox(
            f"Lift, {hand.lift_unit}",
            hand.lifts,
            index=None if lift is None else hand.lifts.index(lift),
            key=key,
            placeholder="again",
            on_change=_read_at,
            args=(key, file, side, lift),
            width=130,
        )
    with st.form("bench-form", clear_on_submit=True):
        field, button = st.columns([3, 1], vertical_alignment="bottom")
        field.text_input(
            label,
            key=READING,
            autocomplete="off",
            validate=(f"^{ALLOWED}$", entry_words.FIELD_RULE),
        )
        button.form_submit_button("Take", on_click=_take, width="stretch")


def _read_at(key: str, file: str, side: Side, shown: str | None) -> None:
    lift = session.seen()[key]
    if lift != shown:
        session.keep(choosing_lift(session.work(), file, side, lift))


def _take() -> None:
    """Take what was entered, on disk first: nothing in here may ask the session twice.

    What the screen showed may be behind, for the next line can be entered before it is drawn.
    """
    seen = session.seen()
    line = seen[READING]
    if not line.strip():
        return
    place = place_of(seen.get(STAGE), seen.get(PORT), seen.get(SIDE))
    units = state.UNITS[seen["units"]]
    changed, session.held().problem = entered(session.work(), place, units, dt.datetime.now(), line)
    if not session.held().problem:
        session.keep(changed)


def place_of(stage: str | None, port: str | None, side: Side | None) -> Place:
    """Return what is on the bench, names with single spaces."""
    return Place(" ".join((stage or "").split()), " ".join((port or "").split()), side or "intake")


def _draw_verdict(work: Work, hand: Hand, place: Place, file: str, sweep: object, unit: float) -> None:
    if problem := session.held().problem:
        st.error(inert(problem))
        return
    lifts = just_taken(work, file, place.side)
    if said := entry_words.verdict(hand, place.side, sweep, unit, lifts, inert):
        _BOX[said[0]](said[1])


def _draw_chart(
    shown: Shown, hand: Hand, side: Side, sweep: object, points: dict, unit: float, lift: str | None
) -> None:
    marks = []
    for row in hand.rows:
        point = points.get(row.lift)
        if point is None:
            continue
        value = None
        if point.reading is not None and (point.before is not None or sweep.other is None):
            value = (point.reading - (point.before or 0.0)) / unit
        room = point.room / unit if point.room is not None else None
        said = (
            entry_words.mark_words(row.side(side), row.lift, hand, side, point, unit)
            if value is not None
            else ""
        )
        marks.append(Mark(hands.figure_of(row.lift), value, room, point.level or "", said))
    if not marks:
        return
    st.subheader(entry_words.chart_title(sweep, hand, side, inert))
    at = None if lift is None else hands.figure_of(lift)
    change = sweep.other is not None
    draw_chart(live_sweep(marks, at, shown.theme, hand.unit(side), hand.lift_unit, change=change))
    st.caption(f"Lift, {inert(hand.lift_unit)}. " + (entry_words.band_caption(sweep) if change else ""))


def _draw_table(hand: Hand, side: Side, sweep: object, unit: float, lift: str | None) -> None:
    table = entry_words.sweep_table(hand, side, sweep, unit, lift)
    rows = [
        [f"**{inert(cell)}**" if cell and (marked or i == 1) else inert(cell) for i, cell in enumerate(cells)]
        for cells, marked in zip(table.rows, table.marked, strict=True)
    ]
    draw_rows([inert(head) for head in table.columns], rows, "The sweep so far")
