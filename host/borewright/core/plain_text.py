"""Texts that came from elsewhere, made fit to be shown."""

from __future__ import annotations

__all__ = ["printable"]


def printable(text: str) -> str:
    """A text as it may be printed: what commands a terminal stands there as it is written in a program.

    >>> printable("rig\\x1b[2J 7"), printable("Größe 3")
    ('rig\\\\x1b[2J 7', 'Größe 3')
    """
    return "".join(letter if letter.isprintable() else repr(letter)[1:-1] for letter in text)
