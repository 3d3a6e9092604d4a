"""Spreadsheets and pasted blocks by chance, read by the mapping that they suggest."""

from __future__ import annotations

import io
import zipfile
from pathlib import PurePath
from random import Random

import openpyxl

from core.files.log import folded
from core.files.spreadsheet import (
    Proposal,
    UnreadableError,
    apply,
    curves,
    entry_for,
    keeping,
    kept,
    propose,
    read_grid,
    recalled,
)
from core.files.spreadsheet.grid import Book
from core.files.spreadsheet.memory import answers_of
from core.files.text import decode
from core.files.write_job import edited
from tests.fuzz import damage, rules, seeds
from tests.fuzz.damage import damaged_bytes, damaged_text, in_bytes
from tests.fuzz.rules import ACCEPTED, REFUSED, must
from tests.fuzz.seeds import Files
from tests.fuzz.watch import watch

_DAMAGES = (*damage.SPOTS, *damage.LINES, *damage.TABLE * 2)
_ANSWERS = {"lift": "in", "flow": "cfm", "test pressure": "28 inH2O", "side": "intake", "range": "200 cfm"}
_ARCHIVES = (".xlsx", ".ods")


def mutated(random: Random) -> Files:
    """Return a good spreadsheet or pasted block, damaged."""
    name, data = random.choice(seeds.books())
    if PurePath(name).suffix in _ARCHIVES:
        return {name: _archive_damaged(data, random)}
    text = damaged_text(decode(data), random, _DAMAGES)
    return {"" if random.random() < 0.3 else name: in_bytes(text, random)}


def bad(random: Random) -> Files:
    """Return a spreadsheet that is none: odd cells, bench sheets to be refused, broken archives."""
    way = random.random()
    if way < 0.4:
        return {"made-up.xlsx": _made_up_book(random)}
    if way < 0.7:
        mark = random.choice(("\t", ",", ";", "  ", "|"))
        return {"": "\n".join(mark.join(row) for row in _cells(random)).encode("utf-8", "replace")}
    if way < 0.85:
        return dict([random.choice(seeds.bad_sheets())])
    name, data = random.choice(seeds.books())
    return {name: damaged_bytes(data, random)}


def _archive_damaged(data: bytes, random: Random) -> bytes:
    """Return a workbook with one of its parts damaged, and whole as an archive."""
    stream = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(stream, "w") as new:
        parts = [info.filename for info in old.infolist()]
        likely = [part for part in parts if "sheet" in part or "content" in part or "Strings" in part]
        hit = random.choice(likely or parts) if random.random() < 0.9 else random.choice(parts)
        for part in parts:
            content = old.read(part)
            if part == hit:
                text = content.decode("utf-8", "replace")
                content = damaged_text(text, random, damage.SPOTS).encode("utf-8", "replace")
            new.writestr(part, content)
    return stream.getvalue()


def _cells(random: Random) -> list[list[str]]:
    """Return a table of lifts and flows with titles, heads and cells that may be anything."""
    heads = (
        "Lift",
        "Lift (in)",
        "Intake cfm",
        "Exhaust L/s",
        "stage 2",
        "28 inH2O",
        "Port 1",
        "%",
        "as cast",
    )
    wide, rows = random.randint(1, 5), []
    for _ in range(random.randint(0, 2)):
        rows.append([random.choice((*heads, *damage.ODD)) for _ in range(random.randint(1, wide))])
    rows.append([random.choice(heads) for _ in range(wide)])
    for n in range(random.randint(0, 8)):
        row = [f"{(n + 1) * 0.05:.2f}", *(f"{200 * random.random():.1f}" for _ in range(wide - 1))]
        if random.random() < 0.3:
            row[random.randrange(wide)] = random.choice((*damage.ODD, *heads))
        rows.append(row)
    return rows


def _made_up_book(random: Random) -> bytes:
    book = openpyxl.Workbook()
    for number in range(random.randint(1, 2)):
        sheet = book.active if number == 0 else book.create_sheet()
        for row in _cells(random):
            sheet.append([_typed(cell, random) for cell in row])
        if random.random() < 0.2:
            sheet.merge_cells("A1:B1")
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def _typed(cell: str, random: Random) -> object:
    """Return a cell as a spreadsheet holds it: mostly a number where it looks like one."""
    cell = "".join(one for one in cell if one.isprintable())[:1_000]
    try:
        return float(cell) if random.random() < 0.9 and float(cell) - float(cell) == 0 else cell
    except ValueError:
        return cell


# what must hold ---------------------------------------------------------------------------


def holds(files: Files) -> str:
    """Check that a spreadsheet is refused in a sentence, or gives sheets that our reader takes."""
    ((name, data),) = files.items()
    try:
        with watch.on("opening a spreadsheet"):
            book = read_grid(name, data)
    except UnreadableError as error:
        rules.sentence(f"{error.text} {error.cure}")
        return REFUSED
    with watch.on("proposing"):
        proposal, answers = _answered(book)
    for said in (*proposal.reasons, *proposal.questions):
        rules.sentence(said.text)
    with watch.on("applying"):
        imported = apply(book, proposal.mapping)
    must(bool(imported.sheets) != bool(imported.problems), "sheets and problems, or neither")
    _memory_holds(book, proposal, answers)
    if imported.problems:
        rules.plain(imported.problems)
        return REFUSED
    curves(imported)
    for one in imported.sheets:
        rules.finite(one.sheet, "sheet")
        rules.same_sheet(one.sheet, rules.read_again(one.sheet, one.text))
    files = [(one.sheet.file, one.text.encode("utf-8")) for one in imported.sheets]
    sheets = {f"{number}-{file}": text for number, (file, text) in enumerate(files)}  # saved under free names
    rules.job_holds(sheets)
    return ACCEPTED


def _answered(book: Book) -> tuple[Proposal, dict[str, str]]:
    """Return a proposal with its questions answered as a person in a hurry does: by the first answer."""
    answers: dict[str, str] = {}
    proposal = propose(book, answers)
    for _ in range(6):
        new = {
            q.key: q.suggestion or next(iter(q.options), None) or _ANSWERS.get(q.key, "x")
            for q in proposal.open
            if q.key not in answers
        }
        if not new:
            break
        answers |= new
        proposal = propose(book, answers)
    return proposal, answers


def _memory_holds(book: Book, proposal: Proposal, answers: dict[str, str]) -> None:
    """Check that a mapping kept in a job file says the same when it is used again."""
    data = edited(b"", keeping(b"", kept(book, proposal.mapping, answers)))
    entry = entry_for(book, data)
    must(entry is not None, "a mapping that was kept is not found again")
    said = answers_of(entry)
    again = recalled(book, entry, {key: text for key, text in answers.items() if said.get(key) != text})
    before, after = ([_plain(line) for t in p.mapping.tables for line in t.lines] for p in (proposal, again))
    must(before == after, f"kept and recalled, the mapping differs: {_first_unlike(before, after)}")


def _plain(line: object) -> dict[str, str | None]:
    """Return a line of a mapping as a job file can keep it: words on one line, without a bar."""
    words = {name: value for name, value in vars(line).items() if name not in ("why", "heading", "role")}
    return {name: folded(str(value).replace("|", "/")) if value else None for name, value in words.items()}


def _first_unlike(before: list[object], after: list[object]) -> object:
    return next((pair for pair in zip(before, after, strict=False) if pair[0] != pair[1]), None)
