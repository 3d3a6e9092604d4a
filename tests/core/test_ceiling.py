"""What an engine is asked for before any power is said of it, and what a peak flow has fed."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from core.ceiling import HORSEPOWER_W, flow_ceiling, kind_needed, no_ceiling_because
from core.constants import CFM_M3_S, INCH_WATER_PA, STANDARD_AIRS
from core.job import Engine

AT_28 = 28 * INCH_WATER_PA


@pytest.mark.parametrize(
    ("engine", "needed"),
    [
        (Engine(), None),
        (Engine(kind="Four-Stroke Spark Ignition", aspiration="Natural"), None),
        (Engine(kind="two-stroke spark ignition"), "four-stroke spark ignition"),
        (Engine(kind="four-stroke diesel", aspiration="turbo"), "four-stroke spark ignition"),
        (Engine(aspiration="turbo"), "natural aspiration"),
    ],
)
def test_power_is_said_of_one_kind_of_engine(engine: Engine, needed: str | None) -> None:
    assert kind_needed(engine) == needed
    said = f"the rule holds for {needed} only" if needed else "the number of cylinders is not stated"
    assert no_ceiling_because(engine) == said


def test_an_engine_must_be_there_and_have_cylinders() -> None:
    assert no_ceiling_because(None) == "the job has no [engine]"
    assert no_ceiling_because(Engine(cylinders=1)) is None


@pytest.mark.outside
def test_the_band_is_what_first_principles_give() -> None:
    """Taylor's inlet Mach index Z = A_p U_p / (C_i A_i a), from memory; every range taken as even.

    A cylinder draws eta V_d N / 2 of air, and A_p U_p = 2 V_d N, so eta Z C_i A_i a / 4. On the bench the
    same valve passes Q = C_peak A_i sqrt(2 dp / rho), 106.7 m/s at 28 inH2O. Budget: 1.5 % for the speed of
    sound (340 m/s at 15 degC, 350 at 32), 0.5 % for draws and for three digits.
    """
    rng = np.random.default_rng(5)

    def even(low: float, high: float) -> NDArray[np.float64]:
        return rng.uniform(low, high, 100_000)

    filling, mach, mean_over_peak = even(0.9, 1.15), even(0.5, 0.6), even(0.6, 0.7)
    air_fuel, lb_per_hp_h, bench_m_s = even(12.5, 13), even(0.40, 0.50), math.sqrt(2 * AT_28 / 1.225)
    lb_per_h = 1.225 * CFM_M3_S * 3600 / 0.45359237  # of one cfm of standard air
    horsepower = filling * mach * mean_over_peak * 345 / 4 / bench_m_s * lb_per_h / air_fuel / lb_per_hp_h
    level = flow_ceiling("a", CFM_M3_S, 1, AT_28, "ISO 2533")
    said = [power_w / HORSEPOWER_W for power_w in (level.low_w, level.mid_w, level.high_w)]
    assert said == pytest.approx(np.quantile(horsepower, [0.025, 0.5, 0.975]).tolist(), rel=0.02)
    assert said[0] < 0.257 < said[2]  # the trade's figure: common practice, no source


def test_a_peak_is_brought_to_28_inches_of_iso_air() -> None:
    plain = flow_ceiling("a", 0.1, 4, AT_28, "ISO 2533")
    assert plain.stage == "a"
    half = flow_ceiling("a", 0.1, 4, AT_28 / 4, "ISO 2533")  # a quarter of the drop is half the speed
    assert half.mid_w == pytest.approx(2 * plain.mid_w)
    thin = flow_ceiling("a", 0.1, 4, AT_28, "99 kPa 25 degC dry")
    density = STANDARD_AIRS["99 kPa 25 degC dry"].density_kg_m3
    # The same piece passes more of thinner air, by the root: what is told must not depend on it.
    assert thin.mid_w / plain.mid_w == pytest.approx(math.sqrt(density / 1.225))
    assert flow_ceiling("a", 0.1, 8, AT_28, "ISO 2533").high_w == pytest.approx(2 * plain.high_w)
    # 0.1 m3/s are 211.888 cfm (the foot is 0.3048 m exactly): 0.237 hp each, on four cylinders.
    assert plain.mid_w == pytest.approx(0.237 * 211.888 * 4 * 745.69987, rel=1e-5)
