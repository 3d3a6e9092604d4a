"""The gas in cylinder and port: fresh charge and burned gas, each with cv linear in temperature."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from core.checks import FloatOrArray
from core.constants import GAMMA, R_DRY_AIR


@dataclass(frozen=True)
class Gas:
    """Two ideal gases with cv = a + b T, mixed by mass; one gas constant serves both.

    The defaults are straight lines through cv of a petrol mixture near stoichiometric
    (0.78 kJ/(kg K) at 300 K, 1.04 at 1000 K) and of its burned gas (0.80 at 300 K, 1.14 at
    2300 K): judgement, after the charts of Heywood (1988), ch. 4 (from memory).

    Attributes
    ----------
    r_j_kg_k : float
        Gas constant. [J/(kg K)]
    fresh, burned : tuple of float
        a in J/(kg K) and b in J/(kg K2).
    gamma_intake, gamma_exhaust : float
        Ratio of specific heats of the flow through each valve. [1]
    """

    r_j_kg_k: float = R_DRY_AIR
    fresh: tuple[float, float] = (670.0, 0.37)
    burned: tuple[float, float] = (745.0, 0.17)
    gamma_intake: float = 1.37
    gamma_exhaust: float = 1.30

    def energy(self, temperature_k: FloatOrArray, burned: FloatOrArray) -> FloatOrArray:
        """Return the specific internal energy, zero at 0 K.

        Parameters
        ----------
        temperature_k : float or ndarray
            Temperature. [K]
        burned : float or ndarray
            Mass fraction of burned gas. [1]

        Returns
        -------
        float or ndarray
            Specific energy. [J/kg]

        References
        ----------
        The integral of cv over temperature.
        """
        a, b = self._line(burned)
        return (a + 0.5 * b * temperature_k) * temperature_k

    def temperature(self, energy_j_kg: FloatOrArray, burned: FloatOrArray) -> FloatOrArray:
        """Return the temperature: the inverse of `energy`.

        Parameters
        ----------
        energy_j_kg : float or ndarray
            Specific energy. [J/kg]
        burned : float or ndarray
            Mass fraction of burned gas. [1]

        Returns
        -------
        float or ndarray
            Temperature. [K]

        References
        ----------
        The positive root of the quadratic, in the form that holds for b = 0 as well.
        """
        a, b = self._line(burned)
        return 2 * energy_j_kg / (a + np.sqrt(a * a + 2 * b * energy_j_kg))

    def enthalpy(self, temperature_k: FloatOrArray, burned: FloatOrArray) -> FloatOrArray:
        """Return the specific enthalpy.

        Parameters
        ----------
        temperature_k : float or ndarray
            Temperature. [K]
        burned : float or ndarray
            Mass fraction of burned gas. [1]

        Returns
        -------
        float or ndarray
            Specific enthalpy. [J/kg]

        References
        ----------
        h = u + R T.
        """
        return self.energy(temperature_k, burned) + self.r_j_kg_k * temperature_k

    def _line(self, burned: FloatOrArray) -> tuple[FloatOrArray, FloatOrArray]:
        return tuple(cold + burned * (hot - cold) for cold, hot in zip(self.fresh, self.burned, strict=True))


def constant_heat_gas() -> Gas:
    """Return a gas of constant specific heat, gamma 1.4: the limit that closed forms hold for.

    Returns
    -------
    Gas
        Fresh and burned alike.
    """
    cv = (R_DRY_AIR / (GAMMA - 1), 0.0)
    return Gas(R_DRY_AIR, cv, cv, GAMMA, GAMMA)
