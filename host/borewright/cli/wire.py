"""borewright wire: record what goes over the wire, play it back through the host, read it in words."""

from __future__ import annotations

import argparse
import math
import struct
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import asdict, fields
from enum import Enum, Flag
from pathlib import Path
from typing import TYPE_CHECKING, Any

from borewright.cli import exits, wire_talk
from borewright.cli.output import print_json
from borewright.cli.subcommands import add_subcommand
from borewright.core.plain_text import printable
from borewright.errors import LinkError, UseError

if TYPE_CHECKING:
    from borewire.codec import Received
    from borewire.messages import SampleBlock
    from borewire.wirelog import WireRecord

    from borewright.cli.listening import Listener

__all__ = ["EXAMPLE", "add_arguments", "as_dict", "run"]

EXAMPLE = """examples:
  borewright wire record --port /dev/ttyACM0 --out rig.wire --seconds 10
  borewright wire replay rig.wire
  borewright wire dump rig.wire
  borewright wire talk --port /dev/ttyACM0 --say StatusRequest

In a dump and a talk `<` came from the rig and `>` went to it; a sample stands as crank count:raw words. Only talk
can let air in, and it tells before it sends what can."""

SUBCOMMANDS = {
    "record": (
        "talk to the rig on a port and write down all that passes",
        "borewright wire record --port /dev/ttyACM0 --out rig.wire",
    ),
    "replay": ("play a wire log back through the host, as if it were the rig", "borewright wire replay rig.wire --json"),
    "dump": ("each frame of a wire log in words", "borewright wire dump rig.wire"),
    "talk": (wire_talk.WHAT, wire_talk.EXAMPLE),
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The subcommands of wire."""
    subcommands = parser.add_subparsers(dest="subcommand", metavar="SUBCOMMAND", required=True)
    made = {name: add_subcommand(subcommands, name, what, example) for name, (what, example) in SUBCOMMANDS.items()}
    made["record"].add_argument("--port", metavar="URL", required=True, help="the port of the rig: a name, or socket://HOST:PORT")
    made["record"].add_argument(
        "--out", metavar="FILE", type=Path, required=True, help="the wire log to write; it must not be there yet"
    )
    made["record"].add_argument(
        "--seconds", metavar="S", type=_seconds, help="how long (default: until Ctrl-C, which ends it well)"
    )
    wire_talk.add_arguments(made["talk"])
    for name in ("replay", "dump"):
        made[name].add_argument("file", metavar="FILE", type=Path, help="a wire log")
    for name, subparser in made.items():
        subparser.add_argument(
            "--json", action="store_true", help="one JSON object" + (" a frame" if name in ("dump", "talk") else "")
        )


def run(args: argparse.Namespace) -> int:
    """Record, replay, dump or talk. Raises UseError for files, LinkError for rigs."""
    does: dict[str, Callable[[argparse.Namespace], int]] = {
        "record": _record,
        "replay": _replay,
        "dump": _dump,
        "talk": wire_talk.run,
    }
    return does[args.subcommand](args)


def _seconds(text: str) -> float:
    try:
        seconds = float(text)
    except ValueError:
        seconds = math.nan
    if not 0.0 < seconds < math.inf:
        raise argparse.ArgumentTypeError(f"{text!r} is no time; give a number of seconds over 0")
    return seconds


# ---------------------------------------------------------------------- record


def _record(args: argparse.Namespace) -> int:
    from borewright.cli.listening import listening
    from borewright.link import open_link, recording

    port = open_link(args.port)
    try:
        # line by line, so that a crash of this program costs a line at most
        with args.out.open("x", encoding="utf-8", newline="", buffering=1) as file:
            endpoint = recording(port, file)
            with listening(endpoint) as listener:
                longest_s = args.seconds or math.inf
                with suppress(KeyboardInterrupt):  # the way to end a recording that has no set length
                    listener.listen(until=lambda: listener.seconds >= longest_s or endpoint.failure is not None)
            if endpoint.failure is not None:
                raise UseError(endpoint.failure)
    except FileExistsError as error:
        raise UseError(f"{args.out} is there already and was left alone; name another file") from error
    except OSError as error:
        raise UseError(
            f"{args.out} cannot be written ({error.strerror}); choose a folder with space that you may write to"
        ) from error
    finally:
        port.close()
    _report(listener, args, f"recorded {listener.seconds:.1f} s into {args.out}")
    if listener.identity is None:
        raise LinkError("the rig had not said who it is when the recording ended; record for longer")
    return exits.OK


# ---------------------------------------------------------------------- replay


def _replay(args: argparse.Namespace) -> int:
    from borewright.cli.listening import listening
    from borewright.link import replaying

    with listening(replaying(args.file)) as listener:
        refused = _play(listener, args.file)
    _report(listener, args, f"played {listener.seconds:.1f} s of {args.file}")
    if refused is not None and listener.answered:
        raise LinkError(refused)
    if listener.identity is None:
        raise LinkError(f"{args.file} does not hold a rig's answer to who it is; record again, from the opening of the port on")
    return exits.OK


def _play(listener: Listener, path: Path) -> str | None:
    """Play to the end; what the session refused the rig for, or None."""
    from borewire.wirelog import WireLogError

    try:
        listener.listen(until=lambda: False)
    except LinkError as error:
        if isinstance(error.__cause__, WireLogError):
            raise UseError(f"{path}: {error}") from error
        return listener.refused
    return None


def _report(listener: Listener, args: argparse.Namespace, done: str) -> None:
    from borewright.cli.listening import rig_as_dict

    identity = listener.identity
    rig = None if identity is None else rig_as_dict(identity, listener.channels)
    link = listener.link_as_dict()
    if args.json:
        report: dict[str, Any] = {"file": str(args.out if args.subcommand == "record" else args.file), "seconds": listener.seconds}
        report |= {"rig": rig, "link": link, "events": dict(listener.events)}
        print_json(report | {"happenings": [asdict(happening) for happening in listener.happenings]})
        return
    print(done)
    if identity is None:
        print("rig: it did not say who it is")
    else:
        quantities = ", ".join(channel.quantity.name.lower().replace("_", " ") for channel in listener.channels)
        who = f"rig: {printable(identity.serial_number)}, firmware {printable(identity.firmware_version)}"
        print(f"{who}; channels: {quantities or 'not described'}")
    print("link: " + ", ".join(f"{name.replace('_', ' ')} {number}" for name, number in link.items()))
    events = ", ".join(f"{name.replace('_', ' ')} {number}" for name, number in sorted(listener.events.items()))
    print(f"events: {events or 'none'}")
    for happening in listener.happenings:
        print(f"{happening.t_s:10.3f} s  {happening.words}")


# ---------------------------------------------------------------------- dump


def _dump(args: argparse.Namespace) -> int:
    from borewire.codec import Decoder

    decoders = {"to_host": Decoder("host"), "to_device": Decoder("device")}
    for record in _records(args.file):
        for received in decoders[record.direction].feed(record.data):
            if args.json:
                print_json({"t_s": record.t_s, "direction": record.direction} | as_dict(received))
            else:
                print(f"{record.t_s:12.6f} {'<' if record.direction == 'to_host' else '>'} {_in_words(received)}")
    return exits.OK


def _records(path: Path) -> Iterator[WireRecord]:
    from borewire.wirelog import WireLogError, read_wire_log

    try:
        with path.open(encoding="utf-8", newline="") as file:
            yield from read_wire_log(file)
    except OSError as error:
        raise UseError(f"{path} cannot be read ({error.strerror}); name a wire log that `borewright wire record` wrote") from error
    except WireLogError as error:
        raise UseError(f"{path}: {error}") from error


def _in_words(received: Received) -> str:
    from borewire.messages import SampleBlock
    from borewire.wirelog import words

    if not isinstance(received, SampleBlock):
        return words(received)
    samples = (f"{crank_count}:{','.join(map(str, raw))}" for crank_count, *raw in _samples(received))
    return f"{words(received).rpartition('samples=')[0]}samples={' '.join(samples)}"


def as_dict(received: Received) -> dict[str, Any]:
    """What a decoder hands out, for JSON."""
    from borewire.codec import BadFrame, UnknownMessage
    from borewire.messages import SampleBlock

    if isinstance(received, BadFrame):
        return {"bad": received.reason.value, "octets": received.octets.hex()}
    if isinstance(received, UnknownMessage):
        return {"unknown": received.type, "octets": received.body.hex()}
    content = {field.name: _plain(getattr(received, field.name)) for field in fields(received)}
    if isinstance(received, SampleBlock):
        content["samples"] = _samples(received)
    return {"message": type(received).__name__, "fields": content}


def _samples(block: SampleBlock) -> list[list[int]]:
    """Each sample as the crank count and the raw word of every channel."""
    return [list(sample) for sample in struct.iter_unpack(f"<i{block.channel_count}H", block.samples)]


def _plain(value: object) -> object:
    match value:
        case Flag():
            return [str(member.name).lower() for member in value]
        case Enum():
            return value.name.lower()
        case bytes():
            return value.hex()
        case _:
            return value
