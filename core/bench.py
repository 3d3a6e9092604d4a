"""From a meter's reading to the flow of standard air at the reference pressure.

A bench of the orifice type, scaled for air of density rho_cal, passes the mass flow
m = Q_i * sqrt(rho_cal * rho_m) when it indicates Q_i and the air upstream of its meter
has the density rho_m. The corrected flow is what standard air would do through the same
piece at the same pressure drop: m / sqrt(rho_in * rho_std), with rho_in at the inlet of
the piece. It follows from a mass balance over two incompressible restrictions in series.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from core.air import ideal_velocity, moist_air_density_of_ratio, vapour_mole_fraction
from core.constants import StandardAir
from core.job import MeterPlace, PressureRule, Side

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Conditions:
    """What the air was doing at n readings of one side on one bench; arrays of shape (n,).

    A temperature of the meter or the piece that nobody took is nan: it follows the
    ambient temperature then (a blown piece follows the meter), also when that is varied.
    """

    test_pressure_pa: Array
    ambient_pa: Array
    air_temperature_k: Array
    humidity: Array
    meter_temperature_k: Array
    piece_temperature_k: Array
    meter_drop_pa: Array
    calibrated_at_pa: Array


def static_pressures(
    side: Side,
    place: MeterPlace,
    ambient_pa: ArrayLike,
    pressure_drop_pa: ArrayLike,
    meter_drop_pa: ArrayLike,
) -> tuple[Array, Array]:
    """Return the static pressures upstream of the meter and at the inlet of the piece.

    Parameters
    ----------
    side : {"intake", "exhaust"}
        Air is drawn through an intake and blown through an exhaust.
    place : {"before the piece", "after the piece"}
        Where the meter stands in the stream.
    ambient_pa : float or ndarray
        Station pressure. [Pa]
    pressure_drop_pa : float or ndarray
        Drop over the piece. [Pa]
    meter_drop_pa : float or ndarray
        Drop over the meter. [Pa]

    Returns
    -------
    tuple of ndarray
        Pressure upstream of the meter, pressure at the inlet of the piece. [Pa]

    References
    ----------
    Follows from the order of the parts in the stream; no loss between them.
    """
    ambient, drop, meter = np.broadcast_arrays(ambient_pa, pressure_drop_pa, meter_drop_pa)
    if side == "intake":
        return (ambient - drop, ambient) if place == "after the piece" else (ambient, ambient - meter)
    if place == "after the piece":
        return ambient + meter, ambient + drop + meter
    return ambient + drop + meter, ambient + drop


def scale_density(
    side: Side, place: MeterPlace, air: StandardAir, calibrated_at_pa: ArrayLike, meter_drop_pa: ArrayLike
) -> Array:
    """Return the density upstream of the meter for which its scale reads true.

    Parameters
    ----------
    side : {"intake", "exhaust"}
        Side of the head.
    place : {"before the piece", "after the piece"}
        Where the meter stands.
    air : StandardAir
        The air that the scale was made for.
    calibrated_at_pa : float or ndarray
        Drop over the piece at which the scale was set. [Pa]
    meter_drop_pa : float or ndarray
        Drop over the meter. [Pa]

    Returns
    -------
    ndarray
        Density. [kg/m3]

    References
    ----------
    From corrected_flow: in that air at that drop the correction has to be exactly 1.
    """
    meter, inlet = static_pressures(side, place, air.pressure_pa, calibrated_at_pa, meter_drop_pa)
    return air.density_kg_m3 * inlet / meter


def stream_densities(side: Side, place: MeterPlace, state: Conditions) -> tuple[Array, Array]:
    """Return the densities upstream of the meter and at the inlet of the piece.

    The water that the air carries stays what it was. The meter's density follows from
    the piece's by the ideal-gas ratio: what the compressibility of air adds to that
    ratio is below 3e-5 over the pressures of a bench.

    Parameters
    ----------
    side : {"intake", "exhaust"}
        Side of the head.
    place : {"before the piece", "after the piece"}
        Where the meter stands.
    state : Conditions
        Pressures, temperatures and humidity.

    Returns
    -------
    tuple of ndarray
        Density upstream of the meter, density at the inlet of the piece. [kg/m3]

    References
    ----------
    CIPM-2007 (see core.air) for the inlet; ideal-gas law for the ratio.
    """
    at_meter, at_inlet = static_pressures(
        side, place, state.ambient_pa, state.test_pressure_pa, state.meter_drop_pa
    )
    meter_k = np.where(
        np.isnan(state.meter_temperature_k), state.air_temperature_k, state.meter_temperature_k
    )
    followed = state.air_temperature_k if side == "intake" else meter_k
    piece_k = np.where(np.isnan(state.piece_temperature_k), followed, state.piece_temperature_k)
    vapour = vapour_mole_fraction(state.ambient_pa, state.air_temperature_k, state.humidity)
    inlet = moist_air_density_of_ratio(at_inlet, piece_k, vapour)
    return inlet * (at_meter / at_inlet) * (piece_k / meter_k), inlet


def corrected_flow(
    indicated_m3_s: ArrayLike,
    scale_density_kg_m3: ArrayLike,
    meter_density_kg_m3: ArrayLike,
    piece_density_kg_m3: ArrayLike,
    standard_density_kg_m3: float,
) -> Array:
    """Return the flow of standard air through the same piece at the same drop.

    Parameters
    ----------
    indicated_m3_s : float or ndarray
        What the meter's scale shows. [m3/s]
    scale_density_kg_m3 : float or ndarray
        Density that the scale was made for. [kg/m3]
    meter_density_kg_m3 : float or ndarray
        Density upstream of the meter. [kg/m3]
    piece_density_kg_m3 : float or ndarray
        Density at the inlet of the piece. [kg/m3]
    standard_density_kg_m3 : float
        Density of standard air. [kg/m3]

    Returns
    -------
    float or ndarray
        Corrected flow. [m3/s]

    References
    ----------
    Mass balance m = Q_i sqrt(rho_cal rho_m) = Q_std sqrt(rho_in rho_std); the orifice
    equation behind it: ISO 5167-1:2003, eq. 1.
    """
    return np.asarray(indicated_m3_s) * np.sqrt(
        np.asarray(scale_density_kg_m3)
        * meter_density_kg_m3
        / (np.asarray(piece_density_kg_m3) * standard_density_kg_m3)
    )


def flow_of_mass(
    mass_flow_kg_s: ArrayLike, piece_density_kg_m3: ArrayLike, standard_density_kg_m3: float
) -> Array:
    """Return the corrected flow for a meter that reads mass flow.

    Parameters
    ----------
    mass_flow_kg_s : float or ndarray
        Mass flow through the piece. [kg/s]
    piece_density_kg_m3 : float or ndarray
        Density at the inlet of the piece. [kg/m3]
    standard_density_kg_m3 : float
        Density of standard air. [kg/m3]

    Returns
    -------
    float or ndarray
        Corrected flow. [m3/s]

    References
    ----------
    See corrected_flow.
    """
    return np.asarray(mass_flow_kg_s) / np.sqrt(np.asarray(piece_density_kg_m3) * standard_density_kg_m3)


def pressure_factor(
    rule: PressureRule,
    side: Side,
    pressure_drop_pa: ArrayLike,
    ambient_pa: ArrayLike,
    reference_drop_pa: float,
    standard_pa: float,
) -> Array:
    """Return what a flow is multiplied by to bring it to the reference pressure.

    Parameters
    ----------
    rule : {"square root", "isentropic"}
        The plain root of the pressure ratio, or the ratio of isentropic fluxes.
    side : {"intake", "exhaust"}
        Drawn or blown: it decides which pressure is the ambient one.
    pressure_drop_pa : float or ndarray
        Drop over the piece during the test. [Pa]
    ambient_pa : float or ndarray
        Station pressure during the test. [Pa]
    reference_drop_pa : float
        Drop that flows are stated at. [Pa]
    standard_pa : float
        Pressure of standard air. [Pa]

    Returns
    -------
    float or ndarray
        Factor. [1]

    Raises
    ------
    ValueError
        If a drop is not positive.

    References
    ----------
    Square root: incompressible flow (Bernoulli). Isentropic: Heywood (1988), app. C.
    """
    drop = np.asarray(pressure_drop_pa, dtype=float)
    if np.any(drop <= 0) or reference_drop_pa <= 0:
        raise ValueError(f"pressure drops must be above 0 Pa, got {pressure_drop_pa} and {reference_drop_pa}")
    if rule == "square root":
        return np.sqrt(reference_drop_pa / drop)
    # Any one density does: both velocities hold it, their ratio does not.
    return ideal_velocity(side, reference_drop_pa, standard_pa, 1.0) / ideal_velocity(
        side, drop, ambient_pa, 1.0
    )
