"""Synthetic captures for the tests of core, by scipy's ODE solver and a plant written for the tests alone.

Two nodes (dead volume, cylinder side), a regulator that settles slowly, valves that travel, gas that warms and cools. Nozzle
flow is written here a second time, so that an error in core.flow cannot cancel itself.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pytest
from borewright.core.rig import ChannelLaw
from borewright.core.samples import SampleColumns
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

R, CP, CV = 287.05287, 1004.685, 717.632
P_AMBIENT, T_AMBIENT = 101_325.0, 293.15
RESTRICTOR_M2 = np.pi / 4.0 * (0.040 * 0.0254) ** 2
LAW = ChannelLaw(0.0, 5.0 / 4096, 5.0, 0.0, 1_000_000.0)


def nozzle_kg_s(area: float, p_up: float, p_down: float, t_up: float) -> float:
    """Isentropic flow of air, with a straight piece close to equal pressures so that the solver does not chatter."""
    if p_down > p_up:
        return -nozzle_kg_s(area, p_down, p_up, t_up)
    r = max(p_down / p_up, 0.5282817877)
    bent = min(r, 0.999)
    psi = np.sqrt(7.0 * (bent ** (2.0 / 1.4) - bent ** (2.4 / 1.4)))
    if r > 0.999:
        psi *= (1.0 - r) / 0.001
    return float(area * p_up / np.sqrt(R * t_up) * psi)


@dataclass(frozen=True)
class Run:
    """What to synthesise. Times in s from the start; an opening is (supply opens, supply shuts, vent opens)."""

    leak_mm2: float = 0.5
    set_gauge_pa: float = 551_580.0
    puff: tuple[float, float, float] | None = (1.0, 1.2, 1.2)
    main: tuple[float, float, float] = (2.5, 10.0, 14.0)
    end_s: float = 16.0
    supply_travel_s: float = 0.015
    vent_travel_s: float = 0.015
    cylinder_m3: float = 85e-6
    dead_m3: float = 20e-6
    supply_mm2: float = 12.0
    vent_mm2: float = 6.0
    regulator_creep: float = 0.02  # share of the set pressure that is still missing at the opening
    regulator_creep_s: float = 1.0
    wall_w_per_k: float = 0.5
    noise_pa: float = 1000.0
    zero_pa: tuple[float, float] = (1500.0, -900.0)
    rate_hz: int = 1000
    seed: int = 1
    quantised: bool = True


@dataclass(frozen=True)
class Synthetic:
    """A capture and the truth about it."""

    run: Run
    columns: SampleColumns
    t_s: np.ndarray
    regulated_gauge_pa: np.ndarray  # without noise and zero
    cylinder_gauge_pa: np.ndarray
    measured_regulated_pa: np.ndarray
    measured_cylinder_pa: np.ndarray
    leakage_percent: float  # of the settled state


def settled_leakage_percent(run: Run) -> float:
    up = run.set_gauge_pa + P_AMBIENT

    def surplus(p: float) -> float:
        return nozzle_kg_s(RESTRICTOR_M2, up, p, T_AMBIENT) - nozzle_kg_s(run.leak_mm2 * 1e-6, p, P_AMBIENT, T_AMBIENT)

    p = brentq(surplus, P_AMBIENT, up, xtol=1e-6) if run.leak_mm2 > 0.0 else up
    return 100.0 * (up - p) / run.set_gauge_pa


def _travel(t: float, opens: float, shuts: float, travel: float) -> float:
    """Open share of a valve's area: a ball that turns evenly; shutting begins at `shuts`."""
    position = min(max((t - opens) / travel, 0.0), 1.0) - min(max((t - shuts) / travel, 0.0), 1.0)
    return float(max(position, 0.0) ** 1.5)


def synthesise_run(run: Run) -> Synthetic:
    openings = [o for o in (run.puff, run.main) if o is not None]
    edges = sorted({0.0, run.end_s, *(e + d for o in openings for e in o for d in (0.0, run.supply_travel_s, run.vent_travel_s))})
    edges = [e for e in edges if e <= run.end_s]

    def open_areas(t: float) -> tuple[float, float]:
        supply = max(_travel(t, o, s, run.supply_travel_s) for o, s, _ in openings)
        vent = 1.0 - max(_travel(t, o - run.vent_travel_s, v, run.vent_travel_s) for o, _, v in openings)
        return supply * run.supply_mm2 * 1e-6, vent * run.vent_mm2 * 1e-6

    def derivative(t: float, y: np.ndarray) -> list[float]:
        p_dead, p_cylinder, t_gas = y
        supply, vent = open_areas(t)
        since = t - max((o for o, _, _ in openings if o <= t), default=t)
        source = P_AMBIENT + run.set_gauge_pa * (1.0 - run.regulator_creep * np.exp(-since / run.regulator_creep_s))
        into_dead = nozzle_kg_s(supply, source, p_dead, T_AMBIENT) - nozzle_kg_s(vent, p_dead, P_AMBIENT, T_AMBIENT)
        over = nozzle_kg_s(RESTRICTOR_M2, p_dead, p_cylinder, T_AMBIENT if p_dead > p_cylinder else t_gas)
        out = nozzle_kg_s(vent + run.leak_mm2 * 1e-6, p_cylinder, P_AMBIENT, t_gas if p_cylinder > P_AMBIENT else T_AMBIENT)
        mass = p_cylinder * run.cylinder_m3 / (R * t_gas)
        t_in = T_AMBIENT if over > 0.0 else t_gas
        t_out = t_gas if out > 0.0 else T_AMBIENT
        heat = run.wall_w_per_k * (T_AMBIENT - t_gas) * p_cylinder / 652_905.0
        gas = (over * (CP * t_in - CV * t_gas) - out * (CP * t_out - CV * t_gas) + heat) / (mass * CV)
        return [
            R * T_AMBIENT / run.dead_m3 * (into_dead - over),
            R * t_gas / run.cylinder_m3 * (over - out) + p_cylinder / t_gas * gas,
            gas,
        ]

    t = np.arange(round(run.end_s * run.rate_hz)) / run.rate_hz
    states = np.empty((3, t.size))
    y = np.array([P_AMBIENT, P_AMBIENT, T_AMBIENT])
    for start, stop in pairwise(edges):
        inside = (t >= start - 1e-12) & (t < stop - 1e-12)
        solved = solve_ivp(derivative, (start, stop), y, method="LSODA", rtol=1e-6, atol=[10.0, 10.0, 1e-3], dense_output=True)
        assert solved.success
        assert solved.sol is not None
        states[:, inside] = solved.sol(np.clip(t[inside], start, stop))
        y = solved.y[:, -1]
    regulated, cylinder = states[0] - P_AMBIENT, states[1] - P_AMBIENT
    random = np.random.default_rng(run.seed)
    raws = []
    for pressure, zero in ((regulated, run.zero_pa[0]), (cylinder, run.zero_pa[1])):
        noisy = pressure + zero + (random.normal(0.0, run.noise_pa, t.size) if run.noise_pa else 0.0)
        raws.append(np.clip(np.round((noisy - float(LAW.gauge_pa(0))) / LAW.pa_per_raw), 0, 4095))
    raw = np.stack(raws).astype(np.uint16)
    index = np.arange(t.size)
    columns = SampleColumns(
        np.round(t * 1e6).astype(np.int64) + 4_000_000_000, index, index * 0, raw, np.zeros(t.size, np.uint16), 1_000_000
    )
    measured = LAW.gauge_pa(raw)
    return Synthetic(run, columns, t, regulated, cylinder, measured[0], measured[1], settled_leakage_percent(run))


@pytest.fixture(scope="session")
def synthesise() -> Callable[..., Synthetic]:
    """synthesise(**changes of Run) → Synthetic; the same run is computed once."""
    made: dict[Run, Synthetic] = {}

    def synthesise(**changes: object) -> Synthetic:
        run = Run(**changes)  # type: ignore[arg-type]
        if run not in made:
            made[run] = synthesise_run(run)
        return made[run]

    return synthesise
