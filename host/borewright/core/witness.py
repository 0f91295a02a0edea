"""What in a capture contradicts itself: the trapped volume against the engine's other cylinders and its data, the restrictor
against the dead volume, the fit against its own noise.

Each comparison is a difference over its combined standard uncertainty. Together they raise at most one false alarm in a hundred
captures: the hundredth is shared out evenly among the comparisons that were made (Bonferroni), and that gives the limit; nothing
else is tuned. A trapped volume shows gross error only: with the usual uncertainties a piston some 10° off and more.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import hypot, log, pi, sqrt
from statistics import NormalDist, median
from typing import Literal, NamedTuple

from borewright.core.crank import piston_travel_m
from borewright.core.equalisation import Equalisation, restrictor_from_equalisation, volume_from_fill
from borewright.core.flow import GAMMA_AIR, checked

__all__ = [
    "CLEARANCE_SPREAD",
    "U_CLEARANCE",
    "Contradiction",
    "Equalisation",
    "Figure",
    "Geometry",
    "Statement",
    "contradictions",
    "restrictor_from_equalisation",
    "volume_from_fill",
]

FALSE_ALARMS = 0.01
U_CLEARANCE = 0.03
"""Relative standard uncertainty of a clearance volume from the engine's data (common practice, no source): a compression ratio is
stated to a tenth, and gasket, skimming and carbon are worth some percent."""
CLEARANCE_SPREAD = 0.015
"""Relative standard deviation of the clearance volumes of one engine (common practice, no source): ratios within a few percent."""
HOSE_STRETCH_PER_PA = 0.05e-6
"""A hose widens by anything up to 5 % at 1 MPa (common practice, no source); any value up to that is as likely as another."""
NEARLY_ALL_PERCENT = 90.0
ANOTHER_HOLE_DEG = 45.0  # nobody takes a piston so far down for one at TDC; then the hole is another one
_U_MEDIAN = pi / 2.0  # variance of a median in units of that of a mean

Kind = Literal[
    "off_tdc",
    "clearance",
    "capped_hose",
    "plugged_adapter",
    "restrictor",
    "wrong_hole",
    "other_cylinders",
    "fit",
    "before_restrictor",
    "near_everything",
    "near_nothing",
]


class Figure(NamedTuple):
    """A value and its standard uncertainty (k = 1), in the same unit."""

    value: float
    standard: float


_NO_OIL = Figure(0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Geometry:
    """What turns an excess of volume into degrees off TDC."""

    bore_m: float
    stroke_m: float
    rod_m: float
    pin_offset_m: float = 0.0

    @property
    def swept_m3(self) -> float:
        """Volume of one stroke."""
        return pi / 4.0 * self.bore_m**2 * self.stroke_m

    def off_tdc_deg(self, excess_m3: float) -> float:
        """How far from TDC the piston makes that much room; 180 where even the whole stroke makes less.

        >>> round(Geometry(0.086, 0.086, 0.143).off_tdc_deg(19.4e-6), 1)
        20.0
        """
        travel = excess_m3 / (pi / 4.0 * self.bore_m**2)
        low, high = 0.0, 180.0
        for _ in range(40):
            middle = 0.5 * (low + high)
            under = float(piston_travel_m(middle, self.stroke_m, self.rod_m, self.pin_offset_m)) < travel
            low, high = (middle, high) if under else (low, middle)
        return high


@dataclass(frozen=True, slots=True)
class Statement:
    """What a capture says and what it is held against. Volumes in m³, areas in m².

    trapped_m3: of the fit's budget, however uncertain, or `volume_from_fill`; None: there is neither. hose_m3: hose and adapter
    unpressurised; adapter_m3: the adapter's part of it. p_gauge_pa: under which the hose was. clearance_m3: of the engine's data,
    for its uncertainty see U_CLEARANCE. geometry: for degrees off TDC. others_m3: trapped volumes of the same engine's other
    cylinders on the same rig. restrictor_m2:
    as entered. equalisation: see `restrictor_from_equalisation`. wet_oil_m3: poured in for a wet test. chi2_reduced and
    degrees_of_freedom: of the fit, None: there was none. lost_before_restrictor: of the fit, in standard deviations.
    """

    trapped_m3: Figure | None
    leak_area_m2: Figure
    leakage_percent: float
    hose_m3: Figure
    restrictor_m2: Figure
    adapter_m3: float = 4e-6
    p_gauge_pa: float = 550_000.0
    clearance_m3: Figure | None = None
    geometry: Geometry | None = None
    others_m3: Mapping[int, Figure] = field(default_factory=dict)
    equalisation: Equalisation | None = None
    wet_oil_m3: Figure = _NO_OIL
    chi2_reduced: float | None = None
    degrees_of_freedom: int = 0
    lost_before_restrictor: float | None = None

    def __post_init__(self) -> None:
        figures = {name: getattr(self, name) for name in ("trapped_m3", "leak_area_m2", "hose_m3", "restrictor_m2", "clearance_m3")}
        figures |= {"wet_oil_m3": self.wet_oil_m3, **{f"others_m3[{number}]": other for number, other in self.others_m3.items()}}
        for name, figure in figures.items():
            if figure is not None:
                checked(name, figure.value)
                checked(name, figure.standard, least=0.0)
        checked("adapter_m3", self.adapter_m3, least=0.0)

    @property
    def hose_under_pressure_m3(self) -> Figure:
        """Hose and adapter with what the hose may have stretched."""
        most = HOSE_STRETCH_PER_PA * max(self.p_gauge_pa, 0.0)
        value, standard = self.hose_m3
        return Figure(value * (1.0 + most / 2.0), hypot(standard, value * most / sqrt(12.0)))


@dataclass(frozen=True, slots=True)
class Contradiction:
    """kind; words: what contradicts what; ask: what to look at; score: in combined standard uncertainties.

    question: nothing contradicts itself, but the number is such that the first thing to doubt is how it was taken.
    """

    kind: Kind
    words: str
    ask: str
    score: float
    question: bool = False


@dataclass(frozen=True, slots=True)
class _Comparison:
    """A difference and how many standard uncertainties it is. expected: what was held against."""

    difference: float
    score: float
    expected: float


def contradictions(said: Statement) -> tuple[Contradiction, ...]:
    """Everything in a capture that contradicts itself, the strongest first; then questions. Nothing: ().

    >>> engine = dict(clearance_m3=Figure(55e-6, 1.65e-6), geometry=Geometry(0.086, 0.086, 0.143))
    >>> rig = dict(hose_m3=Figure(34e-6, 0.7e-6), restrictor_m2=Figure(8.1e-7, 4e-9), **engine)
    >>> contradictions(Statement(Figure(90e-6, 0.9e-6), Figure(5e-7, 5e-9), 9.8, **rig))
    ()
    >>> off, = contradictions(Statement(Figure(109e-6, 1.1e-6), Figure(5e-7, 5e-9), 9.8, **rig))
    >>> off.kind, off.words
    ('off_tdc', 'the trapped volume is 109.0 cm³ where the engine data make 89.5 cm³, as if the piston stood 20° off TDC')
    """
    others, engine = _against_others(said), _against_engine(said)
    restrictor, fit_score = _against_dead_volume(said), _fit_score(said)
    made = [
        score for score in (others and others.score, engine and engine.score, restrictor and restrictor.score) if score is not None
    ]
    lost = said.lost_before_restrictor
    limit = _limit(len(made) + (fit_score is not None) + (lost is not None))
    found: list[Contradiction] = []
    if restrictor is not None and abs(restrictor.score) > limit:
        found.append(_restrictor(said, restrictor))
        if engine is not None and _explains(said, restrictor, engine, limit):
            engine = others = None
    found += _of_volume(said, others, engine, limit)
    if lost is not None and lost > limit:
        found.append(
            Contradiction(
                "before_restrictor",
                "in the decay less air comes through the restrictor than the dead volume before it loses:"
                " it gets out on that side too",
                "does the vent close tightly? do supply valve and regulator hold? is the dead volume entered that of this rig?",
                lost,
            )
        )
    if fit_score is not None and fit_score > limit:
        found.append(
            Contradiction(
                "fit",
                "the pressures do not follow those of one leaking volume, by more than noise makes",
                "check valve left in the hose? crank moved? something opened or shut meanwhile? look at the raw curves",
                fit_score,
            )
        )
    return (*sorted(found, key=lambda one: -abs(one.score)), *_questions(said, found, limit))


def _limit(comparisons: int) -> float:
    """Standard uncertainties from which one of so many comparisons counts."""
    return NormalDist().inv_cdf(1.0 - FALSE_ALARMS / max(1, comparisons) / 2.0)


def _against_others(said: Statement) -> _Comparison | None:
    """Hose and restrictor are common to all cylinders; what differs is each one's own volume, and the fits' errors."""
    if said.trapped_m3 is None or not said.others_m3:
        return None
    volumes = [other.value for other in said.others_m3.values()]
    expected = median(volumes) - said.wet_oil_m3.value
    chamber = max(expected - said.hose_m3.value, 0.0)
    one = max(hypot(other.standard, CLEARANCE_SPREAD * chamber) for other in said.others_m3.values())
    count = len(volumes)
    u_expected = one * sqrt((_U_MEDIAN if count > 2 else 1.0) / count)
    u = hypot(said.trapped_m3.standard, CLEARANCE_SPREAD * chamber, u_expected, said.wet_oil_m3.standard)
    difference = said.trapped_m3.value - expected
    return _Comparison(difference, difference / u if u > 0.0 else 0.0, expected)


def _against_engine(said: Statement) -> _Comparison | None:
    if said.trapped_m3 is None or said.clearance_m3 is None:
        return None
    hose = said.hose_under_pressure_m3
    expected = said.clearance_m3.value + hose.value - said.wet_oil_m3.value
    u = hypot(said.trapped_m3.standard, said.clearance_m3.standard, hose.standard, said.wet_oil_m3.standard)
    difference = said.trapped_m3.value - expected
    return _Comparison(difference, difference / u if u > 0.0 else 0.0, expected)


def _against_dead_volume(said: Statement) -> _Comparison | None:
    """In logarithms. The area lies between that of a dead volume which keeps its temperature and that of one which cannot."""
    seen = said.equalisation
    if seen is None or not seen.identifiable:
        return None
    high = log(seen.area_m2 / said.restrictor_m2.value)
    low = high - log(GAMMA_AIR)
    u = hypot(seen.standard_m2 / seen.area_m2, said.restrictor_m2.standard / said.restrictor_m2.value)
    outside = low if low > 0.0 else high if high < 0.0 else 0.0
    return _Comparison(outside, outside / u, said.restrictor_m2.value)


def _explains(said: Statement, restrictor: _Comparison, engine: _Comparison, limit: float) -> bool:
    """Whether the restrictor that the dead volume shows puts the trapped volume right: the fit's volume scales with it."""
    seen = said.equalisation
    if seen is None or said.trapped_m3 is None or restrictor.difference * engine.difference > 0.0:
        return False
    high = log(seen.area_m2 / said.restrictor_m2.value)
    wanted = log(engine.expected / said.trapped_m3.value) if said.trapped_m3.value > 0.0 else 0.0
    slack = limit * hypot(
        seen.standard_m2 / seen.area_m2, engine.difference / engine.score / engine.expected if engine.score else 0.0
    )
    return high - log(GAMMA_AIR) - slack <= wanted <= high + slack


def _fit_score(said: Statement) -> float | None:
    """χ² as a standard normal deviate, after Wilson and Hilferty (PNAS 17, 1931, 684); from memory, unverified."""
    if said.chi2_reduced is None or said.degrees_of_freedom < 1:
        return None
    spread = 2.0 / (9.0 * said.degrees_of_freedom)
    return float((max(said.chi2_reduced, 0.0) ** (1.0 / 3.0) - (1.0 - spread)) / sqrt(spread))


def _restrictor(said: Statement, seen: _Comparison) -> Contradiction:
    area = said.equalisation.area_m2 if said.equalisation is not None else 0.0
    return Contradiction(
        "restrictor",
        f"the dead volume empties as through {area / GAMMA_AIR * 1e6:.2f} to {area * 1e6:.2f} mm²,"
        f" the restrictor entered has {said.restrictor_m2.value * 1e6:.2f} mm²",
        "which restrictor is fitted? is it clean? does the dead volume entered belong to this rig?",
        seen.score,
    )


def _of_volume(said: Statement, others: _Comparison | None, engine: _Comparison | None, limit: float) -> list[Contradiction]:
    """At most one contradiction of the trapped volume, by what explains it."""
    by_others = others is not None and abs(others.score) > limit
    by_engine = engine is not None and abs(engine.score) > limit
    if not by_others and not by_engine:
        return []
    if (held := _hose_alone(said, others, engine, limit)) is not None:
        return [held]
    if others is not None and engine is not None and by_engine and not by_others:
        return [_all_differ(said, engine)]
    if others is not None and by_others:
        return [
            _larger(said, others, "the other cylinders")
            if others.difference > 0.0
            else _smaller(said, others, "the other cylinders")
        ]
    against = engine if engine is not None else others
    if against is None:
        return []
    return [_larger(said, against, "the engine data") if against.difference > 0.0 else _smaller(said, against, "the engine data")]


def _hose_alone(said: Statement, others: _Comparison | None, engine: _Comparison | None, limit: float) -> Contradiction | None:
    """The volume is no more than hose and adapter, and well under what a cylinder would make it."""
    if said.trapped_m3 is None:
        return None
    hose = said.hose_under_pressure_m3
    u = hypot(said.trapped_m3.standard, hose.standard)
    lower = max((one for one in (others, engine) if one is not None), key=lambda one: -one.score)
    if lower.score > -limit or said.trapped_m3.value > hose.value + limit * u:
        return None
    leaks = said.leak_area_m2.value > limit * said.leak_area_m2.standard
    volume = f"the trapped volume is {said.trapped_m3.value * 1e6:.1f} cm³"
    without = hose.value - said.adapter_m3
    holds = "a little air gets out of a joint" if leaks else "nothing leaks"
    ask_cap = "is the hose capped, kinked or its coupling shut? is it screwed to the adapter?"
    ask_plug = "is a check valve left in the adapter, or its bore plugged, or the hole blind?"
    if said.adapter_m3 < limit * u:  # the volume cannot tell one from the other
        ask_cap = ask_plug = f"{ask_cap} {ask_plug}"
    if said.adapter_m3 > 0.0 and abs(said.trapped_m3.value - without) < abs(said.trapped_m3.value - hose.value):
        words = f"{volume}, that of the hose alone ({without * 1e6:.1f} cm³), and {holds}: no cylinder is joined to it"
        return Contradiction("capped_hose", words, ask_cap, lower.score)
    words = f"{volume}, that of hose and adapter ({hose.value * 1e6:.1f} cm³), and {holds}: no cylinder is joined to them"
    return Contradiction("plugged_adapter", words, ask_plug, lower.score)


def _larger(said: Statement, seen: _Comparison, what: str) -> Contradiction:
    words = _pair(said, seen, what)
    geometry = said.geometry
    if geometry is None:
        return Contradiction("off_tdc", words, "is the piston at TDC? is the hose in this cylinder?", seen.score)
    if seen.difference > geometry.swept_m3:
        return Contradiction(
            "wrong_hole",
            f"{words}, more than even the whole stroke would add",
            "which hole is the hose in? are restrictor, bore and stroke those entered?",
            seen.score,
        )
    off_deg = geometry.off_tdc_deg(seen.difference)
    words = f"{words}, as if the piston stood {off_deg:.0f}° off TDC"
    if off_deg > ANOTHER_HOLE_DEG:
        return Contradiction("wrong_hole", words, "is the hose in this cylinder's hole? which restrictor is fitted?", seen.score)
    ask = "is the piston at TDC? has the encoder slipped?"
    more = "" if what == "the other cylinders" else " if it is, look at the engine file's clearance and at the restrictor"
    return Contradiction("off_tdc", words, ask + more, seen.score)


def _smaller(said: Statement, seen: _Comparison, what: str) -> Contradiction:
    if what == "the other cylinders":
        return Contradiction(
            "other_cylinders",
            _pair(said, seen, what),
            "oil or water in this cylinder? were the others at TDC? has the restrictor or the hose been changed between them?",
            seen.score,
        )
    return Contradiction(
        "clearance",
        _pair(said, seen, what),
        "is the engine file's clearance right? which restrictor and hose are fitted?",
        seen.score,
    )


def _all_differ(said: Statement, seen: _Comparison) -> Contradiction:
    return Contradiction(
        "clearance",
        f"{_pair(said, seen, 'the engine data')}, and the other cylinders agree with this one",
        "is the engine file's clearance right? are restrictor and hose those entered?",
        seen.score,
    )


def _pair(said: Statement, seen: _Comparison, what: str) -> str:
    volume = said.trapped_m3.value if said.trapped_m3 is not None else 0.0
    return f"the trapped volume is {volume * 1e6:.1f} cm³ where {what} make {seen.expected * 1e6:.1f} cm³"


def _questions(said: Statement, found: list[Contradiction], limit: float) -> list[Contradiction]:
    """Sanity both ways: a number near everything or near nothing is first a question to how it was taken."""
    if said.leakage_percent >= NEARLY_ALL_PERCENT:
        return [
            Contradiction(
                "near_everything",
                f"nearly all air gets out ({said.leakage_percent:.0f} %)",
                "right TDC? right hole? decompression device? valve clearance? adapter?",
                0.0,
                question=True,
            )
        ]
    blocked = any(one.kind in ("capped_hose", "plugged_adapter") for one in found)
    if not blocked and said.leak_area_m2.value < limit * said.leak_area_m2.standard:
        return [
            Contradiction(
                "near_nothing",
                "no leak can be told from none",
                "check valve left in? hose capped or adapter plugged? oil that still seals the rings?",
                0.0,
                question=True,
            )
        ]
    return []
