"""Units at the boundary: text to SI floats, and SI floats to what a person reads.

The only user of pint. Its registry is filled with the units of this trade alone
(`core.unit_table`), so that a word that is no unit here is an error and never a surprise: in
pint's own list ``cfm`` reads as centi-femto-metre, ``mil`` as an angle and ``PS`` as petasiemens.
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
from typing import TYPE_CHECKING, TypeVar

from core.unit_table import DEFINITIONS, KINDS, SPELLINGS
from core.written import LOOKALIKES, MINUS, SPACES, UnitError, number, quoted

if TYPE_CHECKING:
    import numpy as np
    import pint

    Value = TypeVar("Value", float, np.ndarray)

NO_BREAK_SPACE = "\u00a0"
NARROW_SPACE = "\u202f"

_TOKEN = r"[^\W\d]\w*(?:\^-?[123])?"
_UNIT = re.compile(rf"{_TOKEN}(?:[*/]{_TOKEN})*")
_POWER = re.compile(r"(?<=[^\W\d])([23])(?!\w)")
_SUPERSCRIPT = str.maketrans({"²": "2", "³": "3"})


@lru_cache(maxsize=1)
def _registry() -> tuple[pint.UnitRegistry, frozenset[str]]:
    """Return the registry and every unit name in it; importing pint is slow, so only on need."""
    import pint

    registry = pint.UnitRegistry(None, non_int_type=Decimal)
    registry.load_definitions(DEFINITIONS)
    names = {
        name.split(";")[0].strip()
        for line in DEFINITIONS
        if line
        for i, name in enumerate(line.split("="))
        if i != 1
    }
    return registry, frozenset(names | {"delta_degc", "delta_degf"})


def _canonical(unit: str) -> str:
    """Return the unit as pint is to read it, or raise."""
    text = " ".join(unit.split()).casefold()
    text = SPELLINGS.get(text, text).translate(_SUPERSCRIPT)
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
        target = registry.parse_units(KINDS[kind].si)
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
    allowed = KINDS[kind].allowed.split(", ")
    return f"{KINDS[kind].noun} in {', '.join(allowed if full else allowed[:3])}"


def _noun_of(parsed: pint.Unit) -> str:
    registry, _ = _registry()
    for kind in KINDS.values():
        if registry.parse_units(kind.si).dimensionality == parsed.dimensionality:
            return kind.noun
    return "something else"


def _suggestion(unit: str, kinds: tuple[str, ...]) -> str:
    allowed = {name.casefold(): name for kind in kinds for name in KINDS[kind].allowed.split(", ")}
    near = difflib.get_close_matches(unit.casefold(), allowed)
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
    wanted = KINDS[kind]
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
    return KINDS[kind].example


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
