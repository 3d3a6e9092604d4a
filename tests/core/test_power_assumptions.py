"""What the model needs and no bench gives: what is assumed, how unsure it is, and what may be set."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from core.breathing.areas import Lobe
from core.job import CamLobe, Sides
from core.power_assumptions import Unknown, assumption, default_runner_length, unknowns
from core.power_model import PowerSettings, assumptions_of
from core.power_runs import FUEL_J_KG
from tests.core.power_jobs import CAMS, EXHAUST, INCH_M, INTAKE, power_job
from tests.core.test_power_input import RPM, given

HEAD_M2, REDLINE_RAD_S = 1e-3, 8000 * RPM
LOBES = Lobe(CAMS.intake, np.radians(360 + 106)), Lobe(CAMS.exhaust, np.radians(360 - 112))
TABLE = ((-2.5, 0.0), (0.0, 0.0175), (2.5, 0.0))
ROUND_M = 2 * np.sqrt(HEAD_M2 / np.pi)  # one round valve with all that area
DEG = np.radians(1)

# Judgement, written out once more: whoever changes one of these changes every range of power.
# Name, kind of unit; assumed; standard uncertainty of it, of one that is set; least, greatest.
JUDGED = {
    "runner_diameter_m": (
        "intake runner diameter", "length", 0.87 * ROUND_M, 0.07 * 0.87 * ROUND_M, 0.02 * 0.87 * ROUND_M,
        0.01, 0.15,
    ),
    "intake_temperature_k": ("air temperature in the intake", "temperature", 303.15, 8, 3, 250, 380),
    "back_pressure_pa": ("exhaust back pressure above ambient", "pressure", 5000, 3000, 1000, 0, 50_000),
    "pulse_level": ("pressure waves in intake and exhaust", "fraction", 1, 0.25, 0.15, 0, 3),
    "friction_level": ("friction", "fraction", 0.65, 0.15, 0.08, 0, 2),
    "burn_duration_rad": ("burn duration", "angle", 60 * DEG, 7 * DEG, 4 * DEG, 15 * DEG, 100 * DEG),
    "burn_centre_rad": ("half burned, after top dead centre", "angle", 8 * DEG, 0, 0, -5 * DEG, 30 * DEG),
    "heat_level": ("heat to the walls", "fraction", 1, 0.2, 0.15, 0, 3),
    "wall_temperature_k": ("wall temperature", "temperature", 450, 0, 0, 300, 700),
    "fuel_level": ("heat from the fuel", "fraction", 1, 0.03, 0.02, 0.5, 1.2),
    "intake_centreline_rad": (
        "intake centreline after top dead centre", "angle", 106 * DEG, 1.5 * DEG, DEG, 60 * DEG, 150 * DEG,
    ),
    "exhaust_centreline_rad": (
        "exhaust centreline before top dead centre", "angle", 112 * DEG, 1.5 * DEG, DEG, 60 * DEG, 150 * DEG,
    ),
    "lobe_stretch": ("cam duration against the lobe shape used", "fraction", 1, 0.015, 0.005, 0.9, 1.1),
    "flow_level": ("flow in the running engine over steady flow", "fraction", 1, 0.03, 0.02, 0.7, 1.3),
}  # fmt: skip


def known(intake: CamLobe = CAMS.intake, exhaust: CamLobe = CAMS.exhaust) -> dict[str, Unknown]:
    """Return what may be set for an engine with these cams, by key."""
    lobes = replace(LOBES[0], lobe=intake), replace(LOBES[1], lobe=exhaust)
    return {one.key: one for one in unknowns(HEAD_M2, REDLINE_RAD_S, *lobes)}


def test_what_is_judged_stands_as_it_is_written_out_here():
    found = known()
    runner = found.pop("runner_length_m")
    assert (runner.name, runner.unit_kind) == ("intake runner length, port included", "length")
    assert runner.assumed == default_runner_length(REDLINE_RAD_S)
    # Lengths are spread by the model itself, so nothing is drawn round them.
    assert (runner.unsure, runner.unsure_set, runner.least, runner.greatest) == (0, 0, 0.05, 1.5)
    assert list(found) == list(JUDGED)
    for key, (name, kind, *numbers) in JUDGED.items():
        one = found[key]
        assert (one.name, one.unit_kind) == (name, kind)
        said = [one.assumed, one.unsure, one.unsure_set, one.least, one.greatest]
        assert said == pytest.approx(numbers), key


@pytest.mark.outside
@pytest.mark.parametrize("rpm", [3500, 6000, 9000, 12000])
def test_a_runner_is_84_000_inches_over_rpm(rpm: float):
    # Common practice, no source: rpm at which it is tuned, 85 % of the redline. 350 m/s x 73 deg is that
    # to 0.2 %.
    found = default_runner_length(rpm * RPM)
    assert found == pytest.approx(np.clip(84_000 / (0.85 * rpm) * INCH_M, 0.15, 0.6), rel=3e-3)
    # There and back at 350 m/s while the crank turns 73 deg at that speed.
    if 0.15 < found < 0.6:
        assert 2 * found / 350 * 0.85 * rpm * 6 == pytest.approx(73)


def test_a_runner_is_neither_a_stub_nor_a_pipe():
    assert (default_runner_length(1000 * RPM), default_runner_length(30_000 * RPM)) == (0.6, 0.15)


def test_a_cam_that_is_known_by_its_table_or_centreline_is_known_better():
    loose = Sides(*(replace(cam, centreline_rad=None) for cam in (CAMS.intake, CAMS.exhaust)))
    for side in ("intake", "exhaust"):
        key = f"{side}_centreline_rad"
        assert (known()[key].unsure, known()[key].note) == (pytest.approx(1.5 * DEG), "stated in the job")
        one = known(**{side: loose[side]})[key]
        assert (one.unsure, one.note) == (pytest.approx(4 * DEG), "not stated in the job")
        # Of two lobes the one that is known from its card alone decides.
        tabled = {side: replace(CAMS[side], table=TABLE)}
        assert known(**tabled)["lobe_stretch"].unsure == 0.015
    both = [replace(cam, table=TABLE) for cam in (CAMS.intake, CAMS.exhaust)]
    assert known(*both)["lobe_stretch"].unsure == 0.005


def test_a_value_is_assumed_stated_or_set():
    one = Unknown("a_m", "a", "length", 2.0, 0.3, 0.1, 1.0, 4.0, "why")
    assumed, stated, chosen = assumption(one, None), assumption(one, None, True), assumption(one, 3.0, True)
    assert [(x.origin, x.value, x.standard_uncertainty) for x in (assumed, stated, chosen)] == [
        ("assumed", 2.0, 0.3),
        ("job", 2.0, 0.3),
        ("set", 3.0, 0.1),
    ]
    assert (chosen.key, chosen.name, chosen.unit_kind, chosen.note) == ("a_m", "a", "length", "why")
    assert (chosen.least, chosen.greatest) == (1.0, 4.0)


@pytest.mark.parametrize(("least", "greatest"), [(1.0, 4.0), (-5.0, 4.0), (0.0, 4.0)])
def test_a_setting_may_be_at_its_limits_and_not_beyond(least: float, greatest: float):
    one = Unknown("a_m", "a", "length", 2.0, 0.3, 0.1, least, greatest, "why")
    hair = 0.9e-12 * max(-least, greatest)  # a limit in another unit may be off by its last bits
    for edge in (least, greatest, least - hair, greatest + hair):
        found = assumption(one, edge)
        assert found.value == edge and isinstance(found.value, float)
    for beyond in (least - 1e-3, greatest + 1e-3, least - 2 * hair, greatest + 2 * hair):
        with pytest.raises(ValueError, match=f"a_m is .*It must be {least:g} to {greatest:g}"):
            assumption(one, beyond)


def test_every_value_that_is_assumed_may_be_set():
    found = given(power_job({"as cast": (INTAKE, EXHAUST)}))
    for one in unknowns(found.head_area_m2, found.redline_rad_s, found.lobes.intake, found.lobes.exhaust):
        assert one.least <= one.assumed - one.unsure and one.assumed + one.unsure <= one.greatest, one.key
        assert 0 <= one.unsure_set <= one.unsure and one.note and one.name


def test_the_assumptions_are_those_of_engine_and_cams():
    plain = replace(CAMS.exhaust, centreline_rad=None)
    found = given(power_job({"as cast": (INTAKE, EXHAUST)}, cams=Sides(CAMS.intake, plain)))
    stated = assumptions_of(found, PowerSettings(heat_level=1.2))
    assert stated["heat_level"].value == 1.2
    assert {key: stated[key].origin for key in ("heat_level", "fuel_level")} == {
        "heat_level": "set",
        "fuel_level": "assumed",
    }
    origins = [stated[f"{side}_centreline_rad"].origin for side in ("intake", "exhaust")]
    assert origins == ["job", "assumed"]
    assert found.lobes.exhaust == Lobe(plain, pytest.approx(2 * np.pi - np.radians(112)))
    assert found.lobes.intake == Lobe(CAMS.intake, pytest.approx(2 * np.pi + np.radians(106)))


@pytest.mark.outside
def test_the_heat_of_the_fuel_is_that_of_petrol_burned_rich():
    """Heywood (1988), table D.4, from memory: petrol of 44 MJ/kg, 14.6 kg of air for each kg of it.

    Rich for best power is 12.7 kg of air for each (common practice, no source): the air then burns
    12.7 / 14.6 of the fuel; 5 % of that stays unburned. Budget 1 %: 14.6 or 14.7, 12.5 to 12.9.
    """
    told = next(one.note for one in known().values() if one.key == "fuel_level")
    said = float(told.split(" MJ for each kg of charge")[0].removeprefix("of "))
    assert said * 1e6 == FUEL_J_KG
    assert said == pytest.approx(44 / (1 + 12.7) * 12.7 / 14.6 * 0.95, rel=0.01)
