"""Hand-made power models for testing the views: invented numbers of a plausible shape."""

from __future__ import annotations

import math
from dataclasses import replace

from core.power_results import (
    Assumption,
    Contribution,
    PowerBand,
    PowerGain,
    PowerModel,
    PriceRange,
    Range,
    StagePower,
)

RPM = math.pi / 30
NAMES = ("as cast", "seat cut", "throat and bowl", "port exit")
MIDS_W = (0.0, 3300.0, 12_000.0, 13_500.0)  # over the baseline
PRICES = (0.0, 260.0, 480.0, 310.0)

RUNNER = Assumption("runner_length_m", "runner length", 0.30, "length", "assumed", 0.03, 0.05, 1.0, "a guess")
WARM = Assumption("intake_temperature_k", "intake temperature", 308.15, "temperature", "assumed", 5, 250, 370)
FRICTION = Assumption("friction_level", "friction", 1.0, "ratio", "assumed", 0.1, 0.5, 2.0)


def make_gain(
    mid_w: float,
    against: str = "previous",
    other: str = "as cast",
    *,
    price: float | None = 480.0,
    open_: bool = False,
    half: float = 0.45,
) -> PowerGain:
    """Return a gain whose range reaches ``half`` of its middle to both sides, or over zero."""
    spread = abs(mid_w) * (1.3 if open_ else half) + (100.0 if mid_w == 0 else 0.0)
    low, high = mid_w - spread, mid_w + spread
    cost = None
    if price and high > 0:
        cost = PriceRange(
            price / high, price / mid_w if mid_w > 0 else None, price / low if low > 0 else None
        )
    shares = (None, None) if low <= 0 <= high else (0.55, 0.45)
    return PowerGain(
        against=against,
        other=other,
        gain_w=Range(low, mid_w, high),
        gain_fraction=Range(low / 150e3, mid_w / 150e3, high / 150e3),
        intake_w=0.55 * mid_w,
        exhaust_w=0.45 * mid_w,
        intake_share=shares[0],
        exhaust_share=shares[1],
        too_close_to_call=open_,
        widened=False,
        by_structure_w=(("runner", 1.1 * mid_w), ("pulses", 0.9 * mid_w)),
        contributions=(
            Contribution("structure", "runner or pulses, two models", "structure", 0.38 * abs(mid_w)),
            Contribution("friction_level", "friction", "unknown", 0.16 * abs(mid_w)),
            Contribution("intake flow", "intake flow readings", "measured flow", 0.002 * abs(mid_w)),
        ),
        price=price,
        price_per_w=cost,
    )


def make_band(top_w: float) -> PowerBand:
    """Return a band that rises to a peak at 7,000 rpm and falls."""
    shape = [1 - ((rpm - 7000) / 6000) ** 2 for rpm in range(3000, 8500, 500)]
    power = {
        name: tuple(k * top_w * s for s in shape) for name, k in (("low", 0.8), ("mid", 1), ("high", 1.25))
    }
    speeds = [rpm * RPM for rpm in range(3000, 8500, 500)]
    torque = {name: tuple(p / w for p, w in zip(row, speeds, strict=True)) for name, row in power.items()}
    return PowerBand(
        **{f"power_{name}_w": row for name, row in power.items()},
        **{f"torque_{name}_n_m": row for name, row in torque.items()},
        peak_w=Range(0.8 * top_w, top_w, 1.25 * top_w),
        peak_speed_rad_s=7000 * RPM,
    )


def make_model(
    names: tuple[str, ...] = NAMES,
    mids_w: tuple[float, ...] = MIDS_W,
    prices: tuple[float | None, ...] | None = PRICES,
    *,
    open_stages: tuple[str, ...] = ("port exit",),
    without: dict[str, str] | None = None,
) -> PowerModel:
    """Return a model of these stages; ``without`` are stages that have no figure, and why."""
    without = without or {}
    given = prices or (None,) * len(names)
    done: list[int] = []
    stages = []
    for i, name in enumerate(names):
        if name in without:
            stages.append(StagePower(name, without[name], "Put it on the bench."))
            continue
        stage = StagePower(name, band=make_band(150e3 + mids_w[i]))
        if done:
            first, before = done[0], done[-1]
            cost = [
                None if None in given[k + 1 : i + 1] else sum(given[k + 1 : i + 1]) for k in (first, before)
            ]
            stage = replace(
                stage,
                against_baseline=make_gain(mids_w[i], "baseline", names[first], price=cost[0]),
                against_previous=make_gain(
                    mids_w[i] - mids_w[before],
                    "previous",
                    names[before],
                    price=cost[1],
                    open_=name in open_stages,
                ),
            )
        stages.append(stage)
        done.append(i)
    return PowerModel(
        None,
        baseline=names[done[0]],
        stages=tuple(stages),
        speed_rad_s=tuple(rpm * RPM for rpm in range(3000, 8500, 500)),
        window_rad_s=(6200 * RPM, 7400 * RPM),
        structures=("runner", "pulses"),
        assumptions=(RUNNER, WARM, FRICTION),
        disclosures=("One lumped runner.", "No cylinder interaction."),
        notes=("The flow above the last reading is held.",),
    )
