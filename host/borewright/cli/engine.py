"""borewright engine: the library of engines in the record file."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from borewright.cli import exits
from borewright.cli.output import date_words, print_json, prints_every_letter, table_lines
from borewright.cli.record_file import add_record_argument, open_store
from borewright.cli.subcommands import add_subcommand
from borewright.errors import UseError

if TYPE_CHECKING:
    from borewright.core.engine import Engine
    from borewright.store.records import LibraryRecord

__all__ = ["EXAMPLE", "add_arguments", "run"]

EXAMPLE = """examples:
  borewright engine add larch_four.toml
  borewright engine list --search larch
  borewright engine show "Larch four" > larch_four.toml
  borewright engine edit "Larch four" --set bore_mm=81.6
  borewright engine copy "Larch four" "Larch four, bored out"

An engine of the library can be named wherever an engine file can: --engine "Larch four". Every change is a new version; jobs go on
with the version that they were begun with."""

SUBCOMMANDS = {
    "list": ("the engines in the library by name", "borewright engine list --json"),
    "show": ("an engine as an engine file (TOML)", 'borewright engine show "Larch four"'),
    "add": ("take an engine file into the library", "borewright engine add larch_four.toml"),
    "edit": ("keep a new version of an engine", 'borewright engine edit "Larch four" --set bore_mm=81.6 --set cooling=air'),
    "copy": ("keep an engine under another name too", 'borewright engine copy "Larch four" "Larch four, bored out"'),
    "remove": ("take an engine out of the library; it can be brought back", 'borewright engine remove "Larch four"'),
    "restore": ("bring a removed engine back", 'borewright engine restore "Larch four"'),
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The subcommands of engine."""
    subcommands = parser.add_subparsers(dest="subcommand", metavar="SUBCOMMAND", required=True)
    made = {name: add_subcommand(subcommands, name, what, example) for name, (what, example) in SUBCOMMANDS.items()}
    for name in ("show", "edit", "copy", "remove", "restore"):
        made[name].add_argument("name", metavar="NAME", help="the engine's name, as `borewright engine list` shows it")
    made["list"].add_argument("--search", metavar="TEXT", default="", help="only engines with this in their name")
    made["list"].add_argument("--removed", action="store_true", help="those that were taken out of the library instead")
    made["show"].add_argument("--version", metavar="N", type=int, help="an older version, counted from 1 (default: the newest)")
    made["add"].add_argument("file", metavar="FILE", type=Path, help="the engine file (TOML)")
    made["edit"].add_argument("--file", metavar="FILE", type=Path, help="an engine file whose content is the new version")
    made["edit"].add_argument(
        "--set",
        metavar="KEY=VALUE",
        action="append",
        default=[],
        dest="changes",
        help="a key and its value as in an engine file; valve_events.KEY=VALUE for one in a table; may be given again",
    )
    made["edit"].add_argument(
        "--unset", metavar="KEY", action="append", default=[], dest="without", help="a key to leave out; may be given again"
    )
    made["copy"].add_argument("new", metavar="NEW", help="the new name")
    for subparser in made.values():
        add_record_argument(subparser)
        subparser.add_argument("--json", action="store_true", help="one JSON object")


def run(args: argparse.Namespace) -> int:
    """Do what the subcommand says. Raises UseError for engines, names and changes that are none, StoreError for the record file."""
    does: dict[str, Callable[[argparse.Namespace], int]] = {
        "list": _list,
        "show": _show,
        "add": _add,
        "edit": _edit,
        "copy": _copy,
        "remove": _remove,
        "restore": _restore,
    }
    return does[args.subcommand](args)


def _list(args: argparse.Namespace) -> int:
    with open_store(args, create=False) as store:
        entries = store.list_library(args.search, removed=args.removed)
        versions = {entry.name: len(store.library_versions(entry.name)) for entry in entries}
    if args.json:
        print_json(
            {"database": str(args.db), "engines": [_as_dict(entry) | {"versions": versions[entry.name]} for entry in entries]}
        )
    elif entries:
        rows = [[*_cells(entry), str(versions[entry.name]), date_words(entry.saved_at_unix_s)] for entry in entries]
        print("\n".join(table_lines(["engine", "cycle", "cylinders", "bore × stroke mm", "cooling", "versions", "saved"], rows)))
    else:
        kind = "removed engine" if args.removed else "engine"
        print(f"there is no {kind} in the library of {args.db}" + (f" with {args.search!r} in its name" if args.search else ""))
    return exits.OK


def _show(args: argparse.Namespace) -> int:
    from borewright.service.engine_library import the_engine
    from borewright.service.toml_text import toml_text

    with open_store(args, create=False) as store:
        if args.version is None:
            entry = the_engine(store, args.name)
        else:
            versions = store.library_versions(args.name.strip())
            if not 1 <= args.version <= len(versions):
                raise UseError(f"there is no version {args.version} of engine {args.name!r}; it has {len(versions)}")
            entry = versions[args.version - 1]
    if args.json:
        print_json({"database": str(args.db), "engine": _as_dict(entry)})
    else:
        print(toml_text(entry.document, only_ascii=not prints_every_letter()), end="")
    return exits.OK


def _add(args: argparse.Namespace) -> int:
    from borewright.service.engine_library import add_engine
    from borewright.service.engines import load_engine

    load_engine(args.file)  # before a record file is made for it
    with open_store(args) as store:
        entry = add_engine(store, args.file)
    return _told(args, entry, f"engine {entry.name}: in the library of {args.db}")


def _edit(args: argparse.Namespace) -> int:
    from borewright.service.engine_library import edit_engine, the_engine

    if args.file is None and not args.changes and not args.without:
        raise UseError("say what is to be changed: --set KEY=VALUE, --unset KEY, or --file FILE")
    with open_store(args, create=False) as store:
        before = the_engine(store, args.name)
        entry = edit_engine(store, args.name, file=args.file, changes=args.changes, without=args.without)
    if entry.engine_id == before.engine_id:
        return _told(args, entry, f"engine {entry.name}: this is what it was already; nothing was changed")
    return _told(args, entry, f"engine {entry.name}: a new version; jobs go on with the version that they were begun with")


def _copy(args: argparse.Namespace) -> int:
    from borewright.service.engine_library import copy_engine

    with open_store(args, create=False) as store:
        entry = copy_engine(store, args.name, args.new)
    return _told(args, entry, f"engine {entry.name}: in the library of {args.db}")


def _remove(args: argparse.Namespace) -> int:
    from borewright.service.engine_library import the_engine

    with open_store(args, create=False) as store:
        entry = the_engine(store, args.name)
        store.remove_from_library(entry.name)
    return _told(args, entry, f"engine {entry.name}: out of the library; `borewright engine restore` brings it back")


def _restore(args: argparse.Namespace) -> int:
    from borewright.service.engine_library import the_engine

    with open_store(args, create=False) as store:
        store.restore_in_library(args.name.strip())
        entry = the_engine(store, args.name)
    return _told(args, entry, f"engine {entry.name}: back in the library of {args.db}")


def _told(args: argparse.Namespace, entry: LibraryRecord, words: str) -> int:
    if args.json:
        print_json({"database": str(args.db), "engine": _as_dict(entry)})
    else:
        print(words)
    return exits.OK


def _cells(entry: LibraryRecord) -> list[str]:
    engine = _engine(entry)
    size = f"{engine.bore_m * 1e3:g} × {engine.stroke_m * 1e3:g}"
    return [entry.name, engine.cycle, str(len(engine.cylinders)), size, engine.cooling]


def _as_dict(entry: LibraryRecord) -> dict[str, Any]:
    engine = _engine(entry)
    return {
        "name": entry.name,
        "engine_id": entry.engine_id,
        "saved_at_unix_s": entry.saved_at_unix_s,
        "firing_angles_deg": {str(cylinder): engine.firing_angle_deg(cylinder) for cylinder in engine.cylinders},
        "places": list(engine.places),
        "document": dict(entry.document),
    }


def _engine(entry: LibraryRecord) -> Engine:
    from borewright.service.engines import engine_from_document

    return engine_from_document(entry.document, f"engine {entry.name!r} of the library")
