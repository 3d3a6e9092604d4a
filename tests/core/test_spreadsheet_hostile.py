"""Hostile spreadsheets: each is refused in one sentence with its cure, before anything opens it."""

from __future__ import annotations

import io
import socket
import tracemalloc
import zipfile
from collections.abc import Callable
from pathlib import Path
from random import Random

import openpyxl
import pytest

from core.files.spreadsheet import UnreadableError, read_grid
from core.files.spreadsheet.guard import MAX_COLUMNS, MAX_ROWS

SHEET = "xl/worksheets/sheet1.xml"
MOST_MEMORY = 120_000_000  # bytes: the 20 MB that may be unpacked, held a few times over


def plain() -> bytes:
    book = openpyxl.Workbook()
    for row in (["Lift (in)", "Intake cfm"], [0.1, 60.2], [0.2, 118.5], [0.3, 166.1]):
        book.active.append(row)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def repacked(data: bytes, parts: dict[str, bytes | None], drop: tuple[str, ...] = ()) -> bytes:
    """Return an archive with some parts put in, replaced or taken out."""
    stream = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as new:
        for info in old.infolist():
            if info.filename not in parts and info.filename not in drop:
                new.writestr(info.filename, old.read(info))
        for name, content in parts.items():
            new.writestr(name, content)
    return stream.getvalue()


def with_rows(rows: str) -> bytes:
    text = f'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>{rows}</sheetData></worksheet>'
    return repacked(plain(), {SHEET: text.encode()})


def changed(old: str, new: str, part: str = SHEET) -> bytes:
    data = plain()
    text = zipfile.ZipFile(io.BytesIO(data)).read(part).decode()
    assert old in text
    return repacked(data, {part: text.replace(old, new, 1).encode()})


def cell(place: str) -> str:
    return f'<row r="{place.lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ")}"><c r="{place}"><v>1</v></c></row>'


def entities() -> bytes:
    bomb = '<!DOCTYPE x [<!ENTITY a "lol">' + "".join(
        f'<!ENTITY {chr(98 + i)} "{f"&{chr(97 + i)};" * 10}">' for i in range(8)
    )
    text = zipfile.ZipFile(io.BytesIO(plain())).read(SHEET).decode()
    return repacked(plain(), {SHEET: (bomb + "]>" + text.partition("?>")[2] or text).encode()})


def outside_entity(part: str) -> bytes:
    text = zipfile.ZipFile(io.BytesIO(plain())).read(part).decode()
    head, mark, rest = text.partition("?>")
    body = rest if mark else head
    trap = '<!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/hostname">]>' + body
    return repacked(plain(), {part: trap.encode()})


def ods(content: str, more: dict[str, bytes] | None = None, mime: str = "spreadsheet") -> bytes:
    stream = io.BytesIO()
    names = "".join(
        f' xmlns:{n}="urn:oasis:names:tc:opendocument:xmlns:{n}:1.0"' for n in ("office", "table", "text")
    )
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("mimetype", f"application/vnd.oasis.opendocument.{mime}")
        tags = ("office:document-content", "office:body", "office:spreadsheet")
        opened = f"<{tags[0]}{names}><{tags[1]}><{tags[2]}>"
        closed = "".join(f"</{tag}>" for tag in reversed(tags))
        archive.writestr("content.xml", opened + content + closed)
        for name, data in (more or {}).items():
            archive.writestr(name, data)
    return stream.getvalue()


def ods_cell(repeat: str = "") -> str:
    value = 'office:value-type="float" office:value="1"'
    return f"<table:table-cell {value}{repeat}><text:p>1</text:p></table:table-cell>"


def ods_table(rows: str) -> str:
    return f'<table:table table:name="A">{rows}</table:table>'


BILLION = ' table:number-columns-repeated="1000000000"'
MANY_ROWS = ' table:number-rows-repeated="1000000"'
HOSTILE: dict[str, tuple[str, Callable[[], bytes], str]] = {
    "archive bomb": ("a.xlsx", lambda: repacked(plain(), {"xl/media/x.png": b"\0" * 30_000_000}), "Unpacked"),
    "bomb as a sheet": ("a.xlsx", lambda: repacked(plain(), {SHEET: b" " * 30_000_000}), "Unpacked"),
    "thousands of parts": ("a.xlsx", lambda: repacked(plain(), {f"x{i}": b"" for i in range(2000)}), "parts"),
    "far cell": ("a.xlsx", lambda: with_rows(cell("XFD1048576")), "row 1048576, column 16384"),
    "far column": ("a.xlsx", lambda: with_rows(cell("CX1")), f"{MAX_COLUMNS} columns"),
    "far row": ("a.xlsx", lambda: with_rows(cell(f"A{MAX_ROWS + 1}")), f"{MAX_ROWS} rows"),
    "far beyond any sheet": ("a.xlsx", lambda: with_rows(cell("ZZZZZZ999999999")), "columns are read"),
    "no such cell": ("a.xlsx", lambda: with_rows('<row><c r="7"><v>1</v></c></row>'), "damaged"),
    "a million rows": (
        "a.xlsx",
        lambda: with_rows("<row><c><v>1</v></c></row>" * 700_000),
        f"{MAX_ROWS} rows",
    ),
    "too many cells": (
        "a.xlsx",
        lambda: with_rows(("<row>" + "<c><v>1</v></c>" * 100 + "</row>") * 1900),
        "cells",
    ),
    "far cell in a prefix": (
        "a.xlsx",
        lambda: repacked(
            plain(),
            {
                SHEET: b'<x:worksheet xmlns:x="http://schemas.openxmlformats.org/spreadsheetml/2006/main">'
                b'<x:sheetData><x:row r="9999999"><x:c r="A9999999"><x:v>1</x:v></x:c></x:row></x:sheetData>'
                b"</x:worksheet>"
            },
        ),
        "row 9999999",
    ),
    "entity expansion": ("a.xlsx", entities, "entities"),
    "entity in the workbook": ("a.xlsx", lambda: outside_entity("xl/workbook.xml"), "entities"),
    "entity in the styles": ("a.xlsx", lambda: outside_entity("xl/styles.xml"), "entities"),
    "endless styles": (
        "a.xlsx",
        lambda: changed("<cellXfs", "<cellXfs>" + "<xf/>" * 200_000 + "</cellXfs><cellXfs", "xl/styles.xml"),
        "far more",
    ),
    "deep nest": ("a.xlsx", lambda: repacked(plain(), {"xl/theme/theme1.xml": b"<a>" * 5000}), "far more"),
    "external link": (
        "a.xlsx",
        lambda: repacked(plain(), {"xl/externalLinks/e1.xml": b"<x/>"}),
        "never followed",
    ),
    "external picture": (
        "a.xlsx",
        lambda: repacked(
            plain(),
            {
                "xl/worksheets/_rels/sheet1.xml.rels": b'<Relationships xmlns="http://schemas.openxmlformats.org/'
                b'package/2006/relationships"><Relationship Id="a" Type="x/image" TargetMode="External" '
                b'Target="http://127.0.0.1:9/x"/></Relationships>'
            },
        ),
        "never followed",
    ),
    "macros": ("a.xlsx", lambda: repacked(plain(), {"xl/vbaProject.bin": b"x"}), "macros"),
    "macro suffix": ("a.xlsm", plain, ".xlsm are not read"),
    "truncated": ("a.xlsx", lambda: plain()[:-200], "damaged"),
    "cut in half": ("a.xlsx", lambda: plain()[:2500], "damaged"),
    "wrong suffix": ("a.csv", plain, "rename it to .xlsx"),
    "text called XLSX": ("a.xlsx", lambda: b"lift,intake\n1,2\n", "no such spreadsheet"),
    "XLSX called ODS": ("a.ods", plain, "rename it to .xlsx"),
    "old spreadsheet": ("a.xls", lambda: b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600, "old binary"),
    "encrypted": (
        "a.xlsx",
        lambda: b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + "EncryptedPackage".encode("utf-16-le") + b"\0" * 600,
        "encrypted",
    ),
    "binary workbook": ("a.xlsx", lambda: repacked(plain(), {"xl/workbook.bin": b""}), "binary"),
    "an encoding that nothing knows": (
        "a.xlsx",
        lambda: repacked(plain(), {SHEET: b'<?xml version="1.0" encoding="x-none"?><worksheet/>'}),
        "damaged",
    ),
    "another archive": ("a.xlsx", lambda: repacked(plain(), {}, ("xl/workbook.xml",)), "no XLSX or ODS"),
    "nothing": ("a.xlsx", lambda: b"", "empty"),
    "web page": ("a.csv", lambda: b"<html><table><tr><td>1</td></tr></table></html>", "web page"),
    "binary text": ("a.csv", lambda: bytes(range(256)) * 4, "binary data"),
    "a million lines": ("a.csv", lambda: b"1,2\n" * 400_000, f"{MAX_ROWS} rows"),
    "endless line": ("a.csv", lambda: b"1," * 500_000, "more cells"),
    "too many columns": ("a.csv", lambda: b"1," * 150, f"{MAX_COLUMNS} columns"),
    "too large": ("a.csv", lambda: b"1" * 3_000_000, "larger than"),
    "ODS far row": (
        "a.ods",
        lambda: ods(
            ods_table(f"<table:table-row{MANY_ROWS}/><table:table-row>{ods_cell()}</table:table-row>")
        ),
        "row 1000001",
    ),
    "ODS a billion cells": (
        "a.ods",
        lambda: ods(ods_table(f"<table:table-row>{ods_cell(BILLION)}</table:table-row>")),
        "columns are read",
    ),
    "ODS a million rows": (
        "a.ods",
        lambda: ods(ods_table(f"<table:table-row{MANY_ROWS}>{ods_cell()}</table:table-row>")),
        "rows",
    ),
    "ODS endless repeat": (
        "a.ods",
        lambda: ods(ods_table(f'<table:table-row table:number-rows-repeated="{"9" * 4000}"/>')),
        "damaged",
    ),
    "ODS entities": (
        "a.ods",
        lambda: repacked(ods(""), {"content.xml": b'<!DOCTYPE x [<!ENTITY a "b">]><x>&a;</x>'}),
        "entities",
    ),
    "ODS link": (
        "a.ods",
        lambda: ods(ods_table("<table:table-source/><table:table-row/>")),
        "never followed",
    ),
    "ODS formula with an address": (
        "a.ods",
        lambda: ods(
            ods_table(
                "<table:table-row><table:table-cell table:formula=\"of:=['file:///x'#$A.A1]\"/></table:table-row>"
            )
        ),
        "never followed",
    ),
    "ODS encrypted": (
        "a.ods",
        lambda: ods("", {"META-INF/manifest.xml": b"<m><f><encryption-data/></f></m>"}),
        "encrypted",
    ),
    "ODS macros": ("a.ods", lambda: ods("", {"Basic/Standard/Module1.xml": b"<x/>"}), "macros"),
    "ODS text document": ("a.ods", lambda: ods("", mime="text"), "no ODS spreadsheet"),
    "unknown suffix": ("a.docx", lambda: b"lift,intake\n1,2\n", "are not read"),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_files_are_refused(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    def no_connection(*_: object, **__: object) -> None:
        raise AssertionError("a spreadsheet was followed to another machine")

    monkeypatch.setattr(socket.socket, "connect", no_connection)
    file, make, said = HOSTILE[name]
    data = make()
    tracemalloc.start()
    try:
        with pytest.raises(UnreadableError) as refused:
            read_grid(file, data)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert said in str(refused.value)
    assert refused.value.cure
    assert "\n" not in str(refused.value)
    assert peak < MOST_MEMORY


def test_a_name_never_becomes_a_path(tmp_path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    book = read_grid("../../etc/x.xlsx", plain())
    assert [sheet.name for sheet in book.sheets] == ["Sheet"]
    assert list(tmp_path.iterdir()) == []


def test_empty_cells_far_out_do_no_harm() -> None:
    # a row that is only formatted, as spreadsheet programs leave behind
    book = read_grid("a.xlsx", changed("</sheetData>", '<row r="1048576" ht="12.8"/></sheetData>'))
    assert len(book.sheets[0].rows) == 4
    blank = f"<table:table-row{MANY_ROWS}><table:table-cell{BILLION}/></table:table-row>"
    book = read_grid("a.ods", ods(ods_table(f"<table:table-row>{ods_cell()}</table:table-row>{blank}")))
    assert [len(sheet.rows) for sheet in book.sheets] == [1]


def test_a_formula_that_was_never_worked_out_is_no_blank() -> None:
    book = openpyxl.Workbook()
    for row in (["Lift (in)", "Intake cfm"], [0.1, "=1+1"]):
        book.active.append(row)
    stream = io.BytesIO()
    book.save(stream)
    cell = read_grid("a.xlsx", stream.getvalue()).sheets[0].rows[1][1]
    assert cell is not None
    assert (cell.kind, cell.text) == ("unread", "a formula without a stored value")


@pytest.mark.parametrize("seed", range(60))
@pytest.mark.parametrize("file", ["plain.xlsx", "stacked.ods"])
def test_changed_bytes_end_in_a_sentence_or_a_book(file: str, seed: int) -> None:
    path = Path(__file__).parents[1] / "spreadsheets" / file
    data = bytearray(plain() if file == "plain.xlsx" else path.read_bytes())
    random = Random(seed)
    for _ in range(random.choice([1, 3, 30])):
        data[random.randrange(len(data))] = random.randrange(256)
    try:
        book = read_grid(file, bytes(data))
    except UnreadableError as error:
        assert error.cure
    else:
        assert book.sheets


@pytest.mark.parametrize("cut", range(0, 100, 7))
def test_any_cut_ends_in_a_sentence(cut: int) -> None:
    data = plain()
    data = data[: len(data) * cut // 100] + b"\0" * (cut % 3)
    with pytest.raises(UnreadableError):
        read_grid("a.xlsx", data)
