"""Writes the text of `c/bw_interlock.h` from interlock.toml: the device's interlock as numbers and lists for firmware in C."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from borewire.generate_interlock import NUMBERS
from borewire.table import snake

__all__ = ["interlock_header"]

_WIDTH = 120

_HEAD = """\
/* The device's interlock as a table. GENERATED from interlock.toml by borewire.generate: change the table, not this.
 *
 * The lists are in the order of the table, in which a device must look for refusals and watches. Each takes the name of
 * a macro and gives it one row after the other, so that a firmware which makes a call of each row,
 *
 *     #define LOOK(REASON, name) if (refuses_##name()) { return BW_REFUSAL_REASON_##REASON; }
 *     BW_REFUSALS_SUPPLY_OPEN(LOOK)
 *
 * does not compile as long as it has no function for a row. There are numbers here and no functions. */
#ifndef BW_INTERLOCK_H
#define BW_INTERLOCK_H

#include "bw_messages.h"
"""


def interlock_header(document: Mapping[str, Any]) -> str:
    """The C text of `bw_interlock.h`."""
    states: set[str] = {document["power_up_state"]}
    for row in document["commands"]:
        states |= set(row["allowed_from"])
    for row in document["watches"]:
        states |= set(row["in_states"])
    parts = [
        _HEAD,
        _defines((name.upper(), f"{document[name]}u") for name in NUMBERS),
        _defines([("AIR_AT_POWER_UP", f"BW_AIR_STATE_{document['power_up_state'].upper()}")]),
        "/* Sets of states. */\n"
        + _defines((f"IN_{state.upper()}", f"(1u << BW_AIR_STATE_{state.upper()})") for state in sorted(states)),
        *(_command(row) for row in document["commands"]),
        _watches(document["watches"]),
    ]
    return "\n".join(parts) + "\n#endif\n"


def _defines(rows: Iterable[tuple[str, str]]) -> str:
    return "".join(f"#define BW_{name} {value}\n" for name, value in rows)


def _set_of(states: Sequence[str]) -> str:
    return " | ".join(f"BW_IN_{state.upper()}" for state in states)


def _command(row: Mapping[str, Any]) -> str:
    name = snake(row["command"]).upper()
    lines = [f"/* {row['command']}: next state and what refuses it."]
    lines += _wrapped("", f"to {row['to']}")
    for refusal in row["refuse"]:
        lines += _wrapped(refusal["reason"], refusal["when"])
    text = "\n".join(lines) + " */\n"
    text += _defines(
        [(f"{name}_ALLOWED_IN", f"({_set_of(row['allowed_from'])})"), (f"{name}_CAUSE", f"BW_CAUSE_{row['cause'].upper()}")]
    )
    if row["refuse"]:
        text += _list(f"REFUSALS_{name}", [f"{refusal['reason'].upper()}, {refusal['reason']}" for refusal in row["refuse"]])
    return text


def _watches(rows: Sequence[Mapping[str, Any]]) -> str:
    lines = ["/* What shuts the supply and opens the vent by itself: cause, name, states in which it is looked for."]
    for row in rows:
        lines += _wrapped(row["cause"], row["when"])
    calls = [f"{row['cause'].upper()}, {row['cause']}, {_set_of(row['in_states'])}" for row in rows]
    return "\n".join(lines) + " */\n" + _list("WATCHES", calls)


def _list(name: str, calls: Sequence[str]) -> str:
    return " \\\n".join([f"#define BW_{name}(ROW)", *(f"    ROW({call})" for call in calls)]) + "\n"


def _wrapped(name: str, text: str) -> list[str]:
    """Lines of a comment, the later ones set in."""
    lines = [f" *   {name}:" if name else " *  "]
    for word in text.split():
        if len(lines[-1]) + 1 + len(word) > _WIDTH - 3:
            lines.append(" *      ")
        lines[-1] += f" {word}"
    return lines
