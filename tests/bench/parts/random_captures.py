"""Random captures with their truth: seeded rigs, engines and leaks on the reference rig file, made by the simulator's own plant.

`draw_case` draws everything of one capture from a seed; a Case can be changed with dataclasses.replace (another restrictor, set
pressure, temperature) and stays the same leak in the same engine. `make_capture` runs plant and sensors, without device and wire,
and gives the samples, what a host would know of the rig, and the truth. What the host knows is off from what is by draws from the
very distributions whose standard uncertainties the Instrument states.

Used by scripts in tests/bench, which have this folder beside them on sys.path.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from math import pi, sqrt
from typing import Literal

import numpy as np
from boresim.electronics import Electronics
from boresim.engine import load_engine
from boresim.gas import nozzle_flow_kg_s
from boresim.plant import Plant, PlantTrace
from boresim.scenario import Leak, Scenario, load_scenario
from boresim.stated import stated_restrictor
from boresim.truth import Settled, arriving_flow, settled_gas_k, settled_state
from borewright.core.instrument import Instrument
from borewright.core.restrictor import Restrictor
from borewright.core.rig import ChannelLaw
from borewright.core.samples import SampleColumns, SampleFlags

__all__ = ["Case", "Made", "Truth", "draw_case", "instrument_of", "laws_of", "make_capture", "scenario_of", "settled_truth"]

PERIOD_S = 0.001
TICK_RATE_HZ = 1_000_000
REFERENCE_GAUGE_PA = 551_580.0
"""At this gauge pressure the leaks have the areas that a case states; it is the reference rig's set pressure."""

DECAY_ENDS_AT = 0.2  # of the pressure that stood when the supply was shut
DECAY_LOOK_S = 0.05
PUFF_WATCH_S = 1.0
LOG_BELOW_PERCENT = 3.0
LOG_SHARE = 0.15
RESTRAINT_NM = 5000.0

Noise = Literal["white", "ar1"]
Heat = Literal["constant", "fill", "pressure"]


@dataclass(frozen=True, slots=True)
class Believed:
    """How far the host's notes are off from what is: standard normal numbers, one for each note."""

    ambient: float
    supply: float
    cylinder: float
    dead_volume: float
    hose_volume: float


@dataclass(frozen=True, slots=True)
class Case:
    """Everything of one capture: the true rig, engine, leaks, air and the run of events, and how well the host knows them.

    leaks: (place, area in m² at REFERENCE_GAUGE_PA, pressure exponent). wall_w_k: conductance of the engine's walls, W/K;
    wall_w_k_pa: more of it for each Pa; wall_stir: its growth while air streams in at choked flow. noise_ar1: correlation of a
    sample's noise with the next. converter_lsb: bound of the converter's non-linearity. restrictor_u: standard uncertainty,
    relative; critical_ratio_limit: bound. puff_s None: no puff. exact_sensors: they have noise and nothing else.
    """

    seed: int
    bore_m: float
    stroke_m: float
    rod_m: float
    compression_ratio: float
    leaks: tuple[tuple[str, float, float], ...]
    set_gauge_pa: float
    droop_pa_s_kg: float
    restrictor_conductance_m3_s_pa: float
    restrictor_critical_ratio: float
    restrictor_u: float
    critical_ratio_limit: float
    p_ambient_abs_pa: float
    air_k: float
    engine_k: float
    wall_w_k: float
    wall_w_k_pa: float
    wall_stir: float
    noise_pa: float
    noise_ar1: float
    adc_bits: int
    converter_lsb: float
    baseline_s: float
    puff_s: float | None
    fill_s: float
    longest_decay_s: float
    vent_s: float
    believed: Believed
    exact_sensors: bool = False


@dataclass(frozen=True, slots=True)
class Truth:
    """The settled state with air on, without sensor error.

    leak_area_m2: of all leaks together as ideal nozzles, at the settled cylinder pressure. pressure_exponent: d ln A / d ln p_gauge
    there. trapped_volume_m3: clearance, adapter and hose, stretched by that pressure.
    """

    leakage_percent: float
    leak_area_m2: float
    settled_cylinder_gauge_pa: float
    p_regulated_gauge_pa: float
    pressure_exponent: float
    trapped_volume_m3: float


@dataclass(frozen=True, slots=True)
class Made:
    """One capture: samples, the laws of both channels as the host has them, what it knows of rig and air, and the truth."""

    columns: SampleColumns
    laws: dict[str, ChannelLaw]
    instrument: Instrument
    truth: Truth


def draw_case(
    seed: int,
    *,
    leakage: tuple[float, float] = (0.5, 95.0),
    noise: Noise = "white",
    noise_ar1: float = 0.8,
    noise_pa: float | None = None,
    adc_bits: int = 12,
    converter_lsb: float = 0.0,
    heat: Heat = "constant",
    restrictor_u: float = 0.005,
    critical_ratio_limit: float = 0.0,
    fill_s: tuple[float, float] = (6.0, 12.0),
) -> Case:
    """The case of a seed.

    leakage: range of the settled leakage in percent, drawn evenly but for one in seven below 3 % drawn evenly in its logarithm.
    noise "ar1": AR(1) with noise_ar1. noise_pa None: the reference rig's. heat "fill": the walls' conductance is 1 to 3 times as
    large at choked inflow, "pressure": 1 to 3 times as large at the set pressure as near ambient. critical_ratio_limit: bound of
    the restrictor's critical ratio about what is stated; 0, because restrictor_u holds over the whole curve of a restrictor that
    was flowed at several pressures. fill_s: range of how long air is on; a part that still settles is left by 1 to 3 s.
    """
    random = np.random.default_rng((seed, 3))

    def within(low: float, high: float) -> float:
        return float(random.uniform(low, high))

    air = load_scenario("hillclimb-before").rig.air
    bore = within(60e-3, 110e-3)
    stroke = bore * within(0.8, 1.3)
    ratio = within(7.0, 13.0)
    room_k = 273.15 + within(15.0, 32.0)
    engine_k = room_k + within(0.0, 3.0) if random.random() < 0.5 else 273.15 + within(40.0, 90.0)
    clearance = pi / 4.0 * bore**2 * stroke / (ratio - 1.0)
    wall = within(0.15, 0.6) * (clearance / 50e-6) ** (2.0 / 3.0)
    more = within(0.0, 2.0)
    places = random.permutation(["breather", "exhaust", "intake"])[: int(random.integers(1, 4))]
    shares = random.dirichlet(np.ones(len(places)))
    leaks = tuple(
        (str(place), float(share), within(-0.15, 0.35)) for place, share in zip(places, shares, strict=True)
    )  # scaled below
    case = Case(
        seed=seed,
        bore_m=bore,
        stroke_m=stroke,
        rod_m=stroke * within(1.5, 2.0),
        compression_ratio=ratio,
        leaks=leaks,
        set_gauge_pa=REFERENCE_GAUGE_PA * within(0.97, 1.03),
        droop_pa_s_kg=within(2e6, 15e6),
        restrictor_conductance_m3_s_pa=air.restrictor_conductance_m3_s_pa,
        restrictor_critical_ratio=air.restrictor_critical_ratio,
        restrictor_u=restrictor_u,
        critical_ratio_limit=critical_ratio_limit,
        p_ambient_abs_pa=within(85e3, 104e3),
        air_k=room_k,
        engine_k=engine_k,
        wall_w_k=wall,
        wall_w_k_pa=wall * more / REFERENCE_GAUGE_PA if heat == "pressure" else 0.0,
        wall_stir=more if heat == "fill" else 0.0,
        noise_pa=load_scenario("hillclimb-before").rig.transducers.noise_pa if noise_pa is None else noise_pa,
        noise_ar1=noise_ar1 if noise == "ar1" else 0.0,
        adc_bits=adc_bits,
        converter_lsb=converter_lsb,
        baseline_s=2.0,
        puff_s=0.2 if random.random() < 0.4 else None,
        fill_s=within(*fill_s),
        longest_decay_s=within(4.0, 10.0),
        vent_s=1.5,
        believed=Believed(*(float(number) for number in random.standard_normal(5))),
    )
    low, high = leakage
    if low < LOG_BELOW_PERCENT < high and random.random() < LOG_SHARE:
        wanted = float(np.exp(within(np.log(low), np.log(LOG_BELOW_PERCENT))))
    else:
        wanted = within(low, high)
    return _scaled(case, wanted)


def _scaled(case: Case, leakage_percent: float) -> Case:
    """The case with its leaks, whose areas are shares so far, made such that it settles at a leakage."""
    scenario = scenario_of(case)
    p_set = case.p_ambient_abs_pa + case.set_gauge_pa
    low, high = case.p_ambient_abs_pa, p_set
    for _ in range(60):
        p_cylinder = 0.5 * (low + high)
        flow, p_regulated = arriving_flow(scenario, p_cylinder, p_set)
        percent = 100.0 * (p_regulated - p_cylinder) / (p_regulated - case.p_ambient_abs_pa)
        low, high = (p_cylinder, high) if percent > leakage_percent else (low, p_cylinder)
    t_gas = settled_gas_k(scenario, flow, p_regulated, p_cylinder)
    area = flow / nozzle_flow_kg_s(1.0, p_cylinder, case.p_ambient_abs_pa, t_gas)
    factor = area / _area_and_exponent(case, p_cylinder - case.p_ambient_abs_pa)[0]
    return replace(case, leaks=tuple((place, factor * share, exponent) for place, share, exponent in case.leaks))


def _area_and_exponent(case: Case, p_gauge_pa: float) -> tuple[float, float]:
    """All leaks' area at a cylinder pressure, m², and how it changes there, d ln A / d ln p_gauge."""
    areas = [(area * (p_gauge_pa / REFERENCE_GAUGE_PA) ** exponent, exponent) for _, area, exponent in case.leaks]
    total = sum(area for area, _ in areas)
    return total, sum(area * exponent for area, exponent in areas) / total


@lru_cache(maxsize=1)
def _template() -> Scenario:
    return load_scenario("hillclimb-before")


def scenario_of(case: Case) -> Scenario:
    """The simulator's scenario of a case: one cylinder, the crank at its compression TDC."""
    template = _template()
    engine = load_engine(
        {
            "schema_version": 1,
            "name": "random single (invented)",
            "cycle": "four-stroke",
            "firing_order": [1],
            "bore_mm": 1e3 * case.bore_m,
            "stroke_mm": 1e3 * case.stroke_m,
            "rod_mm": 1e3 * case.rod_m,
            "compression_ratio": case.compression_ratio,
        },
        "random engine",
    )
    air = replace(
        template.rig.air,
        set_gauge_pa=REFERENCE_GAUGE_PA,  # what the leaks refer to; the regulator is turned to the case's own
        droop_pa_s_kg=case.droop_pa_s_kg,
        restrictor_conductance_m3_s_pa=case.restrictor_conductance_m3_s_pa,
        restrictor_critical_ratio=case.restrictor_critical_ratio,
        restrictor_u=case.restrictor_u,
        restrictor_critical_ratio_limit=case.critical_ratio_limit,
    )
    transducers = replace(
        template.rig.transducers,
        noise_pa=case.noise_pa,
        noise_ar1=case.noise_ar1,
        hum_limit_pa=0.0,
        adc_bits=case.adc_bits,
        converter_limit_lsb=case.converter_lsb,
    )
    if case.exact_sensors:
        transducers = replace(transducers, zero_drift_pa=0.0, zero_drift_limit_pa_h=0.0, span_u=0.0, tie_u=0.0, bow_limit_pa=0.0)
    return replace(
        template,
        name=f"random case {case.seed}",
        seed=case.seed,
        engine=engine,
        rig=replace(template.rig, air=air, transducers=transducers),
        leaks={1: tuple(Leak(place, area, exponent, 0.0, 0.012, None) for place, area, exponent in case.leaks)},
        crank=replace(template.crank, start_deg=0.0),
        ambient=replace(
            template.ambient,
            pressure_abs_pa=case.p_ambient_abs_pa,
            air_k=case.air_k,
            engine_k=case.engine_k,
            engine_wall_w_k=case.wall_w_k,
            engine_wall_w_k_pa=case.wall_w_k_pa,
            engine_wall_stir=case.wall_stir,
        ),
        truth={},
    )


def settled_truth(case: Case) -> Truth:
    """The truth of a case from the balance of mass and heat alone, without a run."""
    scenario = scenario_of(case)
    settled: Settled = settled_state(scenario, 1, case.set_gauge_pa)
    regulated = settled.p_regulated_abs_pa - case.p_ambient_abs_pa
    cylinder = settled.p_cylinder_abs_pa - case.p_ambient_abs_pa
    area, exponent = _area_and_exponent(case, cylinder)
    air = scenario.rig.air
    volume = scenario.engine.clearance_m3 + air.adapter_volume_m3 + air.hose_volume_m3 * (1.0 + air.hose_stretch_per_pa * cylinder)
    return Truth(100.0 * (regulated - cylinder) / regulated, area, cylinder, regulated, exponent, volume)


def laws_of(case: Case) -> dict[str, ChannelLaw]:
    """The laws of both channels as the host has them: the transducers' own, zeros not yet read."""
    scenario = scenario_of(case)
    electronics, parts = Electronics(scenario), scenario.rig.transducers
    law = ChannelLaw(
        electronics.volts_at_zero,
        electronics.volts_per_raw,
        electronics.sensor_supply_v,
        parts.low_gauge_pa,
        parts.high_gauge_pa,
    )
    return {"regulated": law, "cylinder": law}


def instrument_of(case: Case) -> Instrument:
    """What the host knows of rig and air, each note off by its own draw."""
    scenario = scenario_of(case)
    air, parts = scenario.rig.air, scenario.rig.transducers
    conductance, ratio = stated_restrictor(scenario)
    restrictor = Restrictor.from_conductance(conductance, ratio, case.restrictor_u, case.critical_ratio_limit / sqrt(3.0))
    step = laws_of(case)["cylinder"].pa_per_raw
    known = Instrument(
        restrictor,
        u_gain=parts.span_u,
        u_tie=parts.tie_u,
        u_zero_pa=parts.zero_drift_pa,
        bow_pa=parts.bow_limit_pa,
        range_pa=parts.high_gauge_pa - parts.low_gauge_pa,
        converter_pa=step * parts.converter_limit_lsb,
        resolution_pa=step,
    )
    believed = case.believed
    return replace(
        known,
        p_ambient_abs_pa=case.p_ambient_abs_pa + known.u_p_ambient_pa * believed.ambient,
        t_supply_k=case.air_k + known.u_t_supply_k * believed.supply,
        t_cylinder_k=case.engine_k + known.u_t_cylinder_k * believed.cylinder,
        dead_volume_m3=air.dead_volume_m3 / (1.0 + known.u_dead_volume * believed.dead_volume),
        hose_volume_m3=(air.hose_volume_m3 + air.adapter_volume_m3) / (1.0 + known.u_hose_volume * believed.hose_volume),
    )


def make_capture(case: Case) -> Made:
    """Runs the case: vented, perhaps a puff, air on, supply shut, vented again; 1000 samples a second."""
    scenario = scenario_of(case)
    plant, electronics = Plant(scenario), Electronics(scenario)
    plant.set_restraint(RESTRAINT_NM)
    plant.set_regulator(case.set_gauge_pa)
    plant.attach_hose(1)
    pieces: list[tuple[PlantTrace, int]] = []

    def run(seconds: float, *flags: SampleFlags) -> None:
        pieces.append((plant.advance(round(seconds / PERIOD_S), PERIOD_S), sum(int(flag) for flag in flags)))

    run(case.baseline_s, SampleFlags.VENT_OPEN)
    plant.set_vent(False)
    if case.puff_s is not None:
        plant.set_supply(True)
        run(case.puff_s, SampleFlags.SUPPLY_OPEN)
        plant.set_supply(False)
        plant.set_vent(True)
        run(PUFF_WATCH_S, SampleFlags.VENT_OPEN)
        plant.set_vent(False)
    plant.set_supply(True)
    run(case.fill_s, SampleFlags.SUPPLY_OPEN)
    plant.set_supply(False)
    began_pa, began_s = plant.p_cylinder_gauge_pa, plant.now_s
    while plant.now_s - began_s < case.longest_decay_s and plant.p_cylinder_gauge_pa > DECAY_ENDS_AT * began_pa:
        run(DECAY_LOOK_S)
    plant.set_vent(True)
    run(case.vent_s, SampleFlags.VENT_OPEN)

    first = pieces[0][0]
    trace = PlantTrace(
        first.position,
        first.t_before_s,
        first.crank_before_deg,
        *(
            np.concatenate([getattr(piece, name) for piece, _ in pieces])
            for name in ("t_s", "p_regulated_abs_pa", "p_cylinder_abs_pa", "crank_deg")
        ),
    )
    index = np.arange(len(trace), dtype=np.int64)
    columns = SampleColumns(
        tick=(index + 1) * round(PERIOD_S * TICK_RATE_HZ),
        index=index,
        crank_count=electronics.counts(trace),
        raw=electronics.raw(trace),
        flags=np.concatenate([np.full(len(piece), flags, np.uint16) for piece, flags in pieces]),
        tick_rate_hz=TICK_RATE_HZ,
    )
    return Made(columns, laws_of(case), instrument_of(case), settled_truth(case))
