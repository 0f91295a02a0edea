"""The bench: one rig, one record, one person. It feeds the reducer and carries out what it asks for.

`turn` is one turn of the loop, for virtual time and for a program that has a loop of its own; everything that decides is in the
reducer, everything that waits for a disk is behind the writer.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, dataclass, replace

from borewire.codec import Decoder, encode
from borewire.messages import AirState

from borewright import __version__
from borewright.acquisition.pump import Pump, link_was_lost
from borewright.core.engine import Engine
from borewright.core.motion import CrankTracker
from borewright.core.rig import RigCheck, RigSetup
from borewright.errors import LinkError
from borewright.link import Endpoint
from borewright.service import acts, effects
from borewright.service.analysis import Analysed, analyse, analysed_as_dict
from borewright.service.checks import still_holding
from borewright.service.conditions_of_air import AirConditions
from borewright.service.facts import degrees_from_tdc, window_deg
from borewright.service.laws import laws_of
from borewright.service.reducer import Event, FromWire, HostTick, LinkGone, step
from borewright.service.state import BenchState
from borewright.service.tdc import tdc_of_check
from borewright.service.transducers import transducers_of
from borewright.session.session import Phase, Session
from borewright.store.writer import StoreWriter, WriterNews

__all__ = ["Bench", "Done", "LinkCounters"]

LEAVE_S = 0.5


@dataclass(frozen=True, slots=True)
class Done:
    """A capture that is over: what it was for, what came of it, its conditions, and its ticket in the writer."""

    purpose: acts.Purpose
    analysed: Analysed
    evidence: dict[str, object]
    ticket: int | None


@dataclass(frozen=True, slots=True)
class LinkCounters:
    """What went over the link since it was opened.

    octets: that came. bad_frames: of these, frames that could not be used. lost_blocks: blocks of samples that never came. device:
    the counters that the device itself keeps, by name, as it last said.
    """

    octets: int = 0
    bad_frames: int = 0
    lost_blocks: int = 0
    device: tuple[tuple[str, int], ...] = ()


@dataclass(slots=True)
class _Open:
    ticket: int
    evidence: dict[str, object]


class Bench:
    """One rig over one endpoint.

    writer: where captures and checks go; None keeps nothing (ports and doctor). wall_clock: seconds since 1970. tell: called for
    each word to the person (effects.Say and effects.AirRefused). read_s: the longest that one turn waits for bytes.
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
        self.state = BenchState(Session(endpoint.monotonic()), setup or RigSetup(), engine=engine, who=who)
        self._pump = Pump(endpoint, self._on_bytes, farewell=self._farewell, timeout_s=read_s)

    # ------------------------------------------------------------------ the loop

    def turn(self) -> None:
        """Read once, decide, write once. Raises LinkError when the link was lost; a capture in progress is then closed as void."""
        try:
            self._pump.once()
        except LinkError:
            self._link_lost()
            raise
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

    def take_leave(self) -> None:
        """Shut and vent and put everything that was recorded away; for Ctrl-C and the end of the program."""
        self._step(acts.StopAll())
        try:
            self._flush()
            self._wait_until_vented()
        except LinkError:
            self._link_lost()
        self._give_up_capture("the program was ended")

    def _wait_until_vented(self) -> None:
        """Give the device half a second to say that it has vented; by then its own watch over a silent host has."""
        until_s = self.endpoint.monotonic() + LEAVE_S
        while self.state.has_valves and self.state.device_air is not AirState.VENTED and self.endpoint.monotonic() < until_s:
            self.turn()

    def _farewell(self) -> bytes:
        self._step(acts.StopAll())
        data, self._out = bytes(self._out), bytearray()
        return data

    def _on_bytes(self, data: bytes, now_s: float) -> bytes:
        del now_s  # the endpoint's clock is read in _step, the same for acts and bytes
        if data:
            self._step(FromWire(tuple(self._decoder.feed(data)), len(data)))
        self._step(HostTick())
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

    def _step(self, event: Event) -> None:
        was_read = self.state.reading is not None
        self.state, done = step(self.state, event, self.endpoint.monotonic())
        if self.state.reading is not None and not was_read:  # the first sample, or the first after a restart of the rig
            self._offset_clock()
        for effect in done:
            self._carry_out(effect)

    def _offset_clock(self) -> None:
        self.state = replace(self.state, unix_minus_device_s=self._wall_clock() - self.state.now_s)

    def _link_lost(self) -> None:
        """Whatever the reducer still wants to send is dropped; the device shuts and vents by itself when nobody speaks to it."""
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

    def _carry_out(self, effect: effects.Effect) -> None:
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
                if self._writer is not None:
                    ticket = self._open.ticket if self._open is not None else None
                    self._writer.append_event(ticket, kind, tick, self.endpoint.monotonic(), detail)
            case effects.KeepFinding(cylinder, kind, place, detail):
                if self._writer is not None and self.job_id is not None:
                    ticket = self._open.ticket if self._open is not None else None
                    self._writer.add_finding(ticket, self.job_id, cylinder, kind, place, detail, self.state.who)
            case effects.SaveCheck(check):
                if self._writer is not None:
                    self._writer.add_rig_check(check, self._open.ticket if self._open is not None else None)
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
        analysed = analyse(self.state, done, self.ambient)
        ticket = None
        evidence: dict[str, object] = {}
        if self._writer is not None and self._open is not None:
            ticket, evidence = self._open.ticket, self._open.evidence
            result = analysed_as_dict(analysed)
            evidence = {**evidence, "shut_s": done.shut_s, "ended_s": done.ended_s}
            self._writer.finish_capture(ticket, result, void_reason=analysed.void_reason, marks=analysed.marks, readiness=evidence)
            self.writer_news.extend(self._writer.take_news())
        self.done.append(Done(done.purpose, analysed, evidence, ticket))
        if analysed.check is not None:
            self._step(analysed.check)  # while the capture that it was read from is known
        self._open = None

    # ------------------------------------------------------------------ what is known from before

    def use_setup(self, setup: RigSetup) -> None:
        """Take over what is known of this rig, before its checks. Raises LinkError when the rig has not said who it is."""
        identity, channels = self.state.session.identity, self.state.session.channels
        if identity is None or not channels:
            raise LinkError("the rig is not known yet; wait until it has said who it is")
        crank = CrankTracker(
            identity.counts_per_rev, setup.running_sign, index_tolerance_count=self.state.limits.index_tolerance_count
        )
        self.state = replace(self.state, setup=setup, transducers=transducers_of(channels, setup), crank=crank)

    def know_checks(self, checks: dict[str, RigCheck]) -> None:
        """Take over the checks that the record holds of this rig: zeros, restrictor, true TDC, proven set pressure.

        Checks that were made with another setup of the rig do not hold and are left out.
        """
        state = self.state
        checks = still_holding(
            {kind: check for kind, check in checks.items() if kind == "tdc" or check.result.get("setup") == state.setup.fingerprint}
        )
        transducers, crank = state.transducers, state.crank
        if transducers is None or crank is None:
            raise LinkError("the rig is not known yet; wait until it has said who it is")
        zero, sealed, tdc = checks.get("zero"), checks.get("sealed"), checks.get("tdc")
        if zero is not None and zero.passed:
            transducers = transducers.with_zeros(float(zero.result["zero_regulated_pa"]), float(zero.result["zero_cylinder_pa"]))
        transducers = transducers.calibrated(checks)
        proven = _proven_gauge_pa(sealed) if sealed is not None and sealed.passed else None
        engine_name = state.engine.name if state.engine is not None else ""
        known_tdc = tdc_of_check(tdc, crank, engine_name) if tdc is not None else None
        self.state = replace(state, checks=dict(checks), transducers=transducers, proven_gauge_pa=proven, tdc=known_tdc)


def evidence_of(state: BenchState) -> dict[str, object]:
    """On what the opening was decided: kinds of evidence, where the crank stood, and the eight reasons."""
    off_deg = degrees_from_tdc(state)
    decided_on = state.conditions if state.capture is None else state.capture.conditions
    return {
        "stroke_evidence": state.stroke.kind if state.stroke is not None else None,
        "hose_evidence": state.hose_evidence.kind if state.hose_evidence is not None else None,
        "position_deg": off_deg,
        "window_deg": window_deg(state),
        "conditions": {condition.name: condition.reason for condition in decided_on},
    }


def _proven_gauge_pa(sealed: RigCheck) -> float:
    """What the regulator was left at: the pressure of the check's last capture."""
    points = sealed.result.get("points")
    last = points[-1] if points else sealed.result
    return float(last["p_regulated_gauge_pa"])
