"""From ports to curves: the mean of the ports of a stage, and what its flows are uncertain by.

Every curve here is a weighted sum of readings, and knows it: a combination of its flows
(one lift, a mean, a difference to another curve) gets its variance from the readings.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from core import curve
from core.ports import Port, by_name
from core.repeats import Scatter
from core.uncertainty import Component, variances

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Errors:
    """What m ports with one scatter and one set of lifts put into a curve.

    The curve holds the sum of ``weights @ flow`` of these ports.
    """

    scatter: Scatter
    weights: Array  # (curve lifts, port lifts)
    setup: Array  # (port lifts, m) set-up error of each port, common to its sweep
    sweep: Array  # (port lifts,) variance of the within-sweep errors, summed over the ports

    def coefficients(self, weights: Array) -> tuple[Array, Array]:
        """Return what the two mean squares are multiplied by in combinations of the curve's flows."""
        on_ports = weights @ self.weights
        whole = np.sum(np.square(on_ports @ self.setup), axis=1)
        single = np.square(on_ports) @ self.sweep
        return whole, np.maximum(single - whole * self.scatter.inverse_lifts, 0.0)


@dataclass(frozen=True, eq=False)
class Measured:
    """A flow curve over some ports of one stage, one side."""

    lift_m: Array
    flow_m3_s: Array
    measured: Flags  # False where a port was interpolated
    shared: Array  # (n, k)
    ports: tuple[Port, ...]
    errors: tuple[Errors, ...]

    @property
    def n_ports(self) -> int:
        """Return how many ports of the head it is the mean of."""
        return len(by_name(self.ports))

    @property
    def top_m(self) -> float:
        """Return the highest lift of the curve."""
        return float(self.lift_m[-1])

    def at(self, lift_m: Array) -> Array:
        """Return the flow at other lifts, nan beyond the readings."""
        return _at(self.lift_m, self.flow_m3_s, lift_m)

    def is_measured(self, lift_m: Array) -> Flags:
        """Return which of the lifts were read and not interpolated."""
        return _holds(self.lift_m[self.measured], lift_m)


def average(ports: Iterable[Port], scatters: dict[str | None, Scatter]) -> Measured:
    """Return the mean curve of ports, over the lifts that all of them reach.

    Every port of the head counts alike, and so does every bench that one was read on.

    Parameters
    ----------
    ports : iterable of Port
        At least one.
    scatters : dict
        Scatter of each bench, under the bench's name.

    Returns
    -------
    Measured
        Curve at the union of the ports' lifts inside their common range.
    """
    ports = tuple(ports)
    top = min(port.lift_m[-1] for port in ports)
    lifts = union_lifts(*(port.lift_m for port in ports))
    lifts = lifts if lifts[-1] <= top else lifts[lifts <= top]
    named = by_name(ports)
    alike: dict[tuple[int, float, bytes], list[Port]] = {}
    for port in ports:
        share = 1 / len(named) / len(named[port.name])
        alike.setdefault((id(scatters[port.bench]), share, port.lift_m.tobytes()), []).append(port)
    flow, measured = np.zeros(lifts.size), np.ones(lifts.size, dtype=bool)
    errors, shared = [], np.zeros((lifts.size, ports[0].shared.shape[1]))
    for (_, share, _), group in alike.items():
        own, scatter = group[0].lift_m, scatters[group[0].bench]
        weights = line_weights(own, lifts) * share
        flows = np.array([port.flow_m3_s for port in group])
        flow += _at(own, flows.T, lifts).sum(axis=1) * share
        measured &= _holds(own, lifts)
        shared += weights @ sum(port.shared for port in group)
        slopes, counts = (
            np.array([getattr(port, name) for port in group]) for name in ("slope_m2_s", "count")
        )
        setup, sweep = scatter.scales(flows, slopes, counts)
        errors.append(Errors(scatter, weights, setup.T, np.sum(np.square(sweep), axis=0)))
    return Measured(lifts, flow, measured, shared, ports, tuple(errors))


def union_lifts(*lifts_m: Array) -> Array:
    """Return every lift of several curves, rising, each once.

    Parameters
    ----------
    *lifts_m : ndarray
        Lifts of each curve, rising. [m]

    Returns
    -------
    ndarray
        Lifts. [m]
    """
    first = lifts_m[0]
    if all(_same(first, other) for other in lifts_m[1:]):
        return first
    return np.unique(np.concatenate(lifts_m))


def line_weights(lift_m: Array, at_m: Array) -> Array:
    """Return how much each reading weighs in the flow at other lifts, on straight lines from (0, 0).

    Parameters
    ----------
    lift_m : ndarray, shape (n,)
        Lifts of the readings, rising. [m]
    at_m : ndarray, shape (k,)
        Lifts within them. [m]

    Returns
    -------
    ndarray, shape (k, n)
        Weights; the identity where both lifts are the same. [1]
    """
    if _same(lift_m, at_m):
        return np.eye(lift_m.size)
    nodes, units = np.append(0.0, lift_m), np.eye(lift_m.size + 1)[1:]
    return np.stack([np.interp(at_m, nodes, unit) for unit in units], axis=1)


def _same(one_m: Array, other_m: Array) -> bool:
    return one_m is other_m or np.array_equal(one_m, other_m)


def _holds(own_m: Array, lift_m: Array) -> Flags:
    """Return which lifts are among a curve's own."""
    if _same(own_m, lift_m):
        return np.ones(lift_m.size, dtype=bool)
    return np.isin(lift_m, own_m)


def _at(lift_m: Array, flow_m3_s: Array, at_m: Array) -> Array:
    # The curve passes through its readings: there is nothing to interpolate at them.
    if _same(lift_m, at_m):
        return flow_m3_s
    return curve.interpolate(lift_m, flow_m3_s, at_m)


@dataclass(frozen=True, eq=False)
class Seen:
    """A curve seen in r ways (at lifts, as a mean): r flows, their weights on its n flows, their errors."""

    curve: Measured
    flow_m3_s: Array
    weights: Array

    @cached_property
    def shared(self) -> Array:
        """Return the change of each flow for one standard uncertainty of each shared input, (r, k)."""
        return self.weights @ self.curve.shared

    @cached_property
    def scattered(self) -> list[tuple[Scatter, Array, Array]]:
        """Return each scatter with what its two mean squares are multiplied by, shape (r,)."""
        return [(errors.scatter, *errors.coefficients(self.weights)) for errors in self.curve.errors]

    @cached_property
    def scatter_covariance(self) -> Array:
        """Return the covariance of the flows from scatter alone, (r, r)."""
        total = np.zeros((len(self.weights), len(self.weights)))
        for errors in self.curve.errors:
            scatter, on_ports = errors.scatter, self.weights @ errors.weights
            setup = on_ports @ errors.setup
            total += (scatter.between - scatter.within * scatter.inverse_lifts) * setup @ setup.T
            total += scatter.within * (on_ports * errors.sweep) @ on_ports.T
        return total


def weighed(curve: Measured, weights: Array) -> Seen:
    """Return combinations of a curve's flows.

    Parameters
    ----------
    curve : Measured
        Curve.
    weights : ndarray, shape (r, n)
        Weights on its n flows.

    Returns
    -------
    Seen
        r flows.
    """
    return Seen(curve, weights @ curve.flow_m3_s, weights)


Term = tuple[Array, Seen]  # factors of shape (..., r), and r flows of a curve


def components(terms: Sequence[Term], common: Flags | None = None) -> list[Component]:
    """Return the variance components of a sum of flows.

    Parameters
    ----------
    terms : sequence of (ndarray, Seen)
        Factors of shape (..., r) and the r flows they multiply; the results are the sum over terms.
    common : ndarray, shape (k,), optional
        True for shared inputs to leave out.

    Returns
    -------
    list of Component
        Shared inputs first, then each scatter. A scatter that serves
        several curves is one component, not several.

    References
    ----------
    JCGM 100:2008, 5.2 and G.4.1.
    """
    shared = sum(factor[..., None] * seen.shared for factor, seen in terms)
    if common is not None:
        shared = shared[..., ~common]
    scattered = [scatter.component(setup, sweep) for scatter, setup, sweep in scatter_coefficients(terms)]
    return [Component(variances(shared)), *scattered]


def scatter_coefficients(terms: Sequence[Term]) -> list[tuple[Scatter, Array, Array]]:
    """Return what the two mean squares of each scatter are multiplied by in a sum of flows.

    Parameters
    ----------
    terms : sequence of (ndarray, Seen)
        As for components.

    Returns
    -------
    list of (Scatter, ndarray, ndarray)
        Coefficients of the set-up and of the within-sweep mean square, of the factors' shape.
    """
    sums: dict[int, tuple[Scatter, Array, Array]] = {}
    for factor, seen in terms:
        square = np.square(factor)
        for scatter, setup, sweep in seen.scattered:
            _, setup_so_far, sweep_so_far = sums.get(id(scatter), (scatter, 0.0, 0.0))
            sums[id(scatter)] = (scatter, setup_so_far + square * setup, sweep_so_far + square * sweep)
    return list(sums.values())


def covariance(terms: Sequence[Term]) -> Array:
    """Return the covariance of a sum of flows.

    Parameters
    ----------
    terms : sequence of (ndarray, Seen)
        Factors of shape (r,) and the r flows they multiply; the r results are the sum over terms.

    Returns
    -------
    ndarray, shape (r, r)
        Covariance; its diagonal is the sum of the variances of components. [m6/s2]

    References
    ----------
    JCGM 102:2011, 6.2.
    """
    shared = sum(factor[:, None] * seen.shared for factor, seen in terms)
    own = sum(np.outer(factor, factor) * seen.scatter_covariance for factor, seen in terms)
    return shared @ shared.T + own
