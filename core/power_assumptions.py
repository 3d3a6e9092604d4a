"""What the breathing model needs and no flow bench gives: values, how unsure they are, and why.

Values and uncertainties are judgement unless a note says otherwise. Each can be set; a value
that is set keeps the uncertainty of one that was measured in a workshop.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from core.breathing.areas import Lobe
from core.power_results import Assumption, Origin

LENGTH_SPREAD = 0.2  # runner lengths are spread this far either way round an assumed one ...
SET_LENGTH_SPREAD = 0.05  # ... and this far round one that is set: where a runner ends is not sharp
SPEED_OF_SOUND_M_S = 350.0  # of intake air at about 305 K, for a default length only
TUNED_SHARE = 0.85  # of the redline: the speed that an assumed runner is long for


@dataclass(frozen=True)
class Unknown:
    """One value that may be set."""

    key: str
    name: str
    unit_kind: str
    assumed: float
    unsure: float  # standard uncertainty of the assumption ...
    unsure_set: float  # ... and of a value that was set
    least: float
    greatest: float
    note: str


def default_runner_length(redline_rad_s: float) -> float:
    """Return the length of intake runner, port included, that suits an engine's speed.

    Parameters
    ----------
    redline_rad_s : float
        Highest speed. [rad/s]

    Returns
    -------
    float
        Length, 0.15 to 0.6: a wave then goes to the runner's end and comes back while the crank
        turns 73 deg at 85 % of the redline. [m]

    References
    ----------
    Common practice, no source: 84,000 in over rpm.
    """
    length = SPEED_OF_SOUND_M_S * np.radians(73) / (2 * TUNED_SHARE * redline_rad_s)
    return float(np.clip(length, 0.15, 0.6))


def unknowns(head_area_m2: float, redline_rad_s: float, intake: Lobe, exhaust: Lobe) -> list[Unknown]:
    """Return everything that may be set for an engine, with what is assumed otherwise.

    Parameters
    ----------
    head_area_m2 : float
        Area of all intake valve heads of a cylinder. [m2]
    redline_rad_s : float
        Highest speed. [rad/s]
    intake, exhaust : Lobe
        Cams, with a stated or assumed centreline.

    Returns
    -------
    list of Unknown
        In the order in which they are shown.

    References
    ----------
    Judgement, but for `default_runner_length`.
    """
    wide = float(0.87 * np.sqrt(4 / np.pi * head_area_m2))
    long = default_runner_length(redline_rad_s)
    shape = 0.005 if intake.lobe.table and exhaust.lobe.table else 0.015
    deg = np.pi / 180
    # key, name, kind of unit, assumed; standard uncertainty of it and of a value set; least, greatest; why
    rows = [
        ("runner_length_m", "intake runner length, port included", "length", long, 0.0, 0.0, 0.05, 1.5,
         "tuned for 85 % of the redline, and spread 20 % either way; a length that is set, 5 %"),
        ("runner_diameter_m", "intake runner diameter", "length", wide, 0.07 * wide, 0.02 * wide, 0.01, 0.15,
         "0.87 of one round valve with the area of all intake valves"),
        ("intake_temperature_k", "air temperature in the intake", "temperature", 303.15, 8.0, 3.0, 250.0,
         380.0, "air of 15\u00a0°C, warmed on its way by 15\u00a0°C more than the fuel cools it"),
        ("back_pressure_pa", "exhaust back pressure above ambient", "pressure", 5e3, 3e3, 1e3, 0.0, 5e4,
         "an open exhaust has less, a silenced one more"),
        ("pulse_level", "pressure waves in intake and exhaust", "fraction", 1.0, 0.25, 0.15, 0.0, 3.0,
         "of the heights assumed: in the intake half of what stopping the runner's air would give"),
        ("friction_level", "friction", "fraction", 0.65, 0.15, 0.08, 0.0, 2.0,
         "of the Chen-Flynn formula without pumping, which was made for an older engine"),
        ("burn_duration_rad", "burn duration", "angle", 60 * deg, 7 * deg, 4 * deg, 15 * deg, 100 * deg,
         "the same for every stage: no credit for swirl, tumble or mixture"),
        ("burn_centre_rad", "half burned, after top dead centre", "angle", 8 * deg, 0.0, 0.0, -5 * deg,
         30 * deg, "spark taken as set for best torque"),
        ("heat_level", "heat to the walls", "fraction", 1.0, 0.2, 0.15, 0.0, 3.0, "of Woschni's correlation"),
        ("wall_temperature_k", "wall temperature", "temperature", 450.0, 0.0, 0.0, 300.0, 700.0,
         "uniform; its doubt is in the heat to the walls"),
        ("fuel_level", "heat from the fuel", "fraction", 1.0, 0.03, 0.02, 0.5, 1.2,
         "of 2.64 MJ for each kg of charge: petrol of 44 MJ/kg, rich for best power, 5 % of it unburned"),
        ("intake_centreline_rad", "intake centreline after top dead centre", "angle",
         intake.centre_rad - 2 * np.pi, *_of_centre(intake), 60 * deg, 150 * deg, _stated(intake)),
        ("exhaust_centreline_rad", "exhaust centreline before top dead centre", "angle",
         2 * np.pi - exhaust.centre_rad, *_of_centre(exhaust), 60 * deg, 150 * deg, _stated(exhaust)),
        ("lobe_stretch", "cam duration against the lobe shape used", "fraction", 1.0, shape, 0.005, 0.9, 1.1,
         "a lobe that is known from its card is taken as its lift times (1 − x²)², with x = ±1 at its ends"),
        ("flow_level", "flow in the running engine over steady flow", "fraction", 1.0, 0.03, 0.02, 0.7, 1.3,
         "pulsation and hot gas; the doubt of the bench's own scale is drawn on top"),
    ]  # fmt: skip
    return [Unknown(*row) for row in rows]


def _of_centre(lobe: Lobe) -> tuple[float, float]:
    assumed = 4.0 if lobe.lobe.centreline_rad is None else 1.5
    return float(np.radians(assumed)), float(np.radians(1.0))


def _stated(lobe: Lobe) -> str:
    return "not stated in the job" if lobe.lobe.centreline_rad is None else "stated in the job"


def assumption(unknown: Unknown, setting: float | None, from_job: bool = False) -> Assumption:
    """Return the value that is used for an unknown.

    Parameters
    ----------
    unknown : Unknown
        What may be set.
    setting : float or None
        What was set.
    from_job : bool
        The job states what is assumed otherwise.

    Returns
    -------
    Assumption
        With its standard uncertainty.

    Raises
    ------
    ValueError
        If the setting lies outside what is allowed.
    """
    if setting is None:
        origin: Origin = "job" if from_job else "assumed"
        value, unsure = unknown.assumed, unknown.unsure
    else:
        rounding = 1e-12 * max(abs(unknown.least), abs(unknown.greatest))  # of a unit's conversion
        if not unknown.least - rounding <= setting <= unknown.greatest + rounding:
            raise ValueError(
                f"{unknown.key} is {setting:g}. It must be {unknown.least:g} to {unknown.greatest:g}."
            )
        origin, value, unsure = "set", float(setting), unknown.unsure_set
    return Assumption(
        unknown.key,
        unknown.name,
        value,
        unknown.unit_kind,
        origin,
        unsure,
        unknown.least,
        unknown.greatest,
        unknown.note,
    )
