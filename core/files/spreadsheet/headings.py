"""What the words over a column say: side, port, repeat, unit, test pressure, and the name that is left.

The words are those of the trade (common practice, no source), with a few of other languages,
for spreadsheets travel.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache

from core import units
from core.job import Side
from core.units import UnitError

_NUMBER = r"(\d+(?:[.,]\d+)?)"
_WATER = r"(?:h\s?[2₂]\s?o|water|w\.?\s?c\b\.?|w\.?\s?g\b\.?|aq\b\.?)"
_INCH = r"(?:\"|″|”|''|in(?:ch(?:es)?)?\b\.?)"
_PRESSURE_WORD = r"(?:test\s+)?(?:pressure|depression|vacuum|delta\s?p|Δ\s?p|dp)(?:\s+drop)?"
_CORRECTION = r"(?:corr(?:ected|\.)?|converted|normali[sz]ed|scaled)\s*(?:to|@|at|for)?\s*"
# A pressure that names its unit, and one that only stands where a pressure stands.
_PRESSURES = (
    (re.compile(rf"(?P<corrected>\b{_CORRECTION}){_NUMBER}\s*{_INCH}(?!\s*{_WATER})", re.IGNORECASE), "inH2O"),
) + tuple(
    (re.compile(rf"(?P<corrected>\b{_CORRECTION})?{pattern}", re.IGNORECASE), unit)
    for pattern, unit in (
        (rf"{_NUMBER}\s*(?:\"|″|”|''|in(?:ch(?:es)?)?\.?)?\s*(?:of\s+)?{_WATER}", "inH2O"),
        (rf"{_NUMBER}\s*mm\s*(?:of\s+)?{_WATER}", "mmH2O"),
        (rf"{_NUMBER}\s*cm\s*(?:of\s+)?{_WATER}", "cmH2O"),
        (rf"{_NUMBER}\s*kpa\b", "kPa"),
        (rf"{_NUMBER}\s*(?:mbar|mb|hpa)\b", "mbar"),
        (rf"(?:(?:@|\bat\b|{_PRESSURE_WORD}\s*[:=]?)\s*|(?<=to )){_NUMBER}\s*{_INCH}(?!\s*(?:lift|valve|bore))", "inH2O"),
        (rf"{_NUMBER}\s*{_INCH}\s*{_PRESSURE_WORD}", "inH2O"),
        (rf"(?:@|{_PRESSURE_WORD}\s*[:=]?)\s*{_NUMBER}(?![\d.,]|\s*(?:mm|deg|°|%|rpm|l/|cfm|lift))", ""),
    )
)  # fmt: skip
_LEADS_TO_PRESSURE = re.compile(rf"(?:(?:\b(?:tested\s+)?at|@|{_PRESSURE_WORD})[\s:=]*)+$|[\s,;]+$", re.IGNORECASE)
_CORRECTED = re.compile(rf"\b{_CORRECTION}$", re.IGNORECASE)
_FLOW_UNITS = (
    (r"cfm|c\.f\.m\.?|ft\^?[3³]\s*/\s*min|cu\.?\s*ft\.?\s*/\s*min|cubic feet per minute", "cfm"),
    (r"l\s*/\s*s(?:ec)?\b|lit(?:re|er)s?\s*(?:/|per)\s*s(?:ec(?:ond)?)?\b|lps\b", "L/s"),
    (r"l\s*/\s*min\b|lit(?:re|er)s?\s*(?:/|per)\s*min(?:ute)?\b|lpm\b", "L/min"),
    (r"m\^?[3³]\s*/\s*h(?:r|our)?\b|cmh\b", "m3/h"),
    (r"m\^?[3³]\s*/\s*s(?:ec)?\b", "m3/s"),
    (r"kg\s*/\s*hr?\b", "kg/h"),
    (r"kg\s*/\s*s\b", "kg/s"),
    (r"g\s*/\s*s\b", "g/s"),
    (r"lbs?\s*/\s*min\b", "lb/min"),
    (r"(?:%|percent\b)(?:\s*(?:of\s+)?(?:range|full\s?scale|f\.?s\.?)(?![a-z]))?", "%"),
)
_STANDARD_FLOW = re.compile(r"\b(?:s|a)cfm\b|\bslpm\b|\bnm3/h\b", re.I)
_FLOW_UNIT = [(re.compile(rf"(?<![A-Za-z0-9])(?:{pattern})", re.I), unit) for pattern, unit in _FLOW_UNITS]
_LIFT_UNIT = [
    (re.compile(r"(?<![A-Za-z])(?:thou(?:sandths?)?|mils?|0?\.001\s*(?:\"|in(?:ch)?))(?![A-Za-z])", re.I), "thou"),
    (re.compile(r"(?<![A-Za-z])mm\b|millimet(?:re|er)s?\b", re.I), "mm"),
    (re.compile(r"(?<![A-Za-z])cm\b", re.I), "cm"),
    (re.compile(r"(?<![A-Za-z])in(?:ch(?:es)?)?\b\.?|\"|″|”|''", re.I), "in"),
]  # fmt: skip
_LIFT = re.compile(r"\b(?:valve\s+)?(?:lift|ventilhub|hub|lev[ée]e|alzata)s?\b", re.I)
_LIFT_RATIO = re.compile(r"\bl\s*/\s*d\b|lift\s*/\s*(?:dia|d\b)", re.I)
_SIDE_WORDS: dict[Side, str] = {
    "intake": r"intakes?|inlets?|int|inl|einla(?:ss|ß)|admission|aspirazione",
    "exhaust": r"exhausts?|exh|exhst|outlets?|ausla(?:ss|ß)|[ée]chappement|scarico",
}
_SIDES: dict[Side, re.Pattern] = {
    side: re.compile(rf"(?<![^\W\d_])(?:{words})(?![^\W\d_])\.?(?:\s+(?:side|valves?|ports?)\b(?!\s*#?\d))?", re.I)
    for side, words in _SIDE_WORDS.items()
}  # fmt: skip
# Short words that mean a side only where their counterpart stands beside them.
_WEAK_SIDES: dict[Side, re.Pattern] = {
    "intake": re.compile(r"(?<![^\W\d_])(?:in|i)(?![^\W\d_])\.?", re.I),
    "exhaust": re.compile(r"(?<![^\W\d_])(?:out|ex|e)(?![^\W\d_])\.?", re.I),
}
_PORT = re.compile(
    r"(?<![^\W\d_])(?:(?:cyl(?:inder)?|port|hole|runner)s?\.?\s*(?:no\.?|nr\.?|number|#)?\s*[:=]?\s*(\d{1,2}|[A-H](?![a-z]))"
    r"|(front|rear|left|right|lh|rh)\s+(?:cyl(?:inder)?|port|head|bank)|[CP](\d{1,2}))(?![^\W_])",
    re.IGNORECASE,
)  # fmt: skip
_HASH = re.compile(r"(?<!stage )(?<!stage)(?<!mod )(?<!test )(?<!run )#\s?(\d{1,2})\b", re.I)
_SETUP = re.compile(r"\b(?:set-?\s?up|re-?set-?up)\s*#?\s*(\d{1,2}|[A-C]\b)", re.I)
_RUN = re.compile(
    r"\b(?:(?:run|repeat|rep|pull|pass|trial|sweep|attempt|reading)\s*(?:no\.?|#)?\s*(\d{1,2}|[A-C]\b)"
    r"|(\d)(?:st|nd|rd|th)\s+(?:run|repeat|pull|pass|trial|sweep|test|reading))(?:\s*(?:/|of)\s*\d)?",
    re.I,
)
# What is worked out from readings, or is none: by the first pattern that is met.
_NO_READING = (
    (re.compile(r"\b(?:avg|aver(?:age)?|mean|mittel(?:wert)?)\b\.?", re.I), "average"),
    (
        re.compile(
            r"\bgains?\b|\bdiff(?:erence)?\b|\bdelta\b|[Δ∆]|\bchange\b|\bincrease\b|\bimprove\w*|\+/-|±|%\s*\+", re.I
        ),
        "a difference",
    ),
    (re.compile(r"\bratio\b|\be\s*/\s*i\b|\bex?h?\s*/\s*int?\b|\bi\s*/\s*e\b", re.I), "a ratio"),
    (re.compile(r"\bc[df]\b|\bc\.d\.|\bcoeff?\w*|\befficien\w+|\balpha\s?k\b", re.I), "a coefficient"),
    (re.compile(r"\bvelocit\w*|\bfps\b|\bft\s*/\s*s(?:ec)?\b|\bm\s*/\s*s\b|\bmach\b", re.I), "a velocity"),
    (re.compile(r"\bareas?\b|\bcurtain\b|\bmm2\b|\bin2\b|\bsq\.?\s?in\b", re.I), "an area"),
    (re.compile(r"\bswirl\b|\btumble\b|\brpm\b", re.I), "swirl or tumble"),
    (re.compile(r"\btemp\w*|°\s?[cf]\b|\bdeg\s?[cf]\b", re.I), "a temperature"),
    (re.compile(r"\bbaro\w*|\bhumid\w*", re.I), "the weather"),
    (re.compile(r"\b(?:hp|bhp|horsepower|kw|power)\b", re.I), "a power"),
    (re.compile(r"\b(?:sd|std\.?\s*dev|stdev|spread|uncertainty|error|cv)\b", re.I), "a spread"),
    (re.compile(r"\b(?:notes?|comments?|remarks?|bemerkung)\b", re.I), "notes"),
    (re.compile(r"\b(?:total|sum|area under|score|points?|max(?:imum)?|peak|min(?:imum)?|rank)\b", re.I), "a summary"),
    (re.compile(r"\b(?:date|time|operator|initials|by)\b", re.I), "who or when"),
    (re.compile(r"\b(?:test|no|nr|row|point|line|step|idx|index)\s*(?:no\.?|nr\.?|#|number)?\s*$|^#$", re.I), "a count"),
)  # fmt: skip
_RANGE = re.compile(r"\brange\b|\bfull\s?scale\b", re.I)
_TARGET = re.compile(r"\b(?:target|goal|reference|benchmark)\b", re.I)
_NOISE = frozenset(
    """
    flow flows flowed airflow air reading readings data result results curve curves bench sheet table side test
    tests tested flowbench numbers values measured raw the of and in at for with by vs versus per head valve valves
    stage stages port ports cylinder cyl cylinders run runs lift durchfluss all units unit
    """.split()
)
_EDGES = " \t\n-–—_:;,./|()[]{}@#=*'\"″”"


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
    rest = " ".join(text.split())
    found = Heading(rest)
    found, rest = _pressures(found, rest)
    found = replace(found, is_lift_ratio=bool(_LIFT_RATIO.search(rest)))
    found = replace(found, is_lift=bool(_LIFT.search(rest)) and not found.is_lift_ratio)
    found = replace(found, standard_flow=bool(_STANDARD_FLOW.search(rest)))
    rest = _STANDARD_FLOW.sub(" ", rest)
    found = replace(found, no_reading=next((what for p, what in _NO_READING if p.search(rest)), None))
    if found.no_reading == "average":
        rest = _NO_READING[0][0].sub(" ", rest)
    if re.search(r"%|\bpercent\b", rest) and re.search(r"\bvs\b|\bover\b|\bof stock\b", rest, re.I):
        found = replace(found, no_reading="a difference")
    found = replace(
        found,
        is_range=bool(_RANGE.search(rest)) and "%" not in rest,
        is_target=bool(_TARGET.search(rest)),
        is_pressure=bool(re.search(_PRESSURE_WORD, rest, re.I)) and found.pressure is None,
    )
    for pattern, unit in _FLOW_UNIT:
        if pattern.search(rest):
            found, rest = replace(found, flow_unit=unit), pattern.sub(" ", rest)
            break
    found, rest = _numbered(found, rest)
    found, rest = _side(found, rest)
    rest = _LIFT.sub(" ", rest)
    for pattern, unit in _LIFT_UNIT:
        if pattern.search(rest):
            found = replace(found, lift_unit=unit)
            if unit != "in" or not found.weak_side:
                rest = re.sub(rf"[(\[]\s*(?:{pattern.pattern})\s*[)\]]", " ", rest, flags=re.I)
            break
    return replace(found, name=_name(rest))


def _pressures(found: Heading, rest: str) -> tuple[Heading, str]:
    plain, corrected, bare = set(), set(), set()
    for pattern, unit in _PRESSURES:
        kept = ""
        while match := pattern.search(rest):
            figure = next(group for group in match.groups()[1:] if group)
            quantity = f"{figure.replace(',', '.')} {unit}".strip()
            if unit and not _is_test_pressure(quantity):
                kept, rest = kept + rest[: match.end()], rest[match.end() :]
                continue
            fix = match["corrected"] or _CORRECTED.search(rest[: match.start()])
            start = fix.start() if isinstance(fix, re.Match) else match.start()
            (bare if not unit else corrected if fix else plain).add(quantity)
            rest = f"{_LEADS_TO_PRESSURE.sub('', rest[:start])} {rest[match.end() :]}"
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


def _is_test_pressure(quantity: str) -> bool:
    try:
        return 249 <= units.parse(quantity, "test pressure") <= 25_000
    except UnitError:
        return False


def _numbered(found: Heading, rest: str) -> tuple[Heading, str]:
    if match := _SETUP.search(rest):
        found, rest = replace(found, setup=match[1]), _cut(rest, match)
    elif match := _RUN.search(rest):
        found, rest = replace(found, run=match[1] or match[2]), _cut(rest, match)
    if match := _PORT.search(rest) or _HASH.search(rest):
        port = next(group for group in match.groups() if group)
        found, rest = replace(found, port=port.lower() if len(port) > 1 else port.upper()), _cut(rest, match)
    return found, rest


def _side(found: Heading, rest: str) -> tuple[Heading, str]:
    sides = [side for side, pattern in _SIDES.items() if pattern.search(rest)]
    if len(sides) == 2:
        found = replace(found, both_sides=True)
    elif sides:
        found = replace(found, side=sides[0])
    else:
        weak = [side for side, pattern in _WEAK_SIDES.items() if pattern.search(rest)]
        if len(weak) == 1:
            return replace(found, weak_side=weak[0]), rest
        return found, rest
    for pattern in _SIDES.values():
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
    name = _name(_WEAK_SIDES[found.weak_side].sub(" ", found.name))
    return replace(found, side=found.weak_side, weak_side=None, name=name, lift_unit=None)


def _cut(text: str, match: re.Match) -> str:
    return f"{text[: match.start()]} {text[match.end() :]}"


def _name(rest: str) -> str:
    rest = re.sub(r"[(\[]\s*[-–,;:@/]*\s*[)\]]", " ", rest)
    words = rest.split()
    while words and words[0].strip(_EDGES).casefold() in ("", "flow", "of", "and", "&", "the", "-"):
        words.pop(0)
    while words and words[-1].strip(_EDGES).casefold() in ("", "flow", "flows", "and", "&", "-", "at"):
        words.pop()
    name = " ".join(words)
    if all(word.strip(_EDGES).casefold() in _NOISE for word in words):
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
