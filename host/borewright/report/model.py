"""What stands in a report, as plain data: numbers are texts already, rounded and in the units that were chosen.

Nothing here knows where it comes from or how it is drawn. Whatever a person wrote stands in it as it was written; the drawing makes
it harmless.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = [
    "Bar",
    "Block",
    "Change",
    "Chart",
    "Course",
    "Fact",
    "Facts",
    "Photo",
    "Place",
    "PlacesOf",
    "Quantity",
    "Report",
    "Result",
    "RigLine",
    "Step",
    "VoidTest",
]


@dataclass(frozen=True, slots=True)
class Quantity:
    """A value and its expanded uncertainty (k about 2) as texts with the same decimals, without units.

    expanded: empty where it is not known. value: empty where there is none.
    """

    value: str = ""
    expanded: str = ""


@dataclass(frozen=True, slots=True)
class Fact:
    """A label and what it says."""

    label: str
    words: str


@dataclass(frozen=True, slots=True)
class Facts:
    """Facts under one heading."""

    title: str
    facts: tuple[Fact, ...]


@dataclass(frozen=True, slots=True)
class Block:
    """A heading with lines of text under it, each a paragraph of its own."""

    title: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Result:
    """One cylinder at one stage: a line of the table.

    cylinder 0 is none. tests: numbers of the tests that the line rests on. letters: which marks they bear. pair_psi, pair_kpa:
    regulated and cylinder pressure. nothing: why the line has no numbers, empty where it has.
    """

    cylinder: int
    stage: str
    tests: str = ""
    leakage: Quantity = Quantity()
    pair_psi: str = ""
    pair_kpa: str = ""
    area: Quantity = Quantity()
    volume: Quantity = Quantity()
    band: str = ""
    letters: str = ""
    nothing: str = ""


@dataclass(frozen=True, slots=True)
class Change:
    """What came of one cylinder: verdict, and the changes with their units; none where there is no verdict."""

    cylinder: int
    verdict: str
    changes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Course:
    """A pressure over time, both rising from 0: seconds, and the gauge pressure in the unit of the chart.

    stage: what stands beside the line. later: drawn as the later of two.
    """

    stage: str
    t_s: tuple[float, ...]
    pressure: tuple[float, ...]
    later: bool = False


@dataclass(frozen=True, slots=True)
class Chart:
    """One cylinder's courses: filling, and bleeding down after the shut; words: what to read off it."""

    cylinder: int
    fills: tuple[Course, ...]
    decays: tuple[Course, ...]
    words: str = ""


@dataclass(frozen=True, slots=True)
class Bar:
    """A share of a cylinder's leak in percent, with its interval."""

    percent: float
    low_percent: float
    high_percent: float


@dataclass(frozen=True, slots=True)
class Place:
    """What was found at one place: heard (empty: nobody listened), share (None: not measured), what it means."""

    name: str
    heard: str = ""
    strength: int | None = None  # 0 none, 1 faint, 2 steady, 3 strong
    share: Bar | None = None
    words: str = ""


@dataclass(frozen=True, slots=True)
class PlacesOf:
    """Where the air of one cylinder at one stage goes: the places found, in words, and what was written down about it."""

    cylinder: int  # 0: the engine
    stage: str
    words: str
    places: tuple[Place, ...]
    lines: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Step:
    """Advice with what it rests on. who: which cylinder or the engine; certainty: how far the evidence goes."""

    who: str
    certainty: str
    lines: tuple[Fact, ...]


@dataclass(frozen=True, slots=True)
class Photo:
    """A picture as it was put into the record, and what stands under it."""

    data: bytes
    caption: str


@dataclass(frozen=True, slots=True)
class RigLine:
    """A check of the rig: what, when, by whom, what it found, certificates."""

    check: str
    made: str
    found: str
    certificate: str = ""


@dataclass(frozen=True, slots=True)
class VoidTest:
    """A test that does not count, and why."""

    test: str
    cylinder: str
    stage: str
    made: str
    reason: str


@dataclass(frozen=True, slots=True)
class Report:
    """The whole report. Sections without content are left out, but the table and the cautions.

    caution: one sentence under every page. job: what stands there too. units: of area and volume in the table. pressure_unit: of
    the charts. shared_marks: those that all tests bear; marks: the others, by letter. identity: which record this is. made_unix_s:
    when the newest thing in it was recorded, which dates the file.
    """

    title: str
    job: str
    engine: str
    subtitle: str
    shop: str
    shop_contact: str
    logo: bytes | None
    facts: tuple[Facts, ...]
    summary: tuple[str, ...]
    scope: Block
    results: tuple[Result, ...]
    changes: tuple[Change, ...]
    units: tuple[str, str]
    table_notes: tuple[str, ...]
    charts: tuple[Chart, ...]
    pressure_unit: str
    places: tuple[PlacesOf, ...]
    steps: tuple[Step, ...]
    steps_note: str
    photos: tuple[Photo, ...]
    rig: tuple[RigLine, ...]
    voids: tuple[VoidTest, ...]
    shared_marks: tuple[str, ...]
    marks: tuple[Fact, ...]
    identity: tuple[Fact, ...]
    signatures: tuple[str, ...]
    caution: str
    made_unix_s: float
