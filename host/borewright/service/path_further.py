"""Which further tests would decide where a cylinder's air goes: the cheapest first, each with its pressure or its orifice."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from borewright.core.advice import NEVER_SOUND
from borewright.core.place_meaning import place_words
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
    engine: Engine, heard: Mapping[str, str], leakage: Leakage, together: PathReadings, shares: Shares | None
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
    planned = plan_next(engine.places, together.readings, together.flows, may_stop=here, may_measure_flow=measurable_places(engine))
    # all of the plan is wanted; it begins where it is heard most
    ordered = sorted(planned, key=lambda one: LOUDEST_FIRST.get(heard.get(one.place or ""), 3))
    said += dict.fromkeys(f"{one.words.rstrip('.')}.{_how(engine, one, together)}" for one in ordered)
    said = said[:MOST_SHOWN]
    wanted = [place for place in engine.places if place in lower and heard.get(place) != "none"]
    if wanted:
        most_pa = highest_supply_gauge_pa(engine, wanted)
        said.append(
            f"at a regulated pressure of at most {most_pa / 1000.0:.0f} kPa make a stop-off test of its own: a reading with "
            f"nothing stopped, then one with {' and '.join(map(place_words, wanted))} stopped, gauge and relief on it"
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


def _how(engine: Engine, test: NextTest, together: PathReadings) -> str:
    """At which pressure, or with which orifice, a planned test is made."""
    if test.stopped:
        return f" Regulated pressure at most {highest_supply_gauge_pa(engine, test.stopped) / 1000.0:.0f} kPa."
    area_m2, p_cylinder = together.whole_area_m2, together.p_cylinder_gauge_pa
    if test.method != "flow" or test.place is None or area_m2 is None or p_cylinder is None:
        return ""
    return f" There {orifice_for(stop_rules(engine)[test.place], max(area_m2, 0.0), p_cylinder).words}."
