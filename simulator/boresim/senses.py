"""What the person at the simulated rig sees and hears, told in one line."""

from __future__ import annotations

from boresim.noise import seeded_unit
from boresim.plant import Plant
from boresim.words import HELP, CannotError, bare, cylinder_of, place_of, usage

__all__ = ["Senses", "loudness"]

READABLE_KPA = 10.0
READABLE_DEG = 5.0
PLACE_GAUGE_STEP_KPA = 0.01
PLACE_GAUGE_ERROR_LIMIT = 0.005  # of its reading, drawn once
GAUGE_STEP_KPA = 0.1
GAUGE_ERROR_LIMIT = 0.0003  # of its reading, drawn once: what its certificate's 0.05 % leaves room for

# kg/s; 1e-5 is half a litre of free air a minute, about what can be heard through a tube held to the ear
LOUDNESS_KG_S = ((6e-4, "strong"), (1e-4, "steady"), (1e-5, "faint"))


class Senses:
    """Ears and eyes at a plant; the seed draws the errors of the gauges that are read."""

    def __init__(self, plant: Plant, seed: int) -> None:
        self._plant = plant
        self._gauge_error = GAUGE_ERROR_LIMIT * (2.0 * seeded_unit(seed, "reference gauge") - 1.0)
        self._place_gauge_error = PLACE_GAUGE_ERROR_LIMIT * (2.0 * seeded_unit(seed, "place gauge") - 1.0)

    def help(self, rest: tuple[str, ...]) -> str:
        """The words, or one of them."""
        if not rest:
            return "ok " + " | ".join(HELP.values())
        if rest[0] not in HELP:
            raise CannotError(f"{rest[0]!r} is not a word I know; help lists them")
        return f"ok {HELP[rest[0]]}"

    def listen(self, rest: tuple[str, ...]) -> str:
        """How each place sounds."""
        bare("listen", rest)
        if not isinstance(self._plant.hose_at, int):
            return f"ok nothing: the hose is {self._hose_words()}"
        flows = self._plant.place_flows_kg_s()
        return "ok " + ", ".join(
            f"{place} {loudness(flows.get(place, 0.0))}{self._beside(place)}" for place in self._plant.engine.places
        )

    def _beside(self, place: str) -> str:
        """At which other plug holes it can be heard."""
        if place not in {"neighbours", "other_chambers"}:
            return ""
        heard = [str(number) for number, flow in sorted(self._plant.plug_holes_kg_s().items()) if loudness(flow) != "none"]
        return f" at cylinder {' and '.join(heard)}" if heard else ""

    def look(self, rest: tuple[str, ...]) -> str:
        """Where hose and crank are, and what the gauges show."""
        bare("look", rest)
        first = self._plant.scenario.engine.firing_order[0]
        past_deg = round(self._plant.crank_deg / READABLE_DEG) * READABLE_DEG % 360.0
        gauges = (self._plant.p_regulated_gauge_pa, self._plant.p_cylinder_gauge_pa)
        shown = [round(p_pa / 1e3 / READABLE_KPA) * READABLE_KPA + 0.0 for p_pa in gauges]
        return (
            f"ok hose {self._hose_words()}; crank about {past_deg:g} degrees past the TDC mark of cylinder {first}; "
            f"gauges: regulated {shown[0]:g} kPa, cylinder {shown[1]:g} kPa"
        )

    def gauge(self, rest: tuple[str, ...]) -> str:
        """What the reference gauge shows."""
        bare("gauge", rest)
        if self._plant.hose_at != "capped":
            raise CannotError(f"the reference gauge goes onto the end of the capped hose, which is {self._hose_words()}")
        shown_kpa = self._plant.p_cylinder_gauge_pa / 1e3 * (1.0 + self._gauge_error)
        return f"ok {round(shown_kpa / GAUGE_STEP_KPA) * GAUGE_STEP_KPA + 0.0:.1f} kPa"

    def place_gauge(self, rest: tuple[str, ...]) -> str:
        """What the gauge at a place shows."""
        if len(rest) != 2:
            raise usage("place-gauge")
        cylinder, place = cylinder_of(rest[0], self._plant.engine), place_of(rest[1], self._plant.engine)
        if not self._plant.put_on(cylinder, place):
            raise CannotError(f"there is no gauge at {place} of cylinder {cylinder}; it comes with a stop or an orifice")
        p_pa = self._plant.place_gauge_pa(place) if self._plant.hose_at == cylinder else 0.0
        shown_kpa = p_pa / 1e3 * (1.0 + self._place_gauge_error)
        return f"ok {round(shown_kpa / PLACE_GAUGE_STEP_KPA) * PLACE_GAUGE_STEP_KPA + 0.0:.2f} kPa"

    def _hose_words(self) -> str:
        hose = self._plant.hose_at
        if isinstance(hose, int):
            return f"in cylinder {hose}"
        return f"on an orifice of {hose * 1e6:g} mm²" if isinstance(hose, float) else str(hose)


def loudness(flow_kg_s: float) -> str:
    """How a flow of air out of a place sounds to somebody who goes close to it.

    >>> loudness(0.0), loudness(3e-4)
    ('none', 'steady')
    """
    return next((word for least_kg_s, word in LOUDNESS_KG_S if flow_kg_s >= least_kg_s), "none")
