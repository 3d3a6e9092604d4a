"""What the words over a column say: side, port, repeat, unit, test pressure, and the name that is left."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache

from core import units
from core.files.spreadsheet.vocabulary import (
    AVERAGE,
    CORRECTED,
    EDGES,
    FLOW_UNIT,
    HASH,
    LEADS_TO_PRESSURE,
    LIFT,
    LIFT_RATIO,
    LIFT_UNIT,
    NO_READING,
    NOISE,
    PORT,
    PRESSURE_WORD,
    PRESSURES,
    RANGE,
    RUN,
    SETUP,
    SIDES,
    STANDARD_FLOW,
    TARGET,
    WEAK_SIDES,
)
from core.job import Side
from core.units import UnitError


@dataclass(frozen=True)
class Heading:
    """What one text says; None where it says nothing of the kind."""

    text: str
    name: str = ""  # what is left: a stage, mostly
    side: Side | None = None
    both_sides: bool = False
    weak_side: Side | None = None
    port: str | None = None
    run: str | None = None
    setup: str | None = None
    flow_unit: str | None = None
    lift_unit: str | None = None
    standard_flow: bool = False  # scfm and the like
    pressure: str | None = None
    bare_pressure: str | None = None  # a figure where a pressure stands, without a unit
    several_pressures: bool = False
    corrected_to: str | None = None
    is_lift: bool = False
    is_lift_ratio: bool = False
    is_range: bool = False
    is_target: bool = False
    is_pressure: bool = False
    no_reading: str | None = None  # what it is instead


@lru_cache(maxsize=2048)
def heading(text: str) -> Heading:
    """Return what one text over or beside readings says.

    Parameters
    ----------
    text : str
        A cell's text, a title or a sheet's name.

    Returns
    -------
    Heading
        Every word that is understood, and the rest as a name.
    """
    rest = " ".join(text.replace("_", " ").split())
    found = Heading(rest)
    found, rest = _pressures(found, rest)
    found = replace(found, is_lift_ratio=bool(LIFT_RATIO.search(rest)))
    found = replace(found, is_lift=bool(LIFT.search(rest)) and not found.is_lift_ratio)
    found = replace(found, standard_flow=bool(STANDARD_FLOW.search(rest)))
    rest = STANDARD_FLOW.sub(" ", rest)
    found = replace(found, no_reading=_no_reading(rest))
    if found.no_reading == AVERAGE:
        rest = NO_READING[0][0].sub(" ", rest)
    if re.search(r"%|\bpercent\b", rest) and re.search(r"\bvs\b|\bover\b|\bof stock\b", rest, re.I):
        found = replace(found, no_reading="a difference")
    found = replace(
        found,
        is_range=bool(RANGE.search(rest)) and "%" not in rest,
        is_target=bool(TARGET.search(rest)),
        is_pressure=bool(re.search(PRESSURE_WORD, rest, re.I)) and found.pressure is None,
    )
    for pattern, unit in FLOW_UNIT:
        if pattern.search(rest):
            found, rest = replace(found, flow_unit=unit), pattern.sub(" ", rest)
            break
    found, rest = _numbered(found, rest)
    found, rest = _side(found, rest)
    rest = LIFT.sub(" ", rest)
    for pattern, unit in LIFT_UNIT:
        if pattern.search(rest):
            found = replace(found, lift_unit=unit)
            if unit != "in" or not found.weak_side:
                rest = re.sub(rf"[(\[]\s*(?:{pattern.pattern})\s*[)\]]", " ", rest, flags=re.I)
            break
    return replace(found, name=_name(rest))


def _pressures(found: Heading, rest: str) -> tuple[Heading, str]:
    plain, corrected, bare = set(), set(), set()
    for pattern, unit in PRESSURES:
        kept = ""
        while match := pattern.search(rest):
            figure = next(group for group in match.groups()[1:] if group)
            quantity = f"{figure.replace(',', '.')} {unit}".strip()
            if unit and not _is_test_pressure(quantity):
                kept, rest = kept + rest[: match.end()], rest[match.end() :]
                continue
            fix = match["corrected"] or CORRECTED.search(rest[: match.start()])
            start = fix.start() if isinstance(fix, re.Match) else match.start()
            (bare if not unit else corrected if fix else plain).add(quantity)
            rest = f"{LEADS_TO_PRESSURE.sub('', rest[:start])} {rest[match.end() :]}"
        rest = kept + rest
    return (
        replace(
            found,
            pressure=min(plain) if plain else None,
            several_pressures=len(plain) > 1 or len(corrected) > 1,
            bare_pressure=min(bare) if bare else None,
            corrected_to=min(corrected) if corrected else None,
        ),
        rest,
    )


def _no_reading(text: str) -> str | None:
    for pattern, unit in FLOW_UNIT:
        if unit != "%":
            text = pattern.sub(" ", text)  # "l/min" is no minimum
    return next((what for pattern, what in NO_READING if pattern.search(text)), None)


def _is_test_pressure(quantity: str) -> bool:
    try:
        return 249 <= units.parse(quantity, "test pressure") <= 25_000
    except UnitError:
        return False


def _numbered(found: Heading, rest: str) -> tuple[Heading, str]:
    if match := SETUP.search(rest):
        found, rest = replace(found, setup=match[1]), _cut(rest, match)
    elif match := RUN.search(rest):
        found, rest = replace(found, run=match[1] or match[2]), _cut(rest, match)
    if match := PORT.search(rest) or HASH.search(rest):
        port = next(group for group in match.groups() if group)
        found, rest = replace(found, port=port.lower() if len(port) > 1 else port.upper()), _cut(rest, match)
    return found, rest


def _side(found: Heading, rest: str) -> tuple[Heading, str]:
    sides = [side for side, pattern in SIDES.items() if pattern.search(rest)]
    if len(sides) == 2:
        found = replace(found, both_sides=True)
    elif sides:
        found = replace(found, side=sides[0])
    else:
        weak = [side for side, pattern in WEAK_SIDES.items() if pattern.search(rest)]
        if len(weak) == 1:
            return replace(found, weak_side=weak[0]), rest
        return found, rest
    for pattern in SIDES.values():
        rest = pattern.sub(" ", rest)
    return found, rest


def without_weak_side(found: Heading) -> Heading:
    """Return a heading whose short word has turned out to mean a side.

    Parameters
    ----------
    found : Heading
        With a weak side.

    Returns
    -------
    Heading
        The side stated, and the word no longer part of the name.
    """
    if not found.weak_side:
        return found
    name = _name(WEAK_SIDES[found.weak_side].sub(" ", found.name))
    return replace(found, side=found.weak_side, weak_side=None, name=name, lift_unit=None)


def _cut(text: str, match: re.Match) -> str:
    return f"{text[: match.start()]} {text[match.end() :]}"


def _name(rest: str) -> str:
    rest = re.sub(r"[(\[]\s*[-–,;:@/]*\s*[)\]]", " ", rest)
    words = rest.split()
    while words and words[0].strip(EDGES).casefold() in ("", "flow", "of", "and", "&", "the", "-"):
        words.pop(0)
    while words and words[-1].strip(EDGES).casefold() in ("", "flow", "flows", "and", "&", "-", "at"):
        words.pop()
    name = " ".join(words)
    if all(word.strip(EDGES).casefold() in NOISE for word in words):
        return ""
    if name.count("(") != name.count(")") or name.count("[") != name.count("]"):
        name = re.sub(r"[()\[\]]", " ", name)
    return " ".join(name.strip(" \t-–—_:;,./|@=*").split())


def common(headings: Iterable[Heading], attribute: str) -> str | None:
    """Return what the first heading that says it says.

    Parameters
    ----------
    headings : iterable of Heading
        The nearest first.
    attribute : str
        Of `Heading`.

    Returns
    -------
    str or None
        None where none says it.
    """
    return next((value for one in headings if (value := getattr(one, attribute))), None)
