"""Searching in texts that people wrote: letters of either case, and every character means itself."""

from __future__ import annotations

import unicodedata

__all__ = ["found_in"]


def found_in(search: str, *texts: str) -> bool:
    """Whether what is searched for stands in one of the texts; nothing stands in every text.

    >>> found_in("MÜLLER", "Ada", "Müller & Co"), found_in("100%", "1000"), found_in(" ", "x")
    (True, False, True)
    """
    wanted = _folded(search.strip())
    return any(wanted in _folded(text) for text in texts)


def _folded(text: str) -> str:
    return text.casefold() if text.isascii() else unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", text).casefold())
