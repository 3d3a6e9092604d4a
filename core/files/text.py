"""Bytes of a text file to text: UTF-8, UTF-16 or Windows-1252, and a plain no to all else."""

from __future__ import annotations

import codecs
import re

MAX_BYTES = 2_000_000

_SAVE_AS_CSV = "Save the sheet as CSV (UTF-8) and give that file."
_MAGIC = (
    (b"PK\x03\x04", "a spreadsheet file or another archive, not plain text", _SAVE_AS_CSV),
    (b"\xd0\xcf\x11\xe0", "an old spreadsheet file, not plain text", _SAVE_AS_CSV),
    (b"%PDF", "a PDF, not plain text", "Type the readings into a CSV file."),
    (b"\x89PNG", "a picture, not plain text", "Type the readings into a CSV file."),
    (b"\xff\xd8\xff", "a picture, not plain text", "Type the readings into a CSV file."),
    (b"GIF8", "a picture, not plain text", "Type the readings into a CSV file."),
    (b"\x1f\x8b", "a compressed file, not plain text", "Unpack it first."),
)
_AS_UTF8 = "Save it as plain text in UTF-8."
_BOMS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF32_LE, "utf-32-le"),  # before UTF-16: its mark begins with UTF-16's
    (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
CONTROL = re.compile(r"[\x00-\x08\x0b\x0e-\x1f\x7f-\x84\x86-\x9f]")
_UTF8_SEQUENCE = re.compile(rb"[\xc2-\xdf][\x80-\xbf]|[\xe0-\xef][\x80-\xbf]{2}|[\xf0-\xf4][\x80-\xbf]{3}")


class UnreadableError(ValueError):
    """A file that is no text: why, and the cure."""

    def __init__(self, text: str, cure: str) -> None:
        text = " ".join(text.split())  # a library's own message may run over lines
        super().__init__(f"{text} {cure}")
        self.text = text
        self.cure = cure


def decode(data: bytes) -> str:
    """Return the text in a file's bytes.

    Parameters
    ----------
    data : bytes
        The whole file.

    Returns
    -------
    str
        Its text, without a byte-order mark.

    Raises
    ------
    UnreadableError
        If it is empty, too large, no text, or in an encoding that is not read.
    """
    if len(data) > MAX_BYTES:
        raise UnreadableError(
            f"The file is larger than {MAX_BYTES / 1e6:.0f} MB; more is not read.",
            "Split it, or check that it is the right file.",
        )
    for magic, what, cure in _MAGIC:
        if data.startswith(magic):
            raise UnreadableError(f"This is {what}.", cure)
    text = _text(data)
    if not text.strip():
        raise UnreadableError("The file is empty.", "Check that it was saved, or take it away.")
    if CONTROL.search(text):
        raise UnreadableError("The file holds binary data, not plain text.", _AS_UTF8)
    return text


def _text(data: bytes) -> str:
    for mark, encoding in _BOMS:
        if data.startswith(mark):
            return _strictly(data[len(mark) :], encoding)
    if b"\x00" in data:
        # UTF-16 without its mark: in plain text nearly every second byte is zero, no other is
        even, odd = data[::2].count(0), data[1::2].count(0)
        if min(even, odd) == 0 and max(even, odd) > 0.45 * len(data):
            return _strictly(data, "utf-16-le" if odd else "utf-16-be")
        raise UnreadableError("The file holds binary data, not plain text.", _AS_UTF8)
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        where = data.count(b"\n", 0, error.start) + 1
    if _UTF8_SEQUENCE.search(data):
        # read as Windows-1252 its UTF-8 part would come out garbled
        raise UnreadableError(f"Line {where} is not UTF-8, though other lines are.", _AS_UTF8)
    return _strictly(data, "cp1252")


def _strictly(data: bytes, encoding: str) -> str:
    try:
        return data.decode(encoding)
    except UnicodeDecodeError:
        raise UnreadableError(
            "The encoding cannot be read: it is not UTF-8, UTF-16 or Windows-1252.", _AS_UTF8
        ) from None
