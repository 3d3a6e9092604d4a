"""How an invented bench sheet is written down: its text, and what it takes from a job file."""

from __future__ import annotations

from pathlib import Path

from tests.invented_bench import INCH_M, Valve

DEMO = Path(__file__).resolve().parents[1] / "demo_runs"
NOTE = "invented demo data"


def length(text: str) -> float:
    """Return a length such as ``"30 mm"`` in metres."""
    number, unit = text.split()
    return float(number) * {"mm": 0.001, "in": INCH_M}[unit]


def valves_of(job: dict, stage: str) -> dict[str, Valve]:
    """Return both sides' valves at one stage, from the job file."""
    own: dict[str, dict] = {"intake": dict(job["intake"]), "exhaust": dict(job["exhaust"])}
    for entry in job["stage"]:  # what an earlier stage fitted stays in the head
        for side in own:
            own[side].update(entry.get(side, {}))
        if entry["name"] == stage:
            break
    return {
        side: Valve(
            count=keys["valves_per_cylinder"],
            head_m=length(keys["valve_diameter"]),
            throat_m=length(keys["throat_diameter"]),
            stem_m=length(keys["stem_diameter"]),
        )
        for side, keys in own.items()
    }


def sheet_text(header: dict[str, str], columns: list[str], rows: list[list[str]]) -> str:
    """Return a bench sheet."""
    lines = [f"# {key}: {value}" for key, value in header.items()]
    lines.append(",".join(columns))
    lines += [",".join(row) for row in rows]
    return "\n".join(lines) + "\n"


def celsius(temperature_k: float) -> str:
    """Write a temperature as a metric shop does."""
    return f"{temperature_k - 273.15:.1f} degC"


def fahrenheit(temperature_k: float) -> str:
    """Write a temperature as a US shop does."""
    return f"{temperature_k * 9 / 5 - 459.67:.0f} degF"


def from_celsius(value: float) -> float:
    """Return kelvin."""
    return value + 273.15


def from_fahrenheit(value: float) -> float:
    """Return kelvin."""
    return (value + 459.67) * 5 / 9
