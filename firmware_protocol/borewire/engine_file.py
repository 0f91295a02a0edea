"""Engine files: checked against the schema, then for meaning.

    ValueError
    └── EngineFileError(source, key, reason)    one sentence: which file, which key, what is wrong
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterator, Mapping
from copy import deepcopy
from typing import Any

from borewire.engine_schema import ENGINE_SCHEMA

__all__ = ["EngineFileError", "check_engine", "parse_engine"]

CYCLE_DEG = {"four-stroke": 720.0, "two-stroke": 360.0}


class EngineFileError(ValueError):
    """An engine file that cannot be used. `source` is the file, `key` the place in it, `reason` what is wrong and what to do."""

    def __init__(self, source: str, key: str, reason: str) -> None:
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
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise EngineFileError(source, "", f"this is not TOML ({error}); correct the text there") from None
    return check_engine(document, source)


def check_engine(document: Mapping[str, Any], source: str) -> dict[str, Any]:
    """The engine with the defaults filled in: firing_intervals_deg and clearance_cm3 are always there afterwards.

    Lengths in mm, volumes in cm³, angles in crank degrees, as in the file. Raises EngineFileError at the first thing that is wrong.

    >>> single = {"schema_version": 1, "name": "single", "cycle": "four-stroke", "firing_order": [1], "bore_mm": 86,
    ...           "stroke_mm": 86, "rod_mm": 143, "compression_ratio": 11}
    >>> engine = check_engine(single, "single.toml")
    >>> engine["firing_intervals_deg"], round(engine["clearance_cm3"], 2), engine["running_direction"]
    ([720.0], 49.96, 'clockwise')
    """
    for key, value in _leaves(document):
        if isinstance(value, float) and not math.isfinite(value):
            raise EngineFileError(source, key, "must be a finite number")
    _check_schema(document, source)
    engine = deepcopy(dict(document))
    for key, rule in ENGINE_SCHEMA["properties"].items():
        if "default" in rule:
            engine.setdefault(key, rule["default"])
    _check_firing(engine, source)
    _check_geometry(engine, source)
    _check_events(engine, source)
    return engine


def _leaves(value: Any, key: str = "") -> Iterator[tuple[str, Any]]:
    if isinstance(value, Mapping):
        for name, inner in value.items():
            yield from _leaves(inner, f"{key}.{name}" if key else str(name))
    elif isinstance(value, list):
        for number, inner in enumerate(value):
            yield from _leaves(inner, f"{key}[{number}]")
    else:
        yield key, value


def _check_schema(document: Mapping[str, Any], source: str) -> None:
    from jsonschema import Draft202012Validator  # noqa: PLC0415 - slow to load, and only engine files need it
    from jsonschema.exceptions import best_match  # noqa: PLC0415

    error = best_match(Draft202012Validator(ENGINE_SCHEMA).iter_errors(dict(document)))
    if error is not None:
        key = "".join(f"[{part}]" if isinstance(part, int) else f".{part}" for part in error.absolute_path).lstrip(".")
        raise EngineFileError(source, key, _in_words(error.validator, error.validator_value, error.instance))


def _in_words(rule: object, bound: Any, value: Any) -> str:
    """What a broken schema rule means to the person who wrote the file."""
    match rule:
        case "required":
            missing = [name for name in bound if name not in value]
            return f"{', '.join(missing)} must be given"
        case "additionalProperties":
            return f"unknown key {', '.join(sorted(set(value) - set(bound)))}; check the spelling" if bound else "unknown key; check the spelling"
        case _:
            return f"{value!r} breaks the rule {rule} {bound!r}"


def _check_firing(engine: dict[str, Any], source: str) -> None:
    order = engine["firing_order"]
    count = len(order)
    if sorted(order) != list(range(1, count + 1)):
        raise EngineFileError(source, "firing_order", f"must name each cylinder from 1 to {count} once, not {order}")
    cycle = CYCLE_DEG[engine["cycle"]]
    intervals = [float(interval) for interval in engine.get("firing_intervals_deg", [cycle / count] * count)]
    if len(intervals) != count:
        reason = f"must have as many angles as there are cylinders, {count}, not {len(intervals)}"
        raise EngineFileError(source, "firing_intervals_deg", reason)
    if abs(sum(intervals) - cycle) > 0.01:
        reason = f"must add up to the {cycle:g} degrees of a {engine['cycle']} cycle, not to {sum(intervals):g}"
        raise EngineFileError(source, "firing_intervals_deg", reason)
    engine["firing_intervals_deg"] = intervals


def _check_geometry(engine: dict[str, Any], source: str) -> None:
    needed = engine["stroke_mm"] / 2 + abs(engine["pin_offset_mm"])
    if engine["rod_mm"] <= needed:
        reason = f"must be longer than half the stroke and the pin offset together, {needed:g} mm, or the crank cannot turn"
        raise EngineFileError(source, "rod_mm", reason)
    if "clearance_cm3" not in engine:
        swept_cm3 = math.pi / 4 * engine["bore_mm"] ** 2 * _travel_mm(engine) / 1000
        engine["clearance_cm3"] = swept_cm3 / (engine["compression_ratio"] - 1)


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
