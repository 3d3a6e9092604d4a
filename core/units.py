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

from core.written import LOOKALIKES, MINUS, SPACES, UnitError, number, quoted

if TYPE_CHECKING:
    import numpy as np
    import pint

    Value = TypeVar("Value", float, np.ndarray)

NO_BREAK_SPACE = "\u00a0"
NARROW_SPACE = "\u202f"

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
pound_force = 9.80665 * pound * metre / second ** 2 = lbf
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
    "fraction": _Kind("fraction", "a percentage", "5 %", "%"),
    "angle": _Kind("radian", "an angle", "45 deg", "deg, rad"),
    "speed": _Kind("radian / second", "a rotational speed", "8200 rpm", "rpm, rad/s"),
    "volume": _Kind("metre ** 3", "a volume", "46.8 cc", "cc, mL, L, in3, m3"),
    "area": _Kind("metre ** 2", "an area", "640 mm2", "mm2, cm2, in2, m2"),
    "density": _Kind("kilogram / metre ** 3", "a density", "1.225 kg/m3", "kg/m3, lb/ft3"),
    "power": _Kind("watt", "a power", "95 kW", "kW, W, hp"),
    "torque": _Kind("newton * metre", "a torque", "180 N*m", "N*m, lbf*ft"),
    "velocity": _Kind("metre / second", "a speed", "20 m/s", "m/s, ft/s, ft/min"),
}
_TOKEN = r"[^\W\d]\w*(?:\^-?[123])?"
_UNIT = re.compile(rf"{_TOKEN}(?:[*/]{_TOKEN})*")
_POWER = re.compile(r"(?<=[^\W\d])([23])(?!\w)")
_SUPERSCRIPT = str.maketrans({"²": "2", "³": "3"})


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
    raise UnitError(f"unit {quoted(unit)} is not known")


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
    cure = f"Wanted: {', or '.join(_wanted(kind, full=len(kinds) == 1) for kind in kinds)}."
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
            raise UnitError(f"unit {quoted(unit)} is a temperature difference.", cure)
        if kind == "temperature difference" and is_scale:
            raise UnitError(f"unit {quoted(unit)} is a temperature on a scale.", cure)
        zero = registry.Quantity(Decimal(0), parsed).to(target).magnitude
        one = registry.Quantity(Decimal(1), parsed).to(target).magnitude
        return kind, one - zero, zero
    raise UnitError(f"unit {quoted(unit)} is {_noun_of(parsed)}.", cure)


def _wanted(kind: str, full: bool) -> str:
    allowed = _KINDS[kind].allowed.split(", ")
    return f"{_KINDS[kind].noun} in {', '.join(allowed if full else allowed[:3])}"


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


_QUANTITY = re.compile(rf"([+\-{MINUS}]?[\d.,][\d.,{SPACES}]*(?:[eE][+-]?\d+(?![^\W\d]))?)\s*(.*)", re.ASCII)
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
        raise UnitError(f"{quoted(text)} does not begin with a number.", cure)
    figure, unit = match[1].strip(), match[2]
    value = number(figure, fractions=fractions)
    if not unit:
        raise UnitError(f"{quoted(text)} has no unit.", cure)
    try:
        _, scale, offset = _exact_factor(unit, (kind,))
    except UnitError as error:
        reason = error.text.removeprefix(f"unit {quoted(unit)} ")
        if reason.startswith("is not known"):
            if unit[0] in LOOKALIKES and not text.startswith(figure + " "):
                number(text.split()[0])  # names the letter: "21O hPa"
            raise UnitError(f"{quoted(text)}: {error.text}", error.cure) from None
        raise UnitError(f"{quoted(text)} {reason}", cure) from None
    result = float(Decimal(repr(value)) * scale + offset)
    if not math.isfinite(result):
        raise UnitError(f"{quoted(text)} is too large.", cure)
    if kind == "temperature" and result < 0:
        raise UnitError(f"{quoted(text)} is below absolute zero.", cure)
    return result


def example(kind: str) -> str:
    """Return a quantity of a kind as one may write it, for use in a cure.

    Parameters
    ----------
    kind : str
        Kind of quantity.

    Returns
    -------
    str
        For example ``28 inH2O``.
    """
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
    "torque": (Shown("N*m", "N·m", 0), Shown("lbf*ft", "lb·ft", 0)),
}
METRIC = UnitSet("metric", MappingProxyType({kind: shown[0] for kind, shown in _SHOWN.items()}))
US = UnitSet("US", MappingProxyType({kind: shown[-1] for kind, shown in _SHOWN.items()}))


def label(kind: str, units: UnitSet) -> str:
    """Return the label of the unit that a kind of quantity is shown in.

    Parameters
    ----------
    kind : str
        Kind of quantity.
    units : UnitSet
        Units to show.

    Returns
    -------
    str
        For example ``L/s``.
    """
    return units.shown[kind].label


def to_display(value: Value, kind: str, units: UnitSet) -> Value:
    """Return a value in the unit that is shown.

    Parameters
    ----------
    value : float or ndarray
        Value in SI.
    kind : str
        Kind of quantity.
    units : UnitSet
        Units to show.

    Returns
    -------
    float or ndarray
        Value in the unit of ``label(kind, units)``.
    """
    _, scale, offset = factor(units.shown[kind].unit, (kind,))
    return (value - offset) / scale


def from_display(value: Value, kind: str, units: UnitSet) -> Value:
    """Return a value in SI from the unit that is shown: the inverse of `to_display`.

    Parameters
    ----------
    value : float or ndarray
        Value in the unit of ``label(kind, units)``.
    kind : str
        Kind of quantity.
    units : UnitSet
        Units that it was shown in.

    Returns
    -------
    float or ndarray
        Value in SI.
    """
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
