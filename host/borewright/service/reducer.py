"""The one reducer: step(state, event) -> (state, effects). Pure: no port, no file, no clock, no thread.

Events are what came over the wire, ticks of the host's clock, acts of the person, and checks that an analysis gave back.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, TypeAlias

from borewire.codec import Received
from borewire.runs import BlockRun

from borewright.core.rig import RigCheck
from borewright.service import acts
from borewright.service.air import close_capture
from borewright.service.checks import keep_check
from borewright.service.effects import Effect, Send
from borewright.service.facts import conditions_of
from borewright.service.on_act import take_act
from borewright.service.on_news import link_lost, take_news
from borewright.service.on_samples import decide, take_samples
from borewright.service.state import BenchState
from borewright.service.work import Work
from borewright.session.session import Outcome, Phase

__all__ = ["CheckGiven", "Event", "FromWire", "HostTick", "LinkGone", "PointGiven", "ProofGiven", "step"]


@dataclass(frozen=True, slots=True)
class FromWire:
    """What the decoder made of the octets that came, and how many there were."""

    received: tuple[Received | BlockRun, ...]
    octets: int = 0


@dataclass(frozen=True, slots=True)
class HostTick:
    """Time has passed on the host's clock. looked_s: when the host last looked at what had come, None: just now."""

    looked_s: float | None = None


@dataclass(frozen=True, slots=True)
class CheckGiven:
    """The analysis of a sealed or restrictor capture gave this check; proven_gauge_pa: the set pressure that it showed."""

    check: RigCheck
    proven_gauge_pa: float | None = None


@dataclass(frozen=True, slots=True)
class PointGiven:
    """One capture of a round of several was analysed. proven_gauge_pa: as above."""

    point: dict[str, Any]
    proven_gauge_pa: float | None = None


@dataclass(frozen=True, slots=True)
class ProofGiven:
    """A capped opening showed what the regulator gives."""

    proven_gauge_pa: float


@dataclass(frozen=True, slots=True)
class LinkGone:
    """The port itself failed: nothing can be heard or said any more."""


Event: TypeAlias = FromWire | HostTick | LinkGone | CheckGiven | PointGiven | ProofGiven | acts.Act


def step(state: BenchState, event: Event, now_host_s: float) -> tuple[BenchState, tuple[Effect, ...]]:
    """The state after the event, and what has to be done outside, in this order.

    now_host_s: the host's monotonic clock, which serves only to notice silence and to repeat what was not answered.
    """
    work = Work(state, now_host_s)
    match event:
        case FromWire(received, octets):
            _take(work, work.state.session.receive(received, now_host_s, octets))
        case HostTick(looked_s):
            _take(work, work.state.session.tick_host(now_host_s, looked_s))
        case LinkGone():
            work.set(session=replace(work.state.session, phase=Phase.SILENT), lost="the link to the rig was lost")
            link_lost(work)
        case CheckGiven(check, proven_gauge_pa):
            keep_check(work, check)
            work.set(round=None)
            if proven_gauge_pa is not None:
                work.set(proven_gauge_pa=proven_gauge_pa if check.passed else None)
        case ProofGiven(proven_gauge_pa):
            work.set(proven_gauge_pa=proven_gauge_pa)
        case PointGiven(point, proven_gauge_pa):
            if work.state.round is not None:
                work.set(round=work.state.round.with_point(point), proven_gauge_pa=proven_gauge_pa)
        case _:
            take_act(work, event)
            work.set(conditions=conditions_of(work.state))  # so that the guide does not go by what held before the act
    _close_when_link_is_gone(work)
    if work.state.session.phase is not Phase.STREAMING:  # else the samples see to it
        work.set(conditions=conditions_of(work.state))
    return work.state, tuple(work.effects)


def _take(work: Work, outcome: Outcome) -> None:
    work.set(session=outcome.session)
    work.do(*(Send(message) for message in outcome.send))
    # index pulses and valve changes belong to the samples they came with, so the samples come first; what is decided on them comes
    # last, so that no air goes on after a gap, a fault or a let-go that came in the same read
    if outcome.samples is not None:
        take_samples(work, outcome.samples)
    for told in outcome.news:
        take_news(work, told)
    if outcome.samples is not None:
        decide(work, outcome.samples)


def _close_when_link_is_gone(work: Work) -> None:
    capture = work.state.capture
    if capture is not None and capture.ended_s is not None and work.state.session.phase is not Phase.STREAMING:
        close_capture(work)
