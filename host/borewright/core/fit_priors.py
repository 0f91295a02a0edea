"""What is known before a capture is fitted, and where the search begins."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from borewright.core.fit_course import Drive
from borewright.core.fit_plant import Q
from borewright.core.fit_record import Record
from borewright.core.flow import AIR_GAS_CONSTANT, Floats
from borewright.core.instrument import Instrument

__all__ = ["first_course", "priors"]

# standard deviations of priors that come from no instrument: wide enough to be no more than a hint
PRIOR_EXPONENT = (0.05, 0.4)
PRIOR_WALL_W_K, PRIOR_LN_WALL = 0.4, 1.2
PRIOR_STIR = (0.5, 0.8)
PRIOR_WALL_EXPONENT = (0.4, 0.4)
PRIOR_STRETCH = (3e-8, 2e-8)  # share of the hose's volume for each Pa: some tenths of a percent for each bar
PRIOR_CURVE = (0.02, 0.03)  # leaks with exponents of their own, added up, bend upwards
PRIOR_NEAR_ONE = (0.0, 0.3)
U_T_START_K = 8.0
U_P_START_PA = 20_000.0


def priors(record: Record, instrument: Instrument) -> tuple[Floats, Floats]:
    """Means and standard deviations (inf: none) of all unknowns; the means are where the search begins."""
    mean, sd = np.zeros(len(Q)), np.full(len(Q), np.inf)

    def known(q: Q, value: float, standard: float) -> None:
        mean[q], sd[q] = value, standard

    blocks = record.blocks
    colder = instrument.t_cylinder_k - instrument.t_supply_k
    mean[Q.LEAK] = record.leak_area_m2
    known(Q.EXPONENT, *PRIOR_EXPONENT)
    known(Q.CURVE, *PRIOR_CURVE)
    known(Q.NEAR_ONE, *PRIOR_NEAR_ONE)
    volume_m3 = _volume_guess_m3(record, instrument)
    mean[Q.LN_VOLUME] = np.log(volume_m3)
    known(Q.LN_WALL, float(np.log(PRIOR_WALL_W_K)), PRIOR_LN_WALL)
    known(Q.STIR, *PRIOR_STIR)
    known(Q.WALL_EXPONENT, *PRIOR_WALL_EXPONENT)
    # the hose takes its part of the heat exchange, and it is at room temperature: some half of its part of the volume
    hose = 0.5 * min(instrument.hose_volume_m3 / volume_m3, 1.0)
    u_wall_k = float(np.hypot(max(instrument.u_t_cylinder_k, 0.01), 0.5 * hose * colder))
    known(Q.T_WALL, instrument.t_cylinder_k - hose * colder, u_wall_k)
    known(Q.T_SUPPLY, instrument.t_supply_k, max(instrument.u_t_supply_k, 0.01))
    known(Q.LN_RESTRICTOR, 0.0, max(instrument.restrictor.u_relative, 1e-5))
    ratio = instrument.restrictor.critical_ratio
    known(Q.CRITICAL_RATIO, 0.5 if ratio is None else ratio, max(instrument.restrictor.u_critical_ratio, 1e-5))
    known(Q.P_AMBIENT, instrument.p_ambient_abs_pa, max(instrument.u_p_ambient_pa, 1.0))
    known(Q.LN_DEAD, 0.0, max(instrument.u_dead_volume, 1e-4))
    known(Q.STRETCH, *(share * instrument.hose_volume_m3 for share in PRIOR_STRETCH))
    known(Q.TIE, 0.0, max(instrument.u_tie, 1e-6))
    known(Q.GAIN, 0.0, max(instrument.u_gain, 1e-6))
    known(Q.BOW, 0.0, max(instrument.bow_pa / np.sqrt(3.0), 0.1))
    first = float(np.mean(blocks.p_cylinder_pa[:2])) + instrument.p_ambient_abs_pa
    ambient = instrument.p_ambient_abs_pa
    warm = 1.4 * instrument.t_supply_k
    known(Q.P_START, first, U_P_START_PA)
    known(Q.T_START, max(first, ambient) / (ambient / instrument.t_supply_k + max(first - ambient, 0.0) / warm), U_T_START_K)
    at_shut = blocks.p_regulated_pa[min(blocks.driven, len(blocks.p_regulated_pa) - 1)] + ambient
    known(Q.P_SHUT, float(at_shut), U_P_START_PA)
    return mean, sd


def first_course(record: Record, drive: Drive, instrument: Instrument) -> Floats:
    """Where the search begins: what was measured, with the pressure falling over the restrictor everywhere.

    Noise that turns the flow round, or makes the difference several times too large, leads Newton's method astray: the flow goes
    with the root of the difference. Too small a difference does no harm.
    """
    blocks, d = record.blocks, record.blocks.driven
    middle_s = 0.5 * (blocks.edge_s[:-1] + blocks.edge_s[1:])
    at_s = np.append(blocks.edge_s[:1], np.stack([blocks.edge_s[:-1] + blocks.width_s / 3.0, blocks.edge_s[1:]], axis=1).ravel())
    p = np.maximum(np.interp(at_s, middle_s, blocks.p_cylinder_pa), 0.0) + instrument.p_ambient_abs_pa
    p_regulated = np.interp(at_s, blocks.edge_s[: d + 1], drive.edge)
    settled = max(float(np.mean((blocks.p_regulated_pa - blocks.p_cylinder_pa)[record.settled])), 100.0)
    high = (p_regulated > 0.8 * np.max(drive.edge)) & (at_s < blocks.edge_s[d])
    p[high] = np.minimum(p[high], p_regulated[high] - 0.5 * settled)
    p_regulated[2 * d :] = p[2 * d :] + 0.02 * settled
    return np.stack([p, np.full(len(p), instrument.t_supply_k), p_regulated])


def _volume_guess_m3(record: Record, instrument: Instrument) -> float:
    """From the mass that went in until the cylinder had 80 % of its pressure, as if it had kept the temperature of the supply."""
    blocks, ambient, t_k = record.blocks, instrument.p_ambient_abs_pa, instrument.t_supply_k
    up, down = blocks.p_regulated_pa + ambient, np.maximum(blocks.p_cylinder_pa + ambient, 0.5 * ambient)
    stop = max(2, int(np.argmax(blocks.p_cylinder_pa[: blocks.driven] >= 0.8 * record.p_cylinder_gauge_pa)) + 1)
    inflow = instrument.restrictor.mass_flow_kg_s(np.maximum(up[:stop], 0.5 * ambient), down[:stop], t_k)
    leak = replace(instrument.restrictor, area_m2=max(record.leak_area_m2, 1e-12), critical_ratio=None)
    outflow = leak.mass_flow_kg_s(down[:stop], ambient, t_k)
    mass = float(np.sum((inflow - outflow) * blocks.width_s[:stop]))
    rise = float(blocks.p_cylinder_pa[stop - 1] - blocks.p_cylinder_pa[0])
    return float(np.clip(AIR_GAS_CONSTANT * t_k * mass / max(rise, 1e3), 5e-6, 5e-3))
