"""One side of one stage, ready to be shown: flows, uncertainties, coefficients, means."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import isfinite

import numpy as np
from numpy.typing import NDArray

from core.air import ideal_velocity
from core.constants import STANDARD_AIRS
from core.gains import CAM_REACH, SAME_LIFT, Views, expanded
from core.job import BenchSheet, Job, Side, Valve
from core.measured import Measured
from core.ports import Port, by_name
from core.results import Numbers, PortCurve, SideCurve
from core.valve import curtain_area, head_area, lift_to_diameter

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

SAME_EFFECT = 0.9  # an input acts alike on all stages if its least effect is this share of its largest


@dataclass(frozen=True, eq=False)
class StageCurve:
    """A stage's side on its way from readings to results."""

    measured: Measured
    result: SideCurve
    ports: list[Port]


@dataclass(frozen=True)
class FlowCoefficients:
    """What turns a flow into coefficients; nan where the valve's size or the flow's drop is not known."""

    diameter_m: float
    valves: int
    velocity_m_s: float

    @cached_property
    def by_head(self) -> float:
        """Return flow coefficient over flow, on the area of the valve heads. [s/m3]"""
        return 1 / (self.valves * head_area(self.diameter_m) * self.velocity_m_s)

    def by_curtain(self, lift_m: Array) -> Array:
        """Return discharge coefficient over flow, on curtain area. [s/m3]"""
        return 1 / (self.valves * curtain_area(self.diameter_m, lift_m) * self.velocity_m_s)

    def lift_to_diameter(self, lift_m: Array) -> Array:
        """Return the lift over the diameter of the valve."""
        return lift_to_diameter(self.diameter_m, lift_m)


def numbers(values: Array, keep: Flags | None = None) -> Numbers:
    """Return an array as a tuple in which None stands for what cannot be worked out.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Values, nan where there is none.
    keep : ndarray, shape (n,), optional
        False for values to leave out.

    Returns
    -------
    tuple
        Floats and None.
    """
    if keep is not None:
        values = np.where(keep, values, np.nan)
    return tuple([value if isfinite(value) else None for value in values.tolist()])


def valves_open(valve: Valve, sheets: Sequence[BenchSheet]) -> int | None:
    """Return how many valves flowed, None where the sheets do not agree.

    Parameters
    ----------
    valve : Valve
        Valves of the side.
    sheets : sequence of BenchSheet
        Sheets of the stage.

    Returns
    -------
    int or None
        Number of valves; all of the side's where a sheet does not say.
    """
    whole = valve.valves_per_cylinder or 1
    found = {sheet.fixture.valves_open or whole for sheet in sheets}
    return found.pop() if len(found) == 1 else None


def flow_coefficients(job: Job, side: Side, valve: Valve, sheets: Sequence[BenchSheet]) -> FlowCoefficients:
    """Return what turns this stage's corrected flows into coefficients.

    Parameters
    ----------
    job : Job
        Gives reference pressure and standard air.
    side : {"intake", "exhaust"}
        Side of the head.
    valve : Valve
        Valves of the stage.
    sheets : sequence of BenchSheet
        Its sheets: they say how many valves were open.

    Returns
    -------
    FlowCoefficients
        On the isentropic velocity at the reference pressure in standard air.

    References
    ----------
    Heywood (1988), sect. 6.3.2, eqs 6.10 and 6.11.
    """
    standard = STANDARD_AIRS[job.standard_air]
    velocity = ideal_velocity(side, job.reference_pressure_pa, standard.pressure_pa, standard.density_kg_m3)
    count = valves_open(valve, sheets)
    diameter = np.nan if valve.diameter_m is None or count is None else valve.diameter_m
    return FlowCoefficients(diameter, count or 1, float(velocity))


def common_inputs(curves: Sequence[Measured]) -> Flags:
    """Return which shared inputs act alike on every curve: they cannot tell stages apart.

    Parameters
    ----------
    curves : sequence of Measured
        The stages' curves of one side, at least one.

    Returns
    -------
    ndarray, shape (k,)
        True where an input's mean relative effect hardly differs between the curves.
    """
    effects = np.array([np.mean(c.shared / c.flow_m3_s[:, None], axis=0) for c in curves])
    low, high = effects.min(axis=0), effects.max(axis=0)
    return (low >= SAME_EFFECT * high) | (high <= SAME_EFFECT * low)  # all add, or all take away


def side_curve(
    curve: Measured,
    common: Flags,
    stopped: Collection[float],
    coefficients: FlowCoefficients,
    cam_net_lift_m: float | None,
    lift_path_m: Array | None,
    views: Views,
) -> SideCurve:
    """Return one side of a stage, ready to be shown.

    Parameters
    ----------
    curve : Measured
        Mean curve of the stage's ports.
    common : ndarray, shape (k,)
        Shared inputs that cannot tell stages apart.
    stopped : collection of float
        Lifts whose readings a finding has stopped: no flow there.
    coefficients : FlowCoefficients
        From flow_coefficients.
    cam_net_lift_m : float or None
        Highest lift that the cam opens. [m]
    lift_path_m : ndarray or None
        Lift at equal steps of time. [m]
    views : Views
        Keeps what is seen of the curve for its comparisons.

    Returns
    -------
    SideCurve
        All in SI.

    References
    ----------
    See core.gains and core.uncertainty.
    """
    lifts, keep, inside = _lifts_shown(curve, stopped)

    def spread_out(values: Array) -> Numbers:
        if keep is None:
            return numbers(values)
        out = np.full(lifts.size, np.nan)
        out[keep] = values
        return numbers(out)

    flow = curve.at(inside)
    usable = curve.top_m if cam_net_lift_m is None else min(curve.top_m, cam_net_lift_m)
    within = inside <= usable * SAME_LIFT
    peak, highest = _largest(inside[within], flow[within]), _largest(inside, flow)
    path = None
    if lift_path_m is not None and curve.top_m >= CAM_REACH * cam_net_lift_m:
        path = np.minimum(lift_path_m, usable)
    seen = views.of(curve, inside, usable, path)
    n, (in_all, on_bench) = inside.size, expanded(seen, common)
    cam = seen.flow_m3_s.size > n + 1
    return SideCurve(
        lift_m=tuple(lifts.tolist()),
        flow_m3_s=spread_out(flow),
        expanded_uncertainty_m3_s=spread_out(in_all[:n]),
        expanded_bench_m3_s=spread_out(on_bench[:n]),
        discharge_coefficient=spread_out(flow * coefficients.by_curtain(inside)),
        flow_coefficient=spread_out(flow * coefficients.by_head),
        lift_to_diameter=spread_out(coefficients.lift_to_diameter(inside)),
        ports=tuple(by_name(curve.ports)),
        n_setups=sum(port.n_setups for port in curve.ports),
        by_port=tuple(_port_curve(port) for port in curve.ports),
        at_reference=all(port.scaled for port in curve.ports),
        usable_lift_m=usable,
        peak_flow_m3_s=peak[1],
        peak_lift_m=peak[0],
        highest_flow_m3_s=highest[1],
        highest_lift_m=highest[0],
        mean_flow_m3_s=float(seen.flow_m3_s[n]),
        mean_expanded_m3_s=float(on_bench[n]),
        cam_weighted_flow_m3_s=float(seen.flow_m3_s[n + 1]) if cam else None,
        cam_weighted_expanded_m3_s=float(on_bench[n + 1]) if cam else None,
        held_share=float(np.mean(lift_path_m > curve.top_m * SAME_LIFT)) if cam else 0.0,
    )


def _lifts_shown(curve: Measured, stopped: Collection[float]) -> tuple[Array, Flags | None, Array]:
    """Return the curve's lifts with the stopped ones, which of them have a flow, and those."""
    if not stopped:
        return curve.lift_m, None, curve.lift_m
    lifts = np.union1d(curve.lift_m, np.array(sorted(stopped)))
    keep = ~np.isin(lifts, list(stopped))
    return lifts, keep, lifts[keep]


def _port_curve(port: Port) -> PortCurve:
    return PortCurve(port.name, tuple(port.lift_m.tolist()), tuple(port.flow_m3_s.tolist()), port.n_setups)


def _largest(lift_m: Array, flow_m3_s: Array) -> tuple[float | None, float | None]:
    if not lift_m.size:
        return None, None
    index = int(np.argmax(flow_m3_s))
    return float(lift_m[index]), float(flow_m3_s[index])
