"""What is said about faults, in words: to the person at the rig, and in answer."""

from __future__ import annotations

from boresim.faults import FAULTS, Moment, fault_named
from boresim.faults.board import FaultBoard
from boresim.words import CannotError, usage

__all__ = ["told"]


def told(board: FaultBoard, words: tuple[str, ...]) -> str:
    """Carries out what stands behind `fault` and gives the answer. Raises CannotError for what cannot be done."""
    try:
        match words:
            case ("list",):
                return "ok " + ", ".join(fault.name + _state(board, fault.name) for fault in FAULTS)
            case (name,):
                board.begin(name)
                return f"ok {fault_named(name).what}"
            case (name, "off"):
                board.end(name)
                return f"ok the fault {name} is over"
            case (name, "at", moment) if moment in set(Moment):
                board.arm(name, Moment(moment))
                return f"ok the fault {name} will come"
    except ValueError as why:
        raise CannotError(str(why)) from None
    raise usage("fault")


def _state(board: FaultBoard, name: str) -> str:
    if name in board.active:
        return " (on)"
    return " (will come)" if name in board.armed else ""
