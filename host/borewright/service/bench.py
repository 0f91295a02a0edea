"""The bench: one rig, one record, one person. It feeds the reducer and carries out what it asks for.

`turn` is one turn of the loop, for virtual time and for a program that has a loop of its own; everything that decides is in the
reducer, everything that waits for a disk is behind the writer.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import asdict, dataclass, replace

from borewire.codec import Decoder, encode
from borewire.messages import AirState, VentOpen

from borewright import __version__
from borewright.acquisition.pump import Pump, link_was_lost
from borewright.core.engine import Engine
from borewright.core.rig import RigCheck, RigSetup
from borewright.errors import LinkError, NotReadyError
from borewright.link import Endpoint
from borewright.service import acts, effects
from borewright.service.air import marks_of_opening
from borewright.service.analyses import Analyses, Analyst, Closed
from borewright.service.analysis import Analysed, analyse, analysed_as_dict
from borewright.service.conditions_of_air import AirConditions
from borewright.service.facts import degrees_from_tdc, window_deg
from borewright.service.known_state import forgetting, with_checks, with_setup
from borewright.service.laws import laws_of
from borewright.service.link_counters import LinkCount, LinkCounters
from borewright.service.reducer import CheckGiven, Event, FromWire, HostTick, LinkGone, PointGiven, ProofGiven, step
from borewright.service.rounds import Round
from borewright.service.state import BenchState
from borewright.session.session import Phase, Session
from borewright.store.writer import StoreWriter, WriterNews

__all__ = ["Bench", "Done", "LinkCounters"]

ABANDONED_REQUEST = 0xFFFF  # nobody waits for its answer
LEAVE_S = 0.5
SMALL_BLOCK = 8
FAST_BLOCK = 32  # fewer frames to decode where there are many samples
FAST_HZ = 2000


@dataclass(frozen=True, slots=True)
class Done:
    """A capture that is over: what it was for, what came of it, its conditions, and its ticket in the writer."""

    purpose: acts.Purpose
    analysed: Analysed
    evidence: dict[str, object]
    ticket: int | None


@dataclass(slots=True)
class _Open:
    ticket: int
    evidence: dict[str, object]


class Bench:
    """One rig over one endpoint.

    writer: where captures and checks go; None keeps nothing (ports and doctor). wall_clock: seconds since 1970. tell: called for
    each word to the person (effects.Say and effects.AirRefused). read_s: the longest that one turn waits for bytes. rate_hz: of
    samples. analyst: works captures out elsewhere, so that the rig is read on meanwhile; None: here, before the turn goes on.
    """

    def __init__(
        self,
        endpoint: Endpoint,
        writer: StoreWriter | None,
        *,
        wall_clock: Callable[[], float],
        tell: Callable[[effects.Say | effects.AirRefused], None],
        setup: RigSetup | None = None,
        engine: Engine | None = None,
        who: str = "",
        ambient: AirConditions | None = None,
        read_s: float = 0.015,
        rate_hz: int = 1000,
        analyst: Analyst | None = None,
    ) -> None:
        self.endpoint = endpoint
        self.ambient = ambient or AirConditions()
        self.job_id: int | None = None
        self.done: list[Done] = []
        self.writer_news: list[WriterNews] = []
        self._writer = writer
        self._wall_clock = wall_clock
        self._tell = tell
        self._decoder = Decoder("host")
        self._out = bytearray()
        self._open: _Open | None = None
        self._analyses = None if analyst is None else Analyses(analyst)
        self._count = LinkCount()
        session = Session(endpoint.monotonic(), rate_hz, FAST_BLOCK if rate_hz > FAST_HZ else SMALL_BLOCK)
        self.state = BenchState(session, setup or RigSetup(), engine=engine, who=who)
        self._pump = Pump(endpoint, self._on_bytes, farewell=self._farewell, timeout_s=read_s)

    # ------------------------------------------------------------------ the loop

    def turn(self) -> None:
        """Read once, decide, write once. Raises LinkError when the link was lost; a capture in progress is then closed as void."""
        try:
            self._pump.once()
        except LinkError:
            self.link_lost()
            raise
        self.take_analysed()
        if self._writer is not None:
            self.writer_news.extend(self._writer.take_news())

    def act(self, act: acts.Act) -> None:
        """Tell the bench what the person did; what it sends goes out at once."""
        self._step(act)
        self._flush()

    def flush_writer(self) -> None:
        """Wait until the record has taken all that was handed over, and hear what it says of it."""
        if self._writer is not None:
            self._writer.drain()
            self.writer_news.extend(self._writer.take_news())

    @property
    def analysing(self) -> int:
        """How many captures are over and still being worked out."""
        return 0 if self._analyses is None else len(self._analyses)

    @property
    def analysing_checks(self) -> int:
        """How many of them are checks of the rig, which what comes next may rest on."""
        return 0 if self._analyses is None else self._analyses.checks

    @property
    def counters(self) -> LinkCounters:
        """What went over the link so far."""
        return self._count.counters(self.state.session.octets)

    def take_analysed(self) -> None:
        """Keep what has been worked out meanwhile; never waits."""
        while self._analyses is not None and (ready := self._analyses.take(self.state.round)) is not None:
            self._keep(*ready)

    def finish_analyses(self, wait_s: float) -> None:
        """Keep every capture that is over. What is not worked out after wait_s in all is worked out here."""
        until_s = time.monotonic() + wait_s
        while self._analyses is not None and len(self._analyses):
            if (ready := self._analyses.take_within(until_s - time.monotonic(), self.state.round)) is not None:
                self._keep(*ready)

    def take_leave(self, reason: str | None = None) -> None:
        """Shut and vent and put everything that was recorded away; for Ctrl-C and the end of the program.

        reason: why a test that is under way is void, None: because it was stopped. Captures that are over and still worked out are
        not waited for: finish_analyses() does.
        """
        capture = self.state.capture
        if capture is not None and reason is not None:
            self.state = replace(self.state, capture=replace(capture, void_reason=capture.void_reason or reason))
        self._step(acts.StopAll())
        try:
            self._flush()
            self._wait_until_vented()
        except LinkError:
            self.link_lost()
        self._give_up_capture(reason or "the program was ended")

    def abandon(self, reason: str) -> None:
        """The program failed and can decide nothing any more: shut and vent, and keep the test that is under way as void."""
        if self._open is not None and self._writer is not None:
            self._writer.finish_capture(self._open.ticket, None, void_reason=reason, readiness=self._open.evidence)
            self._open = None
        with suppress(Exception):  # silence has the same effect on the device
            self.endpoint.write(encode(VentOpen(ABANDONED_REQUEST)))

    def _wait_until_vented(self) -> None:
        """Give the device half a second to say that it has vented; by then its own watch over a silent host has."""
        until_s = self.endpoint.monotonic() + LEAVE_S
        while self.state.has_valves and self.state.device_air is not AirState.VENTED and self.endpoint.monotonic() < until_s:
            self.turn()

    def _farewell(self) -> bytes:
        self._step(acts.StopAll())
        data, self._out = bytes(self._out), bytearray()
        return data

    def _on_bytes(self, data: bytes, looked_s: float) -> bytes:
        if data:
            received = tuple(self._decoder.feed_runs(data))
            self._count.take(received)
            self._step(FromWire(received, len(data)))
        self._step(HostTick(looked_s))  # an analysis above may have taken seconds, in which the rig went on talking
        out, self._out = bytes(self._out), bytearray()
        return out

    def _flush(self) -> None:
        out, self._out = bytes(self._out), bytearray()
        if not out:
            return
        try:
            self.endpoint.write(out)
        except OSError as error:
            raise link_was_lost(error) from error

    def _step(self, event: Event, ticket: int | None = None) -> None:
        """ticket: of the capture that the event was read from, None where it was read from none that is over."""
        was_read = self.state.reading is not None
        self.state, done = step(self.state, event, self.endpoint.monotonic())
        if self.state.reading is not None and not was_read:  # the first sample, or the first after a restart of the rig
            self._offset_clock()
        for effect in done:
            self._carry_out(effect, ticket)

    def _offset_clock(self) -> None:
        self.state = replace(self.state, unix_minus_device_s=self._wall_clock() - self.state.now_s)

    def link_lost(self) -> None:
        """The port failed: whatever is still to be sent is dropped; the device vents by itself when nobody speaks to it."""
        self._step(LinkGone())
        self._out.clear()

    def _give_up_capture(self, reason: str) -> None:
        """Close the capture that is open with what has come so far."""
        capture = self.state.capture
        if capture is None or self._open is None:
            return
        lost = replace(
            self.state,
            session=replace(self.state.session, phase=Phase.SILENT),
            capture=replace(capture, ended_s=self.state.now_s, void_reason=capture.void_reason or reason),
        )
        self.state, done = step(lost, HostTick(), self.endpoint.monotonic())
        for effect in done:
            if not isinstance(effect, effects.Send):
                self._carry_out(effect)

    # ------------------------------------------------------------------ effects

    def _carry_out(self, effect: effects.Effect, ticket: int | None = None) -> None:
        of_open = self._open.ticket if self._open is not None else None
        match effect:
            case effects.Send(message):
                self._out += encode(message)
            case effects.Say() | effects.AirRefused():
                self._tell(effect)
            case effects.BeginCapture(purpose):
                self._begin_capture(purpose)
            case effects.KeepChunk(columns):
                if self._writer is not None and self._open is not None:
                    self._writer.append_chunk(self._open.ticket, columns)
            case effects.KeepEvent(kind, tick, detail):
                if kind == "gap":
                    self._count.lost_blocks += int(str(detail["blocks"]))
                if self._writer is not None:
                    self._writer.append_event(of_open, kind, tick, self.endpoint.monotonic(), detail)
            case effects.KeepFinding(cylinder, kind, place, detail):
                if self._writer is not None and self.job_id is not None:
                    self._writer.add_finding(of_open, self.job_id, cylinder, kind, place, detail, self.state.who)
            case effects.SaveCheck(check):
                if self._writer is not None:
                    self._writer.add_rig_check(check, of_open if ticket is None else ticket)
            case effects.Analyse():
                self._finish_capture(effect)

    def _begin_capture(self, purpose: acts.Purpose) -> None:
        state = self.state
        evidence = evidence_of(state)
        if self._writer is None or state.transducers is None or state.session.identity is None:
            return
        laws = laws_of(state, state.transducers, purpose, self.ambient)
        ticket = self._writer.begin_capture(
            self.job_id if purpose.kind == "test" else None,
            purpose.cylinder,
            purpose=purpose.recorded_as,
            device_serial=state.session.identity.serial_number,
            laws=laws.as_dict() | {"setup": asdict(state.setup), "purpose": asdict(purpose)},
            versions={"borewright": __version__, "firmware": state.session.identity.firmware_version},
            readiness=evidence,
        )
        self._open = _Open(ticket, evidence)

    def _finish_capture(self, done: effects.Analyse) -> None:
        open_, self._open = self._open, None
        ticket, evidence = (None, {}) if open_ is None else (open_.ticket, open_.evidence)
        closed = Closed(self.state, done, self.ambient, ticket, evidence)
        if self._analyses is None:
            self._keep(closed, analyse(self.state, done, self.ambient))
        else:
            self._analyses.hand_over(closed, self.state.round)
            self.take_analysed()  # an analyst may have done it in the call

    def _keep(self, closed: Closed, analysed: Analysed) -> None:
        """Hand a capture that has been worked out to the record, and take its check over."""
        done, evidence = closed.done, closed.evidence
        if self._writer is not None and closed.ticket is not None:
            result = analysed_as_dict(analysed)
            evidence = {**evidence, "shut_s": done.shut_s, "ended_s": done.ended_s}
            self._writer.finish_capture(
                closed.ticket, result, void_reason=analysed.void_reason, marks=analysed.marks, readiness=evidence
            )
            self.writer_news.extend(self._writer.take_news())
        self.done.append(Done(done.purpose, analysed, evidence, closed.ticket))
        if analysed.check is not None:
            self._take_check(analysed.check, closed)

    def _take_check(self, check: CheckGiven | PointGiven | ProofGiven, closed: Closed) -> None:
        """The check of a capture belongs to the round that it was made in; another may have been begun since."""
        now = self.state.round
        if not _same_round(now, closed.state.round):
            if isinstance(check, PointGiven):
                return
            self._step(check, closed.ticket)
            self.state = replace(self.state, round=now)
        else:
            self._step(check, closed.ticket)

    # ------------------------------------------------------------------ what is known from before

    def use_job(self, job_id: int | None, engine: Engine | None, ambient: AirConditions) -> None:
        """From now on tests belong to this job, engine and air.

        With another job or engine nobody has shown anything yet: purpose, hose, stroke, fitting of the encoder and what the people
        confirmed are as at the beginning, and true TDC has to be known again by know_checks(). Raises NotReadyError under pressure.
        """
        if self.state.readiness.locked or self.state.capture is not None:
            raise NotReadyError("the rig is under pressure; shut the supply, open the vent, and then change the job")
        other = job_id != self.job_id or engine != self.state.engine
        self.job_id, self.ambient = job_id, ambient
        if other:
            self._step(acts.SetPurpose(acts.Purpose("sealed")))  # breaks off a squeeze too
            self.forget_evidence()
            self.state = replace(self.state, engine=engine, tdc=None, oil=None, fitted=None)
            self._flush()

    def forget_evidence(self) -> None:
        """What was shown and said by the people no longer holds."""
        self.state = forgetting(self.state)

    def use_who(self, who: str) -> None:
        """Another person is at the rig from now on."""
        self.state = replace(self.state, who=who)

    def use_setup(self, setup: RigSetup) -> None:
        """Take over what is known of this rig, before its checks. Raises LinkError when the rig has not said who it is."""
        self.state = with_setup(self.state, setup)

    def know_checks(self, checks: dict[str, RigCheck], *, again: bool = False) -> None:
        """Take over the checks that the record holds of this rig, as known_state.with_checks has it."""
        self.state = with_checks(self.state, checks, again=again)


def _same_round(one: Round | None, other: Round | None) -> bool:
    return one is other or (one is not None and other is not None and (one.purposes, one.points) == (other.purposes, other.points))


def evidence_of(state: BenchState) -> dict[str, object]:
    """On what the opening was decided: kinds of evidence, where the crank stood, the eight reasons, and their marks."""
    off_deg = degrees_from_tdc(state)
    decided_on = state.conditions if state.capture is None else state.capture.conditions
    return {
        "stroke_evidence": state.stroke.kind if state.stroke is not None else None,
        "hose_evidence": state.hose_evidence.kind if state.hose_evidence is not None else None,
        "position_deg": off_deg,
        "window_deg": window_deg(state),
        "conditions": {condition.name: condition.reason for condition in decided_on},
        "marks": [] if state.capture is None else list(marks_of_opening(state, state.capture)),
    }
