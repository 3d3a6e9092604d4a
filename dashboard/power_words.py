"""Every sentence and figure about power: ranges, never a middle, and what they rest on.

Functions that put a person's own words into a sentence take ``safe``, as in ``words``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from core.dyno import MODEL_AIR, STANDARDS, converted, power_in_air
from core.power_results import PowerGain, PowerModel, PriceRange, Range, StagePower
from core.results import CompressionLine, Review
from core.units import NO_BREAK_SPACE, UnitSet, label, show, to_display
from dashboard import words
from dashboard.figures import NO_PRICE, NOTHING, figure, significant
from dashboard.words import CAVEAT, Safe

TITLE = "Rough power"
CAVEAT_LINE = f"**{CAVEAT}**"
NO_FIGURE = "no figure"
RANGES_TITLE = "Gain near peak power"
BANDS_TITLE = "What an engine like this might make"
ASSUMED_TITLE = "Assumed, and can be set"
TAKEN_TITLE = "What the model took"
LEDGER_TITLE = "Compression"
SOURCES_TITLE = "All that makes up the range"
LIMITS_TITLE = "What this cannot know"
WORKING = "Working out rough power"
PARTS_CAPTION = (
    "Half of the range that each source alone would give. They do not add up: sources that do not know of "
    "each other combine as the root of their squares."
)
SHARES_CAPTION = (
    "Intake and exhaust are shares of the middle of the range, and are given where the range stays clear of "
    "zero. A price is a range because the gain is one."
)
BANDS_CAPTION = (
    "Bands only, at the baseline's compression: how high the whole curve lies is known far less well than "
    "what one stage adds to another."
)
ANCHOR_HELP = (
    "A known dynamometer peak removes the error in level and leaves the error in structure: what is shown is "
    "the modelled gain in percent times the known power."
)
ANCHOR_ASK = "A peak that a dynamometer gave"
ANCHOR_BUTTON = "Scale to this peak"
SETTINGS_BUTTON = "Work it out with these"
NOT_TAKEN = "Nothing is changed until every field can be read."
SETTINGS_HELP = (
    "Leave a field empty to keep what it shows in grey. What you type holds until this page is closed; "
    "written into job.toml it stays with the job."
)
KEEP_TITLE = "To keep what is set, write this into job.toml:"
DECK_CAUTION = (
    "Before any deck is surfaced: valve-to-piston and piston-to-head clearance shrink, cam timing moves "
    "where a belt or chain drives it, the intake face of a V engine no longer meets its manifold, and the "
    "chamber wall and deck grow thinner. Compression may pass what fuel and ignition allow. The engine "
    "builder, the maker's least thickness and local rules decide. Machining wants eye, hearing and dust "
    "protection."
)
ASK_AREA = (
    "How much metal off the deck would bring this back needs the plan area of one chamber at the deck. "
    "Measure it (a print of the chamber on squared paper will do) and type it here, or write "
    'chamber_plan_area = "52 cm2" into [engine].'
)
LEDGER_CAPTION = (
    "Ideal Otto efficiency at γ 1.25 to 1.35, relative to {base}. It is kept apart from the gains above, "
    "which all run at the compression of the baseline, so that flow and compression are not mixed up."
)
NO_LEDGER = "No stage states a chamber volume, so what the work did to compression is not known."
NO_RATIO = (
    "The ratio is not worked out: it needs bore, stroke, and compression_ratio, or else gasket_volume, "
    "deck_volume and dish_volume."
)
# Where a name has to fit over a bar; the table has the whole of it.
SHORT_SOURCES = {
    "structure": "runner or waves, two models",
    "bench scale": "scale of the bench",
    "flow_level": "running flow over steady flow",
    "lobe_stretch": "cam duration",
    "intake_centreline_rad": "intake centreline",
    "exhaust_centreline_rad": "exhaust centreline",
}


# --- ranges ----------------------------------------------------------------------------


def rough_ends(low: float, high: float) -> tuple[str, str]:
    """Return the ends of a range, each rounded to a step of about a sixth of its width.

    An end that is not zero does not become zero: whether a range stays clear of zero is the one
    thing that rounding must not change.
    """
    step = _step((high - low) / 6) if high > low else _step(abs(low) / 10 or 1.0)
    (one, places), (two, more) = _rounded(low, step), _rounded(high, step)
    return figure(one, places), figure(two, more)


def _step(most: float) -> float:
    """Return the greatest 1, 2 or 5 times a power of ten that is not above ``most``."""
    power = 10.0 ** math.floor(math.log10(most))
    return next(n * power for n in (5, 2, 1) if n * power <= most * (1 + 1e-9))


def _rounded(value: float, step: float) -> tuple[float, int]:
    """Return a value in whole steps, finer ones where it would vanish, and the decimals to write it."""
    if abs(value) < 1e-9 * step:  # the remains of a subtraction
        value = 0.0
    while value and round(value / step) == 0:
        step = _step(step * 0.5)
    rounded = round(value / step) * step
    decimals = next((n for n in range(6) if abs(round(rounded, n) - rounded) < 1e-9 * step + 1e-12), 6)
    return rounded, decimals


def about(low_w: float, high_w: float, units: UnitSet, kind: str = "power") -> str:
    """Return ``about 8 to 20 kW``."""
    ends = bare_range(low_w, high_w, units, kind)
    return NO_BREAK_SPACE.join(("about", ends, label(kind, units)))


def bare_range(low_w: float, high_w: float, units: UnitSet, kind: str = "power") -> str:
    """Return ``8 to 20``, for where the unit stands once."""
    return _to(to_display(low_w, kind, units), to_display(high_w, kind, units))


def _to(low: float, high: float) -> str:
    ends = rough_ends(low, high)
    return ends[0] if ends[0] == ends[1] else f"{NO_BREAK_SPACE}to{NO_BREAK_SPACE}".join(ends)


def gain_text(gain: PowerGain, units: UnitSet) -> str:
    """Return a gain as ``about 8 to 20 kW``, and what stands beside it."""
    return about(gain.gain_w.low, gain.gain_w.high, units)


def percent_range(fraction: Range) -> str:
    """Return ``4 to 9 %``."""
    return f"{_to(100 * fraction.low, 100 * fraction.high)}{NO_BREAK_SPACE}%"


def is_open(gain: PowerGain) -> bool:
    """Return whether a range says neither gain nor loss."""
    return gain.too_close_to_call or gain.gain_w.low <= 0 <= gain.gain_w.high


def shares(gain: PowerGain) -> str:
    """Return what intake and exhaust bring, rounded to 5 %, where that means anything."""
    if gain.intake_share is None or gain.exhaust_share is None:
        return NOTHING
    parts = (("intake", gain.intake_share), ("exhaust", gain.exhaust_share))
    return ", ".join(f"{side} {figure(5 * round(20 * part), 0)}{NO_BREAK_SPACE}%" for side, part in parts)


def price_text(gain: PowerGain, currency: str | None, units: UnitSet) -> str:
    """Return the price of each unit of power as a range, and at the middle of the gain."""
    if gain.price is None:
        return NO_PRICE
    if gain.price == 0:
        return NOTHING
    if gain.price_per_w is None:
        return "no gain to divide by"
    unit = label("power", units)
    tail = f"{NO_BREAK_SPACE}{currency}" if currency else ""
    low, high = price_ends(gain, units)
    if not high:
        return f"{low}{tail} per {unit} or more"
    per = to_display(1.0, "power", units)
    mid = gain.price_per_w.mid
    middle = f", {significant(mid / per)} at the middle" if mid is not None else ""
    return f"{low}{NO_BREAK_SPACE}to{NO_BREAK_SPACE}{high}{tail} per {unit}{middle}"


def price_ends(gain: PowerGain, units: UnitSet) -> tuple[str, str]:
    """Return the least and the greatest price of a unit of power, empty where nothing bounds it."""
    price: PriceRange | None = gain.price_per_w if gain.price else None
    if price is None:
        return "", ""
    per = to_display(1.0, "power", units)  # a watt in the unit shown
    return significant(price.low / per), significant(price.high / per) if price.high is not None else ""


# --- the answer ------------------------------------------------------------------------


def whole(model: PowerModel) -> StagePower | None:
    """Return the last stage that has a gain over the baseline."""
    return next((stage for stage in reversed(model.stages) if stage.against_baseline), None)


def answer(model: PowerModel, units: UnitSet, safe: Safe = str) -> str:
    """Return what all work may be worth, or why nothing is said."""
    if model.because is not None:
        return f"No power figure, because {safe(model.because)}."
    last = whole(model)
    if last is None:
        return "One stage has a power figure so far. A gain needs a second one."
    gain = last.against_baseline
    done = _upto(model, last, safe)
    if is_open(gain):
        return f"{done} may be worth {gain_text(gain, units)} near peak power: too close to call."
    if gain.gain_w.high < 0:
        lost = about(-gain.gain_w.high, -gain.gain_w.low, units)
        return f"{done} may have cost {lost} near peak power."
    return f"{done} may be worth {gain_text(gain, units)} near peak power."


def beside_answer(model: PowerModel | None, units: UnitSet, safe: Safe = str) -> str:
    """Return the range of all work with its caveat, for under the answer about flow; empty without one."""
    if model is None or model.because is not None or whole(model) is None:
        return ""
    return f"{answer(model, units, safe)} {CAVEAT}"


def _upto(model: PowerModel, last: StagePower, safe: Safe) -> str:
    measured = [stage for stage in model.stages if stage.band or stage.because]
    return "All work together" if measured[-1] is last else f"All work up to {safe(last.name)}"


def missing(model: PowerModel, safe: Safe = str) -> list[str]:
    """Return which stages have no figure and why, a sentence each, with the cure."""
    if model.because is not None:
        return [safe(model.cure)] if model.cure else []
    return [
        f"{safe(stage.name)}: no power figure, because {safe(stage.because)}. {safe(stage.cure)}".strip()
        for stage in model.stages
        if stage.because
    ]


def basis(model: PowerModel, units: UnitSet) -> str:
    """Return how the ranges were worked out, in one short line."""
    said = "Breathing model through the measured curves"
    if model.window_rad_s:
        low, high = (show(_round_speed(speed), "speed", units) for speed in model.window_rad_s)
        said += f", mean over {low.rsplit(NO_BREAK_SPACE, 1)[0]} to {high}"
    percent = f"40{NO_BREAK_SPACE}%"
    return f"{said}. No range is narrower than ±{NO_BREAK_SPACE}{percent} of its middle: a judgement."


def _round_speed(speed_rad_s: float) -> float:
    step = math.pi / 30 * 100  # 100 rpm
    return round(speed_rad_s / step) * step


def parts_title(stage: str | None, safe: Safe = str) -> str:
    """Return the heading over what a range is made of: one stage's, or all work's."""
    return f"What the range of {'all work' if stage is None else safe(stage)} is made of"


def window_note(model: PowerModel) -> str:
    """Return what the shaded part of the bands is, empty where there is none."""
    return "Shaded: the speeds that gains are the mean over." if model.window_rad_s else ""


def anchor_line(model: PowerModel, units: UnitSet, safe: Safe = str) -> str:
    """Return what a known peak did to the figures, empty where none was given."""
    if model.anchor_because:
        return f"The known peak is not used, because {safe(model.anchor_because)}."
    anchor = model.anchor
    if anchor is None or model.anchor_factor is None:
        return ""
    stated = f"{show(anchor.power_w, 'power', units)} at {safe(anchor.stage)}"
    known_w, where = anchor.power_w, ""
    if anchor.standard:
        stated += f" ({anchor.standard})"
        known_w = power_in_air(known_w, anchor.standard, MODEL_AIR)
        where = f" In the model's air, a standard day, that is {show(known_w, 'power', units)}:"
    factor = figure(model.anchor_factor * known_w / anchor.power_w, 2)
    return (
        f"Scaled to a known peak of {stated}.{where or ' It is'} {factor} times what the model makes of that "
        "stage. That removes the error in level and leaves the error in structure: percent gain times known "
        "power."
    )


def other_standards(power_w: float, standard: str, units: UnitSet) -> str:
    """Return what other standards would call the same peak."""
    said = [
        f"{show(converted(power_w, standard, other), 'power', units)} by {other}"
        for other in STANDARDS
        if other != standard
    ]
    return f"The same peak would be {', '.join(said[:-1])} and {said[-1]}."


# --- where it stands on other screens ---------------------------------------------------


def ladder_cell(model: PowerModel, stage: str | None, units: UnitSet) -> str:
    """Return the ladder's cell of a stage, or of all work where no stage is named."""
    if stage is None:
        last = whole(model)
        return cell(last.against_baseline, units) if last else NOTHING
    found = model.stage(stage)
    if found is None or (found.because is None and found.band is None):
        return NOTHING
    if found.because:
        return NO_FIGURE
    if found.against_previous is None:
        return words.BASELINE
    return cell(found.against_previous, units)


def cell(gain: PowerGain, units: UnitSet) -> str:
    """Return ``about 5 to 12``, with the words that keep it from being read as a gain."""
    # A narrow column may break after the first word, and only there.
    text = f"about {bare_range(gain.gain_w.low, gain.gain_w.high, units)}"
    return f"{text}, too close to call" if is_open(gain) else text


def ladder_note(model: PowerModel, safe: Safe = str) -> str:
    """Return what stands under the ladder for its power column, or instead of it."""
    if model.because is not None:
        return f"No rough power, because {safe(model.because)}."
    anchored = " scaled to a known peak" if model.anchor_factor is not None else ""
    caveat = f" {CAVEAT}" if whole(model) is None else ""  # else it stands above, under the answer
    return f"Rough power is a model range{anchored}.{caveat}"


# --- contributions and compression -----------------------------------------------------


def others(count: int) -> str:
    """Return what the sources together are called that are too small to show one by one."""
    return f"{count} others together"


def part_figure(half_width_w: float, units: UnitSet) -> str:
    """Return a half width with two digits at most, and ``under 0.1`` for what hardly counts."""
    value = to_display(half_width_w, "power", units)
    if value < 0.05:
        return f"under{NO_BREAK_SPACE}0.1"
    return figure(value, 1 if value < 9.95 else 0)


def part_text(half_width_w: float, units: UnitSet) -> str:
    """Return ``± 2.1 kW``."""
    text = part_figure(half_width_w, units)
    sign = "" if text.startswith("under") else f"±{NO_BREAK_SPACE}"
    return f"{sign}{text}{NO_BREAK_SPACE}{label('power', units)}"


def effect_text(low: float | None, high: float | None) -> str:
    """Return ``−0.5 to −0.4 %``: what a ratio is worth."""
    if low is None or high is None:
        return NOTHING
    if low == high == 0:
        return words.BASELINE
    decimals = 1 if max(abs(low), abs(high)) >= 0.002 else 2
    ends = [figure(100 * value, decimals, signed=True) for value in sorted((low, high), key=abs)]
    text = ends[0] if ends[0] == ends[1] else f"{ends[0]}{NO_BREAK_SPACE}to{NO_BREAK_SPACE}{ends[1]}"
    return f"{text}{NO_BREAK_SPACE}%"


def ledger_line(review: Review, safe: Safe = str) -> str:
    """Return what all work did to compression, in one sentence."""
    lines = review.compression
    if not lines:
        return NO_LEDGER
    last = lines[-1]
    change = last.added_m3 * 1e6
    if abs(change) < 0.05:
        return f"The chambers are as large as at {safe(last.base)}: compression is unchanged."
    grew = "grew" if change > 0 else "shrank"
    lead = f"Since {safe(last.base)} the chamber {grew} by {figure(abs(change), 1)}{NO_BREAK_SPACE}cc"
    if last.ratio is None:
        return f"{lead}. {NO_RATIO}"
    first = lines[0].ratio
    verb = "cost" if change > 0 else "may bring"
    effect = effect_text(*(sorted((abs(last.low_fraction), abs(last.high_fraction))))).replace("+", "")
    tail = f"that may have cost {effect} of power" if verb == "cost" else f"that may bring {effect} of power"
    return f"{lead}: compression went from {figure(first, 2)} to {figure(last.ratio, 2)}, and {tail}."


def deck_line(lines: Sequence[CompressionLine], units: UnitSet) -> str:
    """Return how much off the deck would bring the first chamber's volume back, empty where unknown."""
    depth = lines[-1].surfacing_m if lines else None
    if depth is None:
        return ""
    return f"{show(depth, 'length', units)} off the deck would bring the first chamber's volume back."
