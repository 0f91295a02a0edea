"""Tests of the record as readings that can be compared: what each shares with others, carried over to where another was taken."""

from __future__ import annotations

import json
import math
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from borewright.core.compare import SEATING, Quantity, Reading, seating_percent
from borewright.core.convert import FARTHEST, FARTHEST_UNKNOWN, UNKNOWN_EXPONENT, Leak, Place, convert_leakage
from borewright.core.plain import from_plain
from borewright.core.restrictor import Restrictor
from borewright.core.uncertainty import Budget, Item
from borewright.service.counting_tests import counting
from borewright.service.repeated_tests import NEW_IN_EACH_TEST, kept_budgets
from borewright.store.records import CaptureRecord

__all__ = ["area_reading", "counted", "leakage_reading", "marks_of", "why_none"]

NEW = NEW_IN_EACH_TEST | {
    "drift of the regulated transducer's zero",
    "drift of the cylinder transducer's zero",
    "what is still to settle",
    "reading the regulated gauge",
    "reading the cylinder gauge",
}
OF_CALIBRATION = frozenset({"tie of the two transducers", "span of the transducers", "non-linearity of the transducers"})
OF_VOLUMES = frozenset({"dead volume", "stretch of the hose"})
RESTRICTOR = "restrictor"
# within these two tests count as taken at the same place: what is left is far under what seating scatters by
SAME_AREA, SAME_PRESSURE, SAME_AMBIENT_PA, SAME_K = 1.02, 1.02, 2_000.0, 5.0
SAID_PRESSURE = 1.01
_STEP = 1e-3


def counted(captures: Iterable[CaptureRecord]) -> dict[int, list[CaptureRecord]]:
    """The plain tests that have a number, by cylinder: no void ones, no stop-off or wet ones, no checks of the rig,
    and no declared reading of a cylinder that was tested (`counting`)."""
    found: dict[int, list[CaptureRecord]] = {}
    for capture in counting(captures):
        if (capture.result or {}).get("leakage_percent") is not None:
            found.setdefault(capture.cylinder, []).append(capture)
    return dict(sorted(found.items()))


def why_none(captures: Iterable[CaptureRecord], cylinder: int, stage: str) -> str:
    """Why this cylinder has no test that counts, in a sentence."""
    of_it = [capture for capture in captures if capture.cylinder == cylinder]
    if not of_it:
        return f"cylinder {cylinder} has no test {stage}; test it to compare it"
    if void := [capture for capture in of_it if capture.purpose == "test" and capture.state == "void"]:
        return f"cylinder {cylinder} has only void tests {stage} ({void[-1].void_reason}); test it again"
    if all(capture.purpose in ("stop_off", "wet") for capture in of_it):
        return f"cylinder {cylinder} has only stop-off or wet tests {stage}, which are no plain test; test it to compare it"
    return f"cylinder {cylinder} has no finished test {stage}; test it to compare it"


def marks_of(captures: Iterable[CaptureRecord]) -> tuple[str, ...]:
    """The marks of these tests, each once; what a person declared of a measured test is one too."""
    found: list[str] = []
    for capture in captures:
        found += capture.marks
        if capture.device_serial:
            found += [f"declared: {key.replace('_', ' ')}" for key in capture.declared]
        if "leakage" not in kept_budgets(capture):
            found.append(f"no uncertainty budget was kept with test {capture.id}")
    return tuple(dict.fromkeys(found))


def area_reading(test: CaptureRecord, at_gauge_pa: float | None = None) -> tuple[Reading, str] | None:
    """The leak area in mm² at a gauge pressure in the cylinder (None: at its own), and what was converted, in words.

    None where the test has no leak area. Raises ValueError with a sentence where the area is not known so far from its pressure.
    """
    budget = kept_budgets(test).get("leak area") or _bare(test, "leak area")
    if budget is None:
        return None
    value, items, words = budget.value, list(budget.items), ""
    reference = reference_gauge_pa(test)
    if at_gauge_pa is not None and reference is not None and reference != at_gauge_pa:
        exponent, u_exponent, known = _exponent(test)
        ratio = at_gauge_pa / reference
        if not 1.0 / (FARTHEST if known else FARTHEST_UNKNOWN) <= ratio <= FARTHEST_UNKNOWN:
            raise ValueError(
                f"the leak area of test {test.id} was measured at {reference / 1e3:.0f} kPa in the cylinder, too far from"
                f" {at_gauge_pa / 1e3:.0f} kPa to be carried over; measure both at pressures nearer to each other"
            )
        factor = ratio**exponent
        value, items = value * factor, [replace(item, contribution=item.contribution * factor) for item in items]
        items.append(Item("leak area at another pressure", abs(value * math.log(ratio)) * u_exponent))
        if max(ratio, 1.0 / ratio) > SAID_PRESSURE:
            words = f"carried from {reference / 1e3:.0f} to {at_gauge_pa / 1e3:.0f} kPa in the cylinder"
            words += "" if known else f", its change with pressure taken as p^({exponent:g} ± {u_exponent:g})"
    return Reading(value, tuple(items), SEATING * max(value, 0.0), causes_of(test, items)), words


def leakage_reading(test: CaptureRecord, to: CaptureRecord | None = None) -> tuple[Reading, str] | None:
    """The leakage in percent as it would read where another test was taken (None: as measured), and what was converted, in words.

    None where the test has none. Raises ValueError with a sentence where it cannot be converted.
    """
    budget = kept_budgets(test).get("leakage") or _bare(test, "leakage")
    if budget is None:
        return None
    value, items, words = budget.value, budget.items, ""
    if to is not None and not _same_place(test, to):
        value, items, words = _converted(test, to)
    return Reading(value, items, seating_percent(value), causes_of(test, items)), words


def reference_gauge_pa(test: CaptureRecord) -> float | None:
    """The pressure in the cylinder at which the test's leak area is stated."""
    result = test.result or {}
    found = (result.get("fit") or {}).get("reference_gauge_pa") or result.get("p_cylinder_gauge_pa")
    return float(found) if found and found > 0.0 else None


def causes_of(test: CaptureRecord, items: Sequence[Item]) -> dict[str, Hashable]:
    """What each item comes from that other tests may share; what the record does not say is shared with this cylinder's only."""
    laws, here = test.laws, (test.job_id, test.cylinder)
    instrument = laws.get("instrument") or {}
    channels = [laws.get(side) or {} for side in ("regulated", "cylinder")]
    jet = laws.get("restrictor") or laws.get("restrictor_area_m2")
    known: dict[str, list[Any]] = {RESTRICTOR: [jet]}
    known |= {name: [channel.get(key) for channel in channels for key in ("gain", "bow_pa")] for name in OF_CALIBRATION}
    known |= {name: [instrument.get(key) for key in ("dead_volume_m3", "hose_volume_m3")] for name in OF_VOLUMES}

    def cause(name: str) -> Hashable:
        kept = known.get(name)
        if kept is None or None in kept or not test.device_serial:
            return here
        return test.device_serial, json.dumps(kept, sort_keys=True)

    return {item.name: cause(item.name) for item in items if item.name not in NEW}


def _placed(test: CaptureRecord, other: CaptureRecord) -> Place:
    """Rig and air of a test; a temperature or ambient pressure that its record lacks is taken as the other's."""
    laws = {key: value for key, value in test.laws.items() if value is not None}
    full = {**other.laws, **laws}
    p_regulated = (test.result or {}).get("p_regulated_gauge_pa")
    restrictor = _restrictor(laws)
    if p_regulated is None or restrictor is None:
        raise ValueError(
            f"the restrictor of test {test.id} is not known, so its percentage cannot be set against another rig's;"
            " measure again, or declare the reading with its restrictor's bore"
        )
    air = {key: full[key] for key in ("p_ambient_abs_pa", "t_supply_k") if full.get(key) is not None}
    if full.get("t_engine_k") is not None:
        air["t_cylinder_k"] = full["t_engine_k"]
    return Place(restrictor, float(p_regulated), **air)


def _restrictor(laws: Mapping[str, Any]) -> Restrictor | None:
    if "restrictor" in laws:
        return from_plain(Restrictor, laws["restrictor"])
    area_m2 = laws.get("restrictor_area_m2")
    return None if area_m2 is None else Restrictor(float(area_m2))


def _same_place(one: CaptureRecord, other: CaptureRecord) -> bool:
    """Whether two tests can stand side by side as they are; what the record does not say of both is not held against them."""
    jets: list[Any] = [test.laws.get("restrictor_area_m2") for test in (one, other)]
    if None in jets:
        return one.device_serial == other.device_serial and jets[0] == jets[1]
    if one.device_serial != other.device_serial or max(jets) > SAME_AREA * min(jets):
        return False
    pressures: list[Any] = [(test.result or {}).get("p_regulated_gauge_pa") for test in (one, other)]
    if None not in pressures and max(pressures) > SAME_PRESSURE * min(pressures):
        return False
    near = (("p_ambient_abs_pa", SAME_AMBIENT_PA), ("t_supply_k", SAME_K), ("t_engine_k", SAME_K))
    pairs = ((one.laws.get(key), other.laws.get(key), apart) for key, apart in near)
    return all(a is None or b is None or abs(a - b) <= apart for a, b, apart in pairs)


def _converted(test: CaptureRecord, to: CaptureRecord) -> tuple[float, tuple[Item, ...], str]:
    """Value, items and words of a leakage that is converted from its leak area."""
    here, there = _placed(test, to), _placed(to, test)
    area, reference = kept_budgets(test).get("leak area"), reference_gauge_pa(test)
    if area is None or reference is None or area.value <= 0.0:
        raise ValueError(
            f"test {test.id} has no leak area that could be converted; measure again with the same restrictor and pressure"
        )
    same_jet = test.device_serial == to.device_serial and (
        max(here.restrictor.area_m2, there.restrictor.area_m2) <= SAME_AREA * min(here.restrictor.area_m2, there.restrictor.area_m2)
    )
    if same_jet:
        here = replace(here, restrictor=there.restrictor)
    elif here.restrictor == there.restrictor:  # of two rigs, alike in figures: their errors are not the same
        there = replace(there, restrictor=replace(there.restrictor, area_m2=there.restrictor.area_m2 * (1.0 + 1e-9)))
    leak = _leak(test, area, reference)
    converted = convert_leakage(leak, here, there)
    wider = convert_leakage(replace(leak, area_m2=leak.area_m2 * (1.0 + _STEP)), here, there)
    per_mm2 = abs(wider.leakage_percent - converted.leakage_percent) / (_STEP * area.value)
    carried = [
        replace(item, contribution=item.contribution * per_mm2) for item in area.items if not (same_jet and item.name == RESTRICTOR)
    ]
    added = [replace(item, name=f"converting: {item.name}") for item in converted.budget.items if item.name != "leak area"]
    return converted.leakage_percent, (*carried, *added), converted.words


def _exponent(test: CaptureRecord) -> tuple[float, float, bool]:
    """How the leak changes with pressure, its standard uncertainty, and whether the test says anything of it."""
    found = ((test.result or {}).get("fit") or {}).get("pressure_exponent") or {}
    value = found.get("leaning") if found.get("value") is None else found["value"]
    if value is None:
        return *UNKNOWN_EXPONENT, False
    return float(value), float(found["standard"]), True


def _leak(test: CaptureRecord, area: Budget, reference_gauge_pa: float) -> Leak:
    """The leak as it goes over to another place; the area is above 0."""
    exponent, u_exponent, known = _exponent(test)
    wall = ((test.result or {}).get("fit") or {}).get("wall_w_k") or {}
    heat = wall.get("value")
    return Leak(
        area.value * 1e-6,
        area.standard * 1e-6,
        reference_gauge_pa,
        u_restrictor=next((item.contribution for item in area.items if item.name == RESTRICTOR), 0.0) / area.value,
        exponent=exponent if known else None,
        u_exponent=u_exponent if known else 0.0,
        wall_w_k=None if heat is None else float(heat),
        u_wall_w_k=0.0 if heat is None else float(wall["standard"]),
    )


def _bare(test: CaptureRecord, quantity: Quantity) -> Budget | None:
    """The value alone, of a test that no budget was kept with."""
    key, unit = {"leakage": ("leakage_percent", "%"), "leak area": ("leak_area_mm2", "mm²")}[quantity]
    value = (test.result or {}).get(key)
    return None if value is None else Budget(quantity, unit, float(value), ())
