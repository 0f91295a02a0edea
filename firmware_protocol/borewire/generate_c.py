"""Writes the text of `c/bw_messages.h` from the message table: the messages for firmware in C.

The reading and writing functions are made by `borewire.generate_c_code`.
"""

from __future__ import annotations

from borewire.table import Field, MessageRow, MessageTable, Words, snake

__all__ = ["C_TYPES", "c_base", "fixed_size", "has_fields", "messages_header", "reader_head", "samples_at", "writer_head"]

C_TYPES = {
    "u8": "uint8_t",
    "u16": "uint16_t",
    "u32": "uint32_t",
    "i8": "int8_t",
    "i16": "int16_t",
    "i32": "int32_t",
    "f32": "float",
}
"""The C types of the field types of fixed size."""

_SIZES = {"u8": 1, "i8": 1, "u16": 2, "i16": 2}

_WIDTH = 120

_HEAD = """\
/* The messages of the wire. GENERATED from messages.toml by borewire.generate: change the table, not this file.
 *
 * Of each message: its type number, its fields as a struct, a writer and a reader. Content is type number and body.
 * bw_write_NAME puts the content where BW_CONTENT_AT of a frame buffer is and returns its length for bw_frame_close, or
 * 0 when a field does not fit its place on the wire. bw_read_NAME takes the content that the decoder gave, whose first
 * octet must be the message's type number, and says BW_GOOD only when the body is exactly as the table says; otherwise
 * the struct holds nothing of use. Enum and flag fields have the size they have on the wire. A text or octets field
 * points into the content when read, and has no final zero.
 *
 * All functions keep nothing and may run in the main loop or in an interrupt. */
#ifndef BW_MESSAGES_H
#define BW_MESSAGES_H

#include "bw_frame.h"
"""


def messages_header(table: MessageTable) -> str:
    """The C text of `bw_messages.h`."""
    parts = [
        _HEAD,
        f"#define BW_PROTOCOL_MAJOR {table.major}u\n#define BW_PROTOCOL_MINOR {table.minor}u\n"
        f"#define BW_SCHEMA_FINGERPRINT UINT32_C(0x{table.fingerprint():08X})\n",
        "/* Whether a type number is that of a message to this side. What is not is skipped and counted as unknown. */\n"
        "bool bw_known_to_device(uint8_t type);\nbool bw_known_to_host(uint8_t type);\n",
    ]
    parts += [_words(words) for words in table.words]
    parts += [_message(table, row) for row in table.messages]
    return "\n".join(parts) + "\n#endif\n"


def c_base(table: MessageTable, field: Field) -> str | None:
    """The base type of a field of fixed size on the wire, or None for text, octets and rest."""
    words = table.words_named(field.type)
    base = words.base if words is not None else field.type
    return base if base in C_TYPES else None


def fixed_size(table: MessageTable, field: Field) -> int:
    """The octets of a field of fixed size on the wire; for text and octets, those of the length before them."""
    base = c_base(table, field)
    if base is None:
        return 0 if field.type == "rest" else 1
    return _SIZES.get(base, 4)


def has_fields(row: MessageRow) -> bool:
    """Whether a message has a struct: C has no struct without members."""
    return bool(row.fields)


def samples_at(table: MessageTable, row: MessageRow) -> int | None:
    """Where in the content the `rest` of a message begins, or None when it has none."""
    if not row.fields or row.fields[-1].type != "rest":
        return None
    return 1 + sum(fixed_size(table, field) for field in row.fields)


def writer_head(row: MessageRow) -> str:
    """The head of a message's writer."""
    name = snake(row.name)
    return f"uint8_t bw_write_{name}(uint8_t *content" + (f", const struct bw_{name} *message)" if has_fields(row) else ")")


def reader_head(row: MessageRow) -> str:
    """The head of a message's reader, on two lines where it is too long for one."""
    name = snake(row.name)
    head = f"enum bw_bad bw_read_{name}("
    last = "uint8_t content_length)"
    others = f"struct bw_{name} *message, const uint8_t *content, " if has_fields(row) else "const uint8_t *content, "
    if len(head + others + last) < _WIDTH:
        return head + others + last
    return head + others.rstrip() + "\n" + " " * len(head) + last


def _words(words: Words) -> str:
    name = snake(words.name)
    comment = _comment(words.doc)
    if words.is_flags:
        one = "UINT32_C(1)" if words.base.endswith("32") else "1u"
        lines = [f"#define BW_{name.upper()}_{member.upper()} ({one} << {bit})" for member, bit in words.members]
        return "\n".join([comment, *lines]) + "\n"
    members = [f"    BW_{name.upper()}_{member.upper()} = {value}" for member, value in words.members]
    return f"{comment}\nenum bw_{name} {{\n" + ",\n".join(members) + "\n};\n"


def _message(table: MessageTable, row: MessageRow) -> str:
    name = snake(row.name)
    lines = [_comment(f"{row.name}, to the {row.to}. {row.doc}"), f"#define BW_TYPE_{name.upper()} 0x{row.type:02X}u"]
    rest_at = samples_at(table, row)
    if rest_at is not None:
        rest = row.fields[-1].name
        lines.append(
            _comment(f"Where in the content the {rest} begin: put there beforehand, with {rest} pointing to them, they stay.")
        )
        lines.append(f"#define BW_{name.upper()}_{rest.upper()}_AT {rest_at}u")
    if has_fields(row):
        lines += [f"struct bw_{name} {{", *(_member(table, field) for field in row.fields), "};"]
    lines += [f"{writer_head(row)};", f"{reader_head(row)};"]
    return "\n".join(lines) + "\n"


def _member(table: MessageTable, field: Field) -> str:
    base = c_base(table, field)
    if base is None:
        return f"    const uint8_t *{field.name};{_note(field)}\n    uint8_t {field.name}_length;"
    return f"    {C_TYPES[base]} {field.name};{_note(field)}"


def _note(field: Field) -> str:
    limit = f"at most {field.max_length} octets" if field.max_length is not None else ""
    kind = field.type if field.type[0].isupper() else ""
    return "".join(f" /* {', '.join(words)} */" for words in [[w for w in (kind, field.unit, limit) if w]] if words)


def _comment(text: str) -> str:
    """A comment, broken where it is too long for a line."""
    *words, last = text.split()
    lines = ["/*"]
    for word in [*words, f"{last} */"]:
        if len(lines[-1]) + 1 + len(word) > _WIDTH:
            lines.append(" *")
        lines[-1] += f" {word}"
    return "\n".join(lines)
