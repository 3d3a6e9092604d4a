"""The runs behind a power range: which cases the breathing model is asked, and its answers.

Every power is a mean over a window of speeds and an ensemble of runner lengths, since a
single length rings at single speeds. Window and lengths are sampled together by a lattice,
the same for every stage and every unknown, so that what is common cancels in a gain.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, field, fields
from functools import partial
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import hadamard

from core.breathing.areas import Lobe
from core.breathing.cases import CYCLE_RAD, Cases, Cylinder, Openings, half_steps, joined
from core.breathing.cycle import CLOSES, closed_cycles
from core.breathing.friction import friction_pressure
from core.breathing.gas import Gas
from core.constants import STANDARD_PRESSURE_PA
from core.job import SIDES
from core.power_input import PowerInput
from core.power_results import Assumption

Array = NDArray[np.float64]

STRUCTURES = ("intake runner", "prescribed waves")
FINE_BELOW_RAD_S = 3000 * np.pi / 30
COARSE_RAD, FINE_RAD = np.radians(0.5), np.radians(0.25)
FUEL_J_KG = 2.64e6  # of fresh charge, see the assumption "heat from the fuel"
EXHAUST_K = 1000.0  # of gas that comes back through the exhaust valve (judgement)
RUNNER_LOSS = 0.5  # of the dynamic pressure: entry, bends and walls of a runner (judgement)
# Stopping a column of gas of speed u raises its pressure by density x speed of sound x u (Joukowsky).
# An intake wave is taken as half of that for the mean speed in the runner: the valve neither shuts at
# once nor meets the wave whole (judgement).
INTAKE_WAVE_PA_S_M = 0.5 * 1.15 * 350.0
WAVE_SPEED_M_S = 18.0  # mean piston speed at which exhaust waves have the height below
EXHAUST_WAVE, OVERLAP_DIP = 0.15, 0.06  # over ambient pressure (judgement)
TILT = 0.03  # step in one side's areas that its weight is worked out with


@dataclass(frozen=True, eq=False)
class Ask:
    """One question: a stage's valves on both sides, some unknowns moved, at some speeds.

    ``moved`` is in standard uncertainties, by key; ``tilt`` scales the areas of each side.
    """

    prescribed: bool
    intake: int  # stage whose intake is fitted
    exhaust: int
    speed_rad_s: Array
    length_share: Array  # of the nominal runner length
    moved: tuple[tuple[str, float], ...] = ()
    tilt: tuple[float, float] = (1.0, 1.0)


@dataclass(frozen=True, eq=False)
class Answer:
    """Power of the whole engine for each of an ask's points, without and with friction at level 1."""

    indicated_w: Array
    friction_w: Array
    state: Array  # at the start of the cycle, shape (7, points)


@dataclass(eq=False)
class Bench:
    """An engine with its assumptions, ready to be asked."""

    engine: PowerInput
    assumptions: dict[str, Assumption]
    gas: Gas = field(default_factory=Gas)

    @property
    def key(self) -> tuple[Hashable, ...]:
        """Return what its answers depend on, to keep them by: neither names nor prices nor a known peak."""
        engine = self.engine
        curves = [stage.areas[side] for stage in engine.stages for side in SIDES]
        areas = tuple(getattr(one, row.name).tobytes() for one in curves for row in fields(one))
        sizes = (engine.crank, engine.cylinders, engine.redline_rad_s, engine.lobes)
        return (*sizes, areas, tuple(self.assumptions.values()), self.gas)

    def value(self, key: str, moved: dict[str, float]) -> float:
        """Return an assumption's value; where its unknown is moved, no further than what is allowed."""
        one = self.assumptions[key]
        moved_to = one.value + moved.get(key, 0.0) * one.standard_uncertainty
        # A value that was not set, but follows from the engine, may itself lie outside: it is what is shown.
        return float(np.clip(moved_to, min(one.least, one.value), max(one.greatest, one.value)))

    def ask(
        self,
        asks: Sequence[Ask],
        progress: Callable[[float], None] | None = None,
        start: Sequence[Array] | None = None,
        closes: float = CLOSES,
        coarse_rad: float = COARSE_RAD,
        partly: bool = False,
    ) -> list[Answer]:
        """Return the answers to many questions, worked out side by side.

        Parameters
        ----------
        asks : sequence of Ask
            Questions.
        progress : callable, optional
            Called after every turn with the share of the work that is done, 0 to 1, roughly.
        start : sequence of ndarray, optional
            States to begin each ask with, for speed.
        closes : float
            As for closed_cycles. [1]
        coarse_rad : float
            Step at 3000 rpm and above. [rad]
        partly : bool
            As for closed_cycles.

        Returns
        -------
        list of Answer
            In the same order.

        Raises
        ------
        CycleError
            If a cycle does not close.

        References
        ----------
        core.breathing.
        """
        openings = _Openings(self)
        parts = [self._cases(ask, openings) for ask in asks]
        cases = joined(parts)
        begin = None if start is None else np.concatenate(start, axis=1)
        found, state = np.empty((2, len(cases))), np.empty((7, len(cases)))
        fine = cases.speed_rad_s < FINE_BELOW_RAD_S
        done = 0.0
        for step, which in ((coarse_rad, ~fine), (FINE_RAD, fine)):
            if which.any():
                share = float(which.mean())
                some = cases.take(np.flatnonzero(which))
                near = None if begin is None else begin[:, which]
                tell = progress and partial(_tell, progress, done, share)
                cycles = closed_cycles(openings.cylinder(step), some, near, tell, closes, partly)
                done += share
                speed = some.speed_rad_s
                per_work = self.engine.cylinders * speed / (4 * np.pi)
                crank = self.engine.crank
                mean_pa = friction_pressure(cycles.peak_pressure_pa, crank.piston_speed(speed))
                found[0, which] = cycles.work_j * per_work
                found[1, which] = mean_pa * crank.swept_m3 * per_work
                state[:, which] = cycles.state
        edges = np.cumsum([0, *(len(part) for part in parts)])
        return [Answer(*found[:, first:last], state[:, first:last]) for first, last in pairwise(edges)]

    def _cases(self, ask: Ask, openings: _Openings) -> Cases:
        moved = dict(ask.moved)
        size = ask.speed_rad_s.size
        crank = self.engine.crank
        piston_m_s = crank.piston_speed(ask.speed_rad_s)
        level = self.value("pulse_level", moved)
        section = np.pi / 4 * self.value("runner_diameter_m", moved) ** 2
        length = self.value("runner_length_m", moved) * ask.length_share
        in_runner_m_s = piston_m_s * np.pi / 4 * crank.bore_m**2 / section
        ram = INTAKE_WAVE_PA_S_M * in_runner_m_s / STANDARD_PRESSURE_PA
        out = (EXHAUST_WAVE if ask.prescribed else OVERLAP_DIP) * piston_m_s / WAVE_SPEED_M_S
        shift = {key: self.value(key, moved) for key in ("lobe_stretch", "flow_level")}
        columns = [
            openings.column(side, stage, later, shift["lobe_stretch"], shift["flow_level"] * tilt)
            for side, stage, later, tilt in (
                ("intake", ask.intake, self._later("intake", moved), ask.tilt[0]),
                ("exhaust", ask.exhaust, self._later("exhaust", moved), ask.tilt[1]),
            )
        ]

        def all_of(value: float) -> Array:
            return np.full(size, float(value))

        return Cases(
            prescribed=np.full(size, ask.prescribed),
            speed_rad_s=ask.speed_rad_s,
            intake=np.full(size, columns[0]),
            exhaust=np.full(size, columns[1]),
            runner_length_m=length,
            runner_area_m2=all_of(section),
            port_volume_m3=0.5 * section * length,
            runner_loss=all_of(RUNNER_LOSS),
            ambient_pa=all_of(STANDARD_PRESSURE_PA),
            intake_temperature_k=all_of(self.value("intake_temperature_k", moved)),
            back_pressure_pa=all_of(STANDARD_PRESSURE_PA + self.value("back_pressure_pa", moved)),
            intake_wave=level * ram if ask.prescribed else all_of(0.0),
            exhaust_wave=level * out,
            exhaust_temperature_k=all_of(EXHAUST_K),
            burn_duration_rad=all_of(self.value("burn_duration_rad", moved)),
            burn_centre_rad=all_of(self.value("burn_centre_rad", moved)),
            fuel_energy_j_kg=all_of(FUEL_J_KG * self.value("fuel_level", moved)),
            heat_level=all_of(self.value("heat_level", moved)),
            wall_temperature_k=all_of(self.value("wall_temperature_k", moved)),
        )

    def _later(self, side: str, moved: dict[str, float]) -> float:
        """Return how much later than the job states a cam comes: an exhaust's angle is before the centre."""
        centre = self.value(f"{side}_centreline_rad", moved)
        stated = self.engine.lobes[side].centre_rad
        return (2 * np.pi + centre if side == "intake" else 2 * np.pi - centre) - stated


def _tell(progress: Callable[[float], None], before: float, share: float, part: float) -> None:
    progress(before + share * part)


class _Openings:
    """The areas of valves over crank angle, each once."""

    def __init__(self, bench: Bench):
        self._bench = bench
        self._columns: dict[str, dict[tuple[int, float, float, float], int]] = {"intake": {}, "exhaust": {}}

    def column(self, side: str, stage: int, later: float, stretch: float, factor: float) -> int:
        """Return the number of an opening."""
        known = self._columns[side]
        return known.setdefault((stage, later, stretch, factor), len(known))

    def cylinder(self, step_rad: float) -> Cylinder:
        """Return the cylinder with every opening asked for, on the grid of a step."""
        engine, grid = self._bench.engine, half_steps(step_rad)
        lift: dict[tuple[str, float, float], Array] = {}
        areas = {}
        for side, columns in self._columns.items():
            table = []
            for stage, later, stretch, factor in columns:
                path = lift.get((side, later, stretch))
                if path is None:
                    path = lift[side, later, stretch] = engine.lobes[side].lift(grid, later, stretch)
                table.append(factor * engine.stages[stage].areas[side].at(path))
            areas[side] = Openings(np.stack(table, axis=1))
        intake, exhaust = engine.lobes.intake, engine.lobes.exhaust
        runs = grid >= exhaust.opens_rad
        runs &= grid <= max(intake.closes_rad, exhaust.closes_rad)
        return Cylinder(
            engine.crank,
            self._bench.gas,
            step_rad,
            areas["intake"],
            areas["exhaust"],
            intake_wave(grid, intake),
            exhaust_wave(grid, exhaust),
            runs,
        )


def intake_wave(crank_angle_rad: Array, lobe: Lobe) -> Array:
    """Return the shape of the intake's prescribed wave: a suction first, then a charge that rams in.

    Parameters
    ----------
    crank_angle_rad : ndarray
        Crank angle. [rad]
    lobe : Lobe
        Intake cam.

    Returns
    -------
    ndarray
        One swing from top dead centre on, when the piston begins to draw, -1 to 1: its rise is
        highest half-way between bottom dead centre and closing, as in an intake made for the
        speed. 0 for the rest of the cycle. [1]

    References
    ----------
    Judgement: the simplest wave that holds the charge in while the piston rises.
    """
    highest_rad = (3 * np.pi + lobe.closes_rad) / 2 - 2 * np.pi
    since_rad = np.mod(crank_angle_rad - 2 * np.pi, CYCLE_RAD)
    return -np.sin(np.minimum(1.5 * np.pi / highest_rad * since_rad, 2 * np.pi))


def exhaust_wave(crank_angle_rad: Array, lobe: Lobe) -> Array:
    """Return the shape of the wave behind the exhaust valve: a push first, then a pull up to overlap.

    Parameters
    ----------
    crank_angle_rad : ndarray
        Crank angle. [rad]
    lobe : Lobe
        Exhaust cam.

    Returns
    -------
    ndarray
        Half a swing from opening to closing, 1 to -1; 0 while shut. [1]

    References
    ----------
    Judgement: the simplest wave that begins with the blow-down and ends in a dip.
    """
    share = (crank_angle_rad - lobe.opens_rad) / lobe.duration_rad
    return np.where((share >= 0) & (share <= 1), np.cos(np.pi * share), 0.0)


def lattice(count: int, low_rad_s: float, high_rad_s: float, length_spread: float) -> tuple[Array, Array]:
    """Return speeds and runner lengths that fill a window evenly together.

    Parameters
    ----------
    count : int
        Number of points.
    low_rad_s, high_rad_s : float
        Speeds. [rad/s]
    length_spread : float
        Lengths lie this share either way round 1. [1]

    Returns
    -------
    tuple of ndarray, shape (count,)
        Speeds [rad/s] and length over nominal length. [1]

    References
    ----------
    Kronecker lattice of the golden ratio: Niederreiter (1992), ch. 3 (from memory).
    """
    place = (np.arange(count) + 0.5) / count
    other = (0.5 + np.arange(count) * 0.6180339887498949) % 1.0
    return low_rad_s + (high_rad_s - low_rad_s) * place, 1 + length_spread * (2 * other - 1)


def design(keys: Sequence[str]) -> list[tuple[tuple[str, float], ...]]:
    """Return runs that move all unknowns at once, each up in half of them and down in the other.

    Parameters
    ----------
    keys : sequence of str
        Unknowns.

    Returns
    -------
    list of tuple
        A run each: (key, 1 or -1) for every unknown. Half the difference between the mean of
        the runs up and the mean of those down is an unknown's effect; effects of different
        unknowns do not mix, since any two columns are at right angles.

    References
    ----------
    Plackett, Burman, Biometrika 33 (1946) 305-325; the 12-run design is theirs, larger ones
    are Hadamard matrices of Sylvester.
    """
    if len(keys) <= 11:
        row = np.array([1, 1, -1, 1, 1, 1, -1, -1, -1, 1, -1])
        matrix = np.vstack([*(np.roll(row, shift) for shift in range(11)), -np.ones(11)])
    else:
        matrix = hadamard(1 << len(keys).bit_length())[:, 1:]
    return [tuple((key, float(run[i])) for i, key in enumerate(keys)) for run in matrix]
