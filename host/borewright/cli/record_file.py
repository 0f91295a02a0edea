"""The record file as the commands name it: one default, one option, one way to open it."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:  # SQLAlchemy stays unloaded where only help is shown
    from borewright.core.engine import Engine
    from borewright.store import Store

__all__ = ["DEFAULT_RECORD", "add_record_argument", "db_words", "named_engine", "open_store"]

DEFAULT_RECORD = Path("borewright.db")


def add_record_argument(parser: argparse.ArgumentParser) -> None:
    """The option --db FILE."""
    parser.add_argument(
        "--db",
        metavar="FILE",
        type=Path,
        default=DEFAULT_RECORD,
        help=f"the record file (default: {DEFAULT_RECORD} in this folder)",
    )


def db_words(db: Path) -> str:
    """The option as it has to be typed in another command that is told of; nothing for the usual file.

    >>> db_words(DEFAULT_RECORD), db_words(Path("my shop.db"))
    ('', " --db 'my shop.db'")
    """
    import shlex

    return "" if db == DEFAULT_RECORD else f" --db {shlex.quote(str(db))}"


def open_store(args: argparse.Namespace, *, create: bool = True) -> Store:
    """The record file that --db names; create=False for commands that only look. Raises StoreError."""
    from borewright.store import Store

    return Store.open(args.db, create=create)


def named_engine(args: argparse.Namespace) -> tuple[Engine, dict[str, Any]]:
    """The engine that --engine names, a file or one of the library of the record, and its document. Raises UseError, StoreError."""
    from borewright.service.engines import find_engine

    if not args.db.exists():
        return find_engine(args.engine, None)
    with open_store(args, create=False) as store:
        return find_engine(args.engine, store)
