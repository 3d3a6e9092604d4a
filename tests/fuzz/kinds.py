"""Every kind of input, whether it was good before it was damaged, and how many of each make a fair share."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from random import Random

from tests.fuzz import commands, jobs, sheets, spreadsheets
from tests.fuzz.seeds import Files
from tests.fuzz.watch import no_warnings


@dataclass(frozen=True)
class Kind:
    """One kind of input: how a case of it is made, and what must hold of it."""

    name: str
    good: bool  # before it was damaged
    make: Callable[[Random], Files]
    holds: Callable[[Files], str]
    share: int  # of a hundred of its group
    in_ci: int  # cases of the short run

    def case(self, number: int) -> Files:
        """Return the files of a case; a number always gives the same."""
        return self.make(Random(f"{self.name} {number}"))

    def check(self, files: Files) -> str:
        """Check a case: accepted or refused, or whatever is raised."""
        return no_warnings(lambda: self.holds(files))


KINDS = (
    Kind("mutated sheet", True, sheets.mutated, sheets.holds, 45, 250),
    Kind("mutated job", True, jobs.mutated, jobs.holds, 25, 60),
    Kind("mutated spreadsheet", True, spreadsheets.mutated, spreadsheets.holds, 25, 80),
    Kind("mutated command", True, commands.mutated, commands.holds, 5, 40),
    Kind("bad sheet", False, sheets.bad, sheets.holds, 45, 250),
    Kind("bad job", False, jobs.bad, jobs.holds, 25, 120),
    Kind("bad spreadsheet", False, spreadsheets.bad, spreadsheets.holds, 20, 80),
    Kind("bad command", False, commands.bad, commands.holds, 10, 60),
)
