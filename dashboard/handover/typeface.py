"""Where the hand-over's typeface is, and text made ready for it: composed, on one line."""

from __future__ import annotations

import re
import unicodedata
from functools import cache
from pathlib import Path

import fontpkg_fira_sans
from fontTools.ttLib import TTFont

_NO_BREAK_SPACE = "\u00a0"
_PLAIN_SPACES = {0x202F: _NO_BREAK_SPACE, 0x2007: _NO_BREAK_SPACE, 0x2009: " ", 0x0009: " "}
_INVISIBLE = {"Cc", "Cf", "Cs"}  # control, format (also text direction), lone surrogates
_READY = re.compile(r"[ -~\u00a0-\u00ac\u00ae-\u024f\u2013\u2192\u2212]*")
_UNSEEN = "\N{REPLACEMENT CHARACTER}"


def face(weight: str) -> Path:
    """Return the file of one weight: ``Regular``, ``SemiBold``, ``Bold``."""
    return Path(fontpkg_fira_sans.ROOT) / "files" / f"FiraSans-{weight}.ttf"


def composed(text: str) -> str:
    """Return text in composed characters, with spaces that the typeface has, and nothing hidden."""
    if _READY.fullmatch(text):  # nearly all that a document says
        return text
    ready = unicodedata.normalize("NFC", text).translate(_PLAIN_SPACES)
    return "".join(_seen(character) for character in ready)


def _seen(character: str) -> str:
    if unicodedata.category(character) not in _INVISIBLE:
        return character
    return _UNSEEN if unicodedata.category(character) == "Cs" else ""


def lacks(text: str) -> bool:
    """Return whether any character of a text is set as a box, for want of a glyph."""
    return not _READY.fullmatch(text) and any(ord(one) not in _glyphs() for one in composed(text))


@cache
def _glyphs() -> frozenset[int]:
    with TTFont(face("Regular"), lazy=True) as font:
        return frozenset(font.getBestCmap())
