"""Friction of the engine without pumping, which the cycle holds itself."""

from __future__ import annotations

from core.checks import FloatOrArray

BAR_PA = 1e5


def friction_pressure(peak_pressure_pa: FloatOrArray, piston_speed_m_s: FloatOrArray) -> FloatOrArray:
    """Return the mean effective pressure of rubbing friction and accessories.

    Parameters
    ----------
    peak_pressure_pa : float or ndarray
        Highest pressure of the cycle. [Pa]
    piston_speed_m_s : float or ndarray
        Mean piston speed. [m/s]

    Returns
    -------
    float or ndarray
        0.137 bar + 0.005 p_max + 0.162 bar s/m S_p. Made for a test engine of the 1960s: a
        later engine has less, which a factor takes care of. [Pa]

    References
    ----------
    Chen, Flynn, SAE 650733 (from memory). Total motored friction, 0.97 + 0.15 n + 0.05 n^2
    bar with n in 1000 rpm (Barnes-Moss, as in Heywood (1988), eq. 13.6), holds
    pumping too and is no substitute.
    """
    return 0.137 * BAR_PA + 0.005 * peak_pressure_pa + 0.162 * BAR_PA * piston_speed_m_s
