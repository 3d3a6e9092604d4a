"""Are two stages measured as the same thing? Judged from what their sheets state."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from core.job import BenchSheet, Side

VALVES_OPEN = "valves open"
COMMON = (
    ("bore", "bore_m"),
    (VALVES_OPEN, "valves_open"),
    ("test valve", "test_valve"),
    ("spark plug", "spark_plug"),
)
OWN = {"intake": ("intake entry", "intake_entry"), "exhaust": ("exhaust exit", "exhaust_exit")}


@dataclass(frozen=True)
class SetupMatch:
    """What differs, and what one of the two does not state."""

    differences: tuple[str, ...]
    unknown: tuple[str, ...]

    @property
    def same(self) -> bool | None:
        """Return True, False, or None where nothing is known to differ but not all is stated."""
        if self.differences:
            return False
        return None if self.unknown else True


@dataclass(frozen=True)
class StatedSetup:
    """What the sheets of one stage state of its set-up; None among the values: a sheet does not say."""

    values: dict[str, frozenset[object]]  # under each key's name on a sheet
    pressure: bool  # is the test pressure stated throughout
    valves: int | None  # how many a cylinder has on this side, where that is known


def stated_setup(side: Side, sheets: Sequence[BenchSheet], valves: int | None = None) -> StatedSetup:
    """Return how a stage was set up.

    Parameters
    ----------
    side : {"intake", "exhaust"}
        Side of the head; the other side's entry or exit does not count.
    sheets : sequence of BenchSheet
        Sheets of the stage.
    valves : int, optional
        How many valves a cylinder has on this side, where that is known.

    Returns
    -------
    StatedSetup
        What the sheets say.
    """
    keys = (*COMMON, OWN[side])
    return StatedSetup({name: _stated(sheets, field) for name, field in keys}, _has_pressure(sheets), valves)


def match_setups(one: StatedSetup, other: StatedSetup) -> SetupMatch:
    """Compare how two stages were set up.

    Parameters
    ----------
    one, other : StatedSetup
        Of the same side of two stages.

    Returns
    -------
    SetupMatch
        Keys that differ and keys that are not stated, by their names on a sheet.
    """
    differences, unknown = [], []
    for name, first in one.values.items():
        second = other.values[name]
        if name == VALVES_OPEN:
            if first != second and _as_all(first, one.valves) != _as_all(second, other.valves):
                differences.append(name)
        elif first - {None} and second - {None} and first - {None} != second - {None}:
            differences.append(name)
        elif None in first or None in second:
            unknown.append(name)
    if one.pressure != other.pressure:
        differences.append("test pressure stated")
    return SetupMatch(tuple(differences), tuple(unknown))


def _as_all(counts: frozenset[object], whole: int | None) -> set[object]:
    """Return the counts with None for all valves: what a sheet means when it does not say."""
    return {None if count == whole else count for count in counts}


def _stated(sheets: Sequence[BenchSheet], field: str) -> frozenset[object]:
    values = set()
    for sheet in sheets:
        value = getattr(sheet.fixture, field)
        if isinstance(value, str):
            value = " ".join(value.casefold().split())
        elif isinstance(value, float):
            value = round(value, 6)
        values.add(value)
    return frozenset(values)


def _has_pressure(sheets: Sequence[BenchSheet]) -> bool:
    return all(
        sheet.air.test_pressure_pa is not None
        or sheet.printed.already_corrected
        or all(r.test_pressure_pa is not None for _, rows in sheet.readings.items() for r in rows)
        for sheet in sheets
    )
