"""Each field of each message at the edge of what the table allows and just outside: the C codec does as the Python one does."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pytest
from borewire.codec import Decoder
from borewire.framing import frame_of
from borewire.table import FIXED_TYPES, Field, MessageRow, parse_table

from .c_codec import KINDS, SANITIZED_RUNNER, ask, events_of, lines_of
from .vector_files import ROOT

TABLE = parse_table(tomllib.loads((ROOT / "messages.toml").read_text("utf-8")))
SIZES = {"u8": 1, "i8": 1, "u16": 2, "i16": 2, "u32": 4, "i32": 4, "f32": 4}
F32_EDGES = {0x7F7FFFFF: True, 0xFF7FFFFF: True, 0x00000001: True, 0x80000000: True}
F32_OUTSIDE = {0x7F800000: False, 0xFF800000: False, 0x7FC00000: False, 0x7F800001: False, 0xFFFFFFFF: False}
FREE = {"sample_count": 1, "channel_count": 1}
"""What bounded fields hold while another field is tried; all others hold 0 or nothing."""


@dataclass(frozen=True, slots=True)
class Trial:
    """One field set to `value` (for text and octets: so many octets); `allowed` by the table or not."""

    row: MessageRow
    field: Field
    value: int
    allowed: bool

    def __str__(self) -> str:
        return f"{self.row.name}.{self.field.name}={self.value:#x}"


def _base(field: Field) -> str:
    words = TABLE.words_named(field.type)
    return words.base if words is not None else field.type


def _values(field: Field) -> dict[int, bool]:
    """Raw values to try and whether the table allows them."""
    words = TABLE.words_named(field.type)
    if field.max_length is not None:
        return {0: True, field.max_length: True, field.max_length + 1: False}
    if field.type == "f32":
        return F32_EDGES | F32_OUTSIDE
    bits = 8 * SIZES[_base(field)]
    if words is not None and words.is_flags:
        named = sum(1 << bit for _, bit in words.members)
        return {0: True, named: True} | {1 << bit: bool(named >> bit & 1) for bit in range(bits)}
    if words is not None:
        members = {value for _, value in words.members}
        return {value: value in members for value in range(1 << bits)} if bits == 8 else dict.fromkeys(members, True)
    low = 0 if field.minimum is None else field.minimum
    high = (1 << bits) - 1 if field.maximum is None else field.maximum
    tried = {0, 1, low, low + 1, high, high + 1, 1 << bits - 1, (1 << bits) - 1}
    return {value: low <= value <= high for value in tried if value < 1 << bits}


def _trials() -> Iterator[Trial]:
    for row in TABLE.messages:
        for field in row.fields:
            if field.type != "rest":
                yield from (Trial(row, field, value, allowed) for value, allowed in _values(field).items())


TRIALS = list(_trials())


def _value_in(trial: Trial, field: Field) -> int:
    return trial.value if field is trial.field else FREE.get(field.name, 0)


def _samples(trial: Trial) -> bytes:
    counts = {field.name: _value_in(trial, field) for field in trial.row.fields if field.name in FREE}
    return bytes(counts["sample_count"] * (4 + 2 * counts["channel_count"]))


def _body(trial: Trial) -> bytes:
    parts = []
    for field in trial.row.fields:
        if field.type == "rest":
            parts.append(_samples(trial))
        elif field.max_length is not None:
            length = _value_in(trial, field)
            parts.append(bytes((length,)) + b"a" * length)
        else:
            parts.append(_value_in(trial, field).to_bytes(SIZES[_base(field)], "little"))
    return b"".join(parts)


def _line(trial: Trial) -> str:
    parts = [trial.row.name]
    for field in trial.row.fields:
        value = _value_in(trial, field)
        if field.type == "rest":
            text = _samples(trial).hex()
        elif field.max_length is not None:
            text = "61" * value
        elif field.type == "f32":
            text = f"{value:08x}"
        else:
            size = SIZES[_base(field)]
            text = str(int.from_bytes(value.to_bytes(size, "little"), "little", signed=_base(field).startswith("i")))
        parts.append(f"{field.name}={text}")
    return " ".join(parts)


def _fits(trial: Trial) -> bool:
    """Samples in plenty make a body that no frame can hold: those are tried in the tests of agreement."""
    return len(_body(trial)) <= 250


FITTING = [trial for trial in TRIALS if _fits(trial)]


def test_every_field_is_tried_and_most_have_something_that_is_refused() -> None:
    assert set(FIXED_TYPES) >= {_base(field) for row in TABLE.messages for field in row.fields} - {"text", "octets", "rest"}
    assert {trial.row.name for trial in FITTING} | {"HostAlive"} == set(KINDS)
    limited = {
        (trial.row.name, trial.field.name)
        for trial in TRIALS
        if TABLE.words_named(trial.field.type) is not None
        or trial.field.type == "f32"
        or (trial.field.minimum, trial.field.maximum, trial.field.max_length) != (None, None, None)
    }
    assert {(trial.row.name, trial.field.name) for trial in FITTING if not trial.allowed} == limited


@pytest.mark.parametrize("side", ["device", "host"])
@pytest.mark.usefixtures("sanitized_c_codec")
def test_readers(side: Any) -> None:
    trials = [trial for trial in FITTING if trial.row.to == side]
    frames = [frame_of(trial.row.type, _body(trial)) for trial in trials]
    answers = events_of(side, [b"\0", *frames], SANITIZED_RUNNER)[1:]
    for trial, frame, answer in zip(trials, frames, answers, strict=True):
        assert answer == lines_of(Decoder(side).feed(b"\0" + frame)), trial
        assert (answer == [_line(trial)]) is trial.allowed, trial


@pytest.mark.usefixtures("sanitized_c_codec")
def test_writers() -> None:
    answers = ask([f"say {_line(trial)}" for trial in FITTING], SANITIZED_RUNNER).split()
    for trial, answer in zip(FITTING, answers, strict=True):
        assert answer == (frame_of(trial.row.type, _body(trial)).hex() if trial.allowed else "refused"), trial
