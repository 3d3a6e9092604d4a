"""A motored cylinder against Cantera: reactors, a moving wall and flows between them.

Cantera holds mass and energy of cylinder and port; only what its valves pass at each moment
is told to it, from the flow law as written for LSODA. Between two moments 0.1 deg apart the
flows are carried on in a straight line, so that the error is second order.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from core.breathing.cases import CYCLE_RAD, START_RAD, Cases
from core.breathing.cycle import closed_cycles
from core.breathing.gas import Gas
from tests.core.breathing_scalar import valve_flow
from tests.core.cylinders import COARSE, CRANK, DEG, Profiles, cases

ct = pytest.importorskip("cantera")
pytestmark = [pytest.mark.outside, pytest.mark.slow]

ENGINE = Profiles()
NITROGEN = """
phases:
- name: gas
  thermo: ideal-gas
  elements: [N]
  species: [N2]
species:
- name: N2
  composition: {N: 2}
  thermo: {model: constant-cp, T0: 300 K, h0: 0 J/kmol, s0: 0 J/kmol/K, cp0: 29100.6 J/kmol/K}
"""
STEP = 0.1 * DEG


def nitrogen() -> Gas:
    """Return Cantera's gas: constant specific heat, gamma 1.4."""
    phase = ct.Solution(yaml=NITROGEN)
    r = ct.gas_constant / phase.mean_molecular_weight
    cv = (phase.cv_mass, 0.0)
    return Gas(r, cv, cv, phase.cp_mass / phase.cv_mass, phase.cp_mass / phase.cv_mass)


class Rig:
    """Cylinder and port in Cantera, between air, a runner's momentum and an exhaust."""

    def __init__(self, case: Cases, state: np.ndarray):
        self.case, self.runner_kg_s = case, state[6] * case.speed_rad_s[0]
        gas = nitrogen()
        self.speed = float(case.speed_rad_s[0])
        self.gamma = gas.gamma_intake
        volumes = (float(CRANK.volume(np.array([START_RAD]))[0]), float(case.port_volume_m3[0]))
        self.cylinder, self.port = (
            self._reactor(volume, state[i] / volume, state[2 + i] / state[i] / gas.fresh[0])
            for i, volume in enumerate(volumes)
        )
        self.air = self._reservoir(case.ambient_pa[0], case.intake_temperature_k[0])
        self.outside = self._reservoir(case.back_pressure_pa[0], case.exhaust_temperature_k[0])
        piston_m2 = np.pi / 4 * CRANK.bore_m**2
        self.wall = ct.Wall(self.air, self.cylinder, A=piston_m2, velocity=self._piston)
        self.pipes = [
            (ct.MassFlowController(a, b, mdot=0.0), ct.MassFlowController(b, a, mdot=0.0))
            for a, b in ((self.air, self.port), (self.port, self.cylinder), (self.cylinder, self.outside))
        ]
        self.net = ct.ReactorNet([self.cylinder, self.port])
        self.net.rtol, self.net.atol = 1e-10, 1e-16

    @staticmethod
    def _reactor(volume: float, density: float, temperature: float):
        phase = ct.Solution(yaml=NITROGEN)
        phase.TD = temperature, density
        return ct.IdealGasReactor(phase, volume=volume, clone=False)

    @staticmethod
    def _reservoir(pressure: float, temperature: float):
        phase = ct.Solution(yaml=NITROGEN)
        phase.TP = temperature, pressure
        return ct.Reservoir(phase, clone=False)

    def _piston(self, time: float) -> float:
        """Return the speed of the wall towards the cylinder."""
        angle = np.array([START_RAD + time * self.speed])
        step = 1e-5
        rise = CRANK.travel(angle + step) - CRANK.travel(angle - step)
        return float(-rise[0] / (2 * step) * self.speed)

    def flows(self, angle: float) -> np.ndarray:
        """Return the flows through runner, intake valve and exhaust valve, and the runner's push."""
        places = [
            (one.phase.P, one.phase.density, 0.0, 0.0)
            for one in (self.port, self.cylinder, self.outside, self.air)
        ]
        at = np.float64(angle)
        into = valve_flow(float(ENGINE.intake_area_m2(at)), self.gamma, places[0], places[1])[0]
        out = valve_flow(float(ENGINE.exhaust_area_m2(at)), self.gamma, places[1], places[2])[0]
        case, w = self.case, self.runner_kg_s
        section, length = case.runner_area_m2[0], case.runner_length_m[0]
        drag = case.runner_loss[0] * abs(w) * w / (2 * places[3][1] * section**2)
        return np.array([w, into, out, section / length * (places[3][0] - places[0][0] - drag)])

    def cycle(self) -> float:
        """Go through a cycle and return the work."""
        n = round(CYCLE_RAD / STEP)
        before, work_j = None, 0.0
        began = self.net.time
        for index in range(n):
            angle = START_RAD + index * STEP
            now = self.flows(angle)
            ahead = now if before is None else 1.5 * now - 0.5 * before
            before = now
            for (forth, back), flow in zip(
                self.pipes, (now[0] + ahead[3] * STEP / self.speed / 2, *ahead[1:3]), strict=True
            ):
                forth.mass_flow_rate, back.mass_flow_rate = max(flow, 0.0), max(-flow, 0.0)
            pressure, volume = self.cylinder.phase.P, self.cylinder.volume
            self.net.advance(began + (index + 1) * STEP / self.speed)
            work_j += (pressure + self.cylinder.phase.P) / 2 * (self.cylinder.volume - volume)
            self.runner_kg_s += ahead[3] * STEP / self.speed
        return work_j


@pytest.mark.parametrize("rpm", [3500, 6500])
def test_a_motored_engine(rpm):
    case = cases(
        rpm, heat_level=0.0, fuel_energy_j_kg=0.0, exhaust_temperature_k=400.0, intake_temperature_k=300.0
    )
    found = closed_cycles(ENGINE.cylinder(COARSE, gas=nitrogen()), case)
    rig = Rig(replace(case), found.state[:, 0])
    for _ in range(2):  # it has a closed cycle of its own, close by
        work_j = rig.cycle()
        rig = _again(rig, case)
    # 0.1 %; work of the motored cycle is a small difference, so it is judged beside that of compression.
    assert rig.cylinder.mass == pytest.approx(found.trapped_kg[0], rel=1e-3)
    compression_j = found.trapped_kg[0] * nitrogen().fresh[0] * 300
    assert work_j == pytest.approx(found.work_j[0], abs=1e-3 * compression_j)


def _again(rig: Rig, case: Cases) -> Rig:
    """Return the rig at the start of its next cycle, with its clock at zero."""
    cv = rig.cylinder.phase.cv_mass
    held = [(one.mass, one.mass * cv * one.T) for one in (rig.cylinder, rig.port)]
    state = np.array([held[0][0], held[1][0], held[0][1], held[1][1], 0, 0, rig.runner_kg_s / rig.speed])
    return Rig(case, state)
