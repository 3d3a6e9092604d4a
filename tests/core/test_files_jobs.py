"""What sheets and job file make of each other: stages, their order, and benches."""

from __future__ import annotations

from pathlib import Path

import pytest

from core.job import Bench
from core.review import review
from tests.core.written_jobs import STAGE, codes, job_of, problems_of, put, sheet_text

# --- stages ----------------------------------------------------------------------------


def test_a_stage_without_sheets_is_noted_unless_it_is_planned(tmp_path: Path) -> None:
    text = STAGE + '[[stage]]\nname = "next"\n[[stage]]\nname = "later"\nplanned = true\n'
    job = job_of(put(tmp_path, job=text, one=sheet_text("stage: as cast", "port: 1")))
    assert codes(job) == [("note", "stage-without-sheets")]
    assert (job.findings[0].line, job.findings[0].values) == (4, (("next", "text"),))


def test_a_planned_stage_that_was_measured_is_looked_at(tmp_path: Path) -> None:
    text = '[[stage]]\nname = "as cast"\n[[stage]]\nname = "bowl"\nprice = 300\nplanned = true\n'
    sheets = {name: sheet_text(f"stage: {name}", "port: 1") for name in ("as cast", "bowl")}
    job = job_of(put(tmp_path, job=text, **sheets))
    assert codes(job) == [("look", "planned-measured")]
    assert (job.findings[0].file, job.findings[0].line) == ("job.toml", 4)
    # Its price counts everywhere alike: it was paid for, and is no quotation any more.
    shown = review(job)
    assert [stage.planned for stage in shown.stages] == [False, False]
    assert shown.gain("bowl", "intake", "baseline").price == 300


def test_a_flow_of_nothing_is_told_once_and_a_closed_valve_not_at_all(tmp_path: Path) -> None:
    text = "# stage: as cast\n# test pressure: 28 inH2O\nlift [mm],intake [L/s]\n0,0\n1,0\n2,43.1\n3,61.0\n"
    found = review(job_of(put(tmp_path, one=text))).findings
    assert [(f.level, f.code, f.line) for f in found if f.line] == [("stop", "no-flow", 5)]


def test_findings_name_their_stage(tmp_path: Path) -> None:
    job = job_of(put(tmp_path, job=STAGE, one=sheet_text("stage: AS CAST", "port: 1", "weather: rain")))
    assert [(f.code, f.file, f.line, f.stage) for f in job.findings] == [
        ("unknown-key", "one.csv", 3, "as cast")
    ]


def test_a_stage_may_come_from_the_files_name(tmp_path: Path) -> None:
    assert job_of(put(tmp_path, job=STAGE, **{"As Cast": sheet_text()})).sheets[0].stage == "as cast"


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
    job = job_of(put(tmp_path, **{name: sheet_text("port: 1", *lines) for name, lines in keys.items()}))
    assert "".join(stage.name for stage in job.stages) == order
    asked = [finding for finding in job.findings if finding.code == "order-of-work"]
    assert [finding.values[0][0] for finding in asked] == asks
    assert all(finding.level == "look" and finding.file is None for finding in asked)


def test_bare_sheets_stand_in_the_order_given(tmp_path: Path) -> None:
    put(tmp_path, a=sheet_text(), b=sheet_text())
    job = job_of(tmp_path / "b.csv", tmp_path / "a.csv")
    assert ([stage.name for stage in job.stages], job.name) == (["b", "a"], tmp_path.name)
    assert job_of(tmp_path / "a.csv").name == "a"


def test_sheets_of_one_stage_stay_together(tmp_path: Path) -> None:
    put(
        tmp_path,
        a=sheet_text("stage: Bowl blend", "date: 2026-03-14", "port: 1"),
        b=sheet_text("stage: as cast", "date: 2026-03-01", "port: 1"),
        c=sheet_text("stage: bowl  BLEND", "date: 2026-02-01", "port: 2"),
    )
    job = job_of(tmp_path)
    assert [stage.name for stage in job.stages] == ["Bowl blend", "as cast"]  # its first day counts
    assert [one.stage for one in job.sheets] == ["Bowl blend", "as cast", "Bowl blend"]


def test_a_port_is_one_port_however_its_name_is_typed(tmp_path: Path) -> None:
    job = job_of(
        put(
            tmp_path,
            a=sheet_text("stage: x", "port: Front  left", "setup: B"),
            b=sheet_text("stage: x", "port: front left", "setup: b"),
            c=sheet_text("stage: x", "port: rear"),
        )
    )
    assert [one.port for one in job.sheets] == ["Front left", "Front left", "rear"]
    assert [one.setup for one in job.sheets] == ["B", "B", None]


def test_checks_of_the_bench_are_no_stage(tmp_path: Path) -> None:
    check = sheet_text("role: leak", table="intake [cfm]\n0.8\n")
    job = job_of(put(tmp_path, job=STAGE, one=sheet_text("stage: as cast"), shut=check))
    assert [(one.file, one.role) for one in job.sheets] == [("one.csv", "stage"), ("shut.csv", "leak")]
    assert "No sheet is of a stage" in problems_of(put(tmp_path / "only", shut=check))[0]


# --- benches ---------------------------------------------------------------------------


def test_without_a_stated_bench_the_columns_tell_the_meter(tmp_path: Path) -> None:
    table = "lift [mm],intake [%]\n1,20\n"
    job = job_of(put(tmp_path, a=sheet_text("intake range: 200 cfm", "port: 1", table=table)))
    assert job.benches == (Bench(meter="percent of range"),)
    assert codes(job) == [("note", "meter-from-columns")]


def test_without_a_stated_bench_names_still_tell_benches_apart(tmp_path: Path) -> None:
    table = "lift [mm],intake [%]\n1,20\n"
    names = {"a": "bench: Shop", "b": "bench: shop", "c": "bench: old", "d": "note: none"}
    folder = put(
        tmp_path, **{n: sheet_text("intake range: 200 cfm", key, table=table) for n, key in names.items()}
    )
    job = job_of(folder)
    assert [one.bench for one in job.sheets] == ["Shop", "Shop", "old", None]
    assert [job.bench_of(one).name for one in job.sheets] == ["Shop", "Shop", "old", None]
    assert {bench.meter for bench in job.benches} == {"percent of range"}


def test_columns_of_several_kinds_need_a_stated_bench(tmp_path: Path) -> None:
    percent = sheet_text("intake range: 200 cfm", table="lift [mm],intake [%]\n1,20\n")
    (only,) = problems_of(put(tmp_path, a=sheet_text(), b=percent))
    assert "b.csv, line 3: 'intake' is given as percent of range" in only


def test_a_corrected_print_out_is_a_flow_on_any_bench(tmp_path: Path) -> None:
    text = '[[bench]]\nmeter = "percent of range"\n' + STAGE
    job_of(put(tmp_path, job=text, one=sheet_text("stage: as cast", "already corrected: yes")))


def test_of_several_benches_one_has_to_be_named(tmp_path: Path) -> None:
    text = '[[bench]]\nname = "a"\n[[bench]]\nname = "b"\n' + STAGE
    job = job_of(
        put(
            tmp_path, job=text, one=sheet_text("stage: as cast"), two=sheet_text("stage: as cast", "bench: B")
        )
    )
    assert [one.bench for one in job.sheets] == [None, "b"]
    assert codes(job) == [("look", "bench-not-named")]
    assert job.findings[0].values == (("a", "text"), ("one.csv", "text"))
