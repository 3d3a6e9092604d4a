"""One key of a TOML text changed, and every other line left as it stands.

Comments belong to what stands below them, as people write them: a new key goes below the last
key of its table and above the remarks on the next one. Within a line tomlkit does the work.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import tomlkit

from core.files.toml import Path

_LINE = re.compile(r"[^\n]*\n|[^\n]+\Z")
_INDENT = re.compile(r"[ \t]*")


@dataclass(frozen=True)
class _Part:
    """A header, or one key with its value, and the lines that it takes."""

    path: Path  # of the table
    start: int
    end: int
    data: dict[str, Any] | None = None  # what the key states within its table; None: a header
    listed: bool = False  # a header in two brackets

    def holds(self, path: Path) -> bool:
        """Return whether this key states what a path leads to."""
        depth = len(self.path)
        if self.data is None or len(path) <= depth or path[:depth] != self.path:
            return False
        found: Any = self.data
        for name in path[depth:]:
            if not isinstance(found, dict) or name not in found:
                return False
            found = found[name]
        return True


@dataclass(frozen=True)
class _Scan:
    lines: list[str]
    parts: list[_Part]
    newline: str

    def of(self, path: Path) -> list[_Part]:
        """Return the headers and keys of a table and all within it."""
        return [part for part in self.parts if part.path[: len(path)] == path]

    def holding(self, path: Path) -> _Part | None:
        """Return the key that states what a path leads to."""
        return next((part for part in self.parts if part.holds(path)), None)


def with_value(text: str, path: Path, written: str) -> str:
    """Return a text with one key set.

    Parameters
    ----------
    text : str
        TOML.
    path : tuple of (str or int)
        Where the key stands; a number one beyond a list's end adds to the list.
    written : str
        The value as TOML writes it.

    Returns
    -------
    str
        With the key's value in place of the old one, or in a new line of its table.
    """
    scan = _scan(text)
    if part := scan.holding(path):
        return _rewritten(scan, part, path, written)
    if len(path) > 1 and (part := scan.holding(path[:-1])):
        return _rewritten(scan, part, path, written)  # into a table that stands in one line
    own = [part for part in scan.parts if part.path == path[:-1]]
    if own or len(path) == 1:
        at = own[-1].end if own else _top(scan)
        indent = _INDENT.match(scan.lines[own[-1].start])[0] if own and own[-1].data else ""
        return _inserted(scan, at, [f"{indent}{_key(path[-1])} = {written}"])
    return _with_table(scan, path, written)


def without(text: str, path: Path) -> str:
    """Return a text without one key, table or entry of a list.

    Parameters
    ----------
    text : str
        TOML.
    path : tuple of (str or int)
        What is to go; nothing happens where it is not there.

    Returns
    -------
    str
        Remarks above what went are still there.
    """
    scan = _scan(text)
    if part := scan.holding(path):
        return _rewritten(scan, part, path, None)
    gone = scan.of(path)
    lines = list(scan.lines)
    for part, following in reversed(list(zip(gone, [*gone[1:], None], strict=True))):
        place = scan.parts.index(part)
        joined = following is not None and scan.parts.index(following) == place + 1
        end = following.start if joined else part.end
        del lines[part.start : end]
        before, after = lines[: part.start], lines[part.start :]
        if after and not after[0].strip() and (not before or not before[-1].strip()):
            del lines[part.start]
    return "".join(lines)


def in_order(text: str, name: str, order: Sequence[int]) -> str:
    """Return a text with the entries of a list of tables in another order.

    Parameters
    ----------
    text : str
        TOML.
    name : str
        Of the list: ``stage``.
    order : sequence of int
        The present places of the entries, in their new order.

    Returns
    -------
    str
        Each entry with the remarks on and in it.

    Raises
    ------
    ValueError
        If the order is no permutation, or something else stands among the entries.
    """
    scan = _scan(text)
    starts = [part.start for i in range(len(order)) for part in scan.of((name, i))[:1]]
    if sorted(order) != list(range(len(starts))) or scan.of((name, len(order))):
        raise ValueError(f"{order} is no order of the entries of '{name}'")
    mine = scan.of((name,))
    first, last = scan.parts.index(mine[0]), scan.parts.index(mine[-1])
    if last - first + 1 != len(mine) or any(not scan.of((name, i))[0].listed for i in range(len(order))):
        raise ValueError(f"other tables stand among the entries of '{name}'")
    leads = [_lead(scan, start) for start in starts]
    blocks = [scan.lines[a:b] for a, b in zip(leads, [*leads[1:], mine[-1].end], strict=True)]
    bodies, gaps = zip(*(_split_gap(block, scan.newline) for block in blocks), strict=True)
    moved = [line for place, gap in zip(order, gaps, strict=True) for line in (*bodies[place], *gap)]
    return "".join([*scan.lines[: leads[0]], *moved, *scan.lines[mine[-1].end :]])


# --- what stands where -----------------------------------------------------------------


def _scan(text: str) -> _Scan:
    lines = _LINE.findall(text)
    parts: list[_Part] = []
    counts: dict[Path, int] = {}
    table: Path = ()
    at = 0
    while at < len(lines):
        line = lines[at].strip()
        if not line or line.startswith("#"):
            at += 1
        elif line.startswith("["):
            listed = line.startswith("[[")
            table = _table_path(tomllib.loads(lines[at]), counts, listed=listed)
            parts.append(_Part(table, at, at + 1, listed=listed))
            at += 1
        else:
            end, data = _statement(lines, at)
            parts.append(_Part(table, at, end, data))
            at = end
    return _Scan(lines, parts, "\r\n" if "\r\n" in text else "\n")


def _statement(lines: list[str], start: int) -> tuple[int, dict[str, Any]]:
    """Return where a key's value ends, which is where the lines first make sense, and the value."""
    for end in range(start + 1, len(lines) + 1):
        try:
            return end, tomllib.loads("".join(lines[start:end]))
        except tomllib.TOMLDecodeError:
            continue
    raise ValueError(f"line {start + 1} is no TOML")


def _table_path(data: Any, counts: dict[Path, int], *, listed: bool) -> Path:
    """Return a header's path with the number of each list's entry that it stands in."""
    names = []
    while data:
        data = data[0] if isinstance(data, list) else data
        if data:
            name = next(iter(data))
            names.append(name)
            data = data[name]
    path: Path = ()
    for i, name in enumerate(names):
        path = (*path, name)
        if i == len(names) - 1 and listed:
            counts[path] = counts.get(path, -1) + 1
        if path in counts:
            path = (*path, counts[path])
    return path


def _lead(scan: _Scan, start: int) -> int:
    """Return the first line of the remarks that stand directly above a header."""
    while start > 0 and scan.lines[start - 1].lstrip().startswith("#"):
        start -= 1
    return start


def _split_gap(block: list[str], newline: str) -> tuple[list[str], list[str]]:
    """Return an entry's lines, the last one ended, and the blank lines below it."""
    end = len(block)
    while end and not block[end - 1].strip():
        end -= 1
    body = block[:end]
    return [line if line.endswith("\n") else line + newline for line in body], block[end:]


def pruned(data: Any) -> Any:
    """Return TOML's content without tables that hold nothing.

    Parameters
    ----------
    data : object
        As `tomllib` gives it.

    Returns
    -------
    object
        The same but for empty tables.
    """
    if isinstance(data, list):
        return [pruned(one) for one in data]
    if not isinstance(data, dict):
        return data
    kept = {name: pruned(value) for name, value in data.items()}
    return {name: value for name, value in kept.items() if value != {}}


# --- changes ---------------------------------------------------------------------------


def _rewritten(scan: _Scan, part: _Part, path: Path, written: str | None) -> str:
    """Return the text with one key's lines written anew: a value within them set or taken away."""
    old = "".join(scan.lines[part.start : part.end])
    document = tomlkit.parse(old)
    *parents, name = path[len(part.path) :]
    holder: Any = document
    for parent in parents:
        holder = holder[parent]
    if written is None:
        del holder[name]
        new = document.as_string() if pruned(tomllib.loads(document.as_string())) else ""
    else:
        holder[name] = tomlkit.value(written)
        new = _aligned(old, document.as_string())
    return "".join([*scan.lines[: part.start], new, *scan.lines[part.end :]])


def _aligned(old: str, new: str) -> str:
    """Return a line whose remark starts where it did, if it stood apart and there is room."""
    pattern = re.compile(r"(.*\S)( {2,})(#[^\"']*)\Z", re.DOTALL)
    before, after = pattern.match(old), pattern.match(new)
    if "\n" in old.rstrip("\n") or before is None or after is None or before[3] != after[3]:
        return new
    return after[1].ljust(len(before[1] + before[2]) - 1) + " " + after[3]


def _inserted(scan: _Scan, at: int, added: Sequence[str]) -> str:
    before = list(scan.lines[:at])
    if before and not before[-1].endswith("\n"):
        before[-1] += scan.newline
    return "".join([*before, *(line + scan.newline for line in added), *scan.lines[at:]])


def _top(scan: _Scan) -> int:
    """Return where a first key goes in a file that begins with a table: below the opening remarks."""
    start = scan.parts[0].start if scan.parts else len(scan.lines)
    return _lead(scan, start)


def _with_table(scan: _Scan, path: Path, written: str) -> str:
    """Return the text with a new table, below its parent or the table that it follows."""
    table = path[:-1]
    listed = isinstance(table[-1], int)
    names = [name for name in table if isinstance(name, str)]
    header = ".".join(_key(name) for name in names)
    added = [f"[[{header}]]" if listed else f"[{header}]", f"{_key(path[-1])} = {written}"]
    family = scan.of(table[:-1]) if len(table) > 1 else []
    if family:
        return _inserted(scan, family[-1].end, added)
    at = scan.parts[-1].end if scan.parts else len(scan.lines)
    return _inserted(scan, at, [*([""] if at else []), *added])


def _key(name: str | int) -> str:
    return tomlkit.key(str(name)).as_string()
