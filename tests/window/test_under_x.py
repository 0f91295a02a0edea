"""The whole job once more, on a real X screen: Xvfb, with Qt's own X plugin and its way of handling focus and keys."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

WHOLE_JOB = Path(__file__).with_name("test_whole_job.py")


@pytest.fixture
def display() -> Iterator[str]:
    """An X screen without a monitor; Xvfb says itself which one it is, once it can be used."""
    reads, writes = os.pipe()
    words = ["Xvfb", "-displayfd", str(writes), "-screen", "0", "1600x1000x24", "-nolisten", "tcp"]
    with subprocess.Popen(words, pass_fds=(writes,), stderr=subprocess.DEVNULL) as server:
        os.close(writes)
        with os.fdopen(reads, encoding="ascii") as said:
            yield f":{said.readline().strip()}"
        server.terminate()


def test_the_whole_job_on_an_x_screen(display: str) -> None:
    environment = {**os.environ, "DISPLAY": display, "QT_QPA_PLATFORM": "xcb"}
    words = [sys.executable, "-m", "pytest", "-n0", "-q", "-p", "no:cacheprovider", str(WHOLE_JOB)]
    done = subprocess.run(words, env=environment, capture_output=True, text=True, check=False, cwd=WHOLE_JOB.parent.parent.parent)
    assert done.returncode == 0, done.stdout[-4000:]
    assert "1 passed" in done.stdout
