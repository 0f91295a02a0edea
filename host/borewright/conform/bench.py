"""The talk with the device under test: send, listen, ask, and keep what was sent and what came as evidence."""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Final, Protocol, TypeVar

from borewire.codec import BadFrame, Decoder, Received, UnknownMessage, encode
from borewire.messages import (
    Ack,
    ChannelDescription,
    EchoReply,
    Fitted,
    HostAlive,
    Identity,
    RefusalReason,
    Refused,
    SampleBlock,
    Status,
    StatusRequest,
    StreamStart,
    StreamStop,
    ToDevice,
)
from borewire.wirelog import words

from borewright.conform.check import Failed, NotTried
from borewright.conform.hands import Hands, Task

__all__ = ["ANSWERS", "ANSWER_PATIENCE_S", "Bench", "Endpoint", "Heard", "samples_of", "ticks_from"]

READ_OCTETS: Final = 4096
READ_WAITS_S: Final = 0.004
WAITING_READ_FOR_S: Final = 1.0
ANSWER_PATIENCE_S: Final = 2.0  # an answer is due after 0.1 s; what comes later than this does not come
ALIVE_EVERY_S: Final = 0.1
QUIET_S: Final = 0.03
HANDS_LOOK_S: Final = 0.1
LET_GO_WITHIN_S: Final = 2.0
EVIDENCE_LINES: Final = 12
USUAL_RATES_HZ: Final = (1000, 500, 250, 200, 100, 50)
USUAL_BLOCK: Final = 8
ANSWERS: Final = (Ack, Refused, Status, EchoReply, Identity)

Kind = TypeVar("Kind")


class Endpoint(Protocol):
    """What the suite needs of a port; borewright.link.Endpoint and boresim.endpoint.SimEndpoint are such."""

    timeout: float | None

    def read(self, size: int, /) -> bytes:
        """What has come, at most size octets; nothing when the timeout is over."""

    def write(self, data: bytes, /) -> int | None:
        """Send the octets."""

    def monotonic(self) -> float:
        """The clock of this port in seconds."""


@dataclass(frozen=True, slots=True)
class Heard:
    """Something that came, and when it had come by the endpoint's clock."""

    t_s: float
    what: Received


def ticks_from(earlier: int, later: int) -> int:
    """Device ticks from one to the other, across the wrap; negative when the second is really the earlier one.

    >>> ticks_from(0xFFFFFFFF, 4), ticks_from(4, 0xFFFFFFFF)
    (5, -5)
    """
    return ((later - earlier + 0x80000000) & 0xFFFFFFFF) - 0x80000000


def samples_of(block: SampleBlock) -> list[tuple[int, ...]]:
    """The samples of a block: the crank count, then the raw word of each streamed channel."""
    return list(struct.iter_unpack(f"<i{block.channel_count}H", block.samples))


class Bench:
    """One device on one line.

    hands: who does what the wire cannot, or None. air: whether the air supply has been said to be off, so that the device may drive
    its valves.

    identity and channels: who it says it is, from when it has said so. rate_hz, block_size: of the stream as most checks use it.
    at_opening: what was heard before anything was sent. alive: whether HostAlive is sent by itself while listening. resets: how
    often a reset may have cut a frame. bad_frames: how many frames of the device were bad so far. held: whether the hands had the
    hold-to-run switch pressed. lost: whether the line was lost.
    """

    def __init__(self, endpoint: Endpoint, hands: Hands | None = None, *, air: bool = False) -> None:
        self.identity: Identity | None = None
        self.channels: tuple[ChannelDescription, ...] = ()
        self.rate_hz = 0
        self.block_size = 0
        self.alive = False
        self.air = air
        self.hands = hands
        self.resets = 0
        self.held = False
        self.lost = False
        self.heard: list[Heard] = []
        self.at_opening: tuple[Heard, ...] = ()
        self._endpoint = endpoint
        self._decoder = Decoder("host")
        self._request_id = 0
        self._more = False  # whether more is waiting than the last read took
        self._sent_s = endpoint.monotonic()
        self._sent: list[str] = []
        endpoint.timeout = READ_WAITS_S

    # ------------------------------------------------------------------ who is there

    @property
    def device(self) -> Identity:
        """Who the device is. Raises NotTried before it has said so."""
        if self.identity is None:
            raise NotTried("the device did not say who it is")
        return self.identity

    @property
    def has_valves(self) -> bool:
        """Whether both valves are fitted."""
        both = Fitted.SUPPLY_VALVE | Fitted.VENT_VALVE
        return self.device.fitted & both == both

    @property
    def has_hold(self) -> bool:
        """Whether a hold-to-run switch is fitted."""
        return bool(self.device.fitted & Fitted.HOLD_SWITCH)

    @property
    def bad_frames(self) -> int:
        """How many frames of the device were bad, but for one cut at the beginning."""
        return self._decoder.counters.frames_bad

    def ticks(self, seconds: float) -> int:
        """So many seconds in ticks of the device."""
        return round(seconds * self.device.tick_rate_hz)

    def ms(self, ticks: int) -> float:
        """So many ticks of the device in milliseconds."""
        return ticks * 1000.0 / self.device.tick_rate_hz

    # ------------------------------------------------------------------ sending and listening

    @property
    def now_s(self) -> float:
        """The endpoint's clock."""
        return self._endpoint.monotonic()

    def next_id(self) -> int:
        """A request_id that has not been used for long, never 0."""
        self._request_id = self._request_id % 0xFFFF + 1
        return self._request_id

    def numbered(self, message: Any) -> Any:
        """The same command with a request_id of its own."""
        return replace(message, request_id=self.next_id())

    def send(self, *messages: ToDevice) -> None:
        """Send messages as they are, in one write."""
        self.send_octets(b"".join(encode(message) for message in messages), *(words(message) for message in messages))

    def send_octets(self, octets: bytes, *in_words: str) -> None:
        """Send octets as they are; in_words: what they are, for the evidence."""
        self._sent += in_words
        self._sent_s = self.now_s
        self._endpoint.write(octets)

    def read(self) -> list[Heard]:
        """One read from the line."""
        if self.alive and self.now_s - self._sent_s >= ALIVE_EVERY_S:
            self._sent_s = self.now_s
            self._endpoint.write(encode(HostAlive()))
        data = self._endpoint.read(READ_OCTETS)
        self._more = len(data) == READ_OCTETS
        now_s = self.now_s
        came = [Heard(now_s, what) for what in self._decoder.feed(data)]
        self.heard += came
        return came

    def listen(self, seconds: float) -> list[Heard]:
        """Listen for so long; what came."""
        began = len(self.heard)
        until_s = self.now_s + seconds
        while self.now_s < until_s:
            self.read()
        return self.heard[began:]

    def until(
        self, found: Callable[[Received], bool], patience_s: float = ANSWER_PATIENCE_S, *, since: int | None = None
    ) -> Heard | None:
        """Listen until something like this has come; None when it has not within the patience. since: look from there on too."""
        at = len(self.heard) if since is None else since
        until_s = self.now_s + patience_s
        over = False
        while True:
            while at < len(self.heard):
                if found(self.heard[at].what):
                    return self.heard[at]
                at += 1
            # what has come by the end of the patience counts, also when a busy computer reads it late; a device that never
            # stops talking is not read for ever
            if over and (not self._more or self.now_s >= until_s + WAITING_READ_FOR_S):
                return None
            over = self.now_s >= until_s
            self.read()

    def begin(self) -> None:
        """A check begins: forget the evidence of the last one, and let what is still under way arrive."""
        self.alive = False
        self.listen(QUIET_S)
        self.heard.clear()
        self._sent.clear()

    def mark(self) -> int:
        """A place in what was heard, for `since`."""
        return len(self.heard)

    def only(self, kind: type[Kind], since: int = 0) -> list[Kind]:
        """What came of one kind."""
        return [heard.what for heard in self.heard[since:] if isinstance(heard.what, kind)]

    # ------------------------------------------------------------------ asking

    def ask(self, command: Any, patience_s: float = ANSWER_PATIENCE_S) -> Any:
        """Send a command under a request_id of its own and wait for the answer. Raises Failed when none comes."""
        return self.exactly(self.numbered(command), patience_s)

    def exactly(self, command: Any, patience_s: float = ANSWER_PATIENCE_S) -> Any:
        """Send a command as it is and wait for the answer. Raises Failed when none comes."""
        since = self.mark()
        self.send(command)
        return self.answer_to(command, since, patience_s)

    def answer_to(self, command: Any, since: int, patience_s: float = ANSWER_PATIENCE_S) -> Any:
        """The answer to a command that was sent. Raises Failed when none comes."""
        heard = self.until(lambda what: answers(what, command.request_id), patience_s, since=since)
        if heard is None:
            raise Failed(f"{type(command).__name__} was not answered within {patience_s:g} s; every command has to be answered")
        return heard.what

    def acked(self, command: Any) -> Ack:
        """Ask, and demand an Ack of this command."""
        return self.is_ack(command, self.ask(command))

    def is_ack(self, command: Any, answer: Any) -> Ack:
        """Demand that an answer is the Ack of this command."""
        if not isinstance(answer, Ack):
            raise Failed(f"{type(command).__name__} was answered with {words(answer)}, where an Ack is due")
        if answer.command != command.TYPE:
            raise Failed(f"the Ack names command 0x{answer.command:02x}, where 0x{command.TYPE:02x} was sent")
        return answer

    def refused(self, command: Any, reason: RefusalReason, which: str = "") -> Refused:
        """Ask, and demand that the command is refused for this reason. which: what is special about it, for the sentence."""
        answer = self.ask(command)
        name = f"{type(command).__name__}{f' ({which})' if which else ''}"
        demanded = f"Refused with {reason.name.lower()} is due"
        if not isinstance(answer, Refused):
            raise Failed(f"{name} was answered with {words(answer)}, where {demanded}")
        if answer.command != command.TYPE:
            raise Failed(f"the refusal names command 0x{answer.command:02x}, where 0x{command.TYPE:02x} was sent")
        if answer.reason is not reason:
            raise Failed(f"{name} was refused with {answer.reason.name.lower()}, where {demanded}")
        return answer

    def status(self) -> Status:
        """Ask for the Status."""
        answer = self.ask(StatusRequest(0))
        if not isinstance(answer, Status):
            raise Failed(f"StatusRequest was answered with {words(answer)}, where a Status is due")
        return answer

    # ------------------------------------------------------------------ the stream

    def start_stream(self) -> None:
        """Start the stream as most checks use it, at 1000 samples a second or the next slower rate that the device takes."""
        if self.rate_hz:
            self.acked(StreamStart(0, self.rate_hz, self.block_size))
            return
        self.block_size = min(USUAL_BLOCK, self.device.max_block_size)
        fastest = self.device.max_rate_hz
        for rate_hz in (*(rate for rate in USUAL_RATES_HZ if rate <= fastest), fastest):
            if self.device.tick_rate_hz % rate_hz == 0 and isinstance(self.ask(StreamStart(0, rate_hz, self.block_size)), Ack):
                self.rate_hz = rate_hz
                return
        raise NotTried("the device takes none of the usual sample rates")

    def next_block(self) -> SampleBlock:
        """The next block of the stream. Raises Failed when none comes."""
        heard = self.until(lambda what: isinstance(what, SampleBlock), since=self.mark())
        if heard is None or not isinstance(heard.what, SampleBlock):
            raise Failed(f"no sample block came in {ANSWER_PATIENCE_S:g} s although the stream was started")
        return heard.what

    def stop_stream(self) -> None:
        """Stop it."""
        self.acked(StreamStop(0))

    @property
    def sample_ticks(self) -> int:
        """Ticks from sample to sample at the usual rate."""
        return self.device.tick_rate_hz // self.rate_hz

    # ------------------------------------------------------------------ hands and evidence

    def have_done(self, task: Task) -> float:
        """Have somebody do this; how long to wait for what it shows. Raises NotTried when nobody can."""
        if self.hands is None:
            raise NotTried("somebody has to do something at the rig; run it with --hands, or with --control at a simulated rig")
        why_not = self.hands.begin(task)
        if why_not is not None:
            raise NotTried(why_not)
        return self.hands.patience_s

    def have_undone(self, task: Task) -> None:
        """Have somebody bring the rig back to rest; who cannot any more leaves the check's own finding as it is."""
        if self.hands is not None and self.hands.begin(task) is None:
            self.wait_for_hands()

    def let_hold_go(self) -> None:
        """At the end: nobody is left holding the switch that lets air in."""
        if self.hands is not None and self.held:
            self.held = False
            self.hands.let_go()
            until_s = self.now_s + LET_GO_WITHIN_S
            while self.hands.busy() and self.now_s < until_s:
                self.listen(HANDS_LOOK_S)

    def wait_for_hands(self) -> None:
        """Listen until the hands say that they are done, or their patience is over."""
        if self.hands is None:
            return
        until_s = self.now_s + self.hands.patience_s
        while self.hands.busy() and self.now_s < until_s:
            self.listen(HANDS_LOOK_S)

    @property
    def sent_words(self) -> tuple[str, ...]:
        """The last of what this check sent."""
        return tuple(self._sent[-EVIDENCE_LINES:])

    @property
    def came_words(self) -> tuple[str, ...]:
        """The last of what came since this check began; sample blocks in a row as one line."""
        lines: list[str] = []
        blocks = 0
        for heard in reversed(self.heard):
            if len(lines) >= EVIDENCE_LINES:
                break
            if isinstance(heard.what, SampleBlock):
                blocks += 1
                continue
            lines += _blocks_words(blocks)
            blocks = 0
            lines.append(words(heard.what))
        lines += _blocks_words(blocks)
        return tuple(reversed(lines))


def answers(what: Received, request_id: int) -> bool:
    """Whether this is the answer to the command of that request_id; a Status of its own accord has 0."""
    if isinstance(what, (BadFrame, UnknownMessage)) or not isinstance(what, ANSWERS):
        return False
    return what.request_id == request_id


def _blocks_words(count: int) -> list[str]:
    return [f"{count} sample blocks"] if count else []
