"""A mapping that a job keeps: said again of the next spreadsheet, it says the same."""

from __future__ import annotations

from core.files.spreadsheet import kept, propose, read_grid, recalled, signature

STACKED = b"""\
Intake cfm,,
Lift (in),as cast,bowls
0.1,60.2,62.0
0.2,118.5,121.4
0.3,166.1,171.9
,,
Exhaust cfm,,
Lift (in),as cast,bowls
0.1,48.1,50.2
0.2,90.4,94.0
0.3,124.8,131.1
"""


def test_tables_one_below_the_other_are_not_mixed_up() -> None:
    book = read_grid("stacked.csv", STACKED)
    proposal = propose(book, {"test pressure": "28 inH2O"})
    assert [[line.side for line in table.lines] for table in proposal.mapping.tables] == [
        ["intake", "intake"],
        ["exhaust", "exhaust"],
    ]
    again = recalled(proposal, kept(proposal.mapping, signature(book)))
    assert again.mapping.tables == proposal.mapping.tables
