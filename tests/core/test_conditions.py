"""What is reckoned with where nobody read the air, and how uncertain that is."""

from __future__ import annotations

from dataclasses import replace

import pytest

from core.conditions import BENCH_DEFAULTS, UNCERTAINTIES, used_air, with_defaults
from core.constants import STANDARD_AIRS
from core.job import Air, Bench
from tests.core.jobs import AIR, BENCH

ISO = STANDARD_AIRS["ISO 2533"]
DRY_25 = STANDARD_AIRS["99 kPa 25 degC dry"]
READ = replace(
    BENCH, barometer_reading_pa=50.0, temperature_reading_k=0.3, humidity_reading=0.02
)  # what this bench's instruments are good for


def test_what_was_read_is_as_good_as_its_instruments():
    used = used_air(replace(AIR, humidity=0.4), READ, DRY_25)
    assert (used.ambient_pa, used.ambient_u_pa) == (101325.0, 50.0)
    assert (used.temperature_k, used.temperature_u_k) == (288.15, 0.3)
    assert (used.humidity, used.humidity_u) == (0.4, 0.02)
    dry = used_air(replace(AIR, humidity=0.0), READ, DRY_25)  # read, and found to be none
    assert (dry.humidity, dry.humidity_u) == (0.0, 0.02)


@pytest.mark.outside
def test_an_altitude_stands_in_for_a_barometer():
    """Source: ISO 2533:1975, table: 954.61 hPa at 500 m, 898.76 at 1000 m; weather is judgement."""
    for altitude_m, pressure_pa in ((500.0, 95461.0), (1000.0, 89876.0)):
        used = used_air(Air(altitude_m=altitude_m), READ, DRY_25)
        assert used.ambient_pa == pytest.approx(pressure_pa, abs=1.0)
        assert used.ambient_u_pa == 1000.0
    both = used_air(Air(altitude_m=500.0, barometer_pa=96000.0), READ, DRY_25)
    assert (both.ambient_pa, both.ambient_u_pa) == (96000.0, 50.0)


def test_what_nobody_read_is_that_of_the_standard_air_and_hardly_known():
    """Sea level, a shop's 50 hPa, 6 K and 30 % of humidity (judgement); a pressure is not that of the
    standard air, of which one is defined at 990 hPa, but the usual one at the sea."""
    used = used_air(Air(), READ, DRY_25)
    assert (used.ambient_pa, used.ambient_u_pa) == (101325.0, 5000.0)
    assert (used.temperature_k, used.temperature_u_k) == (298.15, 6.0)
    assert (used.humidity, used.humidity_u) == (0.0, 0.3)
    assert used_air(Air(), READ, ISO).temperature_k == 288.15


def test_a_bench_that_states_nothing_takes_every_usual_uncertainty_and_keeps_what_it_states():
    bare = with_defaults(Bench("bench"))
    for name in UNCERTAINTIES:
        assert getattr(bare, name) == getattr(BENCH_DEFAULTS, name) is not None
    exact = with_defaults(Bench("bench", repeatability=0.0, calibration=0.02))
    assert (exact.repeatability, exact.calibration) == (0.0, 0.02)  # 0 is a statement
    assert exact.barometer_reading_pa == BENCH_DEFAULTS.barometer_reading_pa
