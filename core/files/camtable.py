"""A cam's lift table: valve lift over crank angle, as a CSV file that a job file names."""

from __future__ import annotations

from core import units
from core.cam import net_lift
from core.files.log import Log
from core.files.table import numbers_of, split
from core.files.text import UnreadableError, decode
from core.job import CamLobe
from core.units import UnitError

_COLUMNS = {"angle": ("angle", "deg"), "lift": ("lift", "mm")}


def read_lift_table(file: str, data: bytes) -> tuple[CamLobe | None, Log]:
    """Read a table with the columns ``angle [deg]`` (crank) and ``lift [mm]`` (at the valve).

    Parameters
    ----------
    file : str
        Name of the file, for messages.
    data : bytes
        Its content.

    Returns
    -------
    tuple of (CamLobe or None, Log)
        The lobe, None where the table cannot be used, and everything noticed on the way.
    """
    log = Log(file)
    try:
        table = split(decode(data), log)
    except UnreadableError as error:
        log.problem(error.text, error.cure)
        return None, log
    if table is None:
        return None, log
    heads = {head.name: head for head in table.heads}
    columns: list[list[float | None]] = []
    for name, (kind, unit) in _COLUMNS.items():
        head = heads.get(name)
        if head is None or head.unit is None:
            log.problem(
                f"Column '{name} [{unit}]' is missing." if head is None else f"Column '{name}' has no unit.",
                "A lift table has the columns 'angle [deg]' (of the crank) and 'lift [mm]' (at the valve).",
                table.header_line,
            )
            continue
        try:
            _, scale, offset = units.factor(head.unit, (kind,))
        except UnitError as error:
            log.refuse(error, table.header_line, head.text)
            continue
        columns.append(numbers_of(head, table, scale, offset, log, fractions=kind == "lift"))
    if log.problems:
        return None, log
    for (line, _), *pair in zip(table.rows, *columns, strict=True):
        if None in pair:
            log.problem("A cell is blank.", "Every row of a lift table has an angle and a lift.", line)
    if log.problems:
        return None, log
    lobe = CamLobe(table=tuple(zip(*columns, strict=True)))
    try:
        net_lift(lobe)
    except ValueError as error:
        log.problem(str(error), "Mend the table.")
        return None, log
    return lobe, log
