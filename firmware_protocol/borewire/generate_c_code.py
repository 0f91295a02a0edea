"""Writes the text of `c/bw_messages.c` from the message table: reading and writing of the messages in C.

What is checked, and in which order, is what the classes of `borewire.messages` check, so that both codecs give the same reason
for the same frame.
"""

from __future__ import annotations

import re

from borewire.framing import MAX_BODY
from borewire.generate_c import c_base, fixed_size, has_fields, samples_at
from borewire.table import Field, MessageRow, MessageTable, Words, snake

__all__ = ["messages_code"]

_WIDTH = 120

_HEAD = """\
/* The messages of the wire: see bw_messages.h, also for the context in which these functions may run.
 * GENERATED from messages.toml by borewire.generate: change the table, not this file.
 *
 * One function for each message and direction, so that a linker that drops unused sections keeps only what a firmware calls. */
#include "bw_messages.h"

#include <string.h>
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

_HELPERS = {
    "u16_at": """\
static uint16_t u16_at(const uint8_t *at)
{
    return (uint16_t)(at[0] | (uint16_t)(at[1] << 8));
}
""",
    "u32_at": """\
static uint32_t u32_at(const uint8_t *at)
{
    return u16_at(at) | ((uint32_t)u16_at(at + 2) << 16);
}
""",
    "put_u16": """\
static void put_u16(uint8_t *at, uint16_t value)
{
    at[0] = (uint8_t)(value & 0xFFu);
    at[1] = (uint8_t)(value >> 8);
}
""",
    "put_u32": """\
static void put_u32(uint8_t *at, uint32_t value)
{
    put_u16(at, (uint16_t)(value & 0xFFFFu));
    put_u16(at + 2, (uint16_t)(value >> 16));
}
""",
    "f32_at": """\
/* a float of this compiler must be the wire's binary32 */
typedef char float_has_four_octets[sizeof(float) == 4 ? 1 : -1];

static float f32_at(const uint8_t *at)
{
    uint32_t bits = u32_at(at);
    float value;
    memcpy(&value, &bits, sizeof value);
    return value;
}
""",
    "put_f32": """\
static uint32_t bits_of(float value)
{
    uint32_t bits;
    memcpy(&bits, &value, sizeof bits);
    return bits;
}

static void put_f32(uint8_t *at, float value)
{
    put_u32(at, bits_of(value));
}

static bool is_finite(float value)
{
    return (bits_of(value) & UINT32_C(0x7F800000)) != UINT32_C(0x7F800000);
}
""",
    "put_octets": """\
/* also where they stand already: then it changes nothing */
static void put_octets(uint8_t *at, const uint8_t *octets, uint8_t length)
{
    while (length-- > 0u) {
        *at++ = *octets++;
    }
}
""",
    "take_octets": """\
/* A length and so many octets: finds them, and moves at behind them. */
static enum bw_bad take_octets(const uint8_t **octets, uint8_t *length, uint8_t max_length, const uint8_t **at,
                               const uint8_t *end)
{
    uint8_t left = (uint8_t)(end - *at);
    if (left == 0u) {
        return BW_BAD_LENGTH;
    }
    *length = **at;
    *octets = *at + 1;
    if (*length > max_length) {
        return BW_BAD_VALUE;
    }
    if (*length >= left) {
        return BW_BAD_LENGTH;
    }
    *at = *octets + *length;
    return BW_GOOD;
}
""",
    "is_utf8": """\
/* UTF-8 in its only form: nothing longer than need be, no surrogates, nothing above U+10FFFF. */
static bool is_utf8(const uint8_t *text, uint8_t length)
{
    while (length > 0u) {
        uint8_t first = *text++;
        uint8_t more = 0u;
        uint8_t low = 0x80u, high = 0xBFu; /* bounds of the octet after the first */
        length--;
        if (first < 0x80u) {
            continue;
        }
        if (first >= 0xC2u && first <= 0xDFu) {
            more = 1u;
        } else if (first >= 0xE0u && first <= 0xEFu) {
            more = 2u;
            low = first == 0xE0u ? 0xA0u : low;
            high = first == 0xEDu ? 0x9Fu : high;
        } else if (first >= 0xF0u && first <= 0xF4u) {
            more = 3u;
            low = first == 0xF0u ? 0x90u : low;
            high = first == 0xF4u ? 0x8Fu : high;
        } else {
            return false;
        }
        if (more > length) {
            return false;
        }
        length = (uint8_t)(length - more);
        while (more-- > 0u) {
            if (*text < low || *text > high) {
                return false;
            }
            low = 0x80u;
            high = 0xBFu;
            text++;
        }
    }
    return true;
}
""",
}
_USED_BY = {"u16_at": ("u32_at",), "put_u16": ("put_u32",), "u32_at": ("f32_at",), "put_u32": ("put_f32",)}


def messages_code(table: MessageTable) -> str:
    """The C text of `bw_messages.c`. Raises ValueError when a message is of a shape that it has no code for."""
    for row in table.messages:
        if samples_at(table, row) is not None and any(field.max_length is not None for field in row.fields):
            raise ValueError(f"{row.name}: the C codec has no reader for rest behind text or octets")
    functions = "\n".join([_known(table, "device"), _known(table, "host"), *(_message(table, row) for row in table.messages)])
    return "\n".join([_HEAD, *_helpers(functions), functions])


def _helpers(functions: str) -> list[str]:
    """The helper functions that these functions call, or that such a helper calls: a static one without a caller is an error."""
    wanted: set[str] = set()
    for name in reversed(_HELPERS):
        if f"{name}(" in functions or wanted & set(_USED_BY.get(name, ())):
            wanted.add(name)
    return [text for name, text in _HELPERS.items() if name in wanted]


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
    name = snake(row.name)
    return (
        f"uint8_t bw_write_{name}(uint8_t *content)\n{{\n    content[0] = BW_TYPE_{name.upper()};\n    return 1u;\n}}\n\n"
        f"enum bw_bad bw_read_{name}(const uint8_t *content, uint8_t content_length)\n{{\n"
        f"    (void)content;\n    return content_length == 1u ? BW_GOOD : BW_BAD_LENGTH;\n}}\n"
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
            checks.append((f"{value}_length > {room}u || {value}_length != {_rule(field)}", "LENGTH"))
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
    letter = "INT32_C" if field.type.startswith("i") else "UINT32_C"
    checks = []
    if field.minimum is not None:
        checks.append((f"{value} < {letter}({field.minimum})", "VALUE"))
    if field.maximum is not None:
        checks.append((f"{value} > {letter}({field.maximum})", "VALUE"))
    return checks


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
    lines = [f"uint8_t bw_write_{name}(uint8_t *content, const struct bw_{name} *message)", "{"]
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
            before = "" if at == "content" else "(at - content) + "
            lines.append(f"    return (uint8_t)({before}{offset}u + {value}_length);")
        else:
            lines.append(f"    {step} + {offset}u + {value}_length;")
            at, offset = "at", 0
    if c_base(table, row.fields[-1]) is not None:
        lines.append(f"    return {offset}u;" if at == "content" else f"    return (uint8_t)((at - content) + {offset});")
    return "\n".join([*lines, "}"]) + "\n"


def _reader(table: MessageTable, row: MessageRow, checked: bool) -> str:
    name = snake(row.name)
    head = f"enum bw_bad bw_read_{name}(struct bw_{name} *message, const uint8_t *content, uint8_t content_length)"
    variable = any(field.type in ("text", "octets") for field in row.fields)
    body = _read_parts(table, row) if variable else _read_fixed(table, row)
    return "\n".join([head, "{", *body, f"    return {f'check_{name}(message)' if checked else 'BW_GOOD'};", "}"]) + "\n"


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
