"""Air that is heard at a place without a fault there: what every engine has, and ways round by a manifold or a neighbour.

Common practice throughout, no source, but for which valves and ports of the other cylinders stand open now.
"""

from __future__ import annotations

from collections.abc import Iterable

from borewright.core.advice_evidence import CLEAR, LOUDNESS, RINGS, CylinderEvidence, StageEvidence, share_words
from borewright.core.heard import OTHER_CYLINDERS
from borewright.core.place_meaning import place_words
from borewright.core.place_open import open_now

__all__ = ["at_plug_hole", "doubts", "explained", "through_manifold"]

USUAL_AT_RINGS = "steady"  # common practice: rings of every sound engine let air by that can be heard
CLEARLY_MORE = 1.5  # project: sound cylinders of one engine differ by less
VALVES = ("intake", "exhaust")
PORTS = {"intake": "intake", "exhaust": "exhaust", "exhaust_port": "exhaust", "crankcase": "transfer"}
"""Where air of a manifold or a joined crankcase is heard, and which valve or port of another cylinder leads into it."""


def explained(stage: StageEvidence, known: CylinderEvidence, place: str) -> str:
    """Why air heard at a place need not come from a fault there, in words; empty where it speaks for one.

    Strong air at another cylinder is never explained away, only doubted.
    """
    if place in OTHER_CYLINDERS:
        return "" if known.heard[place] == "strong" else through_manifold(stage, known, place)
    if place in PORTS and place not in RINGS and (way := _from_neighbour(stage, known, place)):
        return way
    return _usual(stage, known, place)


def _usual(stage: StageEvidence, known: CylinderEvidence, place: str) -> str:
    """No more than the cylinders have that seal or leak far less; at the rings steady air is usual as long as nobody compared."""
    better = stage.better_than(known)
    if place in RINGS and (share := known.share_at(place)) is not None:
        areas = [area for one in better if (area := _most_there_m2(one, place)) is not None]
        if not areas or share.percent <= 0.0:
            return ""
        low_m2, most_m2 = share.area_m2 * share.low_percent / share.percent, max(areas)
        if low_m2 > CLEARLY_MORE * most_m2:
            return ""
        return (
            f"{place_words(place)} has {share_words(share)} of the leak, {share.area_m2 * 1e6:.2g} mm²: not clearly more than at "
            f"{_cylinders(better)}, where it is {most_m2 * 1e6:.2g} mm² at most"
        )
    alike = VALVES if place in VALVES else (place,)
    compared = [one for one in better if any(other in one.heard for other in alike)]
    usual = max((one.loudness(other) for one in compared for other in alike), default=0)
    if not compared and place in RINGS:
        usual = LOUDNESS[USUAL_AT_RINGS]
    if place not in (*RINGS, *VALVES) or known.loudness(place) > usual:
        return ""
    here = f"air at {place_words(place)}, {known.heard[place]}"
    if compared:
        return f"{here}: no stronger than at {_cylinders(compared)}, where far less leaks"
    return f"{here}: rings of every engine let that by; listen at the other cylinders and compare"


def _most_there_m2(one: CylinderEvidence, place: str) -> float | None:
    """The most that a cylinder can leak at a place: its measured share at the high end, else its whole leak."""
    share = one.share_at(place)
    if share is not None and share.percent > 0.0:
        return share.area_m2 * share.high_percent / share.percent
    return one.leak_area_m2


def through_manifold(stage: StageEvidence, known: CylinderEvidence, place: str) -> str:
    """Which open valves or ports of other cylinders explain air at them; empty where they do not explain all of it.

    Air that comes that way is in the manifold first: it is heard at the port at least as well as at the plug hole behind the valve.
    """
    if place not in OTHER_CYLINDERS or known.loudness(place) == 0:
        return ""
    found: dict[str, None] = {}
    for neighbour, loudness in _told(known, place):
        ways = []
        for port, kind in PORTS.items():
            if known.loudness(port) >= loudness and (others := open_now(stage.engine, known.cylinder, kind, neighbour)):
                ways.append(f"air was heard at {place_words(port)} too, and {others} open there now: it may come that way")
        if not ways:
            return ""
        found |= dict.fromkeys(ways)
    return "; ".join(found)


def at_plug_hole(stage: StageEvidence, known: CylinderEvidence, place: str) -> tuple[str, ...]:
    """What the valves of the cylinder that was heard say of the way the air took, where it is known which cylinder that is."""
    if stage.engine.valve_gear == "not_fitted" or stage.engine.cycle == "two-stroke":
        return ()
    said = []
    for neighbour, loudness in _told(known, place):
        if neighbour is None or any(port not in known.heard for port in VALVES):
            continue
        kinds = [kind for kind in VALVES if open_now(stage.engine, known.cylinder, kind, neighbour)]
        if not kinds:
            said.append(f"no valve of cylinder {neighbour} stands open now, so no manifold leads there")
        elif all(known.loudness(kind) < loudness for kind in kinds):
            said.append(
                f"{open_now(stage.engine, known.cylinder, None, neighbour)} stand open now, but its plug hole is louder than "
                f"{' and '.join(kinds)}: by a manifold it would not be"
            )
    return tuple(said)


def _told(known: CylinderEvidence, place: str) -> tuple[tuple[int | None, int], ...]:
    """At which other cylinders it was heard and how loud; None where nobody said which."""
    at = tuple((other, LOUDNESS[known.neighbours[other]]) for other in known.heard_beside)
    return at or ((None, known.loudness(place)),)


def _from_neighbour(stage: StageEvidence, known: CylinderEvidence, port: str) -> str:
    """Whether air at intake or exhaust may have got there by another cylinder, where it is louder and a valve stands open."""
    for place in OTHER_CYLINDERS:
        for neighbour, loudness in _told(known, place):
            if loudness > known.loudness(port) and (others := open_now(stage.engine, known.cylinder, PORTS[port], neighbour)):
                return (
                    f"air at {place_words(port)}, {known.heard[port]}: it may come round by {others}, open now, for it is "
                    f"louder at {'cylinder ' + str(neighbour) if neighbour is not None else place_words(place)}"
                )
    return ""


def doubts(stage: StageEvidence, known: CylinderEvidence, place: str) -> tuple[str, ...]:
    """What speaks against a place."""
    found = []
    share = known.share_at(place)
    if share is not None and known.heard.get(place) == "none":
        found.append(f"against it: nothing was heard at {place_words(place)}; listen there again")
    if place in RINGS and known.wet is not None and known.wet.verdict != "tighter":
        found.append(
            "against worn rings: oil changed nothing; think of piston, ring land and stuck rings, or of oil that missed them"
        )
    if place not in RINGS and known.wet is not None and known.wet.verdict == "tighter":
        found.append("against it alone: oil made it tighter, so the rings have their part")
    if place in OTHER_CYLINDERS:
        found += _one_way(stage, known, place)
    return tuple(found)


def _one_way(stage: StageEvidence, known: CylinderEvidence, place: str) -> list[str]:
    """A gasket between two bores leaks from both sides."""
    return [
        f"against the gasket: with the air in cylinder {neighbour} nothing was heard at other cylinders; listen there again"
        for neighbour, strength in known.neighbours.items()
        if strength in CLEAR and neighbour in stage.by_cylinder and stage.by_cylinder[neighbour].heard.get(place) == "none"
    ]


def _cylinders(known: Iterable[CylinderEvidence]) -> str:
    numbers = [str(one.cylinder) for one in known]
    return f"cylinder{'s' if len(numbers) > 1 else ''} {', '.join(numbers)}"
