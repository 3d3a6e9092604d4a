"""What a spreadsheet file must pass before anything opens it: size, kind, and no traps inside.

An archive can grow a thousandfold when it is unpacked, one cell in the last row makes a reader
build a million rows, an XML entity can expand without end. All of that is seen here, in one
bounded walk over the file, before a library or a tree sees any of it.
"""

from __future__ import annotations

import io
import re
import struct
import zipfile
import zlib
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import PurePosixPath
from typing import Literal
from xml.parsers import expat

from core.files.text import UnreadableError

Kind = Literal["xlsx", "ods"]

MAX_BYTES = 5_000_000  # as uploaded
MAX_UNPACKED = 20_000_000
MAX_PARTS = 1_000
MAX_ROWS, MAX_COLUMNS = 2_000, 100
MAX_CELLS = 20_000  # of all sheets; years of flow tests are a few thousand
MAX_STYLE_ELEMENTS = 60_000  # of every other part that a reader turns into objects
MAX_DEPTH = 100

PLAIN = "Save it as .xlsx, .ods or .csv and give that file."
_OLD = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_ARCHIVE = b"PK"
_XLSX_LINKS = ("xl/externallinks/", "xl/connections", "xl/querytables/", "xl/datamodel", "xl/model/")
_LINK = re.compile(r"file:|https?:|ftp:|smb:|\bWEBSERVICE\b|\bDDE\b", re.IGNORECASE)
_REFERENCE = re.compile(r"\$?([A-Za-z]{1,7})\$?(\d{1,9})")


@dataclass
class SheetScan:
    """What one worksheet of an XLSX file holds, seen without building it."""

    rows: int = 0
    columns: int = 0
    merged: list[tuple[int, int, int, int]] = field(default_factory=list)  # first row and column, last
    without_value: set[tuple[int, int]] = field(default_factory=set)  # formulas that were never worked out


@dataclass
class Archive:
    """A spreadsheet archive that may be opened."""

    kind: Kind
    zip: zipfile.ZipFile
    scans: dict[str, SheetScan]  # by part, XLSX only


def suffix_of(name: str) -> str:
    """Return the suffix of a file's name, lower case, with its dot.

    Parameters
    ----------
    name : str
        Name of a file; it is only looked at.

    Returns
    -------
    str
        For example ``.xlsx``, empty where there is none.
    """
    return PurePosixPath(name.replace("\\", "/")).suffix.lower()


def refuse_old(data: bytes) -> None:
    """Refuse what no reader here opens: old binary files, encrypted ones, flat XML.

    Parameters
    ----------
    data : bytes
        The whole file.

    Raises
    ------
    UnreadableError
        If it is one of those.
    """
    if data.startswith(_OLD):
        if "EncryptedPackage".encode("utf-16-le") in data:
            raise UnreadableError("The spreadsheet is encrypted.", "Save it without a password.")
        raise UnreadableError("This is an old binary spreadsheet (.xls), which is not read.", PLAIN)
    if data.startswith(b"<?xml") or data.lstrip()[:1] == b"<":
        raise UnreadableError("This is XML or a web page, not a spreadsheet file.", PLAIN)


def is_archive(data: bytes) -> bool:
    """Return whether a file is an archive, as XLSX and ODS files are.

    Parameters
    ----------
    data : bytes
        The whole file.

    Returns
    -------
    bool
        True for anything that begins like one.
    """
    return data.startswith(_ARCHIVE)


def open_archive(data: bytes) -> Archive:
    """Open an XLSX or ODS file, once it has been seen to be harmless.

    Parameters
    ----------
    data : bytes
        The whole file.

    Returns
    -------
    Archive
        Safe to read, each part within the limits.

    Raises
    ------
    UnreadableError
        If it is anything else: why, and the cure.
    """
    if len(data) > MAX_BYTES:
        text = f"The file is larger than {MAX_BYTES / 1e6:.0f} MB; more is not read."
        raise UnreadableError(text, "Save the sheet with the readings alone.")
    try:
        archive = zipfile.ZipFile(io.BytesIO(data))
        return _checked(archive)
    except UnreadableError:
        raise
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError, RuntimeError) as error:
        raise UnreadableError(
            f"The file is damaged or cut short ({str(error)[:80]}).", "Save it anew."
        ) from None
    except (expat.ExpatError, ValueError, LookupError, struct.error) as error:  # or of an unknown encoding
        raise UnreadableError(f"The file is damaged inside ({str(error)[:80]}).", "Save it anew.") from None


def _checked(archive: zipfile.ZipFile) -> Archive:
    parts = archive.infolist()
    if len(parts) > MAX_PARTS or sum(part.file_size for part in parts) > MAX_UNPACKED:
        raise UnreadableError(
            f"Unpacked, the file holds more than {MAX_UNPACKED / 1e6:.0f} MB or {MAX_PARTS} parts.",
            "Save the sheet with the readings alone.",
        )
    names = [part.filename for part in parts]
    lowered = [name.lower() for name in names]
    if any(part.flag_bits & 1 for part in parts):
        raise UnreadableError("The spreadsheet is encrypted.", "Save it without a password.")
    if len(set(lowered)) != len(lowered):
        raise UnreadableError("The archive holds a part twice.", "Save it anew.")
    kind = _kind(lowered)
    _refuse_macros(archive, kind, lowered)
    if kind == "ods":
        for name, most in (("META-INF/manifest.xml", MAX_STYLE_ELEMENTS), ("content.xml", 20 * MAX_CELLS)):
            if name in names:
                _walk(archive.read(name), most, _refuse_ods_traps)
        return Archive(kind, archive, {})
    scans = {}
    for part in parts:
        content = archive.read(part)
        is_xml = part.filename.lower().endswith((".xml", ".rels"))
        try:
            if _root(content) == "worksheet":
                scans[part.filename] = _scan_sheet(content)
            else:
                _walk(content, MAX_STYLE_ELEMENTS, _refuse_xlsx_links)
        except expat.ExpatError:
            if is_xml:  # all else is a picture, say; a part is what it holds, not what it is called
                raise
    return Archive(kind, archive, scans)


def _kind(names: list[str]) -> Kind:
    if "xl/workbook.bin" in names:
        raise UnreadableError("This is a binary spreadsheet (.xlsb), which is not read.", PLAIN)
    if "xl/workbook.xml" in names and "[content_types].xml" in names:
        return "xlsx"
    if "content.xml" in names and "mimetype" in names:
        return "ods"
    raise UnreadableError("This is an archive, but no XLSX or ODS spreadsheet.", PLAIN)


def _refuse_macros(archive: zipfile.ZipFile, kind: Kind, names: list[str]) -> None:
    if kind == "xlsx":
        types = archive.read("[Content_Types].xml")
        has_macros = b"macroEnabled" in types or any("vbaproject" in name for name in names)
        if any(name.startswith(_XLSX_LINKS) for name in names):
            _refuse_link()
    else:
        mime = archive.read("mimetype").strip()
        if mime not in (b"application/vnd.oasis.opendocument.spreadsheet",):
            raise UnreadableError("This is an office document, but no ODS spreadsheet.", PLAIN)
        has_macros = any(name.startswith(("basic/", "scripts/")) and not name.endswith("/") for name in names)
    if has_macros:
        raise UnreadableError(
            "The spreadsheet holds macros, and such files are not read.",
            "Save it as .xlsx or .ods without macros.",
        )


def _refuse_link() -> None:
    raise UnreadableError(
        "The spreadsheet takes values from other files or addresses; those are never followed.",
        "Replace them by their values, or save the sheet as .csv.",
    )


def _walk(content: bytes, most: int, look: Callable[[str, dict[str, str]], None]) -> None:
    """Parse one part without building anything."""
    count = depth = 0

    def start(name: str, attributes: dict[str, str]) -> None:
        nonlocal count, depth
        count += 1
        depth += 1
        if count > most or depth > MAX_DEPTH:
            raise UnreadableError(
                "The spreadsheet holds far more than flow readings need.",
                "Save the sheet with the readings alone, as .csv if need be.",
            )
        look(name.rpartition(":")[2], attributes)

    def end(_name: str) -> None:
        nonlocal depth
        depth -= 1

    _parse(content, start, end)


class _FoundError(Exception):
    """The root element was met."""


def _root(content: bytes) -> str:
    def start(name: str, _attributes: dict[str, str]) -> None:
        raise _FoundError(name.rpartition(":")[2])

    try:
        _parse(content, start, None)
    except _FoundError as found:
        return str(found)
    return ""


def _parse(content: bytes, start: Callable, end: Callable | None, text: Callable | None = None) -> None:
    parser = expat.ParserCreate()
    parser.StartElementHandler = start
    parser.EndElementHandler = end
    parser.CharacterDataHandler = text
    parser.StartDoctypeDeclHandler = _refuse_doctype
    parser.Parse(content, True)


def _refuse_doctype(*_: object) -> None:
    raise UnreadableError(
        "The spreadsheet declares XML entities, as no spreadsheet program does.", "Save it anew, or as .csv."
    )


def _refuse_xlsx_links(name: str, attributes: dict[str, str]) -> None:
    external = attributes.get("TargetMode") == "External"
    if name == "Relationship" and external and not attributes.get("Type", "").endswith("/hyperlink"):
        _refuse_link()


def _refuse_ods_traps(name: str, attributes: dict[str, str]) -> None:
    if name in ("table-source", "cell-range-source", "dde-source", "dde-link"):
        _refuse_link()
    if name == "encryption-data":
        raise UnreadableError("The spreadsheet is encrypted.", "Save it without a password.")
    if name in ("table-cell", "covered-table-cell") and _LINK.search(attributes.get("table:formula", "")):
        _refuse_link()


def _scan_sheet(content: bytes) -> SheetScan:
    """Return where a worksheet's cells with content are, and refuse one that lies too far out."""
    scan = SheetScan()
    row = column = cells = depth = 0
    formula = value = blank = inside = False

    def start(name: str, attributes: dict[str, str]) -> None:
        nonlocal row, column, cells, depth, formula, value, blank, inside
        name = name.rpartition(":")[2]
        depth += 1
        if depth > MAX_DEPTH:
            refuse_far(row, column)
        if name == "row":
            row, column = int(attributes.get("r", row + 1)), 0
        elif name == "c":
            cells += 1
            row, column = _place(attributes["r"]) if "r" in attributes else (row, column + 1)
            formula = value = False
            blank = attributes.get("t") == "str"  # a formula may say that nothing is to be seen
            if cells > MAX_CELLS:
                refuse_many()
        elif name in ("v", "is", "f"):
            formula, inside = formula or name == "f", name != "f"
            if row > MAX_ROWS or column > MAX_COLUMNS or row < 1 or column < 1:
                refuse_far(row, column)
            scan.rows, scan.columns = max(scan.rows, row), max(scan.columns, column)
        elif name == "mergeCell":
            scan.merged.append(_range(attributes.get("ref", "")))
            if len(scan.merged) > MAX_CELLS:
                refuse_many()

    def end(name: str) -> None:
        nonlocal depth, inside
        depth -= 1
        name = name.rpartition(":")[2]
        inside = inside and name not in ("v", "is")
        if name == "c" and formula and not value and not blank:
            scan.without_value.add((row, column))

    def text(_text: str) -> None:
        nonlocal value
        value = value or inside

    _parse(content, start, end, text)
    return scan


def _place(reference: str) -> tuple[int, int]:
    match = _REFERENCE.fullmatch(reference)
    if not match:
        raise ValueError(f"no cell is called {reference[:20]!r}")
    column = 0
    for letter in match[1].upper():
        column = column * 26 + ord(letter) - 64
    return int(match[2]), column


def _range(reference: str) -> tuple[int, int, int, int]:
    first, _, last = reference.partition(":")
    return (*_place(first), *_place(last or first))


def refuse_far(row: int, column: int) -> None:
    """Refuse a cell beyond the limits.

    Parameters
    ----------
    row, column : int
        Where it is, counted from 1.

    Raises
    ------
    UnreadableError
        Always.
    """
    raise UnreadableError(
        f"A cell lies in row {row}, column {column}; "
        f"up to {MAX_ROWS} rows and {MAX_COLUMNS} columns are read.",
        "Delete what lies beyond the readings, or copy them to a new sheet.",
    )


def refuse_many() -> None:
    """Refuse a file with too many cells.

    Raises
    ------
    UnreadableError
        Always.
    """
    raise UnreadableError(
        f"The spreadsheet holds more than {MAX_CELLS} cells; more are not read.",
        "Save the sheet with the readings alone.",
    )
