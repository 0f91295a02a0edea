"""The tables of hardware_notes/uncertainty.md, by the program's own budgets.

Run `python tests/check/hardware_budget.py` to renew them. The rig is that of the page: two ratiometric transducers of 0 to 1000
kPa, 5 V, the 10-bit converter summed four times or one of 16 bits, 552 kPa, a restrictor of 0.040 in. What its checks leave
uncertain is worked out by the functions that read those checks, from readings without error.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import hypot, pi, sqrt
from pathlib import Path

import numpy as np
from borewright.core.calibration import instrument_of
from borewright.core.capture import CaptureResult
from borewright.core.crank import gas_torque_nm
from borewright.core.fit_noise import converter_covariance
from borewright.core.flow import decay_pressure_abs_pa, leak_area_m2
from borewright.core.instrument import Instrument
from borewright.core.phases import Phases
from borewright.core.restrictor import Restrictor
from borewright.core.restrictor_fit import Orifice, OrificePoint, restrictor_of_orifices
from borewright.core.rig import RigSetup
from borewright.core.sealed import DecaySlope, SealedPoint, judge_sealed
from borewright.core.span import ReferenceGauge, SpanPoint, fit_span
from borewright.core.steady_budget import steady_budgets
from borewright.core.uncertainty import Budget
from borewright.service.conditions_of_air import U_P_AMBIENT_ASSUMED_PA, U_T_ASSUMED_K, AirConditions

ROOT = Path(__file__).resolve().parents[2]
PAGE = ROOT / "hardware_notes" / "uncertainty.md"

LEAKAGES_PERCENT = (5, 10, 20, 40, 80)
SET_PA = RigSetup().set_pressure_gauge_pa
AMBIENT_PA, AIR_K = 101_325.0, 293.15
RANGE_PA = 1_000_000.0
NOISE_PA = 1_000.0  # of one sample: 0.1 % of the range, as simulator/scenarios/reference_rig.toml has it
RATE_HZ, READ_S = 1000, 3.0  # core.steady reads so long

TEN_BIT_STEP_PA = RANGE_PA / 0.8 / 1024.0  # 5 V over 1024 codes; the transducer uses 80 % of its supply
WORD_STEP_PA = TEN_BIT_STEP_PA / 4.0  # a raw word is the sum of four codes
SIXTEEN_BIT_STEP_PA = RANGE_PA / 0.8 / 65536.0
TEN_BIT_HALF_LSB_PA = (
    0.5 * TEN_BIT_STEP_PA
)  # integral non-linearity of the microcontroller's converter, from memory of its data sheet
SIXTEEN_BIT_INL_PA = 4.0 * SIXTEEN_BIT_STEP_PA  # an ordinary one; common practice, no source


def as_built(instrument: Instrument) -> Instrument:
    """With the 10-bit converter. A reading is the difference from vent, so the converter errs twice."""
    return replace(instrument, converter_pa=sqrt(2.0) * TEN_BIT_HALF_LSB_PA, resolution_pa=WORD_STEP_PA)


def better_converter(instrument: Instrument) -> Instrument:
    """With one of 16 bits."""
    return replace(instrument, converter_pa=sqrt(2.0) * SIXTEEN_BIT_INL_PA, resolution_pa=SIXTEEN_BIT_STEP_PA)


# ---------------------------------------------------------------------- what each check leaves uncertain


def never_checked() -> Instrument:
    """A new rig: what the program assumes where no check was made and nothing was stated of the air."""
    found, _ = instrument_of(
        RigSetup(),
        {},
        AMBIENT_PA,
        AIR_K,
        u_p_ambient_pa=U_P_AMBIENT_ASSUMED_PA,
        u_t_supply_k=U_T_ASSUMED_K,
        u_t_cylinder_k=U_T_ASSUMED_K,
    )
    return as_built(found)


def with_sealed(instrument: Instrument) -> Instrument:
    """The sealed check at its three pressures."""
    still = (DecaySlope(SET_PA, 0.0, 0.5, 0.0, 0.0),) * 4
    points = [SealedPoint(share * SET_PA, share * SET_PA, 10.0, still, AMBIENT_PA, AIR_K) for share in (0.4, 0.7, 1.0)]
    return replace(instrument, u_tie=judge_sealed(points, 54e-6).u_tie)


def with_orifices(instrument: Instrument, u_certificate: float = 0.006) -> Instrument:
    """The restrictor by three certified orifices; u_certificate: k = 2, as it is printed."""
    jet = Restrictor(RigSetup().restrictor_area_m2, 0.5)
    points = []
    for area_m2 in (0.4e-6, 0.8e-6, 1.6e-6):
        low, high = 0.0, SET_PA
        for _ in range(60):
            middle = (low + high) / 2.0
            let_in = jet.mass_flow_kg_s(SET_PA + AMBIENT_PA, middle + AMBIENT_PA, AIR_K)
            lets_out = Restrictor(area_m2).mass_flow_kg_s(middle + AMBIENT_PA, AMBIENT_PA, AIR_K)
            low, high = (middle, high) if let_in > lets_out else (low, middle)
        orifice = Orifice(area_m2, u_certificate / 2.0, f"O-{area_m2}", "example")
        points.append(OrificePoint(orifice, SET_PA, low, 100.0, AMBIENT_PA, AIR_K))
    return replace(instrument, restrictor=restrictor_of_orifices(points, instrument.u_tie).restrictor)


def with_span(instrument: Instrument, u_gauge: float = 0.0005) -> Instrument:
    """Both transducers beside a reference gauge, up and down; u_gauge: k = 2, as it is printed, read to steps of 0.1 kPa."""
    rising = [share * SET_PA for share in (0.0, 0.25, 0.5, 0.75, 1.0)]
    points = [
        SpanPoint(p, 100.0 / sqrt(12.0), p, NOISE_PA, RATE_HZ, "falling" if number > 4 else "rising")
        for number, p in enumerate(rising + rising[-2:0:-1])
    ]
    span = fit_span(points, 0.0, RANGE_PA, SET_PA, ReferenceGauge("G", "example", None, u_gauge / 2.0), instrument.resolution_pa)
    return replace(instrument, u_gain=span.u_gain_left, bow_pa=span.bow_left_pa)


def with_air_stated(instrument: Instrument) -> Instrument:
    """Barometer and thermometers read and typed."""
    stated = AirConditions()
    return replace(
        instrument, u_p_ambient_pa=stated.u_p_ambient_pa, u_t_supply_k=stated.u_t_supply_k, u_t_cylinder_k=stated.u_t_engine_k
    )


def checked_rig() -> Instrument:
    """All checks made, as built."""
    return with_air_stated(with_span(with_orifices(with_sealed(never_checked()))))


# ---------------------------------------------------------------------- budgets


def budgets(instrument: Instrument, leakage_percent: float) -> tuple[Budget, Budget]:
    """Of leakage in points and of leak area in mm², for a reading that stands."""
    count = round(RATE_HZ * READ_S)
    noise = NOISE_PA * np.random.default_rng(20_260_601).standard_normal((2, count))
    p_cylinder = SET_PA * (1.0 - leakage_percent / 100.0)
    area = float(leak_area_m2(instrument.restrictor.area_m2, SET_PA, p_cylinder, AMBIENT_PA, AIR_K))
    span = (0, count)
    result = CaptureResult(
        leakage_percent=leakage_percent,
        p_regulated_gauge_pa=SET_PA,
        p_cylinder_gauge_pa=p_cylinder,
        leak_area_m2=area,
        t75_s=None,
        t50_s=None,
        t25_s=None,
        phases=Phases(span, None, span, span, None, span),
        zero_regulated_pa=0.0,
        zero_cylinder_pa=0.0,
        steady=True,
        slope_percent_per_s=0.0,
        steady_read=span,
        marks=(),
        crank_moved_counts=0,
    )
    leakage, leak_area = steady_budgets(SET_PA + noise[0], p_cylinder + noise[1], result, instrument)
    return leakage, leak_area


def part(budget: Budget, *words: str) -> float:
    """The contribution of all items that have one of the words in their names. Raises LookupError where there is none."""
    found = [item.contribution for item in budget.items if any(word in item.name for word in words)]
    if not found:
        raise LookupError(f"no item is called {' or '.join(words)}")
    return hypot(*found)


# ---------------------------------------------------------------------- tables

PARTS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("noise of the transducers, averaged over 3 s", ("noise",)),
    ("drift of the two zeros since venting", ("zero",)),
    ("tie: what the two transducers still differ by", ("tie",)),
    ("span of both", ("span",)),
    ("bow of both (non-linearity)", ("non-linearity",)),
    ("**converter, 10 bits summed four times**", ("converter",)),
)
AREA_PARTS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("restrictor's area", ("restrictor",)),
    ("pressure of the air around", ("ambient",)),
    ("temperature of the supplied air", ("supplied",)),
    ("temperature of the air in the cylinder", ("inside", "in the cylinder")),
    ("both pressures: all lines of the first table", ("noise", "zero", "tie", "span", "non-linearity", "converter")),
)


def _table(headings: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> str:
    lines = [headings, ("---", *("---:" for _ in headings[1:])), *rows]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)


def leakage_table() -> str:
    """Each part's standard uncertainty in points of leakage, then all of them together, for both converters."""
    rig = checked_rig()
    here = [budgets(rig, leakage)[0] for leakage in LEAKAGES_PERCENT]
    there = [budgets(better_converter(rig), leakage)[0] for leakage in LEAKAGES_PERCENT]
    rows = [(name, *(f"{part(one, *words):.3f}" for one in here)) for name, words in PARTS]
    rows += [
        ("combined, as built", *(f"{one.standard:.3f}" for one in here)),
        ("**expanded, as built: what stands behind ±**", *(f"**{one.expanded():.2f}**" for one in here)),
        ("converter of 16 bits instead", *(f"{part(one, 'converter'):.3f}" for one in there)),
        ("combined, with 16 bits", *(f"{one.standard:.3f}" for one in there)),
        ("**expanded, with 16 bits**", *(f"**{one.expanded():.2f}**" for one in there)),
    ]
    return _table(("points of leakage, at", *(f"{leakage} %" for leakage in LEAKAGES_PERCENT)), rows)


def area_table() -> str:
    """The same for the leak area, in percent of it."""
    rig = checked_rig()
    here = [budgets(rig, leakage)[1] for leakage in LEAKAGES_PERCENT]
    there = [budgets(better_converter(rig), leakage)[1] for leakage in LEAKAGES_PERCENT]
    rows = [(name, *(f"{100.0 * part(one, *words) / one.value:.2f}" for one in here)) for name, words in AREA_PARTS]
    rows += [
        ("**expanded, as built**", *(f"**{100.0 * one.expanded() / one.value:.1f}**" for one in here)),
        ("**expanded, with 16 bits**", *(f"**{100.0 * one.expanded() / one.value:.1f}**" for one in there)),
    ]
    return _table(("% of the leak area, at", *(f"{leakage} %" for leakage in LEAKAGES_PERCENT)), rows)


@dataclass(frozen=True, slots=True)
class Step:
    """One thing more that is done or bought."""

    words: str
    change: Callable[[Instrument], Instrument]


STEPS = (
    Step("as built, nothing checked, nothing stated", lambda instrument: instrument),
    Step("+ `rig sealed`: a cap, ten minutes", with_sealed),
    Step("+ `rig restrictor`: three certified orifices of 0.6 %", with_orifices),
    Step("+ barometer and thermometers, read and typed", with_air_stated),
    Step("+ `rig span`: a reference gauge of 0.05 %", with_span),
    Step("+ converter of 16 bits", better_converter),
    Step("+ orifices of 0.3 % instead", lambda instrument: with_orifices(instrument, 0.003)),
)


def money_table() -> str:
    """What each step brings: expanded uncertainty of leakage in points and of leak area in percent, at 10 and at 40 %."""
    rows, instrument = [], never_checked()
    for step in STEPS:
        instrument = step.change(instrument)
        cells = []
        for leakage_percent in (10, 40):
            leakage, area = budgets(instrument, leakage_percent)
            cells += [f"{leakage.expanded():.2f}", f"{100.0 * area.expanded() / area.value:.1f}"]
        rows.append((step.words, *cells))
    return _table(("what is there", "10 %: points", "10 %: % of area", "40 %: points", "40 %: % of area"), rows)


def steps_table() -> str:
    """What the steps of the 10-bit converter leave when the noise does not blur them, in points of leakage (k = 2)."""
    rows = []
    for share in (0.0, 0.1, 0.2, 0.3, 0.5):
        sigma_pa = share * TEN_BIT_STEP_PA
        one_step = replace(checked_rig(), converter_pa=0.0, resolution_pa=TEN_BIT_STEP_PA)
        of_channel = sqrt(float(converter_covariance(np.array([SET_PA]), one_step, sigma_pa)[0, 0]))
        # both channels, each less its zero: four readings
        points = 2.0 * 100.0 * 2.0 * of_channel / SET_PA
        word_noise = 2.0 * sqrt(share**2 + 1.0 / 12.0)  # four codes, each with the noise of its rounding
        rows.append((f"{share:.1f}", f"{word_noise:.1f}" if share >= 0.3 else "0 to 1, by where it stands", f"{points:.3f}"))
    return _table(("noise of one conversion, in its steps", "noise in raw counts on the Rig page", "left in the leakage, ±"), rows)


def transducer_table() -> str:
    """Transducers that bend more than the reference rig's, both alike, without and with a span calibration."""
    rows = []
    spanned = with_span(checked_rig())
    for bow_share in (0.0005, 0.001, 0.0025, 0.005):
        straight = replace(checked_rig(), u_gain=never_checked().u_gain, bow_pa=bow_share * RANGE_PA)
        cells = []
        for instrument in (straight, spanned):
            for leakage_percent in (10, 40):
                leakage, area = budgets(instrument, leakage_percent)
                cells.append(f"{leakage.expanded():.2f} / {100.0 * area.expanded() / area.value:.1f} %")
        rows.append((f"{100.0 * bow_share:g} % of the range", *cells))
    return _table(("non-linearity, at most", "10 %, no span", "40 %, no span", "10 %, span made", "40 %, span made"), rows)


def vent_table() -> str:
    """How long after the crank has left its window the cylinder is still pressed, and how far a free crank goes meanwhile."""
    clearance_hose_m3, vent_m2 = 90e-6, 16e-6  # of an engine of 86 × 86 mm with its hose; the reference rig's vent
    t_s = np.arange(0.0, 0.5, 1e-4)
    gauge = decay_pressure_abs_pa(t_s, SET_PA + AMBIENT_PA, vent_m2, clearance_hose_m3, AMBIENT_PA, AIR_K) - AMBIENT_PA
    rows = []
    for travel_s in (0.010, 0.020, 0.050):
        delay_s = 0.001 + travel_s
        p = np.where(t_s < delay_s, SET_PA, np.interp(t_s - delay_s, t_s, gauge))
        gone_s = float(t_s[int(np.argmax(p < 5_000.0))])
        angle, speed = 1.5 * pi / 180.0, 0.0
        for pressure in p[: int(gone_s / 1e-4)]:
            speed += float(gas_torque_nm(angle * 180.0 / pi, 0.086, 0.086, 0.143, pressure)) / 0.15 * 1e-4
            angle += speed * 1e-4
        rows.append(
            (
                f"{travel_s * 1e3:.0f} ms",
                "1 ms",
                f"{delay_s * 1e3:.0f} ms",
                f"{gone_s * 1e3:.0f} ms",
                f"{angle * 180.0 / pi - 1.5:.1f}°",
            )
        )
    return _table(
        ("travel of each valve", "firmware, at most", "vent begins to empty", "cylinder under 5 kPa", "a free crank goes on by"),
        rows,
    )


TABLES: dict[str, Callable[[], str]] = {
    "leakage": leakage_table,
    "area": area_table,
    "money": money_table,
    "steps": steps_table,
    "transducers": transducer_table,
    "vent": vent_table,
}


def part_of(page: str, name: str) -> tuple[str, str, str]:
    """The page up to the end of a table's first marker, the table, and the rest. Raises ValueError when a marker is missing.

    >>> part_of("a <!-- x: begin --> b <!-- x: end --> c", "x")
    ('a <!-- x: begin -->', ' b ', '<!-- x: end --> c')
    """
    begin, end = f"<!-- {name}: begin -->", f"<!-- {name}: end -->"
    head, part = page[: page.index(begin) + len(begin)], page[page.index(begin) + len(begin) : page.index(end)]
    return head, part, page[page.index(end) :]


def with_tables(page: str) -> str:
    """The page with all tables as the program works them out now."""
    for name, table in TABLES.items():
        head, _, rest = part_of(page, name)
        page = f"{head}\n\n{table()}\n\n{rest}"
    return page


if __name__ == "__main__":
    PAGE.write_text(with_tables(PAGE.read_text("utf-8")), "utf-8")
    print(f"wrote {PAGE.name}")
