"""From corrected readings to the ports of every stage: set-ups, and their mean for a port."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from core.repeats import RepeatedPort
from core.rows import Rows

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

# Lifts are told apart to the tenth of a micrometre: 1/8 in and 0.125 in are one lift.
LIFT_DIGITS = 7


def told_apart(lift_m: Array) -> Array:
    """Return lifts as curves hold them: whoever looks for a lift among them rounds it here.

    Python's own ``round`` would turn some that lie half-way, as 3/32 in, the other way.

    Parameters
    ----------
    lift_m : float or ndarray
        Lifts as they were read. [m]

    Returns
    -------
    float or ndarray
        Lifts to the tenth of a micrometre. [m]
    """
    return np.round(lift_m, LIFT_DIGITS)


@dataclass(frozen=True, eq=False)
class Port:
    """One port of one stage, one side, on one bench: the mean of its set-ups over n lifts."""

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


def by_name(ports: Iterable[Port]) -> dict[str | None, tuple[Port, ...]]:
    """Return ports under their names: one that was read on two benches is one port of the head.

    Parameters
    ----------
    ports : iterable of Port
        Ports of one stage, one side.

    Returns
    -------
    dict
        The same, bench by bench, under each name, in their order.
    """
    found: dict[str | None, list[Port]] = {}
    for port in ports:
        found.setdefault(port.name, []).append(port)
    return {name: tuple(benches) for name, benches in found.items()}


def flow_at(benches: Sequence[Port], lift_m: Array) -> Array:
    """Return what one port flows at lifts that it was read at, on every bench.

    Parameters
    ----------
    benches : sequence of Port
        One port of the head, bench by bench.
    lift_m : ndarray, shape (n,)
        Lifts among the readings of each. [m]

    Returns
    -------
    ndarray, shape (n,)
        Flow. [m3/s]
    """
    return np.mean([port.flow_m3_s[np.isin(port.lift_m, lift_m)] for port in benches], axis=0)


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
        lifts = told_apart(rows.lift_m)
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
    averaged: dict[_Key, Port] = {}
    for at, keys in alike.values():
        averaged.update(zip(keys, _ports(at, [(*key[2:], groups[key]) for key in keys]), strict=True))
    for key in groups:
        found.setdefault(key[:2], []).append(averaged[key])
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
