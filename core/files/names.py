"""Names of folders and files made from what a person typed: never a path, and good on every system."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable

LONGEST = 60  # characters; with four bytes each and an ending still below the usual 255
_MOST_BYTES = 200
# What Windows takes for a device whatever the ending; a shop's folder may be shared with one.
_DEVICES = re.compile(r"(con|prn|aux|nul|conin\$|conout\$|(com|lpt)[0-9¹²³])", re.IGNORECASE)
_FORBIDDEN = re.compile(r'[<>:"/\\|?*\x00-\x1f\x7f]')
_NO_TEXT = re.compile(r"[\ud800-\udfff]")  # what Python makes of bytes that are no text


def safe_name(text: str, otherwise: str) -> str:
    """Return a name for a folder, or for a file but its ending, made from a person's words.

    Parameters
    ----------
    text : str
        Anything: a title, a stage's name, the name of an uploaded file.
    otherwise : str
        Taken where nothing usable is left.

    Returns
    -------
    str
        Lower-case letters and digits of any script, with ``-`` and ``_`` between them.
    """
    plain = unicodedata.normalize("NFC", text).lower()
    kept = "".join(c if c.isalnum() or c == "_" or unicodedata.combining(c) else "-" for c in plain)
    name = re.sub(r"-{2,}", "-", kept).strip("-_")[:LONGEST]
    while len(name.encode("utf-8", "replace")) > _MOST_BYTES:
        name = name[:-1]
    name = name.encode("utf-8", "ignore").decode("utf-8").strip("-_") or otherwise
    return f"{name}-{otherwise}" if _DEVICES.fullmatch(name) else name


def free_name(text: str, taken: Iterable[str], *, ending: str = "", otherwise: str = "job") -> str:
    """Return a safe name that is not taken yet.

    Parameters
    ----------
    text : str
        As in `safe_name`.
    taken : iterable of str
        Names that exist; upper and lower case are one, as on Windows.
    ending : str
        For a file, with its dot.
    otherwise : str
        As in `safe_name`.

    Returns
    -------
    str
        ``bowl-blend.csv``, or ``bowl-blend_2.csv`` where that is taken.
    """
    used = {unicodedata.normalize("NFC", name).casefold() for name in taken}
    stem, count = safe_name(text, otherwise), 1
    name = stem + ending
    while name.casefold() in used:
        count += 1
        name = f"{stem}_{count}{ending}"
    return name


def is_text(name: str) -> bool:
    """Return whether a name read from a disk is text: Linux allows bytes that are none.

    Parameters
    ----------
    name : str
        As Python gives it.

    Returns
    -------
    bool
        False where it can neither be printed nor sent to a browser.
    """
    return printable(name) == name


def printable(name: str) -> str:
    """Return a name as it can be printed, what is no text in it as its number.

    Parameters
    ----------
    name : str
        Of a file or folder, or a whole path.

    Returns
    -------
    str
        The name itself where it is text.
    """
    return _NO_TEXT.sub(lambda found: f"%{ord(found[0]):x}", name)


def is_plain(name: str) -> bool:
    """Return whether a name is one file or folder inside another: no path, no device, not hidden.

    Parameters
    ----------
    name : str
        For example that of a file which is to be saved.

    Returns
    -------
    bool
        False for anything that could lead elsewhere, or that some system cannot hold.
    """
    return (
        bool(name)
        and not _FORBIDDEN.search(name)
        and not name.startswith(".")
        and not name.endswith((".", " "))
        and not _DEVICES.fullmatch(name.partition(".")[0].rstrip())
        and name.isprintable()
        and len(name.encode("utf-8", "replace")) <= 255
    )
