"""Why leak shares decide or do not, in words, and what would."""

from __future__ import annotations

from dataclasses import dataclass

from borewright.core.shares_data import Share

__all__ = ["Verdict", "words_of"]

ALIKE_LOW = 15.0
"""A second place of which at least so many percent are sure is worth opening whatever is first."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the words are made of. chance: that the leading one (main, or the rest when that is None) does lead."""

    shares: tuple[Share, ...]
    rest: Share
    main: str | None
    chance: float
    contradicted: bool


def words_of(verdict: Verdict, decided: bool) -> str:
    """One to three sentences."""
    by_size = sorted(verdict.shares, key=lambda share: -share.percent)
    first = by_size[0] if by_size else verdict.rest
    if verdict.contradicted:
        return (
            "The readings contradict each other: no leak explains all of them. The crank may have moved between them, or a stop was"
            " not where it is said to be. Take the plain test again, then the one that stands out."
        )
    if decided:
        return f"{_name(first).capitalize()} leaks most: {_span(first)} of the leak, more than any other place." + _second(by_size)
    if not any(share.looked_at for share in verdict.shares):
        return (
            "This does not decide: nothing was stopped and no flow was measured at any place. Do so at one place after the other."
        )
    if verdict.main is None or verdict.rest.high_percent >= first.low_percent > verdict.rest.low_percent or _rest_leads(verdict):
        return _about_rest(verdict)
    second = by_size[1]
    if min(first.low_percent, second.low_percent) >= ALIKE_LOW:
        return (
            f"This does not decide which leaks more: {_name(first)} ({_span(first)}) and {_name(second)} ({_span(second)})"
            " leak about alike. Look at both."
        )
    return (
        f"This does not decide: {_name(first)} may have {_span(first)} of the leak, {_name(second)} {_span(second)}. Stop every"
        " place that may be stopped and open these two one at a time, or measure the flow at each."
    )


def _rest_leads(verdict: Verdict) -> bool:
    return verdict.rest.percent >= max((share.percent for share in verdict.shares), default=0.0)


def _about_rest(verdict: Verdict) -> str:
    unseen = [_name(share) for share in verdict.shares if not share.looked_at]
    words = f"This does not decide: {_span(verdict.rest)} of the leak was taken away by no stop and found at no place."
    if unseen:
        words += f" It may be at {_joined(unseen)}, where nothing was stopped or measured, or a stop did not hold."
    else:
        words += " It leaves somewhere else, or a stop did not hold: read the gauge on each stop."
    return words + " Measuring the flow at a place through a known orifice tells."


def _second(by_size: list[Share]) -> str:
    if len(by_size) > 1 and by_size[1].low_percent >= ALIKE_LOW:
        return f" {_name(by_size[1]).capitalize()} has {_span(by_size[1])}: look there too."
    return ""


def _span(share: Share) -> str:
    low, high = f"{share.low_percent:.0f}", f"{share.high_percent:.0f}"
    return f"{low} %" if low == high else f"{low} to {high} %"


def _name(share: Share) -> str:
    return share.place.replace("_", " ")


def _joined(names: list[str]) -> str:
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " or " + names[-1]
