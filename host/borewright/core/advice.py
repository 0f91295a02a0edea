"""What to open, what to measure there and what to look at first: a reasoned list from the findings of a job.

An aid to judgement. What imitates a leak is asked for before anything is opened, and evidence that does not decide asks for the
test that would, not for a teardown.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Literal

from borewright.core.engine import Engine
from borewright.core.place_meaning import place_words
from borewright.core.place_open import open_now
from borewright.core.teardown import teardown
from borewright.core.wet import WetVerdict

if TYPE_CHECKING:
    from borewright.core.shares import Share, Shares

__all__ = ["NEVER_SOUND", "NOTHING", "Advice", "CylinderEvidence", "advice_of", "heard_words", "share_words"]

Certainty = Literal["points to", "may be", "undecided"]

RINGS = frozenset({"breather", "crankcase", "exhaust_port"})
NEVER_SOUND = frozenset({"coolant", "neighbours", "other_chambers"})
"""Places where sound work lets no air out at all, however little it is (common practice)."""
CLEAR = ("steady", "strong")
ALSO_LEAKS_PERCENT = 15.0  # project: a second place with certainly more than this part of the leak is worth a line of its own
ALIKE_AT_LEAST = 3
ALIKE_PERCENT = 5.0  # common practice: the lower end of the usual spread
NOTHING = "nothing"
NOT_YET = "nothing yet"


@dataclass(frozen=True, slots=True)
class Advice:
    """One line of the list. cylinder: 0 for the engine. evidence: what it rests on. An aid to judgement, never an order."""

    cylinder: int
    open: str
    measure: str
    look_first: str
    evidence: tuple[str, ...]
    certainty: Certainty


@dataclass(frozen=True, slots=True)
class CylinderEvidence:
    """What is known of one cylinder.

    leakage_percent, expanded_percent: None where not known. tests: their numbers. seals: it lies in the lowest band of the limits
    for certain. judged: the words of that. heard: strength by place, the last word of each. questions, contradictions: to be
    cleared up before anything is opened. further_tests: what would decide, where nothing does yet.
    """

    cylinder: int
    leakage_percent: float | None = None
    expanded_percent: float | None = None
    tests: tuple[int, ...] = ()
    seals: bool = False
    judged: str = ""
    heard: Mapping[str, str] = field(default_factory=dict)
    shares: Shares | None = None
    wet: WetVerdict | None = None
    questions: tuple[str, ...] = ()
    contradictions: tuple[str, ...] = ()
    further_tests: tuple[str, ...] = ()


def share_words(share: Share) -> str:
    """A share with its interval.

    >>> from borewright.core.shares import Share
    >>> share_words(Share("exhaust", 71.2, 64.0, 78.4, 0.5e-6))
    '71 % (64 to 78 %)'
    """
    if not share.looked_at:
        return "not told apart"
    return f"{share.percent:.0f} % ({share.low_percent:.0f} to {share.high_percent:.0f} %)"


def heard_words(heard: Mapping[str, str], places: Sequence[str]) -> str:
    """What was heard, the strongest first; empty where nobody looked.

    >>> heard_words({"exhaust": "strong", "intake": "none"}, ("intake", "exhaust", "breather"))
    'heard: exhaust strong; nothing at intake; not looked at: breather'
    """
    if not heard:
        return ""
    loudest = [place for strength in ("strong", "steady", "faint") for place in places if heard.get(place) == strength]
    told = [f"{place_words(place)} {heard[place]}" for place in loudest]
    quiet = [place_words(place) for place in places if heard.get(place) == "none"]
    missing = [place_words(place) for place in places if place not in heard]
    parts = (("heard: ", told), ("nothing at ", quiet), ("not looked at: ", missing))
    return "; ".join(title + ", ".join(which) for title, which in parts if which)


def advice_of(engine: Engine, evidence: Sequence[CylinderEvidence], spread: str = "") -> tuple[Advice, ...]:
    """The list for the cylinders that something is known of. spread: words on how far they lie apart, added to the evidence.

    >>> single = Engine("pump", "four-stroke", (1,), (720.0,), 0.086, 0.086, 0.143, 55e-6, cooling="air")
    >>> heard = {"intake": "none", "exhaust": "strong", "breather": "none", "outside": "none"}
    >>> [line] = advice_of(single, [CylinderEvidence(1, 42.0, 0.6, heard=heard)])
    >>> line.certainty, line.open
    ('points to', 'the cylinder head, for the exhaust valve')
    """
    lines = [line for known in evidence for line in _of_cylinder(engine, known, spread)]
    return tuple(_of_engine(engine, evidence, spread) + lines)


def _of_engine(engine: Engine, evidence: Sequence[CylinderEvidence], spread: str) -> list[Advice]:
    """What only shows beside the other cylinders."""
    lines = []
    told = {
        known.cylinder: known.heard["neighbours"]
        for known in evidence
        if known.heard.get("neighbours", "none") != "none" and not _through_manifold(engine, known, "neighbours")
    }
    if len(told) > 1:
        work = teardown(engine, "neighbours")
        both = tuple(f"cylinder {cylinder}: air at neighbours, {strength}" for cylinder, strength in told.items())
        lines.append(Advice(0, work.open, work.measure, work.look_first, both, "may be"))
    leaking = {known.cylinder: known.leakage_percent for known in evidence if known.leakage_percent is not None and not known.seals}
    if len(leaking) == len(engine.cylinders) >= ALIKE_AT_LEAST and max(leaking.values()) - min(leaking.values()) <= ALIKE_PERCENT:
        first = (
            "all cylinders leak alike, which wear seldom does: the rig's sealed check and its adapter, a cold engine with dry "
            "rings, the same error of TDC for all; test again warm before any of them is opened"
        )
        figures = ", ".join(f"{cylinder}: {percent:.1f} %" for cylinder, percent in leaking.items())
        basis = tuple(line for line in (f"leakage by cylinder: {figures}", spread) if line)
        lines.append(Advice(0, NOT_YET, "nothing: the evidence does not decide yet", first, basis, "undecided"))
    return lines


def _of_cylinder(engine: Engine, known: CylinderEvidence, spread: str) -> list[Advice]:
    basis = _basis(engine, known, spread)
    if known.leakage_percent is None:
        if all(strength == "none" for strength in known.heard.values()):
            return []
        return [_undecided(known, basis, "take a test of this cylinder first: there is no number yet")]
    lines = _without_questions(engine, known, basis)
    asked = (*known.contradictions, *known.questions)
    if not asked:
        return lines
    # what imitates a leak comes before it, and while it is open nothing else is sure
    first = _undecided(known, basis, " ".join(asked), "nothing: answer these, then test again")
    opening = [line for line in lines if line.open not in (NOTHING, NOT_YET)]
    return [first, *(replace(line, certainty="may be") for line in opening)]


def _without_questions(engine: Engine, known: CylinderEvidence, basis: tuple[str, ...]) -> list[Advice]:
    odd = sorted((place for place in NEVER_SOUND if known.heard.get(place, "none") != "none"), key=engine.places.index)
    if known.seals:
        return _heard_lines(engine, known, basis, odd, "may be") if odd else [_nothing(known, basis)]
    if known.shares is not None:
        return _merged(_by_shares(engine, known, known.shares, basis, odd))
    return _merged(_by_ear(engine, known, basis, odd))


def _merged(lines: Sequence[Advice]) -> list[Advice]:
    """Lines that open the same thing as one, with the evidence of all: rings are heard at several places of a two-stroke."""
    found: dict[str, Advice] = {}
    undecided = [line for line in lines if line.certainty == "undecided"]
    for line in lines:
        if line.certainty != "undecided":
            first = found.setdefault(line.open, line)
            found[line.open] = replace(first, evidence=tuple(dict.fromkeys((*first.evidence, *line.evidence))))
    return [*undecided, *found.values()]


def _basis(engine: Engine, known: CylinderEvidence, spread: str) -> tuple[str, ...]:
    """The evidence of every line: leakage, what was heard, the wet test, the other cylinders."""
    said = []
    if known.leakage_percent is not None:
        wide = "its uncertainty is not known" if known.expanded_percent is None else f"± {known.expanded_percent:.1f} %"
        numbers = f" (test {', '.join(map(str, known.tests))})" if known.tests else ""
        said.append(f"leakage {known.leakage_percent:.1f} % {wide}{numbers}" + (f": {known.judged}" if known.judged else ""))
    said += [heard_words(known.heard, engine.places)]
    said += [known.wet.words] if known.wet is not None else []
    return tuple(line for line in (*said, "" if known.seals else spread) if line)


def _undecided(known: CylinderEvidence, basis: tuple[str, ...], first: str, measure: str = "") -> Advice:
    return Advice(known.cylinder, NOT_YET, measure or "nothing: the evidence does not decide yet", first, basis, "undecided")


def _nothing(known: CylinderEvidence, basis: tuple[str, ...]) -> Advice:
    clear = [place_words(place) for place, strength in known.heard.items() if strength in CLEAR and place not in RINGS]
    first = "nothing needs opening on this evidence; test again in time"
    if clear:
        first += f", and listen at {' and '.join(clear)} again then: sound work lets next to no air out there"
    return Advice(known.cylinder, NOTHING, "nothing", first, basis, "points to")


def _by_shares(engine: Engine, known: CylinderEvidence, shares: Shares, basis: tuple[str, ...], odd: Sequence[str]) -> list[Advice]:
    by_place = {share.place: share for share in shares.shares}
    if not shares.decided or shares.main is None:
        if (together := _together(engine, shares)) and not any(_doubts(known, share.place, share) for share in together):
            told = tuple(f"{place_words(share.place)} has {share_words(share)} of the leak" for share in together)
            return [_line(engine, known, together[0].place, (*told, *basis), "points to")]
        first = known.further_tests[0] if known.further_tests else "repeat the readings: turn over, come back, test again"
        return [_undecided(known, (*basis, shares.words), first), *_heard_lines(engine, known, basis, odd, "may be")]
    lines = []
    for share in sorted(shares.shares, key=lambda one: -one.percent):
        if share.place == shares.main or share.low_percent >= ALSO_LEAKS_PERCENT:
            doubts = _doubts(known, share.place, share)
            told = (f"{place_words(share.place)} has {share_words(share)} of the leak", *doubts)
            sure: Certainty = "points to" if share.place == shares.main and not doubts else "may be"
            lines.append(_line(engine, known, share.place, (*told, *basis), sure))
    told_already = {shares.main, *(place for place, share in by_place.items() if share.low_percent >= ALSO_LEAKS_PERCENT)}
    # a little into the coolant is a leak all the same; a little at a neighbour is a manifold's or the crankcase's more often
    little = {place for place, share in by_place.items() if share.looked_at and share.high_percent < ALSO_LEAKS_PERCENT} - {
        "coolant"
    }
    rest = [place for place in odd if place not in told_already | little]
    return lines + _heard_lines(engine, known, basis, rest, "may be")


def _together(engine: Engine, shares: Shares) -> list[Share]:
    """Several places that stand for the same parts and certainly have most of the leak between them; none: no such places."""
    for one in shares.shares:
        same = [share for share in shares.shares if teardown(engine, share.place).open == teardown(engine, one.place).open]
        if len(same) > 1 and sum(share.low_percent for share in same) > 50.0:
            return sorted(same, key=lambda share: -share.percent)
    return []


def _by_ear(engine: Engine, known: CylinderEvidence, basis: tuple[str, ...], odd: Sequence[str]) -> list[Advice]:
    heard = [place for place in engine.places if known.heard.get(place, "none") != "none"]
    clear = [place for place in heard if known.heard[place] in CLEAR]
    missing = [place for place in engine.places if place not in known.heard]
    if not known.heard:
        first = known.further_tests[0] if known.further_tests else "hold the air on and look, listen and feel at every place"
        return [_undecided(known, basis, first)]
    if not heard:
        first = (
            f"look at {', '.join(map(place_words, missing))} too"
            if missing
            else "it leaks and is heard nowhere: paint adapter and hose with soapy water, make the sealed check, then listen again"
        )
        return [_undecided(known, basis, first)]
    wanted = sorted({*clear, *odd}, key=engine.places.index) or heard
    # a faint breath at the rings is every engine's
    leaking = [place for place in heard if place in clear or place not in RINGS]
    parts = {teardown(engine, place).open for place in leaking}
    alone = len(parts) == 1 and leaking == clear and not missing
    return _heard_lines(engine, known, basis, wanted, "points to" if alone else "may be")


def _heard_lines(
    engine: Engine, known: CylinderEvidence, basis: tuple[str, ...], places: Sequence[str], certainty: Certainty
) -> list[Advice]:
    lines = []
    for place in places:
        if through := _through_manifold(engine, known, place):
            first = f"{through}; take the manifold off or test the other cylinder itself before the gasket is blamed"
            lines.append(_undecided(known, (f"air at {place_words(place)}, {known.heard[place]}", *basis), first))
            continue
        doubts = _doubts(known, place, None)
        shares = {} if known.shares is None else {share.place: share for share in known.shares.shares if share.looked_at}
        much = f"{share_words(shares[place])} of the leak" if place in shares else "how much of the leak it is was not measured"
        told = f"air at {place_words(place)}, {known.heard[place]}; {much}"
        lines.append(_line(engine, known, place, (told, *doubts, *basis), "may be" if doubts else certainty))
    return lines


def _through_manifold(engine: Engine, known: CylinderEvidence, place: str) -> str:
    """Which open valves or ports of other cylinders explain air at them: those of a port where air was heard as well."""
    if place not in ("neighbours", "other_chambers"):
        return ""
    kinds = {"intake": "intake", "exhaust": "exhaust", "exhaust_port": "exhaust", "crankcase": "transfer"}
    found = []
    for port, kind in kinds.items():
        if known.heard.get(port, "none") != "none" and (others := open_now(engine, known.cylinder, kind)):
            found.append(f"air was heard at {place_words(port)} too, and {others} open there now: it may come that way")
    return "; ".join(found)


def _doubts(known: CylinderEvidence, place: str, share: Share | None) -> tuple[str, ...]:
    """What speaks against this place."""
    found = []
    if share is not None and known.heard.get(place) == "none":
        found.append(f"against it: nothing was heard at {place_words(place)}; listen there again")
    if place in RINGS and known.wet is not None and known.wet.verdict != "tighter":
        found.append(
            "against worn rings: oil changed nothing; think of piston, ring land and stuck rings, or of oil that missed them"
        )
    if place not in RINGS and known.wet is not None and known.wet.verdict == "tighter":
        found.append("against it alone: oil made it tighter, so the rings have their part")
    return tuple(found)


def _line(engine: Engine, known: CylinderEvidence, place: str, evidence: tuple[str, ...], certainty: Certainty) -> Advice:
    work = teardown(engine, place)
    first = work.look_first
    if certainty == "may be" and known.further_tests:
        first += f"; and to be surer: {known.further_tests[0].split('. ')[0]}"
    return Advice(known.cylinder, work.open, work.measure, first, evidence, certainty)
