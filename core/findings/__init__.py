"""What a careful colleague would notice in a job, in sentences with a cure.

`stop`: do not use this number. `look`: check it. `note`: know it.
"""

from __future__ import annotations

from collections.abc import Iterable

from core.job import Finding

LEVELS = ("stop", "look", "note")


def in_order(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Return findings with the gravest first, otherwise as they came, each once.

    Parameters
    ----------
    findings : iterable of Finding
        All that was noticed.

    Returns
    -------
    tuple of Finding
        stop, look, note.
    """
    return tuple(sorted(dict.fromkeys(findings), key=lambda f: LEVELS.index(f.level)))
