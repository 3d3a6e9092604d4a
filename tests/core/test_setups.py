"""Whether two stages were measured as the same thing, from what their sheets state."""

from __future__ import annotations

from dataclasses import replace

import pytest

from core.job import Air, BenchSheet, Printed, Reading, Setup, Side, Sides
from core.setups import SetupMatch, match_setups, stated_setup

WHOLE = Setup(0.086, "clay radius", "stub", 2, "own", "in place")
DRY = Air(test_pressure_pa=7000.0)
NAMES = {  # field -> the key on a sheet, and another value that could stand there
    "bore_m": ("bore", 0.0865),
    "intake_entry": ("intake entry", "bare"),
    "exhaust_exit": ("exhaust exit", "bare"),
    "valves_open": ("valves open", 1),
    "test_valve": ("test valve", "shop's"),
    "spark_plug": ("spark plug", "out"),
}
OF_OTHER_SIDE = {"intake": "exhaust_exit", "exhaust": "intake_entry"}


def stated(*fixtures: Setup, side: Side = "intake", valves: int | None = None, **more: object):
    reading = (Reading(0.005, 9, flow_m3_s=0.1),)
    given = {"readings": Sides(reading, reading), "air": DRY} | more
    sheets = [BenchSheet(f"{n}.csv", fixture=fixture, **given) for n, fixture in enumerate(fixtures)]
    return stated_setup(side, sheets, valves)


def match(one: object, other: object, **more: object) -> SetupMatch:
    return match_setups(stated(one, **more), stated(other, **more))


@pytest.mark.parametrize("side", ["intake", "exhaust"])
def test_all_stated_and_alike(side: Side) -> None:
    found = match(WHOLE, WHOLE, side=side)
    assert found == SetupMatch((), ())
    assert found.same is True


@pytest.mark.parametrize("side", ["intake", "exhaust"])
@pytest.mark.parametrize("field", NAMES)
def test_one_that_differs_is_named_by_its_key(side: Side, field: str) -> None:
    name, value = NAMES[field]
    found = match(WHOLE, replace(WHOLE, **{field: value}), side=side)
    if field == OF_OTHER_SIDE[side]:
        assert found.same is True
    else:
        assert found == SetupMatch((name,), ())
        assert found.same is False


@pytest.mark.parametrize("side", ["intake", "exhaust"])
@pytest.mark.parametrize("field", [field for field in NAMES if field != "valves_open"])
def test_one_that_is_not_stated_is_unknown(side: Side, field: str) -> None:
    silent = replace(WHOLE, **{field: None})
    for found in (match(WHOLE, silent, side=side), match(silent, WHOLE, side=side)):
        if field == OF_OTHER_SIDE[side]:
            assert found.same is True
        else:
            assert found == SetupMatch((), (NAMES[field][0],))
            assert found.same is None
    both = match(silent, silent, side=side)
    assert both.same is (True if field == OF_OTHER_SIDE[side] else None)


def test_what_differs_is_known_beside_what_is_not_stated() -> None:
    found = match(replace(WHOLE, bore_m=None), replace(WHOLE, test_valve="shop's"))
    assert found == SetupMatch(("test valve",), ("bore",))
    assert found.same is False


def test_case_spaces_and_a_hair_of_bore_do_not_matter() -> None:
    other = replace(WHOLE, intake_entry="  Clay   RADIUS ", bore_m=0.086 + 4e-7)
    assert match(WHOLE, other).same is True
    assert match(WHOLE, replace(WHOLE, bore_m=0.086 + 2e-6)).differences == ("bore",)
    assert match(WHOLE, replace(WHOLE, intake_entry="clayradius")).differences == ("intake entry",)


def test_a_stage_whose_sheets_do_not_agree() -> None:
    bare = replace(WHOLE, intake_entry="bare")
    one, mixed = stated(WHOLE), stated(WHOLE, bare)
    assert match_setups(one, mixed).differences == ("intake entry",)
    assert match_setups(mixed, stated(bare, WHOLE)).same is True
    # A sheet that does not say leaves the matter open, unless what is said differs already.
    partly = stated(WHOLE, replace(WHOLE, intake_entry=None))
    assert match_setups(one, partly) == SetupMatch((), ("intake entry",))
    assert match_setups(partly, one) == SetupMatch((), ("intake entry",))
    assert match_setups(stated(bare), partly) == SetupMatch(("intake entry",), ())
    assert match_setups(partly, partly).same is None


@pytest.mark.parametrize(
    ("one", "other", "valves", "alike"),
    [
        (2, 2, 2, True),
        (2, None, 2, True),  # a sheet that does not say flowed them all
        (None, 2, 2, True),
        (None, None, 2, True),
        (None, None, None, True),
        (1, 1, None, True),
        (1, None, 2, False),
        (None, 1, 2, False),
        (1, 2, 2, False),
        (2, None, None, False),  # of how many is not known
    ],
)
def test_valves_open_not_stated_means_all(one, other, valves, alike) -> None:
    first, second = replace(WHOLE, valves_open=one), replace(WHOLE, valves_open=other)
    found = match(first, second, valves=valves)
    assert found == SetupMatch(() if alike else ("valves open",), ())


def test_all_valves_open_is_alike_also_where_a_stage_has_more_of_them() -> None:
    three = replace(WHOLE, valves_open=3)
    assert match_setups(stated(WHOLE, valves=2), stated(three, valves=3)).same is True
    assert match_setups(stated(WHOLE, valves=2), stated(three, valves=2)).differences == ("valves open",)
    assert match_setups(stated(WHOLE, valves=2), stated(WHOLE, valves=3)).same is True


def test_a_test_pressure_is_stated_on_the_sheet_on_every_row_or_by_the_bench() -> None:
    bare, row = Reading(0.005, 9, flow_m3_s=0.1), Reading(0.006, 10, flow_m3_s=0.1, test_pressure_pa=7e3)
    known = stated(WHOLE)
    for readings, more, states in (
        (Sides((row, row), ()), {}, True),
        (Sides((row, bare), ()), {}, False),
        (Sides((bare,), ()), {}, False),
        (Sides((bare,), ()), {"printed": Printed(already_corrected=True)}, True),
        (Sides((row, bare), ()), {"air": DRY}, True),
    ):
        other = stated(WHOLE, **({"air": Air(), "readings": readings} | more))
        assert other.pressure is states
        expected = () if states else ("test pressure stated",)
        assert match_setups(known, other).differences == expected
        assert match_setups(other, known).differences == expected
        assert match_setups(other, other).same is True
