"""Heat from gas to walls: Woschni's correlation with Heywood's constants.

They belong together: 3.26, 2.28, 6.18 and 3.24e-3 with pressure in kPa. The form
127.93 T^-0.53 has constants of its own.

The gas moves at 6.18 times the mean piston speed while a valve is open. While both are shut it
moves at 2.28 times that, plus 3.24e-3 V T / (p1 V1) (p - pm): V is the swept volume, 1 a state of
the charge before burning, pm the pressure of the motored engine. Woschni, SAE 670931, as in
Heywood (1988), eq. 12.20 (number from memory).
"""

from __future__ import annotations

import numpy as np

from core.checks import FloatOrArray

LEVEL = 3.26  # of h in W/(m2 K), with bore in m, pressure in kPa, temperature in K, speed in m/s
EXCHANGE, CLOSED = 6.18, 2.28  # gas speed over mean piston speed: valves open, valves shut
COMBUSTION_M_S_K = 3.24e-3  # gas speed for the temperature and the shares that multiply it


def heat_transfer_coefficient(
    bore_m: float, pressure_pa: FloatOrArray, temperature_k: FloatOrArray, gas_speed_m_s: FloatOrArray
) -> FloatOrArray:
    """Return the heat transfer coefficient from gas to wall, the same all over the cylinder.

    Parameters
    ----------
    bore_m : float
        Bore. [m]
    pressure_pa : float or ndarray
        Pressure of the gas. [Pa]
    temperature_k : float or ndarray
        Temperature of the gas. [K]
    gas_speed_m_s : float or ndarray
        Mean speed of the gas. [m/s]

    Returns
    -------
    float or ndarray
        Coefficient. [W/(m2 K)]

    References
    ----------
    Woschni, SAE 670931, as in Heywood (1988), eq. 12.19 (number from memory).
    """
    # Sums of logarithms cost a third of the powers that they stand for.
    return (LEVEL * bore_m**-0.2 * 1e-3**0.8) * np.exp(
        0.8 * np.log(pressure_pa * gas_speed_m_s) - 0.55 * np.log(temperature_k)
    )
