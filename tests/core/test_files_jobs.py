"""Jobs: every key of a job file, folders and uploads, stages, benches, targets, order of work."""

from __future__ import annotations

import math
import os
from dataclasses import fields, replace
from pathlib import Path

import pytest

from core.files.load import load_files, load_job
from core.job import Bench, BenchSheet, CamLobe, Engine, Job, Sides, Stage, Valve

TABLE = "lift [mm],intake [L/s]\n1,21.4\n2,43.1\n"
STAGE = '[[stage]]\nname = "as cast"\n'


def sheet(*keys: str, table: str = TABLE) -> str:
    return "".join(f"# {key}\n" for key in keys) + table


def put(folder: Path, **files: str) -> Path:
    """Write files and return their folder; the job file goes under ``job``."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in files.items():
        file = folder / ("job.toml" if name == "job" else f"{name}.csv")
        file.write_text(text, encoding="utf-8", newline="")
    return folder


def job_of(*paths: Path, **given: object) -> Job:
    loaded = load_job(list(paths), **given)
    assert loaded.problems == ()
    assert loaded.job is not None
    return loaded.job


def problems_of(*paths: Path, **given: object) -> list[str]:
    loaded = load_job(list(paths), **given)
    assert loaded.job is None
    assert all(problem.cure for problem in loaded.problems)
    return [str(problem) for problem in loaded.problems]


def codes(job: Job) -> list[tuple[str, str]]:
    return [(finding.level, finding.code) for finding in job.findings]


# --- the job file ---------------------------------------------------------------------

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


def every_key(folder: Path) -> Path:
    put(folder / "references", **{"reference-four": sheet("stage: whatever")})
    cam = "angle [deg],lift [mm]\n0,0\n60,4\n120,9.6\n180,4\n240,0\n"
    return put(
        folder / "hillclimb",
        job=EVERY_KEY,
        one=sheet("stage: As  Cast", "bench: SHOP bench"),
        **{"cam-exhaust": cam},
    )


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
    job = job_of(put(tmp_path / "plain", job="# nothing yet\n", **{"as cast": sheet("port: 1")}))
    assert (job.title, job.engine, job.benches, job.target) == ("plain", None, (), None)
    assert (job.valves, job.cams) == (Sides(None, None), Sides(None, None))
    assert job.reference_pressure_pa == 28 * 249.08891
    assert (job.standard_air, job.pressure_rule) == ("ISO 2533", "square root")
    assert [stage.name for stage in job.stages] == ["as cast"]


def test_a_plate_in_a_plenum_has_no_pipe(tmp_path: Path) -> None:
    text = '[[bench]]\nmeter = "plate pressure drop"\nplate_diameter = "40 mm"\npipe_diameter = "plenum"\n'
    job = job_of(put(tmp_path, job=text, one=sheet(table="lift [mm],intake [inH2O]\n1,3\n")))
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
    found = load_job([put(tmp_path, job=text, one=sheet("stage: as cast"))]).problems
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
    (only,) = problems_of(put(tmp_path, job=text, one=sheet("stage: as cast")))
    assert only.startswith("job.toml")


# --- stages ----------------------------------------------------------------------------


def test_a_stage_without_sheets_is_noted_unless_it_is_planned(tmp_path: Path) -> None:
    text = STAGE + '[[stage]]\nname = "next"\n[[stage]]\nname = "later"\nplanned = true\n'
    job = job_of(put(tmp_path, job=text, one=sheet("stage: as cast", "port: 1")))
    assert codes(job) == [("note", "stage-without-sheets")]
    assert (job.findings[0].line, job.findings[0].values) == (4, (("next", "text"),))


def test_a_planned_stage_that_was_measured_is_looked_at(tmp_path: Path) -> None:
    job = job_of(put(tmp_path, job=STAGE + "planned = true\n", one=sheet("stage: as cast", "port: 1")))
    assert codes(job) == [("look", "planned-but-measured")]


def test_findings_name_their_stage(tmp_path: Path) -> None:
    job = job_of(put(tmp_path, job=STAGE, one=sheet("stage: AS CAST", "port: 1", "weather: rain")))
    assert [(f.code, f.file, f.line, f.stage) for f in job.findings] == [
        ("unknown-key", "one.csv", 3, "as cast")
    ]


def test_a_stage_may_come_from_the_files_name(tmp_path: Path) -> None:
    assert job_of(put(tmp_path, job=STAGE, **{"As Cast": sheet()})).sheets[0].stage == "as cast"


@pytest.mark.parametrize(
    ("keys", "order", "asks"),
    [
        ({"a": ["date: 2026-03-14"], "b": ["date: 2026-03-13"], "c": ["date: 2026-01-01"]}, "cba", []),
        ({"a": ["date: 2026-03-14", "time: 14:00"], "b": ["date: 2026-03-14", "time: 9:30"]}, "ba", []),
        ({"a": ["date: 2026-03-14", "order: 2"], "b": ["date: 2026-03-14", "order: 1"]}, "ba", []),
        ({"a": ["order: 3"], "b": ["order: 1"], "c": ["order: 2"]}, "bca", []),
        ({"a": ["date: 2026-03-14", "order: 1"], "b": ["date: 2026-03-13", "order: 2"]}, "ba", []),
        ({"a": ["date: 2026-03-14"], "b": ["date: 2026-03-14"], "c": ["date: 2026-01-01"]}, "cab", ["a, b"]),
        ({"a": ["date: 2026-03-14"], "b": []}, "ab", ["a, b"]),
        ({"b": [], "a": []}, "ab", ["a, b"]),
        ({"a": []}, "a", []),
    ],
)
def test_order_of_work_without_a_job_file(
    tmp_path: Path, keys: dict[str, list[str]], order: str, asks: list[str]
) -> None:
    job = job_of(put(tmp_path, **{name: sheet("port: 1", *lines) for name, lines in keys.items()}))
    assert "".join(stage.name for stage in job.stages) == order
    asked = [finding for finding in job.findings if finding.code == "order-of-work"]
    assert [finding.values[0][0] for finding in asked] == asks
    assert all(finding.level == "look" and finding.file is None for finding in asked)


def test_bare_sheets_stand_in_the_order_given(tmp_path: Path) -> None:
    put(tmp_path, a=sheet(), b=sheet())
    job = job_of(tmp_path / "b.csv", tmp_path / "a.csv")
    assert ([stage.name for stage in job.stages], job.name) == (["b", "a"], tmp_path.name)
    assert job_of(tmp_path / "a.csv").name == "a"


def test_sheets_of_one_stage_stay_together(tmp_path: Path) -> None:
    put(
        tmp_path,
        a=sheet("stage: Bowl blend", "date: 2026-03-14", "port: 1"),
        b=sheet("stage: as cast", "date: 2026-03-01", "port: 1"),
        c=sheet("stage: bowl  BLEND", "date: 2026-02-01", "port: 2"),
    )
    job = job_of(tmp_path)
    assert [stage.name for stage in job.stages] == ["Bowl blend", "as cast"]  # its first day counts
    assert [one.stage for one in job.sheets] == ["Bowl blend", "as cast", "Bowl blend"]


def test_a_port_is_one_port_however_its_name_is_typed(tmp_path: Path) -> None:
    job = job_of(
        put(
            tmp_path,
            a=sheet("stage: x", "port: Front  left", "setup: B"),
            b=sheet("stage: x", "port: front left", "setup: b"),
            c=sheet("stage: x", "port: rear"),
        )
    )
    assert [one.port for one in job.sheets] == ["Front left", "Front left", "rear"]
    assert [one.setup for one in job.sheets] == ["B", "B", None]


def test_checks_of_the_bench_are_no_stage(tmp_path: Path) -> None:
    check = sheet("role: leak", table="intake [cfm]\n0.8\n")
    job = job_of(put(tmp_path, job=STAGE, one=sheet("stage: as cast"), shut=check))
    assert [(one.file, one.role) for one in job.sheets] == [("one.csv", "stage"), ("shut.csv", "leak")]
    assert "No sheet is of a stage" in problems_of(put(tmp_path / "only", shut=check))[0]


# --- benches ---------------------------------------------------------------------------


def test_without_a_stated_bench_the_columns_tell_the_meter(tmp_path: Path) -> None:
    table = "lift [mm],intake [%]\n1,20\n"
    job = job_of(put(tmp_path, a=sheet("intake range: 200 cfm", "port: 1", table=table)))
    assert job.benches == (Bench(meter="percent of range"),)
    assert codes(job) == [("note", "meter-from-columns")]


def test_without_a_stated_bench_names_still_tell_benches_apart(tmp_path: Path) -> None:
    table = "lift [mm],intake [%]\n1,20\n"
    names = {"a": "bench: Shop", "b": "bench: shop", "c": "bench: old", "d": "note: none"}
    folder = put(
        tmp_path, **{n: sheet("intake range: 200 cfm", key, table=table) for n, key in names.items()}
    )
    job = job_of(folder)
    assert [one.bench for one in job.sheets] == ["Shop", "Shop", "old", None]
    assert [job.bench_of(one).name for one in job.sheets] == ["Shop", "Shop", "old", None]
    assert {bench.meter for bench in job.benches} == {"percent of range"}


def test_columns_of_several_kinds_need_a_stated_bench(tmp_path: Path) -> None:
    percent = sheet("intake range: 200 cfm", table="lift [mm],intake [%]\n1,20\n")
    (only,) = problems_of(put(tmp_path, a=sheet(), b=percent))
    assert "b.csv, line 3: 'intake' is given as percent of range" in only


def test_a_corrected_print_out_is_a_flow_on_any_bench(tmp_path: Path) -> None:
    text = '[[bench]]\nmeter = "percent of range"\n' + STAGE
    job_of(put(tmp_path, job=text, one=sheet("stage: as cast", "already corrected: yes")))


def test_of_several_benches_one_has_to_be_named(tmp_path: Path) -> None:
    text = '[[bench]]\nname = "a"\n[[bench]]\nname = "b"\n' + STAGE
    job = job_of(
        put(tmp_path, job=text, one=sheet("stage: as cast"), two=sheet("stage: as cast", "bench: B"))
    )
    assert [one.bench for one in job.sheets] == [None, "b"]
    assert codes(job) == [("look", "bench-not-named")]
    assert job.findings[0].values == (("a", "text"), ("one.csv", "text"))


# --- other files -----------------------------------------------------------------------


def test_files_for_another_purpose_are_no_bench_sheets(tmp_path: Path) -> None:
    cam = "angle [deg];lift [mm]\n0;0\n60;4,5\n120;0\n"
    text = STAGE + '[intake]\nlift_table = "./cam.csv"\n[target]\nsheets = ["reference.csv"]\n'
    folder = put(
        tmp_path, job=text, one=sheet("stage: as cast"), cam=cam, reference=sheet("stage: reference")
    )
    put(folder / "history", one=sheet("stage: nowhere"))
    put(folder, **{".hidden": "nonsense"})
    (folder / "notes.txt").write_text("Call them on Monday.", encoding="utf-8")
    (folder / "photo.jpg").write_bytes(b"\xff\xd8\xff")
    job = job_of(folder)
    assert [one.file for one in job.sheets] == ["one.csv"]
    assert job.cams.intake is not None and len(job.cams.intake.table) == 3
    assert job.target is not None and job.target.name == "reference"
    assert [(f.code, f.values) for f in job.findings] == [("unread-files", (("notes.txt", "text"),))]


def test_both_cams_may_share_a_lift_table(tmp_path: Path) -> None:
    text = STAGE + '[intake.cam]\nlift_table = "cam.csv"\n[exhaust.cam]\nlift_table = "cam.csv"\n'
    cam = "angle [deg],lift [mm]\n0,0\n60,4\n120,0\n"
    job = job_of(put(tmp_path, job=text, one=sheet("stage: as cast"), cam=cam))
    assert job.cams.intake == job.cams.exhaust != None  # noqa: E711


def test_a_target_may_lie_among_the_sheets(tmp_path: Path) -> None:
    files = {"one": sheet("stage: as cast"), "two": sheet("stage: big head", "role: target")}
    job = job_of(put(tmp_path, job=STAGE, **files))
    assert job.target is not None and job.target.name == "big head"
    assert [one.file for one in job.sheets] == ["one.csv"]
    files["three"] = sheet("stage: other head", "role: target")
    assert "several castings: other head, big head" in problems_of(put(tmp_path, **files))[0]


def test_a_check_sheet_is_no_target(tmp_path: Path) -> None:
    text = STAGE + '[target]\nsheets = ["leak.csv"]\n'
    leak = sheet("role: leak")
    (only,) = problems_of(put(tmp_path, job=text, one=sheet("stage: as cast"), leak=leak))
    assert only.startswith("leak.csv, line 1: A leak sheet cannot be a target.")


def test_paths_stay_inside_the_jobs_root(tmp_path: Path) -> None:
    put(tmp_path, secret=sheet())
    put(tmp_path / "jobs" / "references", reference=sheet())
    text = STAGE + '[target]\nname = "t"\nsheets = ["{}"]\n'
    folder = tmp_path / "jobs" / "one"

    def load(name: str, root: Path | None = None) -> list[str]:
        put(folder, job=text.format(name), one=sheet("stage: as cast"))
        return [str(problem) for problem in load_job([folder], root).problems]

    assert load("../references/reference.csv") == []
    outside = "lies outside the jobs' folder"
    assert outside in load("../../secret.csv")[0]
    assert outside in load((tmp_path / "secret.csv").as_posix())[0]
    assert outside in load("../references/reference.csv", root=folder)[0]
    assert load("../../secret.csv", root=tmp_path) == []
    assert "There is no file" in load("../references/none.csv")[0]
    assert "There is no file" in load("../references")[0]
    assert "There is no file" in load("\\u0000")[0]
    assert "There is no file" in load("x" * 5000)[0]


@pytest.mark.skipif(os.name == "nt", reason="making a link needs a privilege there")
def test_a_link_out_of_the_root_is_not_followed(tmp_path: Path) -> None:
    put(tmp_path, secret=sheet())
    folder = put(
        tmp_path / "jobs" / "one",
        job=STAGE + '[target]\nsheets = ["link.txt"]\n',
        one=sheet("stage: as cast"),
    )
    (folder / "link.txt").symlink_to(tmp_path / "secret.csv")
    assert "lies outside" in problems_of(folder)[0]


def test_a_link_in_a_circle_is_a_missing_file(tmp_path: Path) -> None:
    folder = put(tmp_path, job=STAGE + '[target]\nsheets = ["a.txt"]\n', one=sheet("stage: as cast"))
    (folder / "a.txt").symlink_to(folder / "b.txt")
    (folder / "b.txt").symlink_to(folder / "a.txt")
    assert "There is no file" in problems_of(folder)[0]


# --- ways in ---------------------------------------------------------------------------


def uploaded(folder: Path) -> dict[str, bytes]:
    return {file.name: file.read_bytes() for file in folder.rglob("*") if file.is_file()}


def test_a_folder_and_its_upload_are_one_job(tmp_path: Path, demo_runs: Path) -> None:
    for folder in sorted(path for path in demo_runs.iterdir() if path.is_dir() and path.name[0] != "."):
        job = job_of(folder)
        files = {name: data for name, data in sorted(uploaded(folder).items()) if not name.endswith(".md")}
        again = load_files(files, folder.name)
        assert again.problems == ()
        assert again.job == job
        assert job_of(folder / "job.toml") == job if (folder / "job.toml").exists() else True
    folder = every_key(tmp_path)
    again = load_files(uploaded(folder) | uploaded(tmp_path / "references"), "hillclimb")
    assert again.job is not None
    assert replace(again.job, findings=()) == replace(job_of(folder), findings=())


def test_names_of_uploads_are_never_opened(tmp_path: Path) -> None:
    put(tmp_path, real=sheet())
    name = str(tmp_path / "real.csv")
    loaded = load_files({name: b"", "../../etc/passwd": b"a\x00b\x07"}, "upload")
    assert [(p.file, p.text) for p in loaded.problems] == [
        (name, "The file is empty."),
        ("../../etc/passwd", "The file holds binary data, not plain text."),
    ]


def test_an_upload_without_a_named_file_says_so() -> None:
    text = STAGE + '[target]\nsheets = ["../references/reference.csv"]\n'
    loaded = load_files({"job.toml": text.encode(), "one.csv": sheet("stage: as cast").encode()}, "upload")
    (only,) = loaded.problems
    assert str(only).startswith("job.toml, line 4: '../references/reference.csv' is not among the files.")


def test_an_upload_says_which_file_it_took_for_a_named_one() -> None:
    text = STAGE + '[target]\nsheets = ["../references/reference.csv"]\n'
    files = {"job.toml": text, "one.csv": sheet("stage: as cast"), "reference.csv": sheet()}
    loaded = load_files({name: text.encode() for name, text in files.items()}, "upload")
    assert loaded.job is not None and loaded.job.target is not None
    assert codes(loaded.job) == [("look", "named-file-matched")]
    assert loaded.job.findings[0].values == (
        ("../references/reference.csv", "text"),
        ("reference.csv", "text"),
    )


def test_the_fingerprint_follows_names_and_bytes_only(tmp_path: Path) -> None:
    first = job_of(every_key(tmp_path / "here")).fingerprint
    assert job_of(every_key(tmp_path / "there")).fingerprint == first
    assert len(first) == 9 and first[4] == "-"
    folder = every_key(tmp_path / "changed")
    (folder.parent / "references" / "reference-four.csv").write_text(sheet("stage: other"), encoding="utf-8")
    assert job_of(folder).fingerprint != first
    one = load_files({"ab": b"", "c.csv": TABLE.encode()}, "x")
    assert one.job is None


def test_missing_and_odd_paths(tmp_path: Path) -> None:
    put(tmp_path, a=sheet())
    put(tmp_path / "empty")
    assert problems_of(tmp_path / "none.csv") == [
        "none.csv: There is no such file. Check its name and folder."
    ]
    assert "no bench sheets" in problems_of(tmp_path / "empty")[0]
    assert "A folder and other files" in problems_of(tmp_path, tmp_path / "a.csv")[0]
    assert "given twice" in problems_of(tmp_path / "a.csv", tmp_path / "a.csv")[0]
    assert "cannot be read" in problems_of(tmp_path / ("x" * 300))[0]
    assert "cannot be read" in problems_of(tmp_path / "a\0b")[0]
    assert load_job([]).problems[0].text == "No file was given."


def test_two_sheets_of_one_name_are_told_apart(tmp_path: Path) -> None:
    put(tmp_path / "a", one=sheet("stage: as cast"))
    put(tmp_path / "b", one=sheet("stage: bowl blend"))
    job = job_of(tmp_path / "a" / "one.csv", tmp_path / "b" / "one.csv")
    assert [one.file for one in job.sheets] == ["a/one.csv", "b/one.csv"]


def test_given_units_reach_every_sheet_and_are_checked(tmp_path: Path) -> None:
    table = "lift,intake\n0.1,44\n"
    put(tmp_path, a=sheet(table=table), b=sheet(table=table))
    job = job_of(tmp_path, units={"lift": "in", "flow": "cfm", "test pressure": "28 inH2O"})
    assert {one.readings.intake[0].lift_m for one in job.sheets} == {0.00254}
    wrong = problems_of(tmp_path, units={"lift": "inH2O", "flow": "furlong", "test pressure": "28 mm"})
    assert [text.split(":")[0] for text in wrong] == ["--lift", "--flow", "--test-pressure"]


def test_all_problems_come_at_once_in_the_order_of_the_files(tmp_path: Path) -> None:
    text = 'titel = "x"\n' + STAGE + 'price = "much"\n'
    folder = put(
        tmp_path,
        job=text,
        a=sheet("stage: as csat", "bore: 28 inH2O", table="lift [mm],intake [L/s]\n1,x\n-2,3\n"),
        b="",
        c=sheet("stage: nowhere"),
    )
    found = load_job([folder]).problems
    assert [(p.file, p.line) for p in found] == [
        ("job.toml", 1),
        ("job.toml", 4),
        ("a.csv", 2),
        ("a.csv", 4),
        ("a.csv", 5),
        ("b.csv", None),
        ("c.csv", 1),
    ]


def test_a_broken_job_file_hides_no_broken_sheet(tmp_path: Path) -> None:
    found = load_job([put(tmp_path, job="x = ", a=sheet(table="lift [mm],intake [L/s]\n1,x\n"))]).problems
    assert [p.file for p in found] == ["job.toml", "a.csv"]


def test_a_job_can_be_hashed(demo_runs: Path) -> None:
    job = job_of(demo_runs / "sprint-four")
    assert isinstance(hash(job), int)
    assert all(isinstance(one, BenchSheet) for one in job.sheets)
