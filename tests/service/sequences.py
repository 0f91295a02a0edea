"""Random sequences of events at the toy rig, numbered, so that each can be done again; and the shortest that is still wrong."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cache
from itertools import accumulate
from random import Random

from borewright.core.engine import Engine
from borewright.service import acts

from .quick_toy import QuickHost, QuickToy
from .random_acts import ACTS, Act
from .toy_rig import FOUR, THREE, TWO_STROKE

__all__ = ["Found", "Survey", "do", "prepare", "run", "shortest"]

RIGS: tuple[tuple[Engine, int, bool], ...] = ((FOUR, 1, False), (FOUR, -1, True), (THREE, 1, False), (TWO_STROKE, 1, False))
STAGES = {
    "ready": 4,
    "armed": 6,
    "watching": 3,
    "filling": 1,
    "to confirm": 2,
    "to place the hose": 2,
    "checked": 1,
    "sealed": 1,
    "restrictor": 1,
    "ready by the puff": 2,
    "armed by the puff": 3,
    "watching by the puff": 1,
    "to confirm by the puff": 1,
    "to place the hose by the puff": 2,
}
BY_THE_PUFF = " by the puff"
BEFORE = {
    "checked": "known",
    "sealed": "known",
    "restrictor": "known",
    "squeezed": "known",
    "to place the hose": "squeezed",
    "ready": "to place the hose",
    "to confirm": "ready",
    "armed": "ready",
    "watching": "armed",
    "filling": "watching",
}
OF_A_CYLINDER = {"to place the hose", "ready", "armed", "watching"}
MOST_ACTS = 5
_ACTS, _OFTEN = tuple(ACTS), tuple(accumulate(ACTS.values()))
_STAGES, _STAGES_OFTEN = tuple(STAGES), tuple(accumulate(STAGES.values()))


@cache
def prepared(rig: tuple[Engine, int, bool], stage: str, cylinder: int) -> QuickHost:
    """A host and a rig that went honestly as far as this stage; every sequence begins with a copy of one."""
    engine, sign, hold_switch = rig
    plain = stage.removesuffix(BY_THE_PUFF)
    by_the_puff = stage[len(plain) :]
    if plain == "known":
        host = QuickHost(QuickToy(engine, sign=sign, hold_switch=hold_switch))
        host.run(3.0)
        host.take_zero()
        host.know_checks("sealed", "restrictor")
        host.find_tdc(engine.firing_order[0])
        return host
    before, test = BEFORE[plain], acts.Purpose("test", cylinder)
    host = prepared(rig, before + by_the_puff * (before in OF_A_CYLINDER), cylinder if before in OF_A_CYLINDER else 0).copy()
    match plain:
        case "checked":
            host.set_purpose(test)
        case "sealed" | "restrictor":
            host.set_purpose(acts.Purpose(plain, orifice_area_m2=8e-7))  # type: ignore[arg-type]
            host.follow_until_ready()
        case "squeezed":  # in the first cylinder; then carried over to the next, so that both ways to evidence occur
            host.set_purpose(acts.Purpose("test", engine.firing_order[0]))
            host.follow_until_ready()
            host.run(0.1)
        case "to place the hose":
            host.act(acts.CarryStroke(bool(by_the_puff)))
            host.set_purpose(test)
        case "ready":
            host.move_hose(cylinder)
            host.read_back()
            host.run(0.1)  # else the conditions are still those of the cylinder before
            host.follow_until_ready()
        case "to confirm":
            host.confirm(frozenset({"plugs_out"}))
            host.run(0.1)
        case "armed":  # air is asked for, and the countdown runs where there is no hold switch
            host.follow()
            host.run(0.04 if hold_switch else 2.7)
        case _:
            host.run(1.0)
    return host


def prepare() -> None:
    """Bring all rigs to all stages, before anything of the host is changed."""
    for rig in RIGS:
        for stage in STAGES:
            for cylinder in rig[0].firing_order:
                prepared(rig, stage, cylinder)


@dataclass
class Found:
    """What became of one sequence. wrong: what was wrong with openings on the wire, nothing where all is well."""

    number: int
    began: str
    acts: tuple[str, ...]
    opens: list[str]
    wrong: list[str]
    by_word: list[str]
    by_slip: list[str]
    refused: int
    by_the_puff: int


def _plan(number: int) -> tuple[QuickHost, str, list[Act]]:
    rng = Random(number)
    rig = rng.choice(RIGS)
    stage = rng.choices(_STAGES, cum_weights=_STAGES_OFTEN)[0]
    cylinder = rng.choice(rig[0].firing_order)
    planned = rng.choices(_ACTS, cum_weights=_OFTEN, k=rng.randint(2, MOST_ACTS))
    host = prepared(rig, stage, cylinder).copy()
    return host, f"{rig[0].name}, cylinder {cylinder}, {stage}", planned


def do(number: int, only: Sequence[int] | None = None) -> Found:
    """Do the sequence of this number, or only those of its acts; what is random in one does not depend on the others."""
    host, began, planned = _plan(number)
    done = []
    for place, act in enumerate(planned):
        if only is None or place in only:
            done.append(act.__name__)
            act(host, Random(number * 1000 + place))
            if host.toy.wrong:
                break
    toy = host.toy
    opens = [*toy.opens]
    return Found(number, began, tuple(done), opens, toy.wrong, toy.by_word, toy.by_slip, len(host.refused), host.by_the_puff)


def shortest(number: int) -> Found:
    """A wrong sequence without the acts that it is still wrong without."""
    places = list(range(len(_plan(number)[2])))
    for place in tuple(places):
        without = [other for other in places if other != place]
        if do(number, without).wrong:
            places = without
    return do(number, places)


@dataclass
class Survey:
    """Sums over sequences. opens: openings on the wire, by kind; seen: of which acts how many were done."""

    sequences: int = 0
    with_air: int = 0
    refused: int = 0
    by_the_puff: int = 0
    opens: Counter[str] = field(default_factory=Counter)
    by_word: Counter[str] = field(default_factory=Counter)
    by_slip: int = 0
    wrong: list[Found] = field(default_factory=list)

    def add(self, found: Found) -> None:
        self.sequences += 1
        self.with_air += bool(found.opens)
        self.refused += found.refused
        self.by_the_puff += found.by_the_puff
        self.opens.update(found.opens)
        self.by_word.update(found.by_word)
        self.by_slip += bool(found.by_slip)
        if found.wrong:
            self.wrong.append(found)


def run(numbers: Iterable[int]) -> Survey:
    """Do the sequences of these numbers."""
    survey = Survey()
    for number in numbers:
        survey.add(do(number))
    return survey
