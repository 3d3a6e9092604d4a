"""How the figures beyond gains follow: shares, prices, the target, compression, the ceiling, power."""

from __future__ import annotations

from collections.abc import Iterator

from core.air import ideal_velocity
from core.ceiling import HIGH, LOW
from core.compression import cylinder_volume
from core.constants import STANDARD_AIRS
from core.job import SIDES, Engine
from core.results import Review
from core.units import NO_BREAK_SPACE, UnitSet, label, show
from dashboard import words
from dashboard.figures import figure, significant


def derived(review: Review, units: UnitSet) -> Iterator[str]:
    """Yield how each such figure follows from the flows and the engine, where the job has it."""
    if said := _of_gains(review, units):
        yield said
    if review.target is not None and any(review.target.last(side) for side in SIDES):
        yield _of_target(review)
    if any(line.ratio is not None for line in review.compression):
        yield _of_compression(review.job.engine, units)
    if said := _of_power(review):
        yield said


def _of_gains(review: Review, units: UnitSet) -> str:
    said = []
    if len({gain.stage for gain in words.step_gains(review)}) > 1:
        said.append(f"A step's share is its gain ÷ that of {words.ALL_WORK}.")
    if words.is_priced(review):
        said.append(
            f"A price per {label('flow', units)} runs from price ÷ (gain + its ±) to price ÷ (gain − its ±)."
        )
    return " ".join(said)


def _of_target(review: Review) -> str:
    air, drop = STANDARD_AIRS[review.reference.air], review.reference.pressure_pa
    speeds = (float(ideal_velocity(side, drop, air.pressure_pa, air.density_kg_m3)) for side in SIDES)
    velocities = ", ".join(
        f"{figure(speed, 1)}{NO_BREAK_SPACE}m/s ({side})" for side, speed in zip(SIDES, speeds, strict=True)
    )
    return (
        "The share of the target that is reached is the stage's mean flow ÷ that of the target, whose "
        "readings stand below with the others. C_f is flow ÷ (valves open × π ÷ 4 × valve diameter² × "
        "isentropic velocity), C_d is flow ÷ (valves open × π × valve diameter × lift × isentropic "
        f"velocity); that velocity, of standard air at the reference pressure, is {velocities}."
    )


def _of_compression(engine: Engine, units: UnitSet) -> str:
    rest = "gasket, deck and dish"
    if engine.compression_ratio is not None:
        rest = f"all else, which with the first known chamber makes {figure(engine.compression_ratio, 2)}"
    bore, stroke = (show(one, "length", units) for one in (engine.bore_m, engine.stroke_m))
    swept = show(float(cylinder_volume(engine.bore_m, engine.stroke_m)), "volume", units)
    return (
        f"Compression is 1 + swept volume ÷ (chamber + {rest}); a cylinder of {bore} bore and {stroke} "
        f"stroke sweeps {swept}. Its effect on power is that on 1 − ratio^(1 − γ)."
    )


def _of_power(review: Review) -> str:
    said = []
    if review.ceiling:
        said.append(
            f"The flow ceiling is {significant(LOW, 3)} to {significant(HIGH, 3)}{NO_BREAK_SPACE}hp for each "
            "cylinder and each cfm of its peak intake flow in use, at 28\u00a0inH2O in ISO 2533 air."
        )
    if review.power is not None and review.power.because is None:
        said.append(
            "Rough power comes from a model that steps through the crank angle. It cannot be recomputed by "
            "hand; all that the model took stands beside it."
        )
    return " ".join(said)
