"""Every name of a unit, and every way to write one, is the unit that it says."""

from __future__ import annotations

from math import pi

import pytest

from core import units
from core.unit_table import KINDS, SPELLINGS

FOOT, POUND, G = 0.3048, 0.45359237, 9.80665  # exact: international yard and pound (1959), CGPM (1901)

# SI Brochure (9th ed.): prefixes, litre, minute, hour, bar, degree. NIST SP 811 (2008), appendix B.8:
# conventional columns of water are g times 1 kg/m2 for each millimetre, of mercury 133.322 4 Pa: g times
# 13.595 1 kg/m2; the horsepower is 550 ft lbf/s. One in SI, and whatever means it.
WRITTEN = [
    ("length", 1, ["m", "metre", "meter"]),
    ("length", 1e-2, ["cm", "centimetre", "centimeter"]),
    ("length", 1e-3, ["mm", "millimetre", "millimeter", "MM"]),
    ("length", 1e-6, ["um", "μm", "µm", "micrometre", "micrometer", "micron"]),
    ("length", FOOT, ["ft", "foot", "feet"]),
    ("length", FOOT / 12, ["in", "inch", "inches", "in.", '"', "″", "''"]),
    ("length", FOOT / 12e3, ["thou", "thousandth", "mil"]),
    ("area", 1e-6, ["mm2", "mm²", "mm^2", "mm**2", "mm*mm"]),
    ("area", 1e-4, ["cm2"]),
    ("area", (FOOT / 12) ** 2, ["in2", "inch^2"]),
    ("volume", 1, ["m3", "cubic_metre"]),
    ("volume", 1e-3, ["l", "L", "litre", "liter"]),
    ("volume", 1e-6, ["ml", "mL", "millilitre", "milliliter", "cc", "ccm", "cm3"]),
    ("volume", (FOOT / 12) ** 3, ["in3", "cu in", "cu. in."]),
    ("flow", 1e-3, ["L/s", "l/s", "l/sec", "litre/second", "L / s"]),
    ("flow", 1e-3 / 60, ["L/min", "lpm", "litre/minute"]),
    ("flow", 1 / 3600, ["m3/h", "m³/h", "cmh", "m3/hr", "m3/hour"]),
    ("flow", FOOT**3 / 60, ["cfm", "CFM", "ft3/min", "cubic feet per minute", "cu ft/min"]),
    ("mass flow", 1, ["kg/s", "kilogram/second"]),
    ("mass flow", 1e-3, ["g/s", "gram/sec"]),
    ("mass flow", POUND / 60, ["lb/min", "lbs/min", "lbm/min", "pound/minute"]),
    ("speed", 2 * pi / 60, ["rpm", "1/min", "min^-1", "rev/min", "turn/min", "revolution/minute"]),
    ("speed", 1, ["rad/s", "radian/s"]),
    ("angle", pi / 180, ["deg", "degree", "°"]),
    ("angle", 2 * pi, ["rev", "turn", "revolution"]),
    ("fraction", 0.01, ["%", "percent", "percent of range", "% of range"]),
    ("fraction", 1, ["fraction"]),
    ("pressure", 1, ["Pa", "pascal", "N/m2", "newton/metre^2"]),
    ("pressure", 100, ["hPa", "hectopascal", "mbar", "mb", "millibar"]),
    ("pressure", 1e3, ["kPa", "kilopascal"]),
    ("pressure", 1e5, ["bar"]),
    ("pressure", POUND * G / (FOOT / 12) ** 2, ["psi", "lbf/in2", "pound_force/in2"]),
    ("pressure", G, ["mmH2O", "mm H2O", "mmWC"]),
    ("pressure", 10 * G, ["cmH2O", "cm H2O", "cmWC"]),
    ("pressure", 25.4 * G, ["inH2O", "in H2O", "in. H2O", '"H2O', '" H2O', "″H2O", "inWC", "in WC", '"WC',
                            "iwc", "inches H2O", "inch H2O", "inches of water"]),
    ("pressure", 304.8 * G, ["ftH2O", "ft H2O"]),
    ("pressure", 13.5951 * G, ["mmHg", "mm Hg"]),
    ("pressure", 25.4 * 13.5951 * G, ["inHg", "in Hg", "in. Hg", '"Hg', "inches of mercury"]),
    ("power", 1, ["W", "watt", "N*m/s", "N·m/s"]),
    ("power", 1e3, ["kW", "kilowatt"]),
    ("power", 550 * FOOT * POUND * G, ["hp", "horsepower", "HP"]),
    ("torque", 1, ["N*m", "N·m"]),
    ("torque", FOOT * POUND * G, ["lbf*ft", "ft*lbf"]),
    ("density", 1, ["kg/m3", "kg/m³"]),
    ("density", POUND / FOOT**3, ["lb/ft3"]),
    ("velocity", 1, ["m/s"]),
    ("temperature difference", 1, ["delta_degC", "delta degC", "δ°c", "Δ°C", "K", "kelvin"]),
    ("temperature difference", 5 / 9, ["delta_degF", "delta degF", "δ°f", "Δ°F"]),
]  # fmt: skip
ONE_BY_ONE = [(kind, one, name) for kind, one, names in WRITTEN for name in names]

# NIST SP 811 (2008), appendix B.8: T/K = t/degC + 273.15 = (t/degF + 459.67) / 1.8, exact. At 50.
FIFTY = {
    323.15: ["degC", "°C", "° C", "deg C", "C", "celsius", "degree_celsius"],
    509.67 / 1.8: ["degF", "°F", "° F", "deg F", "F", "fahrenheit", "degree_fahrenheit"],
    50: ["K", "kelvin"],
}
TEMPERATURES = [(kelvin, name) for kelvin, names in FIFTY.items() for name in names]


@pytest.mark.outside
@pytest.mark.parametrize(("kind", "one", "name"), ONE_BY_ONE, ids=[name for *_, name in ONE_BY_ONE])
def test_one_of_every_unit(kind: str, one: float, name: str) -> None:
    """Budget 1e-12 for a few roundings."""
    found, scale, offset = units.factor(name, (kind,))
    assert (found, offset) == (kind, 0)
    assert scale == pytest.approx(one, rel=1e-12)


@pytest.mark.outside
@pytest.mark.parametrize(("kelvin", "name"), TEMPERATURES, ids=[name for _, name in TEMPERATURES])
def test_fifty_of_every_scale_of_temperature(kelvin: float, name: str) -> None:
    assert units.parse(f"50 {name}", "temperature") == pytest.approx(kelvin, rel=1e-12)


def test_every_name_and_every_spelling_is_looked_at() -> None:
    looked_at = {
        word.casefold() for *_, name in [*ONE_BY_ONE, *TEMPERATURES] for word in (name, *parts(name))
    }
    _, known = units._registry()
    defined = known - {"delta_degc", "delta_degf"}  # pint's own names for differences of the two
    assert defined - looked_at == set()
    assert SPELLINGS.keys() - looked_at == set()


def parts(name: str) -> list[str]:
    """Return the names that a compound unit is made of."""
    return name.replace("*", "/").replace("^2", "").split("/")


@pytest.mark.parametrize("kind", KINDS)
def test_a_kind_takes_the_units_that_it_tells_people_to_write(kind: str) -> None:
    for name in KINDS[kind].allowed.split(", "):
        assert units.factor(name, (kind,))[0] == kind
    assert units.parse(KINDS[kind].example, kind) > 0
