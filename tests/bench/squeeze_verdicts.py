"""Stroke and hose by squeeze, judged over pairs of TDC passes one turn apart: wrong verdicts (none is allowed) and decided ones.

Leak areas 0.1–20 mm², 2–30 rev/min, six engines, noise of 0.1 % of 1000 kPa white or AR(1), 10 or 12 bits. What has to be decided
after at most three pairs refers to the question that the squeeze is made for: the hose is in this cylinder, compression here or
overlap here. A hose that is off, in another cylinder, or on valves that do not open counts among the wrong ones only. The generator
with its own physics is that of tests/core/test_evidence_squeeze.py.
"""

from __future__ import annotations

import importlib.util
import sys
import time
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np

SURVEY = Path(__file__).resolve().parent.parent / "core" / "test_evidence_squeeze.py"
ENGINES = ("single", "inline four", "narrow twin", "cross-plane eight", "small single", "big diesel")
ASKED = ("here", "overlap")
OTHERWISE = ("other", "both", "off")
ASKED_CASES, OTHER_CASES, BATCH = 120, 20, 60  # of each engine and place of the hose; so many at once
SEED = 2026
MOST_PAIRS = 3
LEAKS_MM2 = (0.1, 1.0, 5.0, 20.0)
TURNING_RPM = (2.0, 5.0, 10.0, 30.0)


def survey() -> ModuleType:
    """The test's module, loaded from its file."""
    spec = importlib.util.spec_from_file_location("squeeze_survey", SURVEY)
    if spec is None or spec.loader is None:
        raise SystemExit(f"{SURVEY} cannot be loaded; the clone is not whole")
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def outcomes(module: ModuleType, asked_cases: int, other_cases: int) -> list[Any]:
    """Every engine with every place of the hose, so many cases of each."""
    rng = np.random.default_rng(SEED)
    found: list[Any] = []
    for engine in (engine for engine in module.ENGINES if engine.name in ENGINES):
        for where in (where for where in (*ASKED, *OTHERWISE) if module.has(engine, where)):
            cases = [module.draw(rng, engine, where) for _ in range(asked_cases if where in ASKED else other_cases)]
            for start in range(0, len(cases), BATCH):
                found += module.play(cases[start : start + BATCH], rng)
    return found


def in_time(outcome: Any) -> bool:
    """True when it was decided after at most three pairs."""
    return outcome.decided_pairs is not None and outcome.decided_pairs <= MOST_PAIRS


def share(some: Sequence[Any]) -> str:
    """How many of these were decided in time, in words of a table."""
    return f"{100.0 * sum(map(in_time, some)) / len(some):5.1f} % of {len(some):4}" if some else "            -  "


def main() -> None:
    """Print the tables."""
    began_s = time.perf_counter()
    module = survey()
    found = outcomes(module, ASKED_CASES, OTHER_CASES)
    print(f"{'hose in':12}{'squeezes':>10}{'wrong':>8}{'decided after at most three pairs':>36}")
    for where in (*ASKED, *OTHERWISE):
        of_it = [outcome for outcome in found if outcome.case.where == where]
        print(f"{where:12}{len(of_it):10}{sum(outcome.wrong for outcome in of_it):8}{share(of_it):>36}")
    print(f"{'together':12}{len(found):10}{sum(outcome.wrong for outcome in found):8}")
    asked = [outcome for outcome in found if outcome.case.where in ASKED]
    small = [outcome for outcome in asked if outcome.case.leak_mm2 < 1.0]
    print("\nhose in this cylinder, compression or overlap here: decided after at most three pairs")
    print(f"all {share(asked)} (wanted 75 %)   leak under 1 mm² {share(small)} (wanted 98 %)")
    print(f"{'leak':16}" + "".join(f"{low:g}–{high:g} rev/min".rjust(24) for low, high in pairwise(TURNING_RPM)))
    for least, most in pairwise(LEAKS_MM2):
        row = [outcome for outcome in asked if least <= outcome.case.leak_mm2 < most]
        cells = [[o for o in row if low <= o.case.rpm < high] for low, high in pairwise(TURNING_RPM)]
        print(f"{f'{least:g}–{most:g} mm²':16}" + "".join(share(cell).rjust(24) for cell in cells))
    print(f"took {time.perf_counter() - began_s:.0f} s")


if __name__ == "__main__":
    main()
