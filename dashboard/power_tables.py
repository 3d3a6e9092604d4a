"""Power as finished text: ranges by stage, what they are made of and rest on, bands, compression."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from core.power_results import Assumption, PowerGain, PowerModel, StagePower
from core.results import CompressionLine, Review
from core.units import NO_BREAK_SPACE, UnitSet, label, show, to_display
from dashboard import power_words, words
from dashboard.figures import NOTHING, figure, significant
from dashboard.tables import Table

_MOST_PARTS = 7  # sources that a chart shows
_SPEEDS = 8  # rows of the table that stands for the band's chart


@dataclass(frozen=True)
class RangeRow:
    """One bar: a stage against the one before, or all work against the baseline."""

    name: str
    place: int | None  # in the order of work; None for all work
    gain: PowerGain


def range_rows(model: PowerModel) -> tuple[RangeRow, ...]:
    """Return a row for each stage that has a gain, and all work last where that is more than one."""
    rows = [
        RangeRow(stage.name, place, stage.against_previous)
        for place, stage in enumerate(model.stages)
        if stage.against_previous
    ]
    last = power_words.whole(model)
    if last is not None and len(rows) > 1:
        rows.append(RangeRow(words.ALL_WORK, None, last.against_baseline))
    return tuple(rows)


def limits(rows: Sequence[RangeRow], units: UnitSet) -> tuple[float, float]:
    """Return the least and greatest end of all bars and zero, in the unit shown."""
    ends = [end for row in rows for end in (row.gain.gain_w.low, row.gain.gain_w.high)]
    return to_display(min(0.0, *ends), "power", units), to_display(max(0.0, *ends), "power", units)


def ranges(rows: Sequence[RangeRow], review: Review, units: UnitSet) -> Table:
    """Return the ranges by stage with what they cost."""
    priced = words.is_priced(review)
    columns = ["Stage", f"Gain, {label('power', units)}", "Of the power", "Brought by"]
    table = []
    for row in rows:
        gain = row.gain
        cells = [
            row.name,
            power_words.cell(gain, units),
            power_words.percent_range(gain.gain_fraction),
            power_words.shares(gain),
        ]
        if priced:
            cells.append(power_words.price_text(gain, review.job.currency, units))
        table.append(tuple(cells))
    return Table((*columns, *(["Price"] if priced else [])), tuple(table))


def largest_parts(gain: PowerGain) -> list[tuple[str, float]]:
    """Return (source, half width) of what makes most of a range, and all other sources as one."""
    parts = [
        (power_words.SHORT_SOURCES.get(part.key, part.name), part.half_width_w) for part in gain.contributions
    ]
    if len(parts) <= _MOST_PARTS:
        return parts
    kept, rest = parts[: _MOST_PARTS - 1], parts[_MOST_PARTS - 1 :]
    return [*kept, (power_words.others(len(rest)), math.hypot(*(width for _, width in rest)))]


def parts(gain: PowerGain, units: UnitSet) -> Table:
    """Return all that a range is made of, the largest first."""
    return Table(
        ("Source", f"Alone, ± {label('power', units)}"),
        tuple((part.name, power_words.part_figure(part.half_width_w, units)) for part in gain.contributions),
    )


def assumptions(model: PowerModel, units: UnitSet, typed: frozenset[str] = frozenset()) -> Table:
    """Return every value that the model needed, how well it is known, and where it comes from."""
    return Table(
        ("Value", "Taken as", "From"),
        tuple(
            (
                one.name,
                _taken(one, units),
                "; ".join(filter(None, (_origin(one, typed), one.note))),
            )
            for one in model.assumptions
        ),
    )


def _taken(one: Assumption, units: UnitSet) -> str:
    value = value_text(one.value, one, units)
    if not one.standard_uncertainty:
        return value
    return f"{value} ± {value_text(one.standard_uncertainty, one, units, difference=True)}"


def _origin(one: Assumption, typed: frozenset[str]) -> str:
    if one.origin == "set":
        return "set on this page" if one.key in typed else "job.toml"
    return "the job" if one.origin == "job" else "assumed"


def value_text(value: float, one: Assumption, units: UnitSet, *, difference: bool = False) -> str:
    """Return a value of an assumption with its unit, to three digits; a doubt to two."""
    kind = "temperature difference" if difference and one.unit_kind == "temperature" else one.unit_kind
    digits = 2 if difference else 3
    if kind not in units.shown:
        return significant(value, digits)
    unit = units.shown[kind].label
    text = significant(to_display(value, kind, units), digits)
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return f"{text}{'' if unit == '°' else NO_BREAK_SPACE}{unit}"


def bands(model: PowerModel, kind: str, units: UnitSet) -> Table:
    """Return what the first and the last stage with a figure might make, at a few speeds."""
    chosen = band_stages(model)
    speeds = np.asarray(model.speed_rad_s)
    at = sorted(set(np.linspace(0, len(speeds) - 1, min(_SPEEDS, len(speeds))).round().astype(int).tolist()))
    rows = [
        (
            figure(to_display(float(speeds[i]), "speed", units), 0),
            *(
                power_words.bare_range(low[i], high[i], units, kind)
                for low, high in map(band_edges(kind), chosen)
            ),
        )
        for i in at
    ]
    heads = (f"{stage.name}, {label(kind, units)}" for stage in chosen)
    return Table((f"Speed, {label('speed', units)}", *heads), tuple(rows))


def band_edges(kind: str) -> Callable[[StagePower], tuple[tuple[float, ...], tuple[float, ...]]]:
    """Return how to take the low and the high edge of a stage's power or torque, in SI."""

    def edges(stage: StagePower) -> tuple[tuple[float, ...], tuple[float, ...]]:
        band = stage.band
        if kind == "power":
            return band.power_low_w, band.power_high_w
        return band.torque_low_n_m, band.torque_high_n_m

    return edges


def band_stages(model: PowerModel) -> list[StagePower]:
    """Return the first and the last stage that have a band."""
    having = [stage for stage in model.stages if stage.band is not None]
    return having if len(having) < 2 else [having[0], having[-1]]


def ledger(lines: Sequence[CompressionLine], units: UnitSet) -> Table:
    """Return chamber, ratio and what it is worth, stage by stage; a deck's depth where it is known."""
    deck = any(line.surfacing_m is not None for line in lines)
    rows = []
    for line in lines:
        cells = [
            line.stage,
            _chamber(line),
            NOTHING if line.ratio is None else figure(line.ratio, 2),
            words.BASELINE
            if line.stage == line.base
            else power_words.effect_text(line.low_fraction, line.high_fraction),
        ]
        if deck:
            cells.append(NOTHING if line.surfacing_m is None else show(line.surfacing_m, "length", units))
        rows.append(tuple(cells))
    columns = ("Stage", f"Chamber, {label('volume', units)}", "Ratio", "Effect on power")
    return Table((*columns, *(["Off the deck to bring it back"] if deck else [])), tuple(rows))


def _chamber(line: CompressionLine) -> str:
    volume = figure(line.chamber_volume_m3 * 1e6, 1)
    if line.inherited:
        return f"{volume} (not measured anew)"
    change = figure(line.added_m3 * 1e6, 1, signed=True)
    return volume if line.stage == line.base else f"{volume} ({change})"
