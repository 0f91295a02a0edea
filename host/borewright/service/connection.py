"""One connection to a rig, from the open port to its end: meet the rig, look up what the record knows of it, read it."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future
from contextlib import suppress
from dataclasses import dataclass, field

from borewright.core.engine import Engine
from borewright.core.plain_text import printable
from borewright.core.rig import RigCheck, RigSetup
from borewright.errors import BorewrightError, LinkError
from borewright.link import Endpoint
from borewright.service import acts
from borewright.service.bench import Bench
from borewright.service.conditions_of_air import AirConditions
from borewright.service.known_rig import usual_setup
from borewright.service.snapshot import LinkView
from borewright.service.state import BenchState
from borewright.session.session import Phase
from borewright.store.records import JobRecord

__all__ = ["AtWork", "Connection", "KnownRig", "LookUp"]

SILENT_FOR_S = 5.0  # after that the port is opened anew: some ports go on without a word after their cable was pulled


@dataclass(frozen=True, slots=True)
class KnownRig:
    """What the record knows of a rig: its setup, None where nobody ever gave one, and its newest checks.

    clock: what is to be said of this computer's clock, None where it is not behind the record.
    """

    setup: RigSetup | None
    checks: dict[str, RigCheck]
    clock: str | None = None


LookUp = Callable[[str], Future[KnownRig]]


@dataclass(frozen=True, slots=True)
class AtWork:
    """What the person works on."""

    job: JobRecord | None = None
    engine: Engine | None = None
    ambient: AirConditions = field(default_factory=AirConditions)

    @property
    def job_id(self) -> int | None:
        """In the record, None without a job."""
        return None if self.job is None else self.job.id

    def other_than(self, before: AtWork) -> str | None:
        """What the person changed, for a sentence; None when nothing that the bench goes by.

        >>> AtWork(ambient=AirConditions(95e3)).other_than(AtWork())
        'the air that was stated counts'
        """
        if (self.job_id, self.engine) != (before.job_id, before.engine):
            return "the job is changed"
        return "the air that was stated counts" if self.ambient != before.ambient else None


class Connection:
    """A bench at an open port. name: the port, for the person. look_up: asks the record for a rig by its serial number.

    purpose: what to go on with once the rig is known, None: whatever it begins with. All methods but act() and turn() never wait.
    """

    def __init__(
        self,
        name: str,
        endpoint: Endpoint,
        bench: Bench,
        look_up: LookUp,
        purpose: acts.Purpose | None,
        tell: Callable[[str], None],
    ) -> None:
        self.bench = bench
        self.met = False
        self.purpose = purpose
        self._name = name
        self._endpoint = endpoint
        self._look_up = look_up
        self._tell = tell
        self._asked: Future[KnownRig] | None = None
        self._wanted: AtWork | None = None
        self._silent_s: float | None = None

    @property
    def state(self) -> BenchState:
        """The bench's."""
        return self.bench.state

    @property
    def serial(self) -> str | None:
        """Of the rig, None before it has said it."""
        identity = self.state.session.identity
        return None if identity is None else identity.serial_number

    @property
    def link(self) -> LinkView:
        """How it stands."""
        state = self.state
        if state.lost is not None:
            return LinkView("lost", self._name, f"{state.lost}; it is asked again by itself")
        if not self.met:
            return LinkView("meeting", self._name, f"waiting for the rig at {self._name} to say who it is")
        return LinkView("open", self._name, f"rig {printable(self.serial or '')} at {self._name}")

    @property
    def waits_for(self) -> str | None:
        """What nothing can go on before, in words; None where something can."""
        if not self.met:
            return self.link.words
        return "the check is being worked out" if self.bench.analysing_checks else None

    def turn(self) -> None:
        """Read once, decide, write once. Raises LinkError when the link was lost, or the rig there is none to go on with."""
        self.bench.turn()
        self._see_that_it_goes_on()
        self._use_wanted()
        if not self.met and self._asked is None and self.state.transducers is not None and self.state.reading is not None:
            self._ask()
        if self._asked is not None and self._asked.done() and (self._vented or not self.met):
            self._take_known(self._asked)

    def act(self, act: acts.Act) -> bool:
        """Tell the bench; False when the rig is not known well enough for it yet. Raises LinkError when the link was lost."""
        if isinstance(act, acts.SetPurpose) and not self.met:
            self.purpose = act.purpose
            return True
        if not self.met and not isinstance(act, acts.StopAll | acts.LetGo):
            return False
        try:
            self.bench.act(act)
        except LinkError:
            self.bench.link_lost()
            raise
        return True

    def use(self, at_work: AtWork) -> bool:
        """Work on this at once, so that what is told next is told of it, or as soon as the rig is vented; whether it was at once.

        Raises LinkError when the link was lost.
        """
        self._wanted = at_work
        try:
            return self._use_wanted()
        except LinkError:
            self.bench.link_lost()
            raise

    def know_again(self) -> None:
        """The record knows something else of this rig now."""
        if self.met or self._asked is not None:
            self._ask()

    def close(self) -> None:
        """Close the port."""
        with suppress(OSError, LinkError):
            self._endpoint.close()

    # ------------------------------------------------------------------ inside

    @property
    def _vented(self) -> bool:
        return not self.state.readiness.locked and self.state.capture is None

    def _use_wanted(self) -> bool:
        if self._wanted is None or not self._vented:
            return False
        wanted, self._wanted = self._wanted, None
        if wanted.engine != self.state.engine:
            self.purpose = None
        self.bench.use_job(wanted.job_id, wanted.engine, wanted.ambient)
        self.know_again()
        return True

    def _ask(self) -> None:
        if self.serial is not None:
            self._asked = self._look_up(self.serial)

    def _take_known(self, answer: Future[KnownRig]) -> None:
        self._asked = None
        try:
            known = answer.result(0.0)
        except BorewrightError as error:
            self._tell(str(error))
            known = KnownRig(self.state.setup if self.met else None, {})
        if known.clock is not None:
            self._tell(known.clock)
        setup = known.setup or usual_setup(self.state.engine)
        if not self.met or setup != self.state.setup:
            self.bench.use_setup(setup)
            if self.met:
                self.bench.forget_evidence()
        self.bench.know_checks(known.checks, again=self.met)
        if not self.met:
            self.met = True
            if self.purpose is not None:
                self.bench.act(acts.SetPurpose(self.purpose))

    def _see_that_it_goes_on(self) -> None:
        session = self.state.session
        if session.phase is Phase.REFUSED:
            raise LinkError(self.state.lost or f"nothing answers at {self._name}; check the cable and the rig")
        if self.serial is not None and self.state.serial not in (None, self.serial):
            raise LinkError(f"another rig answers at {self._name}; what was shown at the other one has to be shown again")
        if self.state.lost is not None and session.phase is not Phase.SILENT and not self.met:
            raise LinkError(self.state.lost)
        now_s = self._endpoint.monotonic()
        if session.phase is not Phase.SILENT:
            self._silent_s = None
        elif self._silent_s is None:
            self._silent_s = now_s
        elif now_s - self._silent_s > SILENT_FOR_S:
            raise LinkError(f"{self.state.lost or 'the rig is silent'}; check the cable and the power of the rig")
