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
    rtol: float = 1e-9

    def value(self, name: str) -> float:
        """Return one value of the case."""
        return float(getattr(self.cases, name)[0])

    def cycle(self, state: NDArray[np.float64]) -> tuple[NDArray[np.float64], float]:
        """Return the state after one cycle, laid out as the package's, and the work. [J]"""
        speed = self.value("speed_rad_s")
        begin = np.append(state, 0.0)
        begin[6] *= speed  # kg/rad to kg/s
        rates = self._rates(begin)
        solved = solve_ivp(
            rates,
            (START_RAD / speed, (START_RAD + CYCLE_RAD) / speed),
            begin,
            "LSODA",
            rtol=self.rtol,
            atol=1e-9 * np.array([1e-3, 1e-3, 1e2, 1e2, 1e-3, 1e-3, 1e-1, 1e2]),
            max_step=math.radians(2) / speed,
        )
        if not solved.success:
            raise RuntimeError(solved.message)
        end = solved.y[:, -1]
        end[6] /= speed
        return end[:7], float(end[7])

    def _state(self, mass: float, energy: float, burned: float, volume: float) -> tuple[float, ...]:
        """Return pressure, density, temperature, enthalpy and burned share."""
        gas, share = self.gas, burned / mass
        a = gas.fresh[0] + share * (gas.burned[0] - gas.fresh[0])
        b = gas.fresh[1] + share * (gas.burned[1] - gas.fresh[1])
        u = energy / mass
        t = u / a if b == 0 else (math.sqrt(a * a + 2 * b * u) - a) / b
        p = mass * gas.r_j_kg_k * t / volume
        return p, mass / volume, t, u + gas.r_j_kg_k * t, share

    def _rates(self, begin: NDArray[np.float64]):
        crank, gas, value = self.crank, self.gas, self.value
        speed, swept = value("speed_rad_s"), crank.swept_m3
        throw, rod, piston_m2 = crank.stroke_m / 2, crank.rod_length_m, math.pi / 4 * crank.bore_m**2
        clearance = swept / (crank.compression_ratio - 1)
        piston_speed = 2 * crank.stroke_m * speed / (2 * math.pi)
        r, duration = gas.r_j_kg_k, value("burn_duration_rad")
        start = value("burn_centre_rad") - duration * (
            (-math.log(1 - 0.5 * (1 - math.exp(-A))) / A) ** (1 / (M + 1))
        )
        fresh = float(begin[0] - begin[4])
        ambient, air_k = value("ambient_pa"), value("intake_temperature_k")
        air_h = (gas.fresh[0] + gas.fresh[1] / 2 * air_k) * air_k + r * air_k
        back_k = value("exhaust_temperature_k")
        back_h = (gas.burned[0] + gas.burned[1] / 2 * back_k) * back_k + r * back_k
        port_m3, length, section = (value(n) for n in ("port_volume_m3", "runner_length_m", "runner_area_m2"))

        def volume(angle: float) -> tuple[float, float, float]:
            sine, cosine = math.sin(angle), math.cos(angle)
            arm = math.sqrt(rod**2 - (throw * sine) ** 2)
            down = rod + throw - throw * cosine - arm
            slope = throw * sine * (1 + throw * cosine / arm)
            wall = (1 + 1.15) * piston_m2 + math.pi * crank.bore_m * down
            return clearance + piston_m2 * down, piston_m2 * slope, wall

        start_m3 = volume(START_RAD)[0]
        start_pa, _, start_k, _, _ = self._state(begin[0], begin[2], begin[4], start_m3)
        follows = math.radians(1.5)

        def rates(time: float, y: NDArray[np.float64]) -> list[float]:
            angle = time * speed
            v, slope, wall = volume(angle)
            p, rho, t, h, x = self._state(y[0], y[2], y[4], v)
            pp, prho, _, ph, px = self._state(y[1], y[3], y[5], port_m3)
            into = valve_flow(
                self.intake_area_m2(angle), gas.gamma_intake, (pp, prho, ph, px), (p, rho, h, x)
            )
            outside_pa = value("back_pressure_pa") + ambient * value("exhaust_wave") * self.exhaust_wave(
                angle
            )
            outside = (outside_pa, outside_pa / (r * back_k), back_h, 1.0)
            out = valve_flow(self.exhaust_area_m2(angle), gas.gamma_exhaust, (p, rho, h, x), outside)
            if self.exchange[0] <= angle <= self.exchange[1]:
                gas_speed = 6.18 * piston_speed
            else:
                motored = start_pa * (start_m3 / v) ** 1.3
                burning = 3.24e-3 * swept * start_k / (start_pa * start_m3) * max(p - motored, 0.0)
                gas_speed = 2.28 * piston_speed + burning
            level = value("heat_level") * 3.26 * crank.bore_m**-0.2
            h_wall = level * (p / 1000) ** 0.8 * t**-0.55 * gas_speed**0.8
            to_wall = h_wall * wall * (t - value("wall_temperature_k"))
            burning = 0.0
            progress = (angle - start) / duration
            if 0 < progress < 1:
                burning = A * (M + 1) * progress**M * math.exp(-A * progress ** (M + 1))
                burning *= fresh * speed / (duration * (1 - math.exp(-A)))
            if self.structure == "runner":
                w, density = y[6], ambient / (r * air_k)
                drag = value("runner_loss") * abs(w) * w / (2 * density * section**2)
                push = section / length * (ambient - pp - drag)
                if w < 0:
                    w *= min(1.0, pp / (0.2 * ambient))
            else:
                wave = value("intake_wave")
                target = ambient * (1 + wave * self.intake_wave(angle))
                step = 1e-6
                rise = ambient * wave * (self.intake_wave(angle + step) - self.intake_wave(angle - step))
                wanted = (rise / (2 * step) + (target - pp) / follows) * speed * port_m3
                wanted = wanted / (gas.gamma_intake - 1) + into[1]
                w, push = wanted / (air_h if wanted > 0 else ph), 0.0
            in_h, in_x = (air_h, 0.0) if w > 0 else (ph, px)
            return [
                into[0] - out[0],
                w - into[0],
                into[1] - out[1] - p * slope * speed - to_wall + burning * value("fuel_energy_j_kg"),
                w * in_h - into[1],
                into[2] - out[2] + burning,
                w * in_x - into[2],
                push,
                p * slope * speed,
            ]

        return rates


def valve_flow(area: float, gamma: float, first: tuple, second: tuple) -> tuple[float, float, float]:
    """Return mass, enthalpy and burned mass per second, from the first place to the second."""
    if area <= 0:
        return 0.0, 0.0, 0.0
    sign, up, down = (1, first, second) if first[0] >= second[0] else (-1, second, first)
    ratio = max(down[0] / up[0], (2 / (gamma + 1)) ** (gamma / (gamma - 1)))
    s = 1 - ratio
    if s < 1e-12:
        return 0.0, 0.0, 0.0
    psi2 = 2 * gamma / (gamma - 1) * (ratio ** (2 / gamma) - ratio ** ((gamma + 1) / gamma))
    smoothed = math.sqrt(psi2 / s) * s / (s * s + SMOOTH**2) ** 0.25
    flow = sign * area * math.sqrt(up[0] * up[1]) * smoothed
    return flow, flow * up[2], flow * up[3]
