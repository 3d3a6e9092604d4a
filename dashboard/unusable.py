"""Input, or a place to write to, that a command cannot use."""

from __future__ import annotations

from collections.abc import Sequence

UNUSABLE = 2  # the exit code


class UnusableError(Exception):
    """What cannot be used; one line a problem."""

    def __init__(self, problems: Sequence[str]) -> None:
        super().__init__(*problems)
        self.problems = [" ".join(problem.split()) for problem in problems]
