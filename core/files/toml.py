"""A TOML file with the line on which each key stands, and the reading of its tables by fields."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from core.files.fields import Field
from core.files.log import Log, did_you_mean, nearest
from core.written import PLAIN_NUMBER, UnitError, quoted

Path = tuple[str | int, ...]

_HEADER = re.compile(r"\s*(\[\[?)(.+?)\]\]?\s*(?:#.*)?")
_KEY = re.compile(r"""\s*((?:[\w-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[\w-]+|"[^"]*"|'[^']*'))*)\s*=""")
_WHERE = re.compile(r"\s*\(at (?:line (\d+), column \d+|end of document)\)$")
_QUOTES = ('"""', "'''")


def parse(text: str, log: Log) -> dict[str, object] | None:
    """Return a TOML file's content.

    Parameters
    ----------
    text : str
        The whole file.
    log : Log
        Takes the problem where it is no TOML.

    Returns
    -------
    dict or None
        As `tomllib` gives it; None where it is no TOML.
    """
    try:
        return tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        message = str(error)
        where = _WHERE.search(message)
        line = int(where[1]) if where and where[1] else text.count("\n") + 1 if where else None
        log.problem(
            f"This is not TOML: {_WHERE.sub('', message)}.",
            'Write key = value, and put text and quantities in quotes: bore = "86 mm".',
            line,
        )
        return None


def lines_of(text: str) -> dict[Path, int]:
    """Return the line of each key and table, which `tomllib` does not tell.

    Parameters
    ----------
    text : str
        The whole file, known to be TOML.

    Returns
    -------
    dict of tuple to int
        Line by path: names, and the index in a list of tables.
    """
    lines: dict[Path, int] = {}
    counts: dict[Path, int] = {}
    prefix: Path = ()
    inside = ""  # the quotes of a text that runs over several lines
    for number, line in enumerate(text.splitlines(), start=1):
        if inside:
            inside = "" if inside in line else inside
            continue
        if (header := _HEADER.fullmatch(line)) and "=" not in header[2].split('"')[0]:
            prefix = _absolute(_names(header[2]), counts)
            if header[1] == "[[":
                counts[prefix] = counts.get(prefix, -1) + 1
                prefix = (*prefix, counts[prefix])
            lines.setdefault(prefix, number)
        elif key := _KEY.match(line):
            path = (*prefix, *_names(key[1]))
            for end in range(len(prefix) + 1, len(path) + 1):
                lines.setdefault(path[:end], number)
            inside = next((q for q in _QUOTES if line.count(q) % 2), "")
    return lines


def _names(dotted: str) -> Path:
    return tuple(part.strip().strip("\"'") for part in dotted.split("."))


def _absolute(names: Path, counts: Mapping[Path, int]) -> Path:
    """Return the path of a table with the index of the list entry that it stands in."""
    path: Path = ()
    for i, name in enumerate(names):
        path = (*path, name)
        if path in counts and i < len(names) - 1:
            path = (*path, counts[path])
    return path


@dataclass
class TomlFile:
    """One file's content with its lines; what is wrong with it goes to the log."""

    data: dict[str, object]
    lines: dict[Path, int]
    log: Log

    def problem(self, path: Path, text: str, cure: str) -> None:
        """Add a problem with the key or table at a path."""
        line = next((self.lines[path[:n]] for n in range(len(path), 0, -1) if path[:n] in self.lines), None)
        self.log.problem(text, cure, line)

    def table(self, parent: Mapping[str, object], path: Path) -> dict[str, object] | None:
        """Return the table ``path`` ends in; None where there is none, or it is no table."""
        value = parent.get(str(path[-1]))
        if value is None or isinstance(value, dict):
            return value
        name = ".".join(str(part) for part in path if isinstance(part, str))
        self.problem(
            path, f"'{path[-1]}' is a table, not a value.", f"Write it as a line [{name}] with keys below."
        )
        return None

    def tables(self, name: str) -> list[dict[str, object]]:
        """Return a list of tables such as ``[[stage]]``, empty where there is none."""
        value = self.data.get(name, [])
        if isinstance(value, list) and all(isinstance(one, dict) for one in value):
            return value
        self.problem(
            (name,), f"'{name}' is a list of tables.", f"Write [[{name}]], with two brackets, for each."
        )
        return []

    def read(
        self,
        data: Mapping[str, object],
        path: Path,
        fields: Mapping[str, Field],
        others: Iterable[str] = (),
    ) -> dict[str, object]:
        """Return what the fields make of a table's keys; ``others`` are read elsewhere."""
        values: dict[str, object] = {}
        known = [*fields, *others]
        for key, value in data.items():
            if key in fields:
                try:
                    values[fields[key].attribute] = fields[key].read(value)
                except UnitError as error:
                    self.problem((*path, key), f"{key}: {error.text}", error.cure)
                except (OverflowError, ValueError):  # so long that Python converts it to nothing else
                    self.problem((*path, key), f"{key}: A number has too many digits.", PLAIN_NUMBER)
            elif key not in known:
                where = f" in [{'.'.join(p for p in path if isinstance(p, str))}]" if path else ""
                cure = "Rename it." if nearest(key, known) else f"Known here: {', '.join(known)}."
                self.problem(
                    (*path, key),
                    f"The key {quoted(key)} is not known{where}{did_you_mean(key, known)}.",
                    cure,
                )
        return values
