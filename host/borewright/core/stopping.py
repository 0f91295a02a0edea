"""Which places of an engine may be stopped and up to what pressure, what to do where they may not, and the dose of a wet test.

A stop works only while the pressure behind it comes up to that of the cylinder. Air at 552 kPa flows choked as long as the place
stays under 244 kPa gauge: with a relief of 20 kPa on it nothing is stopped, and the relief blows what leaks. So a place is stopped
with a supply under its own limit, or not at all; then its flow is measured through a known orifice, at full test pressure and next
to no pressure in the place.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import inf, pi
from typing import Literal

from borewright.core.engine import Engine
from borewright.core.flow import checked, mass_flow_kg_s

__all__ = [
    "LEAST_SUPPLY_GAUGE_PA",
    "MOST_OIL_M3",
    "Orifice",
    "StopRule",
    "WetRule",
    "highest_supply_gauge_pa",
    "measurable_places",
    "orifice_for",
    "stop_rules",
    "stoppable_places",
    "wet_dose",
]

LEAST_SUPPLY_GAUGE_PA = 50_000.0
"""A shop's regulator and a 1000 kPa transducer say little under this (project: a zero good to 0.5 kPa is then 1 %)."""
MOST_OIL_M3 = 5e-6  # project
MOST_OIL_OF_CLEARANCE = 0.1  # project: far from a hydraulic lock
CRANKCASE_LIMIT_PA = 5_000.0  # project: shaft seals and sump gaskets are made for next to no pressure
PORT_LIMIT_PA = 20_000.0  # project: manifolds, hoses and boots
UNDER_THE_LIMIT = 0.9  # project: regulators creep, and the relief begins to open before its setting
BACK_PRESSURE_PA = 2_000.0  # project: an orifice holds back so little that it changes no leak
BACK_OF_LIMIT = 0.2  # project: a fifth of what the place may have

Way = Literal["stop", "orifice", "look"]


@dataclass(frozen=True, slots=True)
class StopRule:
    """What may be done at one place.

    may_stop: with gauge and relief on it, at a supply of at most `highest_supply_gauge_pa`. limit_gauge_pa: what the place may ever
    have, the relief's setting, 0 where it is never stopped. may_measure_flow: its flow may be led through a known orifice. way:
    what is offered first. why: the reason, in a sentence. cautions: to show before the act.
    """

    place: str
    may_stop: bool
    limit_gauge_pa: float
    may_measure_flow: bool
    way: Way
    why: str
    cautions: tuple[str, ...]

    @property
    def most_back_pressure_pa(self) -> float:
        """What may build up before an orifice at this place: 2 kPa, and at most a fifth of its limit."""
        return min(BACK_PRESSURE_PA, BACK_OF_LIMIT * self.limit_gauge_pa) if self.limit_gauge_pa > 0.0 else BACK_PRESSURE_PA


def stop_rules(engine: Engine, least_supply_gauge_pa: float = LEAST_SUPPLY_GAUGE_PA) -> dict[str, StopRule]:
    """The rule for each place of this engine. least_supply_gauge_pa: the lowest pressure that the rig's regulator holds, above 0.

    >>> four = Engine("demo", "four-stroke", (1, 3, 4, 2), (180.0,) * 4, 0.086, 0.086, 0.143, 55e-6)
    >>> rules = stop_rules(four)
    >>> rules["exhaust"].may_stop, rules["exhaust"].way, rules["outside"].way
    (False, 'orifice', 'look')
    >>> stop_rules(four, 15_000.0)["exhaust"].may_stop
    True
    """
    least = float(checked("least_supply_gauge_pa", least_supply_gauge_pa, above=0.0))
    return {place: _rule(engine, place, least) for place in engine.places}


def stoppable_places(engine: Engine, least_supply_gauge_pa: float = LEAST_SUPPLY_GAUGE_PA) -> frozenset[str]:
    """The places that may be stopped on this engine."""
    return frozenset(place for place, rule in stop_rules(engine, least_supply_gauge_pa).items() if rule.may_stop)


def measurable_places(engine: Engine) -> frozenset[str]:
    """The places whose flow may be led through a known orifice."""
    return frozenset(place for place, rule in stop_rules(engine).items() if rule.may_measure_flow)


def highest_supply_gauge_pa(engine: Engine, stopped: Iterable[str]) -> float:
    """The highest regulated pressure with these places stopped; infinite with none, so nothing but the usual limits hold then.

    Nine tenths of the lowest limit: whatever is stopped can come up to the supply's pressure, and has to if the stop is one. Raises
    ValueError for a place that this engine does not have or that is never stopped.

    >>> four = Engine("demo", "four-stroke", (1, 3, 4, 2), (180.0,) * 4, 0.086, 0.086, 0.143, 55e-6)
    >>> highest_supply_gauge_pa(four, ["exhaust"]), highest_supply_gauge_pa(four, ["exhaust", "breather"])
    (18000.0, 4500.0)
    """
    rules = stop_rules(engine)
    limits = [inf]
    for place in stopped:
        if place not in rules:
            raise ValueError(f"place: this engine has no {_shown(place)}; it has {', '.join(map(_shown, rules))}")
        if rules[place].limit_gauge_pa <= 0.0:
            raise ValueError(f"place: {rules[place].why}")
        limits.append(UNDER_THE_LIMIT * rules[place].limit_gauge_pa)
    return min(limits)


def _shown(place: str) -> str:
    return "".join(letter if letter.isprintable() else "?" for letter in place.replace("_", " "))[:40]


_ORIFICE_CAUTIONS = (
    "Orifice, gauge and a relief stand together on the place before air is let in; never a plug alone.",
    "Watch the gauge while the pressure comes up; above the figure given here shut and vent, and take a larger orifice.",
    "Fit and take off everything with the cylinder vented, and keep clear of the crank while air is on.",
)
_STOP_CAUTIONS = (
    "Gauge and relief stand on the place before air is let in; a stop without a relief can burst a hose, a seal or a manifold.",
    "Set the regulator down first and prove it into a closed outlet; above the place's limit shut and vent.",
    "Hold the stop down mechanically and stand aside of it: never a hand, never a face in front of it.",
    "At a pressure this low valves and rings are pressed on less: the shares hold for this pressure, and are taken against a "
    "reading at this pressure only.",
)
_SEALS_CAUTION = (
    "Crankshaft seals, sump gasket and dipstick tube are made for next to no pressure: 5 kPa pushes a lip seal out of shape."
)
_COOLANT_CAUTIONS = (
    "Only on a cold engine: never open a cap, a hose or a plug of a hot cooling system; hot coolant scalds.",
    "Fill the system up first: air in it is a spring that has to fill before the gauge shows anything.",
    "Never above the rating printed on the cap, and never with the cap's own relief blocked.",
)


def _rule(engine: Engine, place: str, least_pa: float) -> StopRule:
    if place == "outside":
        return StopRule(
            place,
            False,
            0.0,
            False,
            "look",
            "the outside is neither stopped nor led through an orifice: paint soapy water on adapter, plug, gasket edge and "
            "castings",
            ("Keep hands and clothes clear of belts, fan and crank while air is on, and wear eye protection: soap and oil spit.",),
        )
    if place in ("neighbours", "other_chambers"):
        hole = "plug hole" if place == "neighbours" else "plug hole or port"
        return StopRule(
            place,
            False,
            0.0,
            True,
            "orifice",
            "a neighbouring cylinder is never stopped: pressure in it pushes on its piston and turns the crank; look at each "
            f"{hole} and lead what comes out through an orifice with a gauge on it",
            (
                *_ORIFICE_CAUTIONS,
                "Only 2 kPa may build up in a neighbour: it has a piston too. Where several holes blow, lead them to one orifice.",
            ),
        )
    if place == "coolant":
        return _coolant_rule(engine, least_pa)
    if place in ("breather", "crankcase"):
        what = "crankcase"
        limit, cautions = CRANKCASE_LIMIT_PA, (_SEALS_CAUTION,)
    else:
        what = "port"
        limit, cautions = (
            PORT_LIMIT_PA,
            ("A pipe that ends in other cylinders' open valves is no closed room: stop at the head itself.",),
        )
    return _by_limit(place, what, limit, cautions, least_pa)


def _coolant_rule(engine: Engine, least_pa: float) -> StopRule:
    cap_pa = engine.coolant_cap_pa
    if cap_pa is not None:
        rule = _by_limit("coolant", "cooling system", cap_pa, _COOLANT_CAUTIONS, least_pa)
        if rule.may_stop:
            return rule
        why, limit = rule.why.split("; its flow")[0], cap_pa
    else:
        why, limit = (
            "the engine file does not give the rating of the coolant cap (coolant_cap_kpa), so the cooling system is not stopped",
            0.0,
        )
    # an orifice measures air; bubbles that drag coolant along are no known flow
    return StopRule(
        "coolant", False, limit, False, "look", f"{why}; watch the open neck for bubbles on the cold engine", _COOLANT_CAUTIONS
    )


def _by_limit(place: str, what: str, limit_pa: float, cautions: tuple[str, ...], least_pa: float) -> StopRule:
    highest = UNDER_THE_LIMIT * limit_pa
    if highest >= least_pa:
        why = (
            f"the {what} may have {_kpa(limit_pa)}, so it is stopped with the supply at {_kpa(highest)} at most; at full test "
            "pressure the relief would blow and nothing would be stopped"
        )
        return StopRule(place, True, limit_pa, place != "coolant", "stop", why, (*_STOP_CAUTIONS, *cautions))
    why = (
        f"the {what} may have {_kpa(limit_pa)} only, and a stop is one only with the supply under that, which this rig's regulator "
        f"does not hold ({_kpa(least_pa)} is its least); its flow is measured through an orifice instead"
    )
    return StopRule(place, False, limit_pa, True, "orifice", why, (*_ORIFICE_CAUTIONS, *cautions))


def _kpa(pa: float) -> str:
    return f"{pa / 1000.0:.3g} kPa"


@dataclass(frozen=True, slots=True)
class Orifice:
    """An orifice to measure a place's flow with.

    least_area_m2: with the whole leak coming through it the back-pressure stays at most_back_pressure_pa; take this or somewhat
    larger.
    """

    place: str
    least_area_m2: float
    most_back_pressure_pa: float

    @property
    def area_words(self) -> str:
        """Its area as it is asked for."""
        return f"{self.least_area_m2 * 1e6:.2g} mm² effective area"

    @property
    def hole_words(self) -> str:
        """The diameters of holes that have that area."""
        ideal_mm = 2.0 * (self.least_area_m2 / pi) ** 0.5 * 1e3
        return f"a rounded hole of {ideal_mm:.2g} mm, a sharp-edged one of about {ideal_mm / 0.79:.2g} mm"

    @property
    def gauge_words(self) -> str:
        """What the gauge before it may show, and when a smaller one is better."""
        most_pa = self.most_back_pressure_pa
        return (
            f"the back-pressure then stays under {_kpa(most_pa)} even if all of the leak comes out here; if the gauge shows less "
            f"than {_kpa(most_pa / 20.0)}, take one of a third of the area"
        )

    @property
    def words(self) -> str:
        """Which one to take, for a person."""
        return f"take an orifice of at least {self.area_words} ({self.hole_words}): {self.gauge_words}"


def orifice_for(
    rule: StopRule,
    leak_area_m2: float,
    p_cylinder_gauge_pa: float,
    p_ambient_abs_pa: float = 101_325.0,
    t_cylinder_k: float = 293.15,
    t_place_k: float = 293.15,
) -> Orifice:
    """The orifice for a place, from the whole leak of the cylinder at the pressure it has. All arguments above 0, leak at least 0.

    Area is that of an ideal nozzle; a sharp-edged hole passes 0.56 to 0.79 of its own (Weisbach, for air; 0.62 is reckoned with),
    which is what the certificate is for. Raises ValueError where the flow of the place may not be measured.

    >>> four = Engine("demo", "four-stroke", (1, 3, 4, 2), (180.0,) * 4, 0.086, 0.086, 0.143, 55e-6)
    >>> found = orifice_for(stop_rules(four)["breather"], 0.8e-6, 470e3)
    >>> round(found.least_area_m2 * 1e6, 1), found.most_back_pressure_pa
    (22.0, 1000.0)
    """
    if not rule.may_measure_flow:
        raise ValueError(f"place: {rule.why}")
    leak = float(checked("leak_area_m2", leak_area_m2, least=0.0))
    p_cylinder = float(checked("p_cylinder_gauge_pa", p_cylinder_gauge_pa, above=0.0))
    ambient = float(checked("p_ambient_abs_pa", p_ambient_abs_pa, above=0.0))
    most = rule.most_back_pressure_pa
    flow = float(mass_flow_kg_s(leak, p_cylinder + ambient, ambient, t_cylinder_k))
    area = flow / float(mass_flow_kg_s(1.0, ambient + most, ambient, t_place_k))
    return Orifice(rule.place, area, most)


@dataclass(frozen=True, slots=True)
class WetRule:
    """The wet test on this engine. most_m3: the largest dose. cautions: before the act. misleading_when: before the result."""

    most_m3: float
    cautions: tuple[str, ...]
    misleading_when: tuple[str, ...]


def wet_dose(engine: Engine) -> WetRule:
    """The dose of oil for a wet test: 5 cm³, and at most a tenth of the clearance volume.

    >>> four = Engine("demo", "four-stroke", (1, 3, 4, 2), (180.0,) * 4, 0.086, 0.086, 0.143, 35e-6)
    >>> round(wet_dose(four).most_m3 * 1e6, 2)
    3.5
    """
    most = min(MOST_OIL_M3, MOST_OIL_OF_CLEARANCE * engine.clearance_m3)
    cautions = (
        f"At most {most * 1e6:.2g} cm³, measured with a syringe: liquid does not give way, and a cylinder that is full of it at "
        "TDC bends a rod (hydraulic lock). The limit is a rule of this project: a tenth of the clearance volume, 5 cm³ at most.",
        "With the hole open turn the engine over twice by hand before the hose goes on: that spreads the oil and throws out what "
        "is too much; stop at once if it turns hard.",
        "Keep your face away from the hole while turning: oil spits.",
        "Use clean engine oil, nothing that burns easily, and wipe up what comes out; oil left in fouls plug and catalyst.",
    )
    misleading = [
        "the bore lies flat, leans or points down (boxer, vee, inverted engine): the oil lies on one side and the rings stay dry "
        "elsewhere, so no change clears nobody",
        "the piston is domed or dished: the oil lies in the dish and does not reach the rings",
        "oil reaches a valve seat or a cracked land too, and tightens it for a short while",
        "the engine is cold, or stood long: dry rings seal with any oil; run it warm and test dry again before condemning them",
    ]
    if engine.cycle == "two-stroke":
        misleading.append("a two-stroke loses oil into its ports at once, and the oil in the crankcase wets the rings anyway")
    return WetRule(most, cautions, tuple(misleading))
