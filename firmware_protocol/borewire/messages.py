"""The messages of the wire, as dataclasses. Generated from messages.toml; change the table, not this file.

Each class has its type number as TYPE, `encode_body()` (ValueError when a field does not fit) and `decode_body(body)` (FrameError
unless the body is exactly as the table says). Units and meanings of the fields are in messages.toml and PROTOCOL.md; run
`python -m borewire.generate` after changing the table.

>>> Ack.decode_body(bytes.fromhex("010004e8030000"))
Ack(request_id=1, command=4, device_tick=1000)
>>> EchoRequest(request_id=2, octets=b"AB").encode_body().hex()
'0200024142'
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from enum import STRICT, IntEnum, IntFlag
from math import isfinite
from typing import ClassVar, Self

from borewire.bad import BadReason, FrameError
from borewire.bodies import octets_at, put_octets, text_of

__all__ = [
    "PROTOCOL_MAJOR",
    "PROTOCOL_MINOR",
    "SCHEMA_FINGERPRINT",
    "TYPES_TO_DEVICE",
    "TYPES_TO_HOST",
    "Ack",
    "AirEvent",
    "AirState",
    "BlockFlags",
    "CamEvent",
    "Cause",
    "ChannelDescription",
    "EchoReply",
    "EchoRequest",
    "FaultCode",
    "FaultEvent",
    "Fitted",
    "HoldEvent",
    "HoldState",
    "HostAlive",
    "IdentifyRequest",
    "Identity",
    "IndexEvent",
    "Message",
    "Quantity",
    "RefusalReason",
    "Refused",
    "SampleBlock",
    "SlowReading",
    "Status",
    "StatusRequest",
    "StreamStart",
    "StreamStop",
    "SupplyOpen",
    "SupplyShut",
    "SupplyState",
    "ToDevice",
    "ToHost",
    "VentClose",
    "VentOpen",
    "VentState",
]

PROTOCOL_MAJOR = 1
PROTOCOL_MINOR = 0
SCHEMA_FINGERPRINT = 0x506A0CB1


class Quantity(IntEnum):
    """What a channel measures."""

    PRESSURE_REGULATED = 0
    PRESSURE_CYLINDER = 1
    PRESSURE_SPARE = 2
    PRESSURE_AMBIENT = 3
    TEMPERATURE_AMBIENT = 4
    PRESSURE_SUPPLY = 5


class SupplyState(IntEnum):
    """What the device drives its supply valve to."""

    SHUT = 0
    OPEN = 1
    NOT_FITTED = 2


class VentState(IntEnum):
    """What the device drives its vent valve to."""

    CLOSED = 0
    OPEN = 1
    NOT_FITTED = 2


class AirState(IntEnum):
    """The state of the device's interlock (interlock.toml)."""

    VENTED = 0
    CLOSED = 1
    OPEN = 2
    ISOLATED = 3
    NO_VALVES = 4


class HoldState(IntEnum):
    """The hold-to-run switch."""

    RELEASED = 0
    PRESSED = 1
    NOT_FITTED = 2


class Cause(IntEnum):
    """Why the interlock changed its state: 1 to 4 are commands, those from 5 on shut and vented by themselves."""

    POWER_UP = 0
    COMMAND_OPEN = 1
    COMMAND_SHUT = 2
    COMMAND_VENT = 3
    COMMAND_CLOSE = 4
    TIME_LIMIT = 5
    CRANK_LEFT_WINDOW = 6
    OVER_PRESSURE_REGULATED = 7
    OVER_PRESSURE_CYLINDER = 8
    HOLD_RELEASED = 9
    HOST_SILENT = 10
    SENSOR_FAULT = 11
    STREAM_STOPPED = 12


class RefusalReason(IntEnum):
    """Why a command was refused. A refused command has changed nothing."""

    NO_VALVES = 0
    NOT_STREAMING = 1
    OPENING_OVER = 2
    LIMITS_INVALID = 3
    OUTSIDE_WINDOW = 4
    OVER_PRESSURE = 5
    HOLD_NOT_PRESSED = 6
    AIR_IS_ON = 7
    RATE_UNSUPPORTED = 8
    BLOCK_TOO_LARGE = 9
    VERSION_UNSUPPORTED = 10
    FAULT_PRESENT = 11


class FaultCode(IntEnum):
    """A fault that the device found in itself or in its wiring."""

    SENSOR_REGULATED_RANGE = 0
    SENSOR_CYLINDER_RANGE = 1
    ENCODER_ILLEGAL_STEP = 2
    INDEX_SPACING = 3
    SAMPLES_DROPPED = 4
    SUPPLY_VOLTAGE = 5
    MEMORY = 6


class Fitted(IntFlag, boundary=STRICT):
    """What is fitted to the device."""

    SUPPLY_VALVE = 1 << 0
    VENT_VALVE = 1 << 1
    HOLD_SWITCH = 1 << 2
    CAM_SIGNAL = 1 << 3
    AMBIENT_PRESSURE = 1 << 4
    AMBIENT_TEMPERATURE = 1 << 5
    SPARE_CHANNEL = 1 << 6


class BlockFlags(IntFlag, boundary=STRICT):
    """What was true at the first sample of a block."""

    SUPPLY_OPEN = 1 << 0
    VENT_OPEN = 1 << 1
    HOLD_PRESSED = 1 << 2
    SATURATED = 1 << 3
    DROPPED_BEFORE = 1 << 4
    INDEX_SEEN = 1 << 5
    CAM_HIGH = 1 << 6


_QUANTITY_OF = {int(member): member for member in Quantity}
_SUPPLY_STATE_OF = {int(member): member for member in SupplyState}
_VENT_STATE_OF = {int(member): member for member in VentState}
_AIR_STATE_OF = {int(member): member for member in AirState}
_HOLD_STATE_OF = {int(member): member for member in HoldState}
_CAUSE_OF = {int(member): member for member in Cause}
_REFUSAL_REASON_OF = {int(member): member for member in RefusalReason}
_FAULT_CODE_OF = {int(member): member for member in FaultCode}
_FITTED_OF = {value: Fitted(value) for value in range(128)}
_BLOCK_FLAGS_OF = {value: BlockFlags(value) for value in range(128)}


_IDENTIFY_REQUEST_0 = struct.Struct("<HBB")


@dataclass(frozen=True, slots=True)
class IdentifyRequest:
    """Asks who is there.

    The device answers with Identity and then one ChannelDescription for each channel, or with Refused(version_unsupported).
    """

    TYPE: ClassVar[int] = 0x01
    request_id: int
    protocol_major: int
    protocol_minor: int

    def encode_body(self) -> bytes:
        """The body. Raises ValueError when a field does not fit its place on the wire."""
        try:
            fixed_0 = _IDENTIFY_REQUEST_0.pack(self.request_id, self.protocol_major, self.protocol_minor)
        except (struct.error, OverflowError) as error:
            raise ValueError(f"IdentifyRequest: {error}") from None
        return fixed_0

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """The message. Raises FrameError unless the body is exactly as the table says."""
        if len(body) != _IDENTIFY_REQUEST_0.size:
            raise FrameError(BadReason.LENGTH)
        request_id, protocol_major, protocol_minor = _IDENTIFY_REQUEST_0.unpack(body)
        return cls(request_id, protocol_major, protocol_minor)


_STREAM_START_0 = struct.Struct("<HHB")


@dataclass(frozen=True, slots=True)
class StreamStart:
    """Starts the sample stream.

    May be repeated; another rate or block size restarts the stream with sample index 0.
    """

    TYPE: ClassVar[int] = 0x02
    request_id: int
    rate_hz: int
    block_size: int

    def encode_body(self) -> bytes:
        """The body. Raises ValueError when a field does not fit its place on the wire."""
        try:
            fixed_0 = _STREAM_START_0.pack(self.request_id, self.rate_hz, self.block_size)
        except (struct.error, OverflowError) as error:
            raise ValueError(f"StreamStart: {error}") from None
        return fixed_0

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """The message. Raises FrameError unless the body is exactly as the table says."""
        if len(body) != _STREAM_START_0.size:
            raise FrameError(BadReason.LENGTH)
        request_id, rate_hz, block_size = _STREAM_START_0.unpack(body)
        return cls(request_id, rate_hz, block_size)


_STREAM_STOP_0 = struct.Struct("<H")


@dataclass(frozen=True, slots=True)
class StreamStop:
    """Stops the sample stream.

    With the vent closed or the supply open it also shuts and vents.
    """

    TYPE: ClassVar[int] = 0x03
    request_id: int

    def encode_body(self) -> bytes:
        """The body. Raises ValueError when a field does not fit its place on the wire."""
        try:
            fixed_0 = _STREAM_STOP_0.pack(self.request_id)
        except (struct.error, OverflowError) as error:
            raise ValueError(f"StreamStop: {error}") from None
        return fixed_0

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """The message. Raises FrameError unless the body is exactly as the table says."""
        if len(body) != _STREAM_STOP_0.size:
            raise FrameError(BadReason.LENGTH)
        (request_id,) = _STREAM_STOP_0.unpack(body)
        return cls(request_id)


_SUPPLY_OPEN_0 = struct.Struct("<HHHiiHH")


@dataclass(frozen=True, slots=True)
class SupplyOpen:
    """Closes the vent and opens the supply, once, under limits.

    Sent again with the same opening_id while open, it renews the time limit and takes over the other limits. An opening that is
    over is never opened again: a late repeat is refused with opening_over.
    """

    TYPE: ClassVar[int] = 0x04
    request_id: int
    opening_id: int
    time_limit_ms: int
    window_low_count: int
    window_high_count: int
    limit_regulated_raw: int
    limit_cylinder_raw: int

    def encode_body(self) -> bytes:
        """The body. Raises ValueError when a field does not fit its place on the wire."""
        try:
            fixed_0 = _SUPPLY_OPEN_0.pack(
                self.request_id,
                self.opening_id,
                self.time_limit_ms,
                self.window_low_count,
                self.window_high_count,
                self.limit_regulated_raw,
                self.limit_cylinder_raw,
            )
        except (struct.error, OverflowError) as error:
            raise ValueError(f"SupplyOpen: {error}") from None
        return fixed_0

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """The message. Raises FrameError unless the body is exactly as the table says."""
        if len(body) != _SUPPLY_OPEN_0.size:
            raise FrameError(BadReason.LENGTH)
        (
            request_id,
            opening_id,
            time_limit_ms,
            window_low_count,
            window_high_count,
            limit_regulated_raw,
            limit_cylinder_raw,
        ) = _SUPPLY_OPEN_0.unpack(body)
        return cls(
            request_id,
            opening_id,
            time_limit_ms,
            window_low_count,
            window_high_count,
            limit_regulated_raw,
            limit_cylinder_raw,
        )


_SUPPLY_SHUT_0 = struct.Struct("<HI")


@dataclass(frozen=True, slots=True)
class SupplyShut:
    """Shuts the supply.

    With isolate_ms above 0 the vent stays closed for at most that long, under the limits of the opening, so that the decay can
    be watched; with 0 the vent opens at once.
    """

    TYPE: ClassVar[int] = 0x05
    request_id: int
    isolate_ms: int

    def encode_body(self) -> bytes:
        """The body. Raises ValueError when a field does not fit its place on the wire."""
        try:
            fixed_0 = _SUPPLY_SHUT_0.pack(self.request_id, self.isolate_ms)
        except (struct.error, OverflowError) as error:
            raise ValueError(f"SupplyShut: {error}") from None
        return fixed_0

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """The message. Raises FrameError unless the body is exactly as the table says."""
        if len(body) != _SUPPLY_SHUT_0.size:
            raise FrameError(BadReason.LENGTH)
        request_id, isolate_ms = _SUPPLY_SHUT_0.unpack(body)
        return cls(request_id, isolate_ms)


_VENT_OPEN_0 = struct.Struct("<H")


@dataclass(frozen=True, slots=True)
class VentOpen:
    """Shuts the supply and opens the vent.

    Never refused by a device with valves.
    """

    TYPE: ClassVar[int] = 0x06
    request_id: int

    def encode_body(self) -> bytes:
        """The body. Raises ValueError when a field does not fit its place on the wire."""
        try:
            fixed_0 = _VENT_OPEN_0.pack(self.request_id)
        except (struct.error, OverflowError) as error:
            raise ValueError(f"VentOpen: {error}") from None
        return fixed_0

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """The message. Raises FrameError unless the body is exactly as the table says."""
        if len(body) != _VENT_OPEN_0.size:
            raise FrameError(BadReason.LENGTH)
        (request_id,) = _VENT_OPEN_0.unpack(body)
        return cls(request_id)


_VENT_CLOSE_0 = struct.Struct("<HIH")


@dataclass(frozen=True, slots=True)
class VentClose:
    """Closes the vent with the supply shut, so that a hand-turned piston squeezes air into the closed hose.

    Sent again it renews the time limit and takes over the pressure limit.
    """

    TYPE: ClassVar[int] = 0x07
    request_id: int
    time_limit_ms: int
    limit_cylinder_raw: int

    def encode_body(self) -> bytes:
        """The body. Raises ValueError when a field does not fit its place on the wire."""
        try:
            fixed_0 = _VENT_CLOSE_0.pack(self.request_id, self.time_limit_ms, self.limit_cylinder_raw)
        except (struct.error, OverflowError) as error:
            raise ValueError(f"VentClose: {error}") from None
        return fixed_0

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """The message. Raises FrameError unless the body is exactly as the table says."""
        if len(body) != _VENT_CLOSE_0.size:
            raise FrameError(BadReason.LENGTH)
        request_id, time_limit_ms, limit_cylinder_raw = _VENT_CLOSE_0.unpack(body)
        return cls(request_id, time_limit_ms, limit_cylinder_raw)


_STATUS_REQUEST_0 = struct.Struct("<H")


@dataclass(frozen=True, slots=True)
class StatusRequest:
    """Asks for one Status."""

    TYPE: ClassVar[int] = 0x08
    request_id: int

    def encode_body(self) -> bytes:
        """The body. Raises ValueError when a field does not fit its place on the wire."""
        try:
            fixed_0 = _STATUS_REQUEST_0.pack(self.request_id)
        except (struct.error, OverflowError) as error:
            raise ValueError(f"StatusRequest: {error}") from None
        return fixed_0

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """The message. Raises FrameError unless the body is exactly as the table says."""
        if len(body) != _STATUS_REQUEST_0.size:
            raise FrameError(BadReason.LENGTH)
        (request_id,) = _STATUS_REQUEST_0.unpack(body)
        return cls(request_id)


@dataclass(frozen=True, slots=True)
class HostAlive:
    """Says that the host is alive; not answered.

    Every good frame says so too. Send one whenever 100 ms have passed without another frame.
    """

    TYPE: ClassVar[int] = 0x09

    def encode_body(self) -> bytes:
        """The body. Raises ValueError when a field does not fit its place on the wire."""
        return b""

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """The message. Raises FrameError unless the body is exactly as the table says."""
        if body:
            raise FrameError(BadReason.LENGTH)
        return cls()


_ECHO_REQUEST_0 = struct.Struct("<H")


@dataclass(frozen=True, slots=True)
class EchoRequest:
    """Asks for the same octets back, to prove a codec on the real line."""

    TYPE: ClassVar[int] = 0x0A
    request_id: int
    octets: bytes

    def encode_body(self) -> bytes:
        """The body. Raises ValueError when a field does not fit its place on the wire."""
        try:
            fixed_0 = _ECHO_REQUEST_0.pack(self.request_id)
        except (struct.error, OverflowError) as error:
            raise ValueError(f"EchoRequest: {error}") from None
        return b"".join((fixed_0, put_octets(self.octets, 200, "EchoRequest.octets")))

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """The message. Raises FrameError unless the body is exactly as the table says."""
        if len(body) < _ECHO_REQUEST_0.size:
            raise FrameError(BadReason.LENGTH)
        (request_id,) = _ECHO_REQUEST_0.unpack_from(body, 0)
        octets = octets_at(body, 2, 200)
        if len(body) != 3 + len(octets):
            raise FrameError(BadReason.LENGTH)
        return cls(request_id, octets)


_IDENTITY_0 = struct.Struct("<HBBI")
_IDENTITY_3 = struct.Struct("<IIIHBHBB")


@dataclass(frozen=True, slots=True)
class Identity:
    """Who the device is."""

    TYPE: ClassVar[int] = 0x81
    request_id: int
    protocol_major: int
    protocol_minor: int
    schema_fingerprint: int
    firmware_version: str
    serial_number: str
    boot_id: int
    tick_rate_hz: int
    counts_per_rev: int
    max_rate_hz: int
    max_block_size: int
    fitted: Fitted
    channel_count: int
    streamed_channels: int

    def encode_body(self) -> bytes:
        """The body. Raises ValueError when a field does not fit its place on the wire."""
        if self.fitted not in _FITTED_OF:
            raise ValueError("Identity: fitted must be a Fitted")
        try:
            fixed_0 = _IDENTITY_0.pack(self.request_id, self.protocol_major, self.protocol_minor, self.schema_fingerprint)
        except (struct.error, OverflowError) as error:
            raise ValueError(f"Identity: {error}") from None
        try:
            fixed_3 = _IDENTITY_3.pack(
                self.boot_id,
                self.tick_rate_hz,
                self.counts_per_rev,
                self.max_rate_hz,
                self.max_block_size,
                self.fitted,
                self.channel_count,
                self.streamed_channels,
            )
        except (struct.error, OverflowError) as error:
            raise ValueError(f"Identity: {error}") from None
        return b"".join((
            fixed_0,
            put_octets(self.firmware_version.encode("utf-8"), 64, "Identity.firmware_version"),
            put_octets(self.serial_number.encode("utf-8"), 64, "Identity.serial_number"),
            fixed_3,
        ))

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """The message. Raises FrameError unless the body is exactly as the table says."""
        if len(body) < _IDENTITY_0.size:
            raise FrameError(BadReason.LENGTH)
        request_id, protocol_major, protocol_minor, schema_fingerprint = _IDENTITY_0.unpack_from(body, 0)
        firmware_version_octets = octets_at(body, 8, 64)
        serial_number_octets = octets_at(body, 9 + len(firmware_version_octets), 64)
        if len(body) < 10 + len(firmware_version_octets) + len(serial_number_octets) + _IDENTITY_3.size:
            raise FrameError(BadReason.LENGTH)
        (
            boot_id,
            tick_rate_hz,
            counts_per_rev,
            max_rate_hz,
            max_block_size,
            fitted,
            channel_count,
            streamed_channels,
        ) = _IDENTITY_3.unpack_from(body, 10 + len(firmware_version_octets) + len(serial_number_octets))
        if len(body) != 29 + len(firmware_version_octets) + len(serial_number_octets):
            raise FrameError(BadReason.LENGTH)
        if fitted not in _FITTED_OF:
            raise FrameError(BadReason.RESERVED)
        return cls(
            request_id,
            protocol_major,
            protocol_minor,
            schema_fingerprint,
            text_of(firmware_version_octets),
            text_of(serial_number_octets),
            boot_id,
            tick_rate_hz,
            counts_per_rev,
            max_rate_hz,
            max_block_size,
            _FITTED_OF[fitted],
            channel_count,
            streamed_channels,
        )


_CHANNEL_DESCRIPTION_0 = struct.Struct("<HBBHHfff")


@dataclass(frozen=True, slots=True)
class ChannelDescription:
    """One analog channel: what it measures and how its raw words become volts: volts = volts_at_zero + raw × volts_per_raw."""

    TYPE: ClassVar[int] = 0x82
    request_id: int
    channel: int
    quantity: Quantity
    raw_min: int
    raw_max: int
    volts_at_zero: float
    volts_per_raw: float
    sensor_supply_volts: float

    def encode_body(self) -> bytes:
        """The body. Raises ValueError when a field does not fit its place on the wire."""
        if self.quantity not in _QUANTITY_OF:
            raise ValueError("ChannelDescription: quantity must be a Quantity")
        if not isfinite(self.volts_at_zero):
            raise ValueError("ChannelDescription: volts_at_zero must be finite")
        if not isfinite(self.volts_per_raw):
            raise ValueError("ChannelDescription: volts_per_raw must be finite")
        if not isfinite(self.sensor_supply_volts):
            raise ValueError("ChannelDescription: sensor_supply_volts must be finite")
        try:
            fixed_0 = _CHANNEL_DESCRIPTION_0.pack(
                self.request_id,
                self.channel,
                self.quantity,
                self.raw_min,
                self.raw_max,
                self.volts_at_zero,
                self.volts_per_raw,
                self.sensor_supply_volts,
            )
        except (struct.error, OverflowError) as error:
            raise ValueError(f"ChannelDescription: {error}") from None
        return fixed_0

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """The message. Raises FrameError unless the body is exactly as the table says."""
        if len(body) != _CHANNEL_DESCRIPTION_0.size:
            raise FrameError(BadReason.LENGTH)
        (
            request_id,
            channel,
            quantity,
            raw_min,
            raw_max,
            volts_at_zero,
            volts_per_raw,
            sensor_supply_volts,
        ) = _CHANNEL_DESCRIPTION_0.unpack(body)
        if quantity not in _QUANTITY_OF:
            raise FrameError(BadReason.VALUE)
        if not isfinite(volts_at_zero):
            raise FrameError(BadReason.VALUE)
        if not isfinite(volts_per_raw):
            raise FrameError(BadReason.VALUE)
        if not isfinite(sensor_supply_volts):
            raise FrameError(BadReason.VALUE)
        return cls(request_id, channel, _QUANTITY_OF[quantity], raw_min, raw_max, volts_at_zero, volts_per_raw, sensor_supply_volts)


_ACK_0 = struct.Struct("<HBI")


@dataclass(frozen=True, slots=True)
class Ack:
    """The command was carried out (or had been already)."""

    TYPE: ClassVar[int] = 0x83
    request_id: int
    command: int
    device_tick: int

    def encode_body(self) -> bytes:
        """The body. Raises ValueError when a field does not fit its place on the wire."""
        try:
            fixed_0 = _ACK_0.pack(self.request_id, self.command, self.device_tick)
        except (struct.error, OverflowError) as error:
            raise ValueError(f"Ack: {error}") from None
        return fixed_0

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """The message. Raises FrameError unless the body is exactly as the table says."""
        if len(body) != _ACK_0.size:
            raise FrameError(BadReason.LENGTH)
        request_id, command, device_tick = _ACK_0.unpack(body)
        return cls(request_id, command, device_tick)


_REFUSED_0 = struct.Struct("<HBBI")


@dataclass(frozen=True, slots=True)
class Refused:
    """The command was not carried out and changed nothing."""

    TYPE: ClassVar[int] = 0x84
    request_id: int
    command: int
    reason: RefusalReason
    device_tick: int

    def encode_body(self) -> bytes:
        """The body. Raises ValueError when a field does not fit its place on the wire."""
        if self.reason not in _REFUSAL_REASON_OF:
            raise ValueError("Refused: reason must be a RefusalReason")
        try:
            fixed_0 = _REFUSED_0.pack(self.request_id, self.command, self.reason, self.device_tick)
        except (struct.error, OverflowError) as error:
            raise ValueError(f"Refused: {error}") from None
        return fixed_0

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """The message. Raises FrameError unless the body is exactly as the table says."""
        if len(body) != _REFUSED_0.size:
            raise FrameError(BadReason.LENGTH)
        request_id, command, reason, device_tick = _REFUSED_0.unpack(body)
        if reason not in _REFUSAL_REASON_OF:
            raise FrameError(BadReason.VALUE)
        return cls(request_id, command, _REFUSAL_REASON_OF[reason], device_tick)


_SAMPLE_BLOCK_0 = struct.Struct("<HIIHBB")


@dataclass(frozen=True, slots=True)
class SampleBlock:
    """Consecutive samples.

    Each is the crank count (i32) followed by one u16 raw word for each streamed channel.
    """

    TYPE: ClassVar[int] = 0x85
    sequence: int
    device_tick: int
    sample_index: int
    flags: BlockFlags
    sample_count: int
    channel_count: int
    samples: bytes

    def encode_body(self) -> bytes:
        """The body. Raises ValueError when a field does not fit its place on the wire."""
        if self.flags not in _BLOCK_FLAGS_OF:
            raise ValueError("SampleBlock: flags must be a BlockFlags")
        if self.sample_count < 1:
            raise ValueError("SampleBlock: sample_count is outside its range of at least 1")
        if self.channel_count < 1:
            raise ValueError("SampleBlock: channel_count is outside its range of at least 1")
        try:
            fixed_0 = _SAMPLE_BLOCK_0.pack(
                self.sequence,
                self.device_tick,
                self.sample_index,
                self.flags,
                self.sample_count,
                self.channel_count,
            )
        except (struct.error, OverflowError) as error:
            raise ValueError(f"SampleBlock: {error}") from None
        if len(self.samples) != self.sample_count * (4 + 2 * self.channel_count):
            raise ValueError("SampleBlock: samples must have sample_count * (4 + 2 * channel_count) octets")
        return b"".join((fixed_0, self.samples))

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """The message. Raises FrameError unless the body is exactly as the table says."""
        if len(body) < _SAMPLE_BLOCK_0.size:
            raise FrameError(BadReason.LENGTH)
        sequence, device_tick, sample_index, flags, sample_count, channel_count = _SAMPLE_BLOCK_0.unpack_from(body, 0)
        samples = body[14:]
        if flags not in _BLOCK_FLAGS_OF:
            raise FrameError(BadReason.RESERVED)
        if sample_count < 1:
            raise FrameError(BadReason.VALUE)
        if channel_count < 1:
            raise FrameError(BadReason.VALUE)
        if len(samples) != sample_count * (4 + 2 * channel_count):
            raise FrameError(BadReason.LENGTH)
        return cls(sequence, device_tick, sample_index, _BLOCK_FLAGS_OF[flags], sample_count, channel_count, samples)


_INDEX_EVENT_0 = struct.Struct("<IiH")


@dataclass(frozen=True, slots=True)
class IndexEvent:
    """The encoder's index pulse passed."""

    TYPE: ClassVar[int] = 0x86
    device_tick: int
    crank_count: int
    index_number: int

    def encode_body(self) -> bytes:
        """The body. Raises ValueError when a field does not fit its place on the wire."""
        try:
            fixed_0 = _INDEX_EVENT_0.pack(self.device_tick, self.crank_count, self.index_number)
        except (struct.error, OverflowError) as error:
            raise ValueError(f"IndexEvent: {error}") from None
        return fixed_0

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """The message. Raises FrameError unless the body is exactly as the table says."""
        if len(body) != _INDEX_EVENT_0.size:
            raise FrameError(BadReason.LENGTH)
        device_tick, crank_count, index_number = _INDEX_EVENT_0.unpack(body)
        return cls(device_tick, crank_count, index_number)


_STATUS_0 = struct.Struct("<HIIBBBBBHiIIIII")


@dataclass(frozen=True, slots=True)
class Status:
    """The device's state and link counters.

    It answers StatusRequest, and comes by itself once a second while streaming (request_id 0) and once at power-up.
    """

    TYPE: ClassVar[int] = 0x87
    request_id: int
    device_tick: int
    boot_id: int
    air: AirState
    supply: SupplyState
    vent: VentState
    hold: HoldState
    streaming: int
    opening_id: int
    crank_count: int
    frames_received: int
    frames_bad: int
    frames_unknown: int
    commands_refused: int
    samples_dropped: int

    def encode_body(self) -> bytes:
        """The body. Raises ValueError when a field does not fit its place on the wire."""
        if self.air not in _AIR_STATE_OF:
            raise ValueError("Status: air must be a AirState")
        if self.supply not in _SUPPLY_STATE_OF:
            raise ValueError("Status: supply must be a SupplyState")
        if self.vent not in _VENT_STATE_OF:
            raise ValueError("Status: vent must be a VentState")
        if self.hold not in _HOLD_STATE_OF:
            raise ValueError("Status: hold must be a HoldState")
        if self.streaming > 1:
            raise ValueError("Status: streaming is outside its range of at most 1")
        try:
            fixed_0 = _STATUS_0.pack(
                self.request_id,
                self.device_tick,
                self.boot_id,
                self.air,
                self.supply,
                self.vent,
                self.hold,
                self.streaming,
                self.opening_id,
                self.crank_count,
                self.frames_received,
                self.frames_bad,
                self.frames_unknown,
                self.commands_refused,
                self.samples_dropped,
            )
        except (struct.error, OverflowError) as error:
            raise ValueError(f"Status: {error}") from None
        return fixed_0

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """The message. Raises FrameError unless the body is exactly as the table says."""
        if len(body) != _STATUS_0.size:
            raise FrameError(BadReason.LENGTH)
        (
            request_id,
            device_tick,
            boot_id,
            air,
            supply,
            vent,
            hold,
            streaming,
            opening_id,
            crank_count,
            frames_received,
            frames_bad,
            frames_unknown,
            commands_refused,
            samples_dropped,
        ) = _STATUS_0.unpack(body)
        if air not in _AIR_STATE_OF:
            raise FrameError(BadReason.VALUE)
        if supply not in _SUPPLY_STATE_OF:
            raise FrameError(BadReason.VALUE)
        if vent not in _VENT_STATE_OF:
            raise FrameError(BadReason.VALUE)
        if hold not in _HOLD_STATE_OF:
            raise FrameError(BadReason.VALUE)
        if streaming > 1:
            raise FrameError(BadReason.VALUE)
        return cls(
            request_id,
            device_tick,
            boot_id,
            _AIR_STATE_OF[air],
            _SUPPLY_STATE_OF[supply],
            _VENT_STATE_OF[vent],
            _HOLD_STATE_OF[hold],
            streaming,
            opening_id,
            crank_count,
            frames_received,
            frames_bad,
            frames_unknown,
            commands_refused,
            samples_dropped,
        )


_AIR_EVENT_0 = struct.Struct("<IBBHi")


@dataclass(frozen=True, slots=True)
class AirEvent:
    """The interlock changed its state."""

    TYPE: ClassVar[int] = 0x88
    device_tick: int
    air: AirState
    cause: Cause
    opening_id: int
    crank_count: int

    def encode_body(self) -> bytes:
        """The body. Raises ValueError when a field does not fit its place on the wire."""
        if self.air not in _AIR_STATE_OF:
            raise ValueError("AirEvent: air must be a AirState")
        if self.cause not in _CAUSE_OF:
            raise ValueError("AirEvent: cause must be a Cause")
        try:
            fixed_0 = _AIR_EVENT_0.pack(self.device_tick, self.air, self.cause, self.opening_id, self.crank_count)
        except (struct.error, OverflowError) as error:
            raise ValueError(f"AirEvent: {error}") from None
        return fixed_0

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """The message. Raises FrameError unless the body is exactly as the table says."""
        if len(body) != _AIR_EVENT_0.size:
            raise FrameError(BadReason.LENGTH)
        device_tick, air, cause, opening_id, crank_count = _AIR_EVENT_0.unpack(body)
        if air not in _AIR_STATE_OF:
            raise FrameError(BadReason.VALUE)
        if cause not in _CAUSE_OF:
            raise FrameError(BadReason.VALUE)
        return cls(device_tick, _AIR_STATE_OF[air], _CAUSE_OF[cause], opening_id, crank_count)


_FAULT_EVENT_0 = struct.Struct("<IBi")


@dataclass(frozen=True, slots=True)
class FaultEvent:
    """The device found a fault."""

    TYPE: ClassVar[int] = 0x89
    device_tick: int
    fault: FaultCode
    detail: int

    def encode_body(self) -> bytes:
        """The body. Raises ValueError when a field does not fit its place on the wire."""
        if self.fault not in _FAULT_CODE_OF:
            raise ValueError("FaultEvent: fault must be a FaultCode")
        try:
            fixed_0 = _FAULT_EVENT_0.pack(self.device_tick, self.fault, self.detail)
        except (struct.error, OverflowError) as error:
            raise ValueError(f"FaultEvent: {error}") from None
        return fixed_0

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """The message. Raises FrameError unless the body is exactly as the table says."""
        if len(body) != _FAULT_EVENT_0.size:
            raise FrameError(BadReason.LENGTH)
        device_tick, fault, detail = _FAULT_EVENT_0.unpack(body)
        if fault not in _FAULT_CODE_OF:
            raise FrameError(BadReason.VALUE)
        return cls(device_tick, _FAULT_CODE_OF[fault], detail)


_HOLD_EVENT_0 = struct.Struct("<IB")


@dataclass(frozen=True, slots=True)
class HoldEvent:
    """The hold-to-run switch was pressed or let go."""

    TYPE: ClassVar[int] = 0x8A
    device_tick: int
    hold: HoldState

    def encode_body(self) -> bytes:
        """The body. Raises ValueError when a field does not fit its place on the wire."""
        if self.hold not in _HOLD_STATE_OF:
            raise ValueError("HoldEvent: hold must be a HoldState")
        try:
            fixed_0 = _HOLD_EVENT_0.pack(self.device_tick, self.hold)
        except (struct.error, OverflowError) as error:
            raise ValueError(f"HoldEvent: {error}") from None
        return fixed_0

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """The message. Raises FrameError unless the body is exactly as the table says."""
        if len(body) != _HOLD_EVENT_0.size:
            raise FrameError(BadReason.LENGTH)
        device_tick, hold = _HOLD_EVENT_0.unpack(body)
        if hold not in _HOLD_STATE_OF:
            raise FrameError(BadReason.VALUE)
        return cls(device_tick, _HOLD_STATE_OF[hold])


_CAM_EVENT_0 = struct.Struct("<IiB")


@dataclass(frozen=True, slots=True)
class CamEvent:
    """The cam signal changed its level."""

    TYPE: ClassVar[int] = 0x8B
    device_tick: int
    crank_count: int
    level: int

    def encode_body(self) -> bytes:
        """The body. Raises ValueError when a field does not fit its place on the wire."""
        if self.level > 1:
            raise ValueError("CamEvent: level is outside its range of at most 1")
        try:
            fixed_0 = _CAM_EVENT_0.pack(self.device_tick, self.crank_count, self.level)
        except (struct.error, OverflowError) as error:
            raise ValueError(f"CamEvent: {error}") from None
        return fixed_0

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """The message. Raises FrameError unless the body is exactly as the table says."""
        if len(body) != _CAM_EVENT_0.size:
            raise FrameError(BadReason.LENGTH)
        device_tick, crank_count, level = _CAM_EVENT_0.unpack(body)
        if level > 1:
            raise FrameError(BadReason.VALUE)
        return cls(device_tick, crank_count, level)


_SLOW_READING_0 = struct.Struct("<IBH")


@dataclass(frozen=True, slots=True)
class SlowReading:
    """A reading of a channel that is not in the samples; about once a second while streaming."""

    TYPE: ClassVar[int] = 0x8C
    device_tick: int
    channel: int
    raw: int

    def encode_body(self) -> bytes:
        """The body. Raises ValueError when a field does not fit its place on the wire."""
        try:
            fixed_0 = _SLOW_READING_0.pack(self.device_tick, self.channel, self.raw)
        except (struct.error, OverflowError) as error:
            raise ValueError(f"SlowReading: {error}") from None
        return fixed_0

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """The message. Raises FrameError unless the body is exactly as the table says."""
        if len(body) != _SLOW_READING_0.size:
            raise FrameError(BadReason.LENGTH)
        device_tick, channel, raw = _SLOW_READING_0.unpack(body)
        return cls(device_tick, channel, raw)


_ECHO_REPLY_0 = struct.Struct("<H")


@dataclass(frozen=True, slots=True)
class EchoReply:
    """The octets of an EchoRequest."""

    TYPE: ClassVar[int] = 0x8D
    request_id: int
    octets: bytes

    def encode_body(self) -> bytes:
        """The body. Raises ValueError when a field does not fit its place on the wire."""
        try:
            fixed_0 = _ECHO_REPLY_0.pack(self.request_id)
        except (struct.error, OverflowError) as error:
            raise ValueError(f"EchoReply: {error}") from None
        return b"".join((fixed_0, put_octets(self.octets, 200, "EchoReply.octets")))

    @classmethod
    def decode_body(cls, body: bytes) -> Self:
        """The message. Raises FrameError unless the body is exactly as the table says."""
        if len(body) < _ECHO_REPLY_0.size:
            raise FrameError(BadReason.LENGTH)
        (request_id,) = _ECHO_REPLY_0.unpack_from(body, 0)
        octets = octets_at(body, 2, 200)
        if len(body) != 3 + len(octets):
            raise FrameError(BadReason.LENGTH)
        return cls(request_id, octets)


ToDevice = (
    IdentifyRequest
    | StreamStart
    | StreamStop
    | SupplyOpen
    | SupplyShut
    | VentOpen
    | VentClose
    | StatusRequest
    | HostAlive
    | EchoRequest
)
ToHost = (
    Identity
    | ChannelDescription
    | Ack
    | Refused
    | SampleBlock
    | IndexEvent
    | Status
    | AirEvent
    | FaultEvent
    | HoldEvent
    | CamEvent
    | SlowReading
    | EchoReply
)
Message = ToDevice | ToHost

TYPES_TO_DEVICE: dict[int, type[ToDevice]] = {
    IdentifyRequest.TYPE: IdentifyRequest,
    StreamStart.TYPE: StreamStart,
    StreamStop.TYPE: StreamStop,
    SupplyOpen.TYPE: SupplyOpen,
    SupplyShut.TYPE: SupplyShut,
    VentOpen.TYPE: VentOpen,
    VentClose.TYPE: VentClose,
    StatusRequest.TYPE: StatusRequest,
    HostAlive.TYPE: HostAlive,
    EchoRequest.TYPE: EchoRequest,
}
TYPES_TO_HOST: dict[int, type[ToHost]] = {
    Identity.TYPE: Identity,
    ChannelDescription.TYPE: ChannelDescription,
    Ack.TYPE: Ack,
    Refused.TYPE: Refused,
    SampleBlock.TYPE: SampleBlock,
    IndexEvent.TYPE: IndexEvent,
    Status.TYPE: Status,
    AirEvent.TYPE: AirEvent,
    FaultEvent.TYPE: FaultEvent,
    HoldEvent.TYPE: HoldEvent,
    CamEvent.TYPE: CamEvent,
    SlowReading.TYPE: SlowReading,
    EchoReply.TYPE: EchoReply,
}
