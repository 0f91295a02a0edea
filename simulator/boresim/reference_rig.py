"""The rig of a scenario: its air parts, sensors, encoder and device. The numbers stand in reference_rig.toml, which is what every
statement about accuracy refers to; a scenario may replace single ones.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi
from typing import Literal, cast

from boresim.check_valve import CheckValve
from boresim.reader import Table

__all__ = ["AirParts", "DeviceParts", "EncoderParts", "RigParts", "TransducerParts", "read_rig"]


@dataclass(frozen=True, slots=True)
class AirParts:
    """Everything that air flows through, from the regulator to the adapter; pressures are gauge where the name says so."""

    set_gauge_pa: float
    supply_gauge_pa: float
    droop_pa_s_kg: float  # fall of the regulated pressure for each kg/s drawn
    relieving: bool
    supply_area_m2: float
    supply_travel_s: float
    supply_seat_leak_m2: float
    vent_regulated_area_m2: float
    vent_cylinder_area_m2: float
    vent_travel_s: float
    dead_volume_m3: float
    restrictor_conductance_m3_s_pa: float
    restrictor_critical_ratio: float
    restrictor_u: float  # standard deviation of the conductance about what is stated, a share of it
    restrictor_critical_ratio_limit: float  # bound of the critical ratio about what is stated
    hose_volume_m3: float
    hose_stretch_per_pa: float  # share by which the hose grows for each Pa
    hose_bore_area_m2: float
    hose_wall_w_k: float
    adapter_volume_m3: float
    relief_gauge_pa: float
    relief_area_m2: float
    check_valve: CheckValve | None = None  # left in the adapter


@dataclass(frozen=True, slots=True)
class TransducerParts:
    """The class of both pressure transducers and of their converter. The seed draws the errors.

    *_limit_* are bounds, inside of which any value is as likely as another; *_u and zero_drift_pa are standard deviations of a
    normal distribution. Span and bow of a pair of one make are alike: span_u and bow_limit_pa are drawn once for both; tie_u is of
    the difference between the two spans, and bow_mismatch_limit_pa is drawn for each.
    """

    low_gauge_pa: float
    high_gauge_pa: float
    sensor_supply_v: float
    noise_pa: float  # standard deviation of one sample
    noise_ar1: float  # correlation of a sample with the next one
    zero_limit_pa: float
    zero_drift_pa: float  # of each zero's change from a zeroing to a reading ten seconds later, see ZeroWander
    zero_drift_limit_pa_h: float
    span_u: float
    tie_u: float
    bow_limit_pa: float
    bow_mismatch_limit_pa: float
    hum_limit_pa: float
    hum_hz: float
    adc_bits: int
    adc_reference_v: float
    converter_limit_lsb: float  # of each channel's own integral non-linearity


@dataclass(frozen=True, slots=True)
class EncoderParts:
    """The crank encoder."""

    counts_per_rev: int
    sign: Literal[1, -1]  # of the count while the crank turns in running direction


@dataclass(frozen=True, slots=True)
class DeviceParts:
    """What the device says of itself, and its clock."""

    serial_number: str
    tick_rate_hz: int
    first_tick: int
    clock_limit_ppm: float
    max_rate_hz: int
    max_block_size: int


@dataclass(frozen=True, slots=True)
class RigParts:
    """The whole rig. With valves = "hand" a person moves supply and vent and the device has no say."""

    name: str
    valves: Literal["solenoid", "hand"]
    hold_switch: bool
    air: AirParts
    transducers: TransducerParts
    encoder: EncoderParts
    device: DeviceParts


def read_rig(table: Table) -> RigParts:
    """The rig of a table with all keys of reference_rig.toml. Raises ScenarioError."""
    rig = RigParts(
        name=table.text("name"),
        valves=cast('Literal["solenoid", "hand"]', table.choice("valves", ("solenoid", "hand"))),
        hold_switch=table.yes_no("hold_switch"),
        air=_air(table.table("air")),
        transducers=_transducers(table.table("transducers")),
        encoder=_encoder(table.table("encoder")),
        device=_device(table.table("device")),
    )
    table.done()
    return rig


def _air(table: Table) -> AirParts:
    air = AirParts(
        set_gauge_pa=1e3 * table.number("set_pressure_kpa", 0, 900),
        supply_gauge_pa=1e3 * table.number("supply_pressure_kpa", 0, 1600),
        droop_pa_s_kg=1e6 * table.number("droop_kpa_per_g_s", 0.05, 200),
        relieving=table.yes_no("relieving"),
        supply_area_m2=1e-6 * table.number("supply_area_mm2", 0.5, 200),
        supply_travel_s=1e-3 * table.number("supply_travel_ms", 0, 5000),
        supply_seat_leak_m2=1e-6 * table.number("supply_seat_leak_mm2", 0, 5),
        vent_regulated_area_m2=1e-6 * table.number("vent_regulated_area_mm2", 0.5, 200),
        vent_cylinder_area_m2=1e-6 * table.number("vent_cylinder_area_mm2", 0.5, 200),
        vent_travel_s=1e-3 * table.number("vent_travel_ms", 0, 5000),
        dead_volume_m3=1e-6 * table.number("dead_volume_cm3", 1, 1000),
        restrictor_conductance_m3_s_pa=1e-8 * table.number("restrictor_dm3_s_bar", 0.005, 5),
        restrictor_critical_ratio=table.number("restrictor_critical_ratio", 0.1, 0.6),
        restrictor_u=table.number("restrictor_known_to_percent", 0, 20) / 100.0,
        restrictor_critical_ratio_limit=table.number("restrictor_critical_ratio_known_to", 0, 0.1),
        hose_volume_m3=1e-6 * table.number("hose_volume_cm3", 1, 1000),
        hose_stretch_per_pa=1e-5 * table.number("hose_stretch_per_bar", 0, 0.05),
        hose_bore_area_m2=pi / 4e6 * table.number("hose_bore_mm", 1, 20) ** 2,
        hose_wall_w_k=table.number("hose_wall_w_k", 0, 20),
        adapter_volume_m3=1e-6 * table.number("adapter_volume_cm3", 0, 100),
        relief_gauge_pa=1e3 * table.number("relief_kpa", 50, 2000),
        relief_area_m2=1e-6 * table.number("relief_area_mm2", 1, 200),
        check_valve=_check_valve(table),
    )
    table.done()
    return air


def _check_valve(table: Table) -> CheckValve | None:
    way = table.choice("check_valve", ("none", "into_cylinder", "out_of_cylinder"), "none")
    area_m2 = 1e-6 * table.number("check_valve_area_mm2", 0.1, 200, 3.0)
    opens_pa = 1e3 * table.number("check_valve_opens_kpa", 0.1, 200, 5.0)
    if way == "none":
        return None
    return CheckValve("into_cylinder" if way == "into_cylinder" else "out_of_cylinder", area_m2, opens_pa)


def _transducers(table: Table) -> TransducerParts:
    span_pa = 1e3 * table.number("range_kpa", 50, 2000)
    percent_of_range = span_pa / 100.0
    parts = TransducerParts(
        low_gauge_pa=0.0,
        high_gauge_pa=span_pa,
        sensor_supply_v=table.number("sensor_supply_v", 1, 12),
        noise_pa=percent_of_range * table.number("noise_percent_of_range", 0, 5),
        noise_ar1=table.number("noise_ar1", 0, 0.99, 0.0),
        zero_limit_pa=percent_of_range * table.number("zero_percent_of_range", 0, 5),
        zero_drift_pa=percent_of_range * table.number("zero_drift_percent_of_range", 0, 5),
        zero_drift_limit_pa_h=percent_of_range * table.number("zero_drift_percent_of_range_per_hour", 0, 5),
        span_u=table.number("span_percent", 0, 5) / 100.0,
        tie_u=table.number("tied_to_percent", 0, 5) / 100.0,
        bow_mismatch_limit_pa=percent_of_range * table.number("bow_mismatch_percent_of_range", 0, 5),
        bow_limit_pa=percent_of_range * table.number("bow_percent_of_range", 0, 5),
        hum_limit_pa=percent_of_range * table.number("hum_percent_of_range", 0, 5),
        hum_hz=table.number("hum_hz", 0, 400),
        adc_bits=table.whole("adc_bits", 8, 16),
        adc_reference_v=table.number("adc_reference_v", 1, 12),
        converter_limit_lsb=table.number("converter_nonlinearity_lsb", 0, 16, 0.0),
    )
    table.done()
    return parts


def _encoder(table: Table) -> EncoderParts:
    sign = table.whole("sign", -1, 1)
    if sign == 0:
        raise table.error("sign", "must be 1 or -1, not 0")
    parts = EncoderParts(table.whole("counts_per_rev", 100, 100_000), cast("Literal[1, -1]", sign))
    table.done()
    return parts


def _device(table: Table) -> DeviceParts:
    parts = DeviceParts(
        serial_number=table.text("serial_number"),
        tick_rate_hz=table.whole("tick_rate_hz", 1000, 100_000_000),
        first_tick=table.whole("first_tick", 0, 2**32 - 1),
        clock_limit_ppm=table.number("clock_ppm", 0, 5000),
        max_rate_hz=table.whole("max_rate_hz", 10, 10_000),
        max_block_size=table.whole("max_block_size", 1, 28),
    )
    table.done()
    return parts
