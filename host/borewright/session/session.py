"""The session: identify, stream, keep alive, repeat what was not answered.

Pure: messages and readings of the host's clock in, messages and news out.

The host's clock serves only to notice silence; all that is measured is in device ticks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum
from typing import TypeAlias

from borewire.codec import BadFrame, Received, UnknownMessage
from borewire.messages import (
    PROTOCOL_MAJOR,
    PROTOCOL_MINOR,
    Ack,
    AirEvent,
    CamEvent,
    ChannelDescription,
    EchoRequest,
    FaultEvent,
    HoldEvent,
    HostAlive,
    IdentifyRequest,
    Identity,
    IndexEvent,
    RefusalReason,
    Refused,
    SampleBlock,
    SlowReading,
    Status,
    StatusRequest,
    StreamStart,
    StreamStop,
    SupplyOpen,
    SupplyShut,
    ToDevice,
    VentClose,
    VentOpen,
)
from borewire.runs import BlockRun

from borewright.core.samples import SampleColumns
from borewright.session import news
from borewright.session.blocks import BlockTrack
from borewright.session.clock import unwrap

__all__ = ["Command", "Outcome", "Phase", "Session"]

IDENTIFY_EVERY_S = 0.5
IDENTIFY_FOR_S = 5.0
KEEP_ALIVE_S = 0.05  # half of what the wire asks for, so that a late turn of the loop does no harm
REPEAT_AFTER_S = 0.2
REPEATS = 4
SILENT_AFTER_S = 0.5
NO_SAMPLES_AFTER_S = 0.7  # later than silence, so that a dead line is not taken for a device that only sends no samples

Command: TypeAlias = StreamStart | StreamStop | SupplyOpen | SupplyShut | VentOpen | VentClose | StatusRequest | EchoRequest
AIR_COMMANDS = frozenset({SupplyOpen.TYPE, SupplyShut.TYPE, VentOpen.TYPE, VentClose.TYPE})


class Phase(Enum):
    """How far the conversation has come."""

    IDENTIFYING = "identifying"
    STARTING = "starting"
    STREAMING = "streaming"
    SILENT = "silent"
    REFUSED = "refused"


@dataclass(frozen=True, slots=True)
class _Pending:
    message: ToDevice
    sent_s: float
    tries: int


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one step of the session gave: its next state, what to send, what to tell, the samples."""

    session: Session
    send: tuple[ToDevice, ...] = ()
    news: tuple[news.News, ...] = ()
    samples: SampleColumns | None = None


@dataclass(frozen=True, slots=True)
class Session:
    """The state of the conversation with one device. Make one with the host's clock of the moment the port was opened."""

    opened_s: float
    rate_hz: int = 1000
    block_size: int = 8
    phase: Phase = Phase.IDENTIFYING
    identity: Identity | None = None
    channels: tuple[ChannelDescription, ...] = ()
    boot_id: int | None = None
    tick: int | None = None
    track: BlockTrack | None = None
    heard_s: float | None = None
    sampled_s: float | None = None
    sent_s: float = float("-inf")
    asked_s: float = float("-inf")
    request_id: int = 0
    octets: int = 0
    octets_s: float | None = None
    pending: tuple[_Pending, ...] = ()

    # ------------------------------------------------------------------ what goes out

    def command(self, message: Command, now_s: float) -> Outcome:
        """Send a command; it is repeated until it is answered.

        An opening is repeated only by its renewals, never by itself; and what was said earlier about the air is not repeated once
        something else has been said about it.
        """
        request_id = self.request_id % 0xFFFF + 1
        numbered = replace(message, request_id=request_id)
        overtaken = AIR_COMMANDS if message.TYPE in AIR_COMMANDS else frozenset({message.TYPE})
        pending = tuple(p for p in self.pending if p.message.TYPE not in overtaken)
        if not isinstance(message, SupplyOpen):
            pending += (_Pending(numbered, now_s, 1),)
        return Outcome(replace(self, request_id=request_id, pending=pending, sent_s=now_s), (numbered,))

    def tick_host(self, now_s: float, looked_s: float | None = None) -> Outcome:
        """Time has passed on the host's clock: ask again, repeat, keep alive, notice silence.

        looked_s: when the host last looked at what had come, None: now. While it was busy with something else since then, nobody
        can say whether the device was silent.
        """
        if self.phase is Phase.REFUSED:
            return Outcome(self)
        if self.phase is Phase.IDENTIFYING:
            return self._identify(now_s)
        if self.phase is Phase.STREAMING and (silent := self._silence(now_s if looked_s is None else looked_s)) is not None:
            return Outcome(replace(self, phase=Phase.SILENT), news=(silent,))
        if self.phase is Phase.SILENT and now_s - self.asked_s >= IDENTIFY_EVERY_S:
            return self._ask(now_s)
        return self._repeat_and_keep_alive(now_s)

    def _silence(self, now_s: float) -> news.LinkSilent | None:
        """The device has gone silent, or sends no samples that can be used; None where all is well."""
        if self.heard_s is not None and now_s - self.heard_s > SILENT_AFTER_S:
            babbles = self.octets_s is not None and now_s - self.octets_s < SILENT_AFTER_S / 2
            return news.LinkSilent(now_s - self.heard_s, answers=babbles)
        longest_s = NO_SAMPLES_AFTER_S + 2.0 * self.block_size / self.rate_hz
        if self.sampled_s is not None and now_s - self.sampled_s > longest_s:
            return news.LinkSilent(now_s - self.sampled_s, answers=True)
        return None

    def awaits(self, command: int) -> bool:
        """Whether a command of this type number was sent and is not answered yet."""
        return command in {waiting.message.TYPE for waiting in self.pending}

    def _identify(self, now_s: float) -> Outcome:
        if now_s - self.opened_s > IDENTIFY_FOR_S:
            return Outcome(replace(self, phase=Phase.REFUSED), news=(news.LinkRefused(self._why_unknown()),))
        if now_s - self.asked_s < IDENTIFY_EVERY_S:
            return Outcome(self)
        return self._ask(now_s)

    def _ask(self, now_s: float) -> Outcome:
        request_id = self.request_id % 0xFFFF + 1
        asking = replace(self, request_id=request_id, asked_s=now_s, sent_s=now_s)
        return Outcome(asking, (IdentifyRequest(request_id, PROTOCOL_MAJOR, PROTOCOL_MINOR),))

    def _why_unknown(self) -> str:
        if self.identity is not None:
            return "the device said who it is but did not describe its channels; restart it and try again"
        if self.heard_s is not None:
            return "the rig talks but does not hear this program; check that its cable carries both ways, and restart the rig"
        if self.octets:
            return "something answers, but not in the language of a leak-down rig; check that this is the rig's port and its speed"
        return "nothing answers; check the cable, the power of the rig and that this is its port"

    def _repeat_and_keep_alive(self, now_s: float) -> Outcome:
        send: list[ToDevice] = []
        lost: list[news.News] = []
        pending: list[_Pending] = []
        for waiting in self.pending:
            if waiting.tries >= REPEATS and now_s - waiting.sent_s >= REPEAT_AFTER_S and self.phase is Phase.STARTING:
                return self._refuse("the rig does not answer when it is asked for samples; restart it and try again")
            if now_s - waiting.sent_s < REPEAT_AFTER_S:
                pending.append(waiting)
            elif waiting.tries >= REPEATS:
                lost.append(news.CommandLost(waiting.message.TYPE))
            else:
                send.append(waiting.message)
                pending.append(_Pending(waiting.message, now_s, waiting.tries + 1))
        if not send and now_s - self.sent_s >= KEEP_ALIVE_S:
            send.append(HostAlive())
        sent_s = now_s if send else self.sent_s
        return Outcome(replace(self, pending=tuple(pending), sent_s=sent_s), tuple(send), tuple(lost))

    # ------------------------------------------------------------------ what comes in

    def receive(self, received: Sequence[Received | BlockRun], now_s: float, octets: int = 0) -> Outcome:
        """Take what the decoder made of so many octets. Octets without any frame tell a strange device from a silent port."""
        session = replace(self, octets=self.octets + octets, octets_s=now_s if octets else self.octets_s)
        told: list[news.News] = []
        send: list[ToDevice] = []
        runs: list[BlockRun] = []
        for item in received:
            if isinstance(item, BlockRun | SampleBlock):
                runs.append(item if isinstance(item, BlockRun) else BlockRun.of(item))
                continue
            outcome = session._take(item, now_s)
            session = outcome.session
            told.extend(outcome.news)
            send.extend(outcome.send)
        if any(_from_device(item) for item in received):
            session = replace(session, heard_s=now_s)
        samples: SampleColumns | None = None
        if runs and session.track is not None and session.phase in (Phase.STREAMING, Phase.SILENT):
            track, samples, gaps = session.track.take(runs)
            told.extend(gaps)
            resumed = replace(session, track=track, tick=track.tick, sampled_s=now_s if samples is not None else session.sampled_s)
            if session.phase is Phase.SILENT and samples is not None:
                resumed = replace(resumed, phase=Phase.STREAMING)
                told.append(news.StreamRunning())
            session = resumed
        return Outcome(session, tuple(send), tuple(told), samples)

    def _take(self, item: Received, now_s: float) -> Outcome:
        match item:
            case Identity():
                return self._take_identity(item, now_s)
            case ChannelDescription():
                return self._take_channel(item, now_s)
            case Ack():
                return self._take_ack(item, now_s)
            case Refused():
                return self._take_refusal(item)
            case Status():
                return self._take_status(item, now_s)
            case IndexEvent(device_tick, crank_count, index_number):
                return self._tell(news.IndexSeen(self._unwrap(device_tick), crank_count, index_number))
            case AirEvent(device_tick, air, cause, opening_id, crank_count):
                return self._tell(news.AirChanged(self._unwrap(device_tick), air, cause, opening_id, crank_count))
            case FaultEvent(device_tick, fault, detail):
                return self._tell(news.DeviceFault(self._unwrap(device_tick), fault, detail))
            case HoldEvent(device_tick, hold):
                return self._tell(news.HoldChanged(self._unwrap(device_tick), hold))
            case CamEvent(device_tick, crank_count, level):
                return self._tell(news.CamEdge(self._unwrap(device_tick), crank_count, bool(level)))
            case SlowReading(device_tick, channel, raw):
                return self._tell(news.SlowValue(self._unwrap(device_tick), channel, raw))
            case _:
                return Outcome(self)

    def _tell(self, *told: news.News) -> Outcome:
        return Outcome(self, news=told)

    def _unwrap(self, device_tick: int) -> int:
        return unwrap(device_tick, 32, self.tick)

    def _take_identity(self, identity: Identity, now_s: float) -> Outcome:
        if identity.protocol_major != PROTOCOL_MAJOR:
            return self._refuse(
                f"the device speaks version {identity.protocol_major}.{identity.protocol_minor} of the wire protocol "
                f"and this program version {PROTOCOL_MAJOR}.{PROTOCOL_MINOR}; update whichever is older"
            )
        restarted: tuple[news.News, ...] = ()
        if self.boot_id is not None and identity.boot_id != self.boot_id:
            restarted = (news.DeviceRestarted(self.boot_id, identity.boot_id),)
        known = replace(self, identity=identity, channels=(), boot_id=identity.boot_id, heard_s=now_s)
        return Outcome(known, news=restarted)

    def _take_channel(self, channel: ChannelDescription, now_s: float) -> Outcome:
        if self.identity is None or self.phase not in (Phase.IDENTIFYING, Phase.SILENT):
            return Outcome(self)
        channels = tuple(sorted({c.channel: c for c in (*self.channels, channel)}.values(), key=lambda c: c.channel))
        described = replace(self, channels=channels)
        if len(channels) < self.identity.channel_count:
            return Outcome(described)
        rate_hz = min(self.rate_hz, self.identity.max_rate_hz)
        block_size = min(self.block_size, self.identity.max_block_size)
        starting = replace(described, phase=Phase.STARTING, rate_hz=rate_hz, block_size=block_size)
        outcome = starting.command(StreamStart(0, rate_hz, block_size), now_s)
        return replace(outcome, news=(news.DeviceKnown(self.identity, channels),))

    def _take_ack(self, ack: Ack, now_s: float) -> Outcome:
        answered = replace(self, pending=self._unanswered(ack.request_id))
        if ack.command != StreamStart.TYPE or self.phase is not Phase.STARTING or self.identity is None:
            return Outcome(answered, news=(news.CommandAcked(ack.command, self._unwrap(ack.device_tick)),))
        if not any(waiting.message == StreamStart(ack.request_id, self.rate_hz, self.block_size) for waiting in self.pending):
            return Outcome(self)  # the answer to an earlier program, which may have asked for another rate
        track = BlockTrack(self.identity.tick_rate_hz, self.rate_hz)
        started = replace(answered, tick=None, track=track, sampled_s=now_s)
        if self.track is not None:  # after a silence only samples show that it is over
            return Outcome(replace(started, phase=Phase.SILENT))
        return Outcome(replace(started, phase=Phase.STREAMING), news=(news.StreamRunning(),))

    def _take_refusal(self, refused: Refused) -> Outcome:
        if refused.reason is RefusalReason.VERSION_UNSUPPORTED:
            return self._refuse(
                f"the device refuses version {PROTOCOL_MAJOR}.{PROTOCOL_MINOR} of the wire protocol, "
                "which this program speaks; update whichever is older"
            )
        if refused.command == StreamStart.TYPE and self.phase is Phase.STARTING:
            why = refused.reason.name.lower().replace("_", " ")
            return self._refuse(f"the rig refuses to send samples ({why}); its firmware and this program do not fit")
        answered = replace(self, pending=self._unanswered(refused.request_id))
        return Outcome(answered, news=(news.CommandRefused(refused.command, refused.reason, self._unwrap(refused.device_tick)),))

    def _unanswered(self, request_id: int) -> tuple[_Pending, ...]:
        return tuple(p for p in self.pending if getattr(p.message, "request_id", None) != request_id)

    def _take_status(self, status: Status, now_s: float) -> Outcome:
        told: tuple[news.News, ...] = (news.StatusSeen(status),)
        if self.boot_id is not None and status.boot_id != self.boot_id:
            fresh = Session(
                now_s,
                self.rate_hz,
                self.block_size,
                boot_id=status.boot_id,
                heard_s=now_s,
                request_id=self.request_id,
                octets=self.octets,
            )
            return Outcome(fresh, news=(news.DeviceRestarted(self.boot_id, status.boot_id), *told))
        return Outcome(replace(self, pending=self._unanswered(status.request_id)), news=told)

    def _refuse(self, reason: str) -> Outcome:
        return Outcome(replace(self, phase=Phase.REFUSED, pending=()), news=(news.LinkRefused(reason),))


def _from_device(item: Received | BlockRun) -> bool:
    """Whether this shows that the device talks: a frame to the device may be our own, come back over a faulty cable."""
    return not isinstance(item, BadFrame) and not (isinstance(item, UnknownMessage) and not item.for_host)
