"""From corrected readings to curves: set-ups, their mean for a port, the mean of ports.

Every curve here is a weighted sum of readings, and knows it: a combination of its flows
(one lift, a mean, a difference to another curve) gets its variance from the readings.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from core import curve
from core.repeats import RepeatedPort, Scatter
from core.rows import Rows
from core.uncertainty import Component, variances

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

# Lifts are told apart to the tenth of a micrometre: 1/8 in and 0.125 in are one lift.
LIFT_DIGITS = 7


@dataclass(frozen=True, eq=False)
class Port:
    """One port of one stage, one side: the mean of its set-ups over n lifts."""

    name: str | None
    bench: str | None
    lift_m: Array
    flow_m3_s: Array
    slope_m2_s: Array
    count: Array  # set-ups behind each lift
    shared: Array  # (n, k) change of flow for one standard uncertainty of each shared input [m3/s]
    n_setups: int
    repeated: RepeatedPort
    scaled: bool


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
    def top_m(self) -> float:
        """Return the highest lift of the curve."""
        return float(self.lift_m[-1])

    def at(self, lift_m: Array) -> Array:
        """Return the flow at other lifts, nan beyond the readings."""
        return _at(self.lift_m, self.flow_m3_s, lift_m)

    def is_measured(self, lift_m: Array) -> Flags:
        """Return which of the lifts were read and not interpolated."""
        return _holds(self.lift_m[self.measured], lift_m)


_Key = tuple[str, str | None, str | None, str | None]  # role, stage, port and bench


def ports_of(
    parts: Sequence[Rows], shared: Sequence[Array], usable: Sequence[Flags]
) -> dict[tuple[str, str | None], list[Port]]:
    """Return the ports of every stage and target of one side.

    Parameters
    ----------
    parts : sequence of Rows
        Readings of one side, bench by bench.
    shared : sequence of ndarray, shape (n, k)
        Relative effect of the shared inputs on each reading.
    usable : sequence of ndarray, shape (n,)
        False for a reading that a finding has stopped.

    Returns
    -------
    dict
        Lists of Port under (role, stage name).
    """
    groups: dict[_Key, list[_Sweep]] = {}
    for rows, effects, sound in zip(parts, shared, usable, strict=True):
        lifts = np.round(rows.lift_m, LIFT_DIGITS)
        for sheet, mine in rows.by_sheet():
            keep = mine if sound[mine].all() else np.flatnonzero(sound[mine]) + mine.start
            if lifts[keep].size:
                setup = ("named", sheet.setup) if sheet.setup is not None else ("sheet", sheet.file)
                sweep = _Sweep(
                    setup,
                    lifts[keep],
                    rows.flow_m3_s[keep],
                    effects[keep],
                    bool(rows.correction.scaled[keep].all()),
                )
                groups.setdefault((sheet.role, sheet.stage, sheet.port, rows.bench.name), []).append(sweep)
    found: dict[tuple[str, str | None], list[Port]] = {}
    alike: dict[int, tuple[_Layout, list[_Key]]] = {}
    for key, sweeps in groups.items():
        at = _laid_out(sweeps)
        alike.setdefault(id(at), (at, []))[1].append(key)
    ports = {}
    for at, keys in alike.values():
        ports.update(zip(keys, _ports(at, [(*key[2:], groups[key]) for key in keys]), strict=True))
    for role, stage, name, bench in groups:
        found.setdefault((role, stage), []).append(ports[role, stage, name, bench])
    for ports in found.values():
        ports.sort(key=lambda port: (port.name is None, port.name or ""))
    return found


@dataclass(frozen=True, eq=False)
class _Sweep:
    """One sheet's readings of one side."""

    setup: Hashable
    lift_m: Array
    flow_m3_s: Array
    effects: Array  # relative, (n, k)
    scaled: bool


def _laid_out(sweeps: list[_Sweep]) -> _Layout:
    """Return which set-up of a port read which lift."""
    numbered = {setup: number for number, setup in enumerate(dict.fromkeys(sweep.setup for sweep in sweeps))}
    row = [(numbered[sweep.setup], sweep.lift_m.size) for sweep in sweeps]
    return _layout(b"".join([sweep.lift_m.tobytes() for sweep in sweeps]), tuple(row))


def _ports(at: _Layout, named: list[tuple[str | None, str | None, list[_Sweep]]]) -> list[Port]:
    """Average the readings of p ports of one layout.

    First within a set-up, where they count as one, then over set-ups.
    """
    flow = np.array([np.concatenate([sweep.flow_m3_s for sweep in sweeps]) for *_, sweeps in named])
    effects = np.array([np.concatenate([sweep.effects for sweep in sweeps]) for *_, sweeps in named])
    mean = flow @ at.share.T
    steepness = slope(at.lift_m, mean)
    shared = at.share @ (flow[..., None] * effects)
    of_setups = (flow @ at.of_setup.T).reshape(len(named), *at.taken.shape)[:, :, at.common]
    return [
        Port(
            name,
            bench,
            at.lift_m,
            mean[p],
            steepness[p],
            at.count,
            shared[p],
            len(at.taken),
            RepeatedPort(of_setups[p], steepness[p, at.common]),
            all(sweep.scaled for sweep in sweeps),
        )
        for p, (name, bench, sweeps) in enumerate(named)
    ]


class _Layout(NamedTuple):
    """Which set-up (s of them) read which of n lifts, for r readings."""

    lift_m: Array
    taken: NDArray[np.int64]  # (s, n) readings
    count: Array  # (n,) set-ups
    share: Array  # (n, r) of each reading in the mean
    of_setup: Array  # (s x n, r) of each reading in its set-up's mean
    common: Flags  # lifts that every set-up read


@lru_cache(maxsize=128)  # port after port is read at the same lifts
def _layout(lifts_m: bytes, rows: tuple[tuple[int, int], ...]) -> _Layout:
    lift_m, column = np.unique(np.frombuffer(lifts_m), return_inverse=True)
    row = np.repeat(*np.array(rows).T)
    setups = int(row.max()) + 1
    cell = row * lift_m.size + column
    taken = np.bincount(cell, minlength=setups * lift_m.size).reshape(setups, lift_m.size)
    count = np.count_nonzero(taken, axis=0)
    of_setup = np.zeros((taken.size, cell.size))
    of_setup[cell, np.arange(row.size)] = 1 / taken[row, column]
    share = of_setup.reshape(setups, lift_m.size, row.size).sum(axis=0) / count[:, None]
    return _Layout(lift_m, taken, count.astype(float), share, of_setup, np.all(taken > 0, axis=0))


def average(ports: Iterable[Port], scatters: dict[str | None, Scatter]) -> Measured:
    """Return the mean curve of ports, over the lifts that all of them reach.

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
    lifts = lifts[lifts <= top]
    alike: dict[tuple[int, bytes], list[Port]] = {}
    for port in ports:
        alike.setdefault((id(scatters[port.bench]), port.lift_m.tobytes()), []).append(port)
    flow, measured = np.zeros(lifts.size), np.ones(lifts.size, dtype=bool)
    errors, shared = [], np.zeros((lifts.size, ports[0].shared.shape[1]))
    for group in alike.values():
        own, scatter = group[0].lift_m, scatters[group[0].bench]
        weights = line_weights(own, lifts) / len(ports)
        flows = np.array([port.flow_m3_s for port in group])
        flow += _at(own, flows.T, lifts).sum(axis=1) / len(ports)
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
    if all(np.array_equal(first, other) for other in lifts_m[1:]):
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
    if np.array_equal(lift_m, at_m):
        return np.eye(lift_m.size)
    nodes, units = np.append(0.0, lift_m), np.eye(lift_m.size + 1)[1:]
    return np.stack([np.interp(at_m, nodes, unit) for unit in units], axis=1)


def _holds(own_m: Array, lift_m: Array) -> Flags:
    """Return which lifts are among a curve's own."""
    if np.array_equal(own_m, lift_m):
        return np.ones(lift_m.size, dtype=bool)
    return np.isin(lift_m, own_m)


def slope(lift_m: Array, flow_m3_s: Array) -> Array:
    """Return the change of flow with lift: the mean of the chords before and after each reading.

    Parameters
    ----------
    lift_m : ndarray, shape (n,)
        Lifts of the readings, rising. [m]
    flow_m3_s : ndarray, shape (n,) or (k, n)
        Flow at these lifts, of one curve or of k. [m3/s]

    Returns
    -------
    ndarray, shape (n,) or (k, n)
        Change of flow with lift; the first chord starts at (0, 0), the last counts twice. [m2/s]
    """
    chord = flow_m3_s / lift_m  # the first of these is the chord from (0, 0)
    chord[..., 1:] = (flow_m3_s[..., 1:] - flow_m3_s[..., :-1]) / (lift_m[1:] - lift_m[:-1])
    mean = chord.copy()
    mean[..., :-1] = (chord[..., :-1] + chord[..., 1:]) / 2
    return mean


def _at(lift_m: Array, flow_m3_s: Array, at_m: Array) -> Array:
    # The curve passes through its readings: there is nothing to interpolate at them.
    if np.array_equal(lift_m, at_m):
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
