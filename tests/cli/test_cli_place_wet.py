"""borewright place wet: what is said and kept of oil that stays in a cylinder."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest
from borewright.cli import place_wet
from borewright.cli.place_rig import AtCylinder, Job
from borewright.store import Store

ENGINE = Path(__file__).resolve().parents[2] / "simulator" / "scenarios" / "larch_four_engine.toml"


@pytest.mark.parametrize("oil", [True, False])
def test_oil_that_is_in_without_a_wet_test_is_said_and_kept(
    oil: bool, command: Callable[..., Any], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    db = tmp_path / "shop.db"
    with Store.open(db) as store:
        document = tomllib.loads(ENGINE.read_text(encoding="utf-8"))
        job_id = store.create_job("Larch", "before", store.save_engine(document["name"], document))
    said: list[str] = []

    def broken_off(*_: object) -> None:
        raise KeyboardInterrupt

    @contextmanager
    def at_the_cylinder(_args: object, job: Job) -> Iterator[AtCylinder]:
        state = SimpleNamespace(oil=SimpleNamespace(volume_m3=3e-6) if oil else None, pressurised=False)
        console = SimpleNamespace(tell_plainly=said.append, carry_out=broken_off)
        try:
            yield AtCylinder(job, cast(Any, SimpleNamespace(state=state)), cast(Any, console), cast(Any, None))
        finally:
            said.append("the rig was left")

    monkeypatch.setattr(place_wet, "at_the_cylinder", at_the_cylinder)
    monkeypatch.setattr(place_wet, "latest", lambda *_: "a dry test")
    words = ("Larch", "--port", "none", "--cylinder", 2, "--db", db, "--who", "Ada")
    assert command("place", "wet", *words, "--oil", "3 cm^3").code == 130
    with Store.open(db, create=False) as store:
        notes = [(one.cylinder, one.kind, dict(one.detail), one.said_by) for one in store.list_findings(job_id)]
    if not oil:
        assert (said[-1], notes) == ("the rig was left", [])
        return
    assert said[-2] == "the rig was left"
    assert said[-1] == (
        "! oil is in cylinder 2: take the hose off, turn the engine over twice by hand with the plug hole open "
        "before any other test; a test of it now is no dry test"
    )
    assert notes == [(2, "note", {"text": "3 cm³ of oil were put in; no wet test was completed"}, "Ada")]
