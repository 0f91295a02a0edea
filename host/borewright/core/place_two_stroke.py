"""The places of a two-stroke engine: what air there means. Common practice throughout, no source."""

from __future__ import annotations

from borewright.core.engine import Engine
from borewright.core.place_open import COLD_RINGS, Parts, open_now, wrong_hole

__all__ = ["crankcase", "exhaust_port", "other_chambers"]


def exhaust_port(engine: Engine, cylinder: int) -> Parts:
    """Air in the exhaust port."""
    opens = engine.port_events.exhaust_opens_after_tdc_deg
    implies = [
        "rings worn, stuck or broken, most often on the exhaust side",
        "piston crown or ring land burnt or broken on the exhaust side, or the piston seized and smeared",
        "bore worn, scored or its plating lifted above or beside the port",
    ]
    imitated = [
        f"wrong position: the piston uncovers the exhaust port {opens:g}° after TDC; near to that everything comes out here",
        COLD_RINGS,
        "air from the crankcase: it goes under the piston skirt into the port; listen at intake and crankcase too",
    ]
    if others := open_now(engine, cylinder, "exhaust"):
        imitated.append(f"{others}, open now into the same exhaust: air that gets over there comes out here too")
    if engine.decompression != "none":
        imitated.append("the decompression device, which opens into the port on some engines")
    imitated += wrong_hole(engine)
    look = (
        "Exhaust pipe off, so that piston and rings can be seen and heard through the port; a tube to the ear, a light, never a "
        "finger: the piston shears it off against the edge of the port. Clear of fan, flywheel and propeller."
    )
    return implies, imitated, "Look at piston and rings through the port, then make the wet test with a small dose.", look


def crankcase(engine: Engine) -> Parts:
    """Air in the crankcase."""
    implies = [
        "rings worn, stuck or broken",
        "bore worn, tapered or scored",
        "piston holed or cracked: then much air, and oil changes little",
    ]
    imitated = [
        COLD_RINGS,
        "air that goes by the port: what comes by the rings into the exhaust port may go on under the skirt into the crankcase",
    ]
    if len(engine.cylinders) > 1:
        imitated.append("a crankcase joined with the next one through a worn centre seal: listen at the other chambers")
    imitated += wrong_hole(engine)
    look = (
        "Crankcase open, at its drain or with the carburettor or reed block off, as it has to be before air goes in: a tube to "
        "the ear at that opening. No finger near crank, rotary valve or reeds; fuel vapour may come: no flame, no spark."
    )
    return implies, imitated, "Make the wet test with a small dose, and look at the piston through the ports.", look


def other_chambers(engine: Engine, cylinder: int) -> Parts:
    """Air in another cylinder or its crankcase."""
    implies = [
        "head gasket burnt through between two bores",
        "centre seal of the crank between two crankcases, with rings that leak",
        "crack, or joints of cylinders and crankcase that are not flat",
    ]
    imitated = []
    if others := open_now(engine, cylinder):
        imitated.append(
            f"another cylinder's open port: now stand open {others}; air reaches them through a shared exhaust or crankcase, so "
            "look there before the gasket"
        )
    imitated += wrong_hole(engine)
    look = (
        "All plugs out: at each other plug hole and at each other crankcase's opening a tube to the ear, or a strip of thin "
        "paper over it. Eye protection: what lies in the hole flies out. Push nothing into a hole: pistons may move."
    )
    return implies, imitated, "Take the exhaust off to part the cylinders, and listen again.", look
