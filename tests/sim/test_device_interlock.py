"""The simulated device's interlock against its table: commands, refusals, watches, reaction time."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from boresim import interlock as meanings
from borewire.codec import encode
from borewire.framing import frame_of
from borewire.interlock import TABLE
from borewire.messages import (
    Ack,
    AirEvent,
    AirState,
    BlockFlags,
    Cause,
    FaultCode,
    FaultEvent,
    HostAlive,
    RefusalReason,
    Refused,
    SampleBlock,
    Status,
    StatusRequest,
    StreamStart,
    StreamStop,
    SupplyShut,
    VentClose,
    VentOpen,
)
from borewire.samples import sample_columns

FAST_LIMIT_RAW = 3800


def _air_events(pick: Any, events: Any) -> list[tuple[AirState, Cause]]:
    return [(event.air, event.cause) for event in pick(AirEvent, events)]


def _reason(pick: Any, events: Any) -> RefusalReason:
    (refused,) = pick(Refused, events)
    reason: RefusalReason = refused.reason
    return reason


def test_every_row_of_the_table_has_a_meaning_and_no_meaning_is_without_a_row() -> None:
    assert set(meanings._REFUSALS) == {(row.command, refusal.reason) for row in TABLE.commands for refusal in row.refuse}
    assert set(meanings._CARRY_OUT) == {row.command for row in TABLE.commands}
    assert set(meanings._WATCHES) == {row.cause for row in TABLE.watches}


@pytest.mark.parametrize("row", TABLE.commands, ids=lambda row: row.command)
@pytest.mark.parametrize("state", [AirState.VENTED, AirState.CLOSED, AirState.OPEN, AirState.ISOLATED])
def test_a_command_works_exactly_from_the_states_of_its_row(make_bench: Any, pick: Any, row: Any, state: AirState) -> None:
    bench = make_bench()
    bench.at_tdc()
    opening = bench.opening()
    if state is AirState.CLOSED:
        bench.ask(VentClose(2, 10_000, FAST_LIMIT_RAW))
    elif state is not AirState.VENTED:
        bench.ask(opening)
    if state is AirState.ISOLATED:
        bench.ask(SupplyShut(3, 10_000))
    assert bench.rig.device.interlock.state is state
    command = {
        "SupplyOpen": opening,
        "SupplyShut": SupplyShut(5, 0),
        "VentOpen": VentOpen(5),
        "VentClose": VentClose(5, 10_000, FAST_LIMIT_RAW),
    }[row.command]
    events = bench.ask(command)
    assert len(pick(Ack, events)) == (state in row.allowed_from)
    assert len(pick(Refused, events)) == (state not in row.allowed_from)


def test_the_way_of_one_test_open_isolate_vent(make_bench: Any, pick: Any) -> None:
    bench = make_bench()
    bench.at_tdc()
    events = (
        bench.ask(bench.opening()) + bench.run(3.0) + bench.ask(SupplyShut(3, 20_000)) + bench.run(2.0) + bench.ask(VentOpen(4))
    )
    assert _air_events(pick, events) == [
        (AirState.OPEN, Cause.COMMAND_OPEN),
        (AirState.ISOLATED, Cause.COMMAND_SHUT),
        (AirState.VENTED, Cause.COMMAND_VENT),
    ]
    flags = {block.flags & (BlockFlags.SUPPLY_OPEN | BlockFlags.VENT_OPEN) for block in pick(SampleBlock, events)}
    assert flags == {BlockFlags.VENT_OPEN, BlockFlags.SUPPLY_OPEN, BlockFlags(0)}


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"opening_id": 0}, RefusalReason.LIMITS_INVALID),
        ({"time_limit_ms": 0}, RefusalReason.LIMITS_INVALID),
        ({"time_limit_ms": TABLE.time_limit_max_ms + 1}, RefusalReason.LIMITS_INVALID),
        ({"window_low_count": 2**31 - 1}, RefusalReason.LIMITS_INVALID),
        ({"limit_regulated_raw": 4095}, RefusalReason.LIMITS_INVALID),
        ({"limit_cylinder_raw": 4095}, RefusalReason.LIMITS_INVALID),
        ({"window_low_count": -100_000, "window_high_count": -90_000}, RefusalReason.OUTSIDE_WINDOW),
        ({"limit_regulated_raw": 5}, RefusalReason.OVER_PRESSURE),
        ({"limit_cylinder_raw": 5}, RefusalReason.OVER_PRESSURE),
    ],
)
def test_an_opening_with_wrong_limits_is_refused_and_changes_nothing(
    make_bench: Any, pick: Any, change: dict[str, int], reason: RefusalReason
) -> None:
    bench = make_bench()
    bench.at_tdc()
    events = bench.ask(replace(bench.opening(), **change))
    assert _reason(pick, events) is reason
    assert not pick(AirEvent, events)
    (status,) = pick(Status, bench.ask(StatusRequest(8)))
    assert (status.air, status.commands_refused) == (AirState.VENTED, 1)


def test_an_opening_needs_the_stream_and_the_switch(make_bench: Any, pick: Any) -> None:
    bench = make_bench()
    assert _reason(pick, bench.ask(bench.opening())) is RefusalReason.NOT_STREAMING
    bench.ask(StreamStart(1, 1000, 8))
    assert _reason(pick, bench.ask(bench.opening())) is RefusalReason.HOLD_NOT_PRESSED


def test_an_opening_that_is_over_never_opens_again_and_another_cannot_take_it_over(make_bench: Any, pick: Any) -> None:
    bench = make_bench()
    bench.at_tdc()
    opening = bench.opening(1)
    bench.ask(opening)
    assert _reason(pick, bench.ask(replace(opening, opening_id=2))) is RefusalReason.OPENING_OVER
    bench.ask(SupplyShut(3, 5000))
    assert _reason(pick, bench.ask(opening)) is RefusalReason.OPENING_OVER
    bench.ask(VentOpen(4))
    assert _reason(pick, bench.ask(opening)) is RefusalReason.OPENING_OVER
    assert pick(Ack, bench.ask(replace(opening, opening_id=2)))


def test_repeats_are_acknowledged_and_a_renewal_counts_from_its_own_frame(make_bench: Any, pick: Any) -> None:
    bench = make_bench()
    bench.at_tdc()
    opening = bench.opening(time_limit_ms=1000)
    assert _air_events(pick, bench.ask(opening)) == [(AirState.OPEN, Cause.COMMAND_OPEN)]
    assert not pick(AirEvent, bench.run(0.9))
    renewed = bench.ask(opening)
    assert pick(Ack, renewed)
    assert not pick(AirEvent, renewed + bench.run(0.95))
    assert _air_events(pick, bench.run(0.1)) == [(AirState.VENTED, Cause.TIME_LIMIT)]
    for _ in range(2):
        assert pick(Ack, bench.ask(VentOpen(5)))


def test_a_silent_host_is_noticed_half_a_second_after_its_last_frame(make_bench: Any, pick: Any) -> None:
    bench = make_bench()
    bench.at_tdc()
    bench.ask(bench.opening())
    (alive,) = pick(Status, bench.ask(StatusRequest(1), 0.001))
    (event,) = pick(AirEvent, bench.run(1.0, alive=False))
    assert (event.air, event.cause) == (AirState.VENTED, Cause.HOST_SILENT)
    assert event.device_tick - alive.device_tick == TABLE.host_silence_ms * 1000


def test_a_frame_of_unknown_type_keeps_the_host_alive_and_is_counted(make_bench: Any, pick: Any) -> None:
    bench = make_bench()
    bench.at_tdc()
    bench.ask(bench.opening())
    for _ in range(20):
        bench.rig.receive(frame_of(0x70, b"news"))
        bench.rig.advance(0.1)
    assert not pick(AirEvent, bench.run(0.0))
    (status,) = pick(Status, bench.ask(StatusRequest(1)))
    assert (status.air, status.frames_unknown) == (AirState.OPEN, 20)


def test_the_devices_own_frames_that_come_back_do_not_pass_for_a_host(make_bench: Any, pick: Any) -> None:
    bench = make_bench()
    bench.at_tdc()
    bench.ask(bench.opening())
    (alive,) = pick(Status, bench.ask(StatusRequest(1), 0.001))
    own = encode(alive)
    told = []
    for _ in range(10):
        bench.rig.receive(own)
        told += bench.run(0.1, alive=False)
    (event,) = pick(AirEvent, told)
    assert (event.cause, event.device_tick - alive.device_tick) == (Cause.HOST_SILENT, TABLE.host_silence_ms * 1000)


def test_noise_on_the_line_does_not_keep_the_host_alive(make_bench: Any, pick: Any) -> None:
    bench = make_bench()
    bench.at_tdc()
    bench.ask(bench.opening())
    for _ in range(10):
        bench.rig.receive(b"\x00\x05noise\x00")
        bench.rig.advance(0.1)
    assert _air_events(pick, bench.run(0.0)) == [(AirState.VENTED, Cause.HOST_SILENT)]


def test_letting_the_switch_go_shuts_and_vents(make_bench: Any, pick: Any) -> None:
    bench = make_bench()
    bench.at_tdc()
    bench.ask(bench.opening())
    bench.run(2.0)
    bench.rig.press_hold(False)
    assert _air_events(pick, bench.run(0.01)) == [(AirState.VENTED, Cause.HOLD_RELEASED)]


def test_too_much_pressure_on_either_side_shuts_and_vents(make_bench: Any, pick: Any) -> None:
    for field, cause in (
        ("limit_regulated_raw", Cause.OVER_PRESSURE_REGULATED),
        ("limit_cylinder_raw", Cause.OVER_PRESSURE_CYLINDER),
    ):
        bench = make_bench()
        bench.at_tdc()
        limits: dict[str, int] = {field: 1200}
        events = bench.ask(replace(bench.opening(), **limits)) + bench.run(3.0)
        assert _air_events(pick, events)[-1] == (AirState.VENTED, cause)


def test_the_squeeze_is_limited_in_time_and_pressure(make_bench: Any, pick: Any) -> None:
    bench = make_bench()
    bench.at_tdc(off_deg=-90.0, restraint_nm=0.0)
    bench.ask(VentClose(2, 500, FAST_LIMIT_RAW))
    assert _air_events(pick, bench.run(0.6)) == [(AirState.VENTED, Cause.TIME_LIMIT)]
    bench.ask(VentClose(2, 60_000, 480))
    bench.tell("turn +85 rpm 20")
    assert _air_events(pick, bench.heard)[-1] == (AirState.VENTED, Cause.OVER_PRESSURE_CYLINDER)


def test_stopping_or_restarting_the_stream_under_air_shuts_and_vents(make_bench: Any, pick: Any) -> None:
    for message in (StreamStop(4), StreamStart(4, 500, 8)):
        bench = make_bench()
        bench.at_tdc()
        bench.ask(bench.opening())
        assert _air_events(pick, bench.ask(message)) == [(AirState.VENTED, Cause.STREAM_STOPPED)]


def test_a_saturated_transducer_is_a_fault_that_ends_an_opening_and_prevents_the_next(
    make_bench: Any, pick: Any, monkeypatch: Any
) -> None:
    bench = make_bench()
    bench.at_tdc()
    bench.ask(bench.opening())
    measured = bench.rig.electronics.raw

    def broken(trace: Any) -> Any:
        raw = measured(trace)
        raw[1] = 4095
        return raw

    # the over-pressure limit would see a wire that broke upwards first; one that broke downwards only this watch sees
    def torn(trace: Any) -> Any:
        raw = measured(trace)
        raw[1] = 0
        return raw

    monkeypatch.setattr(bench.rig.electronics, "raw", torn)
    events = bench.run(0.05)
    (air,) = pick(AirEvent, events)
    (fault,) = pick(FaultEvent, events)
    assert (air.cause, fault.fault, fault.detail) == (Cause.SENSOR_FAULT, FaultCode.SENSOR_CYLINDER_RANGE, 0)
    assert air.device_tick == fault.device_tick
    assert _reason(pick, bench.ask(bench.opening(2))) is RefusalReason.FAULT_PRESENT
    monkeypatch.setattr(bench.rig.electronics, "raw", broken)
    assert _reason(pick, bench.ask(bench.opening(2))) is RefusalReason.FAULT_PRESENT


def test_off_tdc_and_unrestrained_the_crank_runs_away_and_the_air_is_off_within_the_reaction_time(
    make_bench: Any, pick: Any
) -> None:
    bench = make_bench()
    bench.at_tdc(off_deg=12.0, restraint_nm=0.0)
    opening = bench.opening(window_counts=17)
    start_count = (opening.window_low_count + opening.window_high_count) // 2
    events = bench.ask(opening) + bench.run(2.0)
    opened, tripped = pick(AirEvent, events)
    assert (opened.air, tripped.air, tripped.cause) == (AirState.OPEN, AirState.VENTED, Cause.CRANK_LEFT_WINDOW)
    samples = _samples(pick(SampleBlock, events))
    left = next(tick for tick, count, _ in samples if not opening.window_low_count <= count <= opening.window_high_count)
    vented = next(
        block.device_tick
        for block in pick(SampleBlock, events)
        if block.device_tick >= left and block.flags & BlockFlags.VENT_OPEN and not block.flags & BlockFlags.SUPPLY_OPEN
    )
    assert 0 <= (tripped.device_tick - left) % 2**32 <= TABLE.reaction_ms * 1000
    assert (vented - left) % 2**32 <= TABLE.reaction_ms * 1000
    unwatched = make_bench()
    unwatched.at_tdc(off_deg=12.0, restraint_nm=0.0)
    unwatched.ask(unwatched.opening(window_counts=100_000))
    unwatched.run(2.0)
    ran_counts, ran_unwatched_counts = (
        samples[-1][1] - start_count,
        unwatched.rig.electronics.count_at(unwatched.rig.plant.crank_deg) - start_count,
    )
    assert 17 < ran_counts < 100
    assert ran_unwatched_counts > 600
    pressures = [raw for _, _, raw in samples]
    at_trip = next(raw for tick, _, raw in samples if tick == tripped.device_tick)
    assert at_trip > 600
    assert max(pressures[-200:]) < 440
    assert bench.rig.plant.p_cylinder_gauge_pa < 5000.0


def _samples(blocks: list[SampleBlock]) -> list[tuple[int, int, int]]:
    """Tick, count and cylinder raw word of every sample at 1 kHz."""
    counts, raw = sample_columns(blocks)
    ticks = [block.device_tick + 1000 * at for block in blocks for at in range(block.sample_count)]
    return list(zip(ticks, counts.tolist(), raw[1].tolist(), strict=True))


def test_a_hand_valve_rig_refuses_all_four_valve_commands(make_bench: Any, pick: Any) -> None:
    bench = make_bench("hillclimb-before-hand")
    bench.ask(StreamStart(1, 1000, 8))
    for command in (bench.opening(), SupplyShut(2, 0), VentOpen(3), VentClose(4, 1000, FAST_LIMIT_RAW)):
        events = bench.ask(command)
        assert _reason(pick, events) is RefusalReason.NO_VALVES
        assert not pick(AirEvent, events)
    (status,) = pick(Status, bench.ask(StatusRequest(5)))
    assert (status.air, status.supply.name, status.vent.name) == (AirState.NO_VALVES, "NOT_FITTED", "NOT_FITTED")


def test_host_alive_is_not_answered(make_bench: Any) -> None:
    bench = make_bench()
    bench.run(0.01, alive=False)
    assert bench.ask(HostAlive()) == []


def test_after_an_opening_into_an_open_hose_the_air_comes_to_rest(make_bench: Any, pick: Any) -> None:
    # the small open volume once swung between two pressures for ever, several kilopascals from ambient
    bench = make_bench()
    bench.at_tdc(hose="off")
    bench.ask(replace(bench.opening(time_limit_ms=40), limit_regulated_raw=900))
    bench.run(1.0)
    assert _air_events(pick, bench.heard)[-1] == (AirState.VENTED, Cause.OVER_PRESSURE_REGULATED)
    assert abs(bench.rig.plant.p_cylinder_gauge_pa) < 1.0
    assert abs(bench.rig.plant.p_regulated_gauge_pa) < 1.0
