"""The process of one target: `throw.py TARGET [what libFuzzer takes]`. run.py starts it, and it starts itself for a merge."""

from __future__ import annotations

import sys
from pathlib import Path

import atheris

HERE = Path(__file__).resolve()
# what an editable installation finds by its own finder would not be seen by that of atheris
sys.path[:0] = [str(HERE.parents[2] / folder) for folder in ("host", "firmware_protocol", "simulator")]

with atheris.instrument_imports(include=["borewright", "borewire", "boresim", "tomllib", "targets"]):
    import targets

if __name__ == "__main__":
    target = sys.argv[1]
    again = f"{sys.executable} {HERE} {target}"  # a merge starts it by the shell
    atheris.Setup([again, *sys.argv[2:]], targets.TARGETS[target])
    atheris.Fuzz()
