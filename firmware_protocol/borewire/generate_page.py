"""Puts the tables into PROTOCOL.md, between its markers."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from borewire.generate_interlock import NUMBERS
from borewire.table import Field, MessageRow, MessageTable, Words

__all__ = ["FRAMES_SHOWN", "page_with_tables"]


# of the vectors, those that show what the worked examples do not: runs of no length, texts, f32, flags, samples, a refusal
FRAMES_SHOWN = (
    "status, two 0xf5 octets",
    "status, checksum ends in 0xf5",
    "echo of every kind of octet",
    "identity",
    "channel",
    "block of one",
    "refused outside_window",
)


def page_with_tables(page: str, table: MessageTable, interlock: Mapping[str, Any], cases: Iterable[Mapping[str, Any]]) -> str:
    """The page with the text between each pair `<!-- generated: NAME -->` and `<!-- end -->` made anew.

    cases: those of the accepted vectors. Raises ValueError when the page has a marker of an unknown name.
    """
    makers = {
        "version": lambda: f"Protocol {table.major}.{table.minor}, schema fingerprint `0x{table.fingerprint():08X}`.",
        "words": lambda: "\n\n".join(_words(words) for words in table.words),
        "to device": lambda: "\n\n".join(_message(row) for row in table.messages if row.to == "device"),
        "to host": lambda: "\n\n".join(_message(row) for row in table.messages if row.to == "host"),
        "interlock times": lambda: _rows(("name", "value"), ((f"`{name}`", str(interlock[name])) for name in NUMBERS)),
        "interlock commands": lambda: "\n\n".join(_command(row) for row in interlock["commands"]),
        "interlock watches": lambda: _rows(
            ("cause", "in the states", "when"),
            ((f"`{row['cause']}`", ", ".join(row["in_states"]), row["when"]) for row in interlock["watches"]),
        ),
        "frames": lambda: _frames({case["name"]: case for case in cases}),
    }

    def fill(match: re.Match[str]) -> str:
        name = match[1]
        if name not in makers:
            raise ValueError(f"PROTOCOL.md has a marker for {name!r}, which is not one of {', '.join(makers)}")
        return f"<!-- generated: {name} -->\n\n{makers[name]()}\n\n<!-- end -->"

    return re.sub(r"<!-- generated: ([a-z ]+) -->\n.*?<!-- end -->", fill, page, flags=re.DOTALL)


def _rows(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join("| " + " | ".join(cell.replace("|", "\\|") for cell in line) + " |" for line in lines)


def _frames(case_by_name: Mapping[str, Mapping[str, Any]]) -> str:
    shown = []
    for case in (case_by_name[name] for name in FRAMES_SHOWN):
        fields = ", ".join(f"{name} {json.dumps(value, ensure_ascii=False)}" for name, value in case["fields"].items())
        body, frame = (bytes.fromhex(case[octets]).hex(" ") for octets in ("body", "frame"))
        shown.append(f"`{case['message']}`: {fields}\n\n```text\nbody    {body}\nframe   {frame}\n```")
    return "\n\n".join(shown)


def _words(words: Words) -> str:
    kind = "flag set" if words.is_flags else "enum"
    head = ("bit", "name") if words.is_flags else ("value", "name")
    rows = _rows(head, ((str(value), f"`{name}`") for name, value in words.members))
    return f"#### {words.name} ({kind}, {words.base})\n\n{words.doc}\n\n{rows}"


def _message(row: MessageRow) -> str:
    head = f"#### 0x{row.type:02X} {row.name}\n\n{row.doc}\n\n"
    if not row.fields:
        return head + "No fields."
    return head + _rows(("field", "type", "unit", "meaning"), ((f"`{f.name}`", _type(f), f.unit, f.doc) for f in row.fields))


def _type(field: Field) -> str:
    notes = []
    if field.minimum is not None:
        notes.append(f"≥ {field.minimum}")
    if field.maximum is not None:
        notes.append(f"≤ {field.maximum}")
    if field.max_length is not None:
        notes.append(f"at most {field.max_length} octets")
    if field.length_rule:
        notes.append(f"exactly {field.length_rule} octets")
    return field.type + (f", {', '.join(notes)}" if notes else "")


def _command(row: Mapping[str, Any]) -> str:
    states = ", ".join(row["allowed_from"])
    head = f"#### {row['command']}\n\nFrom {states}. Next state: {row['to']}. Cause in AirEvent: `{row['cause']}`."
    if not row["refuse"]:
        return head + " Never refused by a device with valves."
    return head + "\n\n" + _rows(("refused with", "when"), ((f"`{r['reason']}`", r["when"]) for r in row["refuse"]))
