"""Compression ratios and the Otto efficiency."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.compression import (
    compression_ratio,
    cylinder_volume,
    otto_effect,
    otto_efficiency,
    ratio_with_chamber,
    surfacing_depth,
    surfacing_volume,
)
from tests.reference import reference

COMPRESSION = reference("compression")
INCH_M = 0.0254
CC_M3 = 1e-6

swept = st.floats(50e-6, 1500e-6)
ratios = st.floats(6.0, 16.0)
chambers = st.floats(20e-6, 120e-6)


@pytest.mark.outside
@pytest.mark.parametrize("case", COMPRESSION["cases"]["cases"], ids=lambda case: f"{case['ratio']:.2f}")
def test_ratio_from_sizes(case):
    # Worked out once by other code, to 1e-9.
    bore_m, stroke_m = case["bore"] * INCH_M, case["stroke"] * INCH_M
    swept_m3 = cylinder_volume(bore_m, stroke_m)
    gasket_m3 = cylinder_volume(case["gasket_bore"] * INCH_M, case["gasket_thk"] * INCH_M)
    deck_m3 = cylinder_volume(bore_m, case["deck"] * INCH_M)
    assert swept_m3 == pytest.approx(case["swept_cc"] * CC_M3, rel=1e-9)
    assert gasket_m3 == pytest.approx(case["gasket_cc"] * CC_M3, rel=1e-9)
    assert deck_m3 == pytest.approx(case["deck_cc"] * CC_M3, rel=1e-9)
    clearance_m3 = (case["chamber_cc"] + case["dish_cc"]) * CC_M3 + gasket_m3 + deck_m3
    assert compression_ratio(swept_m3, clearance_m3) == pytest.approx(case["ratio"], rel=1e-9)


@pytest.mark.outside
def test_ratio_with_another_chamber():
    # The first two cases differ in the chamber alone: 64 cc and 58 cc.
    before, after = COMPRESSION["cases"]["cases"][:2]
    ratio = ratio_with_chamber(
        before["ratio"], before["swept_cc"] * CC_M3, before["chamber_cc"] * CC_M3, after["chamber_cc"] * CC_M3
    )
    assert ratio == pytest.approx(after["ratio"], rel=1e-9)


@pytest.mark.outside
def test_surfacing_volume():
    # Worked out once, to 1e-9.
    case = COMPRESSION["surfacing"]
    volume = surfacing_volume(case["area_in2"] * INCH_M**2, case["depth_in"] * INCH_M)
    assert volume == pytest.approx(case["volume_cc"] * CC_M3, rel=1e-9)


@pytest.mark.outside
def test_otto_efficiency():
    for case in COMPRESSION["otto"]["cases"]:  # worked out once, to 1e-9
        assert otto_efficiency(case["ratio"], case["gamma"]) == pytest.approx(case["efficiency"], rel=1e-9)
    for case in COMPRESSION["otto_printed"]["cases"]:  # to 0.1 %; from memory, see the file
        assert 100 * otto_efficiency(case["ratio"], case["gamma"]) == pytest.approx(case["percent"], abs=0.05)
    for case in COMPRESSION["power_gain"]["cases"]:
        before, after = otto_efficiency(np.array([case["from"], case["to"]]), case["gamma"])
        assert 100 * (after / before - 1) == pytest.approx(case["percent"], rel=1e-9)


@given(ratios, st.floats(1.2, 1.45), st.floats(200.0, 2500.0))
def test_otto_efficiency_against_heat_and_work_of_the_cycle(ratio, gamma, heating):
    # Four states of an ideal gas, cv = 1: isentropes by r^(gamma - 1), heat at constant volume.
    t1 = 300.0
    t2 = t1 * ratio ** (gamma - 1)
    t3 = t2 + heating
    t4 = t3 / ratio ** (gamma - 1)
    work = (t3 - t4) - (t2 - t1)
    assert otto_efficiency(ratio, gamma) == pytest.approx(work / heating, rel=1e-9)


@given(swept, ratios, chambers)
def test_the_same_chamber_keeps_the_ratio(swept_m3, ratio, chamber_m3):
    assert ratio_with_chamber(ratio, swept_m3, chamber_m3, chamber_m3) == pytest.approx(ratio, rel=1e-12)


@given(st.floats(300e-6, 1500e-6), st.floats(6.0, 14.0), chambers, st.floats(-5e-6, 20e-6))
def test_there_and_back_again(swept_m3, ratio, chamber_m3, change_m3):
    now_m3 = chamber_m3 + change_m3
    there = ratio_with_chamber(ratio, swept_m3, chamber_m3, now_m3)
    if abs(change_m3) > 1e-9 * swept_m3:
        assert (there < ratio) == (change_m3 > 0)  # a larger chamber, a lower ratio
    assert ratio_with_chamber(there, swept_m3, now_m3, chamber_m3) == pytest.approx(ratio, rel=1e-9)


@given(swept, ratios)
def test_ratio_is_what_its_words_say(swept_m3, ratio):
    clearance_m3 = swept_m3 / (ratio - 1)
    expected = (swept_m3 + clearance_m3) / clearance_m3
    assert compression_ratio(swept_m3, clearance_m3) == pytest.approx(expected, rel=1e-12)


@given(ratios, st.floats(1.2, 1.45))
def test_efficiency_rises_with_the_ratio(ratio, gamma):
    assert otto_efficiency(1.0, gamma) == 0
    assert otto_efficiency(ratio + 0.1, gamma) > otto_efficiency(ratio, gamma)


def test_refusals():
    with pytest.raises(ValueError, match="bore_m is 0"):
        cylinder_volume(0.0, 0.1)
    with pytest.raises(ValueError, match=r"stroke_m is -0\.1"):
        cylinder_volume(0.1, -0.1)
    with pytest.raises(ValueError, match="clearance_m3 is 0"):
        compression_ratio(5e-4, 0.0)
    with pytest.raises(ValueError, match="swept_m3 is 0"):
        compression_ratio(0.0, 5e-5)
    with pytest.raises(ValueError, match="swept_m3 is 0"):
        ratio_with_chamber(10.0, 0.0, 5e-5, 5e-5)
    with pytest.raises(ValueError, match="known_chamber_m3 is 0"):
        ratio_with_chamber(10.0, 5e-4, 0.0, 5e-5)
    with pytest.raises(ValueError, match="chamber_m3 is 0"):
        ratio_with_chamber(10.0, 5e-4, 5e-5, 0.0)
    with pytest.raises(ValueError, match="volume_m3 is -"):
        surfacing_depth(5e-3, -1e-6)
    with pytest.raises(ValueError, match=r"^ratio - 1 is 0"):
        otto_effect(1.0, 10.0)
    with pytest.raises(ValueError, match="base_ratio - 1 is 0"):
        otto_effect(10.0, 1.0)
    assert min(otto_effect(1.6, 1.4)) > 0  # low, but a ratio
    with pytest.raises(ValueError, match="known_ratio - 1 is 0"):
        ratio_with_chamber(1.0, 5e-4, 5e-5, 5e-5)
    with pytest.raises(ValueError, match="clearance_m3 is -"):  # a chamber cut by more than all clearance
        ratio_with_chamber(14.0, 2e-4, 5e-5, 5e-6)
    with pytest.raises(ValueError, match="depth_m is -"):
        surfacing_volume(5e-3, -1e-3)
    with pytest.raises(ValueError, match=r"ratio is 0\.5\. It must be 1 or more"):
        otto_efficiency(0.5, 1.3)
    with pytest.raises(ValueError, match="gamma - 1 is 0"):
        otto_efficiency(10.0, 1.0)
