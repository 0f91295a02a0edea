"""The three lanes of work, with real processes: what they give, what becomes of work when one of them dies or hangs."""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections.abc import Iterator
from concurrent.futures import Future
from pathlib import Path

import pytest
from borewright.core.samples import SampleColumns
from borewright.errors import BorewrightError, StoreError
from borewright.service import acts
from borewright.service.analyses import slimmed
from borewright.service.analysis import Analysed, analyse, analysed_as_dict
from borewright.service.conditions_of_air import AirConditions
from borewright.service.effects import Analyse
from borewright.service.reducer import CheckGiven
from borewright.service.state import BenchState
from borewright.service.worker import Worker, WorkerEndedError
from borewright.service.worker_process import ProgramFailedError
from borewright.service.workers import Workers
from borewright.store.store import Store

from .at_station import AtStation, opened

SOON_S = 60.0  # a process is started meanwhile, on a computer that may be busy


class Keeping(Workers):
    """Keeps what was to be analysed."""

    def __init__(self, store: Store, *, inline: bool) -> None:
        super().__init__(store.path, store, inline=inline)
        self.kept: list[tuple[BenchState, Analyse, AirConditions]] = []

    def analyse(self, state: BenchState, done: Analyse, ambient: AirConditions) -> Future[Analysed]:
        self.kept.append((state, done, ambient))
        return super().analyse(state, done, ambient)


Test = tuple[BenchState, Analyse, AirConditions]


@pytest.fixture(scope="module")
def a_test(checked_record: Path, tmp_path_factory: pytest.TempPathFactory) -> Test:
    """A test of cylinder 1 as it was at its end."""
    folder = tmp_path_factory.mktemp("test")
    (folder / "shop.borewright").write_bytes(checked_record.read_bytes())
    with opened(folder) as store:
        workers = Keeping(store, inline=True)
        at = AtStation(store, workers=workers).connected()
        at.person.carry_out(acts.Purpose("test", 1))
        at.station.close()
    (test,) = workers.kept
    return test


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with opened(tmp_path) as store:
        yield store


@pytest.fixture
def workers(store: Store) -> Iterator[Workers]:
    workers = Workers(store.path, store)
    yield workers
    assert workers.close()


@pytest.fixture
def worker(tmp_path: Path) -> Iterator[Worker]:
    worker = Worker("questions", tmp_path / "shop.borewright", lambda _word: None)
    yield worker
    assert worker.close(SOON_S)


def numbers(analysed: Analysed) -> object:
    return analysed_as_dict(analysed), analysed.void_reason, analysed.marks, analysed.check


# ---------------------------------------------------------------------- analyses


def test_the_process_gives_the_numbers_that_the_call_gives(workers: Workers, a_test: Test) -> None:
    there = workers.analyse(*a_test).result(SOON_S)
    assert there.result is not None
    assert numbers(there) == numbers(analyse(*a_test))
    assert workers.take_faults() == ()


def test_no_samples_go_there_twice(a_test: Test) -> None:
    state, done, _ = a_test
    slim = slimmed(state)
    assert slim.recent == ()
    assert slim.capture is None
    assert len(done.columns) > 5_000


def test_a_process_that_died_is_started_again(workers: Workers, a_test: Test) -> None:
    workers.analyse(*a_test).result(SOON_S)
    (before,) = workers.process_ids
    os.kill(before, signal.SIGTERM)
    assert numbers(workers.analyse(*a_test).result(SOON_S)) == numbers(analyse(*a_test))
    (after,) = workers.process_ids
    assert after != before
    (fault,) = workers.take_faults()
    assert fault.startswith("the process of the analyses ended at analyse, for the first time: working it out was broken off")


@pytest.mark.skipif(sys.platform == "win32", reason="a process cannot be held there")
def test_a_process_that_hangs_is_ended_and_its_analysis_not_made_again(store: Store, a_test: Test) -> None:
    workers = Workers(store.path, store, analysis_limit_s=3.0)
    for future in workers.warm_up():
        future.result(SOON_S)
    for process_id in workers.process_ids:
        os.kill(process_id, signal.SIGSTOP)
    with pytest.raises(WorkerEndedError, match="it took longer than 3 s and was broken off; save the log and try it again"):
        workers.analyse(*a_test).result(SOON_S)
    (fault,) = workers.take_faults()
    assert fault.startswith("the process of the analyses ended at analyse, for the first time: it took longer than 3 s")
    workers.warm_up()[0].result(SOON_S)  # the next goes on in another process
    assert workers.close()


@pytest.mark.skipif(sys.platform == "win32", reason="a process cannot be held there")
def test_a_question_that_hangs_does_not_stop_the_ones_behind_it(store: Store) -> None:
    workers = Workers(store.path, store, question_limit_s=3.0)
    workers.warm_up()[1].result(SOON_S)
    for process_id in workers.process_ids:
        os.kill(process_id, signal.SIGSTOP)
    with pytest.raises(WorkerEndedError, match="it took longer than 3 s"):
        workers.ask(Store.list_jobs).result(SOON_S)
    workers.warm_up()[1].result(SOON_S)  # a process takes its time to start
    assert workers.ask(Store.list_jobs).result(SOON_S) == ()
    assert workers.close()


def test_a_check_of_the_station_through_the_process_is_that_of_the_call(shop: Path) -> None:
    with opened(shop) as store:
        workers = Keeping(store, inline=False)
        for future in workers.warm_up():
            future.result(SOON_S)
        at = AtStation(store, workers=workers).connected()
        at.person.carry_out(acts.Purpose("sealed"))
        (view,) = at.done
        (kept,) = workers.kept
        assert numbers(view.done.analysed) == numbers(analyse(*kept))
        assert isinstance(view.done.analysed.check, CheckGiven)
        assert view.done.analysed.check.check == at.state.checks["sealed"]
        assert at.station.close()
        assert workers.close()


def test_inline_gives_the_same_in_the_call(store: Store, a_test: Test) -> None:
    future = Workers(store.path, store, inline=True).analyse(*a_test)
    assert future.done()
    assert numbers(future.result()) == numbers(analyse(*a_test))


# ---------------------------------------------------------------------- questions


def test_a_question_is_answered_from_the_record(workers: Workers, store: Store) -> None:
    engine = store.save_engine("demo four", {"bore_mm": 86.0})
    job = store.create_job("hill-climb 7", "before", engine)
    assert [found.id for found in workers.ask(Store.list_jobs).result(SOON_S)] == [job]
    store.create_job("hill-climb 7", "after", engine)
    assert len(workers.ask(Store.list_jobs).result(SOON_S)) == 2


def test_a_question_leaves_a_running_test_alone(workers: Workers, store: Store) -> None:
    job = store.create_job("hill-climb 7", "before", store.save_engine("demo four", {}))
    capture = store.begin_capture(job, 1)
    (seen,) = workers.ask(Store.list_captures, job).result(SOON_S)
    assert (seen.id, seen.state) == (capture, "running")
    assert store.list_captures(job)[0].state == "running"
    store.finish_capture(capture, {"leakage_percent": 5.0})
    (seen,) = workers.ask(Store.list_captures, job).result(SOON_S)
    assert seen.state == "complete"


def test_an_error_of_ours_comes_as_it_is_and_any_other_in_words(workers: Workers) -> None:
    with pytest.raises(StoreError, match="there is no test 99"):
        workers.ask(Store.load_capture, 99).result(SOON_S)
    with pytest.raises(
        BorewrightError, match=r"the program failed while working this out \(TypeError: .*\); save the log and restart it"
    ):
        workers.ask(Store.list_captures, 1, 2, 3, 4).result(SOON_S)  # type: ignore[call-arg, arg-type]
    with pytest.raises(BorewrightError, match="the program failed while working this out"):
        workers.ask(lambda _store: 1).result(SOON_S)  # cannot be pickled
    there, here = workers.take_faults()
    assert there.startswith("Traceback (most recent call last):")
    assert "in serve" in there  # where it failed, in the other process
    assert here.startswith("Traceback (most recent call last):")
    assert workers.ask(Store.list_jobs).result(SOON_S) == ()


def test_inline_puts_errors_into_words_too(store: Store) -> None:
    workers = Workers(store.path, store, inline=True)
    with pytest.raises(ProgramFailedError, match=r"\(ZeroDivisionError: integer division or modulo by zero\); save the log"):
        workers.ask(lambda _store: 1 // 0).result()
    (fault,) = workers.take_faults()
    assert fault.endswith("ZeroDivisionError: integer division or modulo by zero")
    with pytest.raises(StoreError, match="there is no test 99"):
        workers.write(Store.load_capture, 99).result()


def test_work_that_kills_its_process_twice_ends_with_an_error_and_the_next_goes_on(worker: Worker) -> None:
    with pytest.raises(WorkerEndedError, match="working it out was broken off; save the log"):
        worker.hand(os._exit, (3,)).result(SOON_S)
    assert worker.hand(max, (3, 4)).result(SOON_S) == 4


def test_work_that_waits_can_be_cancelled(worker: Worker) -> None:
    first = worker.hand(os.getpid, ())
    waiting = [worker.hand(max, (number, 0)) for number in range(50)]
    cancelled = [future for future in waiting if future.cancel()]
    assert first.result(SOON_S) != os.getpid()
    assert worker.hand(max, (1, 2)).result(SOON_S) == 2
    assert cancelled
    assert all(future.cancelled() for future in cancelled)


@pytest.mark.skipif(sys.platform == "win32", reason="there is no pause there")
def test_work_under_way_that_nobody_needs_any_more_is_broken_off(worker: Worker, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("borewright.service.worker.GRACE_S", 0.0)
    stands = worker.hand(signal.pause, ())
    while not stands.running() or worker.process_id is None:
        os.sched_yield()
    behind = worker.hand(max, (3, 4))
    while not stands.done():
        assert not stands.cancel()
        os.sched_yield()
    with pytest.raises(WorkerEndedError, match="nobody needed it any more"):
        stands.result(0.0)
    assert behind.result(SOON_S) == 4


def test_work_that_ends_in_time_is_not_broken_off(worker: Worker) -> None:
    first = worker.hand(os.getpid, ())
    while not first.running() and not first.done():
        os.sched_yield()
    first.cancel()
    assert worker.hand(os.getpid, ()).result(SOON_S) == first.result(0.0)


@pytest.mark.skipif(sys.platform == "win32", reason="Ctrl-C is no signal to one process there")
def test_ctrl_c_in_the_terminal_does_not_reach_the_work(worker: Worker) -> None:
    process_id = worker.hand(os.getpid, ()).result(SOON_S)
    os.kill(process_id, signal.SIGINT)
    assert worker.hand(os.getpid, ()).result(SOON_S) == process_id


@pytest.mark.skipif(sys.platform == "win32", reason="Ctrl-C is no signal to one process there")
def test_ctrl_c_while_the_process_starts_prints_nothing(worker: Worker, capfd: pytest.CaptureFixture[str]) -> None:
    future = worker.hand(max, (1, 2))
    while (process_id := worker.process_id) is None:
        os.sched_yield()
    os.kill(process_id, signal.SIGINT)
    assert future.result(SOON_S) == 2
    assert capfd.readouterr().err == ""


def test_the_process_computes_on_one_core(worker: Worker) -> None:
    assert worker.hand(os.getenv, ("OPENBLAS_NUM_THREADS",)).result(SOON_S) == "1"


def test_what_waits_at_the_end_ends_with_an_error(tmp_path: Path) -> None:
    worker = Worker("questions", tmp_path / "none", lambda _word: None)
    stands = worker.hand(signal.pause, ()) if sys.platform != "win32" else worker.hand(input, ())
    waits = worker.hand(max, (1, 2))
    assert worker.close(0.1)
    for future in (stands, waits):
        with pytest.raises(BorewrightError, match="the program is being ended"):
            future.result(SOON_S)
    with pytest.raises(BorewrightError, match="the program is being ended"):
        worker.hand(max, (1, 2)).result(SOON_S)


# ---------------------------------------------------------------------- writing


def test_what_is_written_is_written_in_order_in_one_thread(workers: Workers) -> None:
    threads: list[str] = []

    def act(of: Store, number: int) -> int:
        threads.append(threading.current_thread().name)
        return of.save_engine(f"engine {number}", {})

    ids = [future.result(SOON_S) for future in [workers.write(act, number) for number in range(5)]]
    assert ids == sorted(ids)
    assert len(set(threads)) == 1
    assert threads[0].startswith("borewright-record")


def test_what_waits_to_be_written_is_written_at_the_end(store: Store) -> None:
    workers = Workers(store.path, store)
    futures = [workers.write(Store.save_engine, f"engine {number}", {}) for number in range(20)]
    assert workers.close()
    assert [future.result(0.0) for future in futures] == sorted(future.result(0.0) for future in futures)
    with pytest.raises(BorewrightError, match="was not written"):
        workers.write(Store.save_engine, "late", {}).result(0.0)


def test_an_act_that_does_not_end_holds_up_the_end_within_bounds_only(store: Store) -> None:
    workers = Workers(store.path, store)
    begun, may = threading.Event(), threading.Event()

    def hangs(_store: Store) -> bool:
        begun.set()
        return may.wait(SOON_S)

    first = workers.write(hangs)
    second = workers.write(Store.save_engine, "too late", {})
    assert begun.wait(SOON_S)
    assert all(thread.daemon for thread in threading.enumerate() if thread.name == "borewright-record")
    assert not workers.close(0.1)
    may.set()
    assert first.result(SOON_S)
    with pytest.raises(BorewrightError, match="was not written"):
        second.result(SOON_S)


def test_empty_samples_are_no_capture_here_either(workers: Workers, a_test: Test) -> None:
    state, done, ambient = a_test
    none = Analyse(done.purpose, SampleColumns.empty(2, 1_000_000), None, done.ended_s, None, done.marks)
    there = workers.analyse(state, none, ambient).result(SOON_S)
    assert there.result is None
    assert there.void_reason == analyse(state, none, ambient).void_reason
