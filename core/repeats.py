"""How far a bench repeats itself: pooled from the job's repeats, or assumed and said.

Taking a head off and putting it back moves a whole sweep, so a reading's deviation from
its curve is *set-up* error, common to its sweep, plus *within-sweep* error. Residuals are
scaled by sigma(L) = sqrt((r Q)^2 + (Q' u_L)^2), since setting the lift dominates at low
lift, and pooled over lifts, ports and stages of one side on one bench: the bench does not
know which stage is on it.

A linear combination of a set-up's readings with weights w, in units of sigma, then has the
variance (sum w)^2 B + (sum w^2 - (sum w)^2 / m) MS_w: for one reading that is
B + MS_w (m - 1) / m, for the mean of a whole sweep it is B, which uses nothing but one
value a set-up.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from core.uncertainty import Component

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class RepeatedPort:
    """One port's set-ups over the lifts that all of them hold."""

    flow_m3_s: Array  # (set-ups, lifts)
    slope_m2_s: Array  # (lifts,), change of flow with lift


@dataclass(frozen=True, eq=False)
class Scatter:
    """Scatter of one side on one bench, as a model that gives variances."""

    relative: float  # r
    lift_setting_m: float  # u_L
    assumed: bool
    between: float = 1.0  # B, in units of sigma squared
    within: float = 1.0  # MS_w, likewise
    inverse_lifts: float = 0.0  # 1 / m
    setup_dof: float = np.inf
    sweep_dof: float = np.inf

    def sigma(self, flow_m3_s: Array, slope_m2_s: Array) -> Array:
        """Return the scale of scatter at each lift.

        Parameters
        ----------
        flow_m3_s : ndarray, shape (n,)
            Flow at each lift. [m3/s]
        slope_m2_s : ndarray, shape (n,)
            Change of flow with lift. [m2/s]

        Returns
        -------
        ndarray, shape (n,)
            Scale. [m3/s]

        References
        ----------
        JCGM 100:2008, eq. 10, with the two inputs of a repeated reading.
        """
        return np.hypot(self.relative * flow_m3_s, self.lift_setting_m * slope_m2_s)

    def scales(self, flow_m3_s: Array, slope_m2_s: Array, count: Array) -> tuple[Array, Array]:
        """Return the scale of the set-up and of the within-sweep error of a port's mean curve.

        Parameters
        ----------
        flow_m3_s : ndarray, shape (n,)
            Flow at each lift. [m3/s]
        slope_m2_s : ndarray, shape (n,)
            Change of flow with lift. [m2/s]
        count : ndarray, shape (n,)
            Set-ups behind each lift.

        Returns
        -------
        tuple of ndarray, shape (n,)
            Scales that the two mean squares are in units of. [m3/s]
        """
        if self.assumed:
            # r moves the whole sweep, the lift is set anew at every reading.
            setup, sweep = self.relative * flow_m3_s, self.lift_setting_m * slope_m2_s
        else:
            setup = sweep = self.sigma(flow_m3_s, slope_m2_s)
        return setup / np.sqrt(count), sweep / np.sqrt(count)

    def variances(self, setup: Array, sweep: Array) -> tuple[Array, Array]:
        """Return what set-up and within-sweep errors put into k results, from their summed coefficients."""
        return setup * self.between, sweep * self.within

    def component(self, setup: Array, sweep: Array) -> Component:
        """Return the variance for summed coefficients, with its degrees of freedom.

        Set-up and within-sweep mean square are weighed by their shares of the variance, not
        by the squares of those as Welch and Satterthwaite do: the shares are themselves
        estimated, and with four degrees of freedom a set-up error that came out small by
        chance would make the interval short twice over.

        Parameters
        ----------
        setup : ndarray, shape (k,)
            Sum of set-up coefficients over all curves that this scatter serves.
        sweep : ndarray, shape (k,)
            Likewise for the within-sweep mean square.

        Returns
        -------
        Component
            Of k results.

        References
        ----------
        Near to the weighted mean of both t values of Cochran and Cox, Experimental Designs
        (1957), sect. 4.14, from memory.
        """
        whole, single = self.variances(setup, sweep)
        inverse = whole / self.setup_dof + single / self.sweep_dof
        with np.errstate(divide="ignore", invalid="ignore"):
            dof = np.where(inverse > 0, (whole + single) / inverse, np.inf)
        return Component(whole + single, dof)


def pool(ports: Sequence[RepeatedPort], relative: float, lift_setting_m: float) -> Scatter:
    """Return the pooled scatter of ports, or the assumed one where none was repeated.

    Parameters
    ----------
    ports : sequence of RepeatedPort
        Ports with their set-ups; those with a single set-up add nothing.
    relative : float
        Relative standard uncertainty of one re-set-up: scale, and assumption. [1]
    lift_setting_m : float
        Standard uncertainty of setting the lift. [m]

    Returns
    -------
    Scatter
        Marked as assumed where there is nothing to pool, also where "repeats" agree to
        every digit: those are copies, and they would make any difference a clear one.

    References
    ----------
    Pooled variance: JCGM 100:2008, H.3.6 and 4.2.4; one-way analysis of variance: H.5.
    """
    assumed = Scatter(relative, lift_setting_m, assumed=True)
    between = within = inverse = 0.0
    setup_dof = sweep_dof = 0
    for port in ports:
        setups, lifts = port.flow_m3_s.shape
        if setups < 2 or lifts == 0:
            continue
        mean = port.flow_m3_s.mean(axis=0)
        scaled = (port.flow_m3_s - mean) / assumed.sigma(mean, port.slope_m2_s)
        of_sweep = scaled.mean(axis=1, keepdims=True)
        between += float(np.sum(np.square(of_sweep)))
        within += float(np.sum(np.square(scaled - of_sweep)))
        inverse += (setups - 1) / lifts
        setup_dof += setups - 1
        sweep_dof += (setups - 1) * (lifts - 1)
    if setup_dof == 0 or between + within == 0:
        return assumed
    return Scatter(
        relative,
        lift_setting_m,
        assumed=False,
        between=between / setup_dof,
        within=within / sweep_dof if sweep_dof else 0.0,
        inverse_lifts=inverse / setup_dof,
        setup_dof=setup_dof,
        sweep_dof=sweep_dof or np.inf,
    )
