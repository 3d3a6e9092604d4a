"""Jobs written as files for tests of the readers: a folder, its bench sheets, and what comes of them."""

from __future__ import annotations

from pathlib import Path

from core.files.load import load_job
from core.job import Job

TABLE = "lift [mm],intake [L/s]\n1,21.4\n2,43.1\n"
STAGE = '[[stage]]\nname = "as cast"\n'
EVERY_KEY = """\
title = "Hillclimb four"
customer = "Demo customer"
casting = "two-valve, invented"
serial_number = 1234
note = \"\"\"first line
second line\"\"\"
currency = "EUR"
reference_pressure = "25 inH2O"
standard_air = "0.075 lb/ft3"
pressure_rule = "Isentropic"

[engine]
kind = "four-stroke spark ignition"
aspiration = "natural"
fuel = "petrol"
cylinders = 4
bore = "86 mm"
stroke = "3.4 in"
rod_length = "143 mm"
compression_ratio = 11.8
redline = "8200 rpm"
gasket_volume = "7.5 cc"
deck_volume = "-0.4 cc"
dish_volume = "3 cc"
chamber_plan_area = "52 cm2"

[intake]
valve_diameter = "33.5 mm"
valves_per_cylinder = 2
stem_diameter = "5.5 mm"
throat_diameter = "29 mm"
seat_angle = "45 deg"
seat_width = "1.2 mm"
[intake.cam]
lift = "6.4 mm"
duration = "252 deg"
at_lift = "0.050 in"
at = "tappet"
rocker_ratio = 1.6
lash = "0.2 mm"
centreline = "106 deg"

[exhaust.cam]
lift_table = "cam-exhaust.csv"

[[bench]]
name = "shop bench"
meter = "volume flow"
scale_air = "iso 2533"
calibrated_at = "28 inH2O"
intake_meter = "before the piece"
exhaust_meter = "after the piece"
repeatability = "0.5 %"
lift_setting = "0.02 mm"
calibration = "1.5 %"
test_pressure_reading = "0.05 inH2O"
barometer_reading = "1 hPa"
temperature_reading = "0.5 delta_degC"
humidity_reading = "5 %"

[[bench]]
name = "plate bench"
meter = "plate pressure drop"
plate_diameter = "40 mm"
pipe_diameter = "80 mm"
taps = "D and D/2"

[[stage]]
name = "as cast"
price = 0
chamber_volume = "46.8 cc"
port_volume = "160 cc"
smallest_section = "640 mm2"
[[stage]]
name = "larger valves"
price = 420.50
planned = true
[stage.intake]
valve_diameter = "35 mm"
[stage.exhaust]
throat_diameter = "26 mm"

[target]
name = "shop reference casting"
sheets = ["../references/reference-four.csv"]
[target.intake]
valve_diameter = "36 mm"
"""


def sheet_text(*keys: str, table: str = TABLE) -> str:
    """Return a bench sheet with these lines above its table."""
    return "".join(f"# {key}\n" for key in keys) + table


def put(folder: Path, **files: str) -> Path:
    """Write files and return their folder; the job file goes under ``job``."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in files.items():
        file = folder / ("job.toml" if name == "job" else f"{name}.csv")
        file.write_text(text, encoding="utf-8", newline="")
    return folder


def job_of(*paths: Path, **given: object) -> Job:
    """Return the job that files are read as, known to have no problem."""
    loaded = load_job(list(paths), **given)
    assert loaded.problems == ()
    assert loaded.job is not None
    return loaded.job


def problems_of(*paths: Path, **given: object) -> list[str]:
    """Return what is wrong with files known to be unusable, each with its cure."""
    loaded = load_job(list(paths), **given)
    assert loaded.job is None
    assert all(problem.cure for problem in loaded.problems)
    return [str(problem) for problem in loaded.problems]


def codes(job: Job) -> list[tuple[str, str]]:
    """Return level and code of what the readers noticed."""
    return [(finding.level, finding.code) for finding in job.findings]


def every_key(folder: Path) -> Path:
    """Write a job that states every key, beside a folder of references; return its folder."""
    put(folder / "references", **{"reference-four": sheet_text("stage: whatever")})
    cam = "angle [deg],lift [mm]\n0,0\n60,4\n120,9.6\n180,4\n240,0\n"
    return put(
        folder / "hillclimb",
        job=EVERY_KEY,
        one=sheet_text("stage: As  Cast", "bench: SHOP bench"),
        **{"cam-exhaust": cam},
    )
