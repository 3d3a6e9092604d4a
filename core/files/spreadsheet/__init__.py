"""Any spreadsheet to bench sheets, by a mapping that a person can see, correct and keep.

::

    book = read_grid(name, data)                     # UnreadableError: why not, and the cure
    proposal = propose(book, answers)                # .mapping, .reasons, .questions, .open
    imported = apply(book, proposal.mapping)         # .sheets or .problems; nothing by halves
    curves(imported)                                 # what would be drawn of it

``read_grid`` looks for traps before anything opens the file and gives plain cells. ``propose``
is pure: call it again with the answers that a person gave, by the questions' keys, and the
questions are gone. A question with ``needed`` unset can wait: a first curve does not need it.
A person corrects the mapping with ``dataclasses.replace``: a line's ``use``, ``stage``,
``side``, ``port``, ``run``, ``setup``, ``unit``, ``test_pressure``; a table's ``wanted`` and
``lift_unit``. ``apply`` takes the mapping as it is and reads no more into it.

``kept(book, mapping, answers)`` is what ``job.toml`` keeps of a mapping under ``[[mapping]]``:
what a person said, with the shape of the spreadsheet. ``entry_for(book, job_file)`` finds it for
the next one of that shape, and ``recalled(book, entry, answers)`` proposes with it.
"""

from core.files.spreadsheet.apply import apply
from core.files.spreadsheet.book import read_grid
from core.files.spreadsheet.curves import Curve, curves
from core.files.spreadsheet.mapping import (
    Imported,
    ImportedSheet,
    Line,
    Mapping,
    Proposal,
    Question,
    Reason,
    TableMap,
)
from core.files.spreadsheet.memory import entry_for, keeping, kept, recalled
from core.files.spreadsheet.propose import propose
from core.files.text import UnreadableError

__all__ = [
    "Curve",
    "Imported",
    "ImportedSheet",
    "Line",
    "Mapping",
    "Proposal",
    "Question",
    "Reason",
    "TableMap",
    "UnreadableError",
    "apply",
    "curves",
    "entry_for",
    "keeping",
    "kept",
    "propose",
    "read_grid",
    "recalled",
]
