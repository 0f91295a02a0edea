"""What a squeeze leaves behind: evidence for stroke and hose, kept, contradicted, read back, withdrawn."""

from __future__ import annotations

from dataclasses import replace

from borewright.core.evidence import HoseEvidence, SqueezeWatch, contradicts, hose_from_squeeze, stroke_from_squeeze
from borewright.core.readiness_table import AIR_ON, Event, State
from borewright.service.acts import PlaceHose
from borewright.service.air import happen
from borewright.service.facts import carried_over
from borewright.service.work import Work

__all__ = ["carry_stroke", "confirm_no_check_valve", "drop_hose", "keep_verdict", "read_back_hose"]


def drop_hose(work: Work) -> None:
    """Nothing shows any more where the hose is.

    A stroke that a squeeze showed in a hole which nobody read back goes with it: it may be that of a cylinder that moves in step.
    """
    evidence = work.state.hose_evidence
    if evidence is not None and evidence.needs_read_back and not evidence.read_back:
        work.set(stroke=None)
    work.set(hose_evidence=None)


def keep_verdict(work: Work, watch: SqueezeWatch) -> None:
    """What a squeeze that is over leaves behind: stroke and hose shown, or what was shown before withdrawn."""
    state, verdict = work.state, watch.verdict
    boot_id = state.session.boot_id
    crank = state.crank
    if boot_id is None or crank is None:
        return
    if watch.peak_late and watch.peak_after_tdc_deg is not None:
        work.say("warning", "the squeeze peaks after the stored TDC: the encoder has slipped; find true TDC again")
        work.set(peak_late_deg=watch.peak_after_tdc_deg, stroke=None, hose_evidence=None)
        return
    if verdict.check_valve:  # the stroke goes too: carried over, it would lead to air without another squeeze
        work.say("warning", verdict.words)
        work.set(check_valve=verdict, squeeze_held=True, stroke=None, hose_evidence=None)
        return
    if watch.held.fell:
        work.set(squeeze_held=False)
    cylinder = watch.cylinder
    if state.stroke is not None and contradicts(
        verdict, state.stroke, watch.engine, cylinder, crank.counts_per_rev, state.setup.running_sign
    ):
        work.say("warning", "this squeeze contradicts what was shown before; look which hole the hose is in, then squeeze again")
        work.set(stroke=None, hose_evidence=None)
        return
    if verdict.kind == "out_of_step":  # a wrong hole or a wrong TDC; what was carried over may come from either
        work.set(stroke=None, hose_evidence=None)
        return
    stroke = stroke_from_squeeze(verdict, cylinder, boot_id, state.now_s)
    if stroke is not None:
        work.set(stroke=stroke)
    work.set(hose_evidence=hose_from_squeeze(verdict, cylinder, boot_id, state.now_s))
    if verdict.kind == "rises_at_both":
        if watch.engine.valve_gear == "not_fitted":
            work.say("note", "the squeeze rises at both TDCs, as it does without valve gear; either TDC will do")
        else:
            work.say("warning", "the squeeze rises at both TDCs: the valves do not open; either TDC will do, but find out why")


def confirm_no_check_valve(work: Work) -> None:
    """The person has had the hose off and looked into the adapter; the next squeeze shows whether that is so."""
    if work.state.check_valve is None:
        return
    if work.state.readiness.locked or work.state.readiness.state is State.SQUEEZING:
        work.say("warning", "stop turning and open the vent first; then look for the check valve")
        return
    drop_hose(work)
    work.set(check_valve=None, verdict=None, stroke=None, hose=None, confirmed=None)


def read_back_hose(work: Work, cylinder: int) -> None:
    """The person says which hole the hose is in."""
    state = work.state
    if cylinder != state.purpose.cylinder:
        drop_hose(work)
        work.set(confirmed=None, hose=PlaceHose("cylinder", cylinder))
        work.say("warning", f"the hose is in cylinder {cylinder}; put it into cylinder {state.purpose.cylinder}")
        happen(work, Event.STOP if state.readiness.state in AIR_ON else Event.READY_LOST)
    elif state.hose_evidence is not None:
        work.set(hose_evidence=replace(state.hose_evidence, read_back=True))
    elif carried_over(state) and state.readiness.state is State.VENTED and state.session.boot_id is not None:
        shown = HoseEvidence("puff_read_back", cylinder, state.session.boot_id, state.now_s, read_back=True)
        work.set(hose_evidence=shown)
    elif state.verdict is not None and state.verdict.kind == "out_of_step":
        work.set(verdict=None)  # looked at, and right: squeeze again, it may have been true TDC or a jerk


def carry_stroke(work: Work, on: bool) -> None:
    """Carry the stroke over from now on, or have each cylinder squeezed, this one too."""
    work.set(carry_stroke=on)
    evidence = work.state.hose_evidence
    if not on and evidence is not None and evidence.kind == "puff_read_back":
        drop_hose(work)
