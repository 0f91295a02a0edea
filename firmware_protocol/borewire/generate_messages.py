"""Writes the text of `messages.py` from the message table."""

from __future__ import annotations

import re

from borewire.table import FIXED_TYPES, Field, MessageRow, MessageTable, Words, snake

__all__ = ["messages_module"]

_WIDTH = 132
_RAISE_LENGTH = "            raise FrameError(BadReason.LENGTH)"

_HEAD = '''"""The messages of the wire, as dataclasses. Generated from messages.toml; change the table, not this file.

Each class has its type number as TYPE, `encode_body()` (ValueError when a field does not fit) and `decode_body(body)` (FrameError
unless the body is exactly as the table says). Units and meanings of the fields are in messages.toml and PROTOCOL.md; run
`python -m borewire.generate` after changing the table.

>>> Ack.decode_body(bytes.fromhex("010004e8030000"))
Ack(request_id=1, command=4, device_tick=1000)
>>> EchoRequest(request_id=2, octets=b"AB").encode_body().hex()
'0200024142'
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from enum import STRICT, IntEnum, IntFlag
from math import isfinite
from typing import ClassVar, Self

from borewire.bad import BadReason, FrameError
from borewire.bodies import octets_at, put_octets, text_of
'''


def messages_module(table: MessageTable) -> str:
    """The Python text of `borewire/messages.py`."""
    names = [words.name for words in table.words] + [row.name for row in table.messages]
    names += ["PROTOCOL_MAJOR", "PROTOCOL_MINOR", "SCHEMA_FINGERPRINT", "TYPES_TO_DEVICE", "TYPES_TO_HOST"]
    names += ["Message", "ToDevice", "ToHost"]
    parts = [_HEAD]
    parts.append("__all__ = [\n" + "".join(f'    "{name}",\n' for name in sorted(names, key=_all_order)) + "]\n")
    parts.append(
        f"PROTOCOL_MAJOR = {table.major}\nPROTOCOL_MINOR = {table.minor}\nSCHEMA_FINGERPRINT = 0x{table.fingerprint():08X}\n"
    )
    parts.extend(_words_class(words) for words in table.words)
    parts.append("\n" + "\n".join(_lookup(words) for words in table.words) + "\n")
    parts.extend(_message_class(table, row) for row in table.messages)
    parts.append(_aliases(table))
    return "\n".join(parts)


def _all_order(name: str) -> tuple[int, str]:
    # the order ruff wants in __all__: SCREAMING_CASE first, then CamelCase
    return (0 if name.isupper() else 1, name)


def _table_name(words: Words) -> str:
    return f"_{snake(words.name).upper()}_OF"


def _words_class(words: Words) -> str:
    base = "IntFlag, boundary=STRICT" if words.is_flags else "IntEnum"
    lines = [f"\nclass {words.name}({base}):", f'    """{words.doc}"""\n']
    for name, value in words.members:
        lines.append(f"    {name.upper()} = 1 << {value}" if words.is_flags else f"    {name.upper()} = {value}")
    return "\n".join(lines) + "\n"


def _lookup(words: Words) -> str:
    if words.is_flags:
        bits = " | ".join(f"1 << {value}" for _, value in words.members)
        full = sum(1 << value for _, value in words.members)
        source = f"range({full + 1}) if not value & ~({bits})" if full + 1 != 1 << len(words.members) else f"range({full + 1})"
        return f"{_table_name(words)} = {{value: {words.name}(value) for value in {source}}}"
    return f"{_table_name(words)} = {{int(member): member for member in {words.name}}}"


def _python_type(table: MessageTable, field: Field) -> str:
    if table.words_named(field.type) is not None:
        return field.type
    return {"f32": "float", "text": "str", "octets": "bytes", "rest": "bytes"}.get(field.type, "int")


def _letter(table: MessageTable, field: Field) -> str | None:
    words = table.words_named(field.type)
    return FIXED_TYPES.get(words.base if words is not None else field.type)


def _segments(table: MessageTable, row: MessageRow) -> list[list[Field]]:
    """Runs of fixed-size fields and, each alone, the fields of variable size."""
    segments: list[list[Field]] = []
    for field in row.fields:
        if _letter(table, field) is None or not segments or _letter(table, segments[-1][-1]) is None:
            segments.append([])
        segments[-1].append(field)
    return segments


def _struct_name(row: MessageRow, number: int) -> str:
    return f"_{snake(row.name).upper()}_{number}"


def _message_class(table: MessageTable, row: MessageRow) -> str:
    segments = _segments(table, row)
    structs = [
        f'{_struct_name(row, number)} = struct.Struct("<{"".join(_letter(table, field) or "" for field in segment)}")'
        for number, segment in enumerate(segments)
        if _letter(table, segment[0]) is not None
    ]
    lines = ["", *structs, ""] if structs else []
    lines += ["", "@dataclass(frozen=True, slots=True)", f"class {row.name}:", *_docstring(row.doc), ""]
    lines.append(f"    TYPE: ClassVar[int] = 0x{row.type:02X}")
    lines += [f"    {field.name}: {_python_type(table, field)}" for field in row.fields]
    lines += ["", *_encoder(table, row, segments), "", *_decoder(table, row, segments)]
    return "\n".join(lines) + "\n"


def _docstring(doc: str) -> list[str]:
    first, *others = re.split(r"(?<=[.]) (?=[A-Z])", doc)
    if not others:
        return [f'    """{first}"""']
    lines = [f'    """{first}', ""]
    line = "   "
    for word in " ".join(others).split():
        if len(line) + 1 + len(word) > 128:
            lines.append(line)
            line = "   "
        line += f" {word}"
    return [*lines, line, '    """']


def _encoder(table: MessageTable, row: MessageRow, segments: list[list[Field]]) -> list[str]:
    lines = [
        "    def encode_body(self) -> bytes:",
        '        """The body. Raises ValueError when a field does not fit its place on the wire."""',
    ]
    if not segments:
        return [*lines, '        return b""']
    for field in row.fields:
        lines += _value_checks(table, row, field)
    parts: list[str] = []
    for number, segment in enumerate(segments):
        field = segment[0]
        if _letter(table, field) is not None:
            values = [f"self.{field.name}" for field in segment]
            parts.append(f"fixed_{number}")
            lines += [
                "        try:",
                *_listed(12, f"fixed_{number} = {_struct_name(row, number)}.pack(", values, ")"),
                "        except (struct.error, OverflowError) as error:",
                f'            raise ValueError(f"{row.name}: {{error}}") from None',
            ]
        elif field.type == "rest":
            rule = re.sub(r"([a-z_]+)", r"self.\1", field.length_rule)
            lines += [
                f"        if len(self.{field.name}) != {rule}:",
                f'            raise ValueError("{row.name}: {field.name} must have {field.length_rule} octets")',
            ]
            parts.append(f"self.{field.name}")
        else:
            octets = f'self.{field.name}.encode("utf-8")' if field.type == "text" else f"self.{field.name}"
            parts.append(f'put_octets({octets}, {field.max_length}, "{row.name}.{field.name}")')
    if len(parts) == 1:
        return [*lines, f"        return {parts[0]}"]
    return [*lines, *_listed(8, 'return b"".join((', parts, "))")]


def _value_checks(table: MessageTable, row: MessageRow, field: Field) -> list[str]:
    words = table.words_named(field.type)
    where = f"{row.name}: {field.name}"
    if words is not None:
        test, wanted = f"self.{field.name} not in {_table_name(words)}", f"must be a {words.name}"
    elif field.type == "f32":
        test, wanted = f"not isfinite(self.{field.name})", "must be finite"
    elif _bounds(field, f"self.{field.name}"):
        test, wanted = _bounds(field, f"self.{field.name}"), f"is outside its range of {_range_words(field)}"
    else:
        return []
    return [f"        if {test}:", f'            raise ValueError("{where} {wanted}")']


def _range_words(field: Field) -> str:
    low = "" if field.minimum is None else f"at least {field.minimum}"
    high = "" if field.maximum is None else f"at most {field.maximum}"
    return " and ".join(part for part in (low, high) if part)


def _bounds(field: Field, name: str) -> str:
    low = "" if field.minimum is None else f"{name} < {field.minimum}"
    high = "" if field.maximum is None else f"{name} > {field.maximum}"
    return " or ".join(part for part in (low, high) if part)


def _decoder(table: MessageTable, row: MessageRow, segments: list[list[Field]]) -> list[str]:
    lines = [
        "    @classmethod",
        "    def decode_body(cls, body: bytes) -> Self:",
        '        """The message. Raises FrameError unless the body is exactly as the table says."""',
    ]
    fixed_only = len(segments) == 1 and _letter(table, segments[0][0]) is not None
    at: list[str] = []  # the terms of the offset reached so far
    size = 0
    for number, segment in enumerate(segments):
        field = segment[0]
        offset = " + ".join([*([str(size)] if size or not at else []), *at])
        if _letter(table, field) is not None:
            names = [field.name for field in segment]
            name = _struct_name(row, number)
            need = f"len(body) != {name}.size" if fixed_only else f"len(body) < {offset} + {name}.size"
            need = need.replace("< 0 + ", "< ")
            call = f"{name}.unpack(body)" if fixed_only else f"{name}.unpack_from(body, {offset})"
            lines += [f"        if {need}:", _RAISE_LENGTH, *_listed(8, "(", names, f") = {call}")]
            size += sum(_size(table, field) for field in segment)
        elif field.type == "rest":
            lines += [f"        {field.name} = body[{offset}:]", *_decode_checks(table, row, exclude=field)]
            lines += [f"        if len({field.name}) != {field.length_rule}:", _RAISE_LENGTH]
        else:
            octets = f"{field.name}_octets" if field.type == "text" else field.name
            lines.append(f"        {octets} = octets_at(body, {offset}, {field.max_length})")
            size += 1
            at.append(f"len({octets})")
    if not fixed_only and not (segments and segments[-1][0].type == "rest"):
        offset = " + ".join([*([str(size)] if size else []), *at])
        lines += [f"        if len(body) != {offset}:" if segments else "        if body:", _RAISE_LENGTH]
    if not (segments and segments[-1][0].type == "rest"):
        lines += _decode_checks(table, row, exclude=None)
    return [*lines, *_listed(8, "return cls(", [_value(table, field) for field in row.fields], ")")]


def _listed(indent: int, head: str, items: list[str], tail: str) -> list[str]:
    """head + the items with commas + tail: on one line, or broken as a formatter would break it."""
    space = " " * indent
    comma = "," if head == "(" and len(items) == 1 else ""
    one_line = f"{space}{head}{', '.join(items)}{comma}{tail}"
    if head == "(" and not comma:
        one_line = space + one_line.strip().removeprefix("(").replace(") = ", " = ", 1)
    if len(one_line) <= _WIDTH:
        return [one_line]
    return [f"{space}{head}", *(f"{space}    {item}," for item in items), f"{space}{tail}"]


def _size(table: MessageTable, field: Field) -> int:
    return {"B": 1, "b": 1, "H": 2, "h": 2}.get(_letter(table, field) or "", 4)


def _decode_checks(table: MessageTable, row: MessageRow, exclude: Field | None) -> list[str]:
    lines: list[str] = []
    for field in row.fields:
        words = table.words_named(field.type)
        if field is exclude:
            continue
        if words is not None:
            reason = "RESERVED" if words.is_flags else "VALUE"
            test = f"{field.name} not in {_table_name(words)}"
        elif field.type == "f32":
            test, reason = f"not isfinite({field.name})", "VALUE"
        else:
            test, reason = _bounds(field, field.name), "VALUE"
        if test:
            lines += [f"        if {test}:", f"            raise FrameError(BadReason.{reason})"]
    return lines


def _value(table: MessageTable, field: Field) -> str:
    words = table.words_named(field.type)
    if words is not None:
        return f"{_table_name(words)}[{field.name}]"
    return f"text_of({field.name}_octets)" if field.type == "text" else field.name


def _aliases(table: MessageTable) -> str:
    lines = [""]
    for to, name in (("device", "ToDevice"), ("host", "ToHost")):
        rows = [row.name for row in table.messages if row.to == to]
        lines.append(f"{name} = (\n    " + "\n    | ".join(rows) + "\n)")
    lines += ["Message = ToDevice | ToHost", ""]
    for to, name in (("device", "ToDevice"), ("host", "ToHost")):
        rows = [row.name for row in table.messages if row.to == to]
        lines += [f"TYPES_TO_{to.upper()}: dict[int, type[{name}]] = {{", *(f"    {row}.TYPE: {row}," for row in rows), "}"]
    return "\n".join(lines) + "\n"
