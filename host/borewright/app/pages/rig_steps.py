"""What the panel of the next step shows in a check where the guide has no step of its own: vent by hand, contacts, the way to TDC.

Without Qt. The bench's own prompts are what is shown; the acts are those of the terminal.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from borewright.app.step_model import StepView
from borewright.service import acts
from borewright.service.check_run import CheckRun
from borewright.service.rig_purposes import next_side
from borewright.service.state import BenchState

__all__ = ["STANDS_S", "RunStep", "run_step"]

STANDS_S = 1.2  # the crank is held for so long before its count is taken, as at the terminal

OnDone = Literal["go on", "stop is in", "hold and take", "tell", ""]


@dataclass(frozen=True, slots=True)
class RunStep:
    """One step of the page's own. on_done: what its button does; act: what the bench is told then."""

    view: StepView
    on_done: OnDone = ""
    act: acts.Act | None = None


def run_step(run: CheckRun, state: BenchState, *, stop_in: bool, holds: bool) -> RunStep | None:
    """The step to show in place of the guide's; None where the guide leads.

    stop_in: the person has said that the piston stop is in the cylinder. holds: a contact is to be taken once the crank has been
    held for a moment.
    """
    match run.stage:
        case "vent":
            text = "Shut the supply and open the vent by hand; the zeros are taken once the gauges show nothing."
            return RunStep(
                _view("vent", "Vent the rig", f"{run.words}. {text}" if run.words else text, "They show n&othing"), "go on"
            )
        case "zero":
            return RunStep(
                _view("zero", "Taking the zeros", "Both transducers are read at vent; leave the rig alone for two seconds.")
            )
        case "bore":
            return RunStep(_view("bore", "The restrictor by its bore", "Working it out."))
        case "again":
            return RunStep(_view("again", "That one came to nothing", run.words, "Make this &one again"), "go on")
        case "tdc":
            return _tdc_step(run, state, stop_in, holds)
        case _:
            return None


def _tdc_step(run: CheckRun, state: BenchState, stop_in: bool, holds: bool) -> RunStep:
    if state.stop is not None:
        stop = state.stop
        if stop.step == "contacts":
            if not stop.contacts and not stop_in:
                text = (
                    f"Turn the crank by hand until the piston of cylinder {stop.cylinder} is well down, then screw the stop into "
                    "its plug hole by hand. All plugs out; never turn with the starter."
                )
                return RunStep(
                    _view("stop_in", f"Piston stop into cylinder {stop.cylinder}", text, "The stop is &in"), "stop is in"
                )
            return _reading(
                "contact",
                f"Touch the stop: {_way_round(next_side(stop))}",
                stop.prompt,
                "It &rests against it",
                holds,
                next_side(stop),
            )
        if stop.step == "remove_stop":
            act = acts.ConfirmStopRemoved()
            return RunStep(_view("stop_out", "Take the stop out", stop.prompt, "The stop is &out"), "tell", act)
        return RunStep(_view("index", "Over the index pulse", _INDEX))
    if state.tdc_way is not None:
        way = state.tdc_way
        if way.step == "readings":
            return _reading("reading", "Turn to the reading", way.prompt, "It stands the&re", holds, acts.TakeTdcReading())
        if way.step == "clear":
            return RunStep(_view("clear", "Out of the way", way.prompt, "It is &out"), "tell", acts.ConfirmPinRemoved())
        return RunStep(_view("index", "Over the index pulse", _INDEX))
    del run
    return RunStep(_view("wait", "True TDC", "The rig is getting ready."))


def _reading(key: str, title: str, prompt: str, button: str, holds: bool, act: acts.Act) -> RunStep:
    if holds:
        return RunStep(_view(f"{key}_held", "Hold it there", "Keep the crank still for a second; its count is being taken."))
    return RunStep(_view(key, title, prompt, button), "hold and take", act)


def _way_round(contact: acts.TakeContact) -> str:
    return "in the running direction" if contact.side == "before" else "against the running direction"


def _view(key: str, title: str, text: str, button: str = "") -> StepView:
    return StepView(key, title, text, button)


_INDEX = "Turn the crank by hand two whole turns in the running direction, until the index pulse has been seen."
