"""Power-up: what the device says of itself after a reset."""

from __future__ import annotations

from typing import Final

from borewire.codec import BadFrame
from borewire.messages import AirEvent, AirState, Cause, SampleBlock, Status

from borewright.conform.bench import Bench, Heard
from borewright.conform.check import Check, Failed, Need, NotTried, chapter_of
from borewright.conform.hands import Task
from borewright.conform.identify import HANDSHAKE
from borewright.conform.verdict import Figure

__all__ = ["AT_OPENING", "POWER_UP", "is_power_up", "listen_at_opening"]

OPENING_LISTENS_S: Final = 3.0  # a board that is reset by the opening may first wait in its bootloader
AIR_EVENT_WITHIN_S: Final = 0.2


def is_power_up(what: object) -> bool:
    """Whether only a power-up says this: an unasked Status of a device that does not stream, or the AirEvent of that cause."""
    if isinstance(what, Status):
        return what.request_id == 0 and not what.streaming
    return isinstance(what, AirEvent) and what.cause is Cause.POWER_UP


def listen_at_opening(bench: Bench) -> tuple[Heard, ...]:
    """Listen before anything is sent: what a board says that the opening resets, from the first word of it on; else nothing."""
    if bench.until(is_power_up, OPENING_LISTENS_S, since=0) is None:
        return ()
    bench.listen(AIR_EVENT_WITHIN_S)
    at = next(number for number, heard in enumerate(bench.heard) if is_power_up(heard.what))
    # a device that streamed on from before may have been reset in the midst of a frame
    bench.resets += any(isinstance(heard.what, BadFrame) for heard in bench.heard[:at])
    return tuple(bench.heard[at:])


def _at_opening(bench: Bench) -> list[Figure]:
    """Judged after the handshake, on what was heard before it: only then it is known what is fitted."""
    if not bench.at_opening:
        raise NotTried("the opening of the port did not reset the board; the check reset tries the same with --hands or --control")
    _judge(bench, [heard.what for heard in bench.at_opening])
    return []


def _judge(bench: Bench, came: list[object]) -> Status:
    """The sequence after a reset: one Status with request_id 0, then the AirEvent if there are valves, and nothing else."""
    statuses = [what for what in came if isinstance(what, Status)]
    if len(statuses) != 1:
        raise Failed(f"{len(statuses)} Status came after the reset, where exactly one is due")
    status = statuses[0]
    wrong = {
        "boot_id": (status.boot_id, bench.device.boot_id),
        "streaming": (status.streaming, 0),
        "opening_id": (status.opening_id, 0),
        "frames_received": (status.frames_received, 0),
        "commands_refused": (status.commands_refused, 0),
        "air": (status.air, AirState.VENTED if bench.has_valves else AirState.NO_VALVES),
    }
    told = [f"{name} is {is_!s} where {due!s} is due" for name, (is_, due) in wrong.items() if is_ != due]
    if told:
        raise Failed(f"in the Status after the reset {'; '.join(told)}")
    events = [what for what in came if isinstance(what, AirEvent)]
    due = [(AirState.VENTED, Cause.POWER_UP, 0)] if bench.has_valves else []
    if [(event.air, event.cause, event.opening_id) for event in events] != due:
        raise Failed(f"{len(events)} AirEvent came after the reset, where {'one, vented by power_up,' if due else 'none'} is due")
    if events and came.index(events[0]) < came.index(status):
        raise Failed("the AirEvent came before the Status")
    return status


def reset(bench: Bench) -> list[Figure]:
    """Have the board reset, judge what it says, and make its acquaintance anew."""
    before = bench.device.boot_id
    since = bench.mark()
    patience_s = bench.have_done(Task.RESET)
    bench.resets += 1
    if bench.until(is_power_up, patience_s, since=since) is None:
        raise NotTried(f"nothing of a power-up came within {patience_s:g} s of being asked to reset the board")
    at = next(index for index, heard in enumerate(bench.heard) if index >= since and is_power_up(heard.what))
    bench.listen(AIR_EVENT_WITHIN_S)
    came: list[object] = [heard.what for heard in bench.heard[at:]]
    HANDSHAKE.run(bench)
    if bench.device.boot_id == before:
        raise Failed(f"boot_id is {before} before and after the reset; it has to be another one")
    _judge(bench, came)
    return [Figure("boot_id_before", before), Figure("boot_id_after", bench.device.boot_id)]


def _reset(bench: Bench) -> list[Figure]:
    bench.start_stream()
    figures = reset(bench)
    since = bench.mark()
    bench.start_stream()
    block = bench.until(lambda what: isinstance(what, SampleBlock), since=since)
    if block is None or not isinstance(block.what, SampleBlock):
        raise Failed("no sample block came after the reset although the stream was started")
    if (block.what.sequence, block.what.sample_index) != (0, 0):
        began = f"sequence {block.what.sequence} and sample_index {block.what.sample_index}"
        raise Failed(f"the first block after the reset has {began}, where 0 is due for both")
    return figures


AT_OPENING = Check(
    "power-up",
    "After a reset come 0x00, one Status with request_id 0 and, with valves, AirEvent with cause power_up.",
    "PROTOCOL.md 5, Power-up",
    _at_opening,
)
POWER_UP = chapter_of(
    "Power-up",
    AT_OPENING,
    Check(
        "reset",
        "After a reset the sequence of power-up comes, boot_id is another one, and counters and sequence begin at 0.",
        "PROTOCOL.md 5, Power-up",
        _reset,
        (Need.HANDS,),
    ),
)
