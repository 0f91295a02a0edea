"""Strict reading of a scenario's tables: every key known, every value possible, every error one sentence.

ValueError
└── ScenarioError(source, key, reason)
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

__all__ = ["ScenarioError", "Table", "merged"]


class ScenarioError(ValueError):
    """A scenario that cannot be used: which file, which key, what is wrong and what to do."""

    def __init__(self, source: str, key: str, reason: str) -> None:
        self.source = source
        self.key = _fit_to_show(key, 80)  # a misspelt key is the file's own text
        self.reason = _fit_to_show(reason, 300)
        source = _fit_to_show(source, 200)
        super().__init__(f"{source}: {self.key}: {self.reason}" if key else f"{source}: {self.reason}")


def _fit_to_show(text: str, longest: int) -> str:
    """Without what would command a terminal, and not endless: what is cut out is its middle, for the end says what to do."""
    half = longest // 2
    cut = text if len(text) <= longest else f"{text[:half]} … {text[-half:]}"
    return "".join(letter if letter.isprintable() else "?" for letter in cut)


class Table:
    """One table of a file, read key by key; done() then refuses what nobody asked for.

    >>> table = Table({"volume_cm3": 20, "colour": "grey"}, "rig.toml", "air")
    >>> table.number("volume_cm3", 0.1, 1000.0)
    20.0
    >>> table.done()
    Traceback (most recent call last):
    boresim.reader.ScenarioError: rig.toml: air.colour: is not a key here; check the spelling or take it out
    """

    def __init__(self, values: object, source: str, path: str = "") -> None:
        if not isinstance(values, Mapping):
            raise ScenarioError(source, path, f"must be a table, not {values!r}")
        self.values: Mapping[str, Any] = values
        self.source = source
        self.path = path
        self._asked: set[str] = set()

    def __contains__(self, key: str) -> bool:
        return key in self.values

    def error(self, key: str, reason: str) -> ScenarioError:
        """The error for one key of this table."""
        return ScenarioError(self.source, f"{self.path}.{key}" if self.path else key, reason)

    def take(self, key: str, default: object = None) -> Any:
        """The value as it stands; without a default the key must be given."""
        self._asked.add(key)
        if key in self.values:
            return self.values[key]
        if default is None:
            raise self.error(key, "must be given")
        return default

    def number(self, key: str, low: float, high: float, default: float | None = None) -> float:
        """A finite number from low to high."""
        value = self.take(key, default)
        if isinstance(value, bool) or not isinstance(value, int | float) or not -1e300 < value < 1e300:  # nor one beyond any float
            raise self.error(key, f"must be a number, not {value!r}")
        if not low <= value <= high:
            raise self.error(key, f"must be from {low:g} to {high:g}, not {value:g}")
        return float(value)

    def whole(self, key: str, low: int, high: int, default: int | None = None) -> int:
        """A whole number from low to high."""
        value = self.take(key, default)
        if isinstance(value, bool) or not isinstance(value, int):
            raise self.error(key, f"must be a whole number, not {value!r}")
        return int(self.number(key, low, high, default))

    def yes_no(self, key: str, default: bool | None = None) -> bool:
        """true or false."""
        value = self.take(key, default)
        if not isinstance(value, bool):
            raise self.error(key, f"must be true or false, not {value!r}")
        return value

    def text(self, key: str, default: str | None = None) -> str:
        """A text."""
        value = self.take(key, default)
        if not isinstance(value, str):
            raise self.error(key, f"must be a text, not {value!r}")
        return value

    def choice(self, key: str, allowed: Sequence[str], default: str | None = None) -> str:
        """One of the allowed words."""
        value = self.text(key, default)
        if value not in allowed:
            raise self.error(key, f"must be one of {', '.join(allowed)}, not {value!r}")
        return value

    def words(self, key: str, allowed: Sequence[str]) -> tuple[str, ...]:
        """A list of some of the allowed words, perhaps empty."""
        value = self.take(key, [])
        if not isinstance(value, list) or any(word not in allowed for word in value):
            raise self.error(key, f"must be a list of words among {', '.join(allowed)}, not {value!r}")
        return tuple(value)

    def table(self, key: str, optional: bool = False) -> Table:
        """A table inside this one; an optional one that is not given reads as empty."""
        return Table(self.take(key, {} if optional else None), self.source, f"{self.path}.{key}" if self.path else key)

    def tables(self, key: str) -> list[Table]:
        """A list of tables, perhaps empty."""
        value = self.take(key, [])
        if not isinstance(value, list):
            raise self.error(key, f"must be a list of tables, not {value!r}")
        path = f"{self.path}.{key}" if self.path else key
        return [Table(inner, self.source, f"{path}[{number}]") for number, inner in enumerate(value)]

    def done(self) -> None:
        """Raises ScenarioError for the first key that nobody asked for."""
        for key in self.values:
            if key not in self._asked:
                raise self.error(key, "is not a key here; check the spelling or take it out")


def merged(below: Mapping[str, Any], above: Mapping[str, Any]) -> dict[str, Any]:
    """Two documents as one: what stands above wins, tables are joined key by key, lists are replaced whole.

    >>> merged({"air": {"a": 1, "b": 2}}, {"air": {"b": 3}})
    {'air': {'a': 1, 'b': 3}}
    """
    result = dict(below)
    for key, value in above.items():
        old = result.get(key)
        result[key] = merged(old, value) if isinstance(old, Mapping) and isinstance(value, Mapping) else value
    return result
