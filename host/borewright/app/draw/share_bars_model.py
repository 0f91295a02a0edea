"""Leak shares as rows of bars: what each row says and how far its bar reaches. Without Qt."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from borewright.core.advice_evidence import share_words
from borewright.core.place_meaning import place_words

if TYPE_CHECKING:
    from borewright.core.shares import Share
    from borewright.service.path import CylinderPath

__all__ = ["ShareRow", "not_told_apart", "share_rows"]

NOBODYS = "nobody's"


@dataclass(frozen=True, slots=True)
class ShareRow:
    """One row. low, high: the 95 % interval of percent. main: it is decided that this is the most. rest: found at no place."""

    name: str
    words: str
    percent: float
    low: float
    high: float
    main: bool = False
    rest: bool = False

    @property
    def spoken(self) -> str:
        """The row for a screen reader."""
        return f"{self.name}: {self.words}" + (", the most, decided" if self.main else "")


def share_rows(path: CylinderPath) -> tuple[ShareRow, ...]:
    """The rows of a cylinder, largest share first, the rest last; none without a measurement.

    >>> from borewright.core.shares import Share
    >>> from borewright.service.path import CylinderPath, PlaceFinding
    >>> shares = [Share("intake", 20.0, 12.0, 28.0, 1e-7), Share("outside", 0.0, 0.0, 9.0, 0.0, looked_at=False)]
    >>> places = tuple(PlaceFinding(share.place, None, share, (), (), "", "") for share in shares)
    >>> rest = Share("unattributed", 4.0, 0.0, 9.0, 1e-8)
    >>> [row.spoken for row in share_rows(CylinderPath(1, places, rest, True, "intake", "", (), None, ()))]
    ['intake: 20 % (12 to 28 %), the most, decided', "nobody's: 4 % (0 to 9 %)"]
    """
    if path.unattributed is None:
        return ()
    told = [(one.place, one.share) for one in path.places if one.share is not None and one.share.looked_at]
    rows = [_row(place_words(place), share, main=place == path.main) for place, share in told]
    rows.sort(key=lambda row: -row.percent)
    return (*rows, _row(NOBODYS, path.unattributed, rest=True))


def not_told_apart(path: CylinderPath) -> str:
    """The places that no reading tells apart, in a sentence; empty where there are none, or nothing was measured."""
    places = [place_words(one.place) for one in path.places if one.share is not None and not one.share.looked_at]
    if path.unattributed is None or not places:
        return ""
    return f"Not told apart, so that what leaks there is in the part that is nobody's: {', '.join(places)}."


def _row(name: str, share: Share, *, main: bool = False, rest: bool = False) -> ShareRow:
    return ShareRow(name, share_words(share), share.percent, share.low_percent, share.high_percent, main, rest)
