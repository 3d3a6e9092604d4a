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
from dashboard.entry.draft import STEPS, Work, job_file_of
from dashboard.entry.line import ALLOWED, Step, take
from dashboard.entry.stages import with_stage
from dashboard.hand import Hand
from dashboard.handover.blank_sheet import Blank
from dashboard.screens.page import draw_chart, draw_rows
from dashboard.screens.tabs import setup
from dashboard.state import Shown
from dashboard.usertext import inert

STAGE, PORT, SIDE, SETUP, LIFT, READING = (
    f"bench-{name}" for name in ("stage", "port", "side", "setup", "lift", "reading")
)
_PLACE, _JUST = "place", "just"  # kept with the draft
_PROBLEM = "bench-problem"
_BOX = {"ok": st.success, "look": st.warning, "stop": st.error}


def draw(work: Work, shown: Shown) -> None:
    """Draw the tab: what is on the bench, the field for readings, the verdict, chart and table."""
    place = _choose(work)
    if place is None:
        st.info(entry_words.NAME_A_STAGE)
        return
    file, hand = in_hand(work, place, shown)
    rest, sound = session.without(work, file)
    sweep = at_bench.judged(rest, hand, file, place.side)
    _, unit = at_bench.meter(hand, place.side)
    lift = _next_lift(hand, place.side)
    left, right = st.columns([6, 5], gap="medium")
    with left:
        points = entry_words.by_lift(hand, sweep)
        before = None
        if lift in points:
            before = entry_words.before_figure(points[lift], unit, entry_words.decimals_of(hand, place.side))
        _draw_field(
            hand, place.side, lift, entry_words.reading_label(hand.unit(place.side), before, sweep.other)
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
        found = hands.like_head(work.files[file]) if file.endswith(".csv") else None
        stage = found.value("stage") if found and not found.value("role") else ""
        if stage and folded(stage) not in known:
            known.add(folded(stage))
            names.append(stage)
    return names


def _choose(work: Work) -> Place | None:
    kept = work.draft.values.get(_PLACE) or {}
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
        if not stage or not stage.strip():
            return None
        place = Place(" ".join(stage.split()), " ".join((port or "").split()), side or "intake")
        _choose_setup(work, place)
    return place


def _with(options: list[str], chosen: str | None) -> list[str]:
    return options if chosen is None or chosen in options else [*options, chosen]


def _ports(work: Work) -> list[str]:
    found = dict.fromkeys(
        hand.value("port")
        for name, data in work.files.items()
        if name.endswith(".csv") and (hand := hands.like_head(data))
    )
    return sorted(port for port in found if port)


def _choose_setup(work: Work, place: Place) -> None:
    """Let a set-up be gone on with; the latest of this draft at first, else a new one."""
    here = setups_here(work, place)
    key = _setup_key(place)
    begun = [file for file in here if file not in work.base]
    if st.session_state.get(key) not in (*here, entry_words.NEW_SETUP):
        st.session_state[key] = begun[-1] if begun else entry_words.NEW_SETUP
    if here:
        names = {file: entry_words.setup_name(hand, file) for file, hand in here.items()}
        st.selectbox(
            entry_words.SETUP_LABEL,
            [*here, entry_words.NEW_SETUP],
            key=key,
            format_func=lambda file: names.get(file, file),
            width=320,
        )


def _setup_key(place: Place) -> str:
    return f"{SETUP}-{place.stage}-{place.port}"


def setups_here(work: Work, place: Place) -> dict[str, Hand]:
    """Return the sheets of this stage and port that can be gone on with."""
    found = {}
    for name, data in work.files.items():
        hand = hands.from_text(data) if name.endswith(".csv") else None
        if hand is None or hand.value("role"):
            continue
        stated = folded(hand.value("stage")), folded(hand.value("port"))
        if stated == (folded(place.stage), folded(place.port)):
            found[name] = hand
    return found


def in_hand(work: Work, place: Place, shown: Shown) -> tuple[str, Hand]:
    """Return the sheet in hand and its file's name; a new set-up is no file before its first reading."""
    here = setups_here(work, place)
    chosen = st.session_state.get(_setup_key(place))
    if chosen in here:
        hand = here[chosen]
        if hand.unit(place.side) is None:
            hand = hand.measured_in(place.side, hand.units[0][1] if hand.units else "L/s")
        return chosen, hand
    job = session.loaded(work.files, work.name).job
    begun = at_bench.begin(work.files, job, place, shown.units, dt.datetime.now())
    return at_bench.file_name(place, work.files), begun


def _next_lift(hand: Hand, side: Side) -> str | None:
    chosen = st.session_state.get(LIFT)
    return chosen if chosen in hand.lifts else hand.next_lift(side)


# --- the field ---------------------------------------------------------------------------


def _draw_field(hand: Hand, side: Side, lift: str | None, label: str) -> None:
    with st.container(horizontal=True, vertical_alignment="bottom"):
        st.header(entry_words.bench_heading(side, lift, hand.lift_unit))
        again = f"Lift, {hand.lift_unit}"
        if lift is None:
            st.session_state.pop(LIFT, None)
            st.selectbox(again, hand.lifts, key=LIFT, width=130, index=None, placeholder="again")
        else:
            st.session_state[LIFT] = lift
            st.selectbox(again, hand.lifts, key=LIFT, width=110)
    with st.form("bench-form", clear_on_submit=True):
        field, button = st.columns([3, 1], vertical_alignment="bottom")
        field.text_input(
            label,
            key=READING,
            autocomplete="off",
            validate=(f"^{ALLOWED}$", entry_words.FIELD_RULE),
        )
        button.form_submit_button("Take", on_click=_take, width="stretch")


def _take() -> None:
    """Take what was entered, on disk first; everything is read anew, for the last run may be behind."""
    line = st.session_state[READING]
    import sys, time; print("TAKE", repr(line), round(time.time() % 100, 3), file=sys.stderr, flush=True)  # TEMP
    if not line.strip():
        return
    work, shown = session.work(), state.shown()
    stage, port = st.session_state.get(STAGE), st.session_state.get(PORT)
    place = Place(" ".join((stage or "").split()), " ".join((port or "").split()), st.session_state[SIDE])
    file, hand = in_hand(work, place, shown)
    steps = tuple(Step(*one) for one in work.draft.values.get(STEPS, ()))
    done = take(hand, steps, file, place.side, _next_lift(hand, place.side), line)
    st.session_state[_PROBLEM] = done.problem
    if done.problem:
        return
    values = {
        STEPS: [list(vars(step).values()) for step in done.steps],
        _PLACE: vars(place),
        _JUST: [file, place.side, [step.lift for step in done.new]],
    }
    changes = {file: done.hand.text().encode(), **with_stage(work, place.stage)}
    session.keep(work.changing(changes, **values))
    print("KEPT", round(time.time() % 100, 3), file=sys.stderr, flush=True)  # TEMP
    st.session_state[_setup_key(place)] = file
    st.session_state[LIFT] = done.lift


def _draw_verdict(work: Work, hand: Hand, place: Place, file: str, sweep: object, unit: float) -> None:
    if problem := st.session_state.get(_PROBLEM):
        st.error(inert(problem))
        return
    just = work.draft.values.get(_JUST)
    if just and just[:2] == [file, place.side]:
        said = entry_words.verdict(hand, place.side, sweep, unit, just[2], inert)
        if said:
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
