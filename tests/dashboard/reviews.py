"""Hand-made reviews for testing the views: invented numbers of a plausible shape."""

from __future__ import annotations

import math

from core.job import SIDES, BenchSheet, Engine, Finding, Job, Reading, Side, Sides, Stage
from core.results import (
    Ceiling,
    Gain,
    PortCurve,
    Reference,
    Repeatability,
    Review,
    SideCurve,
    StageResult,
    Summary,
    Verdict,
)

PER_LITRE = 1e-3
NAMES = ("as cast", "seat cut", "throat and bowl", "port exit")
PRICES = (0.0, 260.0, 480.0, 310.0)
TOPS = {"intake": (108.0, 109.5, 121.5, 121.9), "exhaust": (81.0, 82.5, 88.5, 93.0)}


def make_review(
    *,
    names: tuple[str, ...] = NAMES,
    tops: dict[str, tuple[float | None, ...]] | None = None,
    prices: tuple[float | None, ...] | None = PRICES,
    cam: bool = True,
    currency: str | None = "EUR",
    cylinders: int | None = 4,
    expanded: float = 0.6,
    different_ports: bool = False,
    spread_known: bool = False,
    setup_differences: tuple[str, ...] = (),
    at_reference: bool = True,
    planned: str | None = None,
    findings: tuple[Finding, ...] = (),
    title: str = "Hillclimb four",
    lift_step_m: float = 1e-3,
    lift_count: int = 11,
) -> Review:
    """Return a review of one job; a top flow of None is a side that was not measured."""
    tops = tops or TOPS
    lifts = tuple(lift_step_m * n for n in range(1, lift_count + 1))
    net = 10.2e-3 if cam else None
    given = prices or (None,) * len(names)
    stages = tuple(
        _stage(name, price, {side: tops[side][i] for side in SIDES}, lifts, expanded, net, at_reference)
        for i, (name, price) in enumerate(zip(names, given, strict=True))
    )
    gains = tuple(
        _gain(stages, i, side, against, expanded, net, different_ports, spread_known, setup_differences)
        for i in range(len(stages))
        for side in SIDES
        for against in ("baseline", "previous")
        if stages[i].side(side) is not None and any(s.side(side) for s in stages[:i])
    )
    if planned is not None:
        stages += (StageResult(planned, 300.0, True, None, None, (), (), None, False, None),)
    job = Job(
        name="hillclimb-four",
        title=title,
        stages=tuple(Stage(s.name, s.price, s.planned) for s in stages),
        sheets=tuple(_sheet(s, lifts) for s in stages if not s.planned),
        fingerprint="7c419e02",
        currency=currency,
        engine=None if cylinders is None else Engine(cylinders=cylinders),
    )
    return Review(
        job=job,
        reference=Reference(28 * 249.08891, 1.2250, "ISO 2533", "square root"),
        usable_lift_m=Sides(net or lifts[-1], net or lifts[-1]),
        cam_net_lift_m=Sides(net, net),
        stages=stages,
        gains=gains,
        ceiling=tuple(
            Ceiling(
                s.name,
                s.intake.peak_flow_m3_s * 1.25e6,
                s.intake.peak_flow_m3_s * 1.6e6,
                s.intake.peak_flow_m3_s * 2e6,
            )
            for s in stages
            if cylinders and s.intake
        ),
        repeatability=tuple(Repeatability(None, side, side == "exhaust", 0.005, 8.0, 80.0) for side in SIDES),
        findings=findings,
    )


def _flow(top: float, lift_m: float) -> float:
    return top * PER_LITRE * (1 - math.exp(-((lift_m / 4.2e-3) ** 1.15)))


def _stage(
    name: str,
    price: float | None,
    tops: dict[str, float | None],
    lifts: tuple[float, ...],
    expanded: float,
    net: float | None,
    at_reference: bool,
) -> StageResult:
    curves = {
        side: None if top is None else _curve(top, lifts, expanded, net, at_reference)
        for side, top in tops.items()
    }
    both = all(curves.values())
    ratios = (
        tuple(e / i for e, i in zip(curves["exhaust"].flow_m3_s, curves["intake"].flow_m3_s, strict=True))
        if both
        else ()
    )
    return StageResult(
        name,
        price,
        False,
        curves["intake"],
        curves["exhaust"],
        lifts if both else (),
        ratios,
        None,
        False,
        None,
    )


def _curve(
    top: float, lifts: tuple[float, ...], expanded: float, net: float | None, at_reference: bool
) -> SideCurve:
    flow = tuple(_flow(top, lift) for lift in lifts)
    used = [f for f, lift in zip(flow, lifts, strict=True) if net is None or lift <= net]
    mean = sum(used) / len(used)
    return SideCurve(
        lift_m=lifts,
        flow_m3_s=flow,
        expanded_uncertainty_m3_s=tuple(0.03 * f for f in flow),
        expanded_bench_m3_s=tuple(expanded * PER_LITRE for _ in flow),
        discharge_coefficient=tuple(0.62 - 8 * lift for lift in lifts),
        flow_coefficient=tuple(0.05 + 40 * lift for lift in lifts),
        lift_to_diameter=tuple(lift / 33.5e-3 for lift in lifts),
        ports=("2",),
        n_setups=2,
        by_port=(PortCurve("2", lifts, flow, 2),),
        at_reference=at_reference,
        usable_lift_m=net or lifts[-1],
        peak_flow_m3_s=used[-1],
        peak_lift_m=lifts[len(used) - 1],
        highest_flow_m3_s=flow[-1],
        highest_lift_m=lifts[-1],
        mean_flow_m3_s=mean,
        mean_expanded_m3_s=expanded * PER_LITRE,
        cam_weighted_flow_m3_s=mean if net else None,
        cam_weighted_expanded_m3_s=expanded * PER_LITRE if net else None,
        held_share=0.0,
    )


def _verdict(gain: float, expanded: float) -> Verdict:
    if abs(gain) <= expanded:
        return "too close to call"
    return "clear gain" if gain > 0 else "clear loss"


def _gain(
    stages: tuple[StageResult, ...],
    i: int,
    side: Side,
    against: str,
    expanded: float,
    net: float | None,
    different_ports: bool,
    spread_known: bool,
    setup_differences: tuple[str, ...],
) -> Gain:
    earlier = [s for s in stages[:i] if s.side(side)]
    other = earlier[0] if against == "baseline" else earlier[-1]
    after, before = stages[i].side(side), other.side(side)
    change = tuple(a - b for a, b in zip(after.flow_m3_s, before.flow_m3_s, strict=True))
    u = expanded * PER_LITRE
    mean_before, mean_after = before.mean_flow_m3_s, after.mean_flow_m3_s
    mean_change = mean_after - mean_before
    blocked = bool(setup_differences)
    verdict: Verdict = "too close to call" if blocked else _verdict(mean_change, u)
    summary = Summary(
        mean_before, mean_after, mean_change, mean_change / mean_before, u, u / mean_before, verdict
    )
    between = stages[stages.index(other) + 1 : i + 1]
    prices = [s.price for s in between]
    price = None if None in prices else sum(prices)
    return Gain(
        stage=stages[i].name,
        against=against,
        other=other.name,
        side=side,
        usable_lift_m=net or after.lift_m[-1],
        lift_m=after.lift_m,
        interpolated=(False,) * len(change),
        before_m3_s=before.flow_m3_s,
        after_m3_s=after.flow_m3_s,
        gain_m3_s=change,
        gain_fraction=tuple(c / b for c, b in zip(change, before.flow_m3_s, strict=True)),
        expanded_uncertainty_m3_s=(u,) * len(change),
        expanded_fraction=tuple(u / b for b in before.flow_m3_s),
        verdict=tuple("too close to call" if blocked else _verdict(c, u) for c in change),
        mean=summary,
        cam_weighted=summary if net else None,
        at_peak_m3_s=change[-1],
        at_peak_expanded_m3_s=u,
        shared_ports=() if different_ports else ("2",),
        different_ports=different_ports,
        port_spread_known=spread_known,
        same_setup=False if setup_differences else None,
        setup_differences=setup_differences,
        setup_unknown=() if setup_differences else ("spark plug",),
        coefficient_gain=(None,) * len(change),
        price=price,
        price_per_flow=price / mean_change if price is not None and verdict == "clear gain" else None,
    )


def _sheet(stage: StageResult, lifts: tuple[float, ...]) -> BenchSheet:
    def rows(side: Side) -> tuple[Reading, ...]:
        curve = stage.side(side)
        if curve is None:
            return ()
        return tuple(
            Reading(lift_m=lift, line=i + 5, flow_m3_s=round(flow, 4))
            for i, (lift, flow) in enumerate(zip(lifts, curve.flow_m3_s, strict=True))
        )

    return BenchSheet(
        file=f"{stage.name.replace(' ', '-')}.csv",
        readings=Sides(rows("intake"), rows("exhaust")),
        stage=stage.name,
        port="2",
    )


def twelve_stages() -> Review:
    """Return a job of twelve stages, as long as any ramp."""
    names = (
        "as cast", "guides", "seat cut", "back cut valves", "throat", "bowl", "short turn",
        "roof", "floor fill", "port exit", "chamber", "polish and match the runners",
    )  # fmt: skip
    gains = (0, 0.1, 1.4, 1.8, 3.6, 5.8, 7.6, 9.2, 10.2, 11.9, 12.7, 12.9)
    return make_review(
        names=names,
        prices=(0, 90, 260, 60, 180, 220, 150, 120, 140, 310, 160, 80),
        tops={
            "intake": tuple(108 + 1.2 * g for g in gains),
            "exhaust": tuple(81 + 0.8 * g for g in gains),
        },
        title="Endurance four",
    )


def one_stage() -> Review:
    """Return a job with a baseline and nothing else."""
    return make_review(names=("as cast",), prices=(0.0,), tops={"intake": (108.0,), "exhaust": (81.0,)})


def no_exhaust() -> Review:
    """Return a job whose exhaust was never measured."""
    return make_review(tops={"intake": TOPS["intake"], "exhaust": (None,) * 4})
