"""borewright job run: what is refused before anything is touched."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

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
