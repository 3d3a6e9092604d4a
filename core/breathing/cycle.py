"""The cycle that repeats: run until each case ends in the state that it began in."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from core.breathing.cases import Cases, Cylinder
from core.breathing.closing import Closing
from core.breathing.march import (
    BURNED,
    ENERGY,
    EXHAUST_ENTHALPY,
    INTAKE_ENTHALPY,
    MASS,
    PORT_ENERGY,
    PORT_MASS,
    STATE,
    WALL_HEAT,
    WORK,
    March,
)

Array = NDArray[np.float64]

CLOSES = 1e-9
"""Change of mass and energy over a cycle, relative, below which it counts as closed."""
MOST_TURNS, USUAL_TURNS = 30, 6
AT_ONCE = 1200  # cases side by side: enough to hide the cost of a call, few enough for the cache
IDLE = 0.15  # share of closed cases that are carried along before others take their place


class CycleError(ValueError):
    """A cycle did not close, so nothing that it says may be used."""

    def __init__(self, speed_rad_s: Array):
        slowest, fastest = np.min(speed_rad_s) * 30 / np.pi, np.max(speed_rad_s) * 30 / np.pi
        super().__init__(
            f"from {slowest:.0f} to {fastest:.0f} rpm a cycle does not repeat within {MOST_TURNS} turns"
        )


@dataclass(frozen=True, eq=False)
class Cycles:
    """What closed cycles gave, a value a case.

    Attributes
    ----------
    work_j : ndarray
        Work of one cylinder in one cycle, pumping included. [J]
    peak_pressure_pa : ndarray
        Highest pressure while burning. [Pa]
    trapped_kg, fresh_kg : ndarray
        Mass in the cylinder when both valves are shut, and the unburned part of it. [kg]
    heat_j, fuel_j, exhaust_j, intake_j : ndarray
        To the walls, from burning, enthalpy out and in. [J]
    state : ndarray, shape (7, cases)
        State at the start of the cycle.
    mass_change, energy_imbalance : ndarray
        Relative change of the mass over the cycle; energy that the ledger misses over the fuel's. [1]
    turns : ndarray
        Cycles that it took until they repeated.
    """

    work_j: Array
    peak_pressure_pa: Array
    trapped_kg: Array
    fresh_kg: Array
    heat_j: Array
    fuel_j: Array
    exhaust_j: Array
    intake_j: Array
    state: Array
    mass_change: Array
    energy_imbalance: Array
    turns: Array


def first_guess(cylinder: Cylinder, cases: Cases) -> Array:
    """Return a state to begin with: a cylinder of warm charge at ambient pressure at bottom dead centre.

    Parameters
    ----------
    cylinder : Cylinder
        What all cases share.
    cases : Cases
        Cases.

    Returns
    -------
    ndarray, shape (7, cases)
        State at the start of a cycle.

    References
    ----------
    A guess; the closed cycle does not depend on it.
    """
    gas, crank = cylinder.gas, cylinder.crank
    state = np.zeros((STATE, len(cases)))
    whole_m3 = crank.swept_m3 * crank.compression_ratio / (crank.compression_ratio - 1)
    state[MASS] = cases.ambient_pa * whole_m3 / (gas.r_j_kg_k * (cases.intake_temperature_k + 40))
    state[BURNED] = 0.06 * state[MASS]
    state[ENERGY] = state[MASS] * gas.energy(cases.intake_temperature_k + 200, 0.06)
    port_pa = cases.ambient_pa * (1 + cases.intake_wave * cylinder.intake_wave[0])
    state[PORT_MASS] = port_pa * cases.port_volume_m3 / (gas.r_j_kg_k * cases.intake_temperature_k)
    state[PORT_ENERGY] = state[PORT_MASS] * gas.energy(cases.intake_temperature_k, 0.0)
    return state


def closed_cycles(
    cylinder: Cylinder,
    cases: Cases,
    start: Array | None = None,
    progress: Callable[[float], None] | None = None,
    closes: float = CLOSES,
    partly: bool = False,
) -> Cycles:
    """Return the repeating cycle of each case.

    Parameters
    ----------
    cylinder : Cylinder
        What all cases share.
    cases : Cases
        Cases.
    start : ndarray, shape (7, cases), optional
        State to begin with, near the closed one for speed.
    progress : callable, optional
        Called after every turn with the share of the work that is done, 0 to 1, roughly.
    closes : float
        Relative change of mass and energy over a cycle at which it counts as closed. [1]
    partly : bool
        Where a cycle does not close, give nan for it instead of an error.

    Returns
    -------
    Cycles
        Mass and energy repeat.

    Raises
    ------
    CycleError
        If a cycle does not close.

    References
    ----------
    core.breathing.march for the equations, core.breathing.closing for the way to a closed cycle.
    """
    waiting = np.argsort(cases.prescribed, kind="stable")  # runners first, as March wants them
    start = _turned(cylinder, cases, first_guess(cylinder, cases) if start is None else start, waiting)
    found = _Found(len(cases))
    left, waiting = waiting[:AT_ONCE], waiting[AT_ONCE:]
    closing, open_ = Closing(start[:, left]), np.ones(left.size, dtype=bool)
    turns = np.zeros(left.size, dtype=int)
    while left.size:
        march = March(cylinder, cases.take(left))
        while np.count_nonzero(~open_) <= IDLE * open_.size:
            march.begin(closing.state)
            with np.errstate(all="ignore"):  # a case that breaks down is nan, and never closes
                march.cycle()
            turns += 1
            done = open_ & _closed(closing.state, march.state, closes)
            found.keep(march, closing.state, left, done, turns)
            open_ &= ~done
            if progress is not None:
                under_way = np.sum(np.minimum(turns[open_] / USUAL_TURNS, 0.95))
                progress(float((found.count() + under_way) / len(cases)))
            lost = open_ & (turns >= MOST_TURNS)
            if lost.any() and not partly:
                raise CycleError(cases.speed_rad_s[left[lost]])
            open_ &= ~lost
            closing.learn(march.state[:STATE])
        fresh, waiting = np.split(waiting, [min(waiting.size, AT_ONCE - np.count_nonzero(open_))])
        closing.replace(open_, start[:, fresh])
        left = np.append(left[open_], fresh)
        turns = np.append(turns[open_], np.zeros(fresh.size, dtype=int))
        open_ = np.ones(left.size, dtype=bool)
    return found.cycles()


def _turned(cylinder: Cylinder, cases: Cases, start: Array, order: NDArray[np.intp]) -> Array:
    """Return where a first turn in rough steps leads: much nearer, and at half the price of any later one."""
    march = March(cylinder.rough(), cases.take(order))
    march.begin(start[:, order])
    with np.errstate(all="ignore"):
        march.cycle()
    end = np.empty_like(start)
    end[:, order] = march.state[:STATE]
    return np.where(np.all(np.isfinite(end), axis=0), end, start)


def _closed(begun: Array, end: Array, closes: float) -> NDArray[np.bool_]:
    """Return which cases ended where they began, in mass and energy of cylinder and port."""
    change = np.abs(end[MASS : PORT_ENERGY + 1] / begun[MASS : PORT_ENERGY + 1] - 1)
    return np.max(change, axis=0) < closes


class _Found:
    """What closed cycles gave, filled in as they close."""

    def __init__(self, count: int):
        self.values = {name: np.full(count, np.nan) for name in Cycles.__annotations__ if name != "state"}
        self.state = np.full((STATE, count), np.nan)

    def keep(self, march: March, begun: Array, left: Array, done: Array, turns: Array) -> None:
        """Keep some of the cases of a march that began in a state and went through one cycle."""
        if not done.any():
            return
        at, end = left[done], march.state
        fuel = march.fresh_kg * march.cases.fuel_energy_j_kg
        stored = end[ENERGY] + end[PORT_ENERGY] - begun[ENERGY] - begun[PORT_ENERGY]
        ledger = end[INTAKE_ENTHALPY] + fuel - end[EXHAUST_ENTHALPY] - end[WORK] - end[WALL_HEAT] - stored
        values = {
            "work_j": end[WORK],
            "peak_pressure_pa": march.peak_pa,
            "trapped_kg": begun[MASS],
            "fresh_kg": march.fresh_kg,
            "heat_j": end[WALL_HEAT],
            "fuel_j": fuel,
            "exhaust_j": end[EXHAUST_ENTHALPY],
            "intake_j": end[INTAKE_ENTHALPY],
            "mass_change": np.abs(end[MASS] / begun[MASS] - 1),
            "energy_imbalance": np.abs(ledger) / np.maximum(fuel, np.abs(end[EXHAUST_ENTHALPY])),
            "turns": turns,
        }
        for name, value in values.items():
            self.values[name][at] = value[done]
        self.state[:, at] = begun[:, done]

    def count(self) -> int:
        """Return how many have closed."""
        return int(np.count_nonzero(np.isfinite(self.values["turns"])))

    def cycles(self) -> Cycles:
        """Return everything."""
        return Cycles(**self.values, state=self.state)
