"""What a person types about power: read, judged at its field, and written as job.toml would have it."""

from __future__ import annotations

from collections.abc import Mapping

from core import units as core_units
from core.files.powerkeys import KEYS
from core.power_results import Anchor, Assumption
from core.units import METRIC, UnitError, UnitSet, from_display, label, show
from core.written import MINUS, number, quoted
from dashboard import power_tables

LEAST_POWER_W, MOST_POWER_W = 500.0, 5e6  # as [dyno] in a job file
LEAST_AREA_M2, MOST_AREA_M2 = 1e-4, 0.1  # as chamber_plan_area in a job file


def field_label(one: Assumption, units: UnitSet) -> str:
    """Return ``Runner length, mm``."""
    name = one.name[:1].upper() + one.name[1:]
    return f"{name}, {label(one.unit_kind, units)}" if one.unit_kind in units.shown else name


def read_value(text: str, one: Assumption, units: UnitSet) -> float:
    """Return what was typed for an assumption in SI, or raise with what is allowed."""
    value = read_quantity(text, one.unit_kind, units)
    # Limits are shown rounded, so that what is typed as it was shown counts as the limit itself.
    rounding = 2e-3 * max(abs(one.least), abs(one.greatest))
    if not one.least - rounding <= value <= one.greatest + rounding:
        low, high = (power_tables.value_text(end, one, units) for end in (one.least, one.greatest))
        raise UnitError(f"{quoted(text)} is not possible here.", f"Allowed: {low} to {high}.")
    return min(max(value, one.least), one.greatest)


def read_within(text: str, kind: str, low: float, high: float, units: UnitSet) -> float:
    """Return a quantity that was typed, in SI, or raise with what is allowed."""
    value = read_quantity(text, kind, units)
    if not low <= value <= high:
        ends = (show(end, kind, units) for end in (low, high))
        raise UnitError(f"{quoted(text)} is not possible here.", f"Allowed: {' to '.join(ends)}.")
    return value


def read_quantity(text: str, kind: str, units: UnitSet) -> float:
    """Return a number in the unit that is shown, or a quantity with a unit of its own."""
    text = text.strip()
    if kind not in units.shown:
        return number(text)
    if any(character.isalpha() or character in "°%\"″'" for character in text.replace("e", "")):
        return core_units.parse(text, kind)
    return float(from_display(number(text), kind, units))


def read_anchor(text: str, stage: str, standard: str, units: UnitSet) -> Anchor | None:
    """Return a known peak as it was typed; None where the field was left empty."""
    if not text.strip():
        return None
    return Anchor(read_within(text, "power", LEAST_POWER_W, MOST_POWER_W, units), stage, standard)


def read_area(text: str, units: UnitSet) -> float:
    """Return a chamber's plan area as it was typed, in SI."""
    return read_within(text, "area", LEAST_AREA_M2, MOST_AREA_M2, units)


def typed_text(value: float, one: Assumption, units: UnitSet) -> str:
    """Return a value as one would type it into its field."""
    if one.unit_kind not in units.shown:
        return f"{value:g}"
    return show(value, one.unit_kind, units).replace(units.shown[one.unit_kind].label, "").strip()


def power_lines(values: Mapping[str, float], known: Mapping[str, Assumption]) -> str:
    """Return the lines of a job file that say the same as what was set on the screen."""
    lines = []
    for attribute, value in values.items():
        text = _plain(power_tables.value_text(value, known[attribute], METRIC))
        if known[attribute].unit_kind in METRIC.shown:
            text = _quoted(text)
        lines.append(f"{KEYS[attribute]} = {text}")
    return "\n".join(["[power]", *lines]) if lines else ""


def dyno_lines(anchor: Anchor | None) -> str:
    """Return the lines of a job file that say the same as a known peak."""
    if anchor is None:
        return ""
    power = _plain(show(anchor.power_w, "power", METRIC))
    stated = (("power", power), ("stage", anchor.stage), ("standard", anchor.standard))
    return "\n".join(["[dyno]", *(f"{key} = {_quoted(text)}" for key, text in stated)])


def _plain(text: str) -> str:
    return text.replace("\u00a0", " ").replace("\u202f", "").replace(MINUS, "-")


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'
