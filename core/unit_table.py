"""The units that a person may write: what each is, how else it is written, and what it measures.

One table for `core.units`. Upper and lower case mean the same.
"""

from __future__ import annotations

from typing import NamedTuple

# Sources: the SI Brochure (9th ed.) for SI units and for hour, minute, litre and bar; the
# international yard and pound (1959) for inch, foot and pound; NIST SP 811 (2008),
# appendix B, for conventional water and mercury columns and the mechanical horsepower.
DEFINITIONS = """
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
SPELLINGS = {
    "%": "percent", "percent of range": "percent", "% of range": "percent", "°": "degree",
    "°c": "degc", "° c": "degc", "deg c": "degc", "°f": "degf", "° f": "degf", "deg f": "degf",
    "delta degc": "delta_degc", "delta degf": "delta_degf", "δ°c": "delta_degc", "δ°f": "delta_degf",
    '"': "inch", "″": "inch", "''": "inch", "in.": "inch",
    "in h2o": "inh2o", "in. h2o": "inh2o", '"h2o': "inh2o", '" h2o': "inh2o", "″h2o": "inh2o",
    "inches h2o": "inh2o", "inch h2o": "inh2o", "inches of water": "inh2o", "in wc": "inh2o", '"wc': "inh2o",
    "mm h2o": "mmh2o", "cm h2o": "cmh2o", "ft h2o": "fth2o",
    "in hg": "inhg", "in. hg": "inhg", '"hg': "inhg", "inches of mercury": "inhg", "mm hg": "mmhg",
    "cubic feet per minute": "cfm", "cu ft/min": "cfm", "cu in": "inch^3", "cu. in.": "inch^3",
    "1/min": "rpm", "min^-1": "rpm",
}  # fmt: skip


class Kind(NamedTuple):
    """One kind of quantity: its SI unit, and how a message speaks of it."""

    si: str
    noun: str
    example: str
    allowed: str


_LENGTH = ("metre", "a length", "86 mm", "mm, cm, m, in, ft, thou")
_PRESSURE = ("pascal", "a pressure", "28 inH2O", "inH2O, mmH2O, Pa, hPa, kPa, mbar, bar, inHg, mmHg, psi")
KINDS: dict[str, Kind] = {
    "length": Kind(*_LENGTH),
    "lift": Kind("metre", "a length", "2.5 mm", "mm, cm, m, in, thou"),
    "altitude": Kind("metre", "a length", "350 m", "m, ft"),
    "pressure": Kind(*_PRESSURE),
    "test pressure": Kind(*_PRESSURE),
    "barometer": Kind("pascal", "a pressure", "1013 hPa", "hPa, kPa, mbar, inHg, mmHg, psi"),
    "flow": Kind("metre ** 3 / second", "a volume flow", "120 cfm", "cfm, L/s, L/min, m3/h, m3/s, ft3/min"),
    "mass flow": Kind("kilogram / second", "a mass flow", "150 g/s", "g/s, kg/s, kg/h, lb/min, lb/h"),
    "temperature": Kind("kelvin", "a temperature", "21.5 degC", "degC, degF, K"),
    "temperature difference": Kind(
        "kelvin", "a temperature difference", "0.5 delta_degC", "delta_degC, delta_degF, K"
    ),
    "fraction": Kind("fraction", "a percentage", "5 %", "%"),
    "angle": Kind("radian", "an angle", "45 deg", "deg, rad"),
    "speed": Kind("radian / second", "a rotational speed", "8200 rpm", "rpm, rad/s"),
    "volume": Kind("metre ** 3", "a volume", "46.8 cc", "cc, mL, L, in3, m3"),
    "area": Kind("metre ** 2", "an area", "640 mm2", "mm2, cm2, in2, m2"),
    "density": Kind("kilogram / metre ** 3", "a density", "1.225 kg/m3", "kg/m3, lb/ft3"),
    "power": Kind("watt", "a power", "95 kW", "kW, W, hp"),
    "torque": Kind("newton * metre", "a torque", "180 N*m", "N*m, lbf*ft"),
    "velocity": Kind("metre / second", "a speed", "20 m/s", "m/s, ft/s, ft/min"),
}
