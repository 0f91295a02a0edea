"""What to open, what to measure there and what to look at first: a reasoned list from the findings of a job.

An aid to judgement. What imitates a leak is asked for before anything is opened, and evidence that does not decide asks for the
test that would, not for a teardown. The lines of a cylinder come by how much of the leak they stand for: measured shares first,
then by how strong it was heard.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations
from typing import TYPE_CHECKING

from borewright.core.advice_evidence import (
    CLEAR,
    NEVER_SOUND,
    RINGS,
    Advice,
    Certainty,
    CylinderEvidence,
    StageEvidence,
    heard_words,
    share_words,
)
from borewright.core.engine import Engine
from borewright.core.explained import at_plug_hole, doubts, explained, through_manifold
from borewright.core.heard import OTHER_CYLINDERS
from borewright.core.place_meaning import place_words
from borewright.core.teardown import teardown

if TYPE_CHECKING:
    from borewright.core.shares import Share, Shares

__all__ = ["NEVER_SOUND", "NOTHING", "NOT_YET", "Advice", "CylinderEvidence", "advice_of", "heard_words", "share_words"]

ALSO_LEAKS_PERCENT = 15.0  # project: a second place with certainly more than this part of the leak is worth a line of its own
ALIKE_AT_LEAST = 3
ALIKE_PERCENT = 5.0  # common practice: the lower end of the usual spread
NOTHING = "nothing"
NOT_YET = "nothing yet"


def advice_of(engine: Engine, evidence: Sequence[CylinderEvidence], spread: str = "") -> tuple[Advice, ...]:
    """The list for the cylinders that something is known of. spread: words on how far they lie apart, added to the evidence.

    >>> single = Engine("pump", "four-stroke", (1,), (720.0,), 0.086, 0.086, 0.143, 55e-6, cooling="air")
    >>> heard = {"intake": "none", "exhaust": "strong", "breather": "none", "outside": "none"}
    >>> [line] = advice_of(single, [CylinderEvidence(1, 42.0, 0.6, heard=heard)])
    >>> line.certainty, line.open
    ('points to', 'the cylinder head, for the exhaust valve')
    """
    stage = StageEvidence(engine, {known.cylinder: known for known in evidence}, spread)
    lines = [line for known in evidence for line in _of_cylinder(stage, known)]
    return tuple(_of_engine(stage) + lines)


def _of_engine(stage: StageEvidence) -> list[Advice]:
    """What only shows beside the other cylinders."""
    lines = _both_sides(stage)
    every = stage.by_cylinder.values()
    leaking = {known.cylinder: known.leakage_percent for known in every if known.leakage_percent is not None and not known.seals}
    alike = len(leaking) == len(stage.engine.cylinders) >= ALIKE_AT_LEAST
    if alike and max(leaking.values()) - min(leaking.values()) <= ALIKE_PERCENT:
        first = (
            "all cylinders leak alike, which wear seldom does: the rig's sealed check and its adapter, a cold engine with dry "
            "rings, the same error of TDC for all; test again warm before any of them is opened"
        )
        figures = ", ".join(f"{cylinder}: {percent:.1f} %" for cylinder, percent in leaking.items())
        basis = tuple(line for line in (f"leakage by cylinder: {figures}", stage.spread) if line)
        lines.append(Advice(0, NOT_YET, "nothing: the evidence does not decide yet", first, basis, "undecided"))
    return lines


def _both_sides(stage: StageEvidence) -> list[Advice]:
    """Air at other cylinders from two of them: a gasket or a crack between two bores leaks from both sides."""
    lines = []
    for place in [place for place in OTHER_CYLINDERS if place in stage.engine.places]:
        told = [one for one in stage.by_cylinder.values() if one.loudness(place) and not explained(stage, one, place)]
        unnamed: dict[int, CylinderEvidence] = {}
        for one, other in combinations(told, 2):
            names = (other.cylinder in one.heard_beside, one.cylinder in other.heard_beside)
            if all(names):
                clear = one.neighbours[other.cylinder] in CLEAR and other.neighbours[one.cylinder] in CLEAR
                asked = any((*known.contradictions, *known.questions) for known in (one, other))
                lines.append(_between(stage, place, (one, other), "points to" if clear and not asked else "may be", named=True))
            elif (names[0] or not one.heard_beside) and (names[1] or not other.heard_beside):
                unnamed |= {one.cylinder: one, other.cylinder: other}
        if unnamed:
            lines.append(_between(stage, place, tuple(unnamed.values()), "may be", named=False))
    return lines


def _between(stage: StageEvidence, place: str, known: Sequence[CylinderEvidence], certainty: Certainty, *, named: bool) -> Advice:
    """named: each of the two was heard at the other."""
    work = teardown(stage.engine, place, (known[0].cylinder, known[1].cylinder) if named else None)
    both = tuple(f"cylinder {one.cylinder}: {_heard_at(one, place)}" for one in known)
    return Advice(0, work.open, work.measure, work.look_first, both, certainty)


def _of_cylinder(stage: StageEvidence, known: CylinderEvidence) -> list[Advice]:
    basis = _basis(stage, known)
    if known.leakage_percent is None:
        if all(strength == "none" for strength in known.heard.values()):
            return []
        return [_undecided(known, basis, "take a test of this cylinder first: there is no number yet")]
    lines = _without_questions(stage, known, basis)
    asked = (*known.contradictions, *known.questions)
    if not asked:
        return lines
    # what imitates a leak comes before it, and while it is open nothing else is sure
    first = _undecided(known, basis, " ".join(asked), "nothing: answer these, then test again")
    opening = [line for line in lines if line.open not in (NOTHING, NOT_YET)]
    return [first, *(replace(line, certainty="may be") for line in opening)]


def _without_questions(stage: StageEvidence, known: CylinderEvidence, basis: tuple[str, ...]) -> list[Advice]:
    odd = [place for place in _loudest_first(stage, known) if place in NEVER_SOUND]
    if known.seals:
        # sound valves let a little by too, and a manifold takes it round
        odd = [place for place in odd if not explained(stage, known, place)]
        return _heard_lines(stage, known, basis, odd, "may be") if odd else [_nothing(known, basis)]
    if known.shares is not None:
        return _merged(_by_shares(stage, known, known.shares, basis, odd))
    return _merged(_by_ear(stage, known, basis))


def _loudest_first(stage: StageEvidence, known: CylinderEvidence) -> list[str]:
    """The places where something was heard; of equal ones first those where sound work lets nothing out, the rings last."""
    found = [place for place in stage.engine.places if known.loudness(place)]
    return sorted(found, key=lambda place: (-known.loudness(place), place not in NEVER_SOUND, place in RINGS))


def _merged(lines: Sequence[Advice]) -> list[Advice]:
    """Lines that open the same thing as one, with the evidence of all: rings are heard at several places of a two-stroke."""
    found: list[Advice] = []
    for line in lines:
        same = next((n for n, one in enumerate(found) if one.open == line.open and line.certainty != "undecided"), None)
        if same is None:
            found.append(line)
        else:
            both = tuple(dict.fromkeys((*found[same].evidence, *line.evidence)))
            found[same] = replace(found[same], evidence=both)
    return found


def _basis(stage: StageEvidence, known: CylinderEvidence) -> tuple[str, ...]:
    """The evidence of every line: leakage, what was heard, the wet test, the other cylinders."""
    said = []
    if known.leakage_percent is not None:
        digits = 1 if known.expanded_percent is None or known.expanded_percent >= 0.05 else 2
        wide = "its uncertainty is not known" if known.expanded_percent is None else f"± {known.expanded_percent:.{digits}f} %"
        numbers = f" (test {', '.join(map(str, known.tests))})" if known.tests else ""
        said.append(f"leakage {known.leakage_percent:.{digits}f} % {wide}{numbers}" + (f": {known.judged}" if known.judged else ""))
    said += [heard_words(known.heard, stage.engine.places, known.neighbours)]
    said += [known.wet.words] if known.wet is not None else []
    return tuple(line for line in (*said, "" if known.seals else stage.spread) if line)


def _undecided(known: CylinderEvidence, basis: tuple[str, ...], first: str, measure: str = "") -> Advice:
    return Advice(known.cylinder, NOT_YET, measure or "nothing: the evidence does not decide yet", first, basis, "undecided")


def _nothing(known: CylinderEvidence, basis: tuple[str, ...]) -> Advice:
    clear = [place_words(place) for place, strength in known.heard.items() if strength in CLEAR and place not in RINGS]
    first = "nothing needs opening on this evidence; test again in time"
    if clear:
        first += f", and listen at {' and '.join(clear)} again then: sound work lets next to no air out there"
    return Advice(known.cylinder, NOTHING, "nothing", first, basis, "points to")


def _by_shares(
    stage: StageEvidence, known: CylinderEvidence, shares: Shares, basis: tuple[str, ...], odd: Sequence[str]
) -> list[Advice]:
    strong = [place for place in odd if known.heard[place] == "strong"]
    if not shares.decided or shares.main is None:
        together = _together(stage.engine, shares)
        if together and not any(doubts(stage, known, share.place) for share in together):
            told = tuple(f"{place_words(share.place)} has {share_words(share)} of the leak" for share in together)
            return [_line(stage, known, together[0].place, (*told, *basis), "points to")]
        first = _next_test(known) or "repeat the readings: turn over, come back, test again"
        rest = [place for place in odd if place not in strong]
        # what is found at no place is most likely where it is heard strong
        loud = [place for place in _loudest_first(stage, known) if known.heard[place] == "strong"]
        loud = [place for place in loud if place in strong or (_much_is_nowhere(shares) and not explained(stage, known, place))]
        nowhere = f"{share_words(shares.unattributed)} of the leak was found at no place that was measured: it may be this"
        told = (nowhere, *basis) if _much_is_nowhere(shares) else basis
        return [
            *_heard_lines(stage, known, told, loud, "may be"),
            _undecided(known, (*basis, shares.words), first),
            *_heard_lines(stage, known, basis, rest, "may be"),
        ]
    by_share = sorted(shares.shares, key=lambda one: -one.percent)
    much = [share for share in by_share if share.place == shares.main or share.low_percent >= ALSO_LEAKS_PERCENT]
    usual = {share.place: words for share in much if share.place in RINGS and (words := explained(stage, known, share.place))}
    others = [share for share in much if share.place not in usual]
    basis = (*basis, *usual.values(), *_loud_but_little(known, shares))
    measured = [_share_line(stage, known, share, shares, basis) for share in others]
    # a little into the coolant is a leak all the same; a little at a neighbour is a manifold's or the crankcase's more often
    little = {share.place for share in by_share if share.looked_at and share.high_percent < ALSO_LEAKS_PERCENT} - {"coolant"}
    rest = [place for place in odd if place not in {share.place for share in much} and (place in strong or place not in little)]
    unmeasured = _heard_lines(stage, known, basis, [place for place in rest if place in strong and place not in little], "may be")
    after = _heard_lines(stage, known, basis, [place for place in rest if place not in strong or place in little], "may be")
    lead = measured[:1] if others and others[0].place not in RINGS else []
    lines = [*lead, *unmeasured, *measured[len(lead) :], *after]
    if lines:
        return lines
    return [_share_line(stage, known, share, shares, basis, usual=True) for share in much]


def _much_is_nowhere(shares: Shares) -> bool:
    """Whether more of the leak was found at no place than at any."""
    return shares.unattributed.low_percent > max((share.percent for share in shares.shares), default=0.0)


def _share_line(
    stage: StageEvidence, known: CylinderEvidence, share: Share, shares: Shares, basis: tuple[str, ...], usual: bool = False
) -> Advice:
    against = doubts(stage, known, share.place)
    told = (f"{place_words(share.place)} has {share_words(share)} of the leak", *against, *_for_it(stage, known, share.place))
    sure: Certainty = "points to" if share.place == shares.main and not against and not usual else "may be"
    return _line(stage, known, share.place, (*told, *basis), sure)


def _loud_but_little(known: CylinderEvidence, shares: Shares) -> tuple[str, ...]:
    """What ears and measurement disagree on; what was measured counts."""
    return tuple(
        f"{place_words(share.place)} was heard {known.heard[share.place]}, but has {share_words(share)} of the leak by "
        "measurement, which counts"
        for share in shares.shares
        if share.looked_at and share.high_percent < ALSO_LEAKS_PERCENT and known.heard.get(share.place) in CLEAR
    )


def _together(engine: Engine, shares: Shares) -> list[Share]:
    """Several places that stand for the same parts and certainly have most of the leak between them; none: no such places."""
    for one in shares.shares:
        same = [share for share in shares.shares if teardown(engine, share.place).open == teardown(engine, one.place).open]
        if len(same) > 1 and sum(share.low_percent for share in same) > 50.0:
            return sorted(same, key=lambda share: -share.percent)
    return []


def _by_ear(stage: StageEvidence, known: CylinderEvidence, basis: tuple[str, ...]) -> list[Advice]:
    engine = stage.engine
    heard = _loudest_first(stage, known)
    missing = [place for place in engine.places if place not in known.heard]
    if not known.heard:
        first = _next_test(known) or "hold the air on and look, listen and feel at every place"
        return [_undecided(known, basis, first)]
    quiet = {place: words for place in heard if (words := explained(stage, known, place))}
    speaking = [place for place in heard if place not in quiet]
    if missing and not speaking:
        return [_undecided(known, (*basis, *quiet.values()), f"look at {', '.join(map(place_words, missing))} too")]
    if not heard:
        first = "it leaks and is heard nowhere: paint adapter and hose with soapy water, make the sealed check, then listen again"
        return [_undecided(known, basis, first)]
    clear = [place for place in speaking if known.heard[place] in CLEAR or place in NEVER_SOUND]
    usual = [place for place in heard if place in quiet and place not in OTHER_CYLINDERS]
    ways_round = [place for place in heard if place in quiet and place in OTHER_CYLINDERS]
    parts = {teardown(engine, place).open for place in speaking}
    # what is usual elsewhere may be more here without sounding so; only where sound work lets nothing out that is no matter
    others = max((known.loudness(place) for place in quiet if teardown(engine, place).open not in parts), default=0)
    louder = any(place in NEVER_SOUND or known.loudness(place) > others for place in speaking)
    alone = len(parts) == 1 and louder and all(known.heard[place] in CLEAR for place in speaking) and not missing
    # where nothing clear speaks for a fault, what is usual may be more than usual all the same
    wanted = clear or [place for place in heard if place in speaking or place in usual]
    told = tuple(words for place, words in quiet.items() if place in usual)
    return [
        *_heard_lines(stage, known, (*basis, *told), wanted, "points to" if alone else "may be"),
        *_heard_lines(stage, known, basis, ways_round, "may be"),
    ]


def _heard_lines(
    stage: StageEvidence, known: CylinderEvidence, basis: tuple[str, ...], places: Sequence[str], certainty: Certainty
) -> list[Advice]:
    lines = []
    for place in places:
        through = through_manifold(stage, known, place)
        if through and known.heard[place] != "strong":
            first = f"{through}; take the manifold off or test the other cylinder itself before the gasket is blamed"
            lines.append(_undecided(known, (_heard_at(known, place), *basis), first))
            continue
        against = doubts(stage, known, place)
        share = known.share_at(place)
        much = "how much of the leak it is was not measured" if share is None else f"{share_words(share)} of the leak"
        told = (f"{_heard_at(known, place)}; {much}", *against, *_for_it(stage, known, place), *basis)
        lines.append(_line(stage, known, place, told, "may be" if against or through else certainty, through))
    return lines


def _heard_at(known: CylinderEvidence, place: str) -> str:
    at = [str(other) for other in known.heard_beside if place in OTHER_CYLINDERS]
    return f"air at {place_words(place)}, {known.heard[place]}" + (f" at cylinder {' and '.join(at)}" if at else "")


def _for_it(stage: StageEvidence, known: CylinderEvidence, place: str) -> tuple[str, ...]:
    return at_plug_hole(stage, known, place) if place in OTHER_CYLINDERS and known.loudness(place) else ()


def _line(
    stage: StageEvidence, known: CylinderEvidence, place: str, evidence: tuple[str, ...], certainty: Certainty, before: str = ""
) -> Advice:
    """before: what imitates it here and now, to be looked at before all else."""
    beside = known.heard_beside if place in OTHER_CYLINDERS else ()
    between = (known.cylinder, beside[0]) if len(beside) == 1 else None
    work = teardown(stage.engine, place, between)
    first = f"{before}; {work.look_first}" if before else work.look_first
    if certainty == "may be" and (test := _next_test(known)):
        first += f"; and to be surer: {test[0].lower()}{test[1:]}"
    return Advice(known.cylinder, work.open, work.measure, first, evidence, certainty)


def _next_test(known: CylinderEvidence) -> str:
    """The first sentence of the first test that would decide; how it is made stands with the tests. Empty without one."""
    return known.further_tests[0].split(". ")[0].rstrip(".") if known.further_tests else ""
