"""Whether interlock.toml says what can be: its words stand in the message table, its times are times, nothing is missing or odd.

A device is built from what is generated of it, so that a misspelled watch must not get as far as that.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

from borewire.generate_interlock import NUMBERS
from borewire.table import MessageTable, TableError

__all__ = ["check_interlock"]

LONGEST_MS = 0xFFFF_FFFF
"""What a u32 of milliseconds in a device can hold."""

_TOP = {"version", "power_up_state", *NUMBERS, "commands", "watches"}
_COMMAND = {"command", "allowed_from", "to", "cause", "refuse"}
_REFUSAL = {"reason", "when"}
_WATCH = {"cause", "in_states", "when"}


def check_interlock(document: Mapping[str, Any], table: MessageTable) -> None:
    """Raises TableError, one sentence that says where, when the parsed interlock.toml cannot be.

    >>> check_interlock({"version": 1}, MessageTable(1, 0, (), ()))
    Traceback (most recent call last):
    ...
    borewire.table.TableError: interlock.toml: close_limit_max_ms is missing
    """
    _keys("interlock.toml", document, _TOP)
    for name in ("version", *NUMBERS):
        value = document[name]
        if not isinstance(value, int) or isinstance(value, bool) or not 1 <= value <= LONGEST_MS:
            raise TableError(f"interlock.toml: {name} must be a whole number from 1 to {LONGEST_MS}, not {value!r}")
    states, causes, reasons = (_words(table, name) for name in ("AirState", "Cause", "RefusalReason"))
    commands = {row.name for row in table.messages if row.to == "device"}
    _word("interlock.toml: power_up_state", document["power_up_state"], states)
    for row in document["commands"]:
        where = f"interlock.toml: commands: {row.get('command')!r}"
        _keys(where, row, _COMMAND)
        _word(where, row["command"], commands)
        _word(f"{where}: cause", row["cause"], causes)
        for state in row["allowed_from"]:
            _word(f"{where}: allowed_from", state, states)
        for refusal in row["refuse"]:
            _keys(f"{where}: refuse", refusal, _REFUSAL)
            _word(f"{where}: reason", refusal["reason"], reasons)
    for row in document["watches"]:
        where = f"interlock.toml: watches: {row.get('cause')!r}"
        _keys(where, row, _WATCH)
        _word(where, row["cause"], causes)
        for state in row["in_states"]:
            _word(f"{where}: in_states", state, states)


def _words(table: MessageTable, name: str) -> set[str]:
    words = table.words_named(name)
    return set() if words is None else {member for member, _ in words.members}


def _word(where: str, word: object, known: Collection[str]) -> None:
    if word not in known:
        raise TableError(f"{where}: {word!r} is none of {', '.join(sorted(known))}")


def _keys(where: str, row: Mapping[str, Any], due: set[str]) -> None:
    for name in sorted(due - row.keys()):
        raise TableError(f"{where}: {name} is missing")
    for name in sorted(row.keys() - due):
        raise TableError(f"{where}: {name} is no key that is known here")
