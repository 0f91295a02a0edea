"""Engine files into engines: the shared check of the file, then our own geometry."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from borewire.engine_file import EngineFileError, check_engine, parse_engine
from borewire.toml_file import read_toml

from borewright.core.engine import Engine, PortEvents, ValveEvents
from borewright.errors import UseError
from borewright.service.plain_file import text_of

if TYPE_CHECKING:
    from borewright.store import Store

__all__ = ["engine_from_document", "find_engine", "load_engine"]

LARGEST_FILE = 1_000_000  # octets; an engine file has a few thousand


def load_engine(path: Path) -> tuple[Engine, dict[str, Any]]:
    """The engine in a TOML file, and the document as it was written, which is what the record keeps.

    Raises UseError with one sentence that names the file, the key and the reason.
    """
    try:
        text = text_of(path, LARGEST_FILE)
    except OSError as error:
        reason = error.strerror or "the disk refuses"
        raise UseError(f"{path}: the engine file cannot be read ({reason}); give the path of an engine file in TOML") from error
    try:
        checked = parse_engine(text, str(path))
    except EngineFileError as error:
        raise UseError(str(error)) from error
    document = read_toml(text)
    return _engine(checked, document), document


def find_engine(text: str, store: Store | None) -> tuple[Engine, dict[str, Any]]:
    """The engine that a person names: an engine file, or an engine of the record's library (store None: there is no record yet).

    A file of that name goes before the library. Raises UseError like load_engine, or when there is neither.
    """
    try:
        is_file = Path(text).is_file()
    except (OSError, ValueError):  # a name too long for a path, or one with a zero in it
        is_file = False
    if is_file:
        return load_engine(Path(text))
    entry = None if store is None else store.find_in_library(text.strip())
    if entry is not None:
        return engine_from_document(entry.document, f"engine {entry.name!r} of the library"), dict(entry.document)
    if text.endswith(".toml"):
        return load_engine(Path(text))  # which says why it cannot be read
    raise UseError(f"there is no engine file {text!r} and no engine of that name in the library; `borewright engine list` shows it")


def engine_from_document(document: Mapping[str, Any], source: str) -> Engine:
    """The engine of a document, for instance one that the record keeps. Raises UseError like load_engine."""
    try:
        return _engine(check_engine(document, source), document)
    except EngineFileError as error:
        raise UseError(str(error)) from error


def _engine(checked: Mapping[str, Any], document: Mapping[str, Any]) -> Engine:
    return Engine(
        name=checked["name"],
        cycle=checked["cycle"],
        firing_order=tuple(checked["firing_order"]),
        firing_intervals_deg=tuple(float(interval) for interval in checked["firing_intervals_deg"]),
        bore_m=checked["bore_mm"] / 1e3,
        stroke_m=checked["stroke_mm"] / 1e3,
        rod_m=checked["rod_mm"] / 1e3,
        clearance_m3=checked["clearance_cm3"] / 1e6,
        pin_offset_m=checked["pin_offset_mm"] / 1e3,
        running_direction=checked["running_direction"],
        cooling=checked["cooling"],
        decompression=checked["decompression"],
        valve_gear=checked["valve_gear"],
        valve_events=ValveEvents(**checked["valve_events"]) if "valve_events" in checked else ValveEvents(),
        port_events=PortEvents(**checked["port_events"]) if "port_events" in checked else PortEvents(),
        assembly=checked["assembly"],
        only_places=tuple(checked["places"]) if "places" in document else (),
        coolant_cap_pa=checked["coolant_cap_kpa"] * 1e3 if "coolant_cap_kpa" in checked else None,
        numbering=checked.get("numbering", ""),
    )
