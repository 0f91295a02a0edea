"""TOML from anybody: read, or refused in words, whatever stands in it."""

from __future__ import annotations

import re
import tomllib
from typing import Any

__all__ = ["NotTomlError", "read_toml"]

MOST_CHARACTERS = 1_000_000
DEEPEST = 32  # none of our files goes deeper than 4; what goes on to look at the tables may then call itself
LONGEST_NUMBER_BITS = 4096  # Python shows none of over 4300 digits, and no error could speak of it
# a key of 20 000 parts takes the reader 8 s, and one of ten times as many a hundred times as long
_LONG_KEY = re.compile(r"(?<![\w-])(?:[\w-]+[ \t]*\.[ \t]*){64}", re.ASCII)
_TOO_DEEP = "lists or tables stand in each other too deeply here; correct the text"
_TOO_MANY = "a number here has too many digits; correct it"


class NotTomlError(ValueError):
    """The text is not TOML at all."""


def read_toml(text: str) -> dict[str, Any]:
    """The tables of a TOML text. Raises ValueError (NotTomlError) with the reason in words, without the name of the file.

    >>> read_toml("bore_mm = 86")
    {'bore_mm': 86}
    >>> read_toml("bore_mm = ")
    Traceback (most recent call last):
    borewire.toml_file.NotTomlError: this is not TOML (Invalid value (at end of document)); correct the text there
    >>> read_toml("list = " + 1000 * "[")
    Traceback (most recent call last):
    ValueError: lists or tables stand in each other too deeply here; correct the text
    """
    if len(text) > MOST_CHARACTERS:
        raise ValueError(f"this is longer than {MOST_CHARACTERS} characters; give the file that is meant")
    text = text.removeprefix("\ufeff")  # a byte order mark, which some editors put before the text
    if _LONG_KEY.search(text):
        raise ValueError(_TOO_DEEP)
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise NotTomlError(f"this is not TOML ({error}); correct the text there") from None
    except RecursionError:
        raise ValueError(_TOO_DEEP) from None
    except ValueError:  # the one thing that is left: more digits than Python takes for a whole number
        raise ValueError(_TOO_MANY) from None
    _look(document)
    return document


def _look(document: dict[str, Any]) -> None:
    """Raises ValueError for what would break those who go on with the document. It does not call itself."""
    level: list[Any] = [document]
    for _ in range(DEEPEST):
        values = [inner for table in level for inner in (table.values() if isinstance(table, dict) else table)]
        if any(isinstance(value, int) and value.bit_length() > LONGEST_NUMBER_BITS for value in values):
            raise ValueError(_TOO_MANY)
        level = [value for value in values if isinstance(value, dict | list)]
        if not level:
            return
    raise ValueError(_TOO_DEEP)
