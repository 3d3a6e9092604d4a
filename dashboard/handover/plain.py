"""A person's own words in a plain file: one line, no hidden turns, nothing that a spreadsheet runs."""

from __future__ import annotations

import re
import unicodedata

_UNSEEN = "\N{REPLACEMENT CHARACTER}"
_JOINERS = "\u200c\u200d"  # spelling in some scripts; they neither hide nor turn anything
_BLANKS = re.compile(r"[ \t\r\n\f\v\x1c-\x1f\x85\u2028\u2029]+")
_FORMULA = tuple("=+-@\N{MINUS SIGN}\uff1d\uff0b\uff0d\uff20")  # the last four are full-width


def one_line(text: str) -> str:
    """Return text on one line; a character that would hide or turn others becomes a visible mark."""
    flat = _BLANKS.sub(" ", text).strip(" ")
    return "".join(character if _is_seen(character) else _UNSEEN for character in flat)


def _is_seen(character: str) -> bool:
    return character in _JOINERS or unicodedata.category(character) not in ("Cc", "Cf", "Cs")


def name_in_line(text: str) -> str:
    """Return a name for the middle of a line: one that is read from the right keeps to its own place."""
    flat = one_line(text)
    if any(unicodedata.bidirectional(character) in ("R", "AL") for character in flat):
        return f"\N{FIRST STRONG ISOLATE}{flat}\N{POP DIRECTIONAL ISOLATE}"
    return flat


def cell(text: str) -> str:
    """Return text that no spreadsheet takes for a formula."""
    flat = one_line(text)
    return f"'{flat}" if flat.lstrip("\u00a0'").startswith(_FORMULA) else flat
