"""Writes the text of `interlock.py` from interlock.toml."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

__all__ = ["NUMBERS", "interlock_module"]

NUMBERS = (
    "host_silence_ms",
    "reaction_ms",
    "time_limit_max_ms",
    "isolate_max_ms",
    "close_limit_max_ms",
    "sensor_fault_samples",
)

_HEAD = '''"""The device's interlock. Generated from interlock.toml by borewire.generate: change the table, not this file.

>>> TABLE.host_silence_ms
500
"""

from __future__ import annotations

from borewire.interlock_rows import CommandRow, InterlockTable, RefusalRow, WatchRow
from borewire.messages import AirState, Cause, RefusalReason

__all__ = ["TABLE", "CommandRow", "InterlockTable", "RefusalRow", "WatchRow"]

'''


def interlock_module(document: Mapping[str, Any]) -> str:
    """The Python text of `borewire/interlock.py`."""
    lines = ["TABLE = InterlockTable(", f"    version={document['version']},"]
    lines.append(f"    power_up_state=AirState.{document['power_up_state'].upper()},")
    lines += [f"    {name}={document[name]}," for name in NUMBERS]
    lines.append("    commands=(")
    for row in document["commands"]:
        lines += ["        CommandRow(", f'            "{row["command"]}",', f"            {_states(row['allowed_from'])},"]
        lines += [*_text(row["to"], 12), f"            Cause.{row['cause'].upper()},"]
        lines += [*_refusals(row["refuse"]), "        ),"]
    lines += ["    ),", "    watches=("]
    for row in document["watches"]:
        lines += ["        WatchRow(", f"            Cause.{row['cause'].upper()},", f"            {_states(row['in_states'])},"]
        lines += [*_text(row["when"], 12), "        ),"]
    return _HEAD + "\n".join([*lines, "    ),", ")"]) + "\n"


def _states(names: Sequence[str]) -> str:
    return "(" + ", ".join(f"AirState.{name.upper()}" for name in names) + ("," if len(names) == 1 else "") + ")"


def _refusals(rows: Sequence[Mapping[str, str]]) -> list[str]:
    if not rows:
        return ["            (),"]
    lines = ["            ("]
    for row in rows:
        lines += ["                RefusalRow(", f"                    RefusalReason.{row['reason'].upper()},"]
        lines += [*_text(row["when"], 20), "                ),"]
    return [*lines, "            ),"]


def _text(text: str, indent: int) -> list[str]:
    """A string argument, broken into pieces where it is too long for a line."""
    room = 124 - indent
    pieces: list[str] = []
    while len(text) > room:
        cut = text.rfind(" ", 0, room) + 1
        pieces.append(text[:cut])
        text = text[cut:]
    pieces.append(text)
    space = " " * indent
    quoted = [json.dumps(piece, ensure_ascii=False) for piece in pieces]
    if len(quoted) == 1:
        return [f"{space}{quoted[0]},"]
    return [f"{space}(", *(f"{space}    {piece}" for piece in quoted), f"{space}),"]
