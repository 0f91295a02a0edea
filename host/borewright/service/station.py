"""The station: the thread that reads the rig, decides, writes, and after each turn leaves a snapshot for whoever looks.

Whoever looks takes the latest snapshot and hands over acts; neither ever waits for the other. The disk is behind the writer, the
fit in the workers' own process.
"""

from __future__ import annotations

import queue
import threading
import time
import traceback
from collections.abc import Callable
from concurrent.futures import Future
from contextlib import suppress
from dataclasses import replace
from functools import partial
from math import inf

from borewright.core.engine import Engine
from borewright.core.readiness_table import AIR_ON, State
from borewright.core.rig import RigSetup
from borewright.errors import LinkError
from borewright.service import acts
from borewright.service.bench import Bench
from borewright.service.conditions_of_air import AirConditions
from borewright.service.connection import AtWork, Connection, KnownRig
from borewright.service.effects import AirRefused, Say
from borewright.service.facts import said_vented
from borewright.service.guide import Step, next_step
from borewright.service.journal import Journal
from borewright.service.set_clock import set_back_words
from borewright.service.snapshot import LinkView, Snapshot
from borewright.service.source import PortSource, Source
from borewright.service.state import BenchState
from borewright.service.trace import Trace
from borewright.service.workers import Workers
from borewright.session.session import Phase
from borewright.store.records import JobRecord
from borewright.store.store import Store
from borewright.store.writer import StoreWriter

__all__ = ["PortSource", "Source", "Station"]

AGAIN_S = 1.0  # after a loss the port is tried again so often
AFTER_FAULT_S = 5.0  # and so long after a fault in the program, which may well come again
READ_S = 0.015
VIRTUAL_READ_S = 0.032  # as long as the batches that the simulated rig works in
PUBLISH_S = 0.012  # just under one turn of 15 ms, so that each leaves a snapshot, and no more than that where turns are quicker
VIEW_S = 0.03  # nobody draws more often
IDLE_S = 0.05  # without a rig the thread looks at what it was told so often
LOOK_UP_S = 5.0  # the longest wait for the record to take the checks that were just made
ANALYSES_S = 3.0  # the longest wait for analyses at the end; then they are made here
AIR_COMING = AIR_ON | {State.ARMED}
FAILED = "the program failed while reading the rig"
BY_HAND = "SHUT THE SUPPLY AND OPEN THE VENT BY HAND; turn and undo nothing"
NO_RIG = LinkView("none", "", "no rig is connected; choose its port, or the built-in rig")


class Station:
    """One rig after the other, one record, one person.

    threaded: read in a thread of its own; else turn() does one turn, the writer and every wait are in the caller's thread, and a
    lost rig is looked for at each turn. wall_clock: seconds since 1970. who: the person at the rig. rate_hz: of samples.
    unseen_s: air that this program's own act let in is shut and vented when nobody has looked at a snapshot for so long, for a
    screen that stands still hears neither a key that is let go nor a stop. clock: seconds that only go forward.
    """

    def __init__(
        self,
        store: Store,
        workers: Workers,
        *,
        wall_clock: Callable[[], float] = time.time,
        clock: Callable[[], float] = time.monotonic,
        threaded: bool = True,
        who: str = "",
        rate_hz: int = 1000,
        unseen_s: float = inf,
    ) -> None:
        self._unseen_s = unseen_s
        self._clock = clock
        self._looked_s = clock()
        self._workers = workers
        self._wall_clock = wall_clock
        self._threaded = threaded
        self._who = who
        self._rate_hz = rate_hz
        self._writer = StoreWriter(store, threaded=threaded)
        self._journal = Journal(wall_clock)
        self._trace = Trace()
        self._told: queue.SimpleQueue[Callable[[], None]] = queue.SimpleQueue()
        self._wake = threading.Event()
        self._closing = False
        self._written = True
        self._source: Source | None = None
        self._connection: Connection | None = None
        self._left: list[Bench] = []  # rigs that are gone while a capture of theirs is still worked out
        self._at_work = AtWork()
        self._purpose: acts.Purpose | None = None
        self._before: BenchState | None = None  # as the rig was last known, until it has been heard again
        self._link = NO_RIG
        self._refused: LinkView | None = None  # why the rig that answers cannot be used
        self._said: set[Say] = set()  # while no rig is there
        self._again_s = 0.0
        self._read_at_s = 0.0
        self._published_s = self._viewed_s = float("-inf")
        self._number = 0
        self._unseen = False
        self._view = self._trace.view()
        self._rig: object | None = None
        self._snapshot = Snapshot(0, NO_RIG, None, None, (), (), self._view, 0, None, None, 0.0, None)
        self._thread = threading.Thread(target=self._run, name="borewright-station", daemon=True) if threaded else None
        if self._thread is not None:
            self._thread.start()

    # ------------------------------------------------------------------ from any thread

    def connect(self, source: Source) -> None:
        """Take leave of the rig there is, and go to this one. After a loss it is opened again every second, until disconnect()."""
        self._hand(partial(self._connect, source))

    def disconnect(self) -> None:
        """Shut and vent, keep what was recorded, close the port."""
        self._hand(self._disconnect)

    def use_job(self, job: JobRecord | None, engine: Engine | None, ambient: AirConditions) -> None:
        """From now on tests belong to this job and this engine. It waits until the rig is vented; evidence is to be shown anew."""
        self._hand(partial(self._use_job, AtWork(job, engine, ambient)))

    def use_who(self, who: str) -> None:
        """Another person is at the rig."""
        self._hand(partial(self._use_who, who))

    def use_setup(self, setup: RigSetup) -> None:
        """What is to be known of this rig; kept for its serial number. Waits until the rig is known and vented."""
        self._hand(partial(self._use_setup, setup))

    def know_checks_again(self) -> None:
        """The record has other checks of this rig now: look them up. Waits until the rig is known and vented."""
        self._hand(self._know_again)

    def tell(self, act: acts.Act) -> None:
        """An act of the person; heeded within one turn. Without a rig it is answered with a word in Snapshot.told."""
        self._hand(partial(self._act, act))

    def at_rig(self, words: str) -> Future[str]:
        """Have these words done at the rig, where its source can; gives the answer, "ok …" or "no: …"."""
        answer: Future[str] = Future()
        self._hand(partial(self._at_rig, words, answer))
        return answer

    def snapshot(self) -> Snapshot:
        """The latest; never waits."""
        self._looked_s = self._clock()
        if self._thread is None and self._unseen:
            self._guarded(self._publish)
        return self._snapshot

    def close(self, wait_s: float = 5.0) -> bool:
        """Take leave of the rig, wait for analyses and for the record; False when that took longer than wait_s."""
        self._closing = True
        self._wake.set()
        if self._thread is None:
            self._end()
            return self._written
        self._thread.join(wait_s)
        return not self._thread.is_alive() and self._written

    def turn(self) -> None:
        """One turn, of a station without a thread: heed what was told, read, decide, write, leave a snapshot."""
        self._guarded(self._turn)

    # ------------------------------------------------------------------ the loop

    def _guarded(self, act: Callable[[], object]) -> None:
        try:
            act()
        except Exception as error:  # noqa: BLE001 -- whatever it is, the person has to hear of it, and the thread goes on
            try:
                self._fail(error)
            except Exception:  # noqa: BLE001 -- not even telling it went well, and still the thread goes on
                self._drop()

    def _turn(self) -> None:
        told = self._heed()
        self._mind_the_screen()
        self._read()
        self._collect()
        self._unseen = True
        if self._threaded and (told or self._clock() - self._published_s >= PUBLISH_S):
            self._publish()

    def _run(self) -> None:
        while not self._closing:
            self.turn()
            if self._connection is None:
                self._wake.wait(IDLE_S)
            self._wake.clear()
        self._end()

    def _end(self) -> None:
        last = self._heed, self._disconnect, self._finish, self._collect, self._close_writer, self._collect, self._publish
        for act in last:
            self._guarded(act)

    def _close_writer(self) -> None:
        self._written = False
        self._written = self._writer.close()

    def _finish(self) -> None:
        for bench in self._left:
            bench.finish_analyses(ANALYSES_S)

    def _hand(self, command: Callable[[], None]) -> None:
        self._told.put(command)
        self._wake.set()

    def _heed(self) -> bool:
        """Do all that was told so far; whether there was any of it."""
        count = self._told.qsize()
        for _ in range(count):
            self._told.get_nowait()()
        return count > 0

    def _read(self) -> None:
        connection = self._connection
        if connection is None:
            if self._source is not None and (self._clock() >= self._again_s or not self._threaded):
                self._open(self._source)
            return
        try:
            connection.turn()
        except LinkError as error:
            self._lose(str(error))
            return
        if self._trace.follow(connection.state):
            self._read_at_s = connection.bench.endpoint.monotonic()
        if connection.state.reading is not None:
            self._before = None
        self._link = connection.link
        if self._link.kind == "open":
            self._said.clear()
            self._refused = None
        elif self._refused is not None:  # it is asked again, and until it is met that is why it was not
            self._link = self._refused

    def _hear(self, word: Say | AirRefused) -> None:
        """As often as a rig that is not there is asked again, what is said of it is said once."""
        if isinstance(word, Say) and self._link.kind != "open":
            if word in self._said:
                return
            self._said.add(word)
        self._journal.hear(word)

    def _mind_the_screen(self) -> None:
        state = None if self._connection is None else self._connection.state
        if state is None or state.has_hold_switch or not state.has_valves or state.readiness.state not in AIR_COMING:
            return
        if self._clock() - self._looked_s > self._unseen_s:
            self._act(acts.StopAll())
            air = "was coming" if state.readiness.state is State.ARMED else "was on"
            self._journal.tell("alarm", f"the screen stood still while air {air}: the rig was told to shut and vent")

    def _collect(self) -> None:
        """What the benches have done and the record has said."""
        benches = [*self._left, self._connection.bench] if self._connection is not None else list(self._left)
        for bench in benches:
            bench.take_analysed()
            done, bench.done = bench.done, []
            self._journal.take_done(done)
            news, bench.writer_news = bench.writer_news, []
            self._journal.take_news(news)
        self._journal.take_news(self._writer.take_news())
        checked = any(not bench.analysing and bench.state.checks for bench in self._left)
        self._left = [bench for bench in self._left if bench.analysing]
        if checked:
            self._know_again()
        for words in self._workers.take_faults():
            self._journal.tell("fault", words)

    def _publish(self) -> None:
        now_s = self._clock()
        self._unseen = False
        if now_s - self._viewed_s >= VIEW_S or not self._threaded:
            self._view, self._viewed_s = self._trace.view(), now_s
            self._rig = None if self._source is None else self._source.view()
        bench = None if self._connection is None else self._connection.bench
        analysing = sum(left.analysing for left in self._left) + (0 if bench is None else bench.analysing)
        self._number += 1
        self._published_s = now_s
        self._snapshot = Snapshot(
            self._number,
            self._link,
            self._state,
            self._step(self._state),
            self._journal.done,
            self._journal.told,
            self._view,
            analysing,
            self._journal.record_trouble,
            self._rig,
            self._read_at_s,
            None if bench is None else bench.counters,
        )

    @property
    def _state(self) -> BenchState | None:
        return self._before if self._before is not None or self._connection is None else self._connection.state

    def _step(self, state: BenchState | None) -> Step | None:
        if state is None:
            return None
        waits_for = None if self._connection is None or state.readiness.locked else self._connection.waits_for
        if waits_for is not None:
            return Step("wait", waits_for)
        if state is not self._before:
            return next_step(state)
        with suppress(Exception):  # it may be what the program failed over; that it is under pressure is shown all the same
            return next_step(state)
        return None

    # ------------------------------------------------------------------ what was told

    def _connect(self, source: Source) -> None:
        self._disconnect()
        self._source = source
        self._link = LinkView("opening", source.name, f"opening {source.name}")
        self._refused = None
        self._said.clear()
        self._again_s = 0.0
        self._trace = Trace()
        self._publish()  # opening a port may take its time

    def _disconnect(self) -> None:
        connection, self._connection = self._connection, None
        self._source = self._rig = self._purpose = None
        self._viewed_s = float("-inf")
        self._link = NO_RIG
        self._forget_unless_pressurised()
        if connection is not None:
            self._leave(connection, "the program was ended" if self._closing else "the rig was disconnected")

    def _leave(self, connection: Connection, reason: str) -> None:
        try:
            connection.bench.take_leave(reason)
        except Exception:
            connection.bench.abandon(reason)
            raise
        finally:
            connection.close()
            self._left.append(connection.bench)
            self._keep_state(connection)
            self._forget_unless_pressurised()
            if self._before is not None:
                self._journal.tell("alarm", f"{BY_HAND} until the gauges are down")

    def _keep_state(self, connection: Connection) -> None:
        if connection.state.reading is not None or self._before is None:
            self._before = connection.state

    def _forget_unless_pressurised(self) -> None:
        """A rig that is left is shown no more, unless it was left under pressure: that stands until a rig has been heard again."""
        before = self._before
        vents = before is not None and said_vented(before) and not before.vent_alarmed  # a valve may hang, whatever the rig says
        if before is not None and (vents or not before.readiness.locked):
            self._before = None

    def _use_job(self, at_work: AtWork) -> None:
        before, self._at_work = self._at_work, at_work
        if at_work.engine != before.engine:
            self._purpose = None
        if self._connection is None:
            return
        try:
            if not self._connection.use(at_work) and (what := at_work.other_than(before)) is not None:
                self._journal.tell("note", f"{what} as soon as the rig is vented")
        except LinkError as error:
            self._lose(str(error))

    def _use_who(self, who: str) -> None:
        self._who = who
        if self._connection is not None:
            self._connection.bench.use_who(who)

    def _use_setup(self, setup: RigSetup) -> None:
        serial = None if self._connection is None else self._connection.serial
        if serial is None:
            self._journal.tell("warning", "no rig is connected whose setup this could be; connect it first")
            return
        self._workers.write(Store.save_rig, serial, setup).add_done_callback(self._saved)
        self._know_again()

    def _saved(self, future: Future[None]) -> None:
        """Called in the record's thread."""
        error = future.exception()
        if error is not None:
            self._hand(lambda: self._journal.tell("warning", str(error)))

    def _know_again(self) -> None:
        if self._connection is not None:
            self._connection.know_again()

    def _act(self, act: acts.Act) -> None:
        connection = self._connection
        if connection is None:
            self._without_rig(act)
            return
        try:
            heeded = connection.act(act)
        except LinkError as error:
            self._lose(str(error))
            return
        if not heeded:
            self._journal.tell("warning", f"nothing was done: {self._link.words}")

    def _without_rig(self, act: acts.Act) -> None:
        if self._before is not None and self._before.pressurised:
            self._journal.tell("alarm", f"the rig cannot be reached: {BY_HAND}")
        elif not isinstance(act, acts.StopAll | acts.LetGo):
            self._journal.tell("warning", f"nothing was done: {self._link.words}")

    def _at_rig(self, words: str, answer: Future[str]) -> None:
        if not answer.set_running_or_notify_cancel():
            return
        try:
            answer.set_result("no: no rig is connected" if self._source is None else self._source.do(words))
        except Exception as error:
            answer.set_exception(error)
            raise

    # ------------------------------------------------------------------ the link

    def _open(self, source: Source) -> None:
        try:
            endpoint = source.open()
        except LinkError as error:
            self._again_s = self._clock() + AGAIN_S
            self._link = LinkView("lost", source.name, str(error))
            self._journal.tell_once("warning", str(error))
            return
        bench = Bench(
            endpoint,
            self._writer,
            wall_clock=self._wall_clock,
            tell=self._hear,
            engine=self._at_work.engine,
            who=self._who,
            ambient=self._at_work.ambient,
            read_s=READ_S if self._threaded else VIRTUAL_READ_S,
            rate_hz=self._rate_hz,
            analyst=self._workers.analyse,
        )
        bench.job_id = self._at_work.job_id
        tell = partial(self._journal.tell, "warning")
        self._connection = Connection(source.name, endpoint, bench, self._look_up, self._purpose, tell)
        self._link = self._connection.link

    def _look_up(self, serial: str) -> Future[KnownRig]:
        def known(store: Store) -> KnownRig:
            self._writer.drain(LOOK_UP_S)
            clock = set_back_words(store.latest_unix_s(), self._wall_clock())
            return KnownRig(store.get_rig(serial), store.latest_rig_checks(serial), clock)

        return self._workers.write(known)

    def _lose(self, words: str) -> None:
        """The link is gone, and what was recorded is kept; the port is looked for again."""
        connection, self._connection = self._connection, None
        if connection is not None and self._source is not None:
            self._remember(connection)
            connection.close()
            self._left.append(connection.bench)
            refused = connection.state.session.phase is Phase.REFUSED  # then the reason says what to do
            what = words.rpartition(";")[0] or words
            again = f"{words}; it is asked again" if refused else f"{what}; check the cable and the rig, it is looked for"
            self._link = LinkView("lost", self._source.name, f"{again} every second")
            self._refused = self._link if refused else None
            self._hear(Say("note", self._link.words))  # the bench has warned already
        self._again_s = self._clock() + AGAIN_S

    def _remember(self, connection: Connection) -> None:
        self._keep_state(connection)
        self._purpose = connection.state.purpose if connection.met and connection.state.round is None else connection.purpose

    def _fail(self, error: Exception) -> None:
        """A fault in the program must not die with the thread: shut and vent, tell it, and begin anew with the rig."""
        words = f"{FAILED} ({type(error).__name__}: {error})"
        self._journal.tell_once("fault", "".join(traceback.format_exception(error)).rstrip())
        connection, self._connection = self._connection, None
        self._forget_unless_pressurised()
        if connection is not None:
            with suppress(Exception):  # it may fail again over the same; then the rig is told without deciding anything
                self._leave(connection, words)
        now_s = self._clock()
        if now_s >= self._again_s:  # a fault that comes at each turn must not put off the next meeting each time
            self._again_s = now_s + AFTER_FAULT_S
        name = "" if self._source is None else self._source.name
        by_hand = self._before is not None and not self._before.has_valves
        done = f"{BY_HAND}; the rig" if by_hand else "the rig was told to shut and vent, and"
        self._link = LinkView("lost", name, f"{words}; {done} is met anew: save the log")
        self._journal.tell_once("alarm", self._link.words)
        self._show_failed()

    def _drop(self) -> None:
        """Even telling of the fault failed: close the port, whose silence has the rig vent, and leave no stale picture."""
        connection, self._connection = self._connection, None
        if connection is not None:
            self._keep_state(connection)
            self._left.append(connection.bench)
            for act in (partial(connection.bench.abandon, FAILED), connection.close):
                with suppress(Exception):
                    act()
        self._again_s = self._clock() + AFTER_FAULT_S
        self._link = LinkView("lost", "", f"{FAILED}; {BY_HAND}, and start the program again")
        self._show_failed()

    def _show_failed(self) -> None:
        """As _publish(), of nothing that may have been what failed."""
        self._number += 1
        seen = replace(self._snapshot, number=self._number, link=self._link, told=self._journal.told, rig=None)
        self._snapshot = replace(seen, state=self._before, step=self._step(self._before))
