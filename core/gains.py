"""One stage against another: gain at each lift, over usable lift, and the verdicts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from core.curve import mean_flow, mean_weights, time_mean_flow, time_weights
from core.measured import Measured, Seen, Term, components, covariance, line_weights, union_lifts
from core.results import Summary, Verdict
from core.uncertainty import (
    Component,
    chance,
    combine,
    expanded_uncertainty,
    family_p,
    variances,
    verdict,
)

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

# Readings that stop below this share of the cam's lift give no cam-weighted figure. A hair less than
# nine tenths, for 0.9 x 10 mm is more than 9 mm in a computer's digits.
CAM_REACH = 0.9 - 1e-9
SAME_LIFT = 1 + 1e-9


@dataclass(frozen=True)
class PortSpread:
    """How far the ports of one stage differ: relative standard deviation of one port."""

    relative: float
    dof: float


def at_lifts(curve: Measured, lift_m: Array) -> Seen:
    """Return a curve's flows at lifts within it.

    Parameters
    ----------
    curve : Measured
        Curve.
    lift_m : ndarray, shape (r,)
        Lifts. [m]

    Returns
    -------
    Seen
        r flows.
    """
    return Seen(curve, curve.at(lift_m), line_weights(curve.lift_m, lift_m))


def over_lift(curve: Measured, top_m: float) -> Seen:
    """Return a curve's mean flow over lift.

    Parameters
    ----------
    curve : Measured
        Curve.
    top_m : float
        Usable lift. [m]

    Returns
    -------
    Seen
        One flow.
    """
    flow = np.array([mean_flow(curve.lift_m, curve.flow_m3_s, top_m)])
    return Seen(curve, flow, mean_weights(curve.lift_m, top_m)[None, :])


def over_time(curve: Measured, lift_path_m: Array) -> Seen:
    """Return a curve's mean flow over the time that a valve is open.

    Parameters
    ----------
    curve : Measured
        Curve; above its top the flow is held.
    lift_path_m : ndarray, shape (t,)
        Lift at equal steps of time. [m]

    Returns
    -------
    Seen
        One flow.
    """
    flow = np.array([time_mean_flow(curve.lift_m, curve.flow_m3_s, lift_path_m)])
    return Seen(curve, flow, time_weights(curve.lift_m, lift_path_m)[None, :])


def together(*seen: Seen) -> Seen:
    """Return several views of one curve as one, so that they are worked on in one go.

    Parameters
    ----------
    *seen : Seen
        Views of the same curve.

    Returns
    -------
    Seen
        All their flows, one after the other.
    """
    return Seen(
        seen[0].curve,
        np.concatenate([one.flow_m3_s for one in seen]),
        np.concatenate([one.weights for one in seen]),
    )


def expanded(seen: Seen, common: Flags) -> Array:
    """Return the expanded uncertainty of a curve's flows, with and without what all curves share.

    Parameters
    ----------
    seen : Seen
        r flows of a curve.
    common : ndarray, shape (k,)
        True for shared inputs to leave out the second time.

    Returns
    -------
    ndarray, shape (2, r)
        Half-width of the 95 % interval: of everything, and without those inputs. [m3/s]

    References
    ----------
    JCGM 100:2008, 6.2 and G.6.4.
    """
    shared, *scattered = components([(np.ones(seen.flow_m3_s.size), seen)])
    own = variances(seen.shared[:, ~common])
    return expanded_uncertainty([Component(np.stack([shared.variance, own])), *scattered])


def between_lifts(curve: Measured, low_m: float, high_m: float) -> Seen:
    """Return a curve's mean flow between two lifts.

    Parameters
    ----------
    curve : Measured
        Curve.
    low_m, high_m : float
        Lifts, the second the higher and within the curve. [m]

    Returns
    -------
    Seen
        One flow.
    """
    whole = over_lift(curve, high_m)
    if low_m <= 0:
        return whole
    below, share = over_lift(curve, low_m), low_m / high_m
    flow = (whole.flow_m3_s - share * below.flow_m3_s) / (1 - share)
    return Seen(curve, flow, (whole.weights - share * below.weights) / (1 - share))


class Views:
    """Curves seen for comparing; what several comparisons ask of a curve is worked out once."""

    def __init__(self) -> None:
        self._known: dict[tuple[int, bytes, float, bool], Seen] = {}

    def of(self, curve: Measured, lift_m: Array, usable_lift_m: float, path_m: Array | None) -> Seen:
        """Return the flows at each lift, the mean over usable lift and, with a path, over time."""
        key = (id(curve), lift_m.tobytes(), usable_lift_m, path_m is None)
        if key not in self._known:  # the view keeps its curve, so that no other gets its id
            seen = [at_lifts(curve, lift_m), over_lift(curve, usable_lift_m)]
            seen += [] if path_m is None else [over_time(curve, path_m)]
            self._known[key] = together(*seen)
        return self._known[key]


@dataclass(frozen=True, eq=False)
class Comparison:
    """Two curves compared at n lifts and over usable lift."""

    usable_lift_m: float
    lift_m: Array
    interpolated: Flags
    before_m3_s: Array
    after_m3_s: Array
    gain_fraction: Array
    expanded_m3_s: Array
    expanded_fraction: Array
    verdict: tuple[Verdict | None, ...]
    mean: Summary
    cam_weighted: Summary | None


def compare(
    after: Measured,
    before: Measured,
    cam_net_lift_m: float | None,
    lift_path_m: Array | None,
    spread: PortSpread | None,
    same_thing: bool,
    views: Views,
) -> Comparison:
    """Compare two curves over the lifts that both reach.

    Parameters
    ----------
    after, before : Measured
        Curves over the ports that are compared.
    cam_net_lift_m : float or None
        Highest lift that the cam opens. [m]
    lift_path_m : ndarray or None
        Lift at equal steps of time over the open period. [m]
    spread : PortSpread or None
        Port-to-port spread where the curves share no port and it is known.
    same_thing : bool
        False where the set-ups are known to differ: no verdict is clear then.
    views : Views
        What was seen of these curves before.

    Returns
    -------
    Comparison
        Gains with expanded uncertainties (95 %) and verdicts.

    References
    ----------
    JCGM 100:2008 for the intervals; family_p for the verdicts of a family.
    """
    top = min(after.top_m, before.top_m)
    usable = top if cam_net_lift_m is None else min(top, cam_net_lift_m)
    lifts = union_lifts(after.lift_m, before.lift_m)
    if lifts[-1] > top * SAME_LIFT:
        lifts = lifts[lifts <= top * SAME_LIFT]
    measured = after.is_measured(lifts) & before.is_measured(lifts)
    path = None
    if lift_path_m is not None and cam_net_lift_m is not None and top >= CAM_REACH * cam_net_lift_m:
        path = np.minimum(lift_path_m, usable)

    gain = Difference(*(views.of(curve, lifts, usable, path) for curve in (after, before)), spread)
    verdicts: list[Verdict | None] = [None] * lifts.size
    judged = np.flatnonzero(measured)
    for index, p in zip(judged.tolist(), gain.family_p(judged).tolist(), strict=True):
        verdicts[index] = verdict(float(gain.fraction[index]), p) if same_thing else "too close to call"
    n = lifts.size
    return Comparison(
        usable,
        lifts,
        ~measured,
        gain.before.flow_m3_s[:n],
        gain.after.flow_m3_s[:n],
        gain.fraction[:n],
        gain.expanded_m3_s[:n],
        gain.expanded_fraction[:n],
        tuple(verdicts),
        gain.summary(n, same_thing),
        None if path is None else gain.summary(n + 1, same_thing),
    )


class Difference:
    """r gains with their uncertainties: the absolute one is shown, the relative one is judged."""

    def __init__(self, after: Seen, before: Seen, spread: PortSpread | None):
        self.after, self.before, self.spread = after, before, spread
        a, b = after.flow_m3_s, before.flow_m3_s
        self.fraction = a / b - 1
        self.gain_m3_s = a - b
        one = np.ones_like(a)
        parts = self._parts(np.stack([one, 1 / b]), np.stack([one, a / b**2]))
        self.expanded_m3_s, self.expanded_fraction = expanded_uncertainty(parts)
        self.standard, self.dof = (row[1] for row in combine(parts))
        self.p_value = chance(self.fraction, parts)[1]

    def scaled(self, of_after: Array, of_before: Array) -> tuple[Array, Array]:
        """Return the difference of both flows times exact factors, a coefficient's say, and its ±."""
        value = of_after * self.after.flow_m3_s - of_before * self.before.flow_m3_s
        return value, expanded_uncertainty(self._parts(of_after, of_before))

    def _terms(self, of_after: Array, of_before: Array) -> list[Term]:
        return [(of_after, self.after), (-of_before, self.before)]

    def _parts(self, of_after: Array, of_before: Array) -> list[Component]:
        """Return the components of u for given derivatives by both flows, of shape (..., r)."""
        parts = components(self._terms(of_after, of_before))
        if self.spread is not None:
            # A port is better or worse over its whole curve, and each curve has its own ports.
            share = (of_after * self.after.flow_m3_s) ** 2 / self.after.curve.n_ports
            share += (of_before * self.before.flow_m3_s) ** 2 / self.before.curve.n_ports
            parts.append(Component(share * self.spread.relative**2, self.spread.dof))
        return parts

    def family_p(self, judged: Array) -> Array:
        """Return the p values of some of the gains, adjusted for being a family."""

        def errors() -> Array:
            a, b = self.after.flow_m3_s, self.before.flow_m3_s
            matrix = covariance(self._terms(1 / b, a / b**2))[np.ix_(judged, judged)]
            rest = np.sqrt(np.maximum(self.standard[judged] ** 2 - np.diag(matrix), 0.0))
            return matrix + np.outer(rest, rest)  # the ports' spread moves a whole curve

        score = self.fraction[judged] / self.standard[judged]
        return family_p(score, self.p_value[judged], errors, float(np.min(self.dof[judged], initial=np.inf)))

    def summary(self, index: int, same_thing: bool) -> Summary:
        """Return one of the gains as a summary with a verdict of its own."""
        after, before = float(self.after.flow_m3_s[index]), float(self.before.flow_m3_s[index])
        fraction, p = float(self.fraction[index]), float(self.p_value[index])
        return Summary(
            before,
            after,
            after - before,
            fraction,
            float(self.expanded_m3_s[index]),
            float(self.expanded_fraction[index]),
            verdict(fraction, p) if same_thing else "too close to call",
        )
