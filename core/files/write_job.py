"""The text of a job file: a new one in the order of the documents, or an edit of one that exists.

An edit changes the keys that it names and nothing else: comments, order and spaces of a
hand-written file stay.
"""

from __future__ import annotations

import codecs
import copy
import itertools
import json
import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any

from core.files.fields import Field
from core.files.folder import NAME
from core.files.jobfile import TABLES
from core.files.text import UnreadableError, decode
from core.files.toml import Path
from core.files.toml_edit import in_order, pruned, with_value, without
from core.files.typed import LISTS, listed
from core.files.typed import PATH as TARGET_PATH
from core.written import UnitError, number

# How a value is written: text and quantities as str, numbers as int or as Decimal with the digits
# that were given, yes or no as bool, names of files as a list; None takes the key away.
Value = str | int | Decimal | bool | list[str] | list[str | Decimal] | None
Edits = Mapping[Path, Value]

_PLAIN = re.compile(r"[+-]?(0|[1-9][0-9]*)(\.[0-9]+)?")
_NOT_HERE = f"{NAME} is written in a way that is not edited here"
_CURE = "Edit it by hand in a text editor; nothing was changed."


class UneditableError(ValueError):
    """A job file that cannot be edited here: why, and the cure."""

    def __init__(self, text: str, cure: str) -> None:
        super().__init__(f"{text} {cure}")
        self.text = text
        self.cure = cure


def typed(path: Path, text: str) -> Value:
    """Return a value as it is to be written from what a person typed, checked by its reader.

    Parameters
    ----------
    path : tuple of (str or int)
        Where it stands: ``("engine", "bore")``, ``("stage", 0, "price")``,
        ``("intake", "cam", "lift")``, ``("stage", 2, "intake", "valve_diameter")``.
    text : str
        As typed, for example ``86 mm`` or ``420,50``; blank takes the key away.

    Returns
    -------
    Value
        Quantities as text with the digits that were given, plain numbers as numbers.

    Raises
    ------
    UnitError
        If it is no such value: what is wrong, and the cure.
    """
    text = text.strip()
    if not text:
        return None
    if path[:-1] == TARGET_PATH and path[-1] in LISTS:
        return listed(text)
    read = _field(path)
    value = read.read(text) if read else text
    if isinstance(value, bool):
        return value
    if isinstance(value, tuple):
        return list(value)
    if not isinstance(value, (int, float)) or not _is_bare(text):
        return text
    point = text.replace(",", ".")
    return Decimal(point if _PLAIN.fullmatch(point) and float(point) == value else repr(value))


def edited(data: bytes, edits: Edits, moved: Mapping[str, Sequence[int]] | None = None) -> bytes:
    """Return a job file with some keys changed, added or taken away.

    Parameters
    ----------
    data : bytes
        The file as it is; empty for a new one.
    edits : mapping of path to Value
        New values; a path into a list may go one beyond its end, to add to it:
        ``("stage", 4, "name")`` where there are four. None at ``("stage", 1)`` takes a whole
        stage away, at ``("engine",)`` a whole table. Numbers of stages are those of ``data``.
    moved : mapping of str to sequence of int, optional
        New order of a list after the edits: ``{"stage": [0, 2, 1]}``.

    Returns
    -------
    bytes
        Byte for byte as before where no value differs.

    Raises
    ------
    UneditableError
        If the file is no TOML, or is written in a way that cannot be edited without harm.
    """
    try:
        text = decode(data) if data else ""
        before = tomllib.loads(text)
    except UnreadableError as error:
        raise UneditableError(f"{NAME} cannot be edited: {error.text}", error.cure) from None
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        raise UneditableError(f"{NAME} cannot be edited, for it is not TOML: {error}.", _CURE) from None
    wanted = copy.deepcopy(before)
    try:
        after = _with_edits(text, wanted, edits)
        for name, order in (moved or {}).items():
            if list(order) != sorted(order):
                after = in_order(after, name, order)
                wanted[name] = [wanted[name][place] for place in order]
        sound = pruned(tomllib.loads(after)) == pruned(wanted)
    except (ValueError, LookupError, TypeError) as error:
        raise UneditableError(f"{_NOT_HERE}: {error}.", _CURE) from None
    if not sound:
        raise UneditableError(f"{_NOT_HERE}.", _CURE)
    if after == text:
        return data
    mark = codecs.BOM_UTF8 if data.startswith(codecs.BOM_UTF8) else b""
    return mark + after.encode("utf-8")


def job_text(values: Mapping[str, object]) -> str:
    """Return a new job file in the order of the documents.

    Parameters
    ----------
    values : mapping of str to object
        As TOML nests them: ``{"title": ..., "engine": {...}, "intake": {"cam": {...}},
        "stage": [{...}]}``; values as in `Value`, None and empty tables are left out.

    Returns
    -------
    str
        The file's text.
    """
    return "\n".join(_table_lines(values, (), "")) + "\n"


# --- one value -------------------------------------------------------------------------


def _field(path: Path) -> Field | None:
    names = tuple(name for name in path if isinstance(name, str))
    return TABLES.get(names[:-1], {}).get(names[-1])


def _is_bare(text: str) -> bool:
    """Return whether a text is a number and nothing else, not a quantity with its unit."""
    try:
        number(text)
    except UnitError:
        return False
    return True


def _written(value: Value) -> str:
    """Return a value as TOML writes it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, Decimal):
        if not value.is_finite():
            raise ValueError(f"{value} is no number that can be written")
        return format(value, "f")
    if isinstance(value, str):
        # JSON's escapes are among those of TOML, which also wants DEL escaped
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, list):
        return f"[{', '.join(map(_written, value))}]"
    raise TypeError(f"{type(value).__name__} is not written to a job file")


# --- an edit ---------------------------------------------------------------------------


def _with_edits(text: str, data: dict[str, Any], edits: Edits) -> str:
    """Return the text with the edits, and make them in the data that it ought to hold."""
    for path, value in edits.items():
        if value is not None and not _is_there(data, path, value):
            text = with_value(text, path, _written(value))
            _put(data, path, tomllib.loads(f"value = {_written(value)}")["value"])
    # from the last to the first, so that the numbers of entries hold until they are used
    gone = [path for path, value in edits.items() if value is None]
    for path in sorted(gone, key=lambda path: [str(n).zfill(9) for n in path], reverse=True):
        if _take_out(data, path):
            text = without(text, path)
    return text


def _at(data: Any, path: Path) -> Any:
    for name in path:
        data = data[name]
    return data


def _is_there(data: dict[str, Any], path: Path, value: Value) -> bool:
    """Return whether a key has that very value; a number with other digits is the same number."""
    try:
        found = _at(data, path)
    except (LookupError, TypeError):
        return False
    if isinstance(value, (int, Decimal)) and not isinstance(value, bool):
        number = isinstance(found, (int, float)) and not isinstance(found, bool)
        return number and Decimal(repr(found)) == value
    return type(found) is type(value) and found == value


def _put(data: Any, path: Path, value: object) -> None:
    for name, following in itertools.pairwise(path):
        if isinstance(name, int):
            if name == len(data):
                data.append({})
            data = data[name]
        else:
            data = data.setdefault(name, [] if isinstance(following, int) else {})
    data[path[-1]] = value


def _take_out(data: Any, path: Path) -> bool:
    try:
        del _at(data, path[:-1])[path[-1]]
    except (LookupError, TypeError):
        return False
    return True


# --- a new file ------------------------------------------------------------------------


def _table_lines(values: Mapping[str, Any], path: tuple[str, ...], header: str) -> Iterator[str]:
    """Yield a table's lines: its keys as the documents order them, then the tables within it."""
    known = [*TABLES.get(path, {}), *(p[-1] for p in TABLES if len(p) == len(path) + 1 and p[:-1] == path)]
    names = sorted(values, key=lambda name: known.index(name) if name in known else len(known))
    filled = {name: values[name] for name in names if values[name] not in (None, {}, [])}
    within = {name: value for name, value in filled.items() if _is_table(value)}
    if header and len(within) < len(filled):
        yield header
    for name, value in filled.items():
        if name not in within:
            yield f"{name} = {_written(value)}"
    for name, value in within.items():
        if not path:
            yield ""
        dotted = ".".join((*path, name))
        for one in value if isinstance(value, list) else [value]:
            yield from _table_lines(
                one, (*path, name), f"[[{dotted}]]" if one is not value else f"[{dotted}]"
            )


def _is_table(value: object) -> bool:
    return isinstance(value, dict) or (isinstance(value, list) and isinstance(value[0], dict))
