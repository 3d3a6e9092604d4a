"""The questions that a spreadsheet leaves open, in a person's words."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from core import units
from core.files.columns import UNIT_KINDS
from core.files.log import folded
from core.files.spreadsheet.amounts import fraction_of, shown_date
from core.files.spreadsheet.mapping import Question
from core.job import SIDES
from core.units import UnitError, quoted

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


_QUANTITIES = {"test pressure": "test pressure", "range": "flow"}
_CHOICES = {
    "side": SIDES,
    "dates": ("month/day", "day/month"),
    "way": ("down", "across"),
    "numbers": ("port", "run", "stage"),
    "repeats": ("one set-up", "set-ups"),
    "same": ("one set-up", "set-ups", "first"),
    "pressure unit": ("inH2O", "mmH2O", "kPa", "mbar"),
}


def wrong_answers(answers: Mapping[str, str]) -> list[str]:
    """Return why answers cannot be used.

    Parameters
    ----------
    answers : mapping of str to str
        By the questions' keys.

    Returns
    -------
    list of str
        One sentence each; empty where all can be.
    """
    wrong = []
    for key, answer in answers.items():
        try:
            if key in UNIT_KINDS:
                units.factor(answer, UNIT_KINDS[key])
            elif key in _QUANTITIES:
                units.parse(answer, _QUANTITIES[key])
            elif answer not in _CHOICES.get(key, (answer,)):
                wrong.append(f"{key}: '{answer}' is no answer. Allowed: {', '.join(_CHOICES[key])}.")
        except UnitError as error:
            wrong.append(f"{key}: {error}")
    return wrong


class Questions:
    """What a spreadsheet leaves open, each asked once; what has been answered is not asked."""

    def __init__(self, answers: Mapping[str, str]) -> None:
        self.answers = answers
        self.open: list[Question] = []
        self._words: list[tuple[str, str]] = []

    def _add(self, question: Question) -> None:
        if question.key in self.answers:
            return
        same = next((one for one in self.open if one.key == question.key), None)
        if same is None:
            self.open.append(question)
        elif question.needed and not same.needed:
            self.open[self.open.index(same)] = question

    def lift_unit(self, where: str, values: Sequence[float]) -> None:
        """Ask for the unit of lift, which no word states."""
        span = f"{min(values, default=0):g} to {max(values, default=0):g}"
        guess = likely_lift_unit(values)
        like = f" They look like {guess}." if guess else ""
        self._add(Question("lift", f"{where}: in which unit are the lifts, {span}?{like}", LIFT_UNITS, guess))

    def strange_lift_unit(self, where: str, unit: str, values: Sequence[float]) -> None:
        """Ask for the unit of lift where the stated one gives a lift that no valve has."""
        guess = likely_lift_unit(values)
        top = max(values, default=0)
        text = f"{where}: the heading says {unit}, but up to {top:g} {unit} is no valve's lift."
        self._add(
            Question("lift", f"{text} In which unit are they?", LIFT_UNITS, guess if guess != unit else None)
        )

    def flow_unit(self, where: str) -> None:
        """Ask for the unit of flow."""
        self._add(Question("flow", f"{where}: in which unit are the readings?", FLOW_UNITS))

    def standard_flow(self, where: str, text: str) -> None:
        """Ask what a flow of standard air was meant to be."""
        self._add(
            Question(
                "flow",
                f"{where}: {quoted(text)} says flow of standard air. Is it a plain reading in cfm "
                "(answer cfm), or should the mass flow be given?",
                ("cfm",),
            )
        )

    def side(self, where: str, text: str) -> None:
        """Ask for the side."""
        self._add(
            Question("side", f"{where} ({quoted(text)}): nothing says intake or exhaust. Which is it?", SIDES)
        )

    def full_range(self, where: str) -> None:
        """Ask what a percentage is of."""
        self._add(Question("range", f"{where}: readings in percent, of which range? For example '200 cfm'."))

    def pressure_unit(self, text: str) -> None:
        """Ask for the unit of a column of test pressures."""
        units = ("inH2O", "mmH2O", "kPa")
        self._add(
            Question("pressure unit", f"{quoted(text)}: in which unit are these test pressures?", units)
        )

    def bare_pressure(self, where: str, figure: str) -> None:
        """Ask for the unit of a test pressure that is a figure only."""
        self._add(
            Question(
                "test pressure",
                f"{where}: the test pressure is given as {figure}, without a unit. Which is it?",
                suggestion=f"{figure} inH2O",
            )
        )

    def several_pressures(self, where: str, stated: Sequence[str]) -> None:
        """Ask which of several pressures the readings were taken at."""
        said = f": {', '.join(stated)}" if stated else ""
        text = f"{where}: several test pressures are named{said}. At which were these readings taken?"
        self._add(Question("test pressure", text, tuple(stated) if len(stated) > 1 else ()))

    def pressure_from_here(self, where: str, stated: Sequence[str]) -> None:
        """Ask for the pressure where a line below names one, and more rows stand below it."""
        text = f"{where}: {', '.join(stated)} is named below the table, and rows stand below that"
        self._add(Question("test pressure", f"{text}. At which pressure were these readings taken?"))

    def two_units(self, where: str, own: str, title: str) -> None:
        """Ask for the unit where heading and title contradict each other."""
        text = (
            f"{where}: its heading says {own}, a line over the table {title}. In which unit are the readings?"
        )
        self._add(Question("flow", text, (own, title)))

    def no_pressure(self) -> None:
        """Say that no test pressure is stated; a first curve can do without."""
        text = "No test pressure is stated. Without one, flows are not scaled to the reference pressure."
        self._add(Question("test pressure", text, suggestion="28 inH2O", needed=False))

    def lift_line(self, where: str, name: str) -> None:
        """Ask whether numbers without a heading are the lifts."""
        text = (
            f"{where}: are these the lifts? Give the column's letter (the row's number, if they run across)."
        )
        self._add(Question("lift line", text, suggestion=name))

    def way(self, where: str) -> None:
        """Ask which way the lifts run."""
        self._add(Question("way", f"{where}do the lifts run down or across?", ("down", "across")))

    def no_table(self) -> None:
        """Ask for the lifts where nothing looks like any."""
        text = "No lifts with readings beside them were found. In which column (or row) are the lifts?"
        self._add(Question("lift line", text))

    def use(self, key: str, where: str, text: str, doubt: str) -> None:
        """Ask whether a line is a reading."""
        self._add(
            Question(key, f"{where} ({quoted(text)}): {doubt}. Is it a reading?", ("reading", "skip"), "skip")
        )

    def stray(self, places: Sequence[str]) -> None:
        """Ask about numbers beyond the table."""
        where = ", ".join(places[:4]) + (" ..." if len(places) > 4 else "")
        text = f"{where}: numbers stand here beyond the table of lifts. Leave them out?"
        self._add(Question("rows", text, ("leave out",)))

    def anew(self, where: str) -> None:
        """Ask what lifts are that begin anew."""
        text = f"{where}: the lifts begin anew, and nothing says why. Are these repeats in one set-up?"
        self._add(Question("anew", text, ("one set-up",)))

    def blank(self, where: str, words: Sequence[tuple[str, str]]) -> None:
        """Ask whether words among the readings mean that none was taken."""
        said = {folded(word) for word in self.answers.get("blank", "").split(",")}
        self._words += [(word, f"{where}{place}") for word, place in words if folded(word) not in said]
        if self._words:
            self.open = [one for one in self.open if one.key != "blank"]
            shown = ", ".join(f"{quoted(word)} ({place})" for word, place in self._words[:4])
            suggestion = ",".join(dict.fromkeys(word for word, _ in self._words))
            text = f"Words stand among the readings: {shown}. Do they mean: not taken?"
            self.open.append(Question("blank", text, suggestion=suggestion))

    def dates(self, place: str, month_day: tuple[int, int] | None) -> None:
        """Ask how a fraction became a date."""
        fits = {}
        for order in ("month/day", "day/month"):
            if month_day and fraction_of(month_day, order):
                fits[order] = "/".join(
                    str(n) for n in (month_day if order == "month/day" else month_day[::-1])
                )
        meant = " or ".join(f"{fraction} ({order})" for order, fraction in fits.items())
        self._add(
            Question(
                "dates",
                f"{place}: a lift has become a date, {shown_date(month_day)}. "
                f"Which fraction was typed{': ' + meant if meant else ''}?",
                ("month/day", "day/month"),
                next(iter(fits)) if len(fits) == 1 else None,
            )
        )

    def sheet(self, names: Sequence[str]) -> None:
        """Ask which of several heads belongs to the job."""
        text = "Several sheets hold the same stages, as of several heads. Which one is this job's?"
        self._add(Question("sheet", text, tuple(names)))

    def same(self, places: Sequence[str], stage: str, of_side: str | None) -> None:
        """Ask what lines are that seem to be one sweep."""
        what = " ".join(filter(None, (f"{quoted(stage)}", of_side)))
        text = (
            f"{' and '.join(places)} both seem to be {what}. "
            "Repeats in one set-up, set-ups of their own, or is the first to be taken?"
        )
        self._add(Question("same", text, ("one set-up", "set-ups", "first")))

    def repeats(self) -> None:
        """Say how repeats are taken; only a person knows whether the head was set up anew."""
        text = "Repeats are taken as one set-up. Was the head taken off and set up anew for each?"
        self._add(Question("repeats", text, ("one set-up", "set-ups"), "one set-up", needed=False))

    def numbers(self, where: str, said: Sequence[str]) -> None:
        """Ask what plain numbers over lines count."""
        text = f"{where}what do {', '.join(dict.fromkeys(said))} over the lines count?"
        self._add(Question("numbers", text, ("port", "run", "stage")))
