"""How alike the ports of the finished head are: an engine breathes through the worst of them."""

from __future__ import annotations

import numpy as np

from core.measured import average, components, weighed
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
    ports = curve.ports
    names = tuple(port.name for port in ports)
    lifts = curve.measured.lift_m[curve.measured.measured]
    lifts = lifts[~np.isin(lifts, list(work.stopped.get(("stage", name), ())))]
    if len(ports) < 2 or not lifts.size:
        return Balance(name, work.side, names, ())
    flow = np.array([port.flow_m3_s[np.isin(port.lift_m, lifts)] for port in ports])
    mean, worst = flow.mean(axis=0), flow.argmin(axis=0)
    terms = []
    for k, port in enumerate(ports):
        own = weighed(average((port,), work.scatters), np.equal(port.lift_m, lifts[:, None]).astype(float))
        terms.append((((worst == k) - 1 / len(ports)) / mean, own))
    expanded = expanded_uncertainty(components(terms))
    spread = flow.max(axis=0) - flow.min(axis=0)
    rows = tuple(
        BalanceRow(
            float(lifts[i]),
            float(mean[i]),
            float(spread[i]),
            float(spread[i] / mean[i]),
            names[worst[i]],
            float(flow[worst[i], i] / mean[i] - 1),
            float(expanded[i]),
        )
        for i in range(lifts.size)
    )
    return Balance(name, work.side, names, rows)
