"""Which further tests would decide where a cylinder's air goes: the cheapest first, each with its pressure or its orifice."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

from borewright.core.advice import NEVER_SOUND
from borewright.core.heard import OTHER_CYLINDERS
from borewright.core.place_meaning import place_words
from borewright.core.place_open import open_now
from borewright.core.shares_plan import plan_next
from borewright.core.stopping import highest_supply_gauge_pa, measurable_places, orifice_for, stop_rules, stoppable_places

if TYPE_CHECKING:
    from borewright.core.engine import Engine
    from borewright.core.shares import Shares
    from borewright.core.shares_plan import NextTest
    from borewright.service.path_leakage import Leakage
    from borewright.service.path_readings import PathReadings

__all__ = ["further_tests"]

MOST_SHOWN = 3  # project: what comes after that is better asked again when these have been read
LOUDEST_FIRST: dict[str | None, int] = {"strong": 0, "steady": 1, "faint": 2, "none": 4}


def further_tests(
    engine: Engine, cylinder: int, heard: Mapping[str, str], leakage: Leakage, together: PathReadings, shares: Shares | None
) -> tuple[str, ...]:
    """What would decide, a sentence each; nothing for a cylinder that seals, as long as no place says otherwise."""
    if leakage.percent is None:
        return ("take a test of this cylinder",)
    odd = any(heard.get(place, "none") != "none" for place in NEVER_SOUND)
    if (shares is not None and shares.decided) or (leakage.seals and not odd):
        return ()
    missing = [place_words(place) for place in engine.places if place not in heard]
    said = [f"hold the air on and look, listen and feel at {', '.join(missing)}"] if missing else []
    here, lower = _stops(engine, together)
    measurable = measurable_places(engine)
    if open_now(engine, cylinder):  # what gets over to a neighbour goes on through its open valve too, past any orifice
        measurable -= frozenset(OTHER_CYLINDERS)
    planned = plan_next(engine.places, together.readings, together.flows, may_stop=here, may_measure_flow=measurable)
    # all of the plan is wanted; it begins with what was not read yet, where it is heard most
    ordered = sorted(planned, key=lambda one: (one.method == "repeat", LOUDEST_FIRST.get(heard.get(one.place or ""), 3)))
    said += list(dict.fromkeys(_as_said(engine, cylinder, ordered, together)))[: MOST_SHOWN - len(said)]
    wanted = [place for place in engine.places if place in lower and heard.get(place) != "none"]
    if wanted:
        most_pa = highest_supply_gauge_pa(engine, wanted)
        # the only way to a place where it is strong comes before what tells less
        said.insert(
            len(said) if all(heard.get(place) != "strong" for place in wanted) else bool(missing),
            f"at a regulated pressure of at most {most_pa / 1000.0:.0f} kPa make a stop-off test of its own: a reading with "
            f"nothing stopped, then one with {' and '.join(map(place_words, wanted))} stopped, gauge and relief on it",
        )
    return tuple(said)


def _stops(engine: Engine, together: PathReadings) -> tuple[frozenset[str], frozenset[str]]:
    """The places that may be stopped at the pressure of the readings there are, and those that may at a lower one only.

    A stop-off at another pressure would go with none of the readings.
    """
    may = stoppable_places(engine)
    p_pa = together.p_regulated_gauge_pa
    here = frozenset(place for place in may if p_pa is None or p_pa <= highest_supply_gauge_pa(engine, [place]))
    return here, may - here


def _as_said(engine: Engine, cylinder: int, planned: Sequence[NextTest], together: PathReadings) -> Iterator[str]:
    """A sentence for each planned test; all flows that were not measured yet are one, and so are all that are measured again."""
    places = list(dict.fromkeys(test.place for test in planned if test.method == "flow" and test.place is not None))
    again = [test.flow_at for test in planned if test.flow_at is not None and test.flow_at not in places]
    flows_said = again_said = False
    for test in planned:
        if test.flow_at in places:
            # a repeat of what has not been measured once is asked for when that has been read
            if not flows_said:
                yield _flows(engine, cylinder, places[:MOST_SHOWN], together)
            flows_said = True
        elif test.flow_at is not None:
            if not again_said:
                once_more = dict.fromkeys(again)
                where = ", then ".join(map(place_words, once_more))
                yield f"Measure the flow once more at: {where}.{_ways_round(engine, cylinder, once_more)}"
            again_said = True
        else:
            at_most = f" Regulated pressure at most {highest_supply_gauge_pa(engine, test.stopped) / 1000.0:.0f} kPa."
            yield f"{test.words.rstrip('.')}.{at_most if test.stopped else ''}"


def _flows(engine: Engine, cylinder: int, places: Sequence[str], together: PathReadings) -> str:
    """One orifice for all of them: the largest that any needs is safe at the others too."""
    where = ", then ".join(map(place_words, places))
    round_it = _ways_round(engine, cylinder, places)
    area_m2, p_cylinder = together.whole_area_m2, together.p_cylinder_gauge_pa
    if area_m2 is None or p_cylinder is None:
        return f"Measure the flow through a known orifice at: {where}.{round_it}"
    rules = stop_rules(engine)
    needed = [orifice_for(rules[place], max(area_m2, 0.0), p_cylinder) for place in places]
    best = max(needed, key=lambda orifice: orifice.least_area_m2)
    return (
        f"Measure the flow through a known orifice of at least {best.area_words} at: {where}. "
        f"That is {best.hole_words}; {best.gauge_words}.{round_it}"
    )


def _ways_round(engine: Engine, cylinder: int, places: Iterable[str]) -> str:
    """Where air goes round an orifice at the end of a pipe that the cylinders share."""
    return "".join(
        f" At {place} it goes onto this cylinder's own port: by a shared pipe air goes round it, through {others}, open now."
        for place in places
        if place in ("intake", "exhaust") and (others := open_now(engine, cylinder, place))
    )
