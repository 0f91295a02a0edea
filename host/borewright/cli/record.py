"""The record file as the commands name it: one default, one option, one way to open it."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:  # SQLAlchemy stays unloaded where only help is shown
    from borewright.store import Store

__all__ = ["DEFAULT_RECORD", "add_record_argument", "open_store"]

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


def open_store(args: argparse.Namespace, *, create: bool = True) -> Store:
    """The record file that --db names; create=False for commands that only look. Raises StoreError."""
    from borewright.store import Store

    return Store.open(args.db, create=create)
