"""How often channel sense is wrong: false alarms over healthy captures, and how many broken channels it names.

Healthy ones: every shipped scenario with all its checks and tests, by the scripted person; and random captures (leakage 0.5 to
95 %, 10, 12 and 16 bits, white noise and slow). The same random captures are then bent as broken channels bend them.
"""

from __future__ import annotations

import re
import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np
import numpy.typing as npt
from boresim.scenario import load_scenario, scenario_names
from borewright.core.capture import CaptureUnusable, analyse_capture
from borewright.core.channel_capture import after_shut, range_trouble, stands_above, stuck_bit, swapped_rise
from borewright.core.restrictor import Restrictor
from borewright.core.samples import SampleColumns, SampleFlags
from borewright.simrig.demo import run_stage
from borewright.store import Store

sys.path.insert(0, str(Path(__file__).parent))

from parts.random_captures import Made, draw_case, make_capture
from parts.rows import Row, at_least, at_most, tell

SEEDS = 2
RANDOM = 300
SEEN_PERCENT = 50.0  # leakage up to which the decay is long enough to say what range a transducer has
CHANNEL_WORDS = re.compile(
    r"transducer (gives no signal|is frozen|is \d+ times as noisy|is noisier|reads [\d.]+ times|was noisier)"
    r"|zeros? moved|one bit of|swapped"
)

Bend = Callable[[npt.NDArray[np.float64]], npt.NDArray[np.float64]]


def alarms_of_scenario(name: str, seed: int | None, folder: Path) -> tuple[int, list[str]]:
    """How many tests were made, and all that was said of the channels of this sound rig."""
    with Store.open(folder / f"{name}-{seed}.borewright") as store:
        report = run_stage(load_scenario(name, seed), store, "bench", 1.8e9, lambda _: None, show_refusals=False)
    words = [say.text for say in report.said]
    words += [reason for refused in report.refusals for reason in refused.reasons]
    for one in report.cylinders:
        words += [one.void_reason or "", *one.marks]
    return len(report.cylinders), [word for word in words if CHANNEL_WORDS.search(word)]


def healthy(count: int) -> list[Made]:
    """Random captures."""
    kinds = [(12, "white", 0.0), (10, "white", 0.5), (16, "ar1", 0.0)]
    return [
        make_capture(draw_case(seed, adc_bits=bits, noise=noise, converter_lsb=lsb))  # type: ignore[arg-type]  # a word of Noise
        for seed in range(count)
        for bits, noise, lsb in [kinds[seed % len(kinds)]]
    ]


def found_in(columns: SampleColumns, made: Made) -> str | None:
    """The kind of trouble that a whole capture shows; None where nothing is wrong, "unusable" where no number comes of it."""
    laws, known = made.laws, made.instrument
    for name, raw in zip(("regulated", "cylinder"), columns.raw, strict=True):
        if stuck_bit(name, raw) is not None:
            return "stuck_bit"
    pressures = [laws[name].gauge_pa(columns.raw[channel]) for channel, name in enumerate(("regulated", "cylinder"))]
    if swapped_rise(columns.t_s, *pressures):
        return "swapped"
    try:
        result = analyse_capture(
            columns, laws, known.restrictor.area_m2, known.p_ambient_abs_pa, known.t_supply_k, known.t_cylinder_k
        )
    except CaptureUnusable:
        return "unusable"
    supply = np.flatnonzero(columns.flags & int(SampleFlags.SUPPLY_OPEN))
    part = slice(
        int(supply[-1]) + 1, int(supply[-1]) + 1 + int(np.argmax(columns.flags[supply[-1] + 1 :] & int(SampleFlags.VENT_OPEN)))
    )
    if part.stop > part.start:
        zeros = (result.zero_regulated_pa, result.zero_cylinder_pa)
        regulated, cylinder = (
            law.with_zero(zero).gauge_pa(columns.raw[channel][part])
            for channel, (law, zero) in enumerate(zip(laws.values(), zeros, strict=True))
        )
        seen = after_shut(
            columns.t_s[part],
            regulated,
            cylinder,
            Restrictor(known.restrictor.area_m2, known.restrictor.critical_ratio),
            known.dead_volume_m3,
            known.p_ambient_abs_pa,
            known.t_supply_k,
        )
        if seen is not None and range_trouble(seen.ratio, result.p_regulated_gauge_pa, None, 1e6) is not None:
            return "range"
    return "above" if stands_above(result.p_regulated_gauge_pa, result.p_cylinder_gauge_pa) else None


def bent(columns: SampleColumns, channel: int, bend: Bend) -> SampleColumns:
    """The same samples with one channel's words changed."""
    raw = columns.raw.astype(np.float64)
    raw[channel] = bend(raw[channel])
    words = np.clip(np.floor(raw), 0, 65535).astype(np.uint16)
    return SampleColumns(columns.tick, columns.index, columns.crank_count, words, columns.flags, columns.tick_rate_hz)


def of_range(share: float, made: Made) -> Bend:
    """Another range: so many times as far from the foot of the law."""
    law = made.laws["cylinder"]
    foot = (0.1 * law.sensor_supply_volts - law.volts_at_zero) / law.volts_per_raw
    return lambda words: foot + share * (words - foot)


def with_bit(bit: int, *, high: bool) -> Bend:
    """A bit that stays."""
    return lambda words: (words.astype(np.int64) | bit if high else words.astype(np.int64) & ~bit).astype(np.float64)


def swapped(columns: SampleColumns) -> SampleColumns:
    """Each channel with the other's words."""
    words = columns.raw[::-1].copy()
    return SampleColumns(columns.tick, columns.index, columns.crank_count, words, columns.flags, columns.tick_rate_hz)


def bit_of_pa(made: Made, least_pa: float) -> int:
    """The smallest bit that is worth so much pressure."""
    bit = 1
    while bit * made.laws["cylinder"].pa_per_raw < least_pa:
        bit <<= 1
    return bit


def with_range(channel: int, share: float, made: Made) -> SampleColumns:
    """One channel's transducer of another range."""
    return bent(made.columns, channel, of_range(share, made))


def with_stuck(least_pa: float, high: bool, made: Made) -> SampleColumns:
    """The cylinder channel with a bit that stays."""
    return bent(made.columns, 1, with_bit(bit_of_pa(made, least_pa), high=high))


def main() -> None:
    """Print the table."""
    began_s = time.process_time()
    tests, said = 0, []
    with tempfile.TemporaryDirectory() as folder:
        for name in scenario_names():
            for seed in (None, *range(1, SEEDS)):
                made_tests, alarms = alarms_of_scenario(name, seed, Path(folder))
                tests += made_tests
                said += [f"{name} {seed}: {alarm}" for alarm in alarms]
    print("\n".join(said))
    sound = healthy(RANDOM)
    false = [made for made in sound if found_in(made.columns, made) not in (None, "unusable")]
    rows = [
        at_most(f"alarms of channels at sound rigs, {tests} tests of all scenarios with their checks", "alarms", len(said), 0),
        at_most(f"alarms in {RANDOM} random healthy captures", "alarms", len(false), 0),
    ]
    usable = [made for made in sound if found_in(made.columns, made) is None]
    lower = [made for made in usable if made.truth.leakage_percent < SEEN_PERCENT]

    def rates(what: str, asked: float, bend: Callable[[Made], SampleColumns]) -> list[Row]:
        named = [found_in(bend(made), made) is not None for made in usable]
        below = [one for one, made in zip(named, usable, strict=True) if made.truth.leakage_percent < SEEN_PERCENT]
        return [
            at_least(f"{what}, leakage under {SEEN_PERCENT:.0f} %", "% of captures", 100.0 * sum(below) / len(lower), asked),
            at_least(f"{what}, leakage 0.5 to 95 %", "% of captures", 100.0 * sum(named) / len(usable), None),
        ]

    rows += rates("transducers swapped", 99.0, lambda made: swapped(made.columns))
    for kpa in (700.0, 1600.0):
        for channel, which in enumerate(("regulated", "cylinder")):
            bend = partial(with_range, channel, 1000.0 / kpa)
            rows += rates(f"{which} of {kpa:.0f} kPa for 1000, by one capture alone", 98.0, bend)
    for least_pa in (1_500.0, 6_000.0):
        for high in (True, False):
            what = f"bit of {least_pa / 1000:.1f} kPa and more stays {'set' if high else 'unset'}"
            rows += rates(what, 98.0, partial(with_stuck, least_pa, high))
    rows.append(at_most("channel sense: this survey", "s of CPU", time.process_time() - began_s, None))
    tell(rows)


if __name__ == "__main__":
    main()
