"""Dataclasses to plain JSON values and back, read strictly: what does not fit is refused with its key and the reason."""

from __future__ import annotations

from dataclasses import MISSING, fields, is_dataclass
from functools import cache
from math import isfinite
from types import NoneType, UnionType
from typing import Any, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

__all__ = ["from_plain", "to_plain"]

T = TypeVar("T")
LARGEST_WHOLE = 2**53
LONGEST_TEXT = 4_000
MOST_ITEMS = 2_000


def to_plain(value: Any) -> Any:
    """Dataclasses as dicts, tuples as lists, all the way down; numbers, texts, booleans and None as they are.

    >>> from borewright.core.restrictor import Restrictor
    >>> to_plain((Restrictor(1e-6),))
    [{'area_m2': 1e-06, 'critical_ratio': None, 'u_relative': 0.005, 'u_critical_ratio': 0.0}]
    """
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name: to_plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, tuple | list):
        return [to_plain(item) for item in value]
    if isinstance(value, dict):
        return {key: to_plain(item) for key, item in value.items()}
    return value


def from_plain(kind: type[T], value: Any, at: str = "") -> T:
    """The dataclass `kind` from what `to_plain` made of it; `at` names the place in errors.

    Its fields may be numbers, texts, booleans, Literals, other dataclasses, tuples of one kind, and None where the type says so.
    Unknown and missing keys, wrong types, numbers that are not finite, endless texts and lists, and what the dataclass itself
    refuses raise ValueError, "key: reason".

    >>> from borewright.core.restrictor import Restrictor
    >>> from_plain(Restrictor, {"area_m2": 1e-6, "bore": 1})
    Traceback (most recent call last):
    ValueError: bore: is no key here
    """
    made: T = _read(kind, value, at)
    return made


def _read(kind: Any, value: Any, at: str) -> Any:
    here = at or "the document"
    origin = get_origin(kind)
    if origin in (Union, UnionType):
        if value is None and NoneType in get_args(kind):
            return None
        return _read(next(part for part in get_args(kind) if part is not NoneType), value, at)
    if origin is Literal:
        if not any(type(value) is type(choice) and value == choice for choice in get_args(kind)):
            raise ValueError(f"{here}: must be one of {', '.join(str(choice) for choice in get_args(kind))}")
        return value
    if origin is tuple:
        return _read_tuple(get_args(kind), value, at)
    if is_dataclass(kind):
        return _read_dataclass(kind, value, at)
    if kind is float:
        return _read_number(value, here)
    if kind is int:
        if type(value) is not int or abs(value) > LARGEST_WHOLE:
            raise ValueError(f"{here}: must be a whole number")
        return value
    if kind is bool and type(value) is not bool:
        raise ValueError(f"{here}: must be true or false")
    if kind is str and (type(value) is not str or len(value) > LONGEST_TEXT or not value.isprintable()):
        raise ValueError(f"{here}: must be a text of printable characters, {LONGEST_TEXT} at most")
    return value


def _read_number(value: Any, here: str) -> float:
    if type(value) not in (int, float) or abs(value) > 1e300 or not isfinite(value):
        raise ValueError(f"{here}: must be a finite number")
    return float(value)


def _read_tuple(of: tuple[Any, ...], value: Any, at: str) -> tuple[Any, ...]:
    if type(value) is not list or len(value) > MOST_ITEMS:
        raise ValueError(f"{at or 'the document'}: must be a list of {MOST_ITEMS} items at most")
    if len(of) == 2 and of[1] is Ellipsis:
        return tuple(_read(of[0], item, f"{at}[{index}]") for index, item in enumerate(value))
    if len(value) != len(of):
        raise ValueError(f"{at or 'the document'}: must be a list of {len(of)} items")
    return tuple(_read(part, item, f"{at}[{index}]") for index, (part, item) in enumerate(zip(of, value, strict=True)))


def _read_dataclass(kind: Any, value: Any, at: str) -> Any:
    if type(value) is not dict:
        raise ValueError(f"{at or 'the document'}: must be an object with keys")
    prefix = f"{at}." if at else ""
    hints = _hints(kind)
    known = {field.name: field for field in fields(kind)}
    for key in value:
        if key not in known:
            raise ValueError(f"{prefix}{_shown(key)}: is no key here")
    read: dict[str, Any] = {}
    for name, field in known.items():
        if name in value:
            read[name] = _read(hints[name], value[name], prefix + name)
        elif field.default is MISSING and field.default_factory is MISSING:
            raise ValueError(f"{prefix}{name}: is missing")
    try:
        return kind(**read)
    except ValueError as error:
        raise ValueError(f"{prefix}{error}") from None


@cache
def _hints(kind: Any) -> dict[str, Any]:
    return get_type_hints(kind)


def _shown(key: Any) -> str:
    return "".join(letter if letter.isprintable() else "?" for letter in str(key))[:60]
