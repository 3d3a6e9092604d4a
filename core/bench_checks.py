"""What plates and leak tests said of the bench, ready to be shown."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from core.calibration import Calibration, Leak
from core.job import Side
from core.results import LeakCheck, PlateCheck, StageResult


def plate_history(calibrations: Iterable[Calibration]) -> list[PlateCheck]:
    """Return every plate reading beside the limits of its bench and side, the earliest first.

    Parameters
    ----------
    calibrations : iterable of Calibration
        Of one side, bench by bench.

    Returns
    -------
    list of PlateCheck
        Readings without a date come last.

    References
    ----------
    Shewhart control charts: ISO 7870-2:2013.
    """
    found = []
    for one in calibrations:
        reach = one.reach
        for reading in sorted(one.readings, key=lambda r: (r.date is None, r.date and r.date.toordinal())):
            found.append(
                PlateCheck(
                    one.bench,
                    one.side,
                    reading.file,
                    reading.line,
                    reading.date,
                    reading.factor,
                    one.factor,
                    one.factor * (1 - reach),
                    one.factor * (1 + reach),
                    one.departs(reading),
                )
            )
    return found


def leak_shares(leaks: Sequence[Leak], side: Side, stages: Sequence[StageResult]) -> list[LeakCheck]:
    """Return every leak beside the largest flow of its side.

    Parameters
    ----------
    leaks : sequence of Leak
        Of one side.
    side : {"intake", "exhaust"}
        That side.
    stages : sequence of StageResult
        Their curves give the largest flow.

    Returns
    -------
    list of LeakCheck
        In the order of the sheets.
    """
    curves = [curve for stage in stages if (curve := stage.side(side)) is not None]
    flows = [curve.highest_flow_m3_s for curve in curves if curve.highest_flow_m3_s]
    return [
        LeakCheck(
            side,
            leak.sheet.file,
            leak.sheet.date,
            leak.flow_m3_s,
            leak.flow_m3_s / max(flows) if flows else None,
        )
        for leak in leaks
    ]
