"""The answer: what the work bought, in sentences, with the doubts that belong to it."""

from __future__ import annotations

from collections.abc import Sequence

from core.job import SIDES, Side
from core.results import Gain, Review, Summary, Verdict
from core.units import NO_BREAK_SPACE
from dashboard import words
from dashboard.figures import joined, money, percent
from dashboard.look import VERDICT_MARK
from dashboard.words import Safe


def answer(review: Review, safe: Safe = str) -> str:
    """Return what the work bought, in one or two sentences."""
    wholes = {side: gain for side in SIDES if (gain := words.whole_gain(review, side)) and gain.summary}
    if not wholes:
        return _nothing_to_compare(review, safe)
    called = {side: gain for side, gain in wholes.items() if gain.summary.verdict != "too close to call"}
    open_ = {side: gain for side, gain in wholes.items() if side not in called}
    said = [_bought(review, called, safe)] if called else []
    blocked = {side: gain for side, gain in open_.items() if gain.same_setup is False}
    if open_ and not called and not blocked:
        said.append(_no_change(review, open_, safe))
    elif len(blocked) == len(wholes):
        said.append(f"No gain can be called, for the set-up was another: {_changes(blocked)}.")
    else:
        said += [_cannot_call(side, gain, safe) for side, gain in open_.items()]
    said += [_missing(review, side) for side in SIDES if side not in wholes]
    return " ".join(said)


def doubts(review: Review, safe: Safe = str) -> list[str]:
    """Return the doubts that belong to the answer, a sentence each."""
    said: dict[str, list[str]] = {}
    for side in SIDES:
        gain = words.whole_gain(review, side)
        for doubt in words.doubts(gain, safe, review=review) if gain and gain.summary else ():
            said.setdefault(doubt, []).append(side)
    return [f"{' and '.join(sides).capitalize()}: {doubt}." for doubt, sides in said.items()]


def _payment(review: Review, safe: Safe) -> str | None:
    price = words.total_price(review)
    return safe(money(price, review.job.currency)) if price else None


def _bought(review: Review, gains: dict[Side, Gain], safe: Safe) -> str:
    ups = {side: gain for side, gain in gains.items() if gain.summary.verdict == "clear gain"}
    downs = {side: gain for side, gain in gains.items() if side not in ups}
    paid = _payment(review, safe)
    where = {side: _where(gain, len(gains)) for side, gain in gains.items()}
    once = len(set(where.values())) == 1

    def phrase(side: Side, gain: Gain) -> str:
        word = "more" if side in ups else "less"
        text = f"{_share_of(gain.summary)} {word} {side} flow"
        return text if once else f"{text} {where[side]}"

    rise = " and ".join(phrase(side, gain) for side, gain in ups.items())
    fall = " and ".join(phrase(side, gain) for side, gain in downs.items())
    if ups:
        lead = f"{paid} bought {rise}" if paid else f"The work brought {rise}"
        lead += f", but {fall}" if fall else ""
    else:
        lead = f"{paid} of work left {fall}" if paid else f"The work left {fall}"
    return f"{lead} {next(iter(where.values()))}." if once else f"{lead}."


def _share_of(summary: Summary) -> str:
    return percent(abs(summary.gain_fraction), summary.expanded_fraction, signed=False)


def _where(gain: Gain, sides: int) -> str:
    if gain.cam_weighted is None:
        return "over all lifts that both curves reach"
    return "where these cams work" if sides > 1 else "where this cam works"


def _no_change(review: Review, gains: dict[Side, Gain], safe: Safe) -> str:
    paid = _payment(review, safe)
    listed = _changes(gains)
    where = {_where(gain, len(gains)) for gain in gains.values()}
    place = f" {where.pop()}" if len(where) == 1 else ""
    lead = f"{paid} bought no" if paid else "The work brought no"
    return f"{lead} change in flow that this bench can tell: {listed}{place}, too close to call."


def _changes(gains: dict[Side, Gain]) -> str:
    return ", ".join(
        f"{side} {percent(gain.summary.gain_fraction, gain.summary.expanded_fraction)}"
        for side, gain in gains.items()
    )


def _cannot_call(side: Side, gain: Gain, safe: Safe) -> str:
    change = percent(gain.summary.gain_fraction, gain.summary.expanded_fraction)
    if gain.same_setup is False:
        return f"The {side} change, {change}, cannot be called: it was measured in another set-up."
    return f"The {side} change, {change}, is too close to call."


def _missing(review: Review, side: Side) -> str:
    stages = words.measured(review, side)
    if not stages:
        return f"The {side} was not measured."
    if len(stages) == 1:
        return f"The {side} was measured at one stage only, so there is no gain to show."
    return f"The {side} gain cannot be worked out; what to know says why."


def _nothing_to_compare(review: Review, safe: Safe) -> str:
    stages = [stage for stage in review.stages if stage.intake or stage.exhaust]
    if not stages:
        return "No flow can be shown yet: no stage has a usable reading."
    if len(stages) == 1:
        return f"One stage so far, {safe(stages[0].name)}. A gain needs a second one measured."
    return " ".join(["No gain can be worked out."] + [_missing(review, side) for side in SIDES])


def steps(review: Review, safe: Safe = str) -> str:
    """Return which single steps are clear, empty where the answer has already said it."""
    gains = words.step_gains(review)
    if len({gain.stage for gain in gains}) < 2:
        return ""
    odd = [gain for gain in gains if gain.summary.verdict != "clear gain"]
    if not odd:
        return "Every step is a clear gain."
    if all(gain.same_setup is False for gain in gains):
        return "No step can be called: each was measured in another set-up than the one before."
    if len(odd) <= 3 and len(odd) < len(gains):
        count = ("one", "two", "three")[len(odd) - 1]
        kinds = {_standing(gain): None for gain in odd}
        listed = [_listed(kind, [gain for gain in odd if _standing(gain) == kind], safe) for kind in kinds]
        return f"Every step is a clear gain but {count}: {'; '.join(listed)}."
    counts = {verdict: sum(gain.summary.verdict == verdict for gain in gains) for verdict in VERDICT_MARK}
    kinds = [f"{n} {_many(verdict, n)}" for verdict, n in counts.items() if n]
    lost = [_step(gain, safe) for gain in gains if gain.summary.verdict == "clear loss"]
    sides = {gain.side for gain in gains}
    on = "intake and exhaust" if len(sides) == 2 else f"the {sides.pop()}"
    return f"Of {len(gains)} steps on {on}, {joined(kinds)}." + (f" Lost: {joined(lost)}." if lost else "")


def _step(gain: Gain, safe: Safe) -> str:
    return f"{safe(gain.stage)} on the {gain.side}"


def _standing(gain: Gain) -> str:
    return "another set-up" if gain.same_setup is False else gain.summary.verdict


def _listed(standing: str, gains: Sequence[Gain], safe: Safe) -> str:
    """Return steps that stand alike, as a clause."""
    one = len(gains) == 1
    names = joined([_step(gain, safe) for gain in gains])
    if standing == "another set-up":
        return f"{names} {'was' if one else 'were'} measured in another set-up and cannot be called"
    if standing == "too close to call":
        return f"{names} {'is' if one else 'are'} {standing}"
    return f"{names} {f'is a clear{NO_BREAK_SPACE}loss' if one else f'are clear{NO_BREAK_SPACE}losses'}"


def planned(review: Review, safe: Safe = str) -> str:
    """Return what is quoted and not yet measured, empty where there is nothing."""
    stages = [stage for stage in review.stages if stage.planned]
    if not stages:
        return ""
    named = [
        safe(stage.name)
        if stage.price is None
        else f"{safe(stage.name)} ({safe(money(stage.price, review.job.currency))})"
        for stage in stages
    ]
    lead = "Planned" if all(stage.price is None for stage in stages) else "Planned and only quoted"
    return f"{lead}: {joined(named)}. It is not counted above."


def _many(verdict: Verdict, count: int) -> str:
    if verdict == "too close to call":
        return f"{'is' if count == 1 else 'are'} too close to call"
    noun = verdict.replace("loss", "losses") if count > 1 and verdict.endswith("loss") else verdict
    noun = noun + "s" if count > 1 and verdict.endswith("gain") else noun
    return f"{'is a' if count == 1 else 'are'} {noun.replace(' ', NO_BREAK_SPACE)}"
