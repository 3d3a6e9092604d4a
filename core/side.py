"""One side of a job, from its readings to its gains."""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from core.calibration import calibrations, check_rows, leaks
from core.cam import lift_path, net_lift
from core.findings import slips
from core.findings.profiles import profiles
from core.findings.readings import of_rows, stopped_lifts
from core.gains import Comparison, PortSpread, compare
from core.job import BenchSheet, Finding, Job, Side, Valve
from core.measured import Measured, Port, average, ports_of
from core.repeats import Scatter, pool
from core.results import Against, Gain, Repeatability
from core.rows import Rows, correct_side
from core.setups import match_setups
from core.shared import shared_inputs
from core.stages import StageCurve, common_inputs, flow_coefficients, numbers, side_curve

Array = NDArray[np.float64]
Key = tuple[str, str | None]  # role and stage of a sheet


class SideWork:
    """One side of the whole job, worked out step by step; every step once."""

    def __init__(self, job: Job, side: Side):
        self.job, self.side = job, side
        sheets = [s for s in job.sheets if s.role == "stage"]
        sheets += job.target.sheets if job.target else ()
        self.sheets: dict[Key, list[BenchSheet]] = {}
        for sheet in sheets:
            if sheet.readings[side]:
                self.sheets.setdefault((sheet.role, sheet.stage), []).append(sheet)
        self.calibrations, found = calibrations(job, side), leaks(job, side)
        self.checked = [
            check_rows(job, rows, self.calibrations.get(rows.bench.name), found)
            for rows in correct_side(job, side, sheets)
        ]
        self.parts: list[Rows] = [part.rows for part in self.checked]
        self.inputs, self._shared = shared_inputs(self.checked) if self.checked else ([], [])
        judged = [of_rows(job, rows) for rows in self.parts]
        self.sound = [sound for sound, _ in judged]
        self.findings = [finding for _, noticed in judged for finding in noticed]
        self.profiles = profiles(self.parts)
        if self.profiles is not None:
            self.notice(slips.of_cells(side, self.profiles) + slips.of_sheets(side, self.profiles))
            self.findings += slips.of_copies(tuple(sheets), side)
        lobe = job.cams[side]
        self.cam_net_lift_m = net_lift(lobe) if lobe else None
        self.lift_path_m = lift_path(lobe) if lobe else None
        self._means: dict[tuple[Port, ...], Measured] = {}
        self._compared: dict[tuple[int, int], Comparison] = {}

    def notice(self, findings: list[Finding]) -> None:
        """Keep findings on this side's readings, and take out what they stop: a reading, or a sheet."""
        self.findings += findings
        stopped = {(f.file, f.line) for f in findings if f.level == "stop"}
        for rows, sound in zip(self.parts, self.sound, strict=True):
            for i, (sheet, reading) in enumerate(zip(rows.sheets, rows.readings, strict=True)):
                if stopped & {(sheet.file, reading.line), (sheet.file, None)}:
                    sound[i] = False

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
        means = {
            stage.name: self._mean(("stage", stage.name), frozenset())
            for stage in self.job.stages
            if ("stage", stage.name) in self.ports
        }
        common = common_inputs(list(means.values()))
        return {name: self._curve(name, measured, common) for name, measured in means.items()}

    def _mean(self, key: Key, only: frozenset[str | None]) -> Measured:
        """Return the mean curve of a stage's ports, or of those named; each mean is formed once."""
        ports = tuple(port for port in self.ports[key] if not only or port.name in only)
        if ports not in self._means:
            self._means[ports] = average(ports, self.scatters)
        return self._means[ports]

    def _curve(self, name: str, measured: Measured, common: Array) -> StageCurve:
        valve = self.job.valve_of(name, self.side)
        result = side_curve(
            measured,
            common,
            self.stopped.get(("stage", name), frozenset()),
            flow_coefficients(self.job, self.side, valve, self.sheets["stage", name]),
            self.cam_net_lift_m,
            self.lift_path_m,
        )
        return StageCurve(name, measured, result, self.ports["stage", name])

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
            if key[0] != "stage" or len(ports) < 2:
                continue
            mean = self.curves[key[1]].measured
            at = mean.lift_m[mean.measured]
            if not at.size:
                continue
            flows = np.array([port.flow_m3_s[np.isin(port.lift_m, at)] for port in ports])
            relative = flows / flows.mean(axis=0) - 1
            squares += float(np.mean(np.sum(np.square(relative), axis=0)))
            weight += len(ports) - 1
            # The ports of a head keep their differences from stage to stage: the stages
            # together know little more of the spread than the one with the most ports.
            dof = max(dof, len(ports) - 1)
        return PortSpread((squares / weight) ** 0.5, dof) if weight else None

    def gains(self) -> list[Gain]:
        """Return each stage against the first, the one before and the target."""
        names = list(self.curves)
        found = []
        for index, name in enumerate(names):
            if index:
                found.append(self._gain(name, "baseline", names[0]))
                found.append(self._gain(name, "previous", names[index - 1]))
            if self.job.target is not None and ("target", self.job.target.name) in self.ports:
                found.append(self._gain(name, "target", self.job.target.name))
        return found

    def _gain(self, stage: str, against: Against, other: str) -> Gain:
        mine: Key = ("stage", stage)
        theirs: Key = ("target" if against == "target" else "stage", other)
        shared = {p.name for p in self.ports[mine]} & {p.name for p in self.ports[theirs]}
        if against == "target":
            shared = set()  # another head: its port 2 is not this head's port 2
        after, before = (self._mean(key, frozenset(shared)) for key in (mine, theirs))
        match = match_setups(self.side, self.sheets[mine], self.sheets[theirs])
        spread = None if shared else self.port_spread
        found = self._compare(after, before, spread, match.same is not False)
        gone = self.stopped.get(mine, frozenset()) | self.stopped.get(theirs, frozenset())
        keep = np.array([lift not in gone for lift in found.lift_m])
        read = np.flatnonzero(~found.interpolated & keep & (found.lift_m <= found.usable_lift_m * (1 + 1e-9)))
        peak = read[-1] if read.size else None
        gain = found.after_m3_s - found.before_m3_s
        summary = found.cam_weighted or found.mean
        price = self._price(stage, other) if against != "target" else None
        return Gain(
            stage,
            against,
            other,
            self.side,
            found.usable_lift_m,
            tuple(found.lift_m.tolist()),
            tuple(found.interpolated.tolist()),
            numbers(found.before_m3_s, keep),
            numbers(found.after_m3_s, keep),
            numbers(gain, keep),
            numbers(found.gain_fraction, keep),
            numbers(found.expanded_m3_s, keep),
            numbers(found.expanded_fraction, keep),
            tuple(v if k else None for v, k in zip(found.verdict, keep, strict=True)),
            found.mean,
            found.cam_weighted,
            None if peak is None else float(gain[peak]),
            None if peak is None else float(found.expanded_m3_s[peak]),
            tuple(p.name for p in self.ports[mine] if p.name in shared),
            not shared,
            spread is not None,
            match.same,
            match.differences,
            match.unknown,
            numbers(self._coefficient_gain(mine, theirs, found.after_m3_s, found.before_m3_s), keep),
            price,
            price / summary.gain_m3_s if price is not None and summary.verdict == "clear gain" else None,
        )

    def _compare(
        self, after: Measured, before: Measured, spread: PortSpread | None, same_thing: bool
    ) -> Comparison:
        """Compare two curves, once: the second stage's baseline is also the stage before it."""
        key = (id(after), id(before))
        if key not in self._compared:
            self._compared[key] = compare(
                after, before, self.cam_net_lift_m, self.lift_path_m, spread, same_thing
            )
        return self._compared[key]

    def _coefficient_gain(self, mine: Key, theirs: Key, after_m3_s: Array, before_m3_s: Array) -> Array:
        """Return the gain in flow coefficient, nan where a valve is not known."""
        one, two = (self._head_coefficient(key) for key in (mine, theirs))
        return after_m3_s * one - before_m3_s * two

    def _head_coefficient(self, key: Key) -> float:
        role, name = key
        valve = self.job.target.valves[self.side] if role == "target" else self.job.valve_of(name, self.side)
        return flow_coefficients(self.job, self.side, valve or Valve(), self.sheets[key]).by_head

    def _price(self, stage: str, other: str) -> float | None:
        """Return the sum of the stages' own prices after other, up to and with stage."""
        names = [s.name for s in self.job.stages]
        bought = self.job.stages[names.index(other) + 1 : names.index(stage) + 1]
        prices = [s.price for s in bought if not s.planned]
        return None if None in prices else sum(prices)
