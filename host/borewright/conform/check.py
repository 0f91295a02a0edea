"""What a check of the suite is."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING, TypeAlias

from borewright.conform.verdict import Figure

if TYPE_CHECKING:
    from borewright.conform.bench import Bench

__all__ = ["Check", "Failed", "Need", "NotTried", "Run", "chapter_of"]

Run: TypeAlias = "Callable[[Bench], Sequence[Figure] | None]"


class Need(Enum):
    """What has to be there for a check to be tried; the value says why it was not."""

    VALVES = "the device says that it has no valves"
    NO_VALVES = "the device says that it has valves"
    AIR = "it lets the device drive its valves; run it with --air when the air supply is shut off and vented"
    HANDS = "somebody has to do something at the rig; run it with --hands, or with --control at a simulated rig"
    HOLD = "no hold-to-run switch is fitted"
    STEADY_CLOCK = "the host's clock is not to be trusted on this line"


class Failed(Exception):  # noqa: N818 -- it is a finding, no error
    """The device did something else than the page demands; the text says what."""


class NotTried(Exception):  # noqa: N818
    """The check could not be tried on this device; the text says why."""


@dataclass(frozen=True, slots=True)
class Check:
    """One check: its name (unique), what it demands in one line, where the page says so, what it needs, and how it is tried.

    run raises Failed or NotTried, or returns the figures that it measured on the way.
    """

    name: str
    requirement: str
    section: str
    run: Run
    needs: tuple[Need, ...] = ()
    chapter: str = ""


def chapter_of(title: str, *checks: Check) -> tuple[Check, ...]:
    """The checks of one chapter."""
    return tuple(Check(check.name, check.requirement, check.section, check.run, check.needs, title) for check in checks)
