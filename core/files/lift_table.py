"""A cam's lift table: crank angle against valve lift, as CSV."""

from __future__ import annotations

import itertools

from core import units
from core.files.log import Log
from core.files.table import numbers_of, split
from core.files.text import UnreadableError, decode
from core.units import UnitError

_KINDS = {"angle": ("angle",), "lift": ("lift",)}


def read_lift_table(data: bytes, log: Log) -> tuple[tuple[float, float], ...]:
    """Read a lift table; problems go into the log.

    Parameters
    ----------
    data : bytes
        Content of the file.
    log : Log
        Log of that file.

    Returns
    -------
    tuple of tuple
        (crank angle in rad, valve lift in m), row by row.
    """
    try:
        table = split(decode(data), log)
    except UnreadableError as error:
        log.problem(error.text, error.cure)
        return ()
    if table is None:
        return ()
    heads = {head.name: head for head in table.heads}
    columns = []
    for name, kinds in _KINDS.items():
        head = heads.get(name)
        if head is None or head.unit is None:
            text = f"A lift table needs a column '{name}' with its unit."
            log.problem(text, "Write the heads as angle [deg],lift [mm].", table.header_line)
            continue
        try:
            _, scale, offset = units.factor(head.unit, kinds)
        except UnitError as error:
            log.refuse(error, table.header_line, head.text)
            continue
        columns.append(numbers_of(head, table, scale, offset, log))
    if len(columns) < len(_KINDS) or log.problems:
        return ()
    rows = tuple((angle, lift) for angle, lift in zip(*columns, strict=True) if None not in (angle, lift))
    if len(rows) < 5:
        log.problem(f"The lift table has {len(rows)} rows.", "Give at least 5.")
    if any(after[0] <= before[0] for before, after in itertools.pairwise(rows)):
        log.problem("The crank angles do not rise from row to row.", "Sort them.")
    return rows
