"""Stroke and hose by squeeze over a wide draw of engines, leaks and hands: wrong answers (none is allowed), right ones, none yet.

The generator with its own physics is that of tests/core/test_evidence_squeeze.py.
"""

from __future__ import annotations

import importlib.util
import sys
import time
from pathlib import Path
from types import ModuleType

SURVEY = Path(__file__).resolve().parent.parent / "core" / "test_evidence_squeeze.py"
SEEDS = (101, 102, 103)
CASES_PER_KIND = 3


def survey() -> ModuleType:
    """The test's module, loaded from its file."""
    spec = importlib.util.spec_from_file_location("squeeze_survey", SURVEY)
    if spec is None or spec.loader is None:
        raise SystemExit(f"{SURVEY} cannot be loaded; the clone is not whole")
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def main() -> None:
    """Print the table."""
    began_s = time.perf_counter()
    module = survey()
    outcomes = [outcome for seed in SEEDS for outcome in module.run(seed=seed, cases_per_kind=CASES_PER_KIND)]
    print("hose in        squeezes    wrong      right    not enough")
    for where in [*module.EXPECTED, None]:
        of_it = [outcome for outcome in outcomes if where in (None, outcome.case.where)]
        wrong = sum(outcome.wrong for outcome in of_it)
        right = sum(outcome.decided and not outcome.wrong for outcome in of_it)
        print(f"{where or 'all':12} {len(of_it):10} {wrong:8} {right:10} {len(of_it) - wrong - right:13}")
    pairs = [outcome.decided_pairs for outcome in outcomes if outcome.decided_pairs is not None]
    print(f"decided after 1, 2, 3 pairs of passes: {', '.join(str(pairs.count(n)) for n in (1, 2, 3))}")
    print(f"took {time.perf_counter() - began_s:.0f} s")


if __name__ == "__main__":
    main()
