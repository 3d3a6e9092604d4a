"""How alike the ports of the finished head are: an engine breathes through the worst of them."""

from __future__ import annotations

import numpy as np

from core.measured import average, components, weighed
from core.ports import by_name, flow_at
from core.results import Balance, BalanceRow
from core.side import SideWork
from core.uncertainty import expanded_uncertainty


def port_balance(work: SideWork) -> Balance | None:
    """Return the ports of the last measured stage beside each other.

    Parameters
    ----------
    work : SideWork
        One side of a job.

    Returns
    -------
    Balance or None
        A row for each lift that every port was read at; no row for a single port, None
        where the side has no curve.

    References
    ----------
    The ± of the worst port's shortfall: JCGM 100:2008, 5.2; what the ports share cancels.
    """
    if not work.curves:
        return None
    name, curve = list(work.curves.items())[-1]
    ports = by_name(curve.ports)
    names = tuple(ports)
    lifts = curve.measured.lift_m[curve.measured.measured]
    lifts = lifts[~np.isin(lifts, list(work.stopped.get(("stage", name), ())))]
    if len(ports) < 2 or not lifts.size:
        return Balance(name, work.side, names, ())
    flow = np.array([flow_at(benches, lifts) for benches in ports.values()])
    mean, worst = flow.mean(axis=0), flow.argmin(axis=0)
    reached = flow.min(axis=0) / mean
    terms = []
    for k, benches in enumerate(ports.values()):
        alone = average(benches, work.scatters)
        own = weighed(alone, np.equal(alone.lift_m, lifts[:, None]).astype(float))
        terms.append((((worst == k) - reached / len(ports)) / mean, own))
    expanded = expanded_uncertainty(components(terms))
    spread = flow.max(axis=0) - flow.min(axis=0)
    rows = tuple(
        BalanceRow(
            float(lifts[i]),
            float(mean[i]),
            float(spread[i]),
            float(spread[i] / mean[i]),
            names[worst[i]],
            float(reached[i] - 1),
            float(expanded[i]),
        )
        for i in range(lifts.size)
    )
    return Balance(name, work.side, names, rows)
