"""Are two stages measured as the same thing? Judged from what their sheets state."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from core.job import BenchSheet, Side

COMMON = (
    ("bore", "bore_m"),
    ("valves open", "valves_open"),
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


def match_setups(
    side: Side,
    one: Iterable[BenchSheet],
    other: Iterable[BenchSheet],
    valves: tuple[int | None, int | None] = (None, None),
) -> SetupMatch:
    """Compare how two groups of sheets were set up.

    Parameters
    ----------
    side : {"intake", "exhaust"}
        Side of the head; the other side's entry or exit does not count.
    one, other : iterable of BenchSheet
        Sheets of two stages.
    valves : tuple of int or None
        How many valves a cylinder of each has on this side, where that is known.

    Returns
    -------
    SetupMatch
        Keys that differ and keys that are not stated, by their names on a sheet.
    """
    one, other = list(one), list(other)
    differences, unknown = [], []
    for name, field in (*COMMON, OWN[side]):
        first, second = _stated(one, field), _stated(other, field)
        if field == "valves_open":
            if first != second and _as_all(first, valves[0]) != _as_all(second, valves[1]):
                differences.append(name)
        elif first - {None} and second - {None} and first - {None} != second - {None}:
            differences.append(name)
        elif None in first or None in second:
            unknown.append(name)
    if _has_pressure(one) != _has_pressure(other):
        differences.append("test pressure stated")
    return SetupMatch(tuple(differences), tuple(unknown))


def _as_all(counts: set[object], whole: int | None) -> set[object]:
    """Return the counts with None for all valves: what a sheet means when it does not say."""
    return {None if count == whole else count for count in counts}


def _stated(sheets: list[BenchSheet], field: str) -> set[object]:
    values = set()
    for sheet in sheets:
        value = getattr(sheet.fixture, field)
        if isinstance(value, str):
            value = " ".join(value.casefold().split())
        elif isinstance(value, float):
            value = round(value, 6)
        values.add(value)
    return values


def _has_pressure(sheets: list[BenchSheet]) -> bool:
    return all(
        sheet.air.test_pressure_pa is not None
        or sheet.printed.already_corrected
        or all(r.test_pressure_pa is not None for _, rows in sheet.readings.items() for r in rows)
        for sheet in sheets
    )
