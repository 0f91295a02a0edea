"""A column of the record that holds one of a few words."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

__all__ = ["UnknownWord", "Word"]


class UnknownWord(Exception):  # noqa: N818 -- what was found, not what failed
    """A word in the file that no program has written: an octet has flipped."""


class Word(sa.types.TypeDecorator[str]):
    """Text that is one of these words when it is read."""

    impl = sa.Text
    cache_ok = True

    def __init__(self, *words: str) -> None:
        super().__init__()
        self.words = words

    def process_result_value(self, value: Any, dialect: sa.Dialect) -> Any:
        """The word. Raises UnknownWord for another one."""
        del dialect
        if value is not None and value not in self.words:
            raise UnknownWord(f"a word in it is none of {', '.join(self.words)}")
        return value
