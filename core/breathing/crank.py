"""The crank: volume and wall area over crank angle. Zero is top dead centre at firing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from core.compression import cylinder_volume

Array = NDArray[np.float64]

HEAD_OVER_BORE_AREA = 1.15  # a chamber's wall over the bore's area (judgement)


@dataclass(frozen=True)
class Crank:
    """Bore, stroke, rod and compression ratio of one cylinder.

    Attributes
    ----------
    bore_m, stroke_m, rod_length_m : float
        Sizes. [m]
    compression_ratio : float
        Geometric ratio. [1]
    """

    bore_m: float
    stroke_m: float
    rod_length_m: float
    compression_ratio: float

    @property
    def swept_m3(self) -> float:
        """Return the swept volume. [m3]"""
        return float(cylinder_volume(self.bore_m, self.stroke_m))

    def travel(self, crank_angle_rad: Array) -> Array:
        """Return how far the piston is below top dead centre.

        Parameters
        ----------
        crank_angle_rad : ndarray
            Crank angle. [rad]

        Returns
        -------
        ndarray
            Travel. [m]

        References
        ----------
        Heywood (1988), eq. 2.5.
        """
        throw, rod = self.stroke_m / 2, self.rod_length_m
        across = throw * np.sin(crank_angle_rad)
        return rod + throw - throw * np.cos(crank_angle_rad) - np.sqrt(rod**2 - across**2)

    def volume(self, crank_angle_rad: Array) -> Array:
        """Return the volume of the cylinder.

        Parameters
        ----------
        crank_angle_rad : ndarray
            Crank angle. [rad]

        Returns
        -------
        ndarray
            Volume. [m3]

        References
        ----------
        Heywood (1988), eq. 2.4.
        """
        clearance_m3 = self.swept_m3 / (self.compression_ratio - 1)
        return clearance_m3 + np.pi / 4 * self.bore_m**2 * self.travel(crank_angle_rad)

    def wall_area(self, crank_angle_rad: Array) -> Array:
        """Return the area that the gas touches: head, piston and the bare part of the bore.

        Parameters
        ----------
        crank_angle_rad : ndarray
            Crank angle. [rad]

        Returns
        -------
        ndarray
            Area. [m2]

        References
        ----------
        Heywood (1988), eq. 2.7, with the chamber taken as 1.15 times the bore's area (judgement).
        """
        ends_m2 = (1 + HEAD_OVER_BORE_AREA) * np.pi / 4 * self.bore_m**2
        return ends_m2 + np.pi * self.bore_m * self.travel(crank_angle_rad)

    def piston_speed(self, speed_rad_s: Array) -> Array:
        """Return the mean piston speed.

        Parameters
        ----------
        speed_rad_s : float or ndarray
            Speed of the crank. [rad/s]

        Returns
        -------
        float or ndarray
            Mean piston speed. [m/s]

        References
        ----------
        Heywood (1988), eq. 2.9.
        """
        return self.stroke_m * speed_rad_s / np.pi
