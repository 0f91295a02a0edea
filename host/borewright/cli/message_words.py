"""Words to messages: "StreamStart rate_hz=1000 block_size=8" becomes what goes over the wire."""

from __future__ import annotations

from dataclasses import fields
from functools import cache
from typing import Any, Final

from borewire.messages import PROTOCOL_MAJOR, PROTOCOL_MINOR, TYPES_TO_DEVICE, HostAlive, Message, SupplyOpen, VentClose

from borewright.errors import UseError

__all__ = ["can_let_air_in", "message_of", "usage_lines", "usage_of"]

_KINDS = {kind.__name__: kind for kind in TYPES_TO_DEVICE.values()}
_WHOLE_NUMBERS: Final = tuple(
    bounds for bits in (8, 16, 32) for bounds in ((0, 2**bits - 1), (-(2 ** (bits - 1)), 2 ** (bits - 1) - 1))
)
_FILLED_IN = {"protocol_major": PROTOCOL_MAJOR, "protocol_minor": PROTOCOL_MINOR}


def usage_lines() -> list[str]:
    """Every message that can be sent, with its fields.

    >>> usage_lines()[1]
    'StreamStart rate_hz=NUMBER block_size=NUMBER'
    """
    return [" ".join([name, *(f"{field}={_what(kind, field)}" for field in _asked_for(kind))]) for name, kind in _KINDS.items()]


def usage_of(name: str) -> list[str]:
    """One message: what it does, and each of its fields with its bounds. Raises UseError for no message.

    >>> usage_of("streamstart")[1:]
    ['  request_id: from 0 to 65535; filled in', '  rate_hz: from 0 to 65535', '  block_size: from 0 to 255']
    """
    kind = _kind_of(name)
    lines = [f"{kind.__name__}: {(kind.__doc__ or '').split('.')[0]}."]
    for field in (one.name for one in fields(kind)):
        bounds = _bounds(kind).get(field)
        what = "octets in hex, like 00f5" if bounds is None else f"from {bounds[0]} to {bounds[1]}"
        lines.append(f"  {field}: {what}{'' if field in _asked_for(kind) else '; filled in'}")
    return lines


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
    name, *told = words.split() or [""]
    kind = _kind_of(name)
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


def _kind_of(name: str) -> Any:
    kind = next((kind for known, kind in _KINDS.items() if known.lower() == name.lower()), None)
    if kind is None:
        said = f"{name!r} is no message to the device" if name else "nothing was said, which is no message"
        raise UseError(f"{said}; there are {', '.join(_KINDS)}")
    return kind


@cache
def _bounds(kind: Any) -> dict[str, tuple[int, int]]:
    """The bounds of the fields that are numbers, as the message itself keeps them: it is asked what it takes.

    >>> _bounds(SupplyOpen)["window_low_count"]
    (-2147483648, 2147483647)
    """
    names = [field.name for field in fields(kind)]
    numbers = [name for name in names if not _is_octets(kind, name)]
    least = {name: 0 if name in numbers else b"" for name in names}
    return {
        name: next(
            (low, high)
            for low, high in _WHOLE_NUMBERS
            if [_takes(kind, least | {name: value}) for value in (low - 1, low, high, high + 1)] == [False, True, True, False]
        )
        for name in numbers
    }


def _takes(kind: Any, values: dict[str, Any]) -> bool:
    try:
        kind(**values).encode_body()
    except ValueError:
        return False
    return True


def _asked_for(kind: type[Message]) -> list[str]:
    """The fields that have to be said."""
    return [] if kind is HostAlive else [field.name for field in fields(kind) if field.name not in {"request_id", *_FILLED_IN}]


def _what(kind: type[Message], field: str) -> str:
    return "HEX" if _is_octets(kind, field) else "NUMBER"


def _is_octets(kind: type[Message], field: str) -> bool:
    return next(str(one.type) for one in fields(kind) if one.name == field) == "bytes"


def _value(kind: Any, field: str, text: str) -> int | bytes:
    try:
        value = bytes.fromhex(text) if _is_octets(kind, field) else int(text, 0)
    except ValueError:
        possible = "octets in hex, like 00f5" if _is_octets(kind, field) else "a whole number, like 1000 or 0x3e8"
        raise UseError(f"{field} must be {possible}, not {text!r}") from None
    if isinstance(value, int):
        low, high = _bounds(kind)[field]
        if not low <= value <= high:
            raise UseError(f"{field} must be from {low} to {high}, not {text}")
    return value
