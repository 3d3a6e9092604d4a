"""Plates and leak tests that came to nothing, and sheets that go without one."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from core.calibration import Calibration, Checked, Leak
from core.job import Finding, Job, Side


def of_checks(
    job: Job, side: Side, plates: Iterable[Calibration], leaks: Sequence[Leak], checked: Sequence[Checked]
) -> list[Finding]:
    """Say which plates and leak tests are not used, and which sheets no leak is subtracted from.

    Parameters
    ----------
    job : Job
        What was measured.
    side : {"intake", "exhaust"}
        Side of the head.
    plates : iterable of Calibration
        Of that side, bench by bench.
    leaks : sequence of Leak
        All leak tests of that side that can be read.
    checked : sequence of Checked
        Its readings, with the leak that each sheet holds.

    Returns
    -------
    list of Finding
        One a plate or leak test; at most one for the sheets without a leak.
    """
    read = {reading.file for plate in plates for reading in plate.readings}
    read |= {leak.sheet.file for leak in leaks}
    # A plate without its certified flow is said elsewhere.
    what = {
        sheet.file: sheet.role
        for sheet in job.sheets
        if sheet.role == "leak" or (sheet.role == "calibration" and sheet.certificate.flow_m3_s is not None)
        if sheet.readings[side] and sheet.file not in read
    }
    found = [_unread(file, "leak" if role == "leak" else "plate", side) for file, role in what.items()]
    held = [pair for part in checked for pair in zip(part.rows.by_sheet(), part.leaks, strict=True)]
    used = {leak.sheet.file for _, leak in held if leak is not None}
    found += [_idle(leak.sheet.file, side) for leak in leaks if leak.sheet.file not in used]
    bare = [sheet.file for (sheet, _), leak in held if leak is None]
    return found + ([_without(bare, side)] if used and bare else [])


def _unread(file: str, what: str, side: Side) -> Finding:
    text = "{}: the {} reading of the {} gives no flow, so it is not used."
    cure = "Give the flow, or the range in use."
    values = ((file, "text"), (what, "text"), (side, "text"))
    return Finding("look", "check-unread", text, cure, values, file, side=side)


def _idle(file: str, side: Side) -> Finding:
    text = "{}: this leak of the {} is subtracted from nothing: no sheet is of its bench, day and stage."
    cure = "Mend its # bench:, # date: and # stage:, or leave out what it does not depend on."
    return Finding("look", "leak-unused", text, cure, ((file, "text"), (side, "text")), file, side=side)


def _without(files: list[str], side: Side) -> Finding:
    text = "A leak of the {} is subtracted from some sheets and not from {}: it stays in gains between them."
    cure = "Read the leak on each bench and day, or leave # date: out of a leak sheet that holds for all."
    who = files[0] if len(files) == 1 else f"{len(files)} others"
    return Finding("look", "leak-missing", text, cure, ((side, "text"), (who, "text")), files[0], side=side)
