"""The command ``import``: a spreadsheet into a job's folder, by the mapping that it suggests."""

from __future__ import annotations

import argparse
import sys
import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TextIO

from core.files.disk import Refused
from core.files.folder import NAME, NOTHING, Whole, read_whole
from core.files.load import load_files
from core.files.log import folded
from core.files.names import free_name
from core.files.save import Conflict, save
from core.files.sheet import read_sheet
from core.files.spreadsheet import (
    Imported,
    ImportedSheet,
    Line,
    Proposal,
    Question,
    UnreadableError,
    apply,
    entry_for,
    keeping,
    kept,
    propose,
    read_grid,
    recalled,
)
from core.files.spreadsheet import Mapping as SheetMapping
from core.files.spreadsheet.guard import MAX_BYTES
from core.files.spreadsheet.mapping import each_line
from core.files.spreadsheet.own import is_bench_sheet
from core.files.spreadsheet.questions import wrong_answers
from core.files.write_job import UneditableError, edited
from core.files.write_sheet import UnwritableError, sheet_text
from core.job import SIDES, BenchSheet

_PASTED = "-"
_TEXT = ("", ".csv", ".tsv", ".txt")
_OPTIONS = {
    "lift": "--lift in",
    "flow": "--flow cfm",
    "test pressure": '--test-pressure "28 inH2O"',
    "side": "--side intake",
    "sheet": "--sheet NAME",
}


class RefusedImportError(Exception):
    """Nothing was written; one line a reason."""

    def __init__(self, reasons: Sequence[str]) -> None:
        super().__init__(*reasons)
        self.reasons = list(reasons)


def add_options(
    command: argparse.ArgumentParser,
    unit_of: Callable[[str], Callable[[str], str]],
    pressure: Callable[[str], str],
) -> None:
    """Add what ``import`` takes to its parser."""
    command.add_argument("sheet", metavar="SHEET", help="CSV, XLSX or ODS file; - reads a pasted block")
    command.add_argument(
        "--to", metavar="JOB", required=True, help="the job's folder; made where it is not there"
    )
    said = command.add_argument_group("where the spreadsheet does not say it")
    said.add_argument("--lift", metavar="UNIT", type=unit_of("lift"), help="unit of lift: in, mm, thou")
    said.add_argument("--flow", metavar="UNIT", type=unit_of("flow"), help="unit of flow: cfm, L/s")
    said.add_argument("--test-pressure", metavar="PRESSURE", type=pressure, help='for example "28 inH2O"')
    said.add_argument("--side", choices=SIDES)
    said.add_argument("--sheet", dest="tab", metavar="NAME", help="the one sheet of a workbook to take")
    said.add_argument(
        "--answer", metavar="KEY=VALUE", action="append", type=_pair, default=[], help="any other question"
    )
    said.add_argument(
        "--stage", metavar="NAME=NEW", action="append", type=_pair, default=[],
        help="another name for a stage, as the job has it",
    )  # fmt: skip
    command.add_argument("--add-stages", action="store_true", help=f"add stages that are new to {NAME}")
    command.add_argument(
        "--keep", action="store_true", help="keep the mapping in the job, for the next such sheet"
    )


def _pair(text: str) -> tuple[str, str]:
    key, equals, value = text.rpartition("=")
    if not equals or not key.strip() or not value.strip():
        raise argparse.ArgumentTypeError(f"{text!r} is no pair; write it as KEY=VALUE")
    return key.strip(), value.strip()


def run(options: argparse.Namespace, out: TextIO | None = None) -> int:
    """Import one spreadsheet; raise RefusedImportError where nothing can be written."""
    out = out or sys.stdout
    answers = _answers(options)
    if wrong := wrong_answers(answers):
        raise RefusedImportError(wrong)
    name, data = _read(options.sheet)
    if Path(name).suffix.lower() in _TEXT and is_bench_sheet(data):
        return _take(options, name, data, answers, out)
    try:
        book = read_grid(name, data)
    except UnreadableError as error:
        raise RefusedImportError([f"{options.sheet}: {error}"]) from None
    folder = Path(options.to).absolute()
    whole = _whole(folder)
    entry = entry_for(book, whole.files.get(NAME, b""))
    proposal = recalled(book, entry, answers) if entry else propose(book, answers)
    if entry:
        print(f"The mapping that {NAME} keeps for spreadsheets of this shape is used.", file=out)
    _print(proposal, out)
    if proposal.open:
        raise RefusedImportError([f"{q.text} Answer: {_how(q)}." for q in proposal.open])
    mapping = _renamed(proposal.mapping, dict(options.stage))
    imported = apply(book, mapping)
    if imported.problems:
        raise RefusedImportError([str(problem) for problem in imported.problems])
    entry = kept(book, mapping, answers) if options.keep else None
    _write(
        folder, whole, _new_files(imported, whole), _job_file(whole, imported, entry, options.add_stages), out
    )
    return 0


def _take(
    options: argparse.Namespace, name: str, data: bytes, answers: Mapping[str, str], out: TextIO
) -> int:
    """Take a bench sheet of our own as it stands, but for units and a stage that are given with it."""
    file = f"{Path(name).stem or 'pasted'}.csv"
    sheet, log = read_sheet(file, data)
    if sheet is None:
        given = {key: text for key, text in answers.items() if key in ("lift", "flow", "test pressure")}
        sheet, log = read_sheet(file, data, given)
        data = b"" if sheet is None else _text_of(sheet)
    if sheet is None:
        raise RefusedImportError([str(problem) for problem in log.problems])
    names = {folded(old): new for old, new in options.stage}
    if unknown := [old for old, _ in options.stage if folded(old) != folded(sheet.stage or "")]:
        raise RefusedImportError([f"--stage: there is no stage '{old}' in this sheet." for old in unknown])
    if names:
        sheet = replace(sheet, stage=names[folded(sheet.stage or "")])
        data = _text_of(sheet)
    print(f"{options.sheet}: a bench sheet already, taken as it stands.", file=out)
    folder = Path(options.to).absolute()
    whole = _whole(folder)
    imported = Imported((ImportedSheet(sheet, "", (options.sheet,)),), ())
    changes = dict.fromkeys(_new_files(imported, whole), data)
    _write(folder, whole, changes, _job_file(whole, imported, None, options.add_stages), out)
    return 0


def _text_of(sheet: BenchSheet) -> bytes:
    try:
        return sheet_text(sheet).encode("utf-8")
    except UnwritableError as error:
        raise RefusedImportError([str(error)]) from None


def _write(
    folder: Path, whole: Whole, sheets: dict[str, bytes], job_file: dict[str, bytes], out: TextIO
) -> None:
    changes = sheets | job_file
    _check_job(whole, changes)
    _save(folder, whole, changes)
    for written in changes:
        print(folder / written, file=out)


def _answers(options: argparse.Namespace) -> dict[str, str]:
    said = {
        "lift": options.lift,
        "flow": options.flow,
        "test pressure": options.test_pressure,
        "side": options.side,
        "sheet": options.tab,
    }
    return {key: value for key, value in said.items() if value is not None} | dict(options.answer)


def _read(given: str) -> tuple[str, bytes]:
    """Return a file's name and content, no more of it than shows that it is too large."""
    if given == _PASTED:
        return "", sys.stdin.buffer.read(MAX_BYTES + 1)
    path = Path(given)
    try:
        if path.exists() and not path.is_file():
            raise RefusedImportError([f"{given}: this is no file. Give the spreadsheet itself."])
        with path.open("rb") as stream:
            return path.name, stream.read(MAX_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise RefusedImportError([f"{given}: it cannot be read ({reason}). Check its name."]) from None


def _whole(folder: Path) -> Whole:
    try:
        return read_whole(folder)
    except OSError as error:
        raise RefusedImportError(
            [f"{folder}: it cannot be read ({error.strerror}). Give a job's folder."]
        ) from None


def _print(proposal: Proposal, out: TextIO) -> None:
    for reason in proposal.reasons:
        doubt = "" if reason.certainty == "sure" else f" ({reason.certainty})"
        print(f"{reason.where}: {reason.text}{doubt}", file=out)
    for question in proposal.questions:
        if not question.needed:
            print(f"{question.text} To say so: {_how(question)}", file=out)


def _how(question: Question) -> str:
    """Return the option that answers a question."""
    choice = "|".join(question.options) or question.suggestion or "..."
    return _OPTIONS.get(question.key, f'--answer "{question.key}={choice}"')


def _renamed(mapping: SheetMapping, names: Mapping[str, str]) -> SheetMapping:
    by_folded = {folded(old): new for old, new in names.items()}
    known = {folded(line.stage) for table in mapping.tables for line in table.lines if line.stage}
    unknown = [old for old in names if folded(old) not in known]
    if unknown:
        raise RefusedImportError(
            [f"--stage: there is no stage '{old}' in this spreadsheet." for old in unknown]
        )
    return each_line(
        mapping,
        lambda _, line: line if line.stage is None else _with_stage(line, by_folded.get(folded(line.stage))),
    )


def _with_stage(line: Line, stage: str | None) -> Line:
    return replace(line, stage=stage) if stage else line


def _new_files(imported: Imported, whole: Whole) -> dict[str, bytes]:
    """Return the files to write, under names that are free; readings that are there already are refused."""
    there: dict[str, BenchSheet] = {}
    for name, data in whole.files.items():
        if name.lower().endswith(".csv") and (sheet := read_sheet(name, data)[0]) is not None:
            there[name] = sheet
    changes: dict[str, bytes] = {}
    again = []
    for one in imported.sheets:
        twin = next((name for name, sheet in there.items() if _same(sheet, one.sheet)), None)
        if twin:
            again.append(f"{', '.join(one.places)}: these readings are in the job already, in {twin}.")
        stem = one.sheet.file.removesuffix(".csv")
        name = free_name(stem, [*whole.files, *changes], ending=".csv", otherwise="sheet")
        changes[name] = one.text.encode("utf-8")
    if again:
        raise RefusedImportError(again)
    return changes


def _same(one: BenchSheet, other: BenchSheet) -> bool:
    def plain(sheet: BenchSheet) -> object:
        values = [
            (r.lift_m, r.flow_m3_s, r.range_fraction, r.plate_drop_pa, r.mass_flow_kg_s)
            for side in SIDES
            for r in sheet.readings[side]
        ]
        return folded(sheet.stage or ""), sheet.port, sheet.role, values

    return plain(one) == plain(other)


def _job_file(
    whole: Whole, imported: Imported, entry: Mapping[str, object] | None, add_stages: bool
) -> dict[str, bytes]:
    data = whole.files.get(NAME, b"")
    if not add_stages and entry is None:
        return {}
    try:
        content = tomllib.loads(data.decode("utf-8-sig"))
        edits: dict[tuple[str | int, ...], object] = {}
        if add_stages:
            names = [one.get("name", "") for one in content.get("stage", [])]
            known = {folded(str(name)) for name in names}
            new = [stage for stage in _stages(imported) if folded(stage) not in known]
            edits |= {("stage", len(names) + i, "name"): stage for i, stage in enumerate(new)}
        if entry:
            edits |= keeping(data, entry)
        text = edited(data, edits)
    except (UneditableError, ValueError) as error:
        raise RefusedImportError([f"{NAME}: {error}"]) from None
    return {NAME: text} if text != data else {}


def _stages(imported: Imported) -> list[str]:
    return list(
        dict.fromkeys(
            one.sheet.stage for one in imported.sheets if one.sheet.stage and one.sheet.role == "stage"
        )
    )


def _check_job(whole: Whole, changes: Mapping[str, bytes]) -> None:
    """Refuse sheets that the job cannot use, such as those of a stage that it does not have."""
    loaded = load_files({**whole.files, **changes}, "job")
    wrong = [problem for problem in loaded.problems if problem.file in changes]
    if wrong:
        hint = f" Or import with --stage NAME=NEW, or with --add-stages to add it to {NAME}."
        raise RefusedImportError(
            [f"{problem}{hint if '[[stage]]' in problem.cure else ''}" for problem in wrong]
        )


def _save(folder: Path, whole: Whole, changes: Mapping[str, bytes]) -> None:
    result = save(folder, folder.parent, changes, whole.snapshot if folder.exists() else NOTHING)
    if isinstance(result, Conflict):
        raise RefusedImportError([f"{folder}: the job was changed just now. Import again."])
    if isinstance(result, Refused):
        raise RefusedImportError([str(result)])
