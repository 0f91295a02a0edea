"""How long the program takes to start for --help and --version, against a program of argparse and nothing else.

Each start is a process of its own, from before it to its end; the three take turns, so that they meet the same computer. Medians.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median

sys.path.insert(0, str(Path(__file__).resolve().parent))

from parts.rows import at_most, tell

TURNS = 25
ASKED = 1.5
BARE = """import argparse
import sys
parser = argparse.ArgumentParser(prog="bare", description="A program of argparse and nothing else.")
parser.add_argument("--version", action="version", version="bare 0.1")
parser.add_argument("command", choices=["one", "other"], help="what to do")
parser.parse_args()
"""
OURS = "import sys\nfrom borewright.cli.main import main\nsys.exit(main())\n"


def took_s(words: list[str]) -> tuple[float, float]:
    """Seconds by the clock and of the processor that one start takes."""
    began_s, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(words, stdout=subprocess.DEVNULL, check=True)
    after, ended_s = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    return ended_s - began_s, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def in_turns(starts: dict[str, Callable[[], tuple[float, float]]], turns: int) -> dict[str, tuple[float, float]]:
    """The medians of each, by the clock and of the processor."""
    times: dict[str, list[tuple[float, float]]] = {name: [] for name in starts}
    for _ in range(turns):
        for name, start in starts.items():
            times[name].append(start())
    return {name: (median(one[0] for one in found), median(one[1] for one in found)) for name, found in times.items()}


def main() -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as folder:
        bare, ours = Path(folder) / "bare.py", Path(folder) / "ours.py"
        bare.write_text(BARE, encoding="utf-8")
        ours.write_text(OURS, encoding="utf-8")
        starts: dict[str, Callable[[], tuple[float, float]]] = {
            f"{name} {word}": lambda file=file, word=word: took_s([sys.executable, str(file), word])  # type: ignore[misc]
            for word in ("--help", "--version")
            for name, file in (("bare", bare), ("borewright", ours))
        }
        found = in_turns(starts, TURNS)
    print(f"{'':24}{'clock, ms':>12}{'processor, ms':>16}")
    for name, (clock_s, processor_s) in found.items():
        print(f"{name:24}{1e3 * clock_s:12.1f}{1e3 * processor_s:16.1f}")
    tell(
        at_most(
            f"borewright {word}, by the {by}",
            "× a bare argparse program",
            found[f"borewright {word}"][k] / found[f"bare {word}"][k],
            ASKED,
        )
        for word in ("--help", "--version")
        for k, by in enumerate(("clock", "processor"))
    )


if __name__ == "__main__":
    main()
