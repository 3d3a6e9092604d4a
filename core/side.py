"""One side of a job, from its readings to its gains."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from core.calibration import Calibration, Checked, Leak, calibrations, check_rows, leaks
from core.cam import lift_path, net_lift
from core.findings import slips
from core.findings.profiles import profiles
from core.findings.readings import of_rows, stopped_lifts
from core.findings.unused import of_checks
from core.gains import SAME_LIFT, Comparison, PortSpread, Views, compare
from core.job import BenchSheet, Finding, Job, Side, Valve
from core.measured import Measured, average
from core.ports import Port, by_name, flow_at, ports_of
from core.repeats import Scatter, pool
from core.results import Against, Gain, Repeatability
from core.rows import Rows, correct_side
from core.setups import StatedSetup, match_setups, stated_setup
from core.shared import shared_inputs
from core.stages import (
    FlowCoefficients,
    StageCurve,
    common_inputs,
    flow_coefficients,
    numbers,
    side_curve,
)

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Key = tuple[str, str | None]  # role and stage of a sheet


class SideWork:
    """One side of the whole job, worked out step by step; every step once."""

    def __init__(self, job: Job, side: Side):
        self.job, self.side = job, side
        work = [s for s in job.sheets if s.role == "stage"]
        aim = list(job.target.sheets) if job.target else []
        sheets = work + aim
        self.sheets: dict[Key, list[BenchSheet]] = {}
        for sheet in sheets:
            if sheet.readings[side]:
                self.sheets.setdefault((sheet.role, sheet.stage), []).append(sheet)
        self.calibrations = calibrations(job, side)
        self.leaks = leaks(job, side)
        if job.target is not None and job.target.benches:
            there = replace(job, benches=job.target.benches, sheets=job.target.checks)
            self.checked = self._corrected(job, work, self.calibrations, self.leaks)
            self.checked += self._corrected(there, aim, calibrations(there, side), leaks(there, side))
        else:
            self.checked = self._corrected(job, sheets, self.calibrations, self.leaks)
        self.parts: list[Rows] = [part.rows for part in self.checked]
        self.inputs, self._shared = shared_inputs(self.checked) if self.checked else ([], [])
        judged = [of_rows(job, rows) for rows in self.parts]
        self.sound = [sound for sound, _ in judged]
        self.findings = [finding for _, noticed in judged for finding in noticed]
        self.findings += of_checks(job, side, self.calibrations.values(), self.leaks, self.checked)
        self.profiles = profiles(self.parts)
        if self.profiles is not None:
            self.notice(slips.of_cells(side, self.profiles) + slips.of_sheets(side, self.profiles))
            self.findings += slips.of_copies(tuple(sheets), side)
        lobe = job.cams[side]
        self.cam_net_lift_m = net_lift(lobe) if lobe else None
        self.lift_path_m = lift_path(lobe) if lobe else None
        self._means: dict[tuple[Port, ...], Measured] = {}
        self._compared: dict[tuple[int, int], Comparison] = {}
        self._views = Views()

    def _corrected(
        self,
        job: Job,
        sheets: list[BenchSheet],
        plates: dict[str | None, Calibration],
        found: list[Leak],
    ) -> list[Checked]:
        """Return the readings of some sheets as the benches, plates and leaks of a job have them."""
        return [
            check_rows(job, rows, plates.get(rows.bench.name), found)
            for rows in correct_side(job, self.side, sheets)
        ]

    def notice(self, findings: list[Finding]) -> None:
        """Keep findings on this side's readings, and take out what they stop: a reading, or a sheet."""
        self.findings += findings
        # With its lift: the readings of a list stand on one line.
        stopped: dict[str | None, set[tuple[int | None, float | None]]] = {}
        for one in findings:
            if one.level == "stop":
                stopped.setdefault(one.file, set()).add((one.line, one.lift_m))
        for rows, sound in zip(self.parts, self.sound, strict=True):
            for sheet, mine in rows.by_sheet():
                places = stopped.get(sheet.file)
                if places:
                    read = [(reading.line, reading.lift_m) for reading in rows.readings[mine]]
                    sound[mine] &= [(None, None) not in places and place not in places for place in read]

    @cached_property
    def ports(self) -> dict[Key, list[Port]]:
        """Return the ports of each stage and the target, from the readings that may be used."""
        return ports_of(self.parts, self._shared, self.sound)

    @cached_property
    def stopped(self) -> dict[Key, frozenset[float]]:
        """Return the lifts of each stage and the target at which a reading may not be used."""
        return stopped_lifts(self.parts, self.sound)

    @cached_property
    def scatters(self) -> dict[str | None, Scatter]:
        """Return the pooled scatter of each bench."""
        return self._pool()

    def _pool(self) -> dict[str | None, Scatter]:
        """Pool repeats bench by bench, over every stage and port."""
        by_bench: dict[str | None, list[Port]] = {}
        for ports in self.ports.values():
            for port in ports:
                by_bench.setdefault(port.bench, []).append(port)
        assumed = {rows.bench.name: rows.bench for rows in self.parts}
        return {
            name: pool([p.repeated for p in ports], assumed[name].repeatability, assumed[name].lift_setting_m)
            for name, ports in by_bench.items()
        }

    @cached_property
    def curves(self) -> dict[str, StageCurve]:
        """Return the curve of each stage that has this side, in the order of work."""
        keys: list[Key] = [("stage", stage.name) for stage in self.job.stages]
        return {key[1]: self._curve(key) for key in keys if key in self.ports}

    @cached_property
    def common(self) -> Flags:
        """Return which shared inputs cannot tell the stages apart; of a target alone, all."""
        stages = [key for key in self.ports if key[0] == "stage"]
        return common_inputs([self._mean(key) for key in stages or self.ports])

    def _mean(self, key: Key, only: Collection[str | None] = ()) -> Measured:
        """Return the mean curve of a stage's ports, or of those named; each mean is formed once."""
        ports = tuple(port for port in self.ports[key] if not only or port.name in only)
        if ports not in self._means:
            self._means[ports] = average(ports, self.scatters)
        return self._means[ports]

    def _curve(self, key: Key) -> StageCurve:
        measured = self._mean(key)
        result = side_curve(
            measured,
            self.common,
            self.stopped.get(key, frozenset()),
            self.coefficients(key),
            self.cam_net_lift_m,
            self.lift_path_m,
            self._views,
        )
        return StageCurve(measured, result, self.ports[key])

    @cached_property
    def target(self) -> StageCurve | None:
        """Return the target's curve, None where it has none on this side."""
        key: Key = ("target", self.job.target.name if self.job.target else None)
        return self._curve(key) if key in self.ports else None

    @property
    def usable_lift_m(self) -> float | None:
        """Return the cam's net lift, else the least top lift of all stages."""
        tops = [curve.measured.top_m for curve in self.curves.values()]
        return self.cam_net_lift_m or (min(tops) if tops else None)

    def repeatability(self) -> list[Repeatability]:
        """Return the pooled scatter, bench by bench."""
        found = []
        for name, scatter in self.scatters.items():
            middle = scatter.between + scatter.within * (1 - scatter.inverse_lifts)
            relative = scatter.relative if scatter.assumed else scatter.relative * float(np.sqrt(middle))
            found.append(
                Repeatability(
                    name, self.side, scatter.assumed, relative, scatter.setup_dof, scatter.sweep_dof
                )
            )
        return found

    @cached_property
    def port_spread(self) -> PortSpread | None:
        """Return how far ports of one stage differ, pooled over lifts and stages."""
        squares, weight, dof = 0.0, 0, 0
        for key, ports in self.ports.items():
            named = by_name(ports)
            if key[0] != "stage" or len(named) < 2:
                continue
            mean = self.curves[key[1]].measured
            at = mean.lift_m[mean.measured]
            if not at.size:
                continue
            flows = np.array([flow_at(benches, at) for benches in named.values()])
            relative = flows / flows.mean(axis=0) - 1
            squares += float(np.mean(np.sum(np.square(relative), axis=0)))
            weight += len(named) - 1
            # The ports of a head keep their differences from stage to stage: the stages
            # together know little more of the spread than the one with the most ports.
            dof = max(dof, len(named) - 1)
        return PortSpread((squares / weight) ** 0.5, dof) if weight else None

    def gains(self) -> list[Gain]:
        """Return each stage against the first, the one before and the target."""
        names = list(self.curves)
        found = []
        for index, name in enumerate(names):
            if index:
                found.append(self._gain(name, "baseline", names[0]))
                found.append(self._gain(name, "previous", names[index - 1]))
            if self.target is not None:
                found.append(self._gain(name, "target", self.job.target.name))
        return found

    def _gain(self, stage: str, against: Against, other: str) -> Gain:
        mine: Key = ("stage", stage)
        theirs: Key = ("target" if against == "target" else "stage", other)
        shared = {p.name for p in self.ports[mine]} & {p.name for p in self.ports[theirs]}
        if against == "target":
            shared = set()  # another head: its port 2 is not this head's port 2
        after, before = (self._mean(key, shared) for key in (mine, theirs))
        match = match_setups(self._setups[mine], self._setups[theirs])
        # A gain of work is looked for in the head, whichever ports were read; a target is the ports read.
        spread = None if shared or against == "target" else self.port_spread
        found = self._compare(after, before, spread, match.same is not False)
        gone = self.stopped.get(mine, frozenset()) | self.stopped.get(theirs, frozenset())
        keep = ~np.isin(found.lift_m, list(gone))
        usable = found.lift_m <= found.usable_lift_m * SAME_LIFT
        read = np.flatnonzero(keep & usable & ~found.interpolated)
        peak = read[-1] if read.size else None
        gain = found.after_m3_s - found.before_m3_s
        summary = found.cam_weighted or found.mean
        price = self._price(stage, other) if against != "target" else None
        return Gain(
            stage=stage,
            against=against,
            other=other,
            side=self.side,
            usable_lift_m=found.usable_lift_m,
            lift_m=tuple(found.lift_m.tolist()),
            interpolated=tuple(found.interpolated.tolist()),
            before_m3_s=numbers(found.before_m3_s, keep),
            after_m3_s=numbers(found.after_m3_s, keep),
            gain_m3_s=numbers(gain, keep),
            gain_fraction=numbers(found.gain_fraction, keep),
            expanded_uncertainty_m3_s=numbers(found.expanded_m3_s, keep),
            expanded_fraction=numbers(found.expanded_fraction, keep),
            verdict=tuple(v if k else None for v, k in zip(found.verdict, keep.tolist(), strict=True)),
            mean=found.mean,
            cam_weighted=found.cam_weighted,
            at_peak_m3_s=None if peak is None else float(gain[peak]),
            at_peak_expanded_m3_s=None if peak is None else float(found.expanded_m3_s[peak]),
            shared_ports=tuple(name for name in by_name(self.ports[mine]) if name in shared),
            different_ports=not shared,
            port_spread_known=spread is not None,
            same_setup=match.same,
            setup_differences=match.differences,
            setup_unknown=match.unknown,
            coefficient_gain=numbers(
                self._coefficient_gain(mine, theirs, found.after_m3_s, found.before_m3_s), keep
            ),
            price=price,
            price_per_flow=price / summary.gain_m3_s
            if price is not None and summary.verdict == "clear gain"
            else None,
        )

    def _compare(
        self, after: Measured, before: Measured, spread: PortSpread | None, same_thing: bool
    ) -> Comparison:
        """Compare two curves, once: the second stage's baseline is also the stage before it."""
        key = (id(after), id(before))
        if key not in self._compared:
            self._compared[key] = compare(
                after, before, self.cam_net_lift_m, self.lift_path_m, spread, same_thing, self._views
            )
        return self._compared[key]

    def _coefficient_gain(self, mine: Key, theirs: Key, after_m3_s: Array, before_m3_s: Array) -> Array:
        """Return the gain in flow coefficient, nan where a valve is not known."""
        one, two = (self.coefficients(key).by_head for key in (mine, theirs))
        return after_m3_s * one - before_m3_s * two

    def coefficients(self, key: Key) -> FlowCoefficients:
        """Return what turns the flows of a stage, or of the target, into coefficients."""
        return self._coefficients[key]

    @cached_property
    def _coefficients(self) -> dict[Key, FlowCoefficients]:
        found = {}
        for key, ports in self.ports.items():
            own = flow_coefficients(self.job, self.side, self._valve(key), self.sheets[key])
            if not all(port.scaled for port in ports):
                own = replace(own, velocity_m_s=np.nan)  # at no reference, of no velocity
            found[key] = own
        return found

    @cached_property
    def _setups(self) -> dict[Key, StatedSetup]:
        """Return how each stage and the target were set up."""
        return {
            key: stated_setup(self.side, sheets, self._valve(key).valves_per_cylinder)
            for key, sheets in self.sheets.items()
        }

    def _valve(self, key: Key) -> Valve:
        """Return the valves of a stage, or of the target."""
        role, name = key
        if role == "target":
            return self.job.target.valves[self.side] or Valve()
        return self.job.valve_of(name, self.side)

    def _price(self, stage: str, other: str) -> float | None:
        """Return the sum of the stages' own prices after other, up to and with stage."""
        names = [s.name for s in self.job.stages]
        bought = self.job.stages[names.index(other) + 1 : names.index(stage) + 1]
        prices = [s.price for s in bought if not s.planned]
        return None if None in prices else sum(prices)
