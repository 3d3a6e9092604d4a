"""``numbers.csv``: the review for a spreadsheet, in display units, with the digits that are shown.

Blocks with an empty row between them: what the job is, its stages, flow by lift, gains, rough power
and compression where there are any, what to know. Each has its own heading row, and every number its
unit in the heading. Numbers are the tables' own, taken apart.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Sequence

from core.job import SIDES, Side
from core.power_results import PowerGain
from core.results import Gain, Review, Summary
from core.units import UnitSet, label, to_display
from dashboard import power_tables, power_words, words
from dashboard.evidence import finding_lines
from dashboard.figures import figure, lifts, percent
from dashboard.handover.choice import EVERYTHING, Choice, shown_to
from dashboard.handover.plain import cell
from dashboard.tables import coefficients, flow_figure, flows, gain_figure, gain_table

_AGAINST = {"baseline": "baseline", "previous": "stage before", "target": "target"}
_FIGURE = re.compile(r"[+\N{MINUS SIGN}]?\d[\d\u202f]*(?:\.\d+)?")
_UNSCALED = "no test pressure stated: as measured, not scaled"
_TO_ASCII = str.maketrans({"\N{MINUS SIGN}": "-", "+": None, "\u202f": None})

Rows = Iterator[Sequence[str]]


def numbers_csv(review: Review, units: UnitSet, choice: Choice = EVERYTHING) -> bytes:
    """Return the review as CSV in UTF-8; the same review gives the same bytes."""
    review = shown_to(review, choice)
    text = io.StringIO(newline="")
    written = csv.writer(text, lineterminator="\r\n")  # RFC 4180
    makers = (_job, _stages, _flows, _gains, _power, _compression, _findings)
    blocks = [rows for make in makers if (rows := list(make(review, units)))]
    for number, rows in enumerate(blocks):
        if number:
            written.writerow(())
        written.writerows(rows)
    return text.getvalue().encode("utf-8-sig")  # its mark tells a spreadsheet what the encoding is


def _numbers(text: str, count: int = 2) -> list[str]:
    """Return the numbers of a finished figure, such as ``+6.2 ± 0.6``, as a spreadsheet reads them."""
    found = [number.translate(_TO_ASCII) for number in _FIGURE.findall(text)][:count]
    return found + [""] * (count - len(found))


def _job(review: Review, units: UnitSet) -> Rows:
    job = review.job
    yield "job", cell(job.title)
    for name, text in (("customer", job.customer), ("casting", job.casting), ("note", job.note)):
        if text:
            yield name, cell(text)
    yield "conditions", words.conditions(review, units)
    yield "data", job.fingerprint


def _stages(review: Review, units: UnitSet) -> Rows:
    currency = f" [{cell(review.job.currency)}]" if review.job.currency else ""
    yield "stage", f"price{currency}", "state"
    for stage in review.stages:
        price = "" if stage.price is None else figure(stage.price, 2).translate(_TO_ASCII)
        done = "measured" if stage.intake or stage.exhaust else words.NOT_MEASURED
        yield cell(stage.name), price, "planned" if stage.planned else done


def _flows(review: Review, units: UnitSet) -> Rows:
    """Yield every stage's flow at every lift, with what tells stages apart; then means and peaks."""
    flow, lift = label("flow", units), label("lift", units)
    yield "stage", "side", "over", f"lift [{lift}]", f"flow [{flow}]", f"± [{flow}]", "Cd", "L/D", "remark"
    for side in SIDES:
        table = flows(review, side, units)
        known = _coefficients(review, side, units)
        for place, stage in enumerate(words.measured(review, side), start=1):
            curve = stage.side(side)
            for row, beyond in zip(table.rows, table.marked, strict=True):
                number, expanded = _numbers(row[place].partition(" at ")[0])
                if not number:
                    continue
                at_lift = row[0][0].isdigit()
                over = "" if at_lift else row[0]
                at = row[0].split(" ")[0] if at_lift else _numbers(row[place].partition(" at ")[2], 1)[0]
                coefficient, ratio = known.get((row[0], stage.name), ("", ""))
                remarks = [words.BEYOND_CAM] if beyond else []
                remarks += [] if curve.at_reference else [_UNSCALED]
                yield (
                    cell(stage.name), side, over, at, number, expanded, coefficient, ratio, "; ".join(remarks)
                )  # fmt: skip
        yield from _target_flows(review, side, units)


def _target_flows(review: Review, side: Side, units: UnitSet) -> Rows:
    curve = review.target.curves[side] if review.target else None
    if curve is None:
        return
    rows = zip(lifts(curve.lift_m, units), curve.flow_m3_s, curve.expanded_bench_m3_s, strict=True)
    for lift, flow, expanded in rows:
        if flow is not None:
            pair = _numbers(flow_figure(flow, expanded, units), 1) + _numbers(
                flow_figure(expanded, expanded, units) if expanded else "", 1
            )
            yield cell(review.target.name), side, "", lift, *pair, "", "", "target"


def _coefficients(review: Review, side: Side, units: UnitSet) -> dict[tuple[str, str], tuple[str, str]]:
    """Return (discharge coefficient, L/D) by lift and stage, each as text, empty where unknown."""
    table = coefficients(review, side, units)
    shared = "L/D" in table.columns[1:2]
    found = {}
    for row in table.rows:
        for name, text in zip(table.columns[2 if shared else 1 :], row[2 if shared else 1 :], strict=True):
            value, _, own = text.partition(" at L/D ")
            found[row[0], name] = (_numbers(value, 1)[0], _numbers(row[1] if shared else own, 1)[0])
    return found


def _gains(review: Review, units: UnitSet) -> Rows:
    """Yield every comparison: its single figures, then every lift."""
    flow, lift = label("flow", units), label("lift", units)
    yield (
        "stage", "against", "other", "side", "over", f"lift [{lift}]", f"before [{flow}]", f"after [{flow}]",
        f"gain [{flow}]", f"± [{flow}]", "gain [%]", "± [%]", "verdict", "remark",
    )  # fmt: skip
    for gain in review.gains:
        names = (cell(gain.stage), _AGAINST[gain.against], cell(gain.other), gain.side)
        doubts = [cell(doubt) for doubt in words.doubts(gain, review=review)]
        for over, one in (("cam-weighted", gain.cam_weighted), ("mean over lift", gain.mean)):
            if one is not None:
                yield *names, over, "", *_of_summary(one, units), "; ".join(doubts)
        yield from ((*names, "", *cells) for cells in _by_lift(review, gain, doubts, units))


def _of_summary(one: Summary, units: UnitSet) -> list[str]:
    expanded = one.expanded_uncertainty_m3_s
    flows_ = [_numbers(flow_figure(f, expanded, units), 1)[0] for f in (one.before_m3_s, one.after_m3_s)]
    change = _numbers(gain_figure(one.gain_m3_s, expanded, units))
    return [*flows_, *change, *_numbers(percent(one.gain_fraction, one.expanded_fraction)), one.verdict]


def _by_lift(review: Review, gain: Gain, doubts: Sequence[str], units: UnitSet) -> Rows:
    rows = gain_table(review, [gain], units).rows[1:]
    flows_ = zip(gain.before_m3_s, gain.after_m3_s, gain.expanded_uncertainty_m3_s, strict=True)
    shares = zip(gain.gain_fraction, gain.expanded_fraction, strict=True)
    for row, (before, after, expanded), (share, wide) in zip(rows, flows_, shares, strict=True):
        shown = row.cells[0]
        number, _, remark = shown.number.partition(" ")
        if before is None or after is None:
            continue
        pair = [_numbers(flow_figure(flow, expanded, units), 1)[0] for flow in (before, after)]
        change = _numbers(percent(share, wide or 0.0)) if share is not None else ["", ""]
        remarks = [*([words.BEYOND_CAM] if row.beyond else []), *([remark] if remark else []), *doubts]
        lift = row.lift.split(" ")[0]
        yield lift, *pair, *_numbers(number), *change, shown.verdict or "", "; ".join(remarks)


def _power(review: Review, units: UnitSet) -> Rows:
    """Yield every range of power, each with its caveat, or why a stage has none."""
    model = review.power
    if model is None:
        return
    unit, currency = label("power", units), cell(review.job.currency or "")
    price = f"[{currency}/{unit}]" if currency else f"[per {unit}]"
    yield (
        "stage", "against", "other", f"rough power from [{unit}]", f"to [{unit}]", "from [%]", "to [%]",
        "intake share [%]", "exhaust share [%]", f"price from {price}", f"price to {price}", "remark",
    )  # fmt: skip
    if model.because is not None:
        yield *[""] * 11, cell(power_words.answer(model, units))
    for stage in model.stages if model.because is None else ():
        if stage.because:
            yield cell(stage.name), *[""] * 10, cell(f"no power figure, because {stage.because}")
        for gain in filter(None, (stage.against_previous, stage.against_baseline)):
            names = (cell(stage.name), _AGAINST[gain.against], cell(gain.other))
            doubt = "too close to call; " if power_words.is_open(gain) else ""
            yield *names, *_of_power(gain, units), f"{doubt}{words.CAVEAT}"


def _of_power(gain: PowerGain, units: UnitSet) -> list[str]:
    in_units = (to_display(watts, "power", units) for watts in (gain.gain_w.low, gain.gain_w.high))
    share = (100 * part for part in (gain.gain_fraction.low, gain.gain_fraction.high))
    ends = [*power_words.rough_ends(*in_units), *power_words.rough_ends(*share)]
    return [
        *(end.translate(_TO_ASCII) for end in ends),
        *_numbers(power_words.shares(gain)),
        *(end.translate(_TO_ASCII) for end in power_words.price_ends(gain, units)),
    ]


def _compression(review: Review, units: UnitSet) -> Rows:
    """Yield every stage's chamber and ratio, and what the change is worth at most and at least."""
    volume, depth = label("volume", units), label("length", units)
    table = power_tables.ledger(review.compression, units)
    if table.rows:
        yield (
            "stage", f"chamber [{volume}]", f"over the first [{volume}]", "compression ratio",
            "effect on power from [%]", "to [%]", f"off the deck to bring it back [{depth}]", "remark",
        )  # fmt: skip
    for line, (stage, chamber, ratio, effect, *deck) in zip(review.compression, table.rows, strict=True):
        first, last = _numbers(effect)
        yield (
            cell(stage), *_numbers(chamber), *_numbers(ratio, 1), first, last or first,
            *_numbers("".join(deck), 1), "not measured anew" if line.inherited else "",
        )  # fmt: skip


def _findings(review: Review, units: UnitSet) -> Rows:
    yield "level", "what to know", "file", "line"
    lines = finding_lines(review.findings, units, customer=True)
    for finding, line in zip(review.findings, lines, strict=True):
        number = "" if finding.line is None else str(finding.line)
        yield finding.level, cell(line.text), cell(finding.file or ""), number
