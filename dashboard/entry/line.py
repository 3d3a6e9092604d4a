"""One line at the bench: a reading, several of them, or a minus that takes the last one back."""

from __future__ import annotations

from dataclasses import dataclass, replace

from core.files.sheet import read_sheet
from core.job import Side
from core.written import MINUS, UnitError, number
from dashboard import entry_words
from dashboard.hand import Hand, plain

ALLOWED = r"[\d.,;/+\-\u2212 ]*"  # what the field takes; what it means is for `take`


@dataclass(frozen=True)
class Step:
    """One reading taken, with what stood there before: enough to take it back."""

    file: str
    side: Side
    lift: str
    figures: str
    instead_of: str = ""


@dataclass(frozen=True)
class Taken:
    """The sheet after a line was entered."""

    hand: Hand
    steps: tuple[Step, ...]  # all that can be taken back, the latest last
    new: tuple[Step, ...] = ()  # those of this line
    back: tuple[Step, ...] = ()  # those that this line took back
    lift: str | None = None  # where the next reading goes
    problem: str = ""  # why nothing of the line was taken


def take(hand: Hand, steps: tuple[Step, ...], file: str, side: Side, lift: str | None, line: str) -> Taken:
    """Take a line: figures go to the lift and on upwards, each minus takes back the one before.

    A line is taken as a whole or not at all, so that what was typed is never half there.
    """
    before = Taken(hand, steps, lift=lift)
    done = before
    for word in line.replace(";", " ").split():
        if word in ("-", MINUS):
            done = _take_back(done, file, side)
            if done.problem:
                return replace(before, problem=done.problem)
            continue
        try:
            number(word)
        except UnitError as error:
            return replace(before, problem=entry_words.not_taken(line, error.text, error.cure))
        if done.lift is None:
            return replace(before, problem=entry_words.no_lift_left(line, side))
        done = _put(done, file, side, plain(word))
        if refused := _refused(done.hand, hand):
            return replace(before, problem=entry_words.not_taken(line, *refused))
    return done


def _put(done: Taken, file: str, side: Side, figures: str) -> Taken:
    lift = done.lift
    row = next(row for row in done.hand.rows if row.lift == lift)
    step = Step(file, side, lift, figures, row.side(side))
    hand = done.hand.reading(lift, side, figures)
    return replace(
        done,
        hand=hand,
        steps=(*done.steps, step),
        new=(*done.new, step),
        lift=hand.next_lift(side, lift),
    )


def _take_back(done: Taken, file: str, side: Side) -> Taken:
    """Take back the latest reading of this sheet and side; one that it replaced stands again."""
    mine = [step for step in done.steps if (step.file, step.side) == (file, side)]
    if not mine:
        return replace(done, problem=entry_words.NOTHING_TO_TAKE_BACK)
    last = mine[-1]
    at = len(done.steps) - 1 - done.steps[::-1].index(last)
    return replace(
        done,
        hand=done.hand.reading(last.lift, side, last.instead_of),
        steps=done.steps[:at] + done.steps[at + 1 :],
        new=tuple(step for step in done.new if step != last),
        back=(*done.back, last),
        lift=last.lift,
    )


def _refused(hand: Hand, before: Hand) -> tuple[str, str] | None:
    """Return what the reader of files says against a reading, so that field and file agree."""
    _, was = read_sheet("", before.text().encode())
    known = {(one.text, one.column) for one in was.problems}
    _, log = read_sheet("", hand.text().encode())
    found = [one for one in log.problems if (one.text, one.column) not in known and one.column]
    return (found[0].text, found[0].cure) if found else None
