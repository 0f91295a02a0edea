"""What air anywhere may be: the other cylinders' valves and ports that stand open now, and what imitates a leak at every place."""

from __future__ import annotations

from borewright.core.engine import Engine
from borewright.core.sanity import open_valves

__all__ = ["COLD_RINGS", "WRONG_TDC", "Parts", "open_now", "open_ports", "wrong_hole"]

WRONG_TDC = "wrong TDC: at overlap both valves stand open, and away from TDC one may; prove the compression stroke again"
COLD_RINGS = (
    "cold or dry rings: an engine that stood, or was washed with petrol, leaks here until it is warm and oiled; test it warm"
)

Parts = tuple[list[str], list[str], str, str]
"""What a place implies, what imitates it, the next step, where and how to look."""


def open_ports(engine: Engine, at_tdc_of: int, other: int) -> tuple[str, ...]:
    """Which ports of another cylinder of a two-stroke stand open while this one is at TDC: "exhaust", "transfer"; else ().

    >>> twin = Engine("demo", "two-stroke", (1, 2), (180.0, 180.0), 0.054, 0.0545, 0.110, 12e-6)
    >>> open_ports(twin, 1, 2)
    ('exhaust', 'transfer')
    """
    if engine.cycle != "two-stroke":
        return ()
    past_deg = (engine.firing_angle_deg(at_tdc_of) - engine.firing_angle_deg(other)) % 360.0
    from_tdc_deg = min(past_deg, 360.0 - past_deg)
    opens = {"exhaust": engine.port_events.exhaust_opens_after_tdc_deg, "transfer": engine.port_events.transfer_opens_after_tdc_deg}
    return tuple(name for name, angle in opens.items() if from_tdc_deg > angle)


def open_now(engine: Engine, cylinder: int, kind: str | None = None, of: int | None = None) -> str:
    """The valves or ports of the other cylinders that stand open while this one is at its compression TDC, as words. kind: only
    "intake", "exhaust" or "transfer"; of: only of this other cylinder. Empty where there are none.

    >>> four = Engine("demo", "four-stroke", (1, 3, 4, 2), (180.0,) * 4, 0.086, 0.086, 0.143, 55e-6)
    >>> open_now(four, 1, "exhaust")
    "cylinder 2's exhaust valve, cylinder 4's exhaust valve"
    """
    what = "port" if engine.cycle == "two-stroke" else "valve"
    found = open_ports if engine.cycle == "two-stroke" else open_valves
    said = []
    for other in engine.cylinders:
        asked = other != cylinder and of in (None, other)
        names = [name for name in found(engine, cylinder, other) if kind in (None, name)] if asked else []
        if names:
            said.append(f"cylinder {other}'s {' and '.join(names)} {what}{'s' if len(names) > 1 else ''}")
    return ", ".join(said)


def wrong_hole(engine: Engine) -> list[str]:
    """The hose where it does not belong, for an engine that has another hole."""
    return (
        ["the hose in another cylinder's hole: follow it by hand from the rig to the adapter"] if len(engine.cylinders) > 1 else []
    )
