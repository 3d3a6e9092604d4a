"""The text of a job file: what a person wrote stays, what was typed comes back digit for digit."""

from __future__ import annotations

import tomllib
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.files.fields import UnitError
from core.files.folder import read_whole
from core.files.jobfile import TABLES
from core.files.load import load_files
from core.files.save import save
from core.files.write_job import UneditableError, edited, job_text, typed

BY_HAND = """\
# A job as a person writes it.
title = 'Sprint four'      # single quotes

  currency = "EUR"

# The engine, from the build sheet
[engine]   # two litres
bore = "80 mm"             # measured
stroke    =   "99 mm"
compression_ratio = 10.40  # first chamber

# Intake side, new valves
[intake]
valve_diameter = "30 mm"

# its cam, card no. 7
[intake.cam]
lift = "9.7 mm"

# What was done
# (in the order of work)
[[stage]]
name = "as cast"    # untouched
price = 0

# quoted by phone
[[stage]]
name = "bowl blend"
price = 420.50
[stage.intake]
throat_diameter = "26.4 mm"

# To reach
[target]
name = "shop reference"
sheets = [
  "../references/one.csv",  # the first head
  "../references/two.csv",
]
# the end
"""


def lines_but(text: str, *changed: str) -> list[str]:
    """Return the lines of a text but those that hold one of some words."""
    return [line for line in text.split("\n") if not any(word in line for word in changed)]


def after(*edits: tuple[tuple, object], data: str = BY_HAND, **moved: list[int]) -> str:
    """Return a job file with some edits."""
    return edited(data.encode(), dict(edits), moved or None).decode()


# --- an edit of a file written by hand -------------------------------------------------


@pytest.mark.parametrize(
    ("path", "value", "line"),
    [
        (("title",), "Sprint five", 'title = "Sprint five"      # single quotes'),
        (("currency",), "GBP", '  currency = "GBP"'),
        (("engine", "bore"), "80.5 mm", 'bore = "80.5 mm"           # measured'),
        (("engine", "stroke"), "100 mm", 'stroke    =   "100 mm"'),
        (
            ("engine", "compression_ratio"),
            Decimal("10.60"),
            "compression_ratio = 10.60  # first chamber",
        ),
        (("intake", "cam", "lift"), "9.80 mm", 'lift = "9.80 mm"'),
        (("stage", 0, "price"), 15, "price = 15"),
        (("stage", 1, "price"), Decimal("420.75"), "price = 420.75"),
        (("stage", 1, "intake", "throat_diameter"), "27 mm", 'throat_diameter = "27 mm"'),
    ],
)
def test_a_changed_value_changes_its_line_alone(path: tuple, value: object, line: str) -> None:
    text = after((path, value))
    ours, theirs = text.split("\n"), BY_HAND.split("\n")
    assert len(ours) == len(theirs)
    assert [new for new, old in zip(ours, theirs, strict=True) if new != old] == [line]


@pytest.mark.parametrize(
    ("path", "value", "line", "below"),
    [
        (("customer",), "M. Example", 'customer = "M. Example"', '  currency = "EUR"'),
        (
            ("engine", "fuel"),
            "petrol",
            'fuel = "petrol"',
            "compression_ratio = 10.40  # first chamber",
        ),
        (("intake", "seat_angle"), "45 deg", 'seat_angle = "45 deg"', 'valve_diameter = "30 mm"'),
        (("intake", "cam", "lash"), "0.2 mm", 'lash = "0.2 mm"', 'lift = "9.7 mm"'),
        (("stage", 0, "planned"), False, "planned = false", "price = 0"),
        (
            ("stage", 1, "intake", "seat_angle"),
            "45 deg",
            'seat_angle = "45 deg"',
            'throat_diameter = "26.4 mm"',
        ),
        (("target", "stage"), "done", 'stage = "done"', "]"),
    ],
)
def test_a_new_key_goes_to_its_table_and_above_the_remarks_on_the_next(
    path: tuple, value: object, line: str, below: str
) -> None:
    lines = after((path, value)).split("\n")
    place = lines.index(line.rjust(len(line) + (2 if path == ("customer",) else 0)))
    assert lines[place - 1] == below
    assert lines[:place] + lines[place + 1 :] == BY_HAND.split("\n")


def test_a_new_stage_goes_below_the_last_one() -> None:
    text = after((("stage", 2, "name"), "port"), (("stage", 2, "price"), 5))
    assert '26.4 mm"\n[[stage]]\nname = "port"\nprice = 5\n\n# To reach\n[target]' in text
    assert text.replace('[[stage]]\nname = "port"\nprice = 5\n', "") == BY_HAND


def test_a_new_table_goes_beside_its_family() -> None:
    text = after(
        (("stage", 0, "exhaust", "seat_width"), "1 mm"), (("target", "intake", "valve_diameter"), "31 mm")
    )
    assert 'price = 0\n[stage.exhaust]\nseat_width = "1 mm"\n\n# quoted by phone\n[[stage]]' in text
    assert ']\n[target.intake]\nvalve_diameter = "31 mm"\n# the end' in text
    assert tomllib.loads(text)["stage"][0]["exhaust"] == {"seat_width": "1 mm"}


def test_what_is_taken_away_leaves_the_rest() -> None:
    text = after((("stage", 0), None), (("engine",), None), (("intake", "cam", "lift"), None))
    assert {line for line in BY_HAND.split("\n") if line.strip().startswith("#")} <= set(text.split("\n"))
    data = tomllib.loads(text)
    assert [stage["name"] for stage in data["stage"]] == ["bowl blend"] and "engine" not in data
    kept = lines_but(
        BY_HAND, "[engine]", "80 mm", "99 mm", "10.40", "as cast", "price = 0", "9.7 mm", "[[stage]]"
    )
    assert [line for line in lines_but(text, "[[stage]]") if line] == [line for line in kept if line]


def test_stages_change_places_with_their_remarks() -> None:
    text = after(stage=[1, 0])
    assert sorted(text.split("\n")) == sorted(BY_HAND.split("\n"))
    assert [stage["name"] for stage in tomllib.loads(text)["stage"]] == ["bowl blend", "as cast"]
    assert '# quoted by phone\n[[stage]]\nname = "bowl blend"' in text
    assert after(stage=[1, 0], data=text) == BY_HAND


def test_numbers_of_stages_are_those_of_the_file() -> None:
    data = '[[stage]]\nname = "a"\n[[stage]]\nname = "b"\n[[stage]]\nname = "c"\n'
    edits = [
        (("stage", 0), None),
        (("stage", 1), None),
        (("stage", 2, "price"), 1),
        (("stage", 3, "name"), "d"),
    ]
    assert after(*edits, data=data) == '[[stage]]\nname = "c"\nprice = 1\n[[stage]]\nname = "d"\n'


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_line_ends_and_byte_order_mark_stay(newline: str, mark: bytes) -> None:
    data = mark + BY_HAND.replace("\n", newline).encode()
    done = edited(
        data, {("engine", "bore"): "81 mm", ("engine", "fuel"): "petrol", ("stage", 2, "name"): "x"}
    )
    assert done.startswith(mark + b"#") and done.count(b"\n") == data.count(b"\n") + 3
    assert done.count(b"\r\n") == (done.count(b"\n") if newline == "\r\n" else 0)


def test_other_ways_to_write_tables_are_edited_too() -> None:
    dotted = 'engine.bore = "80 mm" # dotted\n'
    inline = 'intake = { valve_diameter = "30 mm", cam = {lift = "9 mm"} }  # inline\n'
    lift, angle = ("intake", "cam", "lift"), ("intake", "seat_angle")
    done = after((("engine", "bore"), "81 mm"), (lift, "10 mm"), (angle, "45 deg"), data=dotted + inline)
    assert tomllib.loads(done) == {
        "engine": {"bore": "81 mm"},
        "intake": {"valve_diameter": "30 mm", "cam": {"lift": "10 mm"}, "seat_angle": "45 deg"},
    }
    assert "# dotted" in done and "# inline" in done


def test_what_cannot_be_edited_without_harm_is_refused() -> None:
    for data in (b"title = ", b"\x00\x01", b'stage = [{name = "a"}]\n', b"x = 1\nx = 2\n"):
        with pytest.raises(UneditableError) as error:
            edited(data, {("stage", 0, "price"): 5})
        assert "job.toml" in error.value.text and error.value.cure


def test_the_same_values_change_no_byte() -> None:
    edits: dict[tuple, object] = {
        ("title",): "Sprint four",
        ("engine", "compression_ratio"): Decimal("10.4"),
        ("stage", 0, "price"): Decimal("0"),
        ("target", "sheets"): ["../references/one.csv", "../references/two.csv"],
        ("customer",): None,
    }
    assert edited(BY_HAND.encode(), edits, {"stage": [0, 1]}) == BY_HAND.encode()


NAMES = sorted({path for path in TABLES if path and path[0] not in ("stage", "bench")})
KEYS = [(*path, key) for path in [(), *NAMES] for key in TABLES[path]]
KEYS += [("stage", n, key) for n in (0, 1) for key in TABLES["stage",]]
WORDS = st.text(st.characters(exclude_categories=("Cs", "Cc")), min_size=1, max_size=12)
VALUES = st.one_of(
    st.none(),
    WORDS,
    st.booleans(),
    st.integers(-5, 10**6),
    st.decimals(-(10**6), 10**6, places=2),
    st.lists(WORDS, min_size=1, max_size=3),
)


@given(st.dictionaries(st.sampled_from(KEYS), VALUES, max_size=8), st.permutations([0, 1]))
def test_any_edits_say_what_they_mean_and_keep_every_remark(edits: dict, order: list[int]) -> None:
    done = edited(BY_HAND.encode(), edits, {"stage": order}).decode()
    data = tomllib.loads(done)
    for path, value in edits.items():
        found: object = data
        for name in path:
            name = order.index(name) if isinstance(name, int) else name
            found = found[name] if isinstance(found, list) else found.get(name) if found is not None else None
        assert (float(found) == float(value)) if isinstance(value, Decimal) else found == value
    touched = [path[-1] for path in edits]
    for line in lines_but(BY_HAND, *touched, "[", "]", "references"):
        assert not line.strip() or line in done.split("\n")
    remarks = [line for line in BY_HAND.split("\n") if line.startswith("#")]
    met = [line for line in done.split("\n") if line.startswith("#")]
    assert sorted(met) == sorted(remarks)
    assert (
        edited(done.encode(), {path: value for path, value in edits.items() if "stage" not in path})
        == done.encode()
    )


# --- what a person types ---------------------------------------------------------------


@pytest.mark.parametrize(
    ("path", "text", "value"),
    [
        (("engine", "bore"), " 86.00 mm ", "86.00 mm"),
        (("engine", "bore"), "3 3/8 in", "3 3/8 in"),
        (("engine", "cylinders"), "4", Decimal("4")),
        (("engine", "compression_ratio"), "10.40", Decimal("10.40")),
        (("stage", 3, "price"), "420,50", Decimal("420.50")),
        (("stage", 0, "planned"), "yes", True),
        (("serial_number",), "007", "007"),
        (("target", "sheets"), "../a.csv", ["../a.csv"]),
        (("engine", "fuel"), "  ", None),
        (("bench", 0, "repeatability"), "0.50 %", "0.50 %"),
    ],
)
def test_what_is_typed_keeps_its_digits(path: tuple, text: str, value: object) -> None:
    got = typed(path, text)
    assert got == value and str(got) == str(value) and type(got) is type(value)


@pytest.mark.parametrize(
    ("path", "text"),
    [
        (("engine", "bore"), "86"),
        (("engine", "bore"), "86 hPa"),
        (("stage", 0, "price"), "42O"),
        (("engine", "cylinders"), "4.5"),
        (("dyno", "power"), "95 mm"),
        (("dyno", "standard"), "SAE something"),
        (("power", "runner_length"), "3 m"),
        (("power", "pulse_level"), "400 %"),
        (("target", "typed", "intake"), "25.1 5O"),
        (("target", "typed", "test_pressure"), "28 mm"),
        (("target", "typed", "uncertainty"), "70 %"),
    ],
)
def test_what_is_typed_wrong_is_told_at_once(path: tuple, text: str) -> None:
    with pytest.raises(UnitError):
        typed(path, text)


def test_typed_saved_read_and_saved_again_is_the_same_byte_for_byte(tmp_path: Path) -> None:
    fields = {
        ("title",): 'Invented "four" \\ ½ é',
        ("engine", "bore"): "86.00 mm",
        ("engine", "cylinders"): "4",
        ("stage", 0, "name"): "as cast",
        ("stage", 0, "price"): "0.00",
        ("stage", 1, "name"): "bowl",
        ("stage", 1, "price"): "1e3",
        ("intake", "cam", "lift"): "0,450 in",
    }
    first = edited(b"", {path: typed(path, text) for path, text in fields.items()})
    saved = save(tmp_path / "job", tmp_path, {"job.toml": first})
    whole = read_whole(tmp_path / "job")
    again = edited(whole.files["job.toml"], {path: typed(path, text) for path, text in fields.items()})
    assert again == first == whole.files["job.toml"]
    assert save(tmp_path / "job", tmp_path, {"job.toml": again}, whole.snapshot).snapshot == saved.snapshot
    assert not (tmp_path / "job" / "history").exists()


# --- a new file ------------------------------------------------------------------------


def test_a_new_file_is_in_the_order_of_the_documents() -> None:
    values = {
        "stage": [
            {"price": Decimal("3.10"), "name": "a"},
            {"name": "b", "intake": {"valve_diameter": "3 mm"}},
        ],
        "engine": {"stroke": "99 mm", "bore": "80 mm", "fuel": None},
        "target": {},
        "intake": {"cam": {"lash": "0.2 mm", "lift": "9 mm"}},
        "title": "Sprint four",
    }
    assert job_text(values) == (
        'title = "Sprint four"\n\n[engine]\nbore = "80 mm"\nstroke = "99 mm"\n\n'
        '[intake.cam]\nlift = "9 mm"\nlash = "0.2 mm"\n\n[[stage]]\nname = "a"\nprice = 3.10\n'
        '[[stage]]\nname = "b"\n[stage.intake]\nvalve_diameter = "3 mm"\n'
    )


@pytest.mark.parametrize("job", ["sprint-four", "touring-twin", "messy-day"])
def test_a_job_written_anew_is_the_same_job(demo_runs: Path, job: str) -> None:
    files = read_whole(demo_runs / job).files
    written = job_text(tomllib.loads(files["job.toml"].decode(), parse_float=Decimal))
    ours = load_files({**files, "job.toml": written.encode()}, job)
    theirs = load_files(files, job)
    for attribute in ("title", "engine", "valves", "cams", "benches", "target"):
        assert getattr(ours.job, attribute) == getattr(theirs.job, attribute)
    assert [(s.name, s.price, s.valves) for s in ours.job.stages] == [
        (s.name, s.price, s.valves) for s in theirs.job.stages
    ]
