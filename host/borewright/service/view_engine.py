"""What the engine page asks of the record: the library by name, an engine with its versions, and the acts on them.

What is kept goes through the check of engine files, as everywhere; there is no second set of rules.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from borewire.engine_file import PLACES, engine_faults
from borewire.toml_file import read_toml

from borewright.errors import StoreError, UseError
from borewright.service.engine_library import named_document
from borewright.service.engines import LARGEST_FILE, engine_from_document
from borewright.service.plain_file import text_of
from borewright.service.toml_text import toml_text
from borewright.store.job_file import disk_words, save_new

if TYPE_CHECKING:
    from borewright.store import Store

__all__ = [
    "EngineLine",
    "EngineVersion",
    "KeptEngine",
    "engine_of",
    "faults_of",
    "list_engines",
    "places_of",
    "read_engine_file",
    "remove_engine",
    "restore_engine",
    "save_engine",
    "write_engine_file",
]


@dataclass(frozen=True, slots=True)
class EngineLine:
    """One engine in the list of the library. bore_m, stroke_m: None where the check of today would refuse the document."""

    name: str
    saved_at_unix_s: float
    cycle: str
    cylinders: int
    bore_m: float | None
    stroke_m: float | None


@dataclass(frozen=True, slots=True)
class EngineVersion:
    """One version that an engine ever had in the library; number counts from 1."""

    number: int
    engine_id: int
    saved_at_unix_s: float
    document: dict[str, Any]


@dataclass(frozen=True, slots=True)
class KeptEngine:
    """An engine of the library with all its versions, oldest first; there is at least one. removed: it was taken out."""

    name: str
    versions: tuple[EngineVersion, ...]
    removed: bool

    @property
    def newest(self) -> EngineVersion:
        """The version that counts."""
        return self.versions[-1]


def faults_of(document: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
    """All that is wrong with a document by the check of engine files: (key, sentence without the key), in the order to mend them.

    >>> faults_of({"schema_version": 1, "name": "a", "cycle": "two-stroke", "firing_order": [1], "bore_mm": 2, "stroke_mm": 40,
    ...            "rod_mm": 80, "compression_ratio": 7})
    (('bore_mm', 'must be more than 5, not 2'),)
    """
    return tuple((fault.key, fault.reason) for fault in engine_faults(document, ""))


def places_of(cycle: str) -> tuple[str, ...]:
    """The places that an engine of this cycle can have; those of every cycle where it is none.

    >>> places_of("two-stroke")
    ('exhaust_port', 'crankcase', 'other_chambers', 'coolant', 'outside')
    """
    return PLACES.get(cycle) or tuple(dict.fromkeys(place for places in PLACES.values() for place in places))


def list_engines(store: Store, search: str = "", removed: bool = False) -> tuple[EngineLine, ...]:
    """The engines of the library by name, or those that were taken out of it; search: a part of the name."""
    return tuple(_line(entry.name, entry.saved_at_unix_s, entry.document) for entry in store.list_library(search, removed=removed))


def _line(name: str, saved_at_unix_s: float, document: Mapping[str, Any]) -> EngineLine:
    try:
        engine = engine_from_document(document, name)
    except UseError:  # kept by a program with another check: it is listed, and opened to be mended
        return EngineLine(name, saved_at_unix_s, "", 0, None, None)
    return EngineLine(name, saved_at_unix_s, engine.cycle, len(engine.firing_order), engine.bore_m, engine.stroke_m)


def engine_of(store: Store, name: str) -> KeptEngine:
    """An engine with its versions, also one that was removed. Raises UseError where the library never had it."""
    versions = tuple(
        EngineVersion(number, entry.engine_id, entry.saved_at_unix_s, dict(entry.document))
        for number, entry in enumerate(store.library_versions(name), start=1)
    )
    if not versions:
        raise UseError(f"there is no engine {name!r} in the library; look at the list of engines")
    return KeptEngine(name, versions, store.find_in_library(name) is None)


def save_engine(store: Store, document: Mapping[str, Any], opened: str | None) -> KeptEngine:
    """Keep a document: as a new version of the engine `opened` where it has its name, else as an engine of its own.

    Raises UseError where it is no engine, or where its name is that of another one, also one that was removed.
    """
    named = named_document(document, "the engine")
    name = str(named["name"])
    if name != opened and store.library_versions(name):
        gone = store.find_in_library(name) is None
        raise UseError(
            f"another engine {name!r} was removed from the library; bring it back, or give this one another name"
            if gone
            else f"another engine {name!r} is in the library; give this one another name"
        )
    store.save_in_library(named)
    return engine_of(store, name)


def remove_engine(store: Store, name: str) -> str:
    """Take an engine out of the library; it can be brought back. The name again. Raises StoreError where there is none."""
    store.remove_from_library(name)
    return name


def restore_engine(store: Store, name: str) -> str:
    """Bring a removed engine back. The name again. Raises StoreError where there is none to bring back."""
    store.restore_in_library(name)
    return name


def read_engine_file(_store: Store, path: Path) -> dict[str, Any]:
    """The document in a TOML file, whether or not it is an engine: its faults are shown where they can be mended.

    Raises UseError where the file cannot be read or is not TOML.
    """
    try:
        return read_toml(text_of(path, LARGEST_FILE))
    except OSError as error:
        reason = error.strerror or "the disk refuses"
        raise UseError(f"{path}: the engine file cannot be read ({reason}); give an engine file in TOML") from error
    except ValueError as error:
        raise UseError(f"{path}: {error}") from error


def write_engine_file(_store: Store, path: Path, document: Mapping[str, Any]) -> Path:
    """Write an engine as TOML; what was there under that name is gone, but never a record or what is no plain file.

    Raises UseError, also where the disk does not let it.
    """
    try:
        save_new(path, toml_text(document).encode(), replace=True)
    except StoreError as error:
        raise UseError(f"{path}: the engine cannot be written there ({disk_words(error)}); choose another place") from error
    return path
