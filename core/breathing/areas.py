"""From a measured curve and a cam to the effective area at every crank angle."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from core.air import ideal_velocity
from core.cam import lift_at, lift_path, net_lift, seat_duration
from core.curve import interpolate
from core.job import CamLobe, Side

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class AreaCurve:
    """Effective area of all valves of one side over lift: nothing at zero, held above its top.

    Attributes
    ----------
    lift_m, area_m2 : ndarray, shape (n,)
        Lifts and areas of the baseline's readings. [m] [m2]
    ratio_lift_m, ratio : ndarray, shape (k,)
        Lifts, and the flow there over the baseline's; straight between them, held outside. [m] [1]
    """

    lift_m: Array
    area_m2: Array
    ratio_lift_m: Array
    ratio: Array

    def at(self, lift_m: Array) -> Array:
        """Return the area at lifts.

        Parameters
        ----------
        lift_m : ndarray
            Lifts. [m]

        Returns
        -------
        ndarray
            Effective area. [m2]

        References
        ----------
        core.curve for the line through the readings.
        """
        area = interpolate(self.lift_m, self.area_m2, np.minimum(lift_m, self.lift_m[-1]))
        return np.maximum(area, 0.0) * np.interp(lift_m, self.ratio_lift_m, self.ratio)


def effective_area(
    side: Side, flow_m3_s: Array, test_pressure_pa: float, ambient_pa: float, density_kg_m3: float
) -> Array:
    """Return the area through which an isentropic flow would be as large as a corrected one.

    Parameters
    ----------
    side : {"intake", "exhaust"}
        Side of the head: an exhaust is blown, its upstream pressure is above ambient.
    flow_m3_s : ndarray
        Flow of standard air. [m3/s]
    test_pressure_pa : float
        Pressure drop that the flow is stated at. [Pa]
    ambient_pa : float
        Pressure of the standard air. [Pa]
    density_kg_m3 : float
        Density of the standard air. [kg/m3]

    Returns
    -------
    ndarray
        Effective area. [m2]

    References
    ----------
    Heywood (1988), eq. C.8 (number from memory): mass flow over isentropic mass flux.
    """
    return flow_m3_s / ideal_velocity(side, test_pressure_pa, ambient_pa, density_kg_m3)


@dataclass(frozen=True)
class Lobe:
    """A cam lobe placed on the crank of a cycle: where it opens and closes, and its lift between.

    Attributes
    ----------
    lobe : CamLobe
        As the job states it.
    centre_rad : float
        Crank angle of the lobe's centre; zero is top dead centre at firing. [rad]
    """

    lobe: CamLobe
    centre_rad: float

    @property
    def duration_rad(self) -> float:
        """Return the crank angle from opening to closing. [rad]"""
        return float(seat_duration(self.lobe))

    @property
    def opens_rad(self) -> float:
        """Return where it opens. [rad]"""
        return self.centre_rad - self._before_rad

    @property
    def closes_rad(self) -> float:
        """Return where it closes. [rad]"""
        return self.opens_rad + self.duration_rad

    @property
    def _before_rad(self) -> float:
        """Return how long before its centre it opens: for a table, before its highest lift."""
        if not self.lobe.table:
            return self.duration_rad / 2
        path = lift_path(self.lobe, 1441)
        high = np.flatnonzero(path >= path.max() * (1 - 1e-9))
        return float(self.duration_rad * high.mean() / (path.size - 1))

    def lift(self, crank_angle_rad: Array, later_rad: float = 0.0, stretch: float = 1.0) -> Array:
        """Return the lift at crank angles.

        Parameters
        ----------
        crank_angle_rad : ndarray
            Crank angle. [rad]
        later_rad : float
            How much later than stated the lobe comes. [rad]
        stretch : float
            How much longer than stated it lasts. [1]

        Returns
        -------
        ndarray
            Lift at the valve. [m]

        References
        ----------
        core.cam.
        """
        from_centre = (crank_angle_rad - self.centre_rad - later_rad) / stretch
        if not self.lobe.table:
            return lift_at(self.lobe, from_centre)
        path = lift_path(self.lobe, 1441)
        at = np.linspace(0.0, self.duration_rad, path.size) - self._before_rad
        return np.interp(from_centre, at, path, left=0.0, right=0.0)

    @property
    def net_lift_m(self) -> float:
        """Return the highest lift. [m]"""
        return float(net_lift(self.lobe))
