"""What must hold of every input: a plain no, or a job that means the same after our own writer."""

from __future__ import annotations

import json
import math
import tomllib
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import fields, is_dataclass, replace
from decimal import Decimal

from core.files.folder import NAME
from core.files.load import load_files
from core.files.sheet import read_sheet
from core.files.text import decode
from core.files.write_job import UneditableError, edited, job_text
from core.files.write_sheet import UnwritableError, sheet_text
from core.job import SIDES, BenchSheet, Engine, Job, Problem
from core.numbers import numbers_json
from core.review import review
from core.units import METRIC, US
from dashboard.evidence import finding_lines
from dashboard.handover.numbers_txt import numbers_txt
from tests.fuzz.watch import watch

_EMPTY = {"engine": Engine()}  # a table without keys says as much as none
LONGEST_SENTENCE = 2_000  # characters; more is a file thrown back at a person
ACCEPTED, REFUSED = "accepted", "refused"


class BrokenRule(AssertionError):
    """Something that must hold does not."""


def must(holds: object, what: str) -> None:
    """Raise BrokenRule unless something holds; unlike an assert it does so under python -O, too."""
    if not holds:
        raise BrokenRule(what)


# refused ----------------------------------------------------------------------------------


def plain(problems: Iterable[Problem]) -> None:
    """Check that each problem is one sentence for a person, with its cure."""
    problems = list(problems)
    must(problems, "refused without a reason")
    for problem in problems:
        sentence(f"{problem.text} {problem.cure}")
        must(problem.file and problem.text and problem.cure, f"no file, text or cure: {problem!r}")


def sentence(text: str) -> None:
    """Check that a text can be shown as one line."""
    must(text.strip(), "an empty sentence")
    must("\n" not in text and "\x00" not in text, f"not one line: {text[:200]!r}")
    must("Traceback" not in text and len(text) < LONGEST_SENTENCE, f"not a sentence: {text[:200]!r}")


# a bench sheet ----------------------------------------------------------------------------


def finite(value: object, where: str = "") -> None:
    """Check that every number in what was read is one."""
    if isinstance(value, float):
        must(math.isfinite(value), f"{where} is {value}")
    elif is_dataclass(value):
        for field in fields(value):
            finite(getattr(value, field.name), f"{where}.{field.name}")
    elif isinstance(value, tuple):
        for one in value:
            finite(one, where)


def same_sheet(one: BenchSheet, other: BenchSheet) -> None:
    """Check that two sheets state the same: every number equal, every word there."""
    for side in SIDES:
        a, b = (Counter(r._replace(line=0) for r in sheet.readings[side]) for sheet in (one, other))
        must(a == b, f"{side} readings differ: {list(a - b)} became {list(b - a)}")
    for field in fields(BenchSheet):
        if field.compare and field.name not in ("readings", "lines", "note", "extra"):
            a, b = getattr(one, field.name), getattr(other, field.name)
            must(a == b, f"{field.name}: {a!r} became {b!r}")
    lost = _words(one) - _words(other)
    must(not lost, f"words were lost: {sorted(lost)[:5]}")


def _words(sheet: BenchSheet) -> set[str]:
    return set(" ".join([sheet.note or "", *(f"{key} {value}" for key, value in sheet.extra)]).split())


def rewritten(sheet: BenchSheet) -> bytes | None:
    """Return a sheet as our writer writes it, checked; None where its words forbid that, not its numbers."""
    try:
        with watch.on("writing a sheet"):
            text = sheet_text(sheet)
    except UnwritableError as error:
        sentence(str(error).replace("\n", " "))
        numbers = replace(sheet, note=None, extra=(), extra_columns=())
        same_sheet(numbers, read_again(numbers, sheet_text(numbers)))
        return None
    again = read_again(sheet, text)
    same_sheet(sheet, again)
    must(sheet_text(again) == text, "written a second time, the text differs")
    return text.encode("utf-8")


def read_again(sheet: BenchSheet, text: str) -> BenchSheet:
    """Return what our reader makes of a sheet's text."""
    again, log = read_sheet(sheet.file, text.encode("utf-8"))
    must(again is not None, f"what was written is refused: {log.problems[:1]}")
    return again


# a job ------------------------------------------------------------------------------------


def job_holds(files: Mapping[str, bytes], units: Mapping[str, str] | None = None) -> str:
    """Check everything that must hold of a job's files, and return whether they were accepted."""
    with watch.on("reading"):
        loaded = load_files(files, "fuzz", units)
    if loaded.job is None:
        plain(loaded.problems)
        return REFUSED
    must(not loaded.problems, f"a job and problems: {loaded.problems[:1]}")
    job = loaded.job
    finite(replace(job, files=()), "job")
    numbers = review_holds(job)
    again = load_files(written_anew(job, files), "fuzz", units)  # of use to a sheet that cannot be written
    must(again.job is not None, f"written anew, it is refused: {again.problems[:1]}")
    same_job(job, again.job)
    anew = json.loads(numbers_json(review(again.job)))
    for part in ("stages", "gains", "usable_lift_m", "reference", "target"):
        must(numbers.get(part) == anew.get(part), f"{part} of the review differ after writing anew")
    return ACCEPTED


def written_anew(job: Job, given: Mapping[str, bytes]) -> dict[str, bytes]:
    """Return a job's files in the order given, each as our own writers write it."""
    order = list(given)
    files = dict(sorted(job.files, key=lambda one: order.index(one[0]) if one[0] in order else len(order)))
    for sheet in job.every_sheet:
        if sheet.file != NAME and sheet.file in files:
            plain_role = sheet.role != "target" or job.target is None
            own = sheet if plain_role else replace(sheet, role=_role_in(files[sheet.file], sheet))
            files[sheet.file] = rewritten(own) or files[sheet.file]
    if NAME in files:
        files[NAME] = _job_file_anew(files[NAME])
    return files


def _role_in(data: bytes, sheet: BenchSheet) -> str:
    found, _ = read_sheet(sheet.file, data)
    return found.role if found else sheet.role


def _job_file_anew(data: bytes) -> bytes:
    """Return a job file written from nothing but its values; and check that an edit changes one thing."""
    values = tomllib.loads(decode(data), parse_float=Decimal)
    values.pop("mapping", None)  # of no meaning to a job
    text = job_text(values).encode("utf-8")
    if not text.strip():
        return data  # remarks and empty tables
    must(edited(text, {("title",): values.get("title")}) == text, "an edit without a change changes bytes")
    try:
        with watch.on("editing"):
            noted = edited(data, {("note",): "one\ntwo"})
        back = edited(noted, {("note",): values.get("note")})
        must(tomllib.loads(decode(back)) == tomllib.loads(decode(data)), "an edit undone leaves a trace")
    except UneditableError as error:
        sentence(str(error).replace("\n", " "))
    else:
        after = tomllib.loads(decode(noted))
        must(after.pop("note") == "one\ntwo", "the edit is not there")
        before = {k: v for k, v in tomllib.loads(decode(data)).items() if k != "note"}
        must(repr(after) == repr(before), "an edit changed more than its key")
    return text


def same_job(one: Job, other: Job) -> None:
    """Check that two jobs are equal but for where things stand in their files."""
    for field in fields(Job):
        if field.name in ("sheets", "target", "findings", "files", "fingerprint"):
            continue
        a, b = (_without_lines(getattr(job, field.name) or _EMPTY.get(field.name)) for job in (one, other))
        must(a == b, f"job.{field.name}: {a!r} became {b!r}")
    must((one.target is None) == (other.target is None), "the target came or went")
    if one.target is not None:
        must(one.target.valves == other.target.valves, "the target's valves differ")
        must(one.target.benches == other.target.benches, "the target's benches differ")
    a, b = (sorted(job.every_sheet, key=lambda sheet: sheet.file) for job in (one, other))
    must(len(a) == len(b), f"{len(a)} sheets became {len(b)}")
    for before, after in zip(a, b, strict=True):
        same_sheet(before, after)


def _without_lines(value: object) -> object:
    if isinstance(value, tuple):
        return tuple(map(_without_lines, value))
    return replace(value, line=None) if hasattr(value, "line") else value


# its review -------------------------------------------------------------------------------


def review_holds(job: Job) -> dict[str, object]:
    """Check that a job can be worked out, and put in numbers and words; return the numbers."""
    with watch.on("review"):
        result = review(job)
    finite(result.findings, "findings")
    for units in (METRIC, US):
        for line in finding_lines(result.findings, units, customer=False):
            must(line.text.strip(), "a finding says nothing")
        with watch.on("numbers in words"):
            must(numbers_txt(result, units), "the numbers in words are empty")
    return json.loads(numbers_json(result), parse_constant=_no_constant)


def _no_constant(name: str) -> None:
    raise BrokenRule(f"{name} in the numbers")
