"""What somebody heard or felt at the places of a cylinder, as it is typed: a place and how strong, one or several."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from borewright.core.place_meaning import place_words

__all__ = ["STRENGTHS", "Strength", "heard", "is_heard", "place_called"]

Strength = Literal["none", "faint", "steady", "strong"]
STRENGTHS: tuple[Strength, ...] = ("none", "faint", "steady", "strong")


def is_heard(text: str) -> bool:
    """Whether this looks like places and how strong, so that it is worth reading as such.

    >>> is_heard("exhaust strong"), is_heard("breather=faint"), is_heard("go on"), is_heard("strong")
    (True, True, False, False)
    """
    words = _words(text)
    return len(words) > 1 and words[-1] in STRENGTHS


def heard(text: str, places: Sequence[str]) -> tuple[tuple[str, Strength], ...]:
    """Pairs of place and strength. places: those of the engine; the beginning of a place is enough where it is the only one.

    Raises ValueError with one sentence when a word cannot be understood.

    >>> heard("exhaust strong, breather=faint", ("intake", "exhaust", "breather"))
    (('exhaust', 'strong'), ('breather', 'faint'))
    >>> heard("exhaust port none", ("exhaust_port", "crankcase"))
    (('exhaust_port', 'none'),)
    """
    found: list[tuple[str, Strength]] = []
    called: list[str] = []
    for word in _words(text):
        strength = next((one for one in STRENGTHS if one == word), None)
        if strength is None:
            called.append(word)
            continue
        if not called:
            raise ValueError(f"say the place before {word}, like: {place_words(places[0])} {word}")
        found.append((place_called(" ".join(called), places), strength))
        called = []
    if called or not found:
        said = _printable(" ".join(called) or text.strip())
        raise ValueError(f"say how strong it is at {said or 'the place'}: {', '.join(STRENGTHS)}")
    return tuple(found)


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
