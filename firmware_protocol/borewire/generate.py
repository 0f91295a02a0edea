"""Makes everything that comes from the tables, or says what is not current.

Run `python -m borewire.generate` in a checkout after changing messages.toml, interlock.toml or engine.schema.json;
`python -m borewire.generate --check` changes nothing and ends with 1 when a file is not current; `--canonical` prints the canonical
text of the message table, which VERSIONS.md says what to do with.
"""

from __future__ import annotations

import json
import pprint
import sys
import tomllib
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from borewire.generate_c import messages_header
from borewire.generate_c_code import messages_code
from borewire.generate_c_fields import fields_header
from borewire.generate_c_interlock import interlock_header
from borewire.generate_interlock import interlock_module
from borewire.generate_messages import messages_module
from borewire.generate_page import page_with_tables
from borewire.interlock_check import check_interlock
from borewire.table import MessageTable, TableError, parse_table

__all__ = ["canonical_text", "generated_files", "main"]

ROOT = Path(__file__).resolve().parent.parent

_SCHEMA_HEAD = '''"""The schema of engine files. Generated from engine.schema.json; change that, not this file."""

from __future__ import annotations

from typing import Any

__all__ = ["ENGINE_SCHEMA"]

ENGINE_SCHEMA: dict[str, Any] = '''


def generated_files(root: Path = ROOT) -> dict[Path, str]:
    """The path and the text of every file that comes from the tables under `root`. Raises TableError, OSError."""
    table = _message_table(root)
    interlock = _parsed(root / "interlock.toml", tomllib.loads)
    check_interlock(interlock, table)
    schema = _parsed(root / "engine.schema.json", json.loads)
    page = root / "PROTOCOL.md"
    return {
        root / "borewire" / "messages.py": messages_module(table),
        root / "borewire" / "interlock.py": interlock_module(interlock),
        root / "borewire" / "engine_schema.py": _SCHEMA_HEAD + pprint.pformat(schema, width=130, sort_dicts=False) + "\n",
        root / "c" / "bw_messages.h": messages_header(table),
        root / "c" / "bw_messages.c": messages_code(table),
        root / "c" / "bw_interlock.h": interlock_header(interlock),
        root / "c" / "test" / "bw_fields.h": fields_header(table),
        page: page_with_tables(page.read_text("utf-8"), table, interlock, _accepted_cases(root)),
    }


def _message_table(root: Path) -> MessageTable:
    document = _parsed(root / "messages.toml", tomllib.loads)
    try:
        return parse_table(document)
    except KeyError as error:
        raise TableError(f"messages.toml: something lacks the key {error}") from error
    except (TypeError, AttributeError) as error:
        raise TableError(f"messages.toml: something is of another kind than it must be ({error})") from error


def _parsed(path: Path, parse: Callable[[str], Any]) -> Any:
    try:
        return parse(path.read_text("utf-8"))
    except ValueError as error:  # of TOML, JSON or UTF-8
        raise TableError(f"{path.name}: {error}") from error


def _accepted_cases(root: Path) -> list[dict[str, Any]]:
    files = (root / "vectors" / "accept" / f"to_{side}.json" for side in ("device", "host"))
    return [case for file in files for case in json.loads(file.read_text("utf-8"))["cases"]]


def canonical_text(root: Path = ROOT) -> str:
    """The canonical text of the message table under `root`."""
    return _message_table(root).canonical_text()


def main(arguments: Sequence[str]) -> int:
    """Writes the files; --check only compares, --canonical only prints.

    Returns 1 when a check finds a stale file or a table is wrong, 2 for misuse. Of a wrong table nothing is written.
    """
    try:
        return _main(arguments)
    except (TableError, OSError) as error:
        print(f"borewire.generate: {error}", file=sys.stderr)
        return 1


def _main(arguments: Sequence[str]) -> int:
    match list(arguments):
        case []:
            for path, text in _stale().items():
                path.write_text(text, "utf-8")
                print(f"wrote {path.name}")
            return 0
        case ["--check"]:
            stale = _stale()
            for path in stale:
                print(f"{path.name} is not current; run python -m borewire.generate")
            return 1 if stale else 0
        case ["--canonical"]:
            print(canonical_text(), end="")
            return 0
        case _:
            print("usage: python -m borewire.generate [--check | --canonical]", file=sys.stderr)
            return 2


def _stale() -> dict[Path, str]:
    files = generated_files()
    return {path: text for path, text in files.items() if not path.exists() or path.read_text("utf-8") != text}


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
