"""What the readers accept, the review can work with, up to the ends of every range."""

from __future__ import annotations

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from core.files import jobfile
from core.files.load import load_files
from core.files.text import UnreadableError
from core.numbers import numbers_json
from core.review import review

# Key, least and greatest value; of choices, two that differ most in what is worked out.
SHEET = {
    "barometer": ("500 hPa", "1100 hPa"),
    "altitude": ("-500 m", "5000 m"),
    "air temperature": ("-40 degC", "60 degC"),
    "humidity": ("0 %", "100 %"),
    "meter temperature": ("-40 degC", "100 degC"),
    "piece temperature": ("-40 degC", "100 degC"),
    "test pressure": ("1 inH2O", "100 inH2O"),
    "valves open": ("1", "8"),
    "corrected to pressure": ("1 inH2O", "100 inH2O"),
    "certified at": ("1 inH2O", "100 inH2O"),
}
BENCH = {
    "calibrated_at": ("1 inH2O", "100 inH2O"),
    "scale_air": ("99 kPa 25 degC dry", "ISO 2533"),
    "intake_meter": ("before the piece", "after the piece"),
    "exhaust_meter": ("before the piece", "after the piece"),
    "pipe_diameter": ("41 mm", "plenum"),
    "repeatability": ("0.01 %", "50 %"),
    "lift_setting": ("0 mm", "0.5 mm"),
    "calibration": ("0 %", "50 %"),
    "test_pressure_reading": ("0 inH2O", "0.5 inH2O"),
    "barometer_reading": ("0 hPa", "20 hPa"),
    "temperature_reading": ("0 K", "5 K"),
    "humidity_reading": ("0 %", "50 %"),
}
JOB = {
    "reference_pressure": ("1 inH2O", "100 inH2O"),
    "standard_air": ("99 kPa 25 degC dry", "ISO 2533"),
    "pressure_rule": ("square root", "isentropic"),
}
METERS = {  # unit, and the greatest reading
    "volume flow": ("L/s", 5000),
    "percent of range": ("%", 120),
    "plate pressure drop": ("inH2O", 60),
    "mass flow": ("g/s", 6000),
}
CURVE = {"0.01": 0.002, "1": 0.15, "2": 0.3, "5": 0.7, "12": 0.95, "50": 1.0}  # lift [mm]: share of the top


def chosen(keys: dict[str, tuple[str, str]]) -> st.SearchStrategy[dict[str, str]]:
    """Draw some of the keys, each at one end of its range."""
    return st.fixed_dictionaries({}, optional={key: st.sampled_from(ends) for key, ends in keys.items()})


def job_file(meter: str, job: dict[str, str], bench: dict[str, str]) -> bytes:
    lines = [f'{key} = "{value}"' for key, value in job.items()]
    lines += ["[[bench]]", f'meter = "{meter}"', 'plate_diameter = "40 mm"']
    lines += [f'{key} = "{value}"' for key, value in bench.items()]
    return "\n".join(lines).encode()


def bench_sheet(stage: str, keys: dict[str, str], meter: str, share: float) -> bytes:
    unit, most = METERS[meter]
    lines = [f"# stage: {stage}", "# intake range: 200 cfm", "# exhaust range: 200 cfm"]
    lines += [f"# {key}: {value}" for key, value in keys.items()]
    lines.append(f"lift [mm],intake [{unit}],exhaust [{unit}]")
    lines += [f"{lift},{most * part},{most * part * share:.4f}" for lift, part in CURVE.items()]
    return "\n".join(lines).encode()


@pytest.mark.filterwarnings("error::RuntimeWarning")
@settings(deadline=None, max_examples=150)
@given(
    meter=st.sampled_from([*METERS]),
    job=chosen(JOB),
    bench=chosen(BENCH),
    sheets=st.lists(
        st.tuples(st.sampled_from(["one", "two"]), chosen(SHEET), st.floats(0.05, 1)), min_size=1, max_size=4
    ),
)
@example(  # every instrument exact
    meter="plate pressure drop",
    job={},
    bench={key: ends[0] for key, ends in BENCH.items() if key.endswith("_reading")},
    sheets=[("one", {"barometer": "500 hPa"}, 1.0)],
)
def test_whatever_is_accepted_can_be_reviewed(
    meter: str, job: dict[str, str], bench: dict[str, str], sheets: list[tuple[str, dict[str, str], float]]
) -> None:
    files = {"job.toml": job_file(meter, job, bench)}
    files |= {f"{i}.csv": bench_sheet(one, keys, meter, share) for i, (one, keys, share) in enumerate(sheets)}
    loaded = load_files(files, "limits")
    assert loaded.problems == ()
    assert loaded.job is not None
    assert numbers_json(review(loaded.job))  # which refuses nan and infinity


BEYOND = {
    "barometer": ("499 hPa", "1101 hPa"),
    "altitude": ("-501 m", "5001 m"),
    "air temperature": ("-41 degC", "61 degC"),
    "humidity": ("-1 %", "101 %"),
    "meter temperature": ("-41 degC", "101 degC"),
    "piece temperature": ("-41 degC", "101 degC"),
    "test pressure": ("0.9 inH2O", "101 inH2O"),
    "valves open": ("0", "9"),
    "corrected to pressure": ("0.9 inH2O", "101 inH2O"),
    "certified at": ("0.9 inH2O", "101 inH2O"),
}


@pytest.mark.parametrize("key", [*SHEET])
@pytest.mark.parametrize("end", [0, 1])
def test_what_lies_beyond_is_refused_with_both_ends_named(key: str, end: int) -> None:
    given_value = BEYOND[key][end]
    loaded = load_files({"a.csv": bench_sheet("one", {key: given_value}, "volume flow", 1.0)}, "limits")
    (only,) = map(str, loaded.problems)
    assert only.startswith(f"a.csv, line 4: {key}: '{given_value}' is not possible here.")
    assert all(value in only for value in SHEET[key])


TABLES = {
    "": jobfile._JOB,
    "[engine]": jobfile._ENGINE,
    "[intake]": jobfile._VALVE,
    "[intake.cam]": jobfile._CAM,
}
TABLES |= {"[[bench]]": jobfile._BENCH, "[target]": jobfile._TARGET, "[exhaust.cam]": jobfile._LIFT_TABLE}
VALUES = ["0x" + "f" * 5000, "9" * 400, "1e400", "nan", "-1", "true", "[]", "[[1]]", "{}", "{a = {}}"]
VALUES += ['""', '" "', '"nan mm"', '"1e999 mm"', '"\\u0000"', '"x\\ny"', "1979-05-27T07:32:00Z", "07:32:00"]


@pytest.mark.parametrize("value", VALUES, ids=lambda value: value[:8])
def test_any_value_at_any_key_is_read_or_refused(value: str) -> None:
    sheet = bench_sheet("one", {}, "volume flow", 1.0)
    for table, keys in TABLES.items():
        for key in keys:
            text = f"{table}\n{key} = {value}\n[[stage]]\nname = 'one'\n"
            loaded = load_files({"job.toml": text.encode(), "a.csv": sheet}, "limits")
            assert (loaded.job is None) == bool(loaded.problems)
            assert all(problem.line in (None, 1, 2) for problem in loaded.problems), (key, value)
            assert all("\n" not in str(problem) and len(str(problem)) < 400 for problem in loaded.problems)


def test_a_long_run_of_bad_cells_is_cut_short() -> None:
    rows = "".join(f"{i % 20},x\n" for i in range(500))
    found = load_files({"a.csv": f"lift [mm],intake [L/s]\n{rows}".encode(), "b.csv": b""}, "limits").problems
    assert [problem.line for problem in found] == [*range(2, 23), None]
    assert str(found[20]).startswith("a.csv, line 22, column 'intake [L/s]': From here on 480 more cells")
    assert found[21].file == "b.csv"


def test_why_a_file_cannot_be_read_is_one_line_whatever_a_library_says() -> None:
    error = UnreadableError(
        "It is damaged (no table.\nThis is most probably\r\n your fault).", "Save it anew."
    )
    assert str(error) == "It is damaged (no table. This is most probably your fault). Save it anew."
