"""What the session's news change."""

from __future__ import annotations

from dataclasses import replace

from borewire.messages import AirState, Cause, Fitted, HoldState, StatusRequest, SupplyOpen, SupplyShut, VentClose, VentOpen

from borewright.core.motion import CrankTracker
from borewright.core.readiness_table import AIR_ON, Event, State
from borewright.errors import LinkError
from borewright.service.air import happen
from borewright.service.channels_live import name_channel_fault, name_over_pressure
from borewright.service.other_tdc import finish_tdc_way
from borewright.service.spare import take_slow
from borewright.service.tdc import finish_tdc
from borewright.service.tdc_way import TdcWay
from borewright.service.transducers import transducers_of
from borewright.service.work import Work
from borewright.session import news

__all__ = ["link_lost", "take_news"]

_TOLD = {SupplyShut.TYPE: "shut its supply", VentOpen.TYPE: "shut and vent", VentClose.TYPE: "close its vent"}
_MORE_OF = {Cause.HOST_SILENT: ", it does not hear this program any more: check the cable"}


def take_news(work: Work, told: news.News) -> None:
    """Take one piece of news into the state."""
    match told:
        case news.DeviceKnown(identity, _):
            _device_known(work, told)
            work.log("device", serial=identity.serial_number, firmware=identity.firmware_version, boot_id=identity.boot_id)
        case news.StreamRunning():
            work.set(lost=None)
        case news.LinkRefused(reason):
            work.set(lost=reason)
            work.say("alarm" if work.state.pressurised else "warning", reason + _by_hand(work))
            happen(work, Event.LINK_LOST)
        case news.LinkSilent(silent_s, answers):
            if answers:
                work.set(lost=f"the rig has sent no samples that can be used for {silent_s:.1f} s")
                link_lost(work, "something comes from the rig, but no samples that can be used")
            else:
                work.set(lost=f"the rig has been silent for {silent_s:.1f} s")
                link_lost(work)
        case news.DeviceRestarted():
            work.say("alarm" if work.state.pressurised else "warning", "the rig was restarted; stroke and hose must be shown again")
            _void_for(work, "the rig was restarted while air was on")
            happen(work, Event.LINK_LOST)  # by the clock that the samples so far have
            forget_evidence(work, reference=True)
        case news.Gap(_, blocks):
            work.set(trouble_s=work.state.now_s)
            work.log("gap", blocks=blocks)
            happen(work, Event.GAP)
        case news.IndexSeen(_, crank_count, _):
            _index_seen(work, crank_count)
        case news.AirChanged():
            _air_changed(work, told)
        case news.DeviceFault(_, fault, detail):
            work.set(trouble_s=work.state.now_s)
            work.log("fault", fault=fault.name.lower(), detail=detail)
            work.say("warning", f"the rig reports a fault: {fault.name.lower().replace('_', ' ')} ({detail})")
            name_channel_fault(work, fault, detail)
            happen(work, Event.DEVICE_FAULT)
        case news.HoldChanged(_, hold):
            work.log("hold_switch", hold=hold.name.lower())
            happen(work, Event.AIR_ASKED if hold is HoldState.PRESSED else Event.AIR_RELEASED)
        case news.SlowValue(_, channel, raw):
            take_slow(work, channel, raw)
        case news.StatusSeen(status):
            work.set(device_air=status.air)
            if work.state.opening is None:  # never reuse a number that the device has seen from an earlier program
                work.set(opening_number=status.opening_id)
        case news.CommandRefused(command, reason, _):
            work.log("refused", command=command, reason=reason.name.lower())
            if work.state.opening is not None:
                work.say("warning", f"the rig refuses: {reason.name.lower().replace('_', ' ')}")
                happen(work, Event.DEVICE_TRIPPED)
            elif command == VentClose.TYPE:
                work.say("warning", f"the rig will not close its vent: {reason.name.lower().replace('_', ' ')}")
                happen(work, Event.SQUEEZE_OVER)
        case news.CommandAcked(command, _) if command != SupplyOpen.TYPE:  # an opening's own word is the change of the air
            work.log("acknowledged", command=command)
        case news.CommandLost(command):
            work.log("unanswered", command=command)
            if command in _TOLD:
                words = f"the rig was told to {_TOLD[command]} and does not answer: check its cable, and restart it"
                work.say("alarm" if work.state.pressurised else "warning", words + _by_hand(work))
        case _:
            pass


def link_lost(work: Work, what: str = "the rig is silent") -> None:
    """Nothing can be seen of the rig any more: the person is the only one who can still do something."""
    work.say("alarm" if work.state.pressurised else "warning", f"{what}: check cable and power" + _by_hand(work))
    happen(work, Event.LINK_LOST)


def _void_for(work: Work, reason: str) -> None:
    """Why a test that is under way with air on is going to be void, more exactly than the event says."""
    capture = work.state.capture
    if capture is not None and work.state.readiness.state in AIR_ON:
        work.set(capture=replace(capture, void_reason=capture.void_reason or reason))


def forget_evidence(work: Work, reference: bool = False) -> None:
    """Losing reference, power or phase drops all evidence."""
    work.set(stroke=None, hose_evidence=None, squeeze=None, verdict=None, confirmed=None)
    if reference and work.state.crank is not None:
        work.set(crank=work.state.crank.restarted(), fitting_confirmed=False, stop=None, tdc_way=None)
        # the device's clock began anew
        work.set(reading=None, recent=(), channels=None, trouble_s=None, state_since_s=0.0, vented_since_s=0.0)
        work.set(zero=None, countdown_until_s=None, device_air=None)


def _by_hand(work: Work) -> str:
    return "; SHUT AND VENT BY HAND" if work.state.pressurised else ""


def _device_known(work: Work, told: news.DeviceKnown) -> None:
    state = work.state
    identity = told.identity
    other_crank = state.crank is not None and state.crank.counts_per_rev != identity.counts_per_rev
    if other_crank or state.serial not in (None, identity.serial_number):
        work.set(lost="another rig answers now; end this program and start it again")
        work.say("warning", "another rig answers now; end this program and start it again")
        happen(work, Event.LINK_LOST)
        return
    try:
        transducers = transducers_of(told.channels, state.setup)
    except LinkError as error:
        work.set(lost=str(error))
        happen(work, Event.LINK_LOST)
        return
    if state.transducers is not None:
        transducers = transducers.with_zeros(state.transducers.regulated.zero_pa, state.transducers.cylinder.zero_pa)
    valves = Fitted.SUPPLY_VALVE in identity.fitted and Fitted.VENT_VALVE in identity.fitted
    crank = state.crank or CrankTracker(
        identity.counts_per_rev, state.setup.running_sign, index_tolerance_count=state.limits.index_tolerance_count
    )
    readiness = state.readiness
    if readiness.valves != valves:
        readiness = replace(readiness, valves=valves)
    # a new stream begins: nobody has seen what the crank did in between, and the ticks may have been unwrapped anew
    work.set(reading=None, recent=(), channels=None, trouble_s=None, confirmed=None, zero=None)
    work.set(transducers=transducers, crank=crank.unwatched(), readiness=readiness, serial=identity.serial_number)
    work.send(StatusRequest(0))


def _index_seen(work: Work, crank_count: int) -> None:
    crank = work.state.crank
    if crank is None:
        return
    seen = crank.index(crank_count)
    work.set(crank=seen)
    finish_tdc(work)
    finish_tdc_way(work)
    if seen.index_spacing_ok is False and crank.index_spacing_ok is not False:
        work.say("warning", "counts were lost between two index pulses: the reference and all evidence are dropped")
        forget_evidence(work)
        if work.state.stop is not None:
            work.set(stop=work.state.stop.again())
        if work.state.tdc_way is not None:
            work.set(tdc_way=TdcWay(work.state.tdc_way.act))


def _air_changed(work: Work, told: news.AirChanged) -> None:
    work.log(
        "air", air=told.air.name.lower(), cause=told.cause.name.lower(), opening_id=told.opening_id, crank_count=told.crank_count
    )
    opening = work.state.opening
    work.set(device_air=told.air)
    if told.air is AirState.OPEN:
        if opening is not None and opening.opening_id == told.opening_id:
            work.set(opening=replace(opening, opened=True))
        happen(work, Event.OPENED)
    elif told.air is AirState.ISOLATED:
        happen(work, Event.SHUT_SEEN)
    elif told.cause is Cause.TIME_LIMIT and work.state.readiness.state in (State.PUFFING, State.WATCHING):
        happen(work, Event.PUFF_OVER)
    elif told.cause is Cause.HOLD_RELEASED:
        happen(work, Event.AIR_RELEASED)
    elif told.cause is Cause.OVER_PRESSURE_CYLINDER and work.state.readiness.state is State.SQUEEZING:
        work.set(squeeze_relieved=True)  # the squeeze was strong; the vent closes again once the pressure is gone
    elif told.tripped:
        why = told.cause.name.lower().replace("_", " ") + _MORE_OF.get(told.cause, "")
        work.say("alarm" if opening is not None else "warning", f"the rig shut and vented by itself: {why}")
        _void_for(work, f"the rig shut and vented by itself: {why}")
        name_over_pressure(work, told.cause)
        happen(work, Event.DEVICE_TRIPPED)
