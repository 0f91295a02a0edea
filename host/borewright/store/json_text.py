"""The record's values as JSON text that shows when it was damaged.

SQLite has no checksum of its own, so an octet that flips in a number would be read as another number. Each text ends in the CRC-32
of itself, written in blanks, which JSON passes over: any program still reads it. Texts of older programs end without blanks and are
taken as they are.
"""

from __future__ import annotations

import json
import zlib
from pathlib import Path
from typing import Any

from borewright.store.errors import damaged

__all__ = ["from_json", "to_json"]

_TO_BLANKS = str.maketrans("01", " \t")


def to_json(value: object) -> str:
    """The value as sealed text. Raises ValueError and TypeError for what JSON has no word for.

    >>> text = to_json({"leakage_percent": 7.5})
    >>> text.rstrip(), len(text) - len(text.rstrip()), json.loads(text)
    ('{"leakage_percent":7.5}', 32, {'leakage_percent': 7.5})
    """
    text = json.dumps(value, allow_nan=False, ensure_ascii=False, separators=(",", ":"))
    return text + _seal(text)


def from_json(path: Path, text: str) -> Any:
    """What to_json was given, read from the record at path. Raises StoreError for anything else, for then the file is damaged.

    >>> from_json(Path("shop.db"), to_json([1.0]).replace("1", "7"))  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    ...
    borewright.errors.StoreError: shop.db is damaged (a value in it has changed since it was written); keep...
    """
    try:
        value, end = _DECODER.raw_decode(text)  # decode() looks for blanks around it, which costs in a long list
    except (ValueError, TypeError, RecursionError) as error:
        raise damaged(path, "a value in it cannot be read") from error
    if len(text) != end and text[end:] != _seal(text[:end]):
        raise damaged(path, "a value in it has changed since it was written")
    if not isinstance(value, dict | list | None):
        raise damaged(path, "a value in it is of another kind than was written")
    return value


def _seal(text: str) -> str:
    return format(zlib.crc32(text.encode()), "032b").translate(_TO_BLANKS)


def _no_constant(name: str) -> float:
    raise ValueError(f"{name} is no number")


_DECODER = json.JSONDecoder(parse_constant=_no_constant)  # made once: a long list has thousands of values
