"""What a newcomer's first job on the built-in rig needs next: one sentence to do, one that says why. Without Qt.

It has no flow of its own: what comes next is read off the bench and the record, so it can be left and taken up again anywhere.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

from borewright.core.readiness_table import AIR_ON, State
from borewright.service.guide import StepKey
from borewright.service.snapshot import Snapshot
from borewright.simrig.practice import PracticeJob
from borewright.simrig.rig_view import BuiltInFacts

__all__ = ["CHAPTERS", "ENOUGH_CYLINDERS", "Coaching", "FirstRunFacts", "coaching"]

ENOUGH_CYLINDERS = 2
CHAPTERS: Final = ("the rig", "cylinder", "squeeze", "TDC", "restraint", "air", "result", "next cylinder", "report")
CoachAct = Literal["", "prepare", "page", "finish"]

_CHECKS: Final[Mapping[str, tuple[str, str]]] = {  # in the order in which they are made
    "zero": (
        "On the Rig page, take the zeros with the rig vented",
        "A transducer that is a little off at nothing would be off at every reading.",
    ),
    "sealed": (
        "On the Rig page, make the sealed check with the hose capped",
        "Into a capped hose nothing may flow: this finds leaks of the rig itself and ties its two transducers to each other.",
    ),
    "restrictor": (
        "On the Rig page, make the restrictor check with the orifice on the hose",
        "The leak is measured by what the restrictor lets through, so that has to be known.",
    ),
    "tdc": (
        "On the Rig page, find true TDC with the piston stop",
        "Half way between two contacts of the piston lies TDC, however the encoder was put on.",
    ),
}

_STEPS: Final[Mapping[StepKey, tuple[str, str, str]]] = {  # chapter, what to do, why
    "find_index": (
        "cylinder",
        "Press F8: the crank is turned until the encoder's index pulse has been seen",
        "Since it was switched on the encoder only counts; its index pulse says where zero is.",
    ),
    "confirm_fitting": (
        "cylinder",
        "Press F8 to turn to where TDC is said to be; if the drawn crank has its mark at the top, press Enter",
        "True TDC was found with the encoder as it sits now; if somebody has moved it, the crank's own mark shows it.",
    ),
    "place_hose": (
        "cylinder",
        "Press F8 to put the hose where the step says, and Enter once it is there",
        "The program cannot see where the hose is; you tell it, and the squeeze will show whether that is true.",
    ),
    "begin_squeeze": (
        "squeeze",
        "Press Enter to begin the squeeze",
        "Every second TDC is the one between exhaust and intake, where valves stand open; a squeeze by hand tells the two apart.",
    ),
    "squeeze_turn": (
        "squeeze",
        "Press F8: the crank is turned steadily until the screen has seen enough",
        "In the compression stroke the closed hose shows the squeezed air; two passes one turn apart are compared.",
    ),
    "read_back_hose": (
        "squeeze",
        "Look at the drawing which hole the hose is in, type its number and press Enter",
        "Where the stroke is known by counting, only your eyes can say which hole the hose is in.",
    ),
    "turn_to_tdc": (
        "TDC",
        "Press F8: the crank is turned up to compression TDC, in the running direction",
        "Only at TDC does the air not turn the crank; a little off, it swings with all its force.",
    ),
    "turn_down": (
        "squeeze",
        "Press F8: the crank is turned until the piston is at the bottom",
        "What the hose's gauge does not show may still be squeezed in the cylinder.",
    ),
    "look_for_check_valve": (
        "squeeze",
        "Press F8 until the adapter has been looked into, then Enter",
        "A check valve left in the adapter makes a tight cylinder of every one.",
    ),
    "keep_still": (
        "TDC",
        "Take the hand off the crank and wait for a second",
        "A crank that still moves could leave TDC just as the air comes.",
    ),
    "restrain": (
        "TDC",
        "Type how much the restraint holds, as it stands on the panel of the rig, and press Enter",
        "How far off TDC the crank may stand follows from what holds it; a hand or a gear in mesh is no restraint.",
    ),
    "confirm_people": (
        "restraint",
        "Press F8 to put the restraint on, read every point and the caution, and confirm them only as you would at a real engine",
        "Compressed air can swing the crank without warning; no sensor sees fingers.",
    ),
    "set_regulator": (
        "air",
        "Press F8 to set the regulator, then Enter",
        "The air must come at the pressure that it was proven at.",
    ),
    "shut_supply": (
        "air",
        "Press F8 to shut the supply, then Enter",
        "The air that is trapped now bleeds away, and its curve says more.",
    ),
    "open_vent": (
        "air",
        "Press F8: the vent is opened, then Enter",
        "Shutting the supply does not unload the piston; only venting does.",
    ),
    "hold": (
        "air",
        "Listen on the panel's Places, press each place's digit and how strong it is on the Test page (R is strong), then G",
        "Where the air comes out says what leaks: intake, exhaust, breather, coolant.",
    ),
}
_AIR_ON: Final[Mapping[State, tuple[str, str]]] = {
    State.ARMED: ("Keep the switch or key pressed: the air is coming", "Letting go at any time shuts the supply and vents."),
    State.PUFFING: (
        "Keep it pressed and look on: first a short puff, with an eye on the crank",
        "A puff of a fifth of a second shows whether the crank stays where it is.",
    ),
    State.WATCHING: (
        "Keep it pressed and look on: the crank is watched for a second",
        "If it moved now, the air would have been let out again before it could do harm.",
    ),
    State.FILLING: (
        "Keep it pressed until the reading is steady, or press H to keep the air on and listen",
        "The leakage is read once it hardly changes any more.",
    ),
    State.ISOLATED: (
        "Keep it pressed: the supply is shut, and the pressure bleeds away by itself",
        "How it falls tells the trapped volume and the leak once more, without the supply.",
    ),
    State.VENTING: (
        "Wait until the pressure is gone; turn and undo nothing",
        "As long as it says PRESSURISED the piston is loaded.",
    ),
}


@dataclass(frozen=True, slots=True)
class Coaching:
    """One sentence to do, one that says why; the page where it is done, "" where any will do.

    act: what the strip's own button does, "" without one; button: its words. at: number of the chapter, from 1.
    """

    key: str
    chapter: str
    what: str
    why: str
    page: str = ""
    act: CoachAct = ""
    button: str = ""

    @property
    def at(self) -> int:
        """The chapter's number, from 1."""
        return CHAPTERS.index(self.chapter) + 1


@dataclass(frozen=True, slots=True)
class FirstRunFacts:
    """What the coach goes by. practice: as the record has it, None before it has answered. job_open: it is the practice's job.

    page: in view; panel: whether the rig's panel is in view. preparing: the checks are being made. hold_pressed: somebody stands on
    the hold-to-run switch.
    """

    snapshot: Snapshot
    practice: PracticeJob | None
    stand: BuiltInFacts
    job_open: bool = False
    page: str = "Test"
    panel: bool = True
    preparing: bool = False
    hold_pressed: bool = False


def coaching(facts: FirstRunFacts) -> Coaching:
    """What comes next."""
    snapshot, state, practice = facts.snapshot, facts.snapshot.state, facts.practice
    if state is not None and (state.readiness.locked or state.readiness.state in AIR_ON or state.readiness.state is State.ARMED):
        return _with_air(facts)
    if not facts.panel:
        what = "Press Ctrl+6: the built-in rig comes to the side of the window"
        return Coaching(
            "panel", "the rig", what, "It stands for the engine and the rig; what hands do at a real one is done there."
        )
    if snapshot.link.kind != "open" or state is None or practice is None:
        what = "Wait until the rig has said who it is; if its cable is out, put it back on the panel's Stand"
        return Coaching("link", "the rig", what, "Without a word from the rig nothing is let in.")
    if facts.preparing:
        what = "Wait a few seconds: zeros, sealed check, restrictor check and true TDC are being made for you"
        return Coaching(
            "preparing", "the rig", what, "At a real rig you make them yourself on the Rig page; each holds for some time."
        )
    if not facts.job_open:
        return _begin(practice)
    tested = len(practice.tested)
    if state.purpose.kind == "test" and _under_way(facts):
        return _step(facts)
    missing = next((kind for kind in _CHECKS if kind not in state.checks or not state.checks[kind].passed), None)
    if missing is not None:
        return Coaching(f"check {missing}", "the rig", *_CHECKS[missing], page="Rig")
    if tested >= ENOUGH_CYLINDERS:
        return _report(facts)
    return _choose(facts, tested)


def _begin(practice: PracticeJob) -> Coaching:
    if practice.checks_held:
        what = "Press the button to open the practice job: the rig's own checks hold already"
        return Coaching(
            "open",
            "the rig",
            what,
            "Every test belongs to a job: one engine, before or after the work on it.",
            "",
            "prepare",
            "&Open it",
        )
    what = "Press the button: the rig's own checks are made for you, and a job is begun for the engine on the stand"
    why = "Before air is let in anywhere, the rig has to show that it is tight, at zero, and knows where TDC is."
    return Coaching("prepare", "the rig", what, why, "", "prepare", "&Prepare the rig and the job")


def _under_way(facts: FirstRunFacts) -> bool:
    """A cylinder is chosen and has no test of this job yet."""
    state, practice = facts.snapshot.state, facts.practice
    return state is not None and practice is not None and state.purpose.cylinder not in practice.tested


def _step(facts: FirstRunFacts) -> Coaching:
    step, state = facts.snapshot.step, facts.snapshot.state
    if step is None or state is None:
        return Coaching("wait", "cylinder", "Wait a moment", "The rig is being looked at.", "Test")
    if step.key == "give_air":
        return _give_air(facts)
    known = _STEPS.get(step.key)
    if known is None:
        chapter = (
            "the rig"
            if step.key == "blocked"
            else "TDC"
            if facts.snapshot.state and facts.snapshot.state.hose_evidence
            else "cylinder"
        )
        return Coaching(
            step.key, chapter, f"{step.text[0].upper()}{step.text[1:]}".rstrip("."), "The screen says what it waits for.", "Test"
        )
    chapter, what, why = known
    if step.key == "restrain":
        what = f"Type {facts.stand.restraint_nm:g}, the torque in N·m that stands on the restraint, and press Enter"
    return Coaching(step.key, chapter, what, why, "Test")


def _give_air(facts: FirstRunFacts) -> Coaching:
    why = "Letting air in is one deliberate act, and it is yours: letting go shuts the supply and vents."
    if facts.stand.hand_valves:
        what = "On the rig's panel shut the vent, then open the supply, and stay by the lever"
    elif facts.stand.hold_fitted:
        what = "On the rig's panel put the foot on the hold-to-run switch and leave it there until all is vented"
    else:
        what = "Hold down Space on the Test page until all is vented"
    return Coaching("give_air", "air", what, why, "Test")


def _with_air(facts: FirstRunFacts) -> Coaching:
    state, step = facts.snapshot.state, facts.snapshot.step
    assert state is not None
    if step is not None and step.key in ("hold", "shut_supply", "open_vent"):
        chapter, what, why = _STEPS[step.key]
        return Coaching(step.key, chapter, what, why, "Test")
    if state.readiness.state is State.FILLING and facts.practice is not None and facts.practice.tested:
        why = "The first cylinder went through without it; now hear for yourself where the air comes out."
        return Coaching("filling, hold", "air", "Press Ctrl+1 and then H: the air stays on for looking and listening", why, "Test")
    what, why = _AIR_ON.get(state.readiness.state, _AIR_ON[State.VENTING])
    return Coaching(state.readiness.state.name.lower(), "air", what, why, "Test")


def _choose(facts: FirstRunFacts, tested: int) -> Coaching:
    practice = facts.practice
    assert practice is not None
    coming = next((number for number in facts.stand.firing_order if number not in practice.tested), facts.stand.firing_order[0])
    if facts.page != "Test":
        why = "There the crank is shown, what holds the air back, and what the test gives."
        return Coaching("to test", "cylinder", "Press Ctrl+1 for the Test page", why, "Test", "page", "&Go there")
    if not tested:
        what = f"Press Ctrl+1, then Enter: the test of cylinder {coming} begins, with the zeros first"
        return Coaching(
            "choose", "cylinder", what, "The engine is gone round in firing order, so that the crank is turned least.", "Test"
        )
    switch = "let go of the switch (F8), " if facts.stand.hold_fitted and facts.hold_pressed else ""
    what = f"Look at what cylinder {practice.tested[-1]} reads, {switch}then Ctrl+1 and Enter for the next one"
    why = "The band says what is common practice at such a reading; cylinders of one engine are best held against each other."
    return Coaching("next", "next cylinder", what, why, "Test")


def _report(facts: FirstRunFacts) -> Coaching:
    if facts.page != "Jobs":
        why = "The record has everything: readings with their uncertainty, raw samples, what was confirmed, by whom."
        return Coaching(
            "to report",
            "report",
            "Press Ctrl+5 for the Jobs page and look at the report of this job",
            why,
            "Jobs",
            "page",
            "&Go there",
        )
    what = "Choose the job that has tests, press Report and look through it as it will print, then press the button here"
    why = "That was a whole job; after the rebuild the same cylinders are tested again and laid beside these."
    return Coaching("finish", "report", what, why, "Jobs", "finish", "That was &it")
