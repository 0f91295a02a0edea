"""The firing diagram: what each cylinder does over one cycle of the crank, in the firing order. Without Qt.

Degrees of crank from the compression TDC of the first cylinder in the firing order, in the direction of running.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from borewright.core.engine import Engine

__all__ = ["Events", "FiringDiagram", "FiringRow", "Span", "doing", "firing_diagram", "in_words", "legend"]

Events = Literal["stated", "assumed", "none"]
# pattern: the fill's number, so that the phases differ by more than colour
_FOUR: tuple[tuple[str, int], ...] = (("power", 3), ("exhaust", 1), ("intake", 0), ("compression", 2))


@dataclass(frozen=True, slots=True)
class Span:
    """Something that lasts from start_deg to end_deg, 0 ≤ start < end ≤ cycle. pattern: 0 plain … 3 crossed."""

    what: str
    start_deg: float
    end_deg: float
    pattern: int = 0


@dataclass(frozen=True, slots=True)
class FiringRow:
    """One cylinder. tdc_deg: of compression; overlap_deg: the other TDC of a four-stroke. open: valves or ports that stand open."""

    cylinder: int
    tdc_deg: float
    overlap_deg: float | None
    phases: tuple[Span, ...]
    open: tuple[Span, ...]


@dataclass(frozen=True, slots=True)
class FiringDiagram:
    """All of them, in the firing order. events: whether the angles of valves or ports are the maker's, assumed, or none.

    sign: 1 where the crank turns clockwise, seen at the end with the encoder, else -1.
    """

    cycle_deg: float
    rows: tuple[FiringRow, ...]
    events: Events
    sign: int


def firing_diagram(engine: Engine, stated: bool) -> FiringDiagram:
    """The diagram of an engine; stated: its file gives the valve or port events.

    >>> four = Engine("demo", "four-stroke", (1, 3, 4, 2), (180.0,) * 4, 0.086, 0.086, 0.143, 55e-6)
    >>> row = firing_diagram(four, False).rows[1]
    >>> row.cylinder, row.tdc_deg, row.overlap_deg, [(span.what, span.start_deg, span.end_deg) for span in row.phases][:2]
    (3, 180.0, 540.0, [('power', 180.0, 360.0), ('exhaust', 360.0, 540.0)])
    """
    four_stroke = engine.cycle == "four-stroke"
    rows = tuple((_four_stroke_row if four_stroke else _two_stroke_row)(engine, cylinder) for cylinder in engine.firing_order)
    still = four_stroke and engine.valve_gear == "not_fitted"
    events: Events = "none" if still else "stated" if stated else "assumed"
    return FiringDiagram(engine.cycle_deg, rows, events, 1 if engine.running_direction == "clockwise" else -1)


def _four_stroke_row(engine: Engine, cylinder: int) -> FiringRow:
    tdc = engine.firing_angle_deg(cylinder)
    phases = [
        span
        for at, (what, pattern) in enumerate(_FOUR)
        for span in _around(what, tdc + 180.0 * at, 180.0, engine.cycle_deg, pattern)
    ]
    open_: list[Span] = []
    if engine.valve_gear == "fitted":
        valves = engine.valve_events
        overlap = tdc + 360.0
        for what, opens, closes in (
            ("exhaust", overlap - 180.0 - valves.exhaust_opens_before_bdc_deg, overlap + valves.exhaust_closes_after_tdc_deg),
            ("intake", overlap - valves.intake_opens_before_tdc_deg, overlap + 180.0 + valves.intake_closes_after_bdc_deg),
        ):
            open_ += _around(what, opens, closes - opens, engine.cycle_deg)
    return FiringRow(cylinder, tdc, (tdc + 360.0) % engine.cycle_deg, tuple(phases), tuple(open_))


def _two_stroke_row(engine: Engine, cylinder: int) -> FiringRow:
    tdc, cycle = engine.firing_angle_deg(cylinder), engine.cycle_deg
    exhaust, transfer = engine.port_events.exhaust_opens_after_tdc_deg, engine.port_events.transfer_opens_after_tdc_deg
    phases = [
        *_around("power", tdc, exhaust, cycle, 3),
        *_around("ports open", tdc + exhaust, cycle - 2.0 * exhaust, cycle, 1),
        *_around("compression", tdc - exhaust, exhaust, cycle, 2),
    ]
    open_ = [
        *_around("exhaust", tdc + exhaust, cycle - 2.0 * exhaust, cycle),
        *_around("transfer", tdc + transfer, cycle - 2.0 * transfer, cycle),
    ]
    return FiringRow(cylinder, tdc, None, tuple(phases), tuple(open_))


def _around(what: str, start_deg: float, length_deg: float, cycle_deg: float, pattern: int = 0) -> list[Span]:
    """A span of the circle as one, or cut in two where it goes over the end of the cycle. Nothing where it has no length."""
    if length_deg <= 0.0:
        return []
    start = start_deg % cycle_deg
    end = start + min(length_deg, cycle_deg)
    if end <= cycle_deg:
        return [Span(what, start, end, pattern)]
    return [Span(what, start, cycle_deg, pattern), Span(what, 0.0, end - cycle_deg, pattern)]


def doing(row: FiringRow, cycle_deg: float, crank_deg: float) -> str:
    """What a cylinder does at an angle, in words.

    >>> four = Engine("demo", "four-stroke", (1, 3, 4, 2), (180.0,) * 4, 0.086, 0.086, 0.143, 55e-6)
    >>> row = firing_diagram(four, False).rows[1]
    >>> doing(row, 720.0, 170.0), doing(row, 720.0, 180.0), doing(row, 720.0, 540.0)
    ('compression, 10° before its TDC', 'at compression TDC', 'at overlap TDC: the wrong one for the test')
    """
    after = (crank_deg - row.tdc_deg + cycle_deg / 2.0) % cycle_deg - cycle_deg / 2.0
    if abs(after) < 0.05:
        return "at compression TDC"
    if row.overlap_deg is not None and abs(abs(after) - 360.0) < 0.05:
        return "at overlap TDC: the wrong one for the test"
    at = crank_deg % cycle_deg
    what = next((span.what for span in row.phases if span.start_deg <= at < span.end_deg), "")
    return f"{what}, {abs(after):.10g}° {'after' if after > 0 else 'before'} its TDC"


def legend(diagram: FiringDiagram) -> str:
    """What the signs of the drawing mean.

    >>> legend(firing_diagram(Engine("hut", "two-stroke", (1,), (360.0,), 0.04, 0.03, 0.06, 5e-6), True))
    '▼ TDC. Lines under a row: exhaust port open (whole), transfer ports open (dashed), as the engine file states.'
    """
    four_stroke = diagram.rows[0].overlap_deg is not None
    signs = "▼ compression TDC, ▽ overlap TDC." if four_stroke else "▼ TDC."
    if diagram.events == "none":
        return f"{signs} The valves do not move on this engine."
    lines = (
        "exhaust valve open (whole), intake valve open (dashed)"
        if four_stroke
        else "exhaust port open (whole), transfer ports open (dashed)"
    )
    source = "as the engine file states" if diagram.events == "stated" else "by usual values, since the engine file states none"
    return f"{signs} Lines under a row: {lines}, {source}."


def in_words(diagram: FiringDiagram) -> str:
    """The diagram for somebody who cannot see it.

    >>> in_words(firing_diagram(Engine("demo", "four-stroke", (1, 2), (270.0, 450.0), 0.086, 0.086, 0.143, 55e-6), False))
    'Compression TDC of cylinder 1 at 0°, of cylinder 2 at 270°, in a cycle of 720°.'
    """
    angles = ", ".join(f"of cylinder {row.cylinder} at {row.tdc_deg:.10g}°" for row in diagram.rows)
    return f"Compression TDC {angles}, in a cycle of {diagram.cycle_deg:.10g}°."
