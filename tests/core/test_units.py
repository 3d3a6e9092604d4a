"""Units: published factors, quantities as people write them, and what is shown."""

from __future__ import annotations

import math
import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from core import units
from core.units import METRIC, US, UnitError, number, parse

FINITE = st.floats(-1e6, 1e6, allow_nan=False)

# NIST SP 811 (2008 edition), appendix B.8, "Factors for units listed alphabetically": seven
# digits are printed there, so the last of them may be off by half: 5e-7 of the leading digit.
SP_811 = [
    ("inH2O", "pressure", 249.0889),  # conventional
    ("ftH2O", "pressure", 2989.067),  # conventional
    ("mmH2O", "pressure", 9.80665),  # conventional
    ("inHg", "pressure", 3386.389),  # conventional
    ("mmHg", "pressure", 133.3224),  # conventional
    ("psi", "pressure", 6894.757),
    ("mbar", "pressure", 100.0),
    ("ft3/min", "flow", 4.719474e-4),
    ("cfm", "flow", 4.719474e-4),
    ("L/min", "flow", 1.666667e-5),
    ("m3/h", "flow", 2.777778e-4),
    ("lb/min", "mass flow", 7.559873e-3),
    ("lb/h", "mass flow", 1.259979e-4),
    ("in", "length", 0.0254),
    ("ft", "length", 0.3048),
    ("mil", "length", 2.54e-5),
    ("in2", "area", 6.4516e-4),
    ("in3", "volume", 1.638706e-5),
    ("ft^3", "volume", 0.02831685),
    ("hp", "power", 745.6999),  # 550 ft lbf/s
    ("rpm", "speed", 0.1047198),
    ("deg", "angle", 0.01745329),
    ("lb/ft3", "density", 16.01846),
    ("ft/min", "velocity", 5.08e-3),
    ("delta_degF", "temperature difference", 0.5555556),
]


@pytest.mark.outside
@pytest.mark.parametrize(("unit", "kind", "published"), SP_811)
def test_factors_are_those_published(unit: str, kind: str, published: float) -> None:
    _, scale, offset = units.factor(unit, (kind,))
    assert scale == pytest.approx(published, rel=5e-7)
    assert offset == 0


@pytest.mark.outside
@pytest.mark.parametrize(
    ("text", "kelvin"),
    # NIST SP 811 (2008), appendix B.8: T/K = t/degC + 273.15 = (t/degF + 459.67)/1.8, exact
    [("0 degC", 273.15), ("21.5 degC", 294.65), ("32 degF", 273.15), ("-40 degF", 233.15), ("300 K", 300.0)],
)
def test_temperatures(text: str, kelvin: float) -> None:
    assert parse(text, "temperature") == pytest.approx(kelvin, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "kind", "si"),
    [
        ("86 mm", "length", 0.086),
        ("86mm", "length", 0.086),
        ("8.6 cm", "length", 0.086),
        ("50 thou", "lift", 0.00127),
        ("0.050 in", "lift", 0.00127),
        ('0.050"', "lift", 0.00127),
        ("1/8 in", "lift", 0.003175),
        ("1 1/4 in", "length", 0.03175),
        ("28 inH2O", "test pressure", 28 * 249.08891),
        ("28 inWC", "pressure", 28 * 249.08891),
        ("28 in H2O", "pressure", 28 * 249.08891),
        ("28 in. H2O", "pressure", 28 * 249.08891),
        ('28 "H2O', "pressure", 28 * 249.08891),
        ("28 inches of water", "pressure", 28 * 249.08891),
        ("984 hPa", "barometer", 98400.0),
        ("98,4 kPa", "barometer", 98400.0),
        ("1\u202f013,25 hPa", "barometer", 101325.0),
        ("300 CFM", "flow", 300 * 0.3048**3 / 60),
        ("300 ft^3/min", "flow", 300 * 0.3048**3 / 60),
        ("120 l/s", "flow", 0.120),
        ("12 m³/h", "flow", 12 / 3600),
        ("150 g/s", "mass flow", 0.150),
        ("46 %", "fraction", 0.46),
        ("0.5 %", "fraction", 0.005),
        ("45°", "angle", math.pi / 4),
        ("8200 rpm", "speed", 8200 * math.pi / 30),
        ("46.8 cc", "volume", 46.8e-6),
        ("640 mm2", "area", 640e-6),
        ("1.225 kg/m³", "density", 1.225),
        ("0.5 delta_degC", "temperature difference", 0.5),
        ("0.5 K", "temperature difference", 0.5),
        ("\u221217 degC", "temperature", 256.15),
        ("1e3 Pa", "pressure", 1000.0),
    ],
)
def test_quantities_are_read(text: str, kind: str, si: float) -> None:
    assert parse(text, kind) == pytest.approx(si, rel=1e-12)


def test_a_quantity_is_the_nearest_float() -> None:
    assert parse("86 mm", "length") == 0.086
    assert parse("46.8 cc", "volume") == 46.8e-6


@pytest.mark.parametrize(
    ("text", "kind", "words"),
    [
        ("25 mm", "pressure", ["'25 mm' is a length", "Wanted: a pressure", "28 inH2O"]),
        ("28 inH2O", "length", ["is a pressure", "Wanted: a length", "86 mm"]),
        ("12 kg/h", "flow", ["is a mass flow", "Wanted: a volume flow"]),
        ("984", "barometer", ["'984' has no unit", "1013 hPa"]),
        ("0.5", "fraction", ["no unit", "5 %"]),
        ("28 mmm", "length", ["'mmm' is not known", "mm, cm, m"]),
        ("984 hpaa", "barometer", ["did you mean 'hPa'?"]),
        ("300 scfm", "flow", ["standard conditions is a mass flow"]),
        ("0.5 degC", "temperature difference", ["temperature on a scale", "0.5 delta_degC"]),
        ("5 delta_degC", "temperature", ["temperature difference", "21.5 degC"]),
        ("-300 degC", "temperature", ["below absolute zero"]),
        ("21O hPa", "barometer", ["'21O' is not a number (letter O?)"]),
        ("21O4 hPa", "barometer", ["'21O4' is not a number (letter O?)"]),
        ("1,013 hPa", "barometer", ["can be read as 1013 or as 1.013"]),
        ("hPa", "barometer", ["does not begin with a number"]),
        ("", "flow", ["does not begin with a number"]),
        ("nan mm", "length", ["does not begin with a number"]),
        ("1e999 cfm", "flow", ["too large"]),
        ("1e308 bar", "pressure", ["too large"]),
        ("1/0 in", "lift", ["divides by zero"]),
        ("1/8 inH2O", "pressure", ["is not known"]),
        ("5 mm mm", "length", ["is not known"]),
        ("5 mm**99999999", "length", ["is not known"]),
        ("5 ()", "length", ["is not known"]),
        ("5 __import__('os')", "length", ["is not known"]),
    ],
)
def test_a_refusal_says_what_is_allowed(text: str, kind: str, words: list[str]) -> None:
    with pytest.raises(UnitError) as refused:
        parse(text, kind)
    for word in words:
        assert word in str(refused.value)


@pytest.mark.parametrize(
    ("unit", "kinds", "text", "cure"),
    [
        ("mm", ("flow",), "unit 'mm' is a length.",
         "Wanted: a volume flow in cfm, L/s, L/min, m3/h, m3/s, ft3/min."),
        ("mm", ("flow", "fraction", "pressure"), "unit 'mm' is a length.",
         "Wanted: a volume flow in cfm, L/s, L/min, or a percentage in %, "
         "or a pressure in inH2O, mmH2O, Pa."),
        ("kg*m", ("flow",), "unit 'kg*m' is something else.", None),
        ("zzz", ("length",), "unit 'zzz' is not known.", None),
        ("hpaa", ("barometer",), "unit 'hpaa' is not known (did you mean 'hPa'?).", None),
        *((unit, ("flow",), f"unit '{unit}' is not known (a flow at standard conditions is a mass flow: "
           "give it as one).", None) for unit in ("scfm", "SCCM", "slpm", "NL/min")),
    ],
)  # fmt: skip
def test_a_refused_unit_is_named_with_what_is_wanted(unit, kinds, text, cure) -> None:
    with pytest.raises(UnitError) as refused:
        units.factor(unit, kinds)
    assert refused.value.text == text
    assert refused.value.cure == cure or cure is None


def test_units_that_pint_alone_would_misread() -> None:
    # in pint's own list cfm is a centi-femto-metre, mil an angle and PS a petasiemens
    assert units.factor("cfm", ("flow",))[0] == "flow"
    assert units.factor("mil", ("length",))[1] == pytest.approx(25.4e-6)
    with pytest.raises(UnitError):
        units.factor("PS", ("power",))
    with pytest.raises(UnitError):  # 86 Mm would be 86 000 km, case is folded: it is 86 mm
        units.factor("megametre", ("length",))
    assert parse("86 MM", "length") == 0.086


def test_factor_tells_the_kind() -> None:
    kinds = ("flow", "fraction", "pressure", "mass flow")
    found = {unit: units.factor(unit, kinds)[0] for unit in ("cfm", "%", "inH2O", "g/s")}
    assert found == {"cfm": "flow", "%": "fraction", "inH2O": "pressure", "g/s": "mass flow"}
    with pytest.raises(UnitError, match=r"a length.*Wanted: a volume flow in cfm.*or a mass flow"):
        units.factor("mm", kinds)


@given(FINITE, st.sampled_from(["degC", "degF", "K"]))
def test_columns_and_single_quantities_agree(value: float, unit: str) -> None:
    _, scale, offset = units.factor(unit, ("temperature",))
    if value * scale + offset >= 0:
        parsed = parse(f"{value!r} {unit}", "temperature")
        assert value * scale + offset == pytest.approx(parsed, rel=1e-12, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("21.4", 21.4),
        ("21,4", 21.4),
        ("  7 ", 7.0),
        (".5", 0.5),
        ("5.", 5.0),
        ("+3", 3.0),
        ("-3", -3.0),
        ("\u22123", -3.0),
        ("1e-3", 0.001),
        ("0,050", 0.05),
        ("1.234", 1.234),
        ("1\u00a0234", 1234.0),
        ("1\u2009234,5", 1234.5),
        ("00021.40", 21.4),
    ],
)
def test_numbers_are_read(text: str, value: float) -> None:
    assert number(text) == value


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("21O", "letter O?"),
        ("2l.4", "letter l?"),
        ("I2", "letter I?"),
        ("1.234,5", "more than one decimal mark"),
        ("1,234.5", "more than one decimal mark"),
        ("1,234,567", "more than one decimal mark"),
        ("1.2.3", "more than one decimal mark"),
        ("1,234", "1234 or as 1.234"),
        ("-1,234", "-1234 or as -1.234"),
        ("1 234", "a space inside"),
        ("3/16", "fractions are read for lifts"),
        ("nan", "only finite numbers"),
        ("-inf", "only finite numbers"),
        ("Infinity", "only finite numbers"),
        ("1e999", "too large"),
        ("9" * 400, "too large"),
        ("", "nothing is written"),
        ("--", "is not a number"),
        ("1_000", "is not a number"),
        ("0x10", "is not a number"),
        ("\u0663", "is not a number"),
        ("1e", "is not a number"),
        ("five", "is not a number"),
    ],
)
def test_a_number_is_refused_with_a_reason(text: str, words: str) -> None:
    with pytest.raises(UnitError) as refused:
        number(text)
    assert words in str(refused.value)


def test_in_a_table_of_decimal_commas_the_doubt_is_the_other_way_round() -> None:
    assert number("1,234", decimal_comma=True) == 1.234
    assert number("21.4", decimal_comma=True) == 21.4
    with pytest.raises(UnitError, match=r"1234 or as 1\.234"):
        number("1.234", decimal_comma=True)


@pytest.mark.parametrize(
    ("text", "value"), [("1/8", 0.125), ("3/16", 0.1875), ("1 1/4", 1.25), ("1-1/4", 1.25)]
)
def test_fractions_of_an_inch(text: str, value: float) -> None:
    assert number(text, fractions=True) == value


def test_endless_text_is_cut() -> None:
    with pytest.raises(UnitError) as refused:
        number("x" * 100_000)
    assert len(str(refused.value)) < 200
    with pytest.raises(UnitError) as refused:
        parse("5 " + "x" * 100_000, "length")
    assert len(str(refused.value)) < 400


@given(FINITE)
def test_every_number_written_with_point_or_comma_is_read(value: float) -> None:
    text = repr(value)
    assert number(text) == value
    assert number(text.replace(".", ","), decimal_comma=True) == value


@given(st.text(max_size=30))
def test_any_text_is_a_finite_number_or_refused(text: str) -> None:
    try:
        assert math.isfinite(number(text, fractions=True))
    except UnitError as refused:
        assert refused.text and refused.cure


@given(st.text(max_size=30), st.sampled_from([*METRIC.shown]))
def test_any_text_is_a_finite_quantity_or_refused(text: str, kind: str) -> None:
    try:
        assert math.isfinite(parse(text, kind))
    except UnitError as refused:
        assert str(refused)


@pytest.mark.parametrize("shown", [METRIC, US], ids=lambda one: one.name)
@pytest.mark.parametrize("kind", [*METRIC.shown])
@given(value=FINITE)
def test_display_and_back(shown: units.UnitSet, kind: str, value: float) -> None:
    # two roundings, at a magnitude that a temperature's offset may set
    there = units.to_display(value, kind, shown)
    assert units.from_display(there, kind, shown) == pytest.approx(value, rel=1e-12, abs=1e-9)


def test_both_sets_show_every_kind() -> None:
    assert METRIC.shown.keys() == US.shown.keys()


def test_arrays_are_converted_whole() -> None:
    shown = units.to_display(np.array([0.001, 0.002]), "lift", METRIC)
    assert shown == pytest.approx([1.0, 2.0])


@pytest.mark.parametrize(
    ("value", "kind", "shown", "digits", "text"),
    [
        (0.086, "length", METRIC, None, "86 mm"),
        (0.086, "length", US, None, "3.386 in"),
        (28 * 249.08891, "test pressure", METRIC, None, "28 inH2O"),
        (28 * 249.08891, "test pressure", US, 1, "28.0 inH2O"),
        (98400, "barometer", METRIC, None, "984 hPa"),
        (98400, "barometer", US, None, "29.06 inHg"),
        (294.65, "temperature", METRIC, None, "21.5 °C"),
        (294.65, "temperature", US, None, "70.7 °F"),
        (-0.0012, "flow", METRIC, None, "\u22121.2 L/s"),
        (-0.00001, "flow", METRIC, None, "0 L/s"),
        (-0.00001, "flow", METRIC, 1, "0.0 L/s"),
        (0.46, "fraction", METRIC, None, "46 %"),
        (math.pi / 4, "angle", METRIC, None, "45°"),
        (8200 * math.pi / 30, "speed", US, None, "8\u202f200 rpm"),
        (1.225, "density", METRIC, 4, "1.2250 kg/m³"),
    ],
)
def test_what_is_shown(value: float, kind: str, shown: units.UnitSet, digits: int | None, text: str) -> None:
    assert units.show(value, kind, shown, digits) == text.replace(" ", "\u00a0")


def test_importing_units_does_not_load_pint() -> None:
    code = "import sys, core.units; print('pint' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
