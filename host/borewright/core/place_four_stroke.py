"""The places of a four-stroke engine: what air there means. Common practice throughout, no source."""

from __future__ import annotations

from borewright.core.engine import Engine
from borewright.core.place_open import COLD_RINGS, WRONG_TDC, Parts, open_now, wrong_hole
from borewright.core.sanity import open_valves

__all__ = ["breather", "coolant", "exhaust", "intake", "neighbours", "outside"]


def intake(engine: Engine, cylinder: int) -> Parts:
    """Air in the intake."""
    imitated = [*_held_open(engine, "intake"), *_through_gasket(engine, cylinder, "intake")]
    if "breather" in engine.places:
        imitated.append(
            "the breather led into the intake: air from the rings comes out there; take the breather hose off and listen at each "
            "apart"
        )
    look = (
        "Air filter off, throttle held open by its own lever; listen with one end of a clean tube at the ear and the other in "
        "the intake, at this cylinder's port if it can be reached. No fingers and no gloved hand in the intake: a throttle snaps "
        "shut, a glove is drawn in; and nothing loose over it that may fall in."
    )
    return _valve_place(engine, "intake", "burnt, bent, recessed, or not lapped in", imitated, look)


def exhaust(engine: Engine, cylinder: int) -> Parts:
    """Air in the exhaust."""
    imitated = [*_held_open(engine, "exhaust"), *_through_gasket(engine, cylinder, "exhaust")]
    look = (
        "Listen with a tube at the tail pipe, better at this cylinder's own port or at a sensor's hole, where pipe and silencer "
        "do not swallow it. Exhausts stay hot for long: gloves, no tube that melts, and never an eye in line with the pipe."
    )
    return _valve_place(engine, "exhaust", "burnt, cracked at the edge, or drawn out of shape", imitated, look)


def _valve_place(engine: Engine, valve: str, how: str, imitated: list[str], look: str) -> Parts:
    implies = [
        f"{valve} valve and its seat: {how}",
        f"{valve} valve guide worn, so that the valve sits askew on its seat",
        f"{valve} seat insert loose or cracked, or a crack from the chamber into the port",
    ]
    if engine.valve_gear == "not_fitted":
        return (
            implies,
            [*imitated, _plate(engine), *wrong_hole(engine)],
            "Paint the valve's seat from the port side with soapy water to see where it bubbles.",
            look,
        )
    next_step = f"Check the {valve} valve's clearance, turn over twice by hand and test again before the head comes off."
    return implies, [*imitated, WRONG_TDC, *wrong_hole(engine)], next_step, look


def _held_open(engine: Engine, valve: str) -> list[str]:
    """What holds a sound valve off its seat."""
    dirt = f"carbon or dirt on the {valve} valve's seat"
    if engine.valve_gear == "not_fitted":
        return [f"{dirt}, or a valve without the full force of its spring, as a head on the bench may have it"]
    found = [
        f"{valve} valve clearance lost: a valve that is held a little open leaks as a burnt one does; check the clearance first",
        # AC 43.13-1B, para 8-14, has a suspect cylinder rechecked after at least 3 minutes of running
        f"{dirt}: turn the engine over by hand a few times, or run it for 3 minutes and more if it runs, and test again; dirt "
        "goes or moves, a burnt valve stays",
    ]
    if engine.decompression == "automatic":
        found.insert(0, "the automatic decompression device: at hand speed it holds a valve open until the crank is past its point")
    elif engine.decompression == "manual":
        found.insert(0, "the decompression device held open: its lever not home or its cable too tight")
    return found


def _through_gasket(engine: Engine, cylinder: int, valve: str) -> list[str]:
    others = open_now(engine, cylinder, valve)
    if not others:
        return []
    return [f"{others}, open now: air that gets over there by a gasket or a crack comes out here too; listen at the plug holes"]


def _plate(engine: Engine) -> str:
    what = "bore" if engine.assembly == "short_block" else "chamber"
    return f"the plate that closes the {what}, and its seal: paint its edge with soapy water first"


def breather(engine: Engine) -> Parts:
    """Air at breather, oil filler or dipstick."""
    several = len(engine.cylinders) > 1
    implies = [
        "rings worn, stuck, broken, or with their gaps in line",
        "bore worn, tapered, out of round or scored",
        "ring land broken, or piston cracked or holed: then it is much air, and oil changes little",
    ]
    imitated = [
        COLD_RINGS,
        "what every engine has: rings always let some air by, most at TDC, where the bore is worn most; compare with "
        + ("the other cylinders" if several else "an earlier test"),
    ]
    if several:
        imitated.append(
            "the crankcase that all cylinders share: air that reaches a neighbour by a gasket or a crack goes by that one's "
            "rings and comes up here too; listen at the plug holes"
        )
    if engine.assembly == "short_block":
        imitated.append(_plate(engine))
    else:
        imitated.append("a crack from chamber or port into an oil passage or under the valve cover")
    look = (
        "Oil filler cap off, dipstick home, breather hose off its far end: listen there with a tube, or hold a thin strip of "
        "paper over it. Keep clear of belt, fan and chain; oil mist spits: eye protection. Do not close the breather by hand: "
        "the crankcase fills, and shaft seals are made for next to no pressure."
    )
    next_step = "Make the wet test with its measured dose"
    next_step += ", and compare with the other cylinders, before anything is opened." if several else " before anything is opened."
    return implies, [*imitated, *wrong_hole(engine)], next_step, look


def coolant(engine: Engine) -> Parts:
    """Bubbles in the coolant. The two-stroke has the same."""
    implies = ["crack or pinhole in the bore or its liner, or a leaking liner seat"]
    if engine.assembly != "short_block":
        implies.insert(
            0,
            "crack in the head, often between the valve seats or into the plug hole"
            if engine.cycle == "four-stroke"
            else "crack in the head",
        )
        implies.append("sleeve of an injector or a pre-chamber")
    if engine.assembly == "bare_head":
        implies = [one for one in implies if "liner" not in one]
    elif engine.assembly == "complete":
        implies.insert(0, "head gasket burnt through to a water passage")
    imitated = [
        "air left in from the last filling: it stops after a while and does not come back with the next test",
        "bubbles of the engine's warmth: they go on with the air shut off; only those that come and go with the air count",
    ]
    if engine.assembly != "complete":
        imitated.append(_plate(engine))
    if len(engine.cylinders) > 1:
        imitated.append("another cylinder that leaks into the same water: test each, and see with which one the bubbles come most")
    look = (
        "Only with the engine cold: cap off, filled up to the neck, a light on it. Look for bubbles, and for a level that rises, "
        "with the air on and with it off; a small leak needs minutes. Never open the cap of a hot engine: it scalds. Coolant is "
        "poisonous: catch it, and keep animals from it."
    )
    next_step = "Press the cold cooling system up to the rating of its cap and watch whether it holds, before anything comes off."
    return implies, [*imitated, *wrong_hole(engine)], next_step, look


def neighbours(engine: Engine, cylinder: int) -> Parts:
    """Air out of another cylinder's plug hole."""
    implies = ["crack or burnt groove across the bridge between two bores"]
    if engine.assembly == "complete":
        implies.insert(0, "head gasket burnt through between two bores")
        implies.append("head or deck not flat, or head bolts that have lost their hold")
    imitated = []
    others = open_now(engine, cylinder)
    if engine.valve_gear == "not_fitted":
        imitated.append(_plate(engine))
    elif others:
        imitated.append(
            f"another cylinder's open valve: now stand open {others}; air reaches them through a shared manifold, so look there "
            "before the gasket"
        )
    else:
        imitated.append("a shared manifold: by this engine's data no other valve stands open now, and its data may be wrong")
    if "breather" in engine.places:
        imitated.append(
            "the crankcase: air that goes by these rings goes up by a neighbour's worn rings and out of its plug hole; the "
            "breather has it too then"
        )
    if engine.valve_gear == "fitted":
        imitated.append(WRONG_TDC)
    look = (
        "All plugs out; at each other plug hole in turn a tube to the ear, or a strip of thin paper over the hole, and note "
        f"which cylinder it is.{_shut_now(engine, cylinder)} Eye protection: what lies in the hole flies out. Push nothing into a "
        "hole: pistons may move."
    )
    next_step = "Test the cylinder that was heard too: a gasket between two bores leaks from both sides alike."
    return implies, [*imitated, *wrong_hole(engine)], next_step, look


def _shut_now(engine: Engine, cylinder: int) -> str:
    shut = [str(other) for other in engine.cylinders if other != cylinder and not open_valves(engine, cylinder, other)]
    if not shut or engine.valve_gear == "not_fitted":
        return ""
    return (
        f" By this engine's data the valves of cylinder {' and '.join(shut)} are all shut now, so air there speaks for the gasket."
    )


def outside(engine: Engine) -> Parts:
    """Air at plug, gasket edge or castings. The two-stroke has the same."""
    implies = ["plug thread, thread insert or plug seat", "seal of an injector, glow plug or sensor that goes into the chamber"]
    if engine.assembly == "complete":
        implies.append("head gasket at its outer edge, or head bolts that have lost their hold")
    implies.append("crack in a casting that opens to the outside")
    if engine.decompression != "none":
        implies.append("the decompression device's own valve and seal")
    imitated = [
        "the adapter: its seal, thread and hose coupling leak most often of all, and that is no leak of the engine; cap the hose "
        "and make the sealed check",
        "the rig: a regulator that bleeds or a relief that weeps hisses too; listen at the rig with the hose capped",
    ]
    if engine.assembly != "complete":
        imitated.append(_plate(engine))
    look = (
        "Paint soapy water on adapter and hose coupling first, then on plug holes, gasket edge, injectors and castings, and look "
        "for bubbles; feel with the back of a wet hand, away from the crank. Not on hot parts: it boils and scalds. Clear of "
        "belts, fan and propeller."
    )
    return (
        implies,
        [*imitated, *wrong_hole(engine)],
        "Seal the adapter anew and test again before anything of the engine is blamed.",
        look,
    )
