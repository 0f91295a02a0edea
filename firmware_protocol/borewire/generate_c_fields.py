"""Writes the text of `c/test/bw_fields.h`: every field of every message as a list, for programs that look at all of them."""

from __future__ import annotations

from borewire.generate_c import c_base
from borewire.table import Field, MessageTable, snake

__all__ = ["fields_header"]

_HEAD = """\
/* Every message and every field as lists of macro calls, for test programs that look at all of them.
 * GENERATED from messages.toml by borewire.generate: change the table, not this file.
 *
 * BW_FIELDS_NAME(FIELD) calls FIELD(type, name) for each field; BW_MESSAGES(ROW) calls ROW(Name, NAME, name) for each
 * message with fields and BW_BARE_MESSAGES(ROW) for each without. */
#ifndef BW_FIELDS_H
#define BW_FIELDS_H
"""


def fields_header(table: MessageTable) -> str:
    """The C text of `bw_fields.h`."""
    parts = [_HEAD]
    for row in table.messages:
        if row.fields:
            calls = [f"FIELD({_kind(table, field)}, {field.name})" for field in row.fields]
            parts.append(_list(f"BW_FIELDS_{snake(row.name).upper()}(FIELD)", calls))
    for name, with_fields in (("BW_MESSAGES(ROW)", True), ("BW_BARE_MESSAGES(ROW)", False)):
        rows = [row for row in table.messages if bool(row.fields) is with_fields]
        parts.append(_list(name, [f"ROW({row.name}, {snake(row.name).upper()}, {snake(row.name)})" for row in rows]))
    return "\n".join(parts) + "\n#endif\n"


def _kind(table: MessageTable, field: Field) -> str:
    return c_base(table, field) or "octets"


def _list(name: str, calls: list[str]) -> str:
    return " \\\n".join([f"#define {name}", *(f"    {call}" for call in calls)]) + "\n"
