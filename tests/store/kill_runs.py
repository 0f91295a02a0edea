"""Kills in a process of their own, since they fork: `main` prints what was found as JSON."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path

from .cut_runs import kills

__all__ = ["main"]


def main(words: Sequence[str]) -> None:
    """words: folder, how many, seed."""
    folder, count, seed = words
    print(json.dumps([asdict(run) for run in kills(Path(folder), int(count), int(seed))]))
