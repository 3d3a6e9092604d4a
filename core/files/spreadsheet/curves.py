"""The curves that a mapping would give, for a look before anything is written."""

from __future__ import annotations

from dataclasses import dataclass

from core.files.columns import ATTRIBUTE
from core.files.spreadsheet.mapping import Imported
from core.job import SIDES, Reading, Side


@dataclass(frozen=True)
class Curve:
    """One sweep as it was read; nothing is corrected or scaled yet."""

    stage: str
    side: Side
    port: str | None
    kind: str  # of core.units: flow, fraction, pressure or mass flow
    lifts_m: tuple[float, ...]
    values: tuple[float, ...]  # in SI
    file: str


def curves(imported: Imported) -> tuple[Curve, ...]:
    """Return what the bench sheets of a spreadsheet would draw.

    Parameters
    ----------
    imported : Imported
        From `core.files.spreadsheet.apply`.

    Returns
    -------
    tuple of Curve
        One for each side of each sheet, in the order of the spreadsheet.
    """
    found = []
    for one in imported.sheets:
        sheet = one.sheet
        for side in SIDES:
            if readings := sheet.readings[side]:
                kind, values = _values(readings)
                lifts = tuple(reading.lift_m for reading in readings)
                found.append(Curve(sheet.stage or "", side, sheet.port, kind, lifts, values, sheet.file))
    return tuple(found)


def _values(readings: tuple[Reading, ...]) -> tuple[str, tuple[float, ...]]:
    kind, attribute = next(pair for pair in ATTRIBUTE.items() if getattr(readings[0], pair[1]) is not None)
    return kind, tuple(getattr(reading, attribute) for reading in readings)
