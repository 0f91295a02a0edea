"""The library of engines: what is kept in it has been checked as an engine file is, and each change is a new version."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from copy import deepcopy
from pathlib import Path
from typing import TYPE_CHECKING, Any

from borewire.toml_file import NotTomlError, read_toml

from borewright.errors import UseError
from borewright.service.engines import engine_from_document, load_engine
from borewright.service.names import checked_name

if TYPE_CHECKING:
    from borewright.store import Store
    from borewright.store.records import LibraryRecord

__all__ = ["add_engine", "changed", "copy_engine", "edit_engine", "named_document", "the_engine"]

_MOST_DOTS = 8  # in a key; the keys of an engine have one at most


def the_engine(store: Store, name: str) -> LibraryRecord:
    """The newest version of the engine of this name. Raises UseError when the library has none."""
    entry = store.find_in_library(name.strip())
    if entry is None:
        raise UseError(f"there is no engine {name!r} in the library of {store.path}; `borewright engine list` shows those that are")
    return entry


def add_engine(store: Store, path: Path) -> LibraryRecord:
    """Keep an engine file under the name that stands in it. Raises UseError for a file that is none, or a name that is taken."""
    document = named_document(load_engine(path)[1], str(path))
    entry = store.find_in_library(document["name"])
    if entry is not None and entry.document != document:
        raise UseError(
            f"another engine {entry.name!r} is in the library; give this one another name, "
            f"or make it a new version with: borewright engine edit NAME --file {path}"
        )
    return store.save_in_library(document)


def edit_engine(
    store: Store, name: str, *, file: Path | None = None, changes: Sequence[str] = (), without: Sequence[str] = ()
) -> LibraryRecord:
    """Keep a new version of an engine: the file's content, or the newest version, with `changes` (KEY=VALUE) and `without` keys.

    Raises UseError when nothing is to be changed, or when it would be no engine any more.
    """
    entry = the_engine(store, name)
    beginning = entry.document if file is None else load_engine(file)[1]
    document = named_document(changed(beginning, changes, without), f"engine {entry.name!r}" if file is None else str(file))
    if document["name"] != entry.name:
        raise UseError(
            f"an engine keeps its name, and {document['name']!r} is not {entry.name!r}; "
            "make one of another name with: borewright engine copy NAME NEW"
        )
    return store.save_in_library(document)


def copy_engine(store: Store, name: str, new: str) -> LibraryRecord:
    """Keep the newest version of an engine under a new name too. Raises UseError when the new name is none, or is taken."""
    entry = the_engine(store, name)
    called = checked_name(new, "an engine", "NEW")
    if store.find_in_library(called) is not None:
        raise UseError(f"there is an engine {called!r} in the library already; give another NEW")
    return store.save_in_library({**entry.document, "name": called})


def changed(document: Mapping[str, Any], changes: Sequence[str], without: Sequence[str] = ()) -> dict[str, Any]:
    """A copy of a document, first without the keys named, then with each KEY=VALUE set; a dot leads into a table.

    A value is written as in an engine file, and a text needs no quotes. Raises UseError for a change that cannot be read.

    >>> changed({"cooling": "air", "bore_mm": 80, "valve_events": {}}, ["cooling=oil", "bore_mm=81.6"], ["valve_events"])
    {'cooling': 'oil', 'bore_mm': 81.6}
    """
    made = deepcopy(dict(document))
    for key in without:
        table, last = _table(made, key)
        if last not in table:
            raise UseError(
                f"there is no key {key!r} in this engine that could be left out; `borewright engine show` shows its keys"
            )
        del table[last]
    for change in changes:
        key, sign, value = change.partition("=")
        if not sign or not key.strip():
            raise UseError(f"{change!r} is no change; write it like --set bore_mm=81.6")
        if key.count(".") > _MOST_DOTS:
            raise UseError(f"a key of {key.count('.') + 1} parts leads too deep; `borewright engine show` shows the keys")
        table, last = _table(made, key.strip())
        table[last] = _value(value.strip())
    return made


def _table(document: dict[str, Any], key: str) -> tuple[dict[str, Any], str]:
    """The table that a dotted key leads into, made where it is missing, and the key in it."""
    *inner, last = key.split(".")
    table = document
    for part in inner:
        found = table.setdefault(part, {})
        if not isinstance(found, dict):
            raise UseError(f"{key!r} leads into {part!r}, which is no table; `borewright engine show` shows the keys")
        table = found
    return table, last


def _value(text: str) -> Any:
    try:
        read = read_toml(f"value = {text}")
    except NotTomlError:
        return text
    except ValueError as error:
        raise UseError(f"what --set gives cannot be read: {error}") from None
    return read["value"] if read.keys() == {"value"} else text  # a line of its own in it: it is checked as the text that it is


def named_document(document: Mapping[str, Any], source: str) -> dict[str, Any]:
    """The document with its name as the library keeps it, once it is certain that it is an engine. Raises UseError.

    source: what the error names.
    """
    engine = engine_from_document(document, source)
    return {**document, "name": checked_name(engine.name, "an engine", "name in the file")}
