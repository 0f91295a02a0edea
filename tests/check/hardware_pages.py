"""Reading hardware_notes: its pages, its drawings, and the numbers in them that the code can recompute.

A number that follows from the project's own code or tables carries its name in a comment behind it, as in
`1.59<!-- =filter_corner_khz -->`. It must agree with the value of that name to the last digit that is printed.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
NOTES = ROOT / "hardware_notes"
DRAWINGS = NOTES / "drawings"
PAGES = sorted(NOTES.glob("*.md"))

_MARKED = re.compile(r"(?P<number>[−-]?\d+(?: \d{3})*(?:\.\d+)?)<!-- =(?P<name>[\w.]+) -->")
_MARKER = re.compile(r"<!-- =([\w.]+) -->")


@dataclass(frozen=True, slots=True)
class Marked:
    """One marked number: where it stands, its name, what is printed, and half a unit of its last printed digit."""

    page: str
    name: str
    value: float
    half_a_digit: float


def marked_in(text: str, page: str) -> list[Marked]:
    """All marked numbers of a page; a marker without a number in front of it is an error.

    >>> marked_in("a corner of 1.59<!-- =corner_khz --> kHz", "wiring.md")
    [Marked(page='wiring.md', name='corner_khz', value=1.59, half_a_digit=0.005)]
    """
    found = []
    for match in _MARKED.finditer(text):
        digits = match["number"].replace("−", "-").replace(" ", "")
        decimals = len(digits.partition(".")[2])
        found.append(Marked(page, match["name"], float(digits), 0.5 * 10.0**-decimals))
    if len(found) != len(_MARKER.findall(text)):
        alone = set(_MARKER.findall(text)) - {marked.name for marked in found}
        raise ValueError(
            f"{page}: a marker has no number right in front of it: {', '.join(sorted(alone)) or 'one of several alike'}"
        )
    return found


def disagreeing(numbers: list[Marked], values: dict[str, float]) -> list[str]:
    """What is wrong with marked numbers, one line each: unknown names, and figures that the values do not round to.

    >>> disagreeing(marked_in("1.58<!-- =corner_khz -->", "wiring.md"), {"corner_khz": 1.5915})
    ['wiring.md says corner_khz = 1.58, the code says 1.5915']
    """
    wrong = []
    for number in numbers:
        if number.name not in values:
            wrong.append(f"{number.page}: nothing computes {number.name}")
        elif abs(values[number.name] - number.value) > number.half_a_digit * (1.0 + 1e-9):
            wrong.append(f"{number.page} says {number.name} = {number.value:g}, the code says {values[number.name]:.5g}")
    return wrong


def links_in(text: str) -> list[str]:
    """Targets of the links and pictures of a page, code left out."""
    prose = re.sub(r"```.*?```|`[^`\n]*`", "", text, flags=re.DOTALL)
    return re.findall(r"\]\(([^)\s]+)\)", prose)


def heading_anchors(text: str) -> set[str]:
    """The anchors that the headings of a page have.

    >>> sorted(heading_anchors("# The rig" + chr(10) + "## What air does, and why"))
    ['the-rig', 'what-air-does-and-why']
    """
    anchors = set()
    for heading in re.findall(r"^#+ (.+)$", text, flags=re.MULTILINE):
        plain = re.sub(r"[^\w\- ]", "", re.sub(r"<!--.*?-->", "", heading).strip().lower())
        anchors.add(plain.replace(" ", "-"))
    return anchors
