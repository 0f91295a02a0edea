"""What a leakage means by a set of limits, and what to ask before it is believed. An aid to judgement, never pass or fail."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import hypot, isfinite

from borewright.core.limit_sets import Circumstances, LimitSet, SourceKind
from borewright.core.sanity import before_opening, questions_of

__all__ = ["Judgement", "Spread", "judge", "spread"]


@dataclass(frozen=True, slots=True)
class Judgement:
    """A leakage set against a set of limits.

    band: the band's name, or "between ... and ..." where the interval of uncertainty reaches over a limit. certain: the whole
    interval lies in one band. between: names of all bands that it reaches, rising. words: band and why, in one sentence. called:
    what the test may be called by the procedure of the set, or why it may not; empty where the set has none. questions: what to
    ask first, where the reading is odd. before_opening: what to rule out before anything is opened on the reading.
    """

    band: str
    certain: bool
    between: tuple[str, ...]
    words: str
    limit_set: str
    kind: SourceKind
    source: str
    called: str
    caution: str
    questions: tuple[str, ...]
    before_opening: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Spread:
    """How far the cylinders of one stage lie apart, in percentage points, expanded_percent its uncertainty (None: not known).

    certain: the interval lies on one side of both limits of the set.
    """

    range_percent: float
    expanded_percent: float | None
    highest_cylinder: int
    lowest_cylinder: int
    certain: bool
    words: str
    source: str


def judge(
    leakage_percent: float, expanded_percent: float | None, limit_set: LimitSet, circumstances: Circumstances | None = None
) -> Judgement:
    """The judgement of a leakage with its expanded uncertainty (k about 2), both in percent; None: not known.

    A limit belongs to the band under it. Raises ValueError for a leakage that is not finite and for an uncertainty that is negative
    or not finite.

    >>> from borewright.core.limit_sets import Band
    >>> shop = LimitSet("shop", "own", "our bench", (Band("sell it", "tight", 12.0), Band("strip it", "leaks")))
    >>> judge(15.0, 0.3, shop).band, judge(11.9, 0.3, shop).band, judge(15.0, None, shop).band
    ('strip it', 'between "sell it" and "strip it"', '"strip it", if the reading is right')
    """
    if expanded_percent is not None and not (isfinite(expanded_percent) and expanded_percent >= 0.0):
        raise ValueError("expanded_percent: must be finite and not negative")
    found = Circumstances() if circumstances is None else circumstances
    here = limit_set.band_of(leakage_percent)
    half = expanded_percent or 0.0
    first = limit_set.bands.index(limit_set.band_of(leakage_percent - half))
    last = limit_set.bands.index(limit_set.band_of(leakage_percent + half))
    reached = limit_set.bands[first : last + 1]
    if len(reached) > 1:
        band = f'between "{reached[0].name}" and "{reached[-1].name}"'
        limits = " and ".join(f"{one.up_to_percent:g} %" for one in reached[:-1])
        words = f"{band}: the uncertainty reaches over the limit of {limits}; test again to narrow it"
    elif expanded_percent is None:
        band = f'"{here.name}", if the reading is right'
        words = f"{band}: {here.words}; its uncertainty is not known"
    else:
        band, words = here.name, f"{here.name}: {here.words}"
    return Judgement(
        band=band,
        certain=len(reached) == 1 and expanded_percent is not None,
        between=tuple(one.name for one in reached),
        words=words,
        limit_set=limit_set.name,
        kind=limit_set.kind,
        source=limit_set.source,
        called=_called(limit_set, found),
        caution=limit_set.caution,
        questions=questions_of(leakage_percent, half, found),
        before_opening=before_opening(leakage_percent),
    )


def spread(
    leakages_percent: Mapping[int, float], limit_set: LimitSet, expanded_percent: Mapping[int, float] | None = None
) -> Spread | None:
    """How far apart the cylinders of one stage read, by cylinder number; None with fewer than two or where the set has no spread.

    The two uncertainties are taken as independent, which is wide rather than narrow: what one rig gets wrong for both of them alike
    drops out of the difference. Raises ValueError for a leakage that is not finite.

    >>> from borewright.core.limit_sets import Band
    >>> shop = LimitSet("shop", "own", "our bench", (Band("any", "-"),), (5.0, 10.0))
    >>> found = spread({1: 6.0, 2: 8.0, 3: 31.0, 4: 7.0}, shop, {n: 0.3 for n in (1, 2, 3, 4)})
    >>> found.range_percent, found.certain, found.words
    (25.0, True, 'uneven: 25.0 percentage points between cylinder 3 and cylinder 1, more than 5 to 10; look at cylinder 3 first')
    """
    if not all(isfinite(value) for value in leakages_percent.values()):
        raise ValueError("leakages_percent: must be finite")
    if limit_set.spread_percent is None or len(leakages_percent) < 2:
        return None
    low, high = limit_set.spread_percent
    worst = max(leakages_percent, key=leakages_percent.__getitem__)
    best = min(leakages_percent, key=leakages_percent.__getitem__)
    apart = leakages_percent[worst] - leakages_percent[best]
    known = expanded_percent if expanded_percent is not None and {worst, best} <= set(expanded_percent) else None
    expanded = None if known is None else hypot(known[worst], known[best])
    half = expanded or 0.0
    limits = [limit for limit in (low, high) if apart - half <= limit < apart + half]
    who = f"{apart:.1f} percentage points between cylinder {worst} and cylinder {best}"
    usual = f"{low:g} to {high:g}" if high > low else f"{high:g}"
    if limits:
        words = f"{who}, too near to {' and '.join(f'{limit:g}' for limit in limits)} to tell; test both again"
    elif apart <= low:
        words = f"even: {who}, under the usual {usual}"
    elif apart <= high:
        words = f"as usual: {who}, inside of {usual}"
    else:
        words = f"uneven: {who}, more than {usual}; look at cylinder {worst} first"
    return Spread(apart, expanded, worst, best, expanded is not None and not limits, words, limit_set.source)


def _called(limit_set: LimitSet, found: Circumstances) -> str:
    procedure = limit_set.procedure
    if procedure is None:
        return ""
    departures = procedure.departures(found)
    if departures:
        return f"{procedure.otherwise}: {'; '.join(departures)}"
    return procedure.name + (f" (assumed: {'; '.join(procedure.assumed)})" if procedure.assumed else "")
