"""borewright job run: what is refused before anything is touched, and what it asks after a crank that moved."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from borewright.cli import job_run
from borewright.service.acts import Purpose
from borewright.service.analysis import Analysed
from borewright.service.bench import Done
from borewright.service.conditions_of_air import AirConditions
from borewright.service.state import BenchState
from borewright.session.session import Session
from borewright.store import Store
from borewright.store.writer import CaptureKept

ENGINE = Path(__file__).resolve().parents[2] / "simulator" / "scenarios" / "larch_four_engine.toml"


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (("--engine", ENGINE, "--cylinders", "1,9"), "this engine has no cylinder 9; it has 1, 2, 3, 4"),
        (("--engine", ENGINE, "--cylinders", "one"), "--cylinders one cannot be read; give their numbers, like 2,3"),
        (("--engine", ENGINE, "--repeats", "0"), "--repeats is from 1 to 10, not 0"),
        (("--engine", ENGINE, "--oil-temp", "warm"), "--oil-temp"),
        ((), "job 'Larch' is new at stage 'routine'; name its engine with --engine"),
    ],
)
def test_what_cannot_be_is_refused_in_words_and_makes_no_record(
    command: Callable[..., object], tmp_path: Path, more: tuple[object, ...], words: str
) -> None:
    db = tmp_path / "none.db"
    ended = command("job", "run", "Larch", "--port", "socket://127.0.0.1:1", "--db", db, *more)
    assert words in ended.refusal(2)  # type: ignore[attr-defined]
    assert not db.exists()


def test_a_job_of_several_stages_has_to_be_told_which(command: Callable[..., object], tmp_path: Path) -> None:
    db = tmp_path / "shop.db"
    for stage in ("before", "after"):
        command("job", "new", "Larch", "--engine", ENGINE, "--stage", stage, "--db", db)
    ended = command("job", "run", "Larch", "--port", "socket://127.0.0.1:1", "--db", db)
    assert ended.refusal(2) == "job 'Larch' has the stages before, after; say which one with --stage"  # type: ignore[attr-defined]


def test_a_crank_that_moved_under_air_is_warned_of_and_asked_about_before_the_next_test(
    command: Callable[..., Any], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    voids = [
        "it was stopped",
        "the crank left its window while air was on",
        "the rig shut and vented by itself: crank left window",
    ]
    answers = ["what", "", "end"]
    happened: list[str] = []
    bench = SimpleNamespace(
        state=BenchState(Session(0.0)), ambient=AirConditions(), writer_news=[], act=lambda _act: None, flush_writer=lambda: None
    )

    def carry_out(purpose: Purpose, _hint: str) -> Done:
        reason = voids[happened.count("test")]
        happened.append("test")
        ticket = len(happened)
        bench.writer_news.append(CaptureKept(ticket=ticket, capture_id=ticket, state="void", void_reason=reason))
        return Done(purpose, Analysed(None, reason, ()), {}, ticket)

    def ask(question: str) -> str:
        happened.append("ask")
        assert "Enter goes on, end ends the round" in question
        return answers.pop(0)

    console = SimpleNamespace(carry_out=carry_out, ask=ask, take_zero=lambda: None, tell_plainly=print)

    @contextmanager
    def at_the_rig(*_: object) -> Iterator[tuple[Any, Any, Store]]:
        with Store.open(tmp_path / "shop.db") as store:
            yield bench, console, store

    monkeypatch.setattr(job_run, "at_the_rig", at_the_rig)
    ended = command("job", "run", "Larch", "--port", "none", "--engine", ENGINE, "--db", tmp_path / "shop.db")
    assert happened == ["test", "test", "ask", "ask", "test", "ask"]
    assert ended.out.count("! The crank moved with air on") == 2
    assert ended.out.count("borewright rig tdc") == 2
