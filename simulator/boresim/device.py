"""The simulated microcontroller: speaks borewire, streams what it is shown, keeps the interlock. No plant, clock or I/O in here.

The device looks at its inputs at scans, a whole number of ticks apart; what has arrived from the host is carried out at the next
scan. `boresim.rig.SimRig` shows it the scans and does with the valves what it wants.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from borewire.codec import BadFrame, Decoder, UnknownMessage, encode
from borewire.messages import (
    PROTOCOL_MAJOR,
    PROTOCOL_MINOR,
    SCHEMA_FINGERPRINT,
    Ack,
    AirEvent,
    BlockFlags,
    Cause,
    ChannelDescription,
    EchoReply,
    EchoRequest,
    FaultCode,
    FaultEvent,
    Fitted,
    HoldEvent,
    HoldState,
    HostAlive,
    IdentifyRequest,
    Identity,
    IndexEvent,
    Quantity,
    RefusalReason,
    Refused,
    SlowReading,
    Status,
    StatusRequest,
    StreamStart,
    StreamStop,
    SupplyState,
    ToDevice,
    ToHost,
    VentState,
)

from boresim.interlock import AirCommand, Interlock, Moment, Scans
from boresim.said import Said
from boresim.stream import STREAMED_CHANNELS, Block, SampleStream

__all__ = ["OUTBOX_OCTETS", "Channel", "Device", "DeviceSetup", "IndexPass"]

SLOWEST_SCANS_HZ = 1000
OUTBOX_OCTETS = 1 << 22
INDEX_TOLERANCE_COUNTS = 2

_FITTED_BY_QUANTITY = {
    Quantity.PRESSURE_AMBIENT: Fitted.AMBIENT_PRESSURE,
    Quantity.TEMPERATURE_AMBIENT: Fitted.AMBIENT_TEMPERATURE,
    Quantity.PRESSURE_SPARE: Fitted.SPARE_CHANNEL,
}
# as plain numbers, because there are flags to every block
SUPPLY_OPEN, VENT_OPEN, HOLD_PRESSED, INDEX_SEEN, SATURATED, DROPPED_BEFORE = (
    flag.value
    for flag in (
        BlockFlags.SUPPLY_OPEN,
        BlockFlags.VENT_OPEN,
        BlockFlags.HOLD_PRESSED,
        BlockFlags.INDEX_SEEN,
        BlockFlags.SATURATED,
        BlockFlags.DROPPED_BEFORE,
    )
)
_SENSOR_FAULTS = (FaultCode.SENSOR_REGULATED_RANGE, FaultCode.SENSOR_CYLINDER_RANGE)


@dataclass(frozen=True, slots=True)
class Channel:
    """One analog channel as the device describes it.

    volts = volts_at_zero + raw · volts_per_raw; saturated at or beyond raw_min and raw_max.
    """

    quantity: Quantity
    raw_min: int
    raw_max: int
    volts_at_zero: float
    volts_per_raw: float
    sensor_supply_volts: float


@dataclass(frozen=True, slots=True)
class DeviceSetup:
    """What is soldered and programmed. The first two channels (regulated, cylinder) are in every sample, the others come slowly.

    tick_rate_hz: at least 1000. first_tick: the tick counter at power-up, 0 to 2^32 − 1. max_block_size: at most MAX_BLOCK_SIZE of
    boresim.stream. seed: the boot ids follow from it.
    """

    serial_number: str
    firmware_version: str
    counts_per_rev: int
    channels: tuple[Channel, ...]
    valves: bool
    hold_fitted: bool
    tick_rate_hz: int
    first_tick: int
    max_rate_hz: int
    max_block_size: int
    seed: int

    @property
    def longest_scan_ticks(self) -> int:
        """Most ticks between two looks at the inputs, however slow the stream is: a millisecond."""
        return self.tick_rate_hz // SLOWEST_SCANS_HZ

    @property
    def fitted(self) -> Fitted:
        """What the device says is fitted."""
        fitted = Fitted(0)
        if self.valves:
            fitted |= Fitted.SUPPLY_VALVE | Fitted.VENT_VALVE
        if self.hold_fitted:
            fitted |= Fitted.HOLD_SWITCH
        for channel in self.channels:
            fitted |= _FITTED_BY_QUANTITY.get(channel.quantity, Fitted(0))
        return fitted

    def boot_id(self, boot: int) -> int:
        """The boot id after so many resets."""
        return zlib.crc32(f"{self.serial_number}/{self.seed}/{boot}".encode()) or 1


@dataclass(frozen=True, slots=True)
class IndexPass:
    """The index pulse passed by scan number `scan` of the scans shown, at this tick and crank count."""

    scan: int
    tick: int
    crank_count: int


class Device:
    """One device from power-up to power-down. boot: how many resets there were before. out: where its octets go. messages: what is
    wrong with its words.

    `hear` takes octets from the host; `take` takes the next scans and does all that is due at the last of them. The caller cuts the
    scans so that no trip (`first_trip`), no due moment (`due_tick`) and no waiting command (`waiting`) lies before the last scan.
    """

    def __init__(
        self, setup: DeviceSetup, boot: int, out: bytearray, *, hold_pressed: bool = False, messages: Said | None = None
    ) -> None:
        self.setup = setup
        self.messages = messages or Said()
        self.boot_id = setup.boot_id(boot)
        self.hold_pressed = hold_pressed
        self.next_tick = setup.first_tick + setup.longest_scan_ticks
        regulated = setup.channels[0]
        self.interlock = Interlock(
            valves=setup.valves,
            hold_fitted=setup.hold_fitted,
            raw_min=regulated.raw_min,
            raw_max=regulated.raw_max,
            tick_rate_hz=setup.tick_rate_hz,
        )
        self._out = out
        self._decoder = Decoder("device")
        self._waiting: list[ToDevice] = []
        self._stream: SampleStream | None = None
        self._sequence = 0
        self._crank_count = 0
        self._index_passes = 0
        self._last_index_count: int | None = None
        self._status_tick: int | None = None
        self._refusals = 0
        self._dropped = 0
        self._dropped_told = 0
        # a reset can cut a frame: the zero ends it
        self._out += b"\x00"
        self._send(self._status(0, setup.first_tick))
        if setup.valves:
            self._send(self._air_event(Cause.POWER_UP, setup.first_tick))

    # ------------------------------------------------------------------ what the rig asks

    @property
    def scan_ticks(self) -> int:
        """Ticks from one scan to the next."""
        return self._stream.scan_ticks if self._stream else self.setup.longest_scan_ticks

    @property
    def streaming(self) -> bool:
        """Whether the sample stream is on."""
        return self._stream is not None

    @property
    def waiting(self) -> bool:
        """Whether a command waits for the next scan."""
        return bool(self._waiting)

    @property
    def due_tick(self) -> int | None:
        """The next tick at which the device does something of itself, None when nothing is due."""
        status_tick, deadline_tick = self._status_tick, self.interlock.next_deadline_tick
        if status_tick is None or deadline_tick is None:
            return deadline_tick if status_tick is None else status_tick
        return min(status_tick, deadline_tick)

    def first_trip(self, scans: Scans) -> tuple[int, Cause] | None:
        """The first of the scans at which the interlock has to shut and vent, and why."""
        return self.interlock.first_trip(scans)

    # ------------------------------------------------------------------ what comes in

    def hear(self, data: bytes) -> None:
        """Octets from the host, carried out at the next scan.

        A good frame to the device, also of unknown type, shows that the host is alive; one to the host may be our own come back.
        """
        heard = self._decoder.feed(data)
        for event in self.messages.understood(heard) if self.messages.into else heard:
            if isinstance(event, BadFrame) or (isinstance(event, UnknownMessage) and event.for_host):
                continue
            self.interlock.heard_tick = self.next_tick
            if not isinstance(event, (UnknownMessage, HostAlive)):
                self._waiting.append(event)  # type: ignore[arg-type]  # this decoder knows only messages to the device

    def press_hold(self, pressed: bool) -> None:
        """The hold-to-run switch is pressed or let go. Raises ValueError when none is fitted."""
        if not self.setup.hold_fitted:
            raise ValueError("hold: no hold-to-run switch is fitted to this rig")
        if pressed != self.hold_pressed:
            self.hold_pressed = pressed
            self._send(HoldEvent(_wire_tick(self._last_tick), self._hold_state))

    def take(
        self, scans: Scans, index_passes: Sequence[IndexPass], slow_raw: Sequence[int] = (), *, trip: Cause | None = None
    ) -> None:
        """The next scans; what is due at the last of them is done: shut and vent, commands, status.

        slow_raw: the raw words of the channels that are not in the samples. trip: why the last of the scans makes the interlock
        shut and vent (from first_trip), None when it does not.
        """
        self._tell_scans(scans, index_passes)
        tick = scans.last_tick
        self._crank_count = int(scans.crank_count[-1])
        self.next_tick = tick + self.scan_ticks
        self.interlock.note_scans(scans)
        if trip is not None:
            self.interlock.trip()
            self._send(self._air_event(trip, tick))
        if self._waiting:
            waiting, self._waiting = self._waiting, []
            for command in waiting:
                self._carry_out(command, replace(scans.moment(), streaming=self.streaming))
            self.next_tick = tick + self.scan_ticks
        if self._status_tick is not None and tick >= self._status_tick:
            self._status_tick += self.setup.tick_rate_hz
            self._send(self._status(0, tick))
            for channel, raw in enumerate(slow_raw, STREAMED_CHANNELS):
                self._send(SlowReading(_wire_tick(tick), channel, raw))

    @property
    def _last_tick(self) -> int:
        return self.next_tick - self.scan_ticks

    # ------------------------------------------------------------------ what goes out

    def _send(self, message: ToHost) -> None:
        self._put(encode(message))

    def _put(self, frame: bytes) -> None:
        self._out += self.messages.rewritten(frame) if self.messages.out else frame

    def _tell_scans(self, scans: Scans, index_passes: Sequence[IndexPass]) -> None:
        """Blocks, index pulses and faults in the order of the scans, however they were cut."""
        told: list[tuple[int, ToHost | Block]] = []
        seen_from = 0 if self._index_passes else len(scans)
        for index_pass in index_passes:
            seen_from = min(seen_from, index_pass.scan)
            told += [(index_pass.scan, message) for message in self._index_messages(index_pass)]
        for scan, channel in self.interlock.new_faults(scans):
            tick = scans.first_tick + scan * scans.step_ticks
            told.append((scan, FaultEvent(_wire_tick(tick), _SENSOR_FAULTS[channel], int(scans.raw[channel, scan]))))
        alone = not told
        if self._stream:
            told += self._stream.take(scans, self._flags(scans, seen_from))
            self._sequence = self._stream.sequence
        if not alone:
            told.sort(key=lambda item: item[0])
        for _, message in told:
            if isinstance(message, Block):
                self._send_block(message)
            else:
                self._send(message)

    def _flags(self, scans: Scans, index_seen_from: int) -> Callable[[int], int]:
        """What is true at each of the scans."""
        flags = 0
        if self.interlock.supply_open:
            flags |= SUPPLY_OPEN
        if self.interlock.vent_open:
            flags |= VENT_OPEN
        if scans.hold_pressed:
            flags |= HOLD_PRESSED
        if not index_seen_from:
            flags |= INDEX_SEEN
        if index_seen_from in (0, len(scans)) and not self.interlock.saturates(scans):
            return lambda _at: flags

        def at(scan: int) -> int:
            seen = INDEX_SEEN if scan >= index_seen_from else 0
            return flags | seen | (SATURATED if self.interlock.saturated_at(scans, scan) else 0)

        return at

    def _send_block(self, block: Block) -> None:
        if len(self._out) > OUTBOX_OCTETS:
            self._dropped += block.sample_count
            return
        if self._dropped > self._dropped_told:
            self._send(FaultEvent(block.device_tick, FaultCode.SAMPLES_DROPPED, self._dropped - self._dropped_told))
            self._dropped_told = self._dropped
            block = block._replace(flags=block.flags | DROPPED_BEFORE)
        self._put(block.frame())

    def _index_messages(self, index_pass: IndexPass) -> list[ToHost]:
        self._index_passes += 1
        tick = _wire_tick(index_pass.tick)
        messages: list[ToHost] = [IndexEvent(tick, index_pass.crank_count, self._index_passes & 0xFFFF)]
        if self._last_index_count is not None:
            spacing = abs(index_pass.crank_count - self._last_index_count)
            # 0: turned back over the same pulse
            if min(spacing, abs(spacing - self.setup.counts_per_rev)) > INDEX_TOLERANCE_COUNTS:
                messages.append(FaultEvent(tick, FaultCode.INDEX_SPACING, spacing))
        self._last_index_count = index_pass.crank_count
        return messages

    def _air_event(self, cause: Cause, tick: int) -> AirEvent:
        return AirEvent(_wire_tick(tick), self.interlock.state, cause, self.interlock.opening_id, self._crank_count)

    @property
    def _hold_state(self) -> HoldState:
        if not self.setup.hold_fitted:
            return HoldState.NOT_FITTED
        return HoldState.PRESSED if self.hold_pressed else HoldState.RELEASED

    def _status(self, request_id: int, tick: int) -> Status:
        counters = self._decoder.counters
        supply, vent = SupplyState.NOT_FITTED, VentState.NOT_FITTED
        if self.setup.valves:
            supply = SupplyState.OPEN if self.interlock.supply_open else SupplyState.SHUT
            vent = VentState.OPEN if self.interlock.vent_open else VentState.CLOSED
        return Status(
            request_id=request_id,
            device_tick=_wire_tick(tick),
            boot_id=self.boot_id,
            air=self.interlock.state,
            supply=supply,
            vent=vent,
            hold=self._hold_state,
            streaming=int(self.streaming),
            opening_id=self.interlock.opening_id,
            crank_count=self._crank_count,
            frames_received=counters.frames_good,
            frames_bad=counters.frames_bad,
            frames_unknown=counters.frames_unknown,
            commands_refused=self._refusals,
            samples_dropped=self._dropped,
        )

    # ------------------------------------------------------------------ commands

    def _carry_out(self, command: ToDevice, now: Moment) -> None:
        if isinstance(command, IdentifyRequest):
            self._identify(command, now)
        elif isinstance(command, StreamStart):
            self._start_stream(command, now)
        elif isinstance(command, StreamStop):
            self._stop_stream(now)
            self._ack(command, now)
        elif isinstance(command, StatusRequest):
            self._send(self._status(command.request_id, now.tick))
        elif isinstance(command, EchoRequest):
            self._send(EchoReply(command.request_id, command.octets))
        elif not isinstance(command, HostAlive):
            self._air(command, now)

    def _ack(self, command: StreamStart | StreamStop | AirCommand, now: Moment) -> None:
        self._send(Ack(command.request_id, command.TYPE, _wire_tick(now.tick)))

    def _refuse(self, command: IdentifyRequest | StreamStart | AirCommand, reason: RefusalReason, now: Moment) -> None:
        self._refusals += 1
        self._send(Refused(command.request_id, command.TYPE, reason, _wire_tick(now.tick)))

    def _air(self, command: AirCommand, now: Moment) -> None:
        before = self.interlock.state, self.interlock.opening_id
        outcome = self.interlock.command(command, now)
        if isinstance(outcome, RefusalReason):
            self._refuse(command, outcome, now)
            return
        self._ack(command, now)
        if (self.interlock.state, self.interlock.opening_id) != before:
            self._send(self._air_event(outcome, now.tick))

    def _start_stream(self, command: StreamStart, now: Moment) -> None:
        setup = self.setup
        if not 1 <= command.rate_hz <= setup.max_rate_hz or setup.tick_rate_hz % command.rate_hz:
            self._refuse(command, RefusalReason.RATE_UNSUPPORTED, now)
            return
        if not 1 <= command.block_size <= setup.max_block_size:
            self._refuse(command, RefusalReason.BLOCK_TOO_LARGE, now)
            return
        running = self._stream
        if running is None or (running.rate_hz, running.block_size) != (command.rate_hz, command.block_size):
            self._stop_stream(now)
            self._stream = SampleStream(
                command.rate_hz, command.block_size, setup.tick_rate_hz, setup.longest_scan_ticks, self._sequence
            )
            self._status_tick = now.tick + setup.tick_rate_hz
        self._ack(command, now)

    def _stop_stream(self, now: Moment) -> None:
        self._stream = None
        self._status_tick = None
        # the watch stream_stopped would see it at the next scan; the device knows it now
        if self.interlock.watching:
            self.interlock.trip()
            self._send(self._air_event(Cause.STREAM_STOPPED, now.tick))

    def _identify(self, request: IdentifyRequest, now: Moment) -> None:
        if request.protocol_major != PROTOCOL_MAJOR:
            self._refuse(request, RefusalReason.VERSION_UNSUPPORTED, now)
            return
        setup = self.setup
        self._send(
            Identity(
                request_id=request.request_id,
                protocol_major=PROTOCOL_MAJOR,
                protocol_minor=PROTOCOL_MINOR,
                schema_fingerprint=SCHEMA_FINGERPRINT,
                firmware_version=setup.firmware_version,
                serial_number=setup.serial_number,
                boot_id=self.boot_id,
                tick_rate_hz=setup.tick_rate_hz,
                counts_per_rev=setup.counts_per_rev,
                max_rate_hz=setup.max_rate_hz,
                max_block_size=setup.max_block_size,
                fitted=setup.fitted,
                channel_count=len(setup.channels),
                streamed_channels=STREAMED_CHANNELS,
            )
        )
        for number, channel in enumerate(setup.channels):
            self._send(
                ChannelDescription(
                    request_id=request.request_id,
                    channel=number,
                    quantity=channel.quantity,
                    raw_min=channel.raw_min,
                    raw_max=channel.raw_max,
                    volts_at_zero=channel.volts_at_zero,
                    volts_per_raw=channel.volts_per_raw,
                    sensor_supply_volts=channel.sensor_supply_volts,
                )
            )


def _wire_tick(tick: int) -> int:
    return tick & 0xFFFFFFFF
