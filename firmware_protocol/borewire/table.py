"""The message table as objects: what `messages.toml` says, checked, and its fingerprint.

Used when code, tables and vectors are made from the table; a running program needs only `borewire.messages`.
"""

from __future__ import annotations

import keyword
import re
from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import sha256
from typing import Any

__all__ = ["FIXED_TYPES", "Field", "MessageRow", "MessageTable", "TableError", "Words", "parse_table", "snake"]

FIXED_TYPES = {"u8": "B", "u16": "H", "u32": "I", "i8": "b", "i16": "h", "i32": "i", "f32": "f"}
"""Field types of fixed size and their letters for `struct`, little-endian."""

_C_WORDS = re.compile(
    "auto|break|case|char|const|continue|default|do|double|else|enum|extern|float|for|goto|if|inline|int|long|register|restrict|return|"
    "short|signed|sizeof|static|struct|switch|typedef|union|unsigned|void|volatile|while"
)

VARIABLE_TYPES = ("text", "octets", "rest")


class TableError(ValueError):
    """The message table contradicts itself; one sentence says where."""


@dataclass(frozen=True, slots=True)
class Words:
    """An enum or a flag set: member names (lower case) with their values, for a flag set with their bit numbers."""

    name: str
    doc: str
    base: str
    members: tuple[tuple[str, int], ...]
    is_flags: bool


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a message. `minimum`, `maximum` bound the value; `max_length` the octets of text and octets."""

    name: str
    type: str
    doc: str
    unit: str = ""
    minimum: int | None = None
    maximum: int | None = None
    max_length: int | None = None
    length_rule: str = ""


@dataclass(frozen=True, slots=True)
class MessageRow:
    """One message: its type number, who receives it ("host" or "device") and its fields in wire order."""

    name: str
    type: int
    to: str
    doc: str
    fields: tuple[Field, ...]


@dataclass(frozen=True, slots=True)
class MessageTable:
    """The whole table."""

    major: int
    minor: int
    words: tuple[Words, ...]
    messages: tuple[MessageRow, ...]

    def words_named(self, name: str) -> Words | None:
        """The enum or flag set of that name, or None."""
        return next((words for words in self.words if words.name == name), None)

    def canonical_text(self) -> str:
        """All that decides the bytes on the wire, one line for each thing, without prose."""
        lines = [f"protocol {self.major}.{self.minor}"]
        for words in self.words:
            members = " ".join(f"{name}={value}" for name, value in words.members)
            lines.append(f"{'flags' if words.is_flags else 'enum'} {words.name} {words.base} {members}")
        for row in self.messages:
            fields = " ".join(_canonical_field(field) for field in row.fields)
            lines.append(f"message {row.name} {row.type:02x} {row.to} {fields}".rstrip())
        return "\n".join(lines) + "\n"

    def fingerprint(self) -> int:
        """The first four octets of the SHA-256 of the canonical text, the first of them the most significant."""
        return int.from_bytes(sha256(self.canonical_text().encode()).digest()[:4], "big")


def _canonical_field(field: Field) -> str:
    text = f"{field.name}:{field.type}"
    for mark, value in ((">=", field.minimum), ("<=", field.maximum), ("#", field.max_length)):
        if value is not None:
            text += f"{mark}{value}"
    return text + (f"[{field.length_rule.replace(' ', '')}]" if field.length_rule else "")


def snake(name: str) -> str:
    """A name of the table in lower case with underscores.

    >>> snake("SupplyOpen")
    'supply_open'
    """
    return re.sub(r"(?<=[a-z])(?=[A-Z])", "_", name).lower()


def parse_table(document: Mapping[str, Any]) -> MessageTable:
    """The table from the parsed `messages.toml`. Raises TableError when it contradicts itself.

    >>> empty = {"protocol": {"major": 1, "minor": 0}, "enums": {}, "flags": {}, "messages": []}
    >>> parse_table(empty).canonical_text()
    'protocol 1.0\\n'
    """
    words = [Words(name, row["doc"], row["base"], tuple(row["values"].items()), False) for name, row in document["enums"].items()]
    words += [Words(name, row["doc"], row["base"], tuple(row["bits"].items()), True) for name, row in document["flags"].items()]
    messages = tuple(
        MessageRow(row["name"], row["type"], row["to"], row["doc"], tuple(_field(field) for field in row["fields"]))
        for row in document["messages"]
    )
    table = MessageTable(document["protocol"]["major"], document["protocol"]["minor"], tuple(words), messages)
    _check(table)
    return table


def _field(row: Mapping[str, Any]) -> Field:
    return Field(
        row["name"],
        row["type"],
        row["doc"],
        row.get("unit", ""),
        row.get("min"),
        row.get("max"),
        row.get("max_length"),
        row.get("length", ""),
    )


def _check(table: MessageTable) -> None:
    for words in table.words:
        values = [value for _, value in words.members]
        if len(set(values)) != len(values):
            raise TableError(f"{words.name}: two members have the same value")
    for what in ("name", "type"):
        seen = [getattr(row, what) for row in table.messages]
        if len(set(seen)) != len(seen):
            raise TableError(f"messages: two messages have the same {what}")
    for row in table.messages:
        if row.to not in ("host", "device") or (row.to == "host") != (row.type >= 0x80):
            raise TableError(f"{row.name}: type numbers from 0x80 go to the host, those under it to the device")
        if not 1 <= row.type <= 0xFF:
            raise TableError(f"{row.name}: the type number must be 1 to 255")
        for field in row.fields:
            _check_field(table, row, field)


def _check_field(table: MessageTable, row: MessageRow, field: Field) -> None:
    where = f"{row.name}.{field.name}"
    if not re.fullmatch(r"[a-z][a-z0-9_]*", field.name) or keyword.iskeyword(field.name) or _C_WORDS.fullmatch(field.name):
        raise TableError(f"{where}: no field can have this name in Python and in C; small letters, digits and _ make one")
    if field.type not in FIXED_TYPES and field.type not in VARIABLE_TYPES and table.words_named(field.type) is None:
        raise TableError(f"{where}: there is no type {field.type}")
    if field.type in ("text", "octets") and field.max_length is None:
        raise TableError(f"{where}: {field.type} needs a max_length")
    if field.type == "rest":
        earlier = {other.name for other in row.fields[: row.fields.index(field)]}
        if field is not row.fields[-1] or not field.length_rule:
            raise TableError(f"{where}: rest must be the last field and have a length rule")
        if not set(re.findall(r"[a-z_]+", field.length_rule)) <= earlier:
            raise TableError(f"{where}: the length rule may name earlier fields only")
