"""A file of tests/bench as a module, for tests that hold a survey's own drawing and judging to account."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

__all__ = ["bench_module"]

BENCH = Path(__file__).resolve().parent / "bench"


def bench_module(file: str) -> ModuleType:
    """The module of a file, named from tests/bench on: "parts/random_captures.py"."""
    path = BENCH / file
    spec = importlib.util.spec_from_file_location(f"{path.stem}_for_tests", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module
