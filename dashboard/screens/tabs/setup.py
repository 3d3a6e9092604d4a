"""Conditions and set-up of the sheet in hand: the keys of its head, its units and its lifts."""

from __future__ import annotations

import streamlit as st

from core.files.sheet import KEYS
from core.job import Side
from core.written import UnitError
from dashboard import entry_words, field_words
from dashboard.entry import at_bench, session
from dashboard.entry.draft import WRONG, Work
from dashboard.hand import Hand, plain
from dashboard.screens.tabs.inputs import keyed_input
from dashboard.usertext import inert

_LIFTS = "lifts"
_MOST_LIFTS = 60


def draw(work: Work, hand: Hand, file: str, side: Side, *, key: str = "bench") -> None:
    """Draw the section, folded away with its conditions in one line; ``key`` tells its two places apart."""
    st.caption(inert(entry_words.conditions_line(hand, is_new=file not in work.files)))
    section = st.expander(entry_words.SETUP_TITLE, key=f"{key}-fold-setup", on_change="rerun")
    if section.open:
        with section:
            _draw_fields(work, hand, file, side, key)


def _draw_fields(work: Work, hand: Hand, file: str, side: Side, place: str) -> None:
    wrong = work.draft.values.get(WRONG, {})
    with st.container(horizontal=True):
        for key in ("date", "time", *at_bench.SETUP_KEYS):
            keyed_input(
                key.capitalize(),
                f"{place}-head-{file}-{key}",
                hand.value(key),
                wrong.get(f"{file}:{key}"),
                _state_key,
                (file, hand, key),
                placeholder=field_words.head_example(key),
            )
    st.markdown("**Units and lifts**")
    with st.container(horizontal=True):
        empty = hand.is_empty()
        _choose_unit(
            "Lift in",
            f"{place}-head-{file}-lift-unit",
            at_bench.LIFT_UNITS,
            hand.lift_unit,
            empty,
            (file, hand, ""),
        )
        blank = not any(row.side(side) for row in hand.rows)
        units = [unit for units in at_bench.METER_UNITS.values() for unit in units]
        _choose_unit(
            f"{side.capitalize()} read in",
            f"{place}-head-{file}-unit-{side}",
            units,
            hand.unit(side) or units[0],
            blank,
            (file, hand, side),
        )
        keyed_input(
            f"{entry_words.LIFTS_LABEL}, {hand.lift_unit}",
            f"{place}-head-{file}-lifts",
            " ".join(hand.lifts),
            wrong.get(f"{file}:{_LIFTS}"),
            _state_lifts,
            (file, hand),
            width=420,
        )


def _choose_unit(
    label: str, key: str, units: tuple[str, ...] | list[str], now: str, free: bool, args: tuple
) -> None:
    options = list(units) if now in units else [now, *units]
    st.session_state[key] = now
    st.selectbox(
        label,
        options,
        key=key,
        disabled=not free,
        help=None if free else entry_words.UNIT_FIXED,
        on_change=_state_unit,
        args=(key, *args),
        width=150,
    )


def _state_unit(key: str, file: str, hand: Hand, side: str) -> None:
    unit = st.session_state[key]
    if side:
        changed = hand.measured_in(side, unit)
    else:
        changed = Hand(hand.head, unit, hand.units, at_bench.blank_rows(unit))
    session.keep(session.work().changing({file: changed.text().encode()}))


def _state_key(key: str, file: str, hand: Hand, name: str) -> None:
    """Put a value into the sheet's head if the reader of sheets takes it; else keep it beside."""
    text = st.session_state[key].strip()
    work = session.work()
    wrong = dict(work.draft.values.get(WRONG, {}))
    wrong.pop(f"{file}:{name}", None)
    try:
        if text:
            KEYS[name][1].read(text)
    except UnitError as error:
        wrong[f"{file}:{name}"] = [text, str(error)]
        session.keep(work.noting(**{WRONG: wrong}))
        return
    session.keep(work.changing({file: hand.stating({name: text}).text().encode()}, **{WRONG: wrong}))


def _state_lifts(key: str, file: str, hand: Hand) -> None:
    text = st.session_state[key]
    work = session.work()
    wrong = dict(work.draft.values.get(WRONG, {}))
    wrong.pop(f"{file}:{_LIFTS}", None)
    words = text.replace(";", " ").split()
    try:
        planned = hand.planned(plain(word) for word in words)
        at_bench.check_lifts(planned)
        if not planned.rows or len(planned.rows) > _MOST_LIFTS:
            raise UnitError(f"{len(planned.rows)} lifts are given.", f"Give 1 to {_MOST_LIFTS} of them.")
    except UnitError as error:
        wrong[f"{file}:{_LIFTS}"] = [text, str(error)]
        session.keep(work.noting(**{WRONG: wrong}))
        return
    session.keep(work.changing({file: planned.text().encode()}, **{WRONG: wrong}))
