"""The job file: every key, every way to write it, the line of each problem."""

from __future__ import annotations

import math
from dataclasses import fields
from pathlib import Path

import pytest

from core.files.load import load_job
from core.job import Bench, CamLobe, Engine, Sides, Stage, Valve
from tests.core.written_jobs import EVERY_KEY, every_key, job_of, problems_of, put, sheet_text


def test_every_key_is_read(tmp_path: Path) -> None:
    job = job_of(every_key(tmp_path))
    inch_water = 249.08891
    assert (job.name, job.title, job.customer) == ("hillclimb", "Hillclimb four", "Demo customer")
    assert (job.casting, job.serial_number, job.currency) == ("two-valve, invented", "1234", "EUR")
    assert job.note == "first line\nsecond line"
    assert job.reference_pressure_pa == pytest.approx(25 * inch_water)
    assert (job.standard_air, job.pressure_rule) == ("0.075 lb/ft3", "isentropic")
    assert job.engine == Engine(
        kind="four-stroke spark ignition",
        aspiration="natural",
        fuel="petrol",
        cylinders=4,
        bore_m=0.086,
        stroke_m=pytest.approx(0.08636),
        rod_length_m=0.143,
        compression_ratio=11.8,
        redline_rad_s=pytest.approx(8200 * math.pi / 30),
        gasket_volume_m3=pytest.approx(7.5e-6),
        deck_volume_m3=pytest.approx(-0.4e-6),
        dish_volume_m3=pytest.approx(3e-6),
        chamber_plan_area_m2=pytest.approx(52e-4),
    )
    assert job.valves == Sides(Valve(0.0335, 2, 0.0055, 0.029, pytest.approx(math.pi / 4), 0.0012), None)
    assert job.cams.intake == CamLobe(
        lift_m=0.0064,
        duration_rad=pytest.approx(math.radians(252)),
        at_lift_m=0.00127,
        at="tappet",
        rocker_ratio=1.6,
        lash_m=0.0002,
        centreline_rad=pytest.approx(math.radians(106)),
    )
    assert job.cams.exhaust is not None
    assert job.cams.exhaust.table[2] == pytest.approx((math.radians(120), 0.0096))
    assert job.benches[0] == Bench(
        name="shop bench",
        meter="volume flow",
        scale_air="ISO 2533",
        calibrated_at_pa=pytest.approx(28 * inch_water),
        intake_meter="before the piece",
        exhaust_meter="after the piece",
        repeatability=0.005,
        lift_setting_m=0.00002,
        calibration=0.015,
        test_pressure_reading_pa=pytest.approx(0.05 * inch_water),
        barometer_reading_pa=100.0,
        temperature_reading_k=0.5,
        humidity_reading=0.05,
    )
    assert job.benches[1] == Bench(
        name="plate bench",
        meter="plate pressure drop",
        plate_diameter_m=0.040,
        pipe_diameter_m=0.080,
        taps="D and D/2",
    )
    first, second = job.stages
    line = EVERY_KEY.splitlines().index
    assert first == Stage("as cast", 0.0, False, 46.8e-6, 160e-6, 640e-6, line=line('name = "as cast"') + 1)
    assert (second.price, second.planned) == (420.5, True)
    assert second.valves == Sides(Valve(diameter_m=0.035), Valve(throat_diameter_m=0.026))
    assert [(one.stage, one.bench) for one in job.sheets] == [("as cast", "shop bench")]
    assert job.target is not None
    assert (job.target.name, job.target.valves.intake) == ("shop reference casting", Valve(diameter_m=0.036))
    assert [(one.file, one.role) for one in job.target.sheets] == [
        ("../references/reference-four.csv", "target")
    ]


def test_the_example_states_every_field_of_the_model() -> None:
    # a field that no key can set would stay unnoticed otherwise
    from core.files import jobfile

    for model, keys in (
        (Engine, jobfile._ENGINE),
        (Valve, jobfile._VALVE),
        (CamLobe, jobfile._CAM),
        (Bench, jobfile._BENCH),
        (Stage, jobfile._STAGE),
    ):
        stated = {field.attribute for field in keys.values()}
        assert {one.name for one in fields(model)} - stated <= {"table", "valves", "line"}, model
        assert all(f"{key} =" in EVERY_KEY for key in keys), model
    assert all(f"{key} =" in EVERY_KEY for key in jobfile._JOB)


def test_defaults_of_an_almost_empty_job_file(tmp_path: Path) -> None:
    job = job_of(put(tmp_path / "plain", job="# nothing yet\n", **{"as cast": sheet_text("port: 1")}))
    assert (job.title, job.engine, job.benches, job.target) == ("plain", None, (), None)
    assert (job.valves, job.cams) == (Sides(None, None), Sides(None, None))
    assert job.reference_pressure_pa == 28 * 249.08891
    assert (job.standard_air, job.pressure_rule) == ("ISO 2533", "square root")
    assert [stage.name for stage in job.stages] == ["as cast"]


def test_a_plate_in_a_plenum_has_no_pipe(tmp_path: Path) -> None:
    text = '[[bench]]\nmeter = "plate pressure drop"\nplate_diameter = "40 mm"\npipe_diameter = "plenum"\n'
    job = job_of(put(tmp_path, job=text, one=sheet_text(table="lift [mm],intake [inH2O]\n1,3\n")))
    assert job.benches[0].pipe_diameter_m is None


def test_lines_of_a_job_file_are_right_in_every_form(tmp_path: Path) -> None:
    text = (
        'note = """\n[engine]\nbore = "1 hPa"\n"""\n'  # 1-4: text, no table
        'engine.bore = "1 hPa"\n'  # 5: dotted
        'engine."stroke" = "2 hPa"\n'  # 6: quoted
        'intake = { valve_diameter = "3 hPa" }\n'  # 7: inline
        "[[stage]]  # remark\n"  # 8
        'name = "as cast"\n'  # 9
        "  [stage.intake]\n"  # 10
        '  valve_diameter = "4 hPa"\n'  # 11
        "[[stage]]\n"  # 12
        'name = "as cast"\n'  # 13
        "[stage.intake]\n"  # 14
        'valve_diameter = "5 hPa"\n'  # 15
    )
    found = load_job([put(tmp_path, job=text, one=sheet_text("stage: as cast"))]).problems
    assert [(p.line, p.text.split("'")[1]) for p in found] == [
        (5, "1 hPa"),
        (6, "2 hPa"),
        (7, "3 hPa"),
        (11, "4 hPa"),
        (13, "as cast"),
        (15, "5 hPa"),
    ]


@pytest.mark.parametrize(
    "text",
    ["a = ", "[engine", "x = 1\nx = 2\n", "[a]\n[a]\n", "\u0000", "a = {", "=" * 5000, "a = " + "[" * 5000],
)
def test_what_is_no_toml_is_one_problem(tmp_path: Path, text: str) -> None:
    (only,) = problems_of(put(tmp_path, job=text, one=sheet_text("stage: as cast")))
    assert only.startswith("job.toml")
