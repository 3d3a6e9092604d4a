"""The words of flow sheets: pressures, units, sides, ports, repeats, and what is no reading.

They are those of the trade (common practice, no source), with a few of other languages, for
spreadsheets travel.
"""

from __future__ import annotations

import re

from core.job import Side

AVERAGE = "average"
_NUMBER = r"(\d+(?:[.,]\d+)?)"
_WATER = r"(?:h\s?[2₂]\s?o|water|w\.?\s?c\b\.?|w\.?\s?g\b\.?|aq\b\.?)"
_INCH = r"(?:\"|″|”|''|in(?:ch(?:es)?)?\b\.?)"
PRESSURE_WORD = r"(?:test\s+)?(?:press(?:ure|\.)?|depression|vacuum|delta\s?p|Δ\s?p|dp)\b(?:\s+drop)?"
_CORRECTION = r"(?:corr(?:ected|\.)?|converted|normali[sz]ed|scaled)\s*(?:to|@|at|for)?\s*"
# A pressure that names its unit, and one that only stands where a pressure stands.
PRESSURES = [
    (re.compile(rf"(?P<corrected>\b{_CORRECTION}){pattern}", re.IGNORECASE), unit)
    for pattern, unit in [(rf"{_NUMBER}\s*{_INCH}(?!\s*{_WATER})", "inH2O")]
]
PRESSURES += [
    (re.compile(rf"(?P<corrected>\b{_CORRECTION})?{pattern}", re.IGNORECASE), unit)
    for pattern, unit in (
        (rf"{_NUMBER}\s*(?:\"|″|”|''|in(?:ch(?:es)?)?\.?)?\s*(?:of\s+)?{_WATER}", "inH2O"),
        (rf"{_NUMBER}\s*mm\s*(?:of\s+)?{_WATER}", "mmH2O"),
        (rf"{_NUMBER}\s*cm\s*(?:of\s+)?{_WATER}", "cmH2O"),
        (rf"{_NUMBER}\s*kpa\b", "kPa"),
        (rf"{_NUMBER}\s*(?:mbar|mb|hpa)\b", "mbar"),
        (
            rf"(?:(?:@|\bat\b|{PRESSURE_WORD}\s*[:=]?)\s*|(?<=to )){_NUMBER}\s*{_INCH}"
            r"(?!\s*(?:lift|valve|bore))",
            "inH2O",
        ),
        (rf"{_NUMBER}\s*{_INCH}\s*{PRESSURE_WORD}", "inH2O"),
        (
            rf"(?:@|{PRESSURE_WORD}\s*[:=]?)\s*{_NUMBER}(?![\d.,]|\s*(?:mm|deg|°|%|rpm|l/|cfm|lift))",
            "",
        ),
    )
]
LEADS_TO_PRESSURE = re.compile(
    rf"(?:(?:\b(?:tested\s+)?at|@|{PRESSURE_WORD})[\s:=]*)+$|[\s,;]+$", re.IGNORECASE
)
CORRECTED = re.compile(rf"\b{_CORRECTION}$", re.IGNORECASE)
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
STANDARD_FLOW = re.compile(r"\b(?:s|a)cfm\b|\bslpm\b|\bnm3/h\b", re.I)
FLOW_UNIT = [(re.compile(rf"(?<![A-Za-z0-9])(?:{pattern})", re.I), unit) for pattern, unit in _FLOW_UNITS]
LIFT_UNIT = [
    (
        re.compile(r"(?<![A-Za-z])(?:thou(?:sandths?)?|mils?|0?\.001\s*(?:\"|in(?:ch)?))(?![A-Za-z])", re.I),
        "thou",
    ),
    (re.compile(r"(?<![A-Za-z])mm\b|millimet(?:re|er)s?\b", re.I), "mm"),
    (re.compile(r"(?<![A-Za-z])cm\b", re.I), "cm"),
    (re.compile(r"(?<![A-Za-z])in(?:ch(?:es)?)?\b\.?|\"|″|”|''", re.I), "in"),
]  # fmt: skip
LIFT = re.compile(r"\b(?:valve\s+)?(?:lift|ventilhub|hub|lev[ée]e|alzata)s?\b", re.I)
LIFT_RATIO = re.compile(r"\bl\s*/\s*d\b|lift\s*/\s*(?:dia|d\b)", re.I)
_SIDE_WORDS: dict[Side, str] = {
    "intake": r"intakes?|inlets?|int|inl|einla(?:ss|ß)|admission|aspirazione",
    "exhaust": r"exhausts?|exh|exhst|outlets?|ausla(?:ss|ß)|[ée]chappement|scarico",
}
_WITH_SIDE = r"(?:\s+(?:side|valves?|ports?)(?=\s*(?:$|[-–:,;(\[@/|])))?"  # "valve job" is a stage
SIDES: dict[Side, re.Pattern] = {
    side: re.compile(rf"(?<![^\W\d_])(?:{words})(?![^\W\d_])\.?{_WITH_SIDE}", re.IGNORECASE)
    for side, words in _SIDE_WORDS.items()
}
# Short words that mean a side only where their counterpart stands beside them.
WEAK_SIDES: dict[Side, re.Pattern] = {
    "intake": re.compile(r"(?<![^\W\d_])(?:in|i)(?![^\W\d_])\.?", re.I),
    "exhaust": re.compile(r"(?<![^\W\d_])(?:out|ex|e)(?![^\W\d_])\.?", re.I),
}
PORT = re.compile(
    r"(?<![^\W\d_])(?:(?:cyl(?:inder)?|port|hole|runner)s?\.?\s*(?:no\.?|nr\.?|number|#)?\s*[:=]?\s*(\d{1,2}|[A-H](?![a-z]))"
    r"|(front|rear|left|right|lh|rh)\s+(?:cyl(?:inder)?|port|head|bank)|[CP](\d{1,2}))(?![^\W_])",
    re.IGNORECASE,
)  # fmt: skip
HASH = re.compile(r"(?<!stage )(?<!stage)(?<!mod )(?<!test )(?<!run )#\s?(\d{1,2})\b", re.I)
SETUP = re.compile(r"\b(?:set-?\s?up|re-?set-?up)\s*#?\s*(\d{1,2}|[A-C]\b)", re.I)
RUN = re.compile(
    r"\b(?:(?:run|repeat|rep|pull|pass|trial|sweep|attempt|reading)\s*(?:no\.?|#)?\s*(\d{1,2}|[A-C]\b)"
    r"|(\d)(?:st|nd|rd|th)\s+(?:run|repeat|pull|pass|trial|sweep|test|reading))(?:\s*(?:/|of)\s*\d)?",
    re.I,
)
# What is worked out from readings, or is none: by the first pattern that is met.
NO_READING = [
    (re.compile(pattern, re.IGNORECASE), what)
    for pattern, what in (
        (r"\b(?:avg|aver(?:age)?|mean|mittel(?:wert)?)\b\.?", AVERAGE),
        (
            r"\bgains?\b|\bdiff(?:erence)?\b|\bdelta\b|[Δ∆]|\bchange\b|\bincrease\b|\bimprove\w*"
            r"|\+/-|±|%\s*\+",
            "a difference",
        ),
        (r"\bratio\b|\be\s*/\s*i\b|\bex?h?\s*/\s*int?\b|\bi\s*/\s*e\b", "a ratio"),
        (r"\bc[df]\b|\bc\.d\.|\bcoeff?\w*|\befficien\w+|\balpha\s?k\b", "a coefficient"),
        (r"\bvelocit\w*|\bfps\b|\bft\s*/\s*s(?:ec)?\b|\bm\s*/\s*s\b|\bmach\b", "a velocity"),
        (r"\bareas?\b|\bcurtain\b|\bmm2\b|\bin2\b|\bsq\.?\s?in\b", "an area"),
        (r"\bswirl\b|\btumble\b|\brpm\b", "swirl or tumble"),
        (r"\btemp\w*|°\s?[cf]\b|\bdeg\s?[cf]\b", "a temperature"),
        (r"\bbaro\w*|\bhumid\w*", "the weather"),
        (r"\bmano(?:meter)?\b|\binclined?\b", "a manometer reading"),
        (r"\b(?:notes?|comments?|remarks?|bemerkung)\b", "notes"),
        (r"\b(?:hp|bhp|horsepower|kw|power)\b", "a power"),
        (r"\b(?:sd|std\.?\s*dev|stdev|spread|uncertainty|error|cv)\b", "a spread"),
        (r"\b(?:total|sum|area under|score|points|max(?:imum)?|peak|min(?:imum)?|rank)\b", "a summary"),
        (r"\b(?:date|time|operator|initials|by)\b", "who or when"),
        (
            r"^(?:(?:test|row|point|line|step|idx|index)\s*(?:no\.?|nr\.?|#|number)?|no\.?|nr\.?|#)\s*$",
            "a count",
        ),
    )
]
# Of these the word may as well be part of a stage's name: "max effort", "power port".
MAY_BE_NAMES = ("a power", "a spread", "a summary", "who or when")
RANGE = re.compile(r"\brange\b|\bfull\s?scale\b", re.I)
TARGET = re.compile(r"\b(?:target|goal|reference|benchmark)\b", re.I)
NOISE = frozenset(
    word
    for words in (
        "flow flows flowed airflow air reading readings data result results curve curves bench sheet table",
        "side test tests tested flowbench numbers values measured raw the of and in at for with by vs versus",
        "per head valve valves stage stages port ports cylinder cyl cylinders run runs lift durchfluss all",
        "units unit",
    )
    for word in words.split()
)
EDGES = " \t\n-–—_:;,./|()[]{}@#=*'\"″”"
