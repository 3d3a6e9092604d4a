"""Flow through an open valve, for many cases at once and both ways."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from core.breathing.nozzle import SMOOTH, choking_share, flux_polynomial

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Place:
    """The gas on one side of a valve, a value a case.

    Attributes
    ----------
    pressure, density, enthalpy, burned : ndarray
        Pressure [Pa], density [kg/m3], specific enthalpy [J/kg] and share of burned gas. [1]
    """

    pressure: Array
    density: Array
    enthalpy: Array
    burned: Array


class ValveFlow:
    """The flow between two places, with the buffers that it is worked out in."""

    def __init__(self, gamma: float, count: int):
        self._coefficients = [np.array(value) for value in flux_polynomial(gamma)]
        self._choke, self._half = np.array(choking_share(gamma)), np.array(0.5)
        self._smooth = np.array(SMOOTH**2)
        self._drop, self._forward, self._high, self._share, self._root, self._up = np.empty((6, count))
        self._flux = tuple(np.empty((3, count)))

    def flow(self, first: Place, second: Place, area: Array) -> tuple[Array, Array, Array]:
        """Return what flows from the first place to the second, below 0 if it flows back.

        Parameters
        ----------
        first, second : Place
            Both sides.
        area : ndarray
            Effective area, over anything that the flow is wanted over. [m2]

        Returns
        -------
        tuple of ndarray
            Mass, enthalpy and burned mass.

        References
        ----------
        core.breathing.nozzle.
        """
        drop, s, root = self._drop, self._share, self._root
        flow, enthalpy, burned = self._flux
        np.subtract(first.pressure, second.pressure, out=drop)
        np.copysign(self._half, drop, out=self._forward)
        np.add(self._forward, self._half, out=self._forward)
        np.maximum(first.pressure, second.pressure, out=self._high)
        np.abs(drop, out=s)
        np.divide(s, self._high, out=s)
        np.minimum(s, self._choke, out=s)
        highest, *rest, constant = self._coefficients
        np.multiply(s, highest, out=flow)
        for coefficient in rest:
            np.add(flow, coefficient, out=flow)
            np.multiply(flow, s, out=flow)
        np.add(flow, constant, out=flow)
        np.multiply(s, s, out=root)
        np.add(root, self._smooth, out=root)
        np.sqrt(root, out=root)
        np.divide(flow, root, out=flow)
        np.multiply(flow, self._high, out=flow)
        np.multiply(flow, self._upstream(first.density, second.density), out=flow)
        np.sqrt(flow, out=flow)
        np.multiply(flow, s, out=flow)
        np.multiply(flow, area, out=flow)
        np.copysign(flow, drop, out=flow)
        np.multiply(flow, self._upstream(first.enthalpy, second.enthalpy), out=enthalpy)
        np.multiply(flow, self._upstream(first.burned, second.burned), out=burned)
        return flow, enthalpy, burned

    def _upstream(self, first: Array, second: Array) -> Array:
        """Return the value on the side that it flows from."""
        up = self._up
        np.subtract(first, second, out=up)
        np.multiply(up, self._forward, out=up)
        return np.add(up, second, out=up)
