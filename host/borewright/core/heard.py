"""What somebody heard or felt at the places of a cylinder, as it is typed: a place and how strong, one or several."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import takewhile
from typing import TYPE_CHECKING, Literal

from borewright.core.place_meaning import place_words

if TYPE_CHECKING:
    from borewright.core.engine import Engine

__all__ = ["OTHER_CYLINDERS", "STRENGTHS", "Heard", "Strength", "checked_neighbour", "heard", "is_heard", "place_called"]

Strength = Literal["none", "faint", "steady", "strong"]
STRENGTHS: tuple[Strength, ...] = ("none", "faint", "steady", "strong")
OTHER_CYLINDERS = ("neighbours", "other_chambers")
"""The places that are other cylinders, so that it can be said which one."""
_LINKS = ("at", "and", "cylinder", "cylinders")


@dataclass(frozen=True, slots=True)
class Heard:
    """How strong it is at a place. neighbour: the other cylinder at which it was, None where nobody said which."""

    place: str
    strength: Strength
    neighbour: int | None = None

    @property
    def words(self) -> str:
        """The same as a person reads it.

        >>> Heard("other_chambers", "strong", 2).words
        'other chambers strong at cylinder 2'
        """
        return f"{place_words(self.place)} {self.strength}" + ("" if self.neighbour is None else f" at cylinder {self.neighbour}")

    @property
    def detail(self) -> dict[str, object]:
        """What the record keeps of it beside the place."""
        return {"strength": self.strength} | ({} if self.neighbour is None else {"neighbour": self.neighbour})


def is_heard(text: str) -> bool:
    """Whether this looks like places and how strong, so that it is worth reading as such.

    >>> is_heard("exhaust strong"), is_heard("neighbours strong at 3"), is_heard("go on"), is_heard("strong")
    (True, True, False, False)
    """
    words = _words(text)
    while words and (words[-1] in _LINKS or _number(words[-1]) is not None):
        words.pop()
    return len(words) > 1 and words[-1] in STRENGTHS


def heard(text: str, places: Sequence[str]) -> tuple[Heard, ...]:
    """What was heard where. places: those of the engine; the beginning of a place is enough where it is the only one.

    At which other cylinder stands behind the strength; with several, each is heard as strong. Raises ValueError with one sentence
    when a word cannot be understood.

    >>> [one.words for one in heard("exhaust strong, breather=faint", ("intake", "exhaust", "breather"))]
    ['exhaust strong', 'breather faint']
    >>> [one.words for one in heard("neighbours strong at 2 and 4, exhaust port none", ("exhaust_port", "neighbours"))]
    ['neighbours strong at cylinder 2', 'neighbours strong at cylinder 4', 'exhaust port none']
    """
    found: list[Heard] = []
    called: list[str] = []
    words = _words(text)
    while words:
        word = words.pop(0)
        strength = next((one for one in STRENGTHS if one == word), None)
        if strength is None:
            called.append(word)
            continue
        if not called:
            raise ValueError(f"say the place before {word}, like: {place_words(places[0])} {word}")
        place = place_called(" ".join(called), places)
        numbers = _numbers(words, place, strength)
        found += [Heard(place, strength, number) for number in numbers] or [Heard(place, strength)]
        called = []
    if called or not found:
        said = _printable(" ".join(called) or text.strip())
        raise ValueError(f"say how strong it is at {said or 'the place'}: {', '.join(STRENGTHS)}")
    return tuple(found)


def checked_neighbour(engine: Engine, cylinder: int, place: str, neighbour: int | None) -> int | None:
    """The other cylinder at which air of this one was heard. Raises ValueError with one sentence when it cannot be that.

    >>> from borewright.core.engine import Engine
    >>> four = Engine("demo", "four-stroke", (1, 3, 4, 2), (180.0,) * 4, 0.086, 0.086, 0.143, 55e-6)
    >>> checked_neighbour(four, 2, "neighbours", 3)
    3
    """
    if neighbour is None:
        return None
    if place not in OTHER_CYLINDERS:
        raise ValueError(f"{place_words(place)} is no other cylinder: say how strong it is there, without a number")
    others = [other for other in engine.cylinders if other != cylinder]
    if neighbour not in others:
        raise ValueError(f"beside cylinder {cylinder} there is no cylinder {neighbour}; there is {', '.join(map(str, others))}")
    return neighbour


def _numbers(words: list[str], place: str, strength: Strength) -> list[int]:
    """Take "at cylinder 2 and 4" off the front of the words."""
    if words[:1] != ["at"]:
        return []
    told = list(takewhile(lambda word: word in _LINKS or _number(word) is not None, words))
    del words[: len(told)]
    numbers = [number for number in map(_number, told) if number is not None]
    if not numbers:
        raise ValueError(f"say at which cylinder, by its number, like: {place_words(place)} {strength} at 2")
    if place not in OTHER_CYLINDERS:
        raise ValueError(f"{place_words(place)} is no other cylinder: say how strong it is there, without a number")
    return numbers


def _number(word: str) -> int | None:
    return int(word) if word.isascii() and word.isdigit() and len(word) <= 3 else None


def place_called(text: str, places: Sequence[str]) -> str:
    """The place that is meant. Raises ValueError naming those that there are.

    >>> place_called("Breath", ("intake", "exhaust", "breather"))
    'breather'
    """
    name = "_".join(text.lower().replace("-", " ").replace("_", " ").split())
    if name in places:
        return name
    fitting = [place for place in places if name and place.startswith(name)]
    if len(fitting) == 1:
        return fitting[0]
    raise ValueError(f"{_printable(text)} is no place of this engine; it has {', '.join(map(place_words, places))}")


def _words(text: str) -> list[str]:
    return text.lower().replace("=", " ").replace(",", " ").replace(";", " ").split()


def _printable(text: str) -> str:
    return "".join(letter if letter.isprintable() else "?" for letter in text)[:40]
