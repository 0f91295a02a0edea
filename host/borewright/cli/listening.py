"""Listening to a rig: the whole session, and none of the air.

A Listener identifies the rig, starts its stream and keeps it alive, as the bench does, but sends no command that moves a valve
other than the stop of the stream at its end, which vents.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import Any

from borewire.codec import Decoder, encode
from borewire.messages import ChannelDescription, Identity, Refused, Status, StreamStart, StreamStop

from borewright.acquisition.pump import Pump
from borewright.errors import LinkError
from borewright.link import Endpoint
from borewright.session import news
from borewright.session.session import Outcome, Phase, Session

__all__ = ["Happening", "Listener", "listening", "rig_as_dict"]

KINDS: dict[type[Any], str] = {
    news.IndexSeen: "index_pulses",
    news.CamEdge: "cam_edges",
    news.AirChanged: "air_changes",
    news.HoldChanged: "hold_switch_changes",
    news.DeviceFault: "faults",
    news.DeviceRestarted: "restarts",
    news.LinkSilent: "silences",
    news.CommandRefused: "refusals",
}


@dataclass(frozen=True, slots=True)
class Happening:
    """Something worth a line: when on the clock of the endpoint, counted from the start of listening, and what in words."""

    t_s: float
    words: str


class Listener:
    """One listening to one rig.

    identity, channels, status: the latest of each, None or empty before; identity also of a rig that cannot be used. answered: the
    question who is there has been answered or refused. sample_count, gap_count, missing_blocks: of the stream.
    events: how often each kind of KINDS came. happenings: those of them that are rare, in words. refused: why this is no rig that
    can be listened to, or None.
    """

    def __init__(self, endpoint: Endpoint) -> None:
        self.identity: Identity | None = None
        self.channels: tuple[ChannelDescription, ...] = ()
        self.status: Status | None = None
        self.sample_count = 0
        self.gap_count = 0
        self.missing_blocks = 0
        self.events: Counter[str] = Counter()
        self.happenings: list[Happening] = []
        self.refused: str | None = None
        self.answered = False
        self._endpoint = endpoint
        self._began_s = endpoint.monotonic()
        self._left_s: float | None = None
        self._session = Session(self._began_s)
        self._decoder = Decoder("host")
        self._pump = Pump(endpoint, self._on_bytes)

    @property
    def seconds(self) -> float:
        """For how long there has been listening, on the endpoint's clock; does not grow any more after leave()."""
        return (self._endpoint.monotonic() if self._left_s is None else self._left_s) - self._began_s

    @property
    def streaming(self) -> bool:
        """True while samples come."""
        return self._session.phase is Phase.STREAMING

    @property
    def rate_hz(self) -> int:
        """Samples a second that were asked for."""
        return self._session.rate_hz

    def listen(self, until: Callable[[], bool]) -> None:
        """Turn until the condition holds. Raises LinkError when the link is lost or this is no rig that can be listened to."""
        while not until():
            self._pump.once()
            if self.refused is not None:
                raise LinkError(self.refused)

    def leave(self) -> None:
        """Stop the stream, so that a rig that is left alone does not fill the line. Raises OSError or LinkError when it is lost."""
        self._left_s = self._endpoint.monotonic()
        if self._session.phase in (Phase.STARTING, Phase.STREAMING, Phase.SILENT):
            outcome = self._session.command(StreamStop(0), self._left_s)
            self._endpoint.write(b"".join(encode(message) for message in outcome.send))

    def link_as_dict(self) -> dict[str, int]:
        """What came and what was wrong with it, for JSON."""
        counters = self._decoder.counters
        return {
            "samples": self.sample_count,
            "gaps": self.gap_count,
            "missing_blocks": self.missing_blocks,
            "frames_good": counters.frames_good,
            "frames_bad": counters.frames_bad,
            "frames_unknown": counters.frames_unknown,
            "octets_discarded": counters.bytes_discarded,
        }

    # ------------------------------------------------------------------ inside

    def _on_bytes(self, data: bytes, now_s: float) -> bytes:
        out = b""
        received = self._decoder.feed(data)
        for message in received:
            if isinstance(message, Identity):
                self.identity = message
            self.answered = self.answered or isinstance(message, Identity | Refused)
        if data:
            out += self._take(self._session.receive(received, now_s, len(data)))
        return out + self._take(self._session.tick_host(now_s))

    def _take(self, outcome: Outcome) -> bytes:
        self._session = outcome.session
        self.channels = outcome.session.channels or self.channels
        if outcome.samples is not None:
            self.sample_count += len(outcome.samples)
        for told in outcome.news:
            self._hear(told)
        return b"".join(encode(message) for message in outcome.send)

    def _hear(self, told: news.News) -> None:
        kind = KINDS.get(type(told))
        if kind is not None:
            self.events[kind] += 1
        match told:
            case news.LinkRefused(reason):
                self.refused = reason
            case news.Gap(_, blocks):
                self.gap_count += 1
                self.missing_blocks += blocks
            case news.StatusSeen(status):
                self.status = status
            case news.AirChanged(_, air, cause, opening_id, crank_count):
                self._note(f"air {_plain(air)}, because of {_plain(cause)}, opening {opening_id}, crank at {crank_count} counts")
            case news.HoldChanged(_, hold):
                self._note(f"hold-to-run switch {_plain(hold)}")
            case news.DeviceFault(_, fault, detail):
                self._note(f"fault: {_plain(fault)} ({detail})")
            case news.DeviceRestarted():
                self._note("the rig was restarted")
            case news.LinkSilent(silent_s):
                self._note(f"the rig had been silent for {silent_s:.1f} s")
            case news.CommandRefused(command, reason, _):
                self._note(f"command 0x{command:02x} refused: {_plain(reason)}")
                if command == StreamStart.TYPE:
                    self.refused = f"the rig refuses to send samples ({_plain(reason)}); its firmware and this program do not fit"
            case news.CommandLost(StreamStart.TYPE):
                self.refused = "the rig does not answer when it is asked for samples; restart it and try again"
            case _:
                pass

    def _note(self, words: str) -> None:
        self.happenings.append(Happening(self.seconds, words))


@contextmanager
def listening(endpoint: Endpoint) -> Iterator[Listener]:
    """A Listener that leaves the rig at the end, however that comes, and then closes the endpoint."""
    listener = Listener(endpoint)
    try:
        yield listener
    finally:
        with suppress(LinkError, OSError):  # over a lost link nothing can be said, and a rig without a host vents by itself
            listener.leave()
        endpoint.close()


def rig_as_dict(identity: Identity, channels: tuple[ChannelDescription, ...]) -> dict[str, object]:
    """Who the rig is and what is fitted to it, for JSON."""
    return {
        "serial_number": identity.serial_number,
        "firmware_version": identity.firmware_version,
        "protocol": f"{identity.protocol_major}.{identity.protocol_minor}",
        "schema_fingerprint": f"{identity.schema_fingerprint:08X}",
        "boot_id": identity.boot_id,
        "tick_rate_hz": identity.tick_rate_hz,
        "counts_per_rev": identity.counts_per_rev,
        "max_rate_hz": identity.max_rate_hz,
        "fitted": [str(part.name).lower() for part in identity.fitted],
        "channels": [
            {
                "channel": channel.channel,
                "quantity": channel.quantity.name.lower(),
                "streamed": channel.channel < identity.streamed_channels,
                "raw_min": channel.raw_min,
                "raw_max": channel.raw_max,
                "volts_at_zero": channel.volts_at_zero,
                "volts_per_raw": channel.volts_per_raw,
                "sensor_supply_volts": channel.sensor_supply_volts,
            }
            for channel in channels
        ],
    }


def _plain(word: Any) -> str:
    return str(word.name).lower().replace("_", " ")
