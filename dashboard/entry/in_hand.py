"""Which sheet is in hand, which lift is next, and a line entered there: all of it from the draft.

Nothing here asks the screen what it shows. While a hand types fast, a run that is about to be
stopped may still write what it knows into the session; the draft alone says what was taken last.
"""

from __future__ import annotations

import datetime as dt

from core.files.log import folded
from core.job import Side
from core.units import UnitSet
from dashboard import hand as hands
from dashboard.entry import at_bench
from dashboard.entry.at_bench import Place
from dashboard.entry.draft import STEPS, Work
from dashboard.entry.line import Step, take
from dashboard.entry.stages import PLACE, with_stage
from dashboard.hand import Hand

_JUST = "just"  # file, side and lifts of the last line
_NEXT = "next"  # lift to read next, by sheet and side
_SETUP = "setup"  # sheet in hand, by stage and port; blank for a new one


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


def chosen_setup(work: Work, place: Place, here: dict[str, Hand]) -> str | None:
    """Return the file of the set-up to go on with: the one chosen, else the latest of this draft."""
    kept = work.draft.values.get(_SETUP, {}).get(_key(place.stage, place.port))
    if kept is not None:
        return kept if kept in here else None
    return next((file for file in reversed(here) if file not in work.base), None)


def choosing_setup(work: Work, place: Place, file: str | None) -> Work:
    """Return the work with another set-up in hand, None for a new one."""
    return _with(work, _SETUP, _key(place.stage, place.port), file or "")


def in_hand(work: Work, place: Place, units: UnitSet, now: dt.datetime) -> tuple[str, Hand]:
    """Return the sheet in hand and its file's name; a new set-up is no file before its first reading."""
    here = setups_here(work, place)
    chosen = chosen_setup(work, place, here)
    if chosen is not None:
        hand = here[chosen]
        if hand.unit(place.side) is None:
            hand = hand.measured_in(place.side, hand.units[0][1] if hand.units else "L/s")
        return chosen, hand
    return at_bench.file_name(place, work.files), at_bench.begin(work.files, place, units, now)


def next_lift(work: Work, file: str, hand: Hand, side: Side) -> str | None:
    """Return the lift to read next: the one chosen, else the first that is blank."""
    kept = work.draft.values.get(_NEXT, {}).get(_key(file, side))
    return kept if kept in hand.lifts else hand.next_lift(side)


def choosing_lift(work: Work, file: str, side: Side, lift: str | None) -> Work:
    """Return the work with another lift to read next."""
    return _with(work, _NEXT, _key(file, side), lift or "")


def just_taken(work: Work, file: str, side: Side) -> list[str]:
    """Return the lifts of the last line, if it was for this sheet and side."""
    just = work.draft.values.get(_JUST) or [None, None, []]
    return just[2] if just[:2] == [file, side] else []


def entered(work: Work, place: Place, units: UnitSet, now: dt.datetime, line: str) -> tuple[Work, str]:
    """Return the work with a line of readings in it, and the problem with the line if there is one."""
    file, hand = in_hand(work, place, units, now)
    steps = tuple(Step(*one) for one in work.draft.values.get(STEPS, ()))
    done = take(hand, steps, file, place.side, next_lift(work, file, hand, place.side), line)
    if done.problem:
        return work, done.problem
    values = {
        STEPS: [list(vars(step).values()) for step in done.steps],
        PLACE: vars(place),
        _JUST: [file, place.side, [step.lift for step in done.new]],
    }
    changed = work.changing({file: done.hand.text().encode(), **with_stage(work, place.stage)}, **values)
    return choosing_lift(choosing_setup(changed, place, file), file, place.side, done.lift), ""


def _key(*parts: str) -> str:
    return "|".join(map(folded, parts))


def _with(work: Work, name: str, key: str, value: str) -> Work:
    return work.noting(**{name: {**work.draft.values.get(name, {}), key: value}})
