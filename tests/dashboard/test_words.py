"""Numbers and sentences that a person reads."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from core.files.load import load_job
from core.job import Finding, Problem
from core.review import review
from core.units import METRIC, US
from dashboard import answer_words, evidence, figures, phrases, words
from tests.dashboard.reviews import make_review, no_exhaust, one_stage, twelve_stages


def plain(text: str) -> str:
    """Return text with ordinary spaces, so that expectations can be read."""
    return text.replace("\u00a0", " ").replace("\u202f", " ")


@pytest.mark.parametrize(
    ("value", "expanded", "shown"),
    [
        (6.24, 0.63, "+6.2 ± 0.6"),
        (-6.24, 0.63, "−6.2 ± 0.6"),
        (6.24, 0.163, "+6.24 ± 0.16"),
        (6.24, 0.2, "+6.2 ± 0.2"),
        (0.02, 0.6, "0.0 ± 0.6"),
        (-0.02, 0.6, "0.0 ± 0.6"),
        (123.4, 26.0, "+120 ± 30"),
        (1234.4, 3.0, "+1 234 ± 3"),
        (0.80, 0.76, "+0.80 ± 0.76"),  # rounded to one digit the gain would not exceed its ±
        (0.84, 0.83, "+0.84 ± 0.83"),
        (0.84, 0.86, "+0.8 ± 0.9"),
        (1.40503, 1.40302, "+1.41 ± 1.40"),
        (-1.40499, 1.40497, "−1.4 ± 1.4"),  # alike however finely they are known: the verdict decides
        (0.9601, 0.9599, "+1.0 ± 1.0"),
        (5.0, 0.0, "+5.0"),
    ],
)
def test_digits_follow_the_uncertainty(value: float, expanded: float, shown: str) -> None:
    assert plain(figures.plus_minus(value, expanded)) == shown


@given(st.floats(-300, 300), st.floats(1e-3, 50))
@example(1.4050, 1.4049)
@example(-0.2104, 0.2)
def test_digits_never_contradict_the_numbers_and_are_few(value: float, expanded: float) -> None:
    left, right = plain(figures.plus_minus(value, expanded)).replace("−", "-").split("±")
    shown, shown_expanded = (float(part.replace(" ", "")) for part in (left, right))
    if abs(value) > expanded:
        assert abs(shown) >= shown_expanded
        # Of two digits or more, one in the last is 5 % of the ± at most: what is further apart is parted.
        assert abs(shown) > shown_expanded or abs(value) <= 1.05 * expanded
    else:
        assert abs(shown) <= shown_expanded
    # One digit of the ±, two where it begins with 1, and at most one digit more, for a value beyond it.
    usual = figures.places(expanded)
    decimals = max(len(part.strip().partition(".")[2]) for part in (left, right))
    assert decimals <= max(usual, 0) + (abs(value) > expanded)
    # Half a unit of the last digit shown, where that digit is the first or second of the ±.
    assert abs(shown - value) <= 0.5 * expanded + 1e-12


@given(st.floats(-1e6, 1e6, allow_nan=False), st.integers(-2, 4))
def test_a_figure_holds_no_hyphen_and_no_ordinary_space(value: float, decimals: int) -> None:
    text = figures.figure(value, decimals, signed=True)
    assert re.fullmatch(r"[+−]?[\d\u202f]+(\.\d+)?", text)
    assert not text.startswith("−0") or any(c in "123456789" for c in text)


def test_a_number_with_its_uncertainty_stays_on_one_line() -> None:
    assert " " not in figures.percent(0.123, 0.008)
    assert " " not in figures.money(1050, "EUR")


@pytest.mark.parametrize(
    ("amount", "currency", "shown"),
    [
        (1050.0, "EUR", "1 050 EUR"),
        (0.0, "EUR", "0 EUR"),
        (12.5, "EUR", "12.50 EUR"),
        (300.0, None, "300"),
        (None, "EUR", "no price"),
    ],
)
def test_money(amount: float | None, currency: str | None, shown: str) -> None:
    assert plain(figures.money(amount, currency)) == shown


def test_a_range_shows_two_digits_of_each_end() -> None:
    assert figures.span(83.2, 131.7) == "83–130"
    assert figures.span(56.1, 56.4) == "56"


def test_lifts_share_their_decimals() -> None:
    assert figures.lifts([1e-3, 2.5e-3], METRIC) == ["1.0", "2.5"]
    assert figures.lifts([0.05 * 0.0254, 0.1 * 0.0254], US) == ["0.05", "0.10"]
    assert figures.lifts([0.05 * 0.0254], METRIC) == ["1.27"]


ANSWERS = {
    "gains on both sides": (
        make_review(),
        "1 050 EUR bought 12.9 ± 0.8 % more intake flow and 14.8 ± 1.1 % more exhaust flow "
        "where these cams work.",
    ),
    "one side only": (
        no_exhaust(),
        "1 050 EUR bought 12.9 ± 0.8 % more intake flow where this cam works. The exhaust was not measured.",
    ),
    "no cam": (
        make_review(cam=False),
        "1 050 EUR bought 12.9 ± 0.8 % more intake flow and 14.8 ± 1.1 % more exhaust flow "
        "over all lifts that both curves reach.",
    ),
    "no price": (
        make_review(prices=None),
        "The work brought 12.9 ± 0.8 % more intake flow and 14.8 ± 1.1 % more exhaust flow "
        "where these cams work.",
    ),
    "one price missing": (
        make_review(prices=(0.0, 260.0, None, 310.0)),
        "The work brought 12.9 ± 0.8 % more intake flow and 14.8 ± 1.1 % more exhaust flow "
        "where these cams work.",
    ),
    "a loss and no change": (
        make_review(tops={"intake": (108.0, 107.0, 104.0, 103.0), "exhaust": (81.0, 81.1, 81.2, 81.0)}),
        "1 050 EUR of work left 4.6 ± 0.8 % less intake flow where this cam works. "
        "The exhaust change, 0.0 ± 1.1 %, is too close to call.",
    ),
    "a gain and a loss": (
        make_review(tops={"intake": (108.0, 109.5, 121.5, 121.9), "exhaust": (81.0, 80.0, 78.0, 77.0)}),
        "1 050 EUR bought 12.9 ± 0.8 % more intake flow, but 4.9 ± 1.1 % less exhaust flow "
        "where these cams work.",
    ),
    "nothing clear": (
        make_review(tops={"intake": (108.0, 108.1, 108.2, 108.1), "exhaust": (81.0, 81.1, 81.2, 81.0)}),
        "1 050 EUR bought no change in flow that this bench can tell: intake +0.1 ± 0.8 %, "
        "exhaust 0.0 ± 1.1 % where these cams work, too close to call.",
    ),
    "another set-up": (
        make_review(setup_differences=("intake entry: bare, then clay radius",)),
        "No gain can be called, for the set-up was another: intake +12.9 ± 0.8 %, exhaust +14.8 ± 1.1 %.",
    ),
    "one stage": (one_stage(), "One stage so far, as cast. A gain needs a second one measured."),
    "sides of different stages": (
        make_review(
            names=("as cast", "seat cut"),
            prices=(0.0, 260.0),
            tops={"intake": (108.0, None), "exhaust": (None, 82.0)},
        ),
        "No gain can be worked out. The intake was measured at one stage only, so there is no gain to show. "
        "The exhaust was measured at one stage only, so there is no gain to show.",
    ),
    "nothing measured": (
        make_review(names=("as cast",), prices=(0.0,), tops={"intake": (None,), "exhaust": (None,)}),
        "No flow can be shown yet: no stage has a usable reading.",
    ),
}


@pytest.mark.parametrize("case", ANSWERS)
def test_the_answer(case: str) -> None:
    review, sentence = ANSWERS[case]
    assert plain(answer_words.answer(review)) == sentence


def test_the_answer_makes_user_text_safe() -> None:
    review = make_review(names=("*a*", "b", "c", "_d_"), currency="$")
    assert "<1\u202f050\u00a0$>" in answer_words.answer(review, lambda text: f"<{text}>")
    assert "<_d_>" in answer_words.steps(review, lambda text: f"<{text}>")


def test_steps_name_what_is_not_clear() -> None:
    assert plain(answer_words.steps(make_review())) == (
        "Every step is a clear gain but one: port exit on the intake is too close to call."
    )
    assert plain(answer_words.steps(twelve_stages())) == (
        "Of 22 steps on intake and exhaust, 14 are clear gains and 8 are too close to call."
    )
    two = make_review(
        names=("as cast", "seat cut"), prices=(0, 1), tops={"intake": (108, 115), "exhaust": (81, 90)}
    )
    assert answer_words.steps(two) == ""  # the answer has said it
    assert plain(answer_words.steps(make_review(setup_differences=("bore",)))) == (
        "No step can be called: each was measured in another set-up than the one before."
    )


def test_doubts_stand_beside_the_answer() -> None:
    assert answer_words.doubts(make_review()) == []
    assert answer_words.doubts(make_review(different_ports=True)) == [
        "Intake and exhaust: measured in different ports; their own spread is not known."
    ]
    assert answer_words.doubts(make_review(setup_differences=("bore: 80 mm, then 86 mm",))) == [
        "Intake and exhaust: another set-up: bore: 80 mm, then 86 mm."
    ]
    assert answer_words.doubts(make_review(setup_differences=("test pressure stated",))) == [
        "Intake and exhaust: another set-up: the test pressure is stated for one only."
    ]
    assert answer_words.doubts(make_review(at_reference=False)) == [
        "Intake and exhaust: no test pressure stated; the same is taken for both."
    ]


def test_a_target_is_another_head() -> None:
    gain = replace(make_review(different_ports=True).gains[0], against="target")
    assert words.doubts(gain) == ("measured in another head; other ports of either may differ",)


@pytest.mark.parametrize(
    ("files", "of", "text"),
    [
        (("a.csv",), 1, "1 problem in 1 file. No gain"),
        (("a.csv", "a.csv", "b.csv"), 4, "3 problems in 2 files. 2 files are sound. No gain"),
        (("a.csv", "b.csv"), 3, "2 problems in 2 files. 1 file is sound. No gain"),
    ],
)
def test_problems_are_counted(files: tuple[str, ...], of: int, text: str) -> None:
    found = [Problem(file, "x", "y") for file in files]
    assert phrases.problem_count(found, of).replace("**", "").startswith(text)


def test_a_quotation_is_said_to_be_one() -> None:
    review = make_review(planned="runner match")
    assert plain(answer_words.planned(review)) == (
        "Planned and only quoted: runner match (300 EUR). It is not counted above."
    )
    assert plain(answer_words.answer(review)).startswith("1 050 EUR bought")  # without the 300


def test_conditions_name_pressure_air_and_coverage() -> None:
    assert plain(words.conditions(make_review(), METRIC)) == (
        "Flow in L/s at 28 inH2O, standard air ISO 2533 (15 °C, 1013.25 hPa, dry, 1.2250 kg/m³). ± is 95 %."
    )
    assert "Flow in cfm" in words.conditions(make_review(), US)
    assert "not scaled" in words.conditions(make_review(at_reference=False), METRIC)


def test_the_ceiling_is_a_level_with_its_cylinders_and_never_a_gain() -> None:
    text = plain(words.ceiling_line(make_review(), METRIC))
    assert re.search(r"about \d+–\d+ kW on 4 cylinders", text)
    assert "a level, not a gain" in text
    none = plain(words.ceiling_line(make_review(cylinders=None), METRIC))
    assert none == "Not worked out, because the job has no [engine]."


def test_the_customer_keeps_every_doubt_about_a_number() -> None:
    found = tuple(
        Finding("note", code, "x") for code in ("unknown-key", "assumed-barometer", "setup-unknown")
    )
    review = make_review(findings=(Finding("look", "different-ports", "x"), *found))
    assert [f.code for f in words.findings_for(review, customer=False)] == [
        "different-ports", "unknown-key", "assumed-barometer", "setup-unknown",
    ]  # fmt: skip
    assert [f.code for f in words.findings_for(review, customer=True)] == [
        "different-ports", "assumed-barometer", "setup-unknown",
    ]  # fmt: skip


def test_the_words_of_a_verdict_and_of_a_level_are_explained_where_they_stand() -> None:
    assert words.ladder_caption(make_review()).endswith(words.VERDICTS_MEAN)
    grave = (Finding("look", "a", "x"), Finding("note", "b", "x"))
    assert evidence.levels_mean(grave) == "look: check it before you rely on the numbers; note: good to know."
    assert evidence.levels_mean((Finding("stop", "a", "x"),)) == "stop: do not use what is named."
    assert evidence.levels_mean(grave[1:]) == evidence.levels_mean(()) == ""


def test_what_is_assumed_of_repeats_is_said() -> None:
    assert plain(words.repeat_line(make_review())) == (
        "One re-set-up moves a reading by, as a standard uncertainty: "
        "intake 0.5 % (from repeats) and exhaust 0.5 % (assumed)."
    )


def test_what_a_customer_is_told_names_no_key_of_a_file(demo_runs):
    told = []
    for name in ("sprint-four", "touring-twin", "bare-sheets", "messy-day"):
        found = review(load_job([demo_runs / name]).job).findings
        told += evidence.finding_lines(found, METRIC, customer=True)
    assert told
    for line in told:
        assert not re.search(r"[a-z]_[a-z]", re.sub(r"\S+\.csv", "", line.text)), line.text
