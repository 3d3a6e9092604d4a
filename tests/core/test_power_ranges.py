"""How effects become ranges."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.power_ranges import LEAST_SHARE, Linear, covering, half_widths, price_range
from core.power_results import PriceRange, Range

effects = st.dictionaries(st.sampled_from("abcd"), st.floats(-50, 50))
linears = st.builds(Linear, st.floats(-1000, 1000), effects)


@given(st.lists(linears, min_size=1, max_size=3), st.booleans())
def test_a_range_is_never_narrower_than_a_share_of_its_middle(parts, includes_zero):
    found, _ = covering(parts, includes_zero)
    assert found.low <= found.mid - LEAST_SHARE * abs(found.mid)
    assert found.high >= found.mid + LEAST_SHARE * abs(found.mid)
    if includes_zero:
        assert found.low <= 0 <= found.high
    for part in parts:
        assert found.low <= part.value <= found.high


def test_effects_add_up_in_squares_and_what_is_shared_cancels():
    after, before = Linear(110.0, {"a": 3.0, "b": 5.0}), Linear(100.0, {"a": 3.0, "b": 1.0})
    gain = after - before
    assert gain.value == 10 and gain.effects == {"a": 0, "b": 4}
    assert gain.with_effects(c=3.0).standard_uncertainty == pytest.approx(5)


def test_an_unknown_that_one_of_two_knows_moves_their_sum_as_it_moves_that_one():
    both = Linear(1.0, {"a": 2.0, "b": 3.0}) + Linear(10.0, {"b": 0.5, "c": 7.0})
    assert both == Linear(11.0, {"a": 2.0, "b": 3.5, "c": 7.0})
    assert Linear(1.0, {"a": 2.0}) - Linear(10.0, {"c": 7.0}) == Linear(-9.0, {"a": 2.0, "c": -7.0})
    assert Linear(4.0, {"a": 1.0}).with_effects(a=2.0, b=3.0) == Linear(4.0, {"a": 2.0, "b": 3.0})


@pytest.mark.parametrize(
    ("parts", "low", "mid", "high", "widened"),
    [
        ([(6, 0), (14, 0)], 6, 10, 14, False),  # just as wide as the least
        ([(5, 0), (15, 0)], 5, 10, 15, False),
        ([(9, 0), (11, 0)], 6, 10, 14, True),
        ([(2, 0), (14, 0)], 2, 8, 14, False),
        ([(-8, 0), (-2, 0), (-11, 0)], -11, -7, -2, False),
        ([(9, 2), (11, 0)], 9 - 2 * 1.96, 10, 14, True),  # too narrow above alone
        ([(9, 0), (11, 2)], 6, 10, 11 + 2 * 1.96, True),  # too narrow below alone
        ([(1, 0)], 0.6, 1, 1.4, True),
        ([(0, 0)], 0, 0, 0, False),  # nothing to widen
        ([(-1, 0), (1, 0)], -1, 0, 1, False),
    ],
)
def test_a_range_is_widened_where_it_is_narrower_than_it_may_be(parts, low, mid, high, widened):
    linears = [Linear(value, {"a": effect}) for value, effect in parts]
    found, told = covering(linears, False)
    assert (found.low, found.mid, found.high) == pytest.approx((low, mid, high))
    assert told is widened
    # Zero is taken in where nothing says that there is a gain; nothing else moves.
    reaching, told = covering(linears, True)
    assert (reaching.low, reaching.mid, reaching.high) == (min(found.low, 0), found.mid, max(found.high, 0))
    assert told is widened


@given(st.floats(10, 1000), st.floats(10, 1000), st.floats(-1, 1), st.floats(-1, 1))
def test_a_quotient_moves_as_its_derivative_says(a, b, of_a, of_b):
    step = 1e-6
    moved = (a + step * of_a) / (b + step * of_b) - a / b
    found = Linear(a, {"x": of_a}).over(Linear(b, {"x": of_b}))
    assert found.value == pytest.approx(a / b)
    assert found.effects["x"] == pytest.approx(moved / step, rel=1e-4, abs=1e-6)


@pytest.mark.outside
def test_the_range_is_that_of_a_monte_carlo():
    # JCGM 101: draws through the same straight-line model, 95 % between the 2.5 and 97.5 percentiles.
    part = Linear(20.0, {"a": 3.0, "b": 4.0})
    rng = np.random.default_rng(3)
    draws = part.value + rng.standard_normal((200_000, 2)) @ [3.0, 4.0]
    found, _ = covering([part], False)
    assert [found.low, found.high] == pytest.approx(np.percentile(draws, [2.5, 97.5]), abs=0.15)


def test_what_a_range_is_made_of():
    found = half_widths([Linear(10, {"a": 1.0}), Linear(16, {"a": -3.0, "b": 0.5})])
    assert found == pytest.approx({"a": 1.96 * 2, "structure": 3, "b": 1.96 * 0.25})
    assert list(found) == ["a", "structure", "b"]


def test_prices():
    found = price_range(300.0, Range(10.0, 20.0, 60.0))
    assert (found.low, found.mid, found.high) == (5, 15, 30)
    unbounded = price_range(300.0, Range(-10.0, 20.0, 60.0))
    assert unbounded.high is None and unbounded.mid == 15
    assert price_range(300.0, Range(-30.0, -20.0, 6.0)).mid is None
    assert price_range(300.0, Range(-30.0, -20.0, -6.0)) is None
    assert price_range(None, Range(1.0, 2.0, 3.0)) is None
    # A range that ends at zero bounds nothing there; half a watt is a gain.
    assert price_range(300.0, Range(-30.0, -20.0, 0.0)) is None
    assert price_range(300.0, Range(-6.0, 0.0, 6.0)) == PriceRange(50.0, None, None)
    assert price_range(300.0, Range(0.0, 3.0, 6.0)) == PriceRange(50.0, 100.0, None)
    assert price_range(3.0, Range(0.25, 0.5, 0.75)) == PriceRange(4.0, 6.0, 12.0)
