"""What somebody has to do at the rig for the checks that the wire alone cannot make."""

from __future__ import annotations

from enum import Enum
from typing import Protocol

__all__ = ["Hands", "Task"]


class Task(Enum):
    """Something to do at the rig, in words for a person. The suite then waits for what the data show."""

    AIR_OFF = "Shut the air supply off, vent the rig and leave the end of the hose open."
    RESET = "Reset the board: press its reset button, or take its power away and give it back. Leave the line plugged if you can."
    TURN_AWAY = "Turn the crank (or the encoder) by hand by some degrees, either way."
    TURN_ROUND = "Turn the crank (or the encoder) by hand by more than two whole turns one way."
    RAISE_REGULATED = (
        "Raise the reading of the regulated pressure a little: by a hand pump or a syringe, or on the bench by the "
        "potentiometer in "
        "place of the transducer. Do not use the air supply."
    )
    LOWER_REGULATED = "Let the regulated pressure go down to nothing again."
    READY_CYLINDER = "Get ready to raise the cylinder's pressure by hand pump, syringe or potentiometer, but do not yet."
    RAISE_CYLINDER = "Now raise the reading of the cylinder's pressure a little, and not with the air supply."
    LOWER_CYLINDER = "Let the cylinder's pressure go down to nothing again."
    PRESS_HOLD = "Press the hold-to-run switch and keep it pressed."
    RELEASE_HOLD = "Let the hold-to-run switch go."
    BREAK_SENSOR = "Take the plug of the cylinder's transducer off, so that its converter goes to an end of its range."
    MEND_SENSOR = "Put the plug of the cylinder's transducer back."


class Hands(Protocol):
    """Somebody at the rig, or what stands for them."""

    @property
    def patience_s(self) -> float:
        """How many seconds of the endpoint's clock to wait for what they do."""

    def begin(self, task: Task) -> str | None:
        """Have it done; returns at once. None, or why it cannot be done here."""

    def let_go(self) -> None:
        """The run ends: let the hold-to-run switch go, or have it let go by whoever may still hold it."""

    def busy(self) -> bool:
        """Whether they are still at it, as far as they say so themselves."""
