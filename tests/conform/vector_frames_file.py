"""Writes host/borewright/conform/vectors.toml from the vectors: `python tests/conform/vector_frames_file.py`."""

from __future__ import annotations

import json
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
VECTORS = ROOT / "firmware_protocol" / "vectors"
FILE = ROOT / "host" / "borewright" / "conform" / "vectors.toml"
FILES = {"accept": ("accept/to_device.json", "accept/to_host.json"), "reject": ("reject/to_device.json",)}
HEAD = "# Written by tests/conform/vector_frames_file.py from firmware_protocol/vectors; change those, not this.\n"


def text() -> str:
    """What the file has to hold."""
    parts = [HEAD]
    for kind, names in FILES.items():
        for name in names:
            for case in json.loads((VECTORS / name).read_text("utf-8"))["cases"]:
                parts.append(f'\n[[{kind}]]\nname = {json.dumps(case["name"])}\nframe = "{case["frame"]}"\n')
    return "".join(parts)


if __name__ == "__main__":
    FILE.write_text(text(), encoding="utf-8", newline="\n")
