"""Units at the boundary: text to SI floats, and SI floats to what a person reads.

The only user of pint. Its registry is filled with the units of this trade alone, so that
a word that is no unit here is an error and never a surprise (in pint's own list ``cfm``
reads as centi-femto-metre, ``mil`` as an angle and ``PS`` as petasiemens). Upper and lower
case mean the same.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from functools import lru_cache
from types import MappingProxyType
from typing import TYPE_CHECKING, NamedTuple, TypeVar

if TYPE_CHECKING:
    import numpy as np
    import pint

    Value = TypeVar("Value", float, np.ndarray)

NO_BREAK_SPACE = "\u00a0"
NARROW_SPACE = "\u202f"
MINUS = "\u2212"

# Sources: the SI Brochure (9th ed.) for SI units and for hour, minute, litre and bar; the
# international yard and pound (1959) for inch, foot and pound; NIST SP 811 (2008),
# appendix B, for conventional water and mercury columns and the mechanical horsepower.
_DEFINITIONS = """
radian = [angle] = rad
degree = 3.14159265358979323846264338327950288 / 180 * radian = deg
revolution = 360 * degree = rev = turn
fraction = [fraction]
percent = 0.01 * fraction

metre = [length] = m = meter
millimetre = 0.001 * metre = mm = millimeter
centimetre = 0.01 * metre = cm = centimeter
micrometre = 1e-6 * metre = μm = um = micrometer = micron
inch = 0.0254 * metre = in = inches
foot = 12 * inch = ft = feet
thou = 0.001 * inch = mil = thousandth

second = [time] = s = sec
minute = 60 * second = min
hour = 60 * minute = h = hr

kilogram = [mass] = kg
gram = 0.001 * kilogram = g
pound = 0.45359237 * kilogram = lb = lbs = lbm

kelvin = [temperature]; offset: 0 = k
degree_celsius = kelvin; offset: 273.15 = c = celsius = degc
degree_fahrenheit = 5 / 9 * kelvin; offset: 233.15 + 200 / 9 = f = fahrenheit = degf

cubic_metre = metre ** 3
litre = 0.001 * cubic_metre = l = liter
millilitre = 0.001 * litre = ml = milliliter = cc = ccm
cfm = foot ** 3 / minute
lpm = litre / minute
cmh = cubic_metre / hour
rpm = revolution / minute

newton = kilogram * metre / second ** 2 = n
pascal = newton / metre ** 2 = pa
hectopascal = 100 * pascal = hpa
kilopascal = 1000 * pascal = kpa
bar = 100000 * pascal
millibar = 100 * pascal = mbar = mb
psi = 9.80665 * pound * metre / second ** 2 / inch ** 2
mmh2o = 9.80665 * pascal = mmwc
cmh2o = 98.0665 * pascal = cmwc
inh2o = 25.4 * mmh2o = inwc = iwc
fth2o = 12 * inh2o
mmhg = 133.322387415 * pascal
inhg = 25.4 * mmhg

watt = newton * metre / second = w
kilowatt = 1000 * watt = kw
horsepower = 550 * 9.80665 * pound * metre / second ** 2 * foot / second = hp
""".strip().splitlines()

# Ways to write a unit that are not names.
_SPELLINGS = {
    "%": "percent", "percent of range": "percent", "% of range": "percent", "°": "degree",
    "°c": "degc", "° c": "degc", "deg c": "degc", "°f": "degf", "° f": "degf", "deg f": "degf",
    "delta degc": "delta_degc", "delta degf": "delta_degf", "δ°c": "delta_degc", "δ°f": "delta_degf",
    '"': "inch", "″": "inch", "''": "inch", "in.": "inch",
    "in h2o": "inh2o", "in. h2o": "inh2o", '"h2o': "inh2o", '" h2o': "inh2o", "″h2o": "inh2o",
    "inches h2o": "inh2o", "inch h2o": "inh2o", "inches of water": "inh2o", "in wc": "inh2o", '"wc': "inh2o",
    "mm h2o": "mmh2o", "cm h2o": "cmh2o", "ft h2o": "fth2o",
    "in hg": "inhg", "in. hg": "inhg", '"hg': "inhg", "inches of mercury": "inhg", "mm hg": "mmhg",
    "cubic feet per minute": "cfm", "cu ft/min": "cfm", "cu in": "inch^3", "cu. in.": "inch^3",
    "1/min": "rpm", "min^-1": "rpm", "l/sec": "l/s",
}  # fmt: skip


class _Kind(NamedTuple):
    si: str
    noun: str
    example: str
    allowed: str


_LENGTH = ("metre", "a length", "86 mm", "mm, cm, m, in, ft, thou")
_PRESSURE = ("pascal", "a pressure", "28 inH2O", "inH2O, mmH2O, Pa, hPa, kPa, mbar, bar, inHg, mmHg, psi")
_KINDS: dict[str, _Kind] = {
    "length": _Kind(*_LENGTH),
    "lift": _Kind("metre", "a length", "2.5 mm", "mm, cm, m, in, thou"),
    "altitude": _Kind("metre", "a length", "350 m", "m, ft"),
    "pressure": _Kind(*_PRESSURE),
    "test pressure": _Kind(*_PRESSURE),
    "barometer": _Kind("pascal", "a pressure", "1013 hPa", "hPa, kPa, mbar, inHg, mmHg, psi"),
    "flow": _Kind("metre ** 3 / second", "a volume flow", "120 cfm", "cfm, L/s, L/min, m3/h, m3/s, ft3/min"),
    "mass flow": _Kind("kilogram / second", "a mass flow", "150 g/s", "g/s, kg/s, kg/h, lb/min, lb/h"),
    "temperature": _Kind("kelvin", "a temperature", "21.5 degC", "degC, degF, K"),
    "temperature difference": _Kind(
        "kelvin", "a temperature difference", "0.5 delta_degC", "delta_degC, delta_degF, K"
    ),
    "fraction": _Kind("fraction", "a percentage", "0.5 %", "%"),
    "angle": _Kind("radian", "an angle", "45 deg", "deg, rad"),
    "speed": _Kind("radian / second", "a rotational speed", "8200 rpm", "rpm, rad/s"),
    "volume": _Kind("metre ** 3", "a volume", "46.8 cc", "cc, mL, L, in3, m3"),
    "area": _Kind("metre ** 2", "an area", "640 mm2", "mm2, cm2, in2, m2"),
    "density": _Kind("kilogram / metre ** 3", "a density", "1.225 kg/m3", "kg/m3, lb/ft3"),
    "power": _Kind("watt", "a power", "95 kW", "kW, W, hp"),
    "velocity": _Kind("metre / second", "a speed", "20 m/s", "m/s, ft/s, ft/min"),
}
_TOKEN = r"[^\W\d]\w*(?:\^-?[123])?"
_UNIT = re.compile(rf"{_TOKEN}(?:[*/]{_TOKEN})*")
_POWER = re.compile(r"(?<=[^\W\d])([23])(?!\w)")
_SUPERSCRIPT = str.maketrans({"²": "2", "³": "3"})


class UnitError(ValueError):
    """A number or a quantity that cannot be read: what was given, and what is allowed."""

    def __init__(self, text: str, cure: str = "") -> None:
        super().__init__(f"{text} {cure}".rstrip())
        self.text = text
        self.cure = cure


@lru_cache(maxsize=1)
def _registry() -> tuple[pint.UnitRegistry, frozenset[str]]:
    """Return the registry and every unit name in it; importing pint is slow, so only on need."""
    import pint

    registry = pint.UnitRegistry(None, non_int_type=Decimal)
    registry.load_definitions(_DEFINITIONS)
    names = {
        name.split(";")[0].strip()
        for line in _DEFINITIONS
        if line
        for i, name in enumerate(line.split("="))
        if i != 1
    }
    return registry, frozenset(names | {"delta_degc", "delta_degf"})


def _canonical(unit: str) -> str:
    """Return the unit as pint is to read it, or raise."""
    text = " ".join(unit.split()).casefold()
    text = _SPELLINGS.get(text, text).translate(_SUPERSCRIPT)
    text = re.sub(r"\s*([/*·])\s*", r"\1", text).replace("·", "*").replace("**", "^")
    text = _POWER.sub(r"^\1", text)
    known = _registry()[1]
    if _UNIT.fullmatch(text) and all(t.split("^")[0] in known for t in re.split(r"[*/]", text)):
        return text
    raise UnitError(f"unit '{unit}' is not known")


@lru_cache(maxsize=4096)
def factor(unit: str, kinds: tuple[str, ...]) -> tuple[str, float, float]:
    """Return how to convert numbers in a unit to SI: ``number * scale + offset``.

    Parameters
    ----------
    unit : str
        Unit as a person writes it, for example ``cfm`` or ``in H2O``.
    kinds : tuple of str
        Kinds of quantity that are allowed, the likeliest first.

    Returns
    -------
    tuple of (str, float, float)
        The kind that matched, scale and offset.

    Raises
    ------
    UnitError
        If the unit is not known or measures something else.
    """
    kind, scale, offset = _exact_factor(unit, kinds)
    return kind, float(scale), float(offset)


@lru_cache(maxsize=4096)
def _exact_factor(unit: str, kinds: tuple[str, ...]) -> tuple[str, Decimal, Decimal]:
    """Return the same in decimals, so that 86 mm is 0.086 m and not a hair beside it."""
    registry, _ = _registry()
    wanted = " or ".join(dict.fromkeys(_KINDS[kind].noun for kind in kinds))
    cure = f"Wanted: {wanted}, in {'; or in '.join(dict.fromkeys(_KINDS[k].allowed for k in kinds))}."
    try:
        parsed = registry.parse_units(_canonical(unit))
    except UnitError as error:
        raise UnitError(error.text + _suggestion(unit, kinds) + ".", cure) from None
    is_difference = "delta_" in str(parsed)
    is_scale = parsed != registry.kelvin and not is_difference
    for kind in kinds:
        target = registry.parse_units(_KINDS[kind].si)
        if parsed.dimensionality != target.dimensionality:
            continue
        if kind == "temperature" and is_difference:
            raise UnitError(f"unit '{unit}' is a temperature difference.", cure)
        if kind == "temperature difference" and is_scale:
            raise UnitError(f"unit '{unit}' is a temperature on a scale.", cure)
        zero = registry.Quantity(Decimal(0), parsed).to(target).magnitude
        one = registry.Quantity(Decimal(1), parsed).to(target).magnitude
        return kind, one - zero, zero
    raise UnitError(f"unit '{unit}' is {_noun_of(parsed)}.", cure)


def _noun_of(parsed: pint.Unit) -> str:
    registry, _ = _registry()
    for kind in _KINDS.values():
        if registry.parse_units(kind.si).dimensionality == parsed.dimensionality:
            return kind.noun
    return "something else"


def _suggestion(unit: str, kinds: tuple[str, ...]) -> str:
    allowed = {name.casefold(): name for kind in kinds for name in _KINDS[kind].allowed.split(", ")}
    near = difflib.get_close_matches(unit.casefold(), allowed, n=1, cutoff=0.6)
    if unit.casefold() in ("scfm", "sccm", "slpm", "nl/min"):
        return " (a flow at standard conditions is a mass flow: give it as one)"
    return f" (did you mean '{allowed[near[0]]}'?)" if near else ""


_SPACES = "\u00a0\u2009\u202f\u2007"
_PLAIN = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d{1,4})?", re.ASCII)
_GROUPED = re.compile(rf"([+-]?\d{{1,3}}(?:[{_SPACES}]\d{{3}})+)((?:[.,]\d*)?)", re.ASCII)
_AMBIGUOUS = re.compile(r"[+-]?[1-9]\d{0,2}([.,])\d{3}", re.ASCII)
_FRACTION = re.compile(r"(?:(\d{1,4})[ -])?(\d{1,4})/(\d{1,4})", re.ASCII)
_LOOKALIKES = "OolISB"


def number(text: str, *, fractions: bool = False, decimal_comma: bool = False) -> float:
    """Return the number that a person wrote, with a decimal point or a decimal comma.

    Parameters
    ----------
    text : str
        The number.
    fractions : bool
        Accept ``3/16`` and ``1 1/4``, as lifts in inches are written.
    decimal_comma : bool
        The text stands in a table that uses decimal commas, so ``1,234`` is plain there
        and ``1.234`` is not; elsewhere it is the other way round.

    Returns
    -------
    float
        A finite number.

    Raises
    ------
    UnitError
        If it is no number, not finite, or could be read in two ways.
    """
    given = text.strip()
    plain = given.replace(MINUS, "-")
    if fractions and (match := _FRACTION.fullmatch(plain)):
        whole, top, bottom = (int(part or 0) for part in match.groups())
        if bottom == 0:
            raise UnitError(f"'{given}' divides by zero.")
        return whole + top / bottom
    if match := _GROUPED.fullmatch(plain):
        plain = re.sub(f"[{_SPACES}]", "", match[1]) + match[2]
    if not _PLAIN.fullmatch(plain):
        raise UnitError(f"'{given}' is not a number{_why_not(plain)}.")
    if (match := _AMBIGUOUS.fullmatch(plain)) and match[1] == ("." if decimal_comma else ","):
        whole, part = plain.split(match[1])
        raise UnitError(
            f"'{given}' can be read as {whole}{part} or as {whole}.{part}.",
            "Write it without a thousands mark.",
        )
    value = float(plain.replace(",", "."))
    if not math.isfinite(value):
        raise UnitError(f"'{given}' is too large.")
    return value


def _why_not(text: str) -> str:
    if not text:
        return " (nothing is written)"
    if text.casefold().lstrip("+-") in ("nan", "inf", "infinity"):
        return " (only finite numbers are)"
    if any(c.isdigit() for c in text):
        strange = [c for c in text if not c.isdigit() and c not in "+-., "]
        if len(strange) == 1 and strange[0] in _LOOKALIKES:
            return f" (letter {strange[0]}?)"
        if ("." in text and "," in text) or text.count(".") > 1 or text.count(",") > 1:
            return " (more than one decimal mark, or a thousands mark)"
        if "/" in text:
            return " (fractions are read for lifts and lengths only)"
        if " " in text and not strange:
            return " (a space inside it)"
    return ""


_QUANTITY = re.compile(rf"([+\-{MINUS}]?[\d.,][\d.,{_SPACES}]*(?:[eE][+-]?\d+(?![^\W\d]))?)\s*(.*)", re.ASCII)
_FRACTION_QUANTITY = re.compile(r"((?:\d{1,4}[ -])?\d{1,4}/\d{1,4})\s*(.*)", re.ASCII)


def parse(text: str, kind: str) -> float:
    """Return a quantity written with its unit, in SI.

    Parameters
    ----------
    text : str
        For example ``86 mm``, ``29,92 inHg`` or ``1/8 in``.
    kind : str
        What is wanted: ``length``, ``pressure``, ``flow`` ...

    Returns
    -------
    float
        The value in SI.

    Raises
    ------
    UnitError
        If it cannot be read, or is a quantity of another kind.
    """
    return _parse(text.strip(), kind)


@lru_cache(maxsize=4096)
def _parse(text: str, kind: str) -> float:
    wanted = _KINDS[kind]
    cure = f"Wanted: {wanted.noun}, for example {wanted.example}."
    fractions = kind in ("length", "lift")
    match = (fractions and _FRACTION_QUANTITY.fullmatch(text)) or _QUANTITY.fullmatch(text)
    if not match:
        raise UnitError(f"'{text}' does not begin with a number.", cure)
    figure, unit = match[1].strip(), match[2]
    first_word = text.split()[0]
    if unit and unit[0] in _LOOKALIKES and any(c.isdigit() for c in unit.split()[0]):
        number(first_word)  # raises with the letter named: "21O4 hPa"
    value = number(figure, fractions=fractions)
    if not unit:
        raise UnitError(f"'{text}' has no unit.", cure)
    try:
        _, scale, offset = _exact_factor(unit, (kind,))
    except UnitError as error:
        reason = error.text.removeprefix(f"unit '{unit}' ")
        if reason.startswith("is not known"):
            if unit[0] in _LOOKALIKES and not text.startswith(figure + " "):
                number(first_word)
            raise UnitError(f"'{text}': {error.text}", error.cure) from None
        raise UnitError(
            f"'{text}' {reason.rstrip('.')}; {wanted.noun} is wanted, for example {wanted.example}."
        ) from None
    result = float(Decimal(repr(value)) * scale + offset)
    if not math.isfinite(result):
        raise UnitError(f"'{text}' is too large.", cure)
    if kind == "temperature" and result < 0:
        raise UnitError(f"'{text}' is below absolute zero.", cure)
    return result


def example(kind: str) -> str:
    """Return a quantity of a kind as one may write it, for use in a cure."""
    return _KINDS[kind].example


@dataclass(frozen=True)
class Shown:
    """How one kind of quantity is shown: its unit, that unit's label, and usual decimals."""

    unit: str
    label: str
    digits: int


@dataclass(frozen=True)
class UnitSet:
    """The units that a person chose to see."""

    name: str
    shown: Mapping[str, Shown] = field(compare=False, repr=False)


_SHOWN = {  # metric, then US where it differs
    "flow": (Shown("L/s", "L/s", 1), Shown("cfm", "cfm", 1)),
    "mass flow": (Shown("g/s", "g/s", 1), Shown("lb/min", "lb/min", 2)),
    "lift": (Shown("mm", "mm", 2), Shown("in", "in", 3)),
    "length": (Shown("mm", "mm", 2), Shown("in", "in", 3)),
    "altitude": (Shown("m", "m", 0), Shown("ft", "ft", 0)),
    "pressure": (Shown("inH2O", "inH2O", 2),),  # the trade's unit everywhere
    "test pressure": (Shown("inH2O", "inH2O", 2),),
    "barometer": (Shown("hPa", "hPa", 1), Shown("inHg", "inHg", 2)),
    "temperature": (Shown("degC", "°C", 1), Shown("degF", "°F", 1)),
    "temperature difference": (Shown("delta_degC", "°C", 1), Shown("delta_degF", "°F", 1)),
    "volume": (Shown("cc", "cc", 1),),
    "area": (Shown("mm2", "mm²", 0), Shown("in2", "in²", 3)),
    "angle": (Shown("deg", "°", 1),),
    "fraction": (Shown("%", "%", 1),),
    "speed": (Shown("rpm", "rpm", 0),),
    "velocity": (Shown("m/s", "m/s", 1), Shown("ft/min", "ft/min", 0)),
    "density": (Shown("kg/m3", "kg/m³", 4),),
    "power": (Shown("kW", "kW", 1), Shown("hp", "hp", 1)),
}
METRIC = UnitSet("metric", MappingProxyType({kind: shown[0] for kind, shown in _SHOWN.items()}))
US = UnitSet("US", MappingProxyType({kind: shown[-1] for kind, shown in _SHOWN.items()}))


def label(kind: str, units: UnitSet) -> str:
    """Return the unit's label for a kind of quantity, for example ``L/s``."""
    return units.shown[kind].label


def to_display(value: Value, kind: str, units: UnitSet) -> Value:
    """Return a value, or an array of them, in the unit that is shown."""
    _, scale, offset = factor(units.shown[kind].unit, (kind,))
    return (value - offset) / scale


def from_display(value: Value, kind: str, units: UnitSet) -> Value:
    """Return a value, or an array of them, in SI from the unit that is shown."""
    _, scale, offset = factor(units.shown[kind].unit, (kind,))
    return value * scale + offset


def show(value: float, kind: str, units: UnitSet, digits: int | None = None) -> str:
    """Return a value with its unit, as a person reads it.

    Parameters
    ----------
    value : float
        Value in SI.
    kind : str
        Kind of quantity.
    units : UnitSet
        Units to show.
    digits : int, optional
        Decimals; without it the usual ones of that kind, trailing zeros left out.

    Returns
    -------
    str
        For example ``86 mm``, with a no-break space and a real minus sign.
    """
    shown = units.shown[kind]
    text = f"{to_display(value, kind, units):,.{shown.digits if digits is None else digits}f}"
    if digits is None and "." in text:
        text = text.rstrip("0").rstrip(".")
    if not text.strip("-0.,"):
        text = text.lstrip("-")
    text = text.replace(",", NARROW_SPACE).replace("-", MINUS)
    return text + ("" if shown.label == "°" else NO_BREAK_SPACE) + shown.label
