"""A wrong device: the simulated one with something bent between it and the host, and the suite run over it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from boresim.endpoint import SimEndpoint
from boresim.rig import SimRig
from borewire.codec import BadFrame, Decoder, UnknownMessage, encode
from borewire.messages import Message
from borewright.conform.suite import SUITE, run_suite
from borewright.conform.verdict import Outcome, Result

from .devices import SOLENOID, QuickHands, quick

__all__ = ["Bent", "Said", "outcome_of"]

Said = Message | bytes
"""What a bent device says: a message, or octets as they are."""


class Bent(SimEndpoint):
    """A port whose device says something else than it should.

    say: makes what is said of the messages of one read; with what is left to say at a later read it may keep state of its own.
    hear: makes what the device hears of what the host has written.
    """

    def __init__(
        self,
        rig: SimRig,
        say: Callable[[list[Message]], Sequence[Said]] = list,
        hear: Callable[[bytes], bytes] = bytes,
    ) -> None:
        super().__init__(rig)
        self._say = say
        self._hear = hear
        self._of_device = Decoder("host")

    def read(self, size: int = 1) -> bytes:
        came = self._of_device.feed(super().read(size))
        messages = [message for message in came if not isinstance(message, BadFrame | UnknownMessage)]
        return b"".join(said if isinstance(said, bytes) else encode(said) for said in self._say(messages))

    def write(self, data: bytes) -> int:
        super().write(self._hear(bytes(data)))
        return len(data)


def outcome_of(name: str, make: Callable[[SimRig], SimEndpoint] = SimEndpoint, scenario: str = SOLENOID) -> Result:
    """What comes of one check over a device that make bends."""
    rig = SimRig(quick(scenario))
    (check,) = [check for check in SUITE if check.name == name]
    run = run_suite(make(rig), only=[name], air=any(need.name == "AIR" for need in check.needs), hands=QuickHands(rig))
    (result,) = [result for result in run.results if result.name == name]
    return result


def caught(name: str, make: Any, scenario: str = SOLENOID) -> Result:
    """The result of a check that has to fail over this device."""
    result = outcome_of(name, make, scenario)
    assert result.outcome is Outcome.FAILED, f"{name} did not catch it: {result.outcome.value} {result.sentence}"
    return result
