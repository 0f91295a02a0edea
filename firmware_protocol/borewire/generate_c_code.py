"""Writes the text of `c/bw_messages.c` from the message table: reading and writing of the messages in C.

What is checked, and in which order, is what the classes of `borewire.messages` check, so that both codecs give the same reason
for the same frame.
"""

from __future__ import annotations

import re

from borewire.framing import MAX_BODY
from borewire.generate_c import c_base, fixed_size, has_fields, reader_head, samples_at, writer_head
from borewire.table import Field, MessageRow, MessageTable, Words, snake

__all__ = ["messages_code"]

_HEAD = """\
/* The messages of the wire: see bw_messages.h, also for the context in which these functions may run.
 * GENERATED from messages.toml by borewire.generate: change the table, not this file.
 *
 * One function for each message and direction, so that a linker that drops unused sections keeps only what a firmware
 * calls. */
#include "bw_messages.h"

#include "bw_bodies.h"
"""

_READ_WRITE = {
    "u8": ("{to} = {at};", "{at} = {value};"),
    "i8": ("{to} = (int8_t){at};", "{at} = (uint8_t){value};"),
    "u16": ("{to} = u16_at({at});", "put_u16({at}, {value});"),
    "i16": ("{to} = (int16_t)u16_at({at});", "put_u16({at}, (uint16_t){value});"),
    "u32": ("{to} = u32_at({at});", "put_u32({at}, {value});"),
    "i32": ("{to} = (int32_t)u32_at({at});", "put_u32({at}, (uint32_t){value});"),
    "f32": ("{to} = f32_at({at});", "put_f32({at}, {value});"),
}


def messages_code(table: MessageTable) -> str:
    """The C text of `bw_messages.c`. Raises ValueError when a message is of a shape that it has no code for."""
    for row in table.messages:
        if samples_at(table, row) is not None and any(field.max_length is not None for field in row.fields):
            raise ValueError(f"{row.name}: the C codec has no reader for rest behind text or octets")
    return "\n".join([_HEAD, _known(table, "device"), _known(table, "host"), *(_message(table, row) for row in table.messages)])


def _known(table: MessageTable, to: str) -> str:
    lines = [f"bool bw_known_to_{to}(uint8_t type)", "{", "    switch (type) {"]
    lines += [f"    case BW_TYPE_{snake(row.name).upper()}:" for row in table.messages if row.to == to]
    return "\n".join([*lines, "        return true;", "    default:", "        return false;", "    }", "}"]) + "\n"


def _message(table: MessageTable, row: MessageRow) -> str:
    if not has_fields(row):
        return _without_fields(row)
    checks = _checks(table, row)
    parts = [_checker(row, checks)] if checks else []
    return "\n".join([*parts, _writer(table, row, bool(checks)), _reader(table, row, bool(checks))])


def _without_fields(row: MessageRow) -> str:
    return (
        f"{writer_head(row)}\n{{\n    content[0] = BW_TYPE_{snake(row.name).upper()};\n    return 1u;\n}}\n\n"
        f"{reader_head(row)}\n{{\n    (void)content;\n    return content_length == 1u ? BW_GOOD : BW_BAD_LENGTH;\n}}\n"
    )


def _checker(row: MessageRow, checks: list[tuple[str, str]]) -> str:
    name = snake(row.name)
    lines = [f"static enum bw_bad check_{name}(const struct bw_{name} *message)", "{"]
    for test, reason in checks:
        lines += [f"    if ({test}) {{", f"        return BW_BAD_{reason};", "    }"]
    return "\n".join([*lines, "    return BW_GOOD;", "}"]) + "\n"


def _checks(table: MessageTable, row: MessageRow) -> list[tuple[str, str]]:
    """The condition under which a message is bad and the reason, in the order of `borewire.messages`."""
    checks = [(test, reason) for field in row.fields for test, reason in _field_checks(table, field)]
    for field in row.fields:
        value = f"message->{field.name}"
        if field.type == "rest":
            room = MAX_BODY + 1 - (samples_at(table, row) or 0)
            checks += [(f"{value}_length > {room}u", "LENGTH"), (f"{value}_length != {_rule(field)}", "LENGTH")]
        elif field.type == "text":
            checks.append((f"!is_utf8({value}, {value}_length)", "TEXT"))
    return checks


def _field_checks(table: MessageTable, field: Field) -> list[tuple[str, str]]:
    value = f"message->{field.name}"
    words = table.words_named(field.type)
    if words is not None:
        return [(_not_in(words, value), "RESERVED" if words.is_flags else "VALUE")]
    if field.type == "f32":
        return [(f"!is_finite({value})", "VALUE")]
    if field.max_length is not None:
        return [(f"{value}_length > {field.max_length}u", "VALUE")]
    constant = {"u32": "UINT32_C({})", "i32": "INT32_C({})"}.get(field.type, "{}u" if field.type.startswith("u") else "{}")
    bounds = (("<", field.minimum), (">", field.maximum))
    return [(f"{value} {sign} {constant.format(bound)}", "VALUE") for sign, bound in bounds if bound is not None]


def _not_in(words: Words, value: str) -> str:
    """True when a value is no member of an enum, or has a bit that no flag names."""
    bits = 8 * {"u8": 1, "u16": 2}.get(words.base, 4)
    if words.is_flags:
        free = ((1 << bits) - 1) & ~sum(1 << bit for _, bit in words.members)
        return f"({value} & UINT{bits}_C(0x{free:X})) != 0u"
    members = sorted(member for _, member in words.members)
    if members == list(range(len(members))):
        return f"{value} > {members[-1]}u"
    return " && ".join(f"{value} != {member}u" for member in members)


def _rule(field: Field) -> str:
    """The length rule of a rest in C, in 32 bits so that no product can wrap."""
    rule = re.sub(r"\b(\d+)\b", r"\1u", field.length_rule)
    return re.sub(r"[a-z_]{2,}", lambda name: f"(uint32_t)message->{name[0]}", rule)


def _writer(table: MessageTable, row: MessageRow, checked: bool) -> str:
    name = snake(row.name)
    lines = [writer_head(row), "{"]
    if checked:
        lines += [f"    if (check_{name}(message) != BW_GOOD) {{", "        return 0u;", "    }"]
    lines.append(f"    content[0] = BW_TYPE_{name.upper()};")
    at, offset = "content", 1
    for field in row.fields:
        base = c_base(table, field)
        value = f"message->{field.name}"
        if base is not None:
            lines.append("    " + _READ_WRITE[base][1].format(at=_place(at, offset, base), value=value))
            offset += fixed_size(table, field)
            continue
        if field.type != "rest":
            lines.append(f"    {at}[{offset}] = {value}_length;")
            offset += 1
        lines.append(f"    put_octets({_place(at, offset)}, {value}, {value}_length);")
        step = "uint8_t *at = content" if at == "content" else "at = at"
        at_end = field is row.fields[-1]
        if at_end:
            before = "" if at == "content" else "(uint8_t)(at - content) + "
            lines.append(f"    return (uint8_t)({before}{offset}u + {value}_length);")
        else:
            lines.append(f"    {step} + {offset}u + {value}_length;")
            at, offset = "at", 0
    if c_base(table, row.fields[-1]) is not None:
        lines.append(f"    return {offset}u;" if at == "content" else f"    return (uint8_t)((at - content) + {offset});")
    return "\n".join([*lines, "}"]) + "\n"


def _reader(table: MessageTable, row: MessageRow, checked: bool) -> str:
    name = snake(row.name)
    variable = any(field.type in ("text", "octets") for field in row.fields)
    body = _read_parts(table, row) if variable else _read_fixed(table, row)
    return (
        "\n".join([reader_head(row), "{", *body, f"    return {f'check_{name}(message)' if checked else 'BW_GOOD'};", "}"]) + "\n"
    )


def _read_fixed(table: MessageTable, row: MessageRow) -> list[str]:
    rest_at = samples_at(table, row)
    size = 1 + sum(fixed_size(table, field) for field in row.fields)
    test = f"content_length != {size}u" if rest_at is None else f"content_length < {rest_at}u"
    lines = [f"    if ({test}) {{", "        return BW_BAD_LENGTH;", "    }"]
    offset = 1
    for field in row.fields:
        base = c_base(table, field)
        if base is None:
            lines.append(f"    message->{field.name} = content + {offset};")
            lines.append(f"    message->{field.name}_length = (uint8_t)(content_length - {offset}u);")
        else:
            lines.append("    " + _READ_WRITE[base][0].format(to=f"message->{field.name}", at=_place("content", offset, base)))
            offset += fixed_size(table, field)
    return lines


def _read_parts(table: MessageTable, row: MessageRow) -> list[str]:
    """Reading of a message with text or octets in it: each run of fixed fields is looked for behind them."""
    lines = [
        "    const uint8_t *at = content + 1;",
        "    const uint8_t *end = content + content_length;",
        "    enum bw_bad reason;",
    ]
    run: list[Field] = []
    for field in [*row.fields, None]:
        if field is not None and c_base(table, field) is not None:
            run.append(field)
            continue
        if run:
            size = sum(fixed_size(table, one) for one in run)
            lines += [f"    if (end - at < {size}) {{", "        return BW_BAD_LENGTH;", "    }"]
            offset = 0
            for one in run:
                base = c_base(table, one) or ""
                lines.append("    " + _READ_WRITE[base][0].format(to=f"message->{one.name}", at=_place("at", offset, base)))
                offset += fixed_size(table, one)
            lines.append(f"    at += {size};")
            run = []
        if field is not None:
            arguments = f"&message->{field.name}, &message->{field.name}_length, {field.max_length}u, &at, end"
            lines += [f"    reason = take_octets({arguments});", "    if (reason != BW_GOOD) {", "        return reason;", "    }"]
    return [*lines, "    if (at != end) {", "        return BW_BAD_LENGTH;", "    }"]


def _place(pointer: str, offset: int, base: str = "") -> str:
    """The place so many octets behind a pointer: for a base of one octet that octet, otherwise its address."""
    if base in ("u8", "i8"):
        return f"{pointer}[{offset}]"
    return f"{pointer} + {offset}" if offset else pointer
