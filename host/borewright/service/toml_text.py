"""A document as TOML: the standard library reads TOML and does not write it."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

__all__ = ["toml_text"]

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_SHORT = {"\n": "\\n", "\t": "\\t", "\r": "\\r", '"': '\\"', "\\": "\\\\"}


def toml_text(document: Mapping[str, Any], *, only_ascii: bool = False) -> str:
    """Texts, numbers, booleans, lists of them, and tables of these; plain keys before tables. Nothing but printable characters.

    only_ascii: for a terminal that has not every letter; TOML reads the same out of it.
    Raises ValueError for what TOML has no word for.

    >>> print(toml_text({"name": "a \\"four\\"", "limits": {"spread": 5.0}, "order": [1, 2]}), end="")
    name = "a \\"four\\""
    order = [1, 2]
    <BLANKLINE>
    [limits]
    spread = 5.0
    >>> print(toml_text({"name": "Lärche"}, only_ascii=True), end="")
    name = "L\\u00e4rche"
    """
    text = "\n".join(_lines(document, ())) + "\n"
    if not only_ascii:
        return text
    # a letter that is not ASCII can only stand inside of quotes here
    return "".join(letter if letter.isascii() else _escaped(letter) for letter in text)


def _lines(table: Mapping[str, Any], path: tuple[str, ...]) -> list[str]:
    lines = [f"{_key(key)} = {_value(value)}" for key, value in table.items() if not isinstance(value, Mapping)]
    for key, value in table.items():
        if isinstance(value, Mapping):
            inner = (*path, key)
            lines += [*([""] if lines else []), f"[{'.'.join(map(_key, inner))}]", *_lines(value, inner)]
    return lines


def _key(key: str) -> str:
    return key if _BARE_KEY.fullmatch(key) else _quoted(key)


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, str):
        return _quoted(value)
    if isinstance(value, Sequence):
        return f"[{', '.join(map(_value, value))}]"
    raise ValueError(f"TOML has no word for {value!r}")


def _quoted(text: str) -> str:
    return '"' + "".join(map(_letter, text)) + '"'


def _letter(letter: str) -> str:
    if letter in _SHORT:
        return _SHORT[letter]
    if letter.isprintable():
        return letter
    return _escaped(letter)


def _escaped(letter: str) -> str:
    return f"\\u{ord(letter):04x}" if ord(letter) < 0x10000 else f"\\U{ord(letter):08x}"
