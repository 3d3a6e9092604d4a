"""Targets as job files give them: a stage of another job, and typed figures."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from core.files.load import load_files, load_job
from core.job import Job, Reading, Side, Valve
from core.results import Review
from core.review import review
from tests.core.written_jobs import job_of, put

OTHER, AIMED = "other", "aimed"
LIFTS = (1, 2, 3, 4, 5, 6)
BENCH = '[[bench]]\nname = "shop bench"\ncalibrated_at = "28 inH2O"\n'


def bench_sheet(stage: str, factor: float, *lines: str, pressure: str = "28 inH2O") -> str:
    head = [
        f"stage: {stage}",
        "port: 1",
        "date: 2026-03-14",
        "bench: shop bench",
        f"test pressure: {pressure}",
    ]
    rows = [f"{lift},{factor * (24 * lift - 1.5 * lift**2):.2f}" for lift in LIFTS]
    return "\n".join([*(f"# {line}" for line in (*head, *lines)), "lift [mm],intake [L/s]", *rows]) + "\n"


def stages(*names: str) -> str:
    return "".join(f'[[stage]]\nname = "{name}"\n' for name in names)


def two_jobs(root: Path, *, other: str = BENCH, aimed: str = BENCH, target: str = "", **sheets: str) -> Path:
    """Write a job with two stages, and one that aims at its second."""
    valves = '[intake]\nvalve_diameter = "33 mm"\n[[stage]]\nname = "cast"\n[[stage]]\nname = "Ported"\n'
    valves += '[stage.intake]\nvalve_diameter = "35 mm"\n'
    sheets = {"a": bench_sheet("cast", 1.0), "b": bench_sheet("ported", 1.2)} | sheets
    put(root / OTHER, job=f'title = "The other"\n{other}{valves}', **sheets)
    aim = f'[target]\njob = "../{OTHER}"\nstage = " ported "\n{target}'
    return put(root / AIMED, job=f"{aimed}{stages('first')}{aim}", a=bench_sheet("first", 1.1))


def only_problem(folder: Path) -> str:
    (problem,) = load_job([folder]).problems
    return str(problem)


def flows(result: Review, stage: str, side: Side = "intake") -> tuple[float | None, ...]:
    return next(one for one in result.stages if one.name == stage).side(side).flow_m3_s


# --- a stage of another job ------------------------------------------------------------


def test_a_stage_of_another_job_comes_with_its_valves_and_name(tmp_path: Path) -> None:
    job = job_of(two_jobs(tmp_path))
    assert job.target.name == "Ported of The other"
    assert job.target.valves.intake == Valve(diameter_m=0.035)
    assert job.target.valves.exhaust is None
    (sheet,) = job.target.sheets
    assert (sheet.file, sheet.role, sheet.stage) == ("../other/b.csv", "target", job.target.name)
    assert [one.file for one in job.sheets] == ["a.csv"]
    named = job_of(two_jobs(tmp_path, target='name = "house standard"\n'))
    assert named.target.name == "house standard"


def test_it_flows_what_it_flows_in_its_own_job(tmp_path: Path) -> None:
    folder = two_jobs(tmp_path, b=bench_sheet("ported", 1.2, pressure="15 inH2O"))
    target = review(job_of(folder)).target
    assert target.curves.intake.flow_m3_s == flows(review(job_of(tmp_path / OTHER)), "Ported")


@pytest.mark.parametrize("stage", ["as delivered", "seats cut"])
def test_its_plates_leaks_and_ranges_are_those_of_its_own_job(
    demo_runs: Path, tmp_path: Path, stage: str
) -> None:
    # The messy day has readings in percent, plates of four days and leaks of two.
    shutil.copytree(demo_runs / "messy-day", tmp_path / "messy-day")
    shutil.copytree(demo_runs / "sprint-four", tmp_path / AIMED)
    plain = review(job_of(tmp_path / AIMED))
    with (tmp_path / AIMED / "job.toml").open("a", encoding="utf-8", newline="\n") as file:
        file.write(f'\n[target]\njob = "../messy-day"\nstage = "{stage}"\n')
    aimed, messy = review(job_of(tmp_path / AIMED)), review(job_of(tmp_path / "messy-day"))
    for side in ("intake", "exhaust"):
        there = {  # by lift: what a finding stopped among its own stages may pass among others
            lift: flow
            for one in messy.stages
            if one.name == stage
            for lift, flow in zip(one.side(side).lift_m, one.side(side).flow_m3_s, strict=True)
        }
        curve = aimed.target.curves[side]
        both = [
            (flow, there[lift])
            for lift, flow in zip(curve.lift_m, curve.flow_m3_s, strict=True)
            if flow is not None and there.get(lift) is not None
        ]
        assert len(both) >= 6
        for flow, own in both:
            assert flow == pytest.approx(own, rel=1e-12)
    # A target on another bench moves no number of the work.
    for one, other in zip(aimed.stages, plain.stages, strict=True):
        assert one.intake.flow_m3_s == pytest.approx(other.intake.flow_m3_s, rel=1e-12)
        # Its inputs stand in the same sums, at no weight: that may move a last digit.
        mine, theirs = (side.expanded_uncertainty_m3_s for side in (one.intake, other.intake))
        assert mine == pytest.approx(theirs, rel=1e-9)
    assert aimed.target.own_bench


def test_one_bench_is_one_only_if_both_jobs_state_it_alike(tmp_path: Path) -> None:
    same = review(job_of(two_jobs(tmp_path)))
    assert not same.target.own_bench
    assert [one.name for one in same.job.target.benches] == ["shop bench"]
    unlike = BENCH + 'calibration = "1 %"\n'
    other = review(job_of(two_jobs(tmp_path, other=unlike)))
    assert other.target.own_bench
    assert [one.name for one in other.job.target.benches] == ["shop bench of other"]
    # Then what either is off by does not cancel.
    assert other.target.gaps[0].reached.expanded_fraction > 2 * same.target.gaps[0].reached.expanded_fraction
    nameless = BENCH.replace('name = "shop bench"\n', "")
    sheets = {"a": bench_sheet("cast", 1.0), "b": bench_sheet("ported", 1.2)}
    sheets = {name: text.replace("# bench: shop bench\n", "") for name, text in sheets.items()}
    folder = two_jobs(tmp_path, other=nameless, aimed=nameless, **sheets)
    put(folder, a=sheets["a"].replace("cast", "first"))
    assert review(job_of(folder)).target.own_bench


def test_another_standard_air_stays_that_of_the_other_job(tmp_path: Path) -> None:
    air = 'standard_air = "0.075 lb/ft3"\n'
    folder = two_jobs(tmp_path, other=air + BENCH)
    (bench,) = job_of(folder).target.benches
    assert bench.scale_air == "0.075 lb/ft3"
    corrected = bench_sheet("ported", 1.2, "already corrected: yes")
    (sheet,) = job_of(two_jobs(tmp_path, other=air + BENCH, b=corrected)).target.sheets
    assert sheet.printed.corrected_to_air == "0.075 lb/ft3"


def test_the_jobs_files_hold_the_other_job(tmp_path: Path) -> None:
    job = job_of(two_jobs(tmp_path))
    assert {name for name, _ in job.files} >= {"../other/job.toml", "../other/a.csv", "../other/b.csv"}
    again = load_files(dict(job.files), job.name)
    assert again.job == job
    # What changes there changes this job's fingerprint.
    two_jobs(tmp_path, b=bench_sheet("ported", 1.3))
    assert job_of(tmp_path / AIMED).fingerprint != job.fingerprint


def test_an_upload_without_the_other_job_says_so(tmp_path: Path) -> None:
    files = {name: data for name, data in job_of(two_jobs(tmp_path)).files if ".." not in name}
    (problem,) = load_files(files, AIMED).problems
    assert "The job '../other' is not among the files" in str(problem)


def test_a_target_of_the_target_is_not_followed(tmp_path: Path) -> None:
    folder = two_jobs(tmp_path)
    job_file = tmp_path / OTHER / "job.toml"
    text = job_file.read_text("utf-8") + '[target]\njob = "../nowhere"\nstage = "x"\n'
    job_file.write_text(text, "utf-8", newline="\n")
    job = job_of(folder)
    assert job.target.name == "Ported of The other"
    assert load_files(dict(job.files), job.name).job == job


def test_a_link_does_not_lead_out_of_the_root(tmp_path: Path) -> None:
    two_jobs(tmp_path / "outside")
    folder = two_jobs(tmp_path / "root")
    shutil.rmtree(tmp_path / "root" / OTHER)
    try:
        (tmp_path / "root" / OTHER).symlink_to(tmp_path / "outside" / OTHER, target_is_directory=True)
    except OSError:
        pytest.skip("links cannot be made here")
    assert "lies outside the jobs' folder" in only_problem(folder)


def test_valves_may_be_stated_where_the_other_job_knows_none(tmp_path: Path) -> None:
    folder = two_jobs(tmp_path, target='[target.exhaust]\nvalve_diameter = "28 mm"\n')
    assert job_of(folder).target.valves.exhaust == Valve(diameter_m=0.028)


# --- typed -----------------------------------------------------------------------------

CARD = """
[target]
name = "card"
[target.typed]
lift = [1, "1/8", "4.5 mm"]
lift_unit = "{unit}"
intake = [50, "102", "60 L/s"]
exhaust = ["", 80, 90]
flow_unit = "cfm"
test_pressure = "25 inH2O"
air = "0.075 lb/ft3"
"""


def typed(root: Path, text: str, job: str = BENCH) -> Job:
    return job_of(put(root / "typed", job=job + stages("first") + text, a=bench_sheet("first", 1.0)))


def test_typed_figures_are_a_corrected_sheet(tmp_path: Path) -> None:
    text = CARD.format(unit="mm").replace('"1/8"', '"1/8 in"')
    job = typed(tmp_path, text)
    (sheet,) = job.target.sheets
    cfm = 0.3048**3 / 60
    assert sheet.readings.intake == (
        Reading(0.001, 12, flow_m3_s=pytest.approx(50 * cfm)),
        Reading(0.003175, 12, flow_m3_s=pytest.approx(102 * cfm)),
        Reading(0.0045, 12, flow_m3_s=pytest.approx(0.060)),
    )
    assert [one.lift_m for one in sheet.readings.exhaust] == [0.003175, 0.0045]
    assert sheet.printed.already_corrected
    assert sheet.printed.corrected_to_pressure_pa == pytest.approx(25 * 249.08891)
    assert sheet.printed.corrected_to_air == "0.075 lb/ft3"
    assert job.target.name == "card"


def test_typed_figures_read_as_the_same_sheet_would(tmp_path: Path) -> None:
    rows = [(lift, 1.3 * (24 * lift - 1.5 * lift**2)) for lift in LIFTS]
    text = "[target]\n[target.typed]\n"
    text += f"lift = {[lift for lift, _ in rows]}\nlift_unit = 'mm'\n"
    text += f"intake = {[round(flow, 2) for _, flow in rows]}\nflow_unit = 'L/s'\n"
    text += "test_pressure = '15 inH2O'\nair = 'ISO 2533'\nbench = 'shop bench'\n"
    from_list = review(typed(tmp_path, text)).target
    head = ["already corrected: yes", "corrected to pressure: 15 inH2O", "corrected to air: ISO 2533"]
    aim = bench_sheet("aim", 1.3, "role: target", *head)
    folder = put(tmp_path / "sheets", job=BENCH + stages("first"), a=bench_sheet("first", 1.0), b=aim)
    from_sheet = review(job_of(folder)).target
    assert from_list.curves.intake.flow_m3_s == pytest.approx(from_sheet.curves.intake.flow_m3_s, rel=1e-12)
    assert from_list.gaps[0].reached.fraction == pytest.approx(from_sheet.gaps[0].reached.fraction, rel=1e-12)
    assert from_list.gaps[0].reached.expanded_fraction == pytest.approx(
        from_sheet.gaps[0].reached.expanded_fraction, rel=1e-2
    )


def test_typed_figures_of_no_known_bench_are_as_uncertain_as_they_say(tmp_path: Path) -> None:
    text = CARD.format(unit="mm").replace('"1/8"', "2").replace("4.5 mm", "3 mm")
    reached = [
        review(typed(tmp_path, f'{text}uncertainty = "{given}"\n')).target.gaps[0].reached
        for given in ("1 %", "4 %")
    ]
    assert reached[0].fraction == reached[1].fraction
    assert reached[1].expanded_fraction > 2 * reached[0].expanded_fraction
    result = review(typed(tmp_path, text))
    assert result.target.own_bench
    assert "target-other-bench" in {finding.code for finding in result.findings}


def test_a_slip_in_a_typed_list_does_not_take_the_list_with_it(tmp_path: Path) -> None:
    rows = [1.3 * (24 * lift - 1.5 * lift**2) for lift in LIFTS]
    rows[3] *= 10
    text = f"[target.typed]\nlift = {list(LIFTS)}\nlift_unit = 'mm'\nintake = {rows}\nflow_unit = 'L/s'\n"
    text += "test_pressure = '28 inH2O'\n"
    sheets = {f"s{i}": bench_sheet("first", 1 + i / 500) for i in range(4)}
    folder = put(tmp_path / "typed", job=BENCH + stages("first") + text, **sheets)
    result = review(job_of(folder))
    stopped = {finding.lift_m for finding in result.findings if finding.level == "stop"}
    curve = result.target.curves.intake
    gone = {lift for lift, flow in zip(curve.lift_m, curve.flow_m3_s, strict=True) if flow is None}
    assert 0.004 in gone and gone <= stopped
    assert not gone & {0.001, 0.002}  # though all of them stand on one line
