"""What stands on the page, ready for its template: words and digits come from where all views take them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property

from markupsafe import Markup, escape

from core.job import SIDES, Finding, Side, Sides
from core.results import Against, Gain, Review
from core.units import NO_BREAK_SPACE, UnitSet, label
from dashboard import answer_words, power_tables, power_words, target_tables, target_words, words
from dashboard.curves import Line, lines_of, reach, target_lines
from dashboard.evidence import finding_lines, levels_mean
from dashboard.figures import NOTHING
from dashboard.handover import basis, facts, svg
from dashboard.handover.derived import derived
from dashboard.handover.grid import in_groups
from dashboard.handover.plain import name_in_line, one_line
from dashboard.handover.power_svg import range_chart
from dashboard.ladder import LadderRow, ladder
from dashboard.look import MANY_STAGES
from dashboard.tables import (
    Cell,
    LiftRow,
    Table,
    cells_by_lift,
    flows,
    gains_by_lift,
    lift_key,
)

_MOST_FLOWS, _MOST_GAINS = 5, 4  # stages side by side: what a sheet of paper can hold
_OPEN, _CLOSE = "\ue000", "\ue001"  # stand for <bdi> and </bdi> while a sentence is still text
_TO_TAGS = {ord(_OPEN): "<bdi>", ord(_CLOSE): "</bdi>"}
_NO_TAGS = dict.fromkeys(map(ord, (_OPEN, _CLOSE)), "\ufffd")


def own(text: str) -> Markup:
    """Return a person's own words as an element of their own: read from the right, they keep their place."""
    return Markup("<bdi>{}</bdi>").format(one_line(text))


def in_line(text: str) -> Markup:
    """Return text with its names for where no element can stand: in an attribute."""
    return Markup("{}").format(name_in_line(text))


def marked(text: str) -> str:
    """Return a person's own words, marked as such within a sentence that is still text."""
    return f"{_OPEN}{one_line(text).translate(_NO_TAGS)}{_CLOSE}"


def tagged(sentence: str) -> Markup:
    """Return a sentence as HTML, what is marked in it as elements of their own."""
    return Markup(str(escape(sentence)).translate(_TO_TAGS))


@dataclass(frozen=True)
class Part:
    """Some stages' columns of a table by lift: as many as fit side by side."""

    title: Markup
    label: Markup  # the same where no element can stand
    stages: tuple[tuple[int, str], ...]  # (place in the order of work, name)
    rows: tuple[LiftRow, ...]


@dataclass(frozen=True)
class TargetPart:
    """One side against the target."""

    title: Markup
    sentences: tuple[str, ...]
    thirds: Table
    by_lift: Table
    doubts: tuple[Markup, ...]


@dataclass(frozen=True)
class PowerPart:
    """Rough power: the answer, its range chart and table, then what all of it rests on."""

    answer: Markup
    remarks: tuple[Markup, ...]
    chart: Markup
    ranges: Table | None
    basis: str
    tables: tuple[tuple[str, Table], ...]
    notes: tuple[str, ...]
    disclosures: tuple[str, ...]


class Content:
    """A review as the page shows it."""

    def __init__(self, review: Review, units: UnitSet) -> None:
        self.review, self.units = review, units
        self.flow_unit, self.lift_unit = label("flow", units), label("lift", units)
        self.power_unit = label("power", units)
        self.priced = words.is_priced(review)
        self.places = {stage.name: place for place, stage in enumerate(review.stages)}
        self.conditions = words.conditions(review, units)
        self.lines, self.aims = lines_of(review, units), target_lines(review, units)

    # the head --------------------------------------------------------------------------

    @cached_property
    def about(self) -> list[str]:
        """Return whose head it is, and when it was on the bench."""
        return facts.about(self.review.job)

    @cached_property
    def answer(self) -> Markup:
        """Return the sentence that the work comes down to."""
        return tagged(answer_words.answer(self.review, marked))

    @cached_property
    def remarks(self) -> list[Markup]:
        """Return what belongs to the answer: single steps, doubts, power, what is only quoted."""
        said = [
            answer_words.steps(self.review, marked),
            *answer_words.doubts(self.review, marked),
            power_words.beside_answer(self.review.power, self.units, marked),
            answer_words.planned(self.review, marked),
        ]
        return [tagged(text) for text in said if text]

    # tables ----------------------------------------------------------------------------

    @cached_property
    def ladder(self) -> tuple[LadderRow, ...]:
        """Return the ladder's rows, none of a single stage."""
        return ladder(self.review, self.units) if len(self.review.stages) > 1 else ()

    @property
    def has_power(self) -> bool:
        """Return whether the ladder has a column of rough power."""
        return self.review.power is not None and self.review.power.because is None

    @cached_property
    def ladder_caption(self) -> Markup:
        """Return what the gains of the ladder are, and what its power is."""
        power = self.review.power
        note = f" {power_words.ladder_note(power, marked)}" if power is not None else ""
        return tagged(words.ladder_caption(self.review) + note)

    @cached_property
    def reached(self) -> Sides[str] | None:
        """Return the row under the ladder that says how much of the target is reached."""
        return target_tables.row(self.review)

    @cached_property
    def target_name(self) -> Markup:
        """Return the name of the target, where there is one."""
        return tagged(target_words.row_name(self.review, marked))

    def measures(self, side: Side) -> list[LadderRow]:
        """Return the steps of a side that have a figure in percent or at peak."""
        return [row for row in self.ladder if row.change[side] != NOTHING or row.at_peak[side] != NOTHING]

    @cached_property
    def flow_parts(self) -> dict[Side, list[Part]]:
        """Return each side's flows by lift, in groups of stages."""
        return {side: list(self._flow_parts(side)) for side in SIDES}

    def _flow_parts(self, side: Side) -> Iterator[Part]:
        table = flows(self.review, side, self.units)
        names = table.columns[1:]
        for group in in_groups(len(names), _MOST_FLOWS):
            rows = tuple(
                LiftRow(row[0], tuple(map(Cell, row[1:][group])), beyond, whole=not row[0][0].isdigit())
                for row, beyond in zip(table.rows, table.marked, strict=True)
            )
            yield self._part(f"{side.capitalize()} flow", "", names[group], rows)

    def gain_parts(self, side: Side) -> Iterator[Part]:
        """Yield a side's gains by lift: over the stage before, and over the first where that is another."""
        stages = words.measured(self.review, side)
        if len(stages) > 1:
            yield from self._gain_parts(side, "previous", "the stage before")
        if len(stages) > 2:  # over two stages the first is the stage before
            yield from self._gain_parts(side, "baseline", stages[0].name)

    def _gain_parts(self, side: Side, against: Against, other: str) -> Iterator[Part]:
        table = gains_by_lift(self.review, side, against, self.units)
        for group in in_groups(len(table.gains), _MOST_GAINS):
            rows = tuple(replace(row, cells=row.cells[group]) for row in table.rows)
            yield self._part(f"{side.capitalize()} gain over ", other, table.columns[group], rows)

    def _part(self, what: str, other: str, names: tuple[str, ...], rows: tuple[LiftRow, ...]) -> Part:
        title = tagged(f"{what}{marked(other) if other else ''}, {self.flow_unit}")
        label = in_line(f"{what}{other}: {', '.join(names)}")
        return Part(title, label, tuple((self.places[one], one) for one in names), rows)

    # charts ----------------------------------------------------------------------------

    @cached_property
    def charts(self) -> list[tuple[Side, Markup]]:
        """Return a chart of each side that was measured, all on one scale."""
        if not self.lines:
            return []
        limits, drawn = reach([*self.lines, *self.aims]), []
        for side in SIDES:
            lines = [line for line in self.lines if line.side == side]
            if lines:
                aims = [line for line in self.aims if line.side == side]
                said = {key: text for line in lines for key, text in self._readings(line)}
                drawn.append(
                    (side, svg.flow_chart(self.review, side, [*lines, *aims], limits, self.units, said))
                )
        return drawn

    def _readings(self, line: Line) -> Iterator[tuple[tuple[int, int], str]]:
        """Yield what each reading of a line says: its flow, and its gain over the stage before."""
        stage = self.review.stages[line.index]
        curve = stage.side(line.side)
        gain = self.review.gain(stage.name, line.side, "previous")
        gains = cells_by_lift(gain, self.units) if gain else {}
        read = [lift for lift, flow in zip(curve.lift_m, curve.flow_m3_s, strict=True) if flow is not None]
        for place, ((lift, flow), lift_m) in enumerate(zip(self._flow_cells(line), read, strict=True)):
            number, _, beyond = lift.partition(" (")
            at = f"{number}{NO_BREAK_SPACE}{self.lift_unit}" + (f" ({beyond}" if beyond else "")
            text = f"{name_in_line(stage.name)} at {at}: {flow}{NO_BREAK_SPACE}{self.flow_unit}"
            if cell := gains.get(lift_key(lift_m)):
                text += f". {self._change(gain, cell)}"
            yield (line.index, place), text

    def _flow_cells(self, line: Line) -> list[tuple[str, str]]:
        """Return (lift, flow) of a line's readings as the table by lift has them."""
        for part in self.flow_parts[line.side]:
            for column, (place, _) in enumerate(part.stages):
                if place == line.index:
                    cells = [(row.lift, row.cells[column].number) for row in part.rows if not row.whole]
                    return [(lift, flow) for lift, flow in cells if flow != NOTHING]
        return []

    def _change(self, gain: Gain, cell: Cell) -> str:
        doubts = ", ".join(words.short_doubts(gain, self.review))
        said = " ".join(
            filter(None, (f"{cell.number}{NO_BREAK_SPACE}{self.flow_unit}", cell.mark, cell.words))
        )
        return f"Over {name_in_line(gain.other)}: {said}{f' ({doubts})' if doubts else ''}"

    @cached_property
    def ceiling(self) -> Markup:
        """Return the flow ceiling as a level, or why there is none."""
        return tagged(words.ceiling_line(self.review, self.units, marked))

    def captions(self, side: Side) -> list[str]:
        """Return what stands under a side's tables by lift."""
        several = len(words.measured(self.review, side)) > 1
        said = (
            f"{words.MARKS}. {words.JUDGED_TOGETHER}" if several else "",
            words.flow_caption(self.review, side),
            words.beyond_caption(self.review, side, self.units),
        )
        return [text for text in said if text]

    @cached_property
    def drawn(self) -> list[tuple[int, str]]:
        """Return (place, name) of the stages that have a line in any chart."""
        return sorted({(line.index, line.name) for line in self.lines})

    def number(self, place: int) -> str:
        """Return a stage's number where stages are many, as its line bears it, with a space after it."""
        return f"{place + 1}{NO_BREAK_SPACE}" if len(self.review.stages) >= MANY_STAGES else ""

    def sample(self, place: int) -> Markup:
        """Return a sample of a stage's line."""
        return svg.line_sample(place)

    # target and power --------------------------------------------------------------------

    @cached_property
    def gaps(self) -> list[TargetPart]:
        """Return each side's gap to the target, where there is one."""
        found = []
        for gap in target_words.last_gaps(self.review):
            title = f"{gap.side.capitalize()}: {{}} against the target, {{}}"
            doubts = words.doubts(gap.gain, marked, review=self.review)
            found.append(
                TargetPart(
                    tagged(title.format(marked(gap.stage), marked(gap.gain.other))),
                    tuple(target_words.sentences(self.review, gap, self.units)),
                    target_tables.thirds(gap, self.units),
                    target_tables.by_lift(self.review, gap, self.units),
                    tuple(tagged(f"{marked(gap.stage)}: {doubt}.") for doubt in doubts),
                )
            )
        return found

    @cached_property
    def power(self) -> PowerPart | None:
        """Return what the work may be worth, None where that was not worked out."""
        model = self.review.power
        if model is None:
            return None
        said = (power_words.anchor_line(model, self.units, marked), *power_words.missing(model, marked))
        rows = power_tables.range_rows(model)
        tables: list[tuple[str, Table]] = []
        if rows:
            title = power_words.parts_title(None if rows[-1].place is None else rows[-1].name)
            tables = [
                (power_words.TAKEN_TITLE, power_tables.assumptions(model, self.units)),
                (title, power_tables.parts(rows[-1].gain, self.units)),
            ]
        return PowerPart(
            tagged(power_words.answer(model, self.units, marked)),
            tuple(tagged(text) for text in said if text),
            range_chart(model, self.units),
            power_tables.ranges(rows, self.review, self.units) if rows else None,
            power_words.basis(model, self.units),
            tuple(tables),
            model.notes,
            model.disclosures,
        )

    @cached_property
    def compression(self) -> tuple[list[Markup], Table | None, list[Markup]]:
        """Return what the work did to compression: in words, as a table, and with what caution."""
        lines = self.review.compression
        said = [tagged(power_words.ledger_line(self.review, marked))]
        if not lines:
            return said, None, []
        after = [tagged(power_words.LEDGER_CAPTION.format(base=marked(lines[0].base)))]
        if deck := power_words.deck_line(lines, self.units):
            after.append(tagged(deck))
        if any(line.added_m3 > 0 for line in lines):
            after.append(tagged(power_words.DECK_CAUTION))
        return said, power_tables.ledger(lines, self.units), after

    # what it rests on ------------------------------------------------------------------

    @cached_property
    def notices(self) -> list[tuple[str, str, Markup]]:
        """Return (level, its mark, text and place) of all that was noticed, the gravest first."""
        return [self._notice(finding) for finding in self.review.findings]

    @cached_property
    def levels(self) -> str:
        """Return what their levels ask of a reader."""
        return levels_mean(self.review.findings)

    def _notice(self, finding: Finding) -> tuple[str, str, Markup]:
        values = tuple((marked(value) if kind == "text" else value, kind) for value, kind in finding.values)
        (line,) = finding_lines([replace(finding, values=values)], self.units, customer=True)
        text = f"{line.text} ({marked(line.where)})" if line.where else line.text
        return finding.level, line.level, tagged(text)

    @cached_property
    def method(self) -> list[str]:
        """Return how every number follows from the readings, and with what it was measured."""
        said = (basis.how, derived, basis.equipment)
        return [text for part in said for text in part(self.review, self.units)]

    @cached_property
    def evidence(self) -> list[tuple[str, Table]]:
        """Return the tables that a sceptic needs: conditions, corrections, readings."""
        sheets = basis.readings(self.review, self.units)
        return [
            *basis.tables(self.review, self.units),
            *((one.title, one.table) for one in sheets if one.table.rows),
        ]
