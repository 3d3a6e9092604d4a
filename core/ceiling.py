"""Rough power, layer 1: what a peak flow like this has fed. A level, never a gain."""

from __future__ import annotations

from math import sqrt

from core.constants import CFM_M3_S, INCH_WATER_PA, STANDARD_AIRS
from core.job import Engine
from core.results import Ceiling

HORSEPOWER_W = 745.69987  # NIST SP 811 (2008), app. B.8: horsepower (550 ft lbf/s)

# Horsepower for each cfm of peak intake flow at 28 inH2O and each cylinder: median and 95 %
# band from brake specific fuel consumption 0.40-0.50 lb/(hp h), air-fuel ratio 12.5-13,
# volumetric efficiency 0.9-1.15, inlet Mach index 0.5-0.6, mean over peak flow 0.6-0.7.
# The trade's single figure is 0.257 (common practice, no source); it lies inside.
LOW, MID, HIGH = 0.188, 0.237, 0.298


def kind_needed(engine: Engine) -> str | None:
    """Return what an engine is not, and must be to get any power figure; None where it is all of that.

    Parameters
    ----------
    engine : Engine
        Engine of the job.

    Returns
    -------
    str or None
        Words to go on after "holds for" and before "only".
    """
    if engine.kind.casefold() != "four-stroke spark ignition":
        return "four-stroke spark ignition"
    if engine.aspiration.casefold() != "natural":
        return "natural aspiration"
    return None


def no_ceiling_because(engine: Engine | None) -> str | None:
    """Return why an engine gets no power figure, None where it gets one.

    Parameters
    ----------
    engine : Engine or None
        Engine of the job.

    Returns
    -------
    str or None
        A clause that completes "No power figure, because ...".
    """
    if engine is None:
        return "the job has no [engine]"
    kind = kind_needed(engine)
    if kind is not None:
        return f"the rule holds for {kind} only"
    if engine.cylinders is None:
        return "the number of cylinders is not stated"
    return None


def flow_ceiling(
    stage: str, peak_flow_m3_s: float, cylinders: int, reference_pressure_pa: float, standard_air: str
) -> Ceiling:
    """Return the power that engines with this peak intake flow have reached.

    Parameters
    ----------
    stage : str
        Name of the stage.
    peak_flow_m3_s : float
        Peak intake flow of one cylinder within usable lift, at the reference. [m3/s]
    cylinders : int
        Number of cylinders.
    reference_pressure_pa : float
        Pressure drop that the flow is stated at. [Pa]
    standard_air : str
        Name of the air that the flow is stated for.

    Returns
    -------
    Ceiling
        Low, middle and high power.

    References
    ----------
    First principles as listed beside the constants of this module; the square root to
    28 inH2O and the density to ISO 2533 air by incompressible flow.
    """
    density = STANDARD_AIRS[standard_air].density_kg_m3 / STANDARD_AIRS["ISO 2533"].density_kg_m3
    cfm_at_28 = peak_flow_m3_s / CFM_M3_S * sqrt(28 * INCH_WATER_PA / reference_pressure_pa * density)
    low, mid, high = (share * cfm_at_28 * cylinders * HORSEPOWER_W for share in (LOW, MID, HIGH))
    return Ceiling(stage, low, mid, high)
