"""The valve's geometry: the areas that a flow is set against."""

from __future__ import annotations

import numpy as np

from core.checks import FloatOrArray, require_positive, require_within


def curtain_area(valve_diameter_m: FloatOrArray, valve_lift_m: FloatOrArray) -> FloatOrArray:
    """Return the cylindrical curtain area under a valve head.

    Parameters
    ----------
    valve_diameter_m : float or ndarray
        Outer diameter of the valve head. [m]
    valve_lift_m : float or ndarray
        Valve lift from its seat. [m]

    Returns
    -------
    float or ndarray
        Area. [m2]

    Raises
    ------
    ValueError
        If a diameter is not positive or a lift is negative.

    References
    ----------
    Heywood, Internal Combustion Engine Fundamentals (1988), sect. 6.3.2.
    """
    require_positive(valve_diameter_m=valve_diameter_m)
    require_within(0, np.inf, valve_lift_m=valve_lift_m)
    return np.pi * np.multiply(valve_diameter_m, valve_lift_m)


def head_area(valve_diameter_m: FloatOrArray) -> FloatOrArray:
    """Return the area of a valve head.

    Parameters
    ----------
    valve_diameter_m : float or ndarray
        Outer diameter of the valve head. [m]

    Returns
    -------
    float or ndarray
        Area. [m2]

    Raises
    ------
    ValueError
        If a diameter is not positive.

    References
    ----------
    Heywood, Internal Combustion Engine Fundamentals (1988), sect. 6.3.2.
    """
    require_positive(valve_diameter_m=valve_diameter_m)
    return np.pi / 4 * np.square(valve_diameter_m)


def lift_to_diameter(valve_diameter_m: FloatOrArray, valve_lift_m: FloatOrArray) -> FloatOrArray:
    """Return the lift as a share of the head diameter (L/D).

    Parameters
    ----------
    valve_diameter_m : float or ndarray
        Outer diameter of the valve head. [m]
    valve_lift_m : float or ndarray
        Valve lift from its seat. [m]

    Returns
    -------
    float or ndarray
        Ratio. [1]

    Raises
    ------
    ValueError
        If a diameter is not positive or a lift is negative.
    """
    require_positive(valve_diameter_m=valve_diameter_m)
    require_within(0, np.inf, valve_lift_m=valve_lift_m)
    return np.divide(valve_lift_m, valve_diameter_m)


def least_seat_area(
    valve_diameter_m: FloatOrArray,
    valve_lift_m: FloatOrArray,
    seat_angle_rad: FloatOrArray,
    seat_width_m: FloatOrArray,
    throat_diameter_m: FloatOrArray,
    stem_diameter_m: FloatOrArray,
) -> FloatOrArray:
    """Return the least area between valve and seat, never more than the throat's.

    Low lifts: a cone's side square to the seat. Then the slant between the outer edge of the
    seat and the inner edge of the valve's face. At last the throat less the stem. The three
    meet without a step.

    Parameters
    ----------
    valve_diameter_m : float or ndarray
        Outer diameter of the valve head. [m]
    valve_lift_m : float or ndarray
        Valve lift from its seat. [m]
    seat_angle_rad : float or ndarray
        Angle between the seat and the plane of the head, 45 degrees as a rule. [rad]
    seat_width_m : float or ndarray
        Width of the seat, measured along a radius. [m]
    throat_diameter_m : float or ndarray
        Least diameter of the port under the seat. [m]
    stem_diameter_m : float or ndarray
        Diameter of the stem there. [m]

    Returns
    -------
    float or ndarray
        Area. [m2]

    Raises
    ------
    ValueError
        If a size is not positive or a lift is negative, the angle is not between 0 and a right
        angle, the seat is wider than the valve's radius, or the stem fills the throat.

    References
    ----------
    Heywood, Internal Combustion Engine Fundamentals (1988), eqs 6.7 to 6.9 (from memory).
    """
    require_positive(
        valve_diameter_m=valve_diameter_m,
        seat_angle_rad=seat_angle_rad,
        seat_width_m=seat_width_m,
        throat_diameter_m=throat_diameter_m,
    )
    require_within(0, np.inf, valve_lift_m=valve_lift_m, stem_diameter_m=stem_diameter_m)
    require_positive(
        **{
            "pi/2 - seat_angle_rad": np.subtract(np.pi / 2, seat_angle_rad),
            "valve_diameter_m - 2 seat_width_m": np.subtract(valve_diameter_m, np.multiply(2, seat_width_m)),
            "throat_diameter_m - stem_diameter_m": np.subtract(throat_diameter_m, stem_diameter_m),
        }
    )
    sine, cosine = np.sin(seat_angle_rad), np.cos(seat_angle_rad)
    square_to_seat = (
        valve_lift_m * cosine * (valve_diameter_m - 2 * seat_width_m + valve_lift_m * sine * cosine)
    )
    slant = (valve_diameter_m - seat_width_m) * np.hypot(
        valve_lift_m - seat_width_m * sine / cosine, seat_width_m
    )
    low = valve_lift_m * sine * cosine <= seat_width_m
    throat = (np.square(throat_diameter_m) - np.square(stem_diameter_m)) / 4
    return np.pi * np.minimum(np.where(low, square_to_seat, slant), throat)
