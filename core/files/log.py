"""What a reader of one file has to say: problems and findings, collected, never raised one by one."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass, field

from core.job import Finding, Level, Problem
from core.units import UnitError


@dataclass
class Log:
    """Problems and findings of one file, in the order in which they were met."""

    file: str
    problems: list[Problem] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)

    def problem(self, text: str, cure: str, line: int | None = None, column: str | None = None) -> None:
        """Add a reason why the file cannot be used."""
        self.problems.append(Problem(self.file, " ".join(text.split()), cure, line, column))

    def refuse(self, error: UnitError, line: int | None = None, column: str | None = None) -> None:
        """Add an unreadable number or quantity."""
        self.problem(error.text, error.cure, line, column)

    def finding(
        self,
        level: Level,
        code: str,
        text: str,
        *values: tuple[float | str, str],
        cure: str = "",
        line: int | None = None,
    ) -> None:
        """Add something that a careful reader wants to know."""
        self.findings.append(Finding(level, code, text, cure, values, self.file, line))


def folded(name: str) -> str:
    """Return a name as names are compared: case folded, spaces collapsed.

    Parameters
    ----------
    name : str
        As written.

    Returns
    -------
    str
        For comparing only.
    """
    return " ".join(name.split()).casefold()


def nearest(name: str, names: Iterable[str], cutoff: float = 0.7) -> str | None:
    """Return the name that was probably meant.

    Parameters
    ----------
    name : str
        As written.
    names : iterable of str
        Names that exist.
    cutoff : float
        How like they must be, 0 to 1.

    Returns
    -------
    str or None
        One of ``names``, None where nothing is close.
    """
    by_folded = {folded(n): n for n in names}
    near = difflib.get_close_matches(folded(name), by_folded, n=1, cutoff=cutoff)
    return by_folded[near[0]] if near else None


def did_you_mean(name: str, names: Iterable[str]) -> str:
    """Return a hint at the name that was probably meant, to follow a sentence's last word.

    Parameters
    ----------
    name : str
        As written.
    names : iterable of str
        Names that exist.

    Returns
    -------
    str
        `` (did you mean 'x'?)``, or nothing.
    """
    near = nearest(name, names)
    return f" (did you mean '{near}'?)" if near else ""
