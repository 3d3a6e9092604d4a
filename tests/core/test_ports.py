"""From readings to the ports of a stage and their mean, by hand on straight lines."""

from __future__ import annotations

import numpy as np
import pytest

from core.gains import at_lifts, expanded
from core.measured import average, components, weighed
from core.ports import Port, ports_of, slope
from core.repeats import RepeatedPort, Scatter
from core.shared import shared_inputs
from core.side import SideWork
from tests.core.jobs import LIFTS_M, job, sheet, truth

FLOWS = {lift: truth(lift) for lift in LIFTS_M}
NORMAL = 1.959964  # two-sided 95 %


def port(name: str, lift_mm: list[float], factor: float, shared: float, bench: str = "bench") -> Port:
    """Return a port of factor x 20 L/s each mm, read once; shared is its relative answer to one input."""
    lift_m = np.array(lift_mm) / 1e3
    flow = 20 * factor * lift_m
    none = np.zeros_like(flow)
    return Port(
        name, bench, lift_m, flow, none, none + 1, shared * flow[:, None], 1,
        RepeatedPort(flow[None], none), True,
    )  # fmt: skip


def test_slope_is_the_mean_of_both_chords():
    # Chords of 1, 2 and 0.5; the last counts twice.
    assert slope(np.array([1.0, 2.0, 4.0]), np.array([1.0, 3.0, 4.0])) == pytest.approx([1.5, 1.25, 0.5])


@pytest.mark.parametrize("turned", [False, True])
def test_a_mean_of_ports_read_at_other_lifts_ends_where_the_first_ends(turned):
    ports = [port("1", [1, 2, 3, 4], 1.0, 0.01), port("2", [2, 4, 6], 1.1, 0.02)]
    mean = average(ports[::-1] if turned else ports, {"bench": Scatter(0.005, 0.0, assumed=True)})
    assert mean.lift_m == pytest.approx([0.001, 0.002, 0.003, 0.004])
    assert mean.measured.tolist() == [False, True, False, True]  # both were read there
    flow = 20 * mean.lift_m
    assert mean.flow_m3_s == pytest.approx(1.05 * flow)
    assert mean.shared[:, 0] == pytest.approx((0.01 + 0.02 * 1.1) / 2 * flow)


def test_each_bench_brings_its_own_scatter_into_a_mean():
    benches = {"one": Scatter(0.01, 0.0, assumed=True), "two": Scatter(0.03, 0.0, assumed=True)}
    mean = average([port(name, [1, 2], 1.0, 0.0, bench=name) for name in benches], benches)
    both, _ = expanded(at_lifts(mean, mean.lift_m), np.array([False]))
    assert both / mean.flow_m3_s == pytest.approx([NORMAL * np.hypot(0.01, 0.03) / 2] * 2, rel=1e-6)


def test_shared_inputs_can_be_left_out_of_a_sum_of_flows():
    curve = average([port("1", [1, 2], 1.0, 0.01)], {"bench": Scatter(0.0, 0.0, assumed=True)})
    half = weighed(curve, np.array([[0.5, 0.5]]))
    assert half.flow_m3_s == pytest.approx([0.03])  # of 20 and 40 L/s
    for common, variance in ((None, (0.01 * 0.03) ** 2), (np.array([True]), 0.0), (np.array([False]), 9e-8)):
        assert components([(np.ones(1), half)], common)[0].variance == pytest.approx([variance], rel=1e-9)


def test_a_stopped_reading_is_in_no_port():
    half = {lift: flow / 2 for lift, flow in FLOWS.items()}
    made = job({"a": [sheet(f, f"{p}.csv", port=p) for p, f in (("2", half), (None, FLOWS), ("1", half))]})
    work = SideWork(made, "intake")
    usable = np.ones(30, dtype=bool)
    usable[13] = False  # the fourth lift of the second sheet
    ports = ports_of(work.parts, shared_inputs(work.checked)[1], [usable])["stage", "a"]
    assert [one.name for one in ports] == ["1", "2", None]
    assert [one.lift_m.tolist() for one in ports[:2]] == [pytest.approx(list(LIFTS_M))] * 2
    kept = [lift for index, lift in enumerate(LIFTS_M) if index != 3]
    assert ports[2].lift_m == pytest.approx(kept)
    assert ports[2].flow_m3_s == pytest.approx([FLOWS[lift] for lift in kept])
