"""What the damage is done to: the demo jobs, the files that must be refused, and the spreadsheets."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from core.files.folder import NAME

ROOT = Path(__file__).resolve().parents[2]
_DEMO, _BAD, _BOOKS = ROOT / "demo_runs", ROOT / "tests" / "files_bad", ROOT / "tests" / "spreadsheets"

Files = dict[str, bytes]


def _read(folder: Path) -> Files:
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir()) if path.is_file()}


@cache
def _folders(place: Path) -> tuple[Files, ...]:
    return tuple(_read(folder) for folder in sorted(place.iterdir()) if folder.is_dir())


@cache
def good_sheets() -> tuple[tuple[str, bytes], ...]:
    """Return the bench sheets of the demo jobs, and one that uses every key and column."""
    found = [one for files in _folders(_DEMO) for one in files.items() if one[0].endswith(".csv")]
    return (*found, *([("every-key.csv", EVERY_KEY.encode())] * (len(found) // 4)))


@cache
def bad_sheets() -> tuple[tuple[str, bytes], ...]:
    """Return the bench sheets that must be refused."""
    return tuple(_read(_BAD).items())


def good_jobs() -> tuple[Files, ...]:
    """Return the demo jobs that have a job file, and one that uses what those do not."""
    return (*(files for files in _folders(_DEMO) if NAME in files), EVERY_TABLE)


@cache
def bad_jobs() -> tuple[Files, ...]:
    """Return the job folders that must be refused."""
    return tuple(files for files in _folders(_BAD) if NAME in files)


@cache
def books() -> tuple[tuple[str, bytes], ...]:
    """Return spreadsheets of many shapes."""
    return tuple(one for one in _read(_BOOKS).items() if not one[0].endswith(".json"))


EVERY_KEY = """\
# stage: bowl blend
# port: 2
# role: stage
# date: 2026-03-14
# time: 14:30
# order: 3
# bench: shop bench
# setup: A
# note: invented
# barometer: 984 hPa
# altitude: 120 m
# air temperature: 21.5 degC
# humidity: 46 %
# meter temperature: 24 degC
# piece temperature: 22 degC
# test pressure: 25 inH2O
# bore: 86 mm
# intake entry: clay radius
# exhaust exit: bare
# valves open: 2
# test valve: the head's own
# spark plug: fitted
# already corrected: no
# intake range: 300 L/s
# exhaust range: 200 L/s
# swirl meter: paddle
# a remark
lift [mm],intake [L/s],exhaust [L/s],test pressure [inH2O],meter temperature [degC],swirl
1,21.4,17.0,25,24,0.1
2,43.1,33.8,25,24.5,0.2
3,62.0,,25,25,
4,80.2,60.1,20,25,0.4
4,80.4,60.3,20,25,0.4
6,109.9,83.0,15,25,0.6

taken before lunch
"""

_SHEET = """\
# stage: {stage}
# port: 1
# bench: plate bench
# barometer: 1002 hPa
# air temperature: 20 degC
# humidity: 50 %
# test pressure: 20 inH2O
lift [mm],intake [inH2O],exhaust [inH2O]
2,{0},{1}
4,{2},{3}
6,{4},{5}
8,{6},{7}
"""

EVERY_TABLE: Files = {
    NAME: b"""\
title = "Every table"
customer = "Nobody"
casting = "invented"
serial_number = 12
note = \"\"\"
Invented.
On two lines.\"\"\"
currency = "EUR"
reference_pressure = "28 inH2O"
standard_air = "ISO 2533"
pressure_rule = "isentropic"

[engine]
cylinders = 4
bore = "86 mm"
stroke = "86 mm"
rod_length = "143 mm"
redline = "8200 rpm"
gasket_volume = "9 cc"
deck_volume = "2 cc"
dish_volume = "-1 cc"
chamber_plan_area = "52 cm2"

[intake]
valve_diameter = "33.5 mm"
valves_per_cylinder = 2
stem_diameter = "5.5 mm"
throat_diameter = "29 mm"
seat_angle = "45 deg"
seat_width = "1.2 mm"
[intake.cam]
lift_table = "cam.csv"
[exhaust]
valve_diameter = "28 mm"
[exhaust.cam]
lift = "9.2 mm"
duration = "248 deg"
at_lift = "1 mm"
at = "valve"
lash = "0.2 mm"
centreline = "106 deg"

[[bench]]
name = "plate bench"
meter = "plate pressure drop"
plate_diameter = "50 mm"
pipe_diameter = "plenum"
taps = "corner"
scale_air = "ISO 2533"
intake_meter = "after the piece"
repeatability = "0.5 %"
lift_setting = "0.02 mm"
calibration = "1.5 %"
test_pressure_reading = "0.05 inH2O"
barometer_reading = "1 hPa"
temperature_reading = "0.5 delta_degC"
humidity_reading = "5 %"

[[stage]]
name = "as cast"
price = 0
chamber_volume = "46.8 cc"
port_volume = "190 cc"
smallest_section = "6.1 cm2"
[[stage]]
name = "bowl blend"
price = 420.5
[stage.intake]
valve_diameter = "34.5 mm"
[[stage]]
name = "port"
planned = true

[target]
name = "reference casting"
[target.typed]
lift = [2, 4, 6, 8]
lift_unit = "mm"
intake = [30, 58, "83 L/s", ""]
exhaust = [24, 46.5, 63, 70]
flow_unit = "L/s"
test_pressure = "28 inH2O"
uncertainty = "2 %"

[dyno]
power = "95 kW"
stage = "as cast"
standard = "ISO 1585"
""",
    "cam.csv": b"angle [deg],lift [mm]\n"
    + b"".join(
        b"%d,%.3f\n" % (angle, 10 * max(0.0, 1 - ((angle - 470) / 130) ** 2)) for angle in range(330, 620, 10)
    ),
    "as-cast.csv": _SHEET.format(1.1, 0.8, 3.9, 2.6, 6.9, 4.3, 8.2, 5.1, stage="as cast").encode(),
    "bowl.csv": _SHEET.format(1.2, 0.8, 4.2, 2.9, 7.5, 4.9, 9.0, 5.8, stage="bowl blend").encode(),
}
