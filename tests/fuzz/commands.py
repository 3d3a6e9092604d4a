"""Command lines by chance: words that exist in an order that nobody meant."""

from __future__ import annotations

import contextlib
import io
import json
import re
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from random import Random
from unittest import mock

from dashboard import command_line, commands, launch
from tests.fuzz import jobs, seeds, sheets
from tests.fuzz.damage import KEYS, ODD, UNITS
from tests.fuzz.rules import ACCEPTED, REFUSED, must
from tests.fuzz.seeds import Files

JOB, SHEET, BOOK, OUT = "{job}", "{sheet}", "{book}", "{out}"
_PLACES = (
    JOB,
    JOB,
    SHEET,
    BOOK,
    OUT,
    ".",
    "..",
    "",
    "no-such",
    "/dev/null",
    "con",
    "a\x00b",
    "x" * 5_000,
    "-",
    "*",
)
_PROGRESS = re.compile(r"^\d+ of \d+: .*$", re.MULTILINE)
_OPTIONS = (
    *("--lift", "--flow", "--test-pressure", "--units", "--side", "--sheet", "--answer", "--stage", "--only"),
    *("--to", "--out", "--port", "--customer", "--keep", "--add-stages", "--help", "--no-such", "--", "-h"),
)
_WORDS = ("open", "check", "numbers", "handover", "import", "chekc", "")
_SENSE: tuple[tuple[str, ...], ...] = (
    ("check", JOB),
    ("check", SHEET, "--units", "us"),
    ("numbers", SHEET),
    ("handover", SHEET, "--out", OUT, "--only", "numbers.txt"),
    (
        "import",
        BOOK,
        "--to",
        OUT,
        "--lift",
        "in",
        "--flow",
        "cfm",
        "--test-pressure",
        "28 inH2O",
        "--side",
        "intake",
    ),
    ("open", JOB, "--customer"),
)


def mutated(random: Random) -> Files:
    """Return a command that makes sense, with one word changed, lost or put in; its files may be damaged."""
    words = list(random.choice(_SENSE))
    at = random.randrange(len(words))
    way = random.random()
    if way < 0.4:
        words[at] = _word(random)
    elif way < 0.6:
        words.insert(at + 1, _word(random))
    elif way < 0.7:
        del words[at]
    return _given(words, random)


def bad(random: Random) -> Files:
    """Return a command put together without sense."""
    return _given([random.choice(_WORDS), *(_word(random) for _ in range(random.randint(0, 6)))], random)


def _word(random: Random) -> str:
    return random.choice(random.choice((_PLACES, _OPTIONS, _OPTIONS, _WORDS, ODD, UNITS, KEYS)))


def _given(words: list[str], random: Random) -> Files:
    """Return the words and the files that they are about, as bytes, as every other case is."""
    job = jobs.mutated(random) if random.random() < 0.3 else dict(seeds.EVERY_TABLE)
    sheet = sheets.mutated(random) if random.random() < 0.3 else dict([random.choice(seeds.good_sheets())])
    book = dict([random.choice(seeds.books())])
    given = {f"{kind}/{name}": data for kind, files in (("job", job), ("sheet", sheet), ("book", book))
             for name, data in files.items()}  # fmt: skip
    return {"words.json": json.dumps(words).encode(), **given}


def holds(files: Files) -> str:
    """Check that a command ends as documented: 0, 1 for a stop, or 2 with one line a problem."""
    words = json.loads(files["words.json"])
    with tempfile.TemporaryDirectory() as held:
        folder = Path(held, *"deep")  # so that no '..' leads out
        folder.mkdir(parents=True)
        for name, data in files.items():
            path = folder / name
            path.parent.mkdir(exist_ok=True)
            path.write_bytes(data)
        sheet, book = (next((folder / kind).iterdir()) for kind in ("sheet", "book"))
        places = {JOB: str(folder / "job"), SHEET: str(sheet), BOOK: str(book), OUT: str(folder / "out")}
        with contextlib.chdir(folder):
            before = sorted(Path(held).rglob("*"))
            code, out, err = _run([places.get(word, word) for word in words])
            after = sorted(Path(held).rglob("*"))
    must(code in (0, 1, 2), f"exit code {code}")
    must("Traceback" not in out + err, "a traceback is printed")
    if code == 2:
        must(err.strip(), "exit code 2 without a reason")
        must(all(len(line) < 10_000 for line in err.splitlines()), "a line that is no sentence")
        many = _PROGRESS.search(err)  # of many jobs to hand over, one that is unusable stops no other
        must(before == after or many, f"unusable, and yet it wrote {sorted(set(after) - set(before))}")
        return REFUSED
    must(not _PROGRESS.sub("", err).strip(), f"it went well, and yet says: {err[:200]}")
    if code == 0 and words[0] == "numbers" and "-h" not in words and "--help" not in words:
        json.loads(out)
    return ACCEPTED


def _run(words: list[str]) -> tuple[int, str, str]:
    """Run the command line in this process; no app is started, and the slow power model is left out."""
    with _streams() as (out, err), _no_app():
        try:
            code = command_line.main(words)
        except SystemExit as leaving:
            code = int(leaving.code or 0)
        return code, _text(out), _text(err)


@contextlib.contextmanager
def _streams() -> Iterator[tuple[io.TextIOWrapper, io.TextIOWrapper]]:
    out, err, given = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8") for _ in range(3))
    with (
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
        mock.patch.object(sys, "stdin", given),
    ):
        yield out, err


@contextlib.contextmanager
def _no_app() -> Iterator[None]:
    with (
        mock.patch.object(launch, "run_app"),
        mock.patch.object(commands, "with_power", lambda review: review),
    ):
        yield


def _text(stream: io.TextIOWrapper) -> str:
    stream.flush()
    return stream.buffer.getvalue().decode("utf-8")
