"""What to open for a leak at a place, what to measure there, and what to look at before. Common practice throughout, no source."""

from __future__ import annotations

from dataclasses import dataclass

from borewright.core.engine import Engine

__all__ = ["LIMITS", "Teardown", "teardown"]

LIMITS = "the maker's manual gives the limits"


@dataclass(frozen=True, slots=True)
class Teardown:
    """open: what comes off, at last. measure: what is measured then. look_first: what is looked at before anything comes off."""

    open: str
    measure: str
    look_first: str


def teardown(engine: Engine, place: str, between: tuple[int, int] | None = None) -> Teardown:
    """What belongs to a leak at this place of this engine. between: the two cylinders, where air goes from one into the other and
    both are known. Raises ValueError for a place that the engine does not have.

    >>> four = Engine("demo", "four-stroke", (1, 3, 4, 2), (180.0,) * 4, 0.086, 0.086, 0.143, 55e-6)
    >>> teardown(four, "exhaust").open
    'the cylinder head, for the exhaust valve'
    """
    if place not in engine.places:
        raise ValueError(f"place: must be one of {', '.join(engine.places)}")
    if place in ("intake", "exhaust"):
        return _valve(engine, place)
    if place in ("breather", "crankcase", "exhaust_port"):
        return _rings(engine)
    if place == "coolant":
        return _coolant(engine)
    if place in ("neighbours", "other_chambers"):
        return _between(engine, "the two bores" if between is None else f"bores {min(between)} and {max(between)}")
    return _outside(engine)


def _valve(engine: Engine, valve: str) -> Teardown:
    measure = (
        f"width, run-out and contact of the {valve} valve's seat, face and margin of the valve, stem and guide clearance, "
        f"straightness of the stem, force of the spring; {LIMITS}"
    )
    if engine.valve_gear == "not_fitted":
        return Teardown(f"the {valve} valve out of the head", measure, "dirt on the seat, the spring's seat, and the plate's seal")
    device = ", the decompression device" if engine.decompression != "none" else ""
    first = (
        f"true TDC on the compression stroke, the {valve} valve's clearance{device}, hose and adapter; dirt on the seat: turn over "
        "by hand, or run it, and test again; a look through the plug hole with a borescope"
    )
    return Teardown(f"the cylinder head, for the {valve} valve", measure, first)


def _rings(engine: Engine) -> Teardown:
    measure = (
        "ring end gap, side clearance in the groove and free gap, bore taper and out-of-round at three heights and two "
        f"directions, piston to bore clearance, ring lands and crown for cracks; {LIMITS}"
    )
    first = "true TDC, the wet test, the same test with the engine warm and oiled, the bore through the plug hole with a borescope"
    if engine.cycle == "two-stroke":
        return Teardown(
            "the cylinder, for piston, rings and bore",
            measure + "; also the edges of the ports, the plating, and the ring pegs",
            "true TDC, piston and rings through the exhaust port, the wet test, the same test with the engine warm and oiled",
        )
    if engine.assembly == "short_block":
        return Teardown("the piston out of its bore, for rings and bore", measure, f"the plate and its seal, {first}")
    return Teardown("the cylinder head, and then the piston out of its bore, for rings and bore", measure, first)


def _coolant(engine: Engine) -> Teardown:
    pressed = (
        "bubbles that come and go with the air, not those of the last filling or of the engine's warmth; the cooling system "
        "pressed up cold to its cap's rating, and whether it holds; all cylinders, to see which one bubbles most"
    )
    if engine.assembly == "short_block":
        return Teardown(
            "the bore and its liner",
            f"pressure test of the block, liner seats and seals, liner protrusion; {LIMITS}",
            f"the plate and its seal; {pressed}",
        )
    if engine.assembly == "bare_head":
        return Teardown(
            "the head's sleeves and plugs",
            f"pressure test of the head, cracks by dye; {LIMITS}",
            f"the plate and its seal; {pressed}",
        )
    return Teardown(
        "the cylinder head, for gasket and cracks",
        "the old gasket's marks before anything is cleaned, flatness of head and deck, pressure test of the head, cracks by dye, "
        f"liner protrusion where there are liners, stretch of the head bolts; {LIMITS}",
        pressed,
    )


def _between(engine: Engine, bores: str) -> Teardown:
    if engine.cycle == "two-stroke":
        return Teardown(
            "the cylinder heads, then crankcase and centre seal",
            "the old gasket's marks, flatness of heads and cylinders, pressure and vacuum test of each crankcase, centre seal; "
            f"{LIMITS}",
            "the exhaust off, to part the cylinders; ports of the other cylinders that stand open now",
        )
    if engine.assembly != "complete":
        return Teardown("nothing more: it is open", f"cracks by dye, flatness; {LIMITS}", "the plate and its seal between the two")
    return Teardown(
        f"the cylinder head, for the gasket between {bores}",
        "the old gasket's marks across the bridge before anything is cleaned, flatness of head and deck there, cracks by dye, "
        f"stretch of the head bolts; {LIMITS}",
        "valves of the other cylinder that stand open now, and manifolds that both share; the hose in the right hole; the other "
        "cylinder's own test, for a gasket leaks from both sides; torque of the head bolts as the manual says",
    )


def _outside(engine: Engine) -> Teardown:
    first = "adapter seal and hose coupling, the rig's sealed check, then plug, injector and sensor seals with soapy water"
    if engine.assembly != "complete":
        return Teardown(
            "nothing yet", f"thread of the plug hole, cracks by dye where it bubbles; {LIMITS}", f"{first}, and the plate's edge"
        )
    return Teardown(
        "what bubbles: plug, injector or sensor seat; the head only if its gasket's edge does",
        f"thread and seat of the plug hole, flatness of head and deck where the edge bubbles, cracks by dye; {LIMITS}",
        first,
    )
