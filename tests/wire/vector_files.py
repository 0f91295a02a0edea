"""The wire's vectors as objects, for the tests of this room."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import fields
from enum import IntEnum, IntFlag
from pathlib import Path
from typing import Any

import borewire.messages as wire
from borewire.messages import TYPES_TO_DEVICE, TYPES_TO_HOST, Message

ROOT = Path(__file__).resolve().parents[2] / "firmware_protocol"


def _value(type_name: str, value: Any) -> Any:
    if type_name == "bytes":
        return bytes.fromhex(value)
    kind = getattr(wire, type_name, None)
    if isinstance(kind, type) and issubclass(kind, IntEnum):
        return kind[value.upper()]
    if isinstance(kind, type) and issubclass(kind, IntFlag):
        flags = kind(0)
        for name in value:
            flags |= kind[name.upper()]
        return flags
    return value


def build(name: str, values: Mapping[str, Any]) -> Message:
    """The message of that name with the values as the vector files write them; all fields must be there and in order."""
    kinds = {kind.__name__: kind for kind in [*TYPES_TO_DEVICE.values(), *TYPES_TO_HOST.values()]}
    kind: Any = kinds[name]
    assert [field.name for field in fields(kind)] == list(values)
    message: Message = kind(**{field.name: _value(str(field.type), values[field.name]) for field in fields(kind)})
    return message


def load(path: str) -> Any:
    """One vector file."""
    return json.loads((ROOT / "vectors" / path).read_text("utf-8"))
