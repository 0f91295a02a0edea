"""The demo as a command in this process, and what it leaves behind."""

from __future__ import annotations

import contextlib
import io
import json
import re
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from borewright.cli.main import main
from borewright.store import Store


@dataclass(frozen=True, slots=True)
class Shown:
    """One run of the demo: its JSON, the folder that it wrote to, and what went to the error stream."""

    document: dict[str, Any]
    folder: Path
    err: str

    def cylinders(self) -> dict[tuple[str, int], dict[str, Any]]:
        """Each cylinder's row by stage and number."""
        return {(job["stage"], row["cylinder"]): row for job in self.document["jobs"] for row in job["cylinders"]}

    @contextmanager
    def record(self) -> Iterator[Store]:
        """The record file, open."""
        with Store.open(self.document["database"], create=False) as store:
            yield store


def command(*words: object) -> tuple[int, str, str]:
    """Run a command in this process: exit code, output, error stream."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main([str(word) for word in words])
    return code, out.getvalue(), err.getvalue()


@contextmanager
def demo(*options: object) -> Iterator[Shown]:
    """The demo's run with these options, into a folder that goes when this is left."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "made" / "here"
        code, out, err = command("demo", "--out", folder, "--json", *options)
        assert code == 0, err
        yield Shown(json.loads(out), folder, err)


def refusal(name: str, code: int, *words: object) -> str:
    """What a command says on the way out with this code: nothing but one sentence on one line that names the command."""
    ended, out, err = command(name, *words)
    said = re.fullmatch(rf"borewright {name}: ([^\n]+)\n", err)
    assert (ended, out) == (code, ""), (ended, out, err)
    assert said is not None, err
    return said[1]
