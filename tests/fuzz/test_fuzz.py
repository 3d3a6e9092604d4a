"""The short run: whatever is given ends in a plain no, or means the same after our own writer.

Hypothesis draws the chances, so that a failure shrinks to the least damage that makes it; it
draws the same at every run. ``python -m tests.fuzz`` is the long one.
"""

from __future__ import annotations

from pathlib import Path
from random import Random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from core.files.sheet import read_sheet
from tests.fuzz import __main__ as long_run
from tests.fuzz import rules
from tests.fuzz.kinds import KINDS, Kind
from tests.fuzz.rules import ACCEPTED, REFUSED
from tests.fuzz.seeds import EVERY_KEY, good_jobs

_BY_NAME = {kind.name: kind for kind in KINDS}


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name.replace(" ", "-"))
def test_whatever_is_given_is_refused_plainly_or_means_the_same(kind: Kind) -> None:
    @settings(
        max_examples=kind.in_ci,
        derandomize=True,
        database=None,
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
    )
    @given(st.randoms(use_true_random=False))
    def check(random: Random) -> None:
        assert kind.check(kind.make(random)) in (ACCEPTED, REFUSED)

    check()


def test_what_the_damage_is_done_to_is_whole() -> None:
    for files in (*good_jobs(), {"every-key.csv": EVERY_KEY.encode()}):
        assert rules.job_holds(files) == ACCEPTED


@pytest.mark.parametrize("name", [kind.name for kind in KINDS if kind.good])
def test_some_damaged_ones_are_still_accepted_and_some_are_not(name: str) -> None:
    kind = _BY_NAME[name]
    outcomes = {kind.check(kind.case(number)) for number in range(25)}
    assert outcomes == {ACCEPTED, REFUSED}


def test_a_case_is_the_same_at_every_run() -> None:
    for kind in KINDS:
        if "spreadsheet" not in kind.name:  # archives hold the time at which they were made
            assert kind.case(3) == kind.case(3)


@pytest.mark.parametrize(
    ("before", "after"), [("bore: 86 mm", "bore: 87 mm"), ("62.0", "62.1"), ("before lunch", "before")]
)
def test_a_number_or_word_that_changed_is_noticed(before: str, after: str) -> None:
    one, _ = read_sheet("a.csv", EVERY_KEY.encode())
    other, _ = read_sheet("a.csv", EVERY_KEY.replace(before, after).encode())
    rules.same_sheet(one, one)
    with pytest.raises(rules.BrokenRule):
        rules.same_sheet(one, other)


def test_a_broken_rule_is_counted_and_saved(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    def broken(files: dict[str, bytes]) -> str:
        raise rules.BrokenRule("on purpose")

    kind = Kind("broken", True, lambda random: {"a.csv": b"x"}, broken, 100, 1)
    assert long_run._outcome(kind, 7, tmp_path) == "BROKE A RULE"
    assert (tmp_path / "broken-7" / "0-a.csv").read_bytes() == b"x"
    assert "on purpose" in (tmp_path / "broken-7" / "reason.log").read_text(encoding="utf-8")
    assert "broken 7: BrokenRule" in capsys.readouterr().out
