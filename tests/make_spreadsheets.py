"""Spreadsheets of many shapes, with the truth beside each: ``python -m tests.make_spreadsheets``.

All numbers are invented. openpyxl writes some of the files and LibreOffice (``soffice``, its
headless Calc) others, so that the quirks of both are met. The files are kept; run this only to
change them.
"""

from __future__ import annotations

import io
import json
import shutil
import subprocess
import tempfile
from pathlib import Path

import openpyxl
from openpyxl.comments import Comment
from openpyxl.styles import Font

from tests.invented_book import INVENTED, Made, Tab, csv_text
from tests.invented_layouts import LAYOUTS
from tests.invented_writings import WRITINGS

FOLDER = Path(__file__).parent / "spreadsheets"


def workbook(tabs: list[Tab]) -> bytes:
    """Return an XLSX file as openpyxl writes it."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for tab in tabs:
        sheet = book.create_sheet(tab.name)
        for row in [*tab.rows, [], [INVENTED]]:
            sheet.append([None if cell == "" else cell for cell in row])
        for area in tab.merged:
            sheet.merge_cells(area)
        for place, number_format in tab.formats.items():
            cells = sheet[place] if place.isalpha() else [sheet[place]]
            for cell in cells:
                cell.number_format = number_format
        for place, text in tab.comments.items():
            sheet[place].comment = Comment(text, "nobody")
        sheet["A1"].font = Font(bold=True)
        sheet.sheet_state = "hidden" if tab.hidden else "visible"
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def through_libreoffice(data: bytes, suffix: str) -> bytes:
    """Return an XLSX file as LibreOffice saves it, formulas worked out."""
    program = shutil.which("soffice")
    if program is None:
        raise SystemExit("LibreOffice is needed: install the package libreoffice-calc.")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "in.xlsx").write_bytes(data)
        out = folder / "out"
        command = [program, f"-env:UserInstallation={(folder / 'profile').as_uri()}", "--headless",
                   "--convert-to", suffix, "--outdir", str(out), str(folder / "in.xlsx")]  # fmt: skip
        subprocess.run(command, check=True, capture_output=True, timeout=180)
        return (out / f"in.{suffix}").read_bytes()


def content(made: Made) -> bytes:
    """Return the bytes of one spreadsheet."""
    if made.by == "text":
        rows = made.tabs[0].rows if made.tabs else []
        rows = [*rows, [], [INVENTED]]
        return made.text(rows) if made.text else csv_text(rows).encode("utf-8")
    data = workbook(made.tabs)
    return data if made.by == "openpyxl" else through_libreoffice(data, made.file.rpartition(".")[2])


def write(made: Made, folder: Path = FOLDER) -> None:
    """Write one spreadsheet and its truth."""
    (folder / made.file).write_bytes(content(made))
    truth = {"note": INVENTED, "asks": sorted(made.asks), "answers": made.answers, "curves": made.curves}
    text = json.dumps(truth, indent=1, ensure_ascii=False) + "\n"
    (folder / f"{made.file}.json").write_text(text, encoding="utf-8", newline="\n")


def main() -> None:
    """Write all spreadsheets."""
    FOLDER.mkdir(exist_ok=True)
    for shape in (*LAYOUTS, *WRITINGS):
        made = shape()
        write(made)
        print(made.file)


if __name__ == "__main__":
    main()
