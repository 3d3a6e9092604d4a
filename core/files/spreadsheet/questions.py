"""The questions that a spreadsheet leaves open, in a person's words."""

from __future__ import annotations

import re
from collections.abc import Sequence

from core.files.spreadsheet.amounts import fraction_of, shown_date
from core.files.spreadsheet.mapping import Question
from core.job import SIDES

LIFT_UNITS = ("in", "mm", "thou")
FLOW_UNITS = ("cfm", "L/s", "L/min", "m3/h", "%")


def likely_lift_unit(values: Sequence[float]) -> str | None:
    """Return the unit that lifts are probably in.

    Parameters
    ----------
    values : sequence of float
        As written.

    Returns
    -------
    str or None
        None where they fit no unit.
    """
    # ranges of the highest lift that do not overlap in practice (common practice, no source)
    top = max(values, default=0.0)
    return "in" if 0.1 <= top < 1.3 else "mm" if 3 <= top <= 30 else "thou" if 100 <= top < 1300 else None


def lift_unit(where: str, values: Sequence[float]) -> Question:
    """Ask for the unit of lift, which no word states."""
    span = f"{min(values, default=0):g} to {max(values, default=0):g}"
    guess = likely_lift_unit(values)
    like = f" They look like {guess}." if guess else ""
    return Question("lift", f"{where}: in which unit are the lifts, {span}?{like}", LIFT_UNITS, guess)


def strange_lift_unit(where: str, unit: str, values: Sequence[float]) -> Question:
    """Ask for the unit of lift where the stated one gives a lift that no valve has."""
    guess = likely_lift_unit(values)
    text = (
        f"{where}: the heading says {unit}, but up to {max(values, default=0):g} {unit} is no valve's lift."
    )
    return Question("lift", f"{text} In which unit are they?", LIFT_UNITS, guess if guess != unit else None)


def flow_unit(where: str) -> Question:
    """Ask for the unit of flow."""
    return Question("flow", f"{where}: in which unit are the readings?", FLOW_UNITS)


def standard_flow(where: str, text: str) -> Question:
    """Ask what a flow of standard air was meant to be."""
    return Question(
        "flow",
        f"{where}: '{text}' says flow of standard air. Is it a plain reading in cfm (answer cfm), "
        "or should the mass flow be given?",
        ("cfm",),
    )


def side(where: str, text: str) -> Question:
    """Ask for the side."""
    return Question("side", f"{where} ('{text}'): nothing says intake or exhaust. Which is it?", SIDES)


def full_range(where: str) -> Question:
    """Ask what a percentage is of."""
    return Question("range", f"{where}: readings in percent, of which range? For example '200 cfm'.")


def pressure_unit(text: str) -> Question:
    """Ask for the unit of a column of test pressures."""
    units = ("inH2O", "mmH2O", "kPa")
    return Question("pressure unit", f"'{text}': in which unit are these test pressures?", units)


def bare_pressure(where: str, figure: str) -> Question:
    """Ask for the unit of a test pressure that is a figure only."""
    return Question(
        "test pressure",
        f"{where}: the test pressure is given as {figure}, without a unit. Which is it?",
        suggestion=f"{figure} inH2O",
    )


def several_pressures(where: str, stated: Sequence[str]) -> Question:
    """Ask which of several pressures the readings were taken at."""
    said = f": {', '.join(stated)}" if stated else ""
    text = f"{where}: several test pressures are named{said}. At which were these readings taken?"
    return Question("test pressure", text, tuple(stated))


def no_pressure() -> Question:
    """Say that no test pressure is stated; a first curve can do without."""
    text = "No test pressure is stated. Without one, flows are not scaled to the reference pressure."
    return Question("test pressure", text, suggestion="28 inH2O", needed=False)


def lift_line(where: str, name: str) -> Question:
    """Ask whether numbers without a heading are the lifts."""
    text = f"{where}: are these the lifts? Give the column's letter (the row's number, if they run across)."
    return Question("lift line", text, suggestion=name)


def way(where: str) -> Question:
    """Ask which way the lifts run."""
    return Question("way", f"{where}do the lifts run down or across?", ("down", "across"))


def no_table() -> Question:
    """Ask for the lifts where nothing looks like any."""
    text = "No lifts with readings beside them were found. In which column (or row) are the lifts?"
    return Question("lift line", text)


def use(key: str, where: str, text: str, doubt: str) -> Question:
    """Ask whether a line is a reading."""
    return Question(key, f"{where} ('{text}'): {doubt}. Is it a reading?", ("reading", "skip"), "skip")


def stray(where: str) -> Question:
    """Ask about numbers beyond the table."""
    text = f"{where}: numbers stand here beyond the table of lifts. Leave them out?"
    return Question(f"rows {where}", text, ("leave out",))


def anew(where: str) -> Question:
    """Ask what lifts are that begin anew."""
    text = f"{where}: the lifts begin anew, and nothing says why. Are these repeats in one set-up?"
    return Question("anew", text, ("one set-up",))


def blank(where: str, words: Sequence[tuple[str, str]]) -> Question:
    """Ask whether words among the readings mean that none was taken."""
    shown = ", ".join(f"'{word}' ({place})" for word, place in words[:4])
    said = ",".join(dict.fromkeys(word for word, _ in words))
    text = f"{where}words stand among the readings: {shown}. Do they mean: not taken?"
    return Question("blank", text, suggestion=said)


def dates(place: str, month_day: tuple[int, int] | None) -> Question:
    """Ask how a fraction became a date."""
    fits = {}
    for order in ("month/day", "day/month"):
        if month_day and fraction_of(month_day, order):
            fits[order] = "/".join(str(n) for n in (month_day if order == "month/day" else month_day[::-1]))
    meant = " or ".join(f"{fraction} ({order})" for order, fraction in fits.items())
    return Question(
        "dates",
        f"{place}: a lift has become a date, {shown_date(month_day)}. "
        f"Which fraction was typed{': ' + meant if meant else ''}?",
        ("month/day", "day/month"),
        next(iter(fits)) if len(fits) == 1 else None,
    )


def sheet(names: Sequence[str]) -> Question:
    """Ask which of several heads belongs to the job."""
    text = "Several sheets hold the same stages, as of several heads. Which one is this job's?"
    return Question("sheet", text, tuple(names))


def same(places: Sequence[str], stage: str, of_side: str | None) -> Question:
    """Ask what lines are that seem to be one sweep."""
    what = " ".join(filter(None, (f"'{stage}'", of_side)))
    text = f"{' and '.join(places)} both seem to be {what}. Repeats in one set-up, set-ups of their own, or is the first to be taken?"
    return Question("same", text, ("one set-up", "set-ups", "first"))


def repeats() -> Question:
    """Say how repeats are taken; only a person knows whether the head was set up anew."""
    text = "Repeats are taken as one set-up. Was the head taken off and set up anew for each?"
    return Question("repeats", text, ("one set-up", "set-ups"), "one set-up", needed=False)


def numbers(where: str, said: Sequence[str]) -> Question:
    """Ask what plain numbers over lines count."""
    text = f"{where}what do {', '.join(dict.fromkeys(said))} over the lines count?"
    return Question("numbers", text, ("port", "run", "stage"))


def counted(words: Sequence[str]) -> str | None:
    """Return what numbers count by the words around them: port, run or stage.

    Parameters
    ----------
    words : sequence of str
        Headings and titles.

    Returns
    -------
    str or None
        None where no word says it, or several do.
    """
    patterns = {
        "port": r"\b(?:cyl(?:inder)?s?|ports?)\b(?!\s*(?:flow|work|job|&|and polish))",
        "run": r"\b(?:runs?|repeats?|pulls?|pass(?:es)?|sweeps?)\b",
        "stage": r"\bstages?\b",
    }
    text = " / ".join(words)
    found = [what for what, pattern in patterns.items() if re.search(pattern, text, re.IGNORECASE)]
    return found[0] if len(found) == 1 else None
