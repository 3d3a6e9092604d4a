"""A job file damaged key by key: other names, values, types and tables."""

from __future__ import annotations

import re
from random import Random

from core.files.jobfile import TABLES
from tests.fuzz.damage import LINES, SPOTS, damaged_text
from tests.fuzz.made_up import toml_value

_PAIR = re.compile(r"^(\s*)([\w.\"-]+)(\s*=\s*)(.*)$")
_NAMES = sorted(
    {key for keys in TABLES.values() for key in keys} | {"titel", "power", "mapping", "a.b", '"x y"'}
)
_TABLES = (
    "[engine]",
    "[[stage]]",
    "[stage]",
    "[[engine]]",
    "[intake]",
    "[intake.cam]",
    "[[bench]]",
    "[target]",
)
_MORE_TABLES = ("[target.typed]", "[dyno]", "[power]", "[[mapping]]", "[]", "[stage.intake]", "[[a.b]]")


def _one_pair(text: str, random: Random, change: str) -> str:
    lines = text.split("\n")
    places = [i for i, line in enumerate(lines) if _PAIR.match(line)]
    if not places:
        return text
    at = random.choice(places)
    indent, key, equals, value = _PAIR.match(lines[at]).groups()
    if change == "key":
        key = random.choice(_NAMES)
    elif change == "value":
        value = toml_value(random)
    elif change == "type":
        value = value.strip('"') if value.startswith('"') else random.choice((f'"{value}"', f"[{value}]"))
    elif change == "drop":
        del lines[at]
        return "\n".join(lines)
    lines[at] = f"{indent}{key}{equals}{value}"
    return "\n".join(lines)


def other_key(text: str, random: Random) -> str:
    """Call one key by another name."""
    return _one_pair(text, random, "key")


def other_value(text: str, random: Random) -> str:
    """Give one key another value."""
    return _one_pair(text, random, "value")


def other_type(text: str, random: Random) -> str:
    """Take the quotes away or put them on, or make a list of it."""
    return _one_pair(text, random, "type")


def lost_key(text: str, random: Random) -> str:
    """Lose one key."""
    return _one_pair(text, random, "drop")


def other_table(text: str, random: Random) -> str:
    """Put in a header, so that the keys below belong to another table."""
    lines = text.split("\n")
    lines.insert(random.randint(0, len(lines)), random.choice(_TABLES + _MORE_TABLES))
    return "\n".join(lines)


def new_key(text: str, random: Random) -> str:
    """Put in one key more."""
    lines = text.split("\n")
    lines.insert(random.randint(0, len(lines)), f"{random.choice(_NAMES)} = {toml_value(random)}")
    return "\n".join(lines)


_DAMAGES = (*(other_key, other_value, other_type, lost_key, other_table, new_key) * 2, *SPOTS, *LINES)


def damaged_job_file(text: str, random: Random) -> str:
    """Return a job file with one damage, or a few."""
    return damaged_text(text, random, _DAMAGES)
