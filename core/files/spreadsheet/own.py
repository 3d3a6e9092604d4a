"""Tell a bench sheet of our own from a spreadsheet that has to be mapped."""

from __future__ import annotations

from core.files.log import Log, folded
from core.files.sheet import KEYS
from core.files.table import split
from core.files.text import UnreadableError, decode
from core.job import SIDES


def is_bench_sheet(data: bytes) -> bool:
    """Return whether a file says of itself that it is a bench sheet.

    Parameters
    ----------
    data : bytes
        Content of a text file.

    Returns
    -------
    bool
        True where it has a ``# key: value`` line that bench sheets have, over a column that is
        called intake or exhaust; its readings may still be wrong.
    """
    try:
        table = split(decode(data), Log(""))
    except UnreadableError:
        return False
    if table is None or not any(head.name in SIDES for head in table.heads):
        return False
    keys = (comment.partition(":")[0] for _, comment in table.comments if ":" in comment)
    return any(folded(key) in KEYS for key in keys)
