"""Words to messages: "StreamStart rate_hz=1000 block_size=8" becomes what goes over the wire."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

from borewire.messages import PROTOCOL_MAJOR, PROTOCOL_MINOR, TYPES_TO_DEVICE, HostAlive, Message, SupplyOpen, VentClose

from borewright.errors import UseError

__all__ = ["can_let_air_in", "message_of", "usage_lines"]

_KINDS = {kind.__name__: kind for kind in TYPES_TO_DEVICE.values()}
_FILLED_IN = {"protocol_major": PROTOCOL_MAJOR, "protocol_minor": PROTOCOL_MINOR}


def usage_lines() -> list[str]:
    """Every message that can be sent, with its fields.

    >>> usage_lines()[1]
    'StreamStart rate_hz=NUMBER block_size=NUMBER'
    """
    return [" ".join([name, *(f"{field}={_what(kind, field)}" for field in _asked_for(kind))]) for name, kind in _KINDS.items()]


def can_let_air_in(message: Message) -> bool:
    """Whether the device may close its vent or open its supply because of this."""
    return isinstance(message, SupplyOpen | VentClose)


def message_of(words: str, request_id: int) -> Any:
    """The message that the words say; request_id when they do not name one. Raises UseError that says what is possible.

    >>> message_of("StreamStart rate_hz=1000 block_size=8", 5)
    StreamStart(request_id=5, rate_hz=1000, block_size=8)
    >>> message_of("echorequest octets=00f5", 6)
    EchoRequest(request_id=6, octets=b'\\x00\\xf5')
    """
    name, *told = words.split()
    kind = next((kind for known, kind in _KINDS.items() if known.lower() == name.lower()), None)
    if kind is None:
        raise UseError(f"{name!r} is no message to the device; there are {', '.join(_KINDS)}")
    known = [field.name for field in fields(kind)]
    values: dict[str, Any] = {key: value for key, value in _FILLED_IN.items() if key in known}
    if "request_id" in known:
        values["request_id"] = request_id
    for word in told:
        field, equals, text = word.partition("=")
        if not equals or field not in known:
            possible = ", ".join(f"{one}=…" for one in known) or "no fields"
            raise UseError(f"{word!r} is no field of {kind.__name__}; it has {possible}")
        values[field] = _value(kind, field, text)
    missing = [field for field in known if field not in values]
    if missing:
        raise UseError(f"{kind.__name__} needs {', '.join(f'{field}={_what(kind, field)}' for field in missing)} too")
    message = kind(**values)
    try:
        message.encode_body()
    except ValueError as error:
        raise UseError(f"{words!r} does not fit a frame: {error}") from error
    return message


def _asked_for(kind: type[Message]) -> list[str]:
    """The fields that have to be said."""
    return [] if kind is HostAlive else [field.name for field in fields(kind) if field.name not in {"request_id", *_FILLED_IN}]


def _what(kind: type[Message], field: str) -> str:
    return "HEX" if _is_octets(kind, field) else "NUMBER"


def _is_octets(kind: type[Message], field: str) -> bool:
    return next(str(one.type) for one in fields(kind) if one.name == field) == "bytes"


def _value(kind: type[Message], field: str, text: str) -> int | bytes:
    try:
        return bytes.fromhex(text) if _is_octets(kind, field) else int(text, 0)
    except ValueError:
        possible = "octets in hex, like 00f5" if _is_octets(kind, field) else "a whole number, like 1000 or 0x3e8"
        raise UseError(f"{field} must be {possible}, not {text!r}") from None
