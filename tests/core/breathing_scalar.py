"""The cylinder's equations once more, a case at a time, for scipy's LSODA.

Written from the equations and not from ``core.breathing.march``: plain floats, time instead of
crank angle, powers instead of polynomials, rates instead of increments. It shares with the
package only what a case is made of.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from core.breathing.cases import CYCLE_RAD, START_RAD, Cases
from core.breathing.crank import Crank
from core.breathing.gas import Gas

Profile = Callable[[float], float]
Flux = Callable[[float, float], float]
SMOOTH = 2e-3
A, M = 5.0, 2.0


@dataclass(frozen=True)
class Scalar:
    """One case of a cylinder; profiles are functions of crank angle."""

    crank: Crank
    gas: Gas
    cases: Cases  # a single one
    structure: str
    intake_area_m2: Profile
    exhaust_area_m2: Profile
    intake_wave: Profile
    exhaust_wave: Profile
    exchange: tuple[float, float]  # from, until: crank angles [rad]
    flux: Flux | None = None  # psi2(s) / s over s and gamma, instead of the exact one
    rtol: float = 1e-9

    def value(self, name: str) -> float:
        """Return one value of the case."""
        return float(getattr(self.cases, name)[0])

    def cycle(self, state: NDArray[np.float64]) -> tuple[NDArray[np.float64], float]:
        """Return the state after one cycle, laid out as the package's, and the work. [J]"""
        end = self.part(state, START_RAD, START_RAD + CYCLE_RAD)
        return end[:7], float(end[7])

    def part(self, state: NDArray[np.float64], first: float, last: float) -> NDArray[np.float64]:
        """Return the 11 rows of the package at a crank angle, from the 7 of a state at another."""
        speed = self.value("speed_rad_s")
        begin = np.append(state, np.zeros(4))
        begin[6] *= speed  # kg/rad to kg/s
        solved = solve_ivp(
            self.rates(begin),
            (first / speed, last / speed),
            begin,
            "LSODA",
            rtol=self.rtol,
            atol=1e-9 * np.array([1e-3, 1e-3, 1e2, 1e2, 1e-3, 1e-3, 1e-1, 1e2, 1e2, 1e2, 1e2]),
            max_step=math.radians(2) / speed,
        )
        if not solved.success:
            raise RuntimeError(solved.message)
        end = solved.y[:, -1]
        end[6] /= speed
        return end

    def volume(self, angle: float) -> tuple[float, float, float]:
        """Return volume, its slope over crank angle, and wall area."""
        crank = self.crank
        throw, rod, piston_m2 = crank.stroke_m / 2, crank.rod_length_m, math.pi / 4 * crank.bore_m**2
        clearance = piston_m2 * crank.stroke_m / (crank.compression_ratio - 1)
        sine, cosine = math.sin(angle), math.cos(angle)
        arm = math.sqrt(rod**2 - (throw * sine) ** 2)
        down = rod + throw - throw * cosine - arm
        slope = throw * sine * (1 + throw * cosine / arm)
        wall = (1 + 1.15) * piston_m2 + math.pi * crank.bore_m * down
        return clearance + piston_m2 * down, piston_m2 * slope, wall

    def burning(self, angle: float) -> float:
        """Return the share of the charge that burns per radian."""
        duration = self.value("burn_duration_rad")
        half = (-math.log(1 - 0.5 * (1 - math.exp(-A))) / A) ** (1 / (M + 1))
        progress = (angle - self.value("burn_centre_rad")) / duration + half
        if not 0 < progress < 1:
            return 0.0
        rate = A * (M + 1) * progress**M * math.exp(-A * progress ** (M + 1))
        return rate / (duration * (1 - math.exp(-A)))

    def gas_state(self, mass: float, energy: float, burned: float, volume: float) -> tuple[float, ...]:
        """Return pressure, density, temperature, enthalpy and burned share."""
        gas, share = self.gas, burned / mass
        a = gas.fresh[0] + share * (gas.burned[0] - gas.fresh[0])
        b = gas.fresh[1] + share * (gas.burned[1] - gas.fresh[1])
        u = energy / mass
        t = u / a if b == 0 else (math.sqrt(a * a + 2 * b * u) - a) / b
        p = mass * gas.r_j_kg_k * t / volume
        return p, mass / volume, t, u + gas.r_j_kg_k * t, share

    def _runner(self, flow: float, port_pa: float) -> tuple[float, float]:
        """Return the flow into the port and how fast the runner's own changes, per second."""
        value = self.value
        ambient, section = value("ambient_pa"), value("runner_area_m2")
        density = ambient / (self.gas.r_j_kg_k * value("intake_temperature_k"))
        drag = value("runner_loss") * abs(flow) * flow / (2 * density * section**2)
        push = section / value("runner_length_m") * (ambient - port_pa - drag)
        return flow * min(1.0, port_pa / (0.2 * ambient)) if flow < 0 else flow, push

    def _energy_onto_wave(self, angle: float, port_pa: float) -> float:
        """Return the energy per radian that brings the port onto its wave within 1.5 deg, and along it."""
        ambient, wave, step = self.value("ambient_pa"), self.value("intake_wave"), 1e-5
        target = ambient * (1 + wave * self.intake_wave(angle))
        rise = ambient * wave * (self.intake_wave(angle + step) - self.intake_wave(angle - step)) / (2 * step)
        rise += (target - port_pa) / math.radians(1.5)
        return rise * self.value("port_volume_m3") / (self.gas.gamma_intake - 1)

    def rates(self, begin: NDArray[np.float64]):
        """Return the rates per second as a function of time and state, for a cycle that began in a state."""
        crank, gas, value = self.crank, self.gas, self.value
        speed, swept = value("speed_rad_s"), math.pi / 4 * crank.bore_m**2 * crank.stroke_m
        piston_speed = 2 * crank.stroke_m * speed / (2 * math.pi)
        r = gas.r_j_kg_k
        fresh = float(begin[0] - begin[4])
        ambient, air_k = value("ambient_pa"), value("intake_temperature_k")
        air_h = (gas.fresh[0] + gas.fresh[1] / 2 * air_k) * air_k + r * air_k
        back_k = value("exhaust_temperature_k")
        back_h = (gas.burned[0] + gas.burned[1] / 2 * back_k) * back_k + r * back_k
        port_m3 = value("port_volume_m3")
        start_m3 = self.volume(START_RAD)[0]
        start_pa, _, start_k, _, _ = self.gas_state(begin[0], begin[2], begin[4], start_m3)

        def rates(time: float, y: NDArray[np.float64]) -> list[float]:
            angle = time * speed
            v, slope, wall = self.volume(angle)
            p, rho, t, h, x = self.gas_state(y[0], y[2], y[4], v)
            pp, prho, _, ph, px = self.gas_state(y[1], y[3], y[5], port_m3)
            port, inside = (pp, prho, ph, px), (p, rho, h, x)
            into = valve_flow(self.intake_area_m2(angle), gas.gamma_intake, port, inside, self.flux)
            outside_pa = value("back_pressure_pa") + ambient * value("exhaust_wave") * self.exhaust_wave(
                angle
            )
            outside = (outside_pa, outside_pa / (r * back_k), back_h, 1.0)
            out = valve_flow(self.exhaust_area_m2(angle), gas.gamma_exhaust, inside, outside, self.flux)
            if self.exchange[0] <= angle <= self.exchange[1]:
                gas_speed = 6.18 * piston_speed
            else:
                motored = start_pa * (start_m3 / v) ** 1.3
                burning = 3.24e-3 * swept * start_k / (start_pa * start_m3) * max(p - motored, 0.0)
                gas_speed = 2.28 * piston_speed + burning
            level = value("heat_level") * 3.26 * crank.bore_m**-0.2
            h_wall = level * (p / 1000) ** 0.8 * t**-0.55 * gas_speed**0.8
            to_wall = h_wall * wall * (t - value("wall_temperature_k"))
            burned = fresh * self.burning(angle) * speed
            if self.structure == "runner":
                w, push = self._runner(y[6], pp)
            else:
                push = 0.0
                energy = self._energy_onto_wave(angle, pp) * speed + into[1]
                w = energy / (air_h if energy > 0 else ph)
            in_h, in_x = (air_h, 0.0) if w > 0 else (ph, px)
            return [
                into[0] - out[0],
                w - into[0],
                into[1] - out[1] - p * slope * speed - to_wall + burned * value("fuel_energy_j_kg"),
                w * in_h - into[1],
                into[2] - out[2] + burned,
                w * in_x - into[2],
                push,
                p * slope * speed,
                to_wall,
                out[1],
                w * in_h,
            ]

        return rates


def valve_flow(
    area: float, gamma: float, first: tuple, second: tuple, flux: Flux | None = None
) -> tuple[float, float, float]:
    """Return mass, enthalpy and burned mass per second, from the first place to the second."""
    if area <= 0:
        return 0.0, 0.0, 0.0
    sign, up, down = (1, first, second) if first[0] >= second[0] else (-1, second, first)
    ratio = max(down[0] / up[0], (2 / (gamma + 1)) ** (gamma / (gamma - 1)))
    s = 1 - ratio
    if s < 1e-12:
        return 0.0, 0.0, 0.0
    psi2 = 2 * gamma / (gamma - 1) * (ratio ** (2 / gamma) - ratio ** ((gamma + 1) / gamma))
    smoothed = math.sqrt(psi2 / s if flux is None else flux(s, gamma)) * s / (s * s + SMOOTH**2) ** 0.25
    flow = sign * area * math.sqrt(up[0] * up[1]) * smoothed
    return flow, flow * up[2], flow * up[3]
