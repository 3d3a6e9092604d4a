"""A person's own words inside Markdown, made inert: shown as text, whatever they spell.

Markdown has two layers. Its grammar (emphasis, links, math, HTML) does not see a character
that is written as an entity. What is looked for afterwards, in finished text (emoji and icon
names, bare addresses, arrows), is broken by a word joiner, which nobody sees.
"""

from __future__ import annotations

import re
from functools import lru_cache

_JOINER = "\u2060"
_SPACES = "\u00a0\u202f\u2009"
# After these, or between two of the others, nothing is found any more.
_BREAKS = re.compile(r"(?<=[:@/$\[])|(?<=[wW])(?=[wW])|(?<=[-<>=~!+])(?=[-<>=~!+])")
_IN_NUMBER = re.compile(r"(?<=\d)-(?=\d)")  # a date stays on one line
_BLANKS = re.compile(r"[ \t\r\n\f\v]+")  # and not the no-break spaces


@lru_cache(maxsize=2048)  # a screen says the same names over and over
def inert(text: str) -> str:
    """Return text that Markdown shows as it stands, on one line."""
    joined = _BREAKS.sub(_JOINER, _BLANKS.sub(" ", text).strip(" "))
    return "".join(map(_entity, _IN_NUMBER.sub(f"{_JOINER}-{_JOINER}", joined)))


def _entity(character: str) -> str:
    if character.isalnum() or character in (" ", _JOINER):
        return character
    return f"&#{ord(character)};" if character.isprintable() or character in _SPACES else "\ufffd"
