"""borewright wire talk: one message at a time, for bringing a board up. Sends nothing of its own accord unless told to."""

from __future__ import annotations

import argparse
import math
import sys
from contextlib import suppress
from typing import TYPE_CHECKING, Any

from borewright.cli import exits
from borewright.cli.ended import ended_like_ctrl_c
from borewright.cli.output import print_json
from borewright.errors import LinkError, NotReadyError, UseError

if TYPE_CHECKING:
    from borewire.codec import Received
    from borewire.messages import SampleBlock

    from borewright.cli.console import Lines
    from borewright.link import Endpoint

__all__ = ["EXAMPLE", "WHAT", "add_arguments", "run"]

WHAT = "talk to a device one message at a time, for bringing a board up"
EXAMPLE = 'borewright wire talk --port /dev/ttyACM0 --say "StreamStart rate_hz=1000 block_size=8"'
READ_OCTETS = 4096
ALIVE_EVERY_S = 0.1
BLOCKS_EVERY_S = 1.0
LISTENS_S = 1.0
AIR_WARNING = (
    "! {name} can let air in or keep it in. Be sure that the supply is off, or that crank, hose and hands are ready for air; "
    "the cautions in README.md hold."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The options of wire talk."""
    parser.add_argument("--port", metavar="URL", required=True, help="the port of the device: a name, or socket://HOST:PORT")
    parser.add_argument(
        "--say",
        metavar="WORDS",
        action="append",
        default=[],
        help="send this message and wait for its answer; may be given again. Without it, lines are read from the keyboard",
    )
    parser.add_argument(
        "--air-is-off",
        action="store_true",
        help="for scripts, with what can let air in: states that the air supply is shut off and the rig vented",
    )
    parser.add_argument("--alive", action="store_true", help="send HostAlive each 100 ms; else the host is silent when you are")
    parser.add_argument(
        "--seconds", metavar="S", type=_seconds, default=LISTENS_S, help="with --say, listen for so long after the last answer"
    )


def run(args: argparse.Namespace) -> int:
    """Talk until the messages are said, or until quit, the end of the input or Ctrl-C.

    Raises UseError, LinkError, and NotReadyError for a message that can let air in when nobody is there to be asked and the air was
    not said to be off.
    """
    from borewright.cli.console import Lines
    from borewright.cli.message_words import message_of
    from borewright.link import open_link

    for words in args.say:  # all are looked at before the first is sent
        _is_stated(message_of(words, 1), args.air_is_off)
    endpoint = open_link(args.port)
    talk = Talk(endpoint, alive=args.alive, as_json=args.json)
    try:
        with ended_like_ctrl_c():
            if args.say:
                for words in args.say:
                    talk.say(message_of(words, talk.next_id()))
                talk.listen(args.seconds)
            else:
                talk.tell(
                    "type a message and Enter; help lists them, help and a name tells more; quit, Ctrl-C or the end of input ends"
                )
                _by_keyboard(talk, Lines(sys.stdin), asks=sys.stdin.isatty(), air_is_off=args.air_is_off)
    except KeyboardInterrupt:
        pass  # the way to end a talk
    finally:
        talk.leave()
        endpoint.close()
    return exits.OK


def _is_stated(message: Any, air_is_off: bool) -> None:
    """Nobody can be asked here: what can let air in is sent only when the air has been said to be off."""
    from borewright.cli.message_words import can_let_air_in

    if can_let_air_in(message) and not air_is_off:
        raise NotReadyError(
            f"{type(message).__name__} can let air in or keep it in and was not sent; shut the air supply off, vent the rig, "
            "and state it with --air-is-off, or type the message at the keyboard"
        )


def _by_keyboard(talk: Talk, lines: Lines, *, asks: bool, air_is_off: bool) -> None:
    """asks: whether somebody sits at the keyboard, who is asked before air."""
    from borewright.cli.message_words import can_let_air_in, message_of, usage_lines, usage_of

    waits: Any = None
    while not lines.ended:
        talk.read()
        line = lines.take()
        if line is None:
            continue
        try:
            if waits is not None:
                if line.lower() == "yes":
                    talk.say(waits, warned=True)
                else:
                    talk.tell("not sent")
                waits = None
            elif line.lower() == "quit":
                return
            elif line.lower().split()[:1] == ["help"]:
                for usage in [usage for name in line.split()[1:] for usage in usage_of(name)] or usage_lines():
                    talk.tell(usage)
            elif line:
                message = message_of(line, talk.next_id())
                if not asks:
                    _is_stated(message, air_is_off)
                if asks and can_let_air_in(message):
                    talk.warn(message)
                    talk.tell("type yes to send it")
                    waits = message
                else:
                    talk.say(message)
        except UseError as wrong:
            talk.tell(str(wrong))


def _seconds(text: str) -> float:
    try:
        seconds = float(text)
    except ValueError:
        seconds = math.nan
    if not 0.0 <= seconds < math.inf:
        raise argparse.ArgumentTypeError(f"{text!r} is no time; give a number of seconds from 0 on")
    return seconds


class Talk:
    """What is sent and what comes, printed line by line; sample blocks as one line a second."""

    def __init__(self, endpoint: Endpoint, *, alive: bool, as_json: bool) -> None:
        from borewire.codec import Decoder

        self._endpoint = endpoint
        self._alive = alive
        self._as_json = as_json
        self._decoder = Decoder("host")
        self._began_s = self._sent_s = self._blocks_s = endpoint.monotonic()
        self._request_id = 0
        self._blocks: list[SampleBlock] = []
        self._streams = False
        self._air = False
        self._answered: set[int] = set()

    @property
    def _now_s(self) -> float:
        return self._endpoint.monotonic() - self._began_s

    def next_id(self) -> int:
        """The next request_id."""
        self._request_id = self._request_id % 0xFFFF + 1
        return self._request_id

    def tell(self, line: str) -> None:
        """A line for the person, apart from what goes over the wire."""
        print(line, file=sys.stderr, flush=True)

    def warn(self, message: Any) -> None:
        """Tell plainly that air can come."""
        self.tell(AIR_WARNING.format(name=type(message).__name__))

    def say(self, message: Any, *, warned: bool = False) -> None:
        """Send a message and print what comes until it is answered, or for a second."""
        from borewire.codec import encode
        from borewire.messages import HostAlive, StreamStart

        from borewright.cli.message_words import can_let_air_in

        if can_let_air_in(message):
            if not warned:
                self.warn(message)
            self._air = True
        self._streams = self._streams or isinstance(message, StreamStart)
        self._show(">", message)
        self._write(encode(message))
        if isinstance(message, HostAlive):
            return
        self._answered.discard(message.request_id)
        until_s = self._now_s + LISTENS_S
        while message.request_id not in self._answered and self._now_s < until_s:
            self.read()
        if message.request_id not in self._answered:
            self.tell(f"no answer within {LISTENS_S:g} s")

    def listen(self, seconds: float) -> None:
        """Print what comes for so long."""
        until_s = self._now_s + seconds
        while self._now_s < until_s:
            self.read()
        self._tell_blocks()

    def read(self) -> None:
        """One read, printed."""
        from borewire.messages import SampleBlock

        if self._alive and self._now_s - self._sent_s >= ALIVE_EVERY_S:
            from borewire.codec import encode
            from borewire.messages import HostAlive

            self._write(encode(HostAlive()))
        for received in self._decoder.feed(self._endpoint.read(READ_OCTETS)):
            if isinstance(received, SampleBlock):
                self._blocks.append(received)
                continue
            self._answered.add(getattr(received, "request_id", 0))
            self._show("<", received)
        if self._now_s - self._blocks_s >= BLOCKS_EVERY_S:
            self._tell_blocks()

    def leave(self) -> None:
        """Stop the stream, and vent if air may be in; over a lost link nothing can be said, and the device vents by itself."""
        from borewire.codec import encode
        from borewire.messages import StreamStop, VentOpen

        last = ([VentOpen(self.next_id())] if self._air else []) + ([StreamStop(self.next_id())] if self._streams else [])
        with suppress(LinkError, OSError):
            for message in last:  # sent before any is shown: the reader of our output may have gone
                self._write(encode(message))
            for message in last:
                self._show(">", message)

    # ------------------------------------------------------------------ inside

    def _write(self, octets: bytes) -> None:
        self._sent_s = self._now_s
        self._endpoint.write(octets)

    def _show(self, mark: str, received: Received) -> None:
        from borewire.wirelog import words

        if self._as_json:
            from borewright.cli.wire import as_dict

            print_json({"t_s": self._now_s, "direction": "to_host" if mark == "<" else "to_device"} | as_dict(received))
        else:
            print(f"{self._now_s:10.3f} {mark} {words(received)}", flush=True)

    def _tell_blocks(self) -> None:
        self._blocks_s = self._now_s
        if not self._blocks:
            return
        from borewright.conform.bench import samples_of

        blocks, self._blocks = self._blocks, []
        samples = [sample for block in blocks for sample in samples_of(block)]
        counts = [sample[0] for sample in samples]
        raw = [[sample[channel] for sample in samples] for channel in range(1, min(map(len, samples)))]
        told = {
            "blocks": len(blocks),
            "samples": len(samples),
            "sequence": [blocks[0].sequence, blocks[-1].sequence],
            "device_tick": [blocks[0].device_tick, blocks[-1].device_tick],
            "crank_count": [min(counts), max(counts)],
            "raw": [[min(words), max(words)] for words in raw],
        }
        if self._as_json:
            print_json({"t_s": self._now_s, "direction": "to_host", "sample_blocks": told})
            return
        spans = [
            f"sequence {blocks[0].sequence} to {blocks[-1].sequence}",
            f"device_tick {blocks[0].device_tick} to {blocks[-1].device_tick}",
            f"crank_count {min(counts)} to {max(counts)}",
            *(f"raw[{channel}] {min(words)} to {max(words)}" for channel, words in enumerate(raw)),
        ]
        print(f"{self._now_s:10.3f} < {len(blocks)} sample blocks, {len(samples)} samples: {', '.join(spans)}", flush=True)
