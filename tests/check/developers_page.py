"""The generated parts of DEVELOPERS.md. Run `python tests/check/developers_page.py` after a change of the readiness table."""

from __future__ import annotations

from pathlib import Path

from borewright.core.readiness_table import diagram

ROOT = Path(__file__).resolve().parents[2]
PAGE = ROOT / "DEVELOPERS.md"
DIAGRAMS = {"diagram of a rig with valves": True, "diagram of a rig with hand valves": False}


def between(page: str, name: str) -> tuple[str, str, str]:
    """The page up to the end of a part's first marker, the part, and the rest. Raises ValueError when a marker is missing.

    >>> between("a <!-- x: begin --> b <!-- x: end --> c", "x")
    ('a <!-- x: begin -->', ' b ', '<!-- x: end --> c')
    """
    begin, end = f"<!-- {name}: begin -->", f"<!-- {name}: end -->"
    head, part = page[: page.index(begin) + len(begin)], page[page.index(begin) + len(begin) : page.index(end)]
    return head, part, page[page.index(end) :]


def with_diagrams(page: str) -> str:
    """The page with both diagrams as the table gives them now."""
    for name, valves in DIAGRAMS.items():
        head, _, rest = between(page, name)
        page = f"{head}\n\n```mermaid\n{diagram(valves)}\n```\n\n{rest}"
    return page


if __name__ == "__main__":
    PAGE.write_text(with_diagrams(PAGE.read_text("utf-8")), "utf-8")
    print(f"wrote {PAGE.name}")
