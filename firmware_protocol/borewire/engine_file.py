"""Engine files: checked against the schema, then for meaning.

ValueError
└── EngineFileError(source, key, reason)    one sentence: which file, which key, what is wrong
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from copy import deepcopy
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from borewire.engine_schema import ENGINE_SCHEMA
from borewire.toml_file import read_toml

if TYPE_CHECKING:
    from jsonschema.exceptions import ValidationError

__all__ = ["EngineFileError", "check_engine", "engine_faults", "parse_engine"]

CYCLE_DEG = {"four-stroke": 720.0, "two-stroke": 360.0}
PLACES = {
    "four-stroke": ("intake", "exhaust", "breather", "coolant", "neighbours", "outside"),
    "two-stroke": ("exhaust_port", "crankcase", "other_chambers", "coolant", "outside"),
}
SAME_DEG = 0.01  # angles closer than this are one


class EngineFileError(ValueError):
    """An engine file that cannot be used. `source` is the file, `key` the place in it, `reason` what is wrong and what to do."""

    def __init__(self, source: str, key: str, reason: str) -> None:
        key = "".join(letter if letter.isprintable() else "?" for letter in key)[:80]  # a misspelt key is the file's own text
        super().__init__(f"{source}: {key}: {reason}" if key else f"{source}: {reason}")
        self.source = source
        self.key = key
        self.reason = reason


def parse_engine(text: str, source: str) -> dict[str, Any]:
    """The engine in a TOML text, checked and with the defaults filled in. Raises EngineFileError; `source` names the text in it.

    >>> parse_engine("schema_version = 2", "lawnmower.toml")
    Traceback (most recent call last):
    borewire.engine_file.EngineFileError: lawnmower.toml: schema_version: must be 1, not 2
    """
    try:
        document = read_toml(text)
    except ValueError as error:
        raise EngineFileError(source, "", str(error)) from None
    return check_engine(document, source)


def check_engine(document: Mapping[str, Any], source: str) -> dict[str, Any]:
    """The engine with the defaults filled in: firing_intervals_deg, clearance_cm3 and places are always there afterwards.

    Lengths in mm, volumes in cm³, angles in crank degrees, as in the file. Raises EngineFileError at the first thing that is wrong.

    >>> single = {"schema_version": 1, "name": "single", "cycle": "four-stroke", "firing_order": [1], "bore_mm": 86,
    ...           "stroke_mm": 86, "rod_mm": 143, "compression_ratio": 11}
    >>> engine = check_engine(single, "single.toml")
    >>> engine["firing_intervals_deg"], round(engine["clearance_cm3"], 2), engine["running_direction"]
    ([720.0], 49.96, 'clockwise')
    """
    engine, faults = _checked(document, source)
    if faults:
        raise faults[0]
    return engine


def engine_faults(document: Mapping[str, Any], source: str) -> tuple[EngineFileError, ...]:
    """All that is wrong with a document, each key once, for somebody who mends it; none where it is an engine.

    The first is what check_engine raises. What values mean together is looked at only once each of them is right by itself.

    >>> [fault.key for fault in engine_faults({"schema_version": 1, "name": "", "cycle": "four-stroke", "bore_mm": 86}, "it")]
    ['firing_order', 'stroke_mm', 'rod_mm', 'compression_ratio', 'name']
    """
    return _checked(document, source)[1]


def _checked(document: Mapping[str, Any], source: str) -> tuple[dict[str, Any], tuple[EngineFileError, ...]]:
    """The engine with the defaults filled in, as far as it is one, and what is wrong with it."""
    faults = [*_leaf_faults(document, source), *_schema_faults(document, source)]
    engine = deepcopy(dict(document))
    if not faults:
        for key, rule in ENGINE_SCHEMA["properties"].items():
            if "default" in rule:
                engine.setdefault(key, rule["default"])
        faults = _faults_of_meaning(engine, document, source)
    once = {fault.key: fault for fault in reversed(faults)}  # the first of each key
    return engine, tuple(fault for fault in faults if once[fault.key] is fault)


def _leaf_faults(document: Mapping[str, Any], source: str) -> Iterator[EngineFileError]:
    for key, value in _leaves(document):
        if isinstance(value, float) and not math.isfinite(value):
            yield EngineFileError(source, key, "must be a finite number")
        if isinstance(value, str) and not all(letter.isprintable() or (letter in "\n\t" and key == "notes") for letter in value):
            yield EngineFileError(source, key, "must be a text of characters that can be printed")


def _faults_of_meaning(engine: dict[str, Any], document: Mapping[str, Any], source: str) -> list[EngineFileError]:
    found: list[EngineFileError] = []
    checks: tuple[Callable[[], None], ...] = (
        lambda: _check_firing(engine, source),
        lambda: _check_geometry(engine, source),
        lambda: _check_events(engine, source),
        lambda: _check_assembly(engine, document, source),
        lambda: _check_places(engine, source),
    )
    for check in checks:
        try:
            check()
        except EngineFileError as fault:
            found.append(fault)
    return found


def _leaves(value: Any, key: str = "") -> Iterator[tuple[str, Any]]:
    if isinstance(value, Mapping):
        for name, inner in value.items():
            yield from _leaves(inner, f"{key}.{name}" if key else str(name))
    elif isinstance(value, list):
        for number, inner in enumerate(value):
            yield from _leaves(inner, f"{key}[{number}]")
    else:
        yield key, value


def _schema_faults(document: Mapping[str, Any], source: str) -> Iterator[EngineFileError]:
    from jsonschema import Draft202012Validator  # noqa: PLC0415 - slow to load, and only engine files need it

    for error in sorted(Draft202012Validator(ENGINE_SCHEMA).iter_errors(dict(document)), key=_order):
        for at_fault in _keys_at_fault(error) or [""]:
            path = [*error.absolute_path, *([at_fault] if at_fault else [])]
            key = "".join(f"[{part}]" if isinstance(part, int) else f".{part}" for part in path).lstrip(".")
            yield EngineFileError(source, key, _in_words(str(error.validator), error.validator_value, error.instance))


_URGENT = ("const", "additionalProperties", "required")


def _order(error: ValidationError) -> tuple[int, list[str]]:
    """A wrong schema version first, then misspelt keys, then missing ones, then wrong values: the order in which to mend them."""
    rule = str(error.validator)
    return _URGENT.index(rule) if rule in _URGENT else len(_URGENT), [str(part) for part in error.absolute_path]


def _keys_at_fault(error: ValidationError) -> list[str]:
    """The key inside the error's own place, for the rules that speak of a whole table."""
    schema: Any = error.schema
    found: Any = error.instance
    if error.validator == "required":
        return [name for name in schema["required"] if name not in found]
    if error.validator == "additionalProperties":
        return sorted(set(found) - set(schema["properties"]))
    return ["compression_ratio"] if error.validator == "oneOf" else []


def _in_words(rule: str, bound: Any, value: Any) -> str:
    """What a broken schema rule means to the person who wrote the file."""
    match rule:
        case "required":
            return "must be given"
        case "additionalProperties":
            return "is not a key of an engine file; check the spelling"
        case "oneOf":
            return "give either compression_ratio or clearance_cm3, and not both"
        case "const":
            return f"must be {bound}, not {value!r}"
        case "enum":
            return f"must be one of {', '.join(map(str, bound))}, not {value!r}"
        case "type":
            kinds = {"object": "a table", "array": "a list", "integer": "a whole number", "number": "a number", "string": "a text"}
            return f"must be {kinds[bound]}, not {value!r}"
        case "minimum":
            return f"must be at least {bound}, not {value!r}"
        case "maximum":
            return f"must be at most {bound}, not {value!r}"
        case "exclusiveMinimum":
            return f"must be more than {bound}, not {value!r}"
        case "minItems" | "minLength":
            return "must not be empty"
        case "maxItems" | "maxLength":
            return f"must not be longer than {bound}"
        case _:
            return f"breaks the rule {rule} {bound!r}"


def _check_firing(engine: dict[str, Any], source: str) -> None:
    order = engine["firing_order"]
    count = len(order)
    if sorted(order) != list(range(1, count + 1)):
        raise EngineFileError(source, "firing_order", f"must name each cylinder from 1 to {count} once, not {order}")
    cycle = CYCLE_DEG[engine["cycle"]]
    engine["firing_order"] = [int(cylinder) for cylinder in order]  # the schema takes 1.0 for a whole number
    from_angles = _intervals_of_angles(engine, source) if "compression_tdc_deg" in engine else None
    intervals = [float(interval) for interval in engine.get("firing_intervals_deg", from_angles or [cycle / count] * count)]
    if len(intervals) != count:
        reason = f"must have as many angles as there are cylinders, {count}, not {len(intervals)}"
        raise EngineFileError(source, "firing_intervals_deg", reason)
    if abs(sum(intervals) - cycle) > SAME_DEG:
        reason = f"must add up to the {cycle:g} degrees of a {engine['cycle']} cycle, not to {sum(intervals):g}"
        raise EngineFileError(source, "firing_intervals_deg", reason)
    if from_angles and any(abs(one - other) > SAME_DEG for one, other in zip(intervals, from_angles, strict=True)):
        said = ", ".join(f"{interval:g}" for interval in from_angles)
        reason = f"gives the intervals {said}, which are not those of firing_intervals_deg; correct one of the two or leave it out"
        raise EngineFileError(source, "compression_tdc_deg", reason)
    engine["firing_intervals_deg"] = intervals


def _intervals_of_angles(engine: Mapping[str, Any], source: str) -> list[float]:
    """firing_intervals_deg by compression_tdc_deg, which must rise in the firing order from its first cylinder on."""
    order, angles, cycle = engine["firing_order"], engine["compression_tdc_deg"], CYCLE_DEG[engine["cycle"]]
    if len(angles) != len(order):
        reason = f"must have as many angles as there are cylinders, {len(order)}, not {len(angles)}"
        raise EngineFileError(source, "compression_tdc_deg", reason)
    for number, angle in enumerate(angles):
        if angle >= cycle:
            reason = f"must be less than the {cycle:g} degrees of a {engine['cycle']} cycle, not {angle:g}"
            raise EngineFileError(source, f"compression_tdc_deg[{number}]", reason)
    first = angles[order[0] - 1]
    after_first = [(angles[cylinder - 1] - first) % cycle for cylinder in order]
    for (earlier, later), (before, after) in zip(pairwise(order), pairwise(after_first), strict=True):
        if after < before - SAME_DEG:
            reason = (
                f"says that cylinder {later} comes before cylinder {earlier}, but firing_order says {', '.join(map(str, order))}; "
                "correct one of the two"
            )
            raise EngineFileError(source, "compression_tdc_deg", reason)
    return [max(0.0, after - before) for before, after in pairwise([*after_first, cycle])]


def _check_geometry(engine: dict[str, Any], source: str) -> None:
    needed = engine["stroke_mm"] / 2 + abs(engine["pin_offset_mm"])
    if engine["rod_mm"] <= needed:
        reason = f"must be longer than half the stroke and the pin offset together, {needed:g} mm, or the crank cannot turn"
        raise EngineFileError(source, "rod_mm", reason)
    swept_cm3 = math.pi / 4 * engine["bore_mm"] ** 2 * _travel_mm(engine) / 1000
    if "clearance_cm3" not in engine:
        engine["clearance_cm3"] = swept_cm3 / (engine["compression_ratio"] - 1)
    ratio = 1 + swept_cm3 / engine["clearance_cm3"]
    highest = ENGINE_SCHEMA["properties"]["compression_ratio"]["maximum"]
    if ratio > highest * (1 + 1e-9):
        reason = f"gives a compression ratio of {ratio:.3g}, and no engine has more than {highest}; check the volume and its unit"
        raise EngineFileError(source, "clearance_cm3", reason)


def _travel_mm(engine: Mapping[str, Any]) -> float:
    """From the lowest to the highest place of the piston; a little more than the stroke when the pin is offset."""
    half, rod, offset = engine["stroke_mm"] / 2, engine["rod_mm"], engine["pin_offset_mm"]
    return math.sqrt((rod + half) ** 2 - offset**2) - math.sqrt((rod - half) ** 2 - offset**2)


def _check_events(engine: Mapping[str, Any], source: str) -> None:
    two_stroke = engine["cycle"] == "two-stroke"
    if two_stroke and "valve_events" in engine:
        raise EngineFileError(source, "valve_events", "belongs to a four-stroke; a two-stroke has port_events")
    if not two_stroke and "port_events" in engine:
        raise EngineFileError(source, "port_events", "belongs to a two-stroke; a four-stroke has valve_events")
    ports = engine.get("port_events")
    if ports and ports["transfer_opens_after_tdc_deg"] <= ports["exhaust_opens_after_tdc_deg"]:
        reason = "must come after exhaust_opens_after_tdc_deg; check which is which"
        raise EngineFileError(source, "port_events.transfer_opens_after_tdc_deg", reason)


def _check_assembly(engine: dict[str, Any], document: Mapping[str, Any], source: str) -> None:
    if engine["assembly"] == "complete":
        return
    what = engine["assembly"].replace("_", " ")
    if engine["cycle"] == "two-stroke":
        reason = f"{what} belongs to a four-stroke; a two-stroke has its ports in the cylinder and is tested complete"
        raise EngineFileError(source, "assembly", reason)
    if document.get("valve_gear") == "fitted":
        raise EngineFileError(source, "valve_gear", f"must be not_fitted for a {what}, or left out: nothing moves the valves there")
    engine["valve_gear"] = "not_fitted"


def _check_places(engine: dict[str, Any], source: str) -> None:
    missing = {
        "coolant": engine["cooling"] != "liquid" and f"an engine with {engine['cooling']} cooling has no coolant",
        "neighbours": len(engine["firing_order"]) == 1 and "an engine with one cylinder has no neighbours",
        "other_chambers": len(engine["firing_order"]) == 1 and "an engine with one cylinder has no other chambers",
        "intake": engine["assembly"] == "short_block" and "a short block has no intake",
        "exhaust": engine["assembly"] == "short_block" and "a short block has no exhaust",
        "breather": engine["assembly"] == "bare_head" and "a bare head has no breather",
    }
    of_cycle = PLACES[engine["cycle"]]
    given = engine.get("places", [place for place in of_cycle if not missing.get(place)])
    for number, place in enumerate(given):
        reason = missing.get(place)
        if place not in of_cycle:
            reason = f"{place!r} is no place of a {engine['cycle']} engine, which has {', '.join(of_cycle)}"
        elif place in given[:number]:
            reason = f"{place!r} is named twice; name each place once"
        if reason:
            raise EngineFileError(source, f"places[{number}]", reason)
    engine["places"] = [place for place in of_cycle if place in given]
    if "coolant_cap_kpa" in engine and engine["cooling"] != "liquid":
        raise EngineFileError(source, "coolant_cap_kpa", "belongs to an engine with liquid cooling; leave it out")
