"""What can go wrong with the electronics: transducers, converter, encoder, clock."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from boresim import electrical_faults as wrong
from boresim.faults.fault import Fault, Level, Moment, Outcome
from boresim.noise import PositionNoise

if TYPE_CHECKING:
    from boresim.rig import SimRig

__all__ = ["ELECTRICAL"]

REGULATED, CYLINDER = 0, 1
AGAINST_ITS_END = 0.96  # of the supply: as far as a transducer's output goes up
OF_PPM = 10_000.0


def _words_per_pa(rig: SimRig) -> float:
    parts = rig.scenario.rig.transducers
    return 0.8 * _supply_words(rig) / (parts.high_gauge_pa - parts.low_gauge_pa)


def _supply_words(rig: SimRig) -> float:
    return rig.electronics.sensor_supply_v / rig.electronics.volts_per_raw


def _shaft_count(rig: SimRig) -> int:
    return rig.electronics.shaft_count(rig.plant.crank_deg, rig.plant.now_s)


def _row(
    name: str,
    what: str,
    moment: Moment,
    after_s: float,
    begin: Callable[[SimRig], None],
    outcome: Outcome,
    sees: str,
    record: str,
    *,
    end: Callable[[SimRig], None] | None = None,
    cylinder: int = 2,
) -> Fault:
    mend = end or (lambda rig: rig.electronics.mend(name, rig.plant.crank_deg, rig.plant.now_s))
    return Fault(
        name, Level.ELECTRICAL, what, moment, after_s, begin, mend, "hillclimb-before", 1907, cylinder, sees, outcome, record
    )


def _sensor(
    name: str,
    what: str,
    moment: Moment,
    after_s: float,
    make: Callable[[SimRig], wrong.SensorFault],
    outcome: Outcome,
    sees: str,
    record: str,
) -> Fault:
    """A row of a transducer or the converter."""
    return _row(name, what, moment, after_s, lambda rig: rig.electronics.break_sensor(name, make(rig)), outcome, sees, record)


def _encoder(
    name: str,
    what: str,
    moment: Moment,
    after_s: float,
    make: Callable[[SimRig], wrong.EncoderFault],
    outcome: Outcome,
    sees: str,
    record: str,
    *,
    cylinder: int = 2,
) -> Fault:
    """A row of the encoder, its wires or its coupling."""

    def begin(rig: SimRig) -> None:
        rig.electronics.break_encoder(name, make(rig))

    return _row(name, what, moment, after_s, begin, outcome, sees, record, cylinder=cylinder)


def _clock(name: str, what: str, by_ppm: float) -> Fault:
    """A row of the device's clock, which is too slow by so much."""

    def off_by(rig: SimRig, ppm: float) -> None:
        rig.set_clock_error(rig.electronics.clock_error_ppm + ppm)

    begin, end = (lambda rig: off_by(rig, by_ppm)), (lambda rig: off_by(rig, -by_ppm))
    return _row(name, what, Moment.START, 0.0, begin, Outcome.NUMBER, "", "", end=end)


def _of_range(channels: tuple[int, ...], kpa: float) -> Callable[[SimRig], wrong.SensorFault]:
    """A transducer of another range in place of the one that the rig's file names."""

    def make(rig: SimRig) -> wrong.SensorFault:
        parts = rig.scenario.rig.transducers
        return wrong.Scaled(channels, (parts.high_gauge_pa - parts.low_gauge_pa) / (1e3 * kpa), 0.1 * _supply_words(rig))

    return make


def _noise(name: str, channel: int, kpa: float) -> Callable[[SimRig], wrong.SensorFault]:
    def make(rig: SimRig) -> wrong.SensorFault:
        return wrong.AddedNoise(channel, PositionNoise(rig.scenario.seed, name), 1e3 * kpa * _words_per_pa(rig))

    return make


SENSORS = (
    _sensor(
        "regulated-wire-off",
        "The signal wire of the regulated transducer comes off: its input floats up to the converter's end.",
        Moment.FULL,
        2.0,
        lambda rig: wrong.FixedWord(REGULATED, rig.electronics.raw_max),
        Outcome.VOID,
        "regulated transducer gives no signal",
        "regulated transducer gives no signal",
    ),
    _sensor(
        "cylinder-wire-shorted",
        "The signal wire of the cylinder transducer is shorted to ground.",
        Moment.START,
        0.0,
        lambda rig: wrong.FixedWord(CYLINDER, rig.electronics.raw_min),
        Outcome.NONE,
        "cylinder transducer gives no signal",
        "cylinder transducer gives no signal",
    ),
    _sensor(
        "cylinder-sensor-saturated",
        "The output of the cylinder transducer goes against its upper end and stays there.",
        Moment.FULL,
        1.5,
        lambda rig: wrong.FixedWord(CYLINDER, int(AGAINST_ITS_END * _supply_words(rig))),
        Outcome.VOID,
        "cylinder transducer is frozen.*OPEN THE VENT BY HAND",
        "over pressure cylinder; the cylinder transducer is frozen",
    ),
    _sensor(
        "regulated-sensor-frozen",
        "The regulated transducer goes on giving the same word from the beginning.",
        Moment.START,
        0.0,
        lambda _: wrong.Frozen(REGULATED),
        Outcome.NONE,
        "regulated transducer is frozen",
        "regulated transducer is frozen",
    ),
    _sensor(
        "cylinder-sensor-frozen",
        "The cylinder transducer goes on giving the same word while the pressure stands.",
        Moment.FULL,
        1.5,
        lambda _: wrong.Frozen(CYLINDER),
        Outcome.VOID,
        "cylinder transducer is frozen",
        "cylinder transducer is frozen",
    ),
    _sensor(
        "cylinder-sensor-noisy",
        "The cylinder transducer is fifteen times as noisy as it was.",
        Moment.START,
        0.0,
        _noise("cylinder-sensor-noisy", CYLINDER, 15.0),
        Outcome.NONE,
        "cylinder transducer is .* noisy",
        "cylinder transducer is .* noisy",
    ),
    _sensor(
        "regulated-plug-crackles",
        "The plug of the regulated transducer begins to crackle once the pressure is on.",
        Moment.FULL,
        0.5,
        _noise("regulated-plug-crackles", REGULATED, 6.0),
        Outcome.MARKED,
        "regulated transducer was noisier",
        "regulated transducer was noisier",
    ),
    _sensor(
        "cylinder-sensor-drifts",
        "The zero of the cylinder transducer walks away by a quarter of a kPa each second.",
        Moment.FULL,
        0.0,
        lambda rig: wrong.Drift(CYLINDER, 250.0 * _words_per_pa(rig), rig.plant.now_s),
        Outcome.MARKED,
        "cylinder transducer's zero moved",
        "cylinder transducer's zero moved",
    ),
    _sensor(
        "sensor-supply-sags",
        "The supply of both transducers sags by 3 % once the valves have drawn current, and does not come back.",
        Moment.FULL,
        0.0,
        lambda _: wrong.Scaled((REGULATED, CYLINDER), 0.97, 0.0),
        Outcome.MARKED,
        "supply of the transducers",
        "supply of the transducers",
    ),
    _sensor(
        "mains-hum",
        "The mains come in on both channels, with an amplitude of 2 kPa.",
        Moment.START,
        0.0,
        lambda rig: wrong.Hum((REGULATED, CYLINDER), 2e3 * _words_per_pa(rig), 50.0),
        Outcome.NUMBER,
        "",
        "",
    ),
    _sensor(
        "stuck-bit",
        "One bit of the cylinder channel's converter stays set, which at vent it is anyway.",
        Moment.START,
        0.0,
        lambda _: wrong.StuckBit(CYLINDER, 3, True),
        Outcome.VOID,
        "one bit of the cylinder channel stays set",
        "one bit of the cylinder channel stays set",
    ),
    _sensor(
        "transducers-swapped",
        "The air lines to the two transducers have changed places since the rig's checks.",
        Moment.START,
        0.0,
        lambda rig: wrong.Swapped(_words_per_pa(rig)),
        Outcome.VOID,
        "the two transducers are swapped",
        "the two transducers are swapped",
    ),
    _sensor(
        "regulated-of-1600",
        "A transducer of 1600 kPa stands where the rig file says 1000 kPa, before the restrictor.",
        Moment.START,
        0.0,
        _of_range((REGULATED,), 1600.0),
        Outcome.VOID,
        "regulated transducer reads 0.6. times .* one of 1600 kPa",
        "regulated transducer reads 0.6. times .* one of 1600 kPa",
    ),
    _sensor(
        "cylinder-of-1600",
        "A transducer of 1600 kPa stands where the rig file says 1000 kPa, on the cylinder side.",
        Moment.START,
        0.0,
        _of_range((CYLINDER,), 1600.0),
        Outcome.VOID,
        "cylinder transducer reads 0.6. times .* one of 1600 kPa",
        "cylinder transducer reads 0.6. times .* one of 1600 kPa",
    ),
    _sensor(
        "cylinder-of-700",
        "A transducer of 700 kPa stands where the rig file says 1000 kPa, on the cylinder side.",
        Moment.START,
        0.0,
        _of_range((CYLINDER,), 700.0),
        Outcome.VOID,
        "transducer of a smaller range",
        "over pressure cylinder; .*transducer of a smaller range",
    ),
)

ENCODER = (
    _encoder(
        "edges-lost",
        "The encoder's disk is dirty: one count in 64 gets lost.",
        Moment.START,
        0.0,
        lambda rig: wrong.EdgesOff(_shaft_count(rig), 64, -1),
        Outcome.NONE,
        "counts were lost",
        "counts were lost",
    ),
    _encoder(
        "edges-doubled",
        "The encoder's edges bounce: one count in 64 is counted twice.",
        Moment.SQUEEZE,
        0.0,
        lambda rig: wrong.EdgesOff(_shaft_count(rig), 64, 1),
        Outcome.NONE,
        "counts were lost|index spacing",
        "counts were lost|index spacing",
    ),
    _encoder(
        "index-missing",
        "The wire of the encoder's index is off.",
        Moment.START,
        0.0,
        lambda _: wrong.IndexMissing(),
        Outcome.NONE,
        "no index pulse came",
        "no index pulse came",
    ),
    _encoder(
        "index-doubled",
        "A scratch on the encoder's disk makes a second index pulse a third of a turn after the first.",
        Moment.START,
        0.0,
        lambda rig: wrong.IndexDoubled(rig.electronics.counts_per_rev // 3),
        Outcome.NONE,
        "counts were lost",
        "counts were lost",
    ),
    _encoder(
        "phases-swapped",
        "The two phases of the encoder have been connected the other way round.",
        Moment.START,
        0.0,
        lambda rig: wrong.PhasesSwapped(_shaft_count(rig)),
        Outcome.NONE,
        "two phases are swapped",
        "which TDC of cylinder 2",
    ),
    _encoder(
        "coupling-slips",
        "The encoder's coupling slips in the squeeze: its shaft goes twenty degrees on without the crank.",
        Moment.SQUEEZE,
        0.2,
        lambda rig: wrong.Slip(rig.plant.now_s, 0.2, 20.0),
        Outcome.NONE,
        "slipped",
        "squeeze peaks",
        cylinder=1,
    ),
    _encoder(
        "coupling-slips-with-air",
        "The encoder's coupling slips by three degrees while the air is on; the crank stands.",
        Moment.FULL,
        1.0,
        lambda rig: wrong.Slip(rig.plant.now_s, 0.05, 3.0),
        Outcome.VOID,
        "crank left",
        "crank left",
    ),
)

ELECTRICAL: tuple[Fault, ...] = (
    *SENSORS,
    *ENCODER,
    _clock("clock-fast", "The device's clock is 1 % too fast.", -OF_PPM),
    _clock("clock-slow", "The device's clock is 1 % too slow.", OF_PPM),
)
