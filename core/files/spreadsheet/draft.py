"""A mapping as it grows: each table with its lines, why they are so, and what is still open."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from core.files.spreadsheet.lines import Found
from core.files.spreadsheet.mapping import Certainty, Line, Reason
from core.files.spreadsheet.questions import Questions
from core.files.spreadsheet.view import Table


@dataclass
class Draft:
    """One table on its way into the mapping."""

    sheet_index: int
    table: Table
    lines: list[Found]
    mapped: dict[int, Line]  # by column
    lift_unit: str | None = None

    @property
    def where(self) -> str:
        """Return how to call the table's sheet, before the name of a line."""
        return f"'{self.table.grid.name}', " if self.table.grid.name else ""

    @property
    def lifts(self) -> str:
        """Return how to call the line of the lifts."""
        return self.where + self.table.grid.line(self.table.lift)

    def place(self, line: Found) -> str:
        """Return how to call a line."""
        return self.where + self.table.grid.line(line.column)

    @property
    def readings(self) -> list[Found]:
        """Return the lines that are readings, as far as is known."""
        return [line for line in self.lines if line.use == "reading"]

    def has(self, use: str) -> bool:
        """Return whether a line of the table says something row by row."""
        return any(line.use == use for line in self.lines)


class Notes:
    """What is said and what is asked on the way."""

    def __init__(self, answers: Mapping[str, str]) -> None:
        self.answers = answers
        self.ask = Questions(answers)
        self.reasons: list[Reason] = []

    def say(self, where: str, text: str, certainty: Certainty = "sure") -> None:
        """Add a reason."""
        self.reasons.append(Reason(where, text, certainty))

    def say_instead(self, where: str, text: str, certainty: Certainty) -> None:
        """Put a reason in the place of all that was said of a line."""
        self.reasons = [reason for reason in self.reasons if reason.where != where]
        self.say(where, text, certainty)
