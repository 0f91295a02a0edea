"""Where the air goes and what to do about it: places as they were heard, their shares as bars, advice with its reasons."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from borewright.report.model import Bar, Place, PlacesOf, Step
from borewright.report.sheet import ACCENT, FAINT, GREY, INK, MM, Pen, Piece
from borewright.report.text import BOLD, PLAIN, clean, fitted, width_of, wrapped
from borewright.report.words import heading, paragraphs

__all__ = ["places_pieces", "step_pieces"]

SIZE, LEADING = 7.8, 9.9
NAME, HEARD, BAR, SHARE = 25.0 * MM, 24.0 * MM, 40.0 * MM, 27.0 * MM


def places_pieces(found: Sequence[PlacesOf], width: float) -> Iterator[Piece]:
    """A part for each cylinder and stage that something is known of."""
    if not found:
        return
    bars = any(place.share is not None for one in found for place in one.places)
    note = (
        "shares of the cylinder's leak, with the interval that holds in 95 of 100 cases"
        if bars
        else ("as it was heard, seen and felt; how the leak is shared was not measured")
    )
    yield heading("Where the air goes", width, note)
    for number, one in enumerate(found):
        yield from _title(one, width, 4.0 if number else 0.0)
        for place in one.places:
            yield _place(place, width, bars)
        yield from paragraphs(one.lines, width, SIZE - 0.4, LEADING - 0.4, bullet="–")


def _title(one: PlacesOf, width: float, before: float) -> Iterator[Piece]:
    """Whose places these are, and what is said of all of them, running on from it."""
    who = f"Cylinder {one.cylinder}" if one.cylinder else "The engine"
    title = fitted(f"{who}, {one.stage}" if one.stage else who, BOLD, 8.4, width)
    after = width_of(title, BOLD, 8.4) + 7.0
    words = clean(one.words)
    first = wrapped(words, PLAIN, SIZE, width - after)[0] if words else ""
    rest = wrapped(words[len(first) :], PLAIN, SIZE, width) if words[len(first) :].strip() else ()

    def draw(pen: Pen) -> None:
        pen.text(0.0, 9.0, title, 8.4, bold=True)
        pen.text(after, 9.0, first, SIZE)
        for number, line in enumerate(rest, start=1):
            pen.text(0.0, 9.0 + LEADING * number, line, SIZE)

    yield Piece(12.0 + LEADING * len(rest), draw, before=before, keep=True)


def _place(place: Place, width: float, bars: bool) -> Piece:
    edge = NAME + HEARD + (BAR + SHARE if bars else 0.0)
    lines = wrapped(place.words, PLAIN, SIZE - 0.4, width - edge, 8) if place.words else ()
    name = wrapped(place.name, PLAIN, SIZE, NAME - 4.0, 2)
    height = max(LEADING * max(len(lines), len(name), 1), LEADING) + 2.4

    def draw(pen: Pen) -> None:
        for number, line in enumerate(name):
            pen.text(0.0, 8.6 + LEADING * number, line, SIZE)
        _heard(pen.moved(NAME, 0.0), place)
        if bars:
            _bar(pen.moved(NAME + HEARD, 0.0), place.share)
        for number, line in enumerate(lines):
            pen.text(edge, 8.6 + LEADING * number, line, SIZE - 0.4)
        pen.line(0.0, height, width, height, 0.3)

    return Piece(height, draw)


def _heard(pen: Pen, place: Place) -> None:
    """Three dots, as many full as strong, and the word."""
    if not place.heard:
        return
    if place.strength is not None:
        for number in range(3):
            full = number < place.strength
            pen.canvas.setStrokeColor(INK)
            pen.canvas.setFillColor(INK)
            pen.canvas.setLineWidth(0.6)
            pen.canvas.circle(pen.left + 2.5 + 6.0 * number, pen.top - 5.9, 1.9, stroke=1, fill=int(full))
    pen.text(21.0, 8.6, fitted(place.heard, PLAIN, SIZE, HEARD - 23.0), SIZE)


def _bar(pen: Pen, share: Bar | None) -> None:
    """From 0 to 100 percent of the leak; the thin line with its ends is the interval."""
    if share is None:
        return
    wide = BAR - 6.0

    def at(percent: float) -> float:
        return wide * min(max(percent, 0.0), 100.0) / 100.0

    pen.line(0.0, 1.4, 0.0, 10.6, 0.6, GREY)
    pen.line(0.0, 6.0, wide, 6.0, 0.3, FAINT)
    pen.box(0.0, 3.0, at(share.percent), 6.0, fill="#8fa6ae")
    low, high = at(share.low_percent), at(share.high_percent)
    pen.line(low, 6.0, high, 6.0, 1.0, INK)
    for end in (low, high):
        pen.line(end, 3.8, end, 8.2, 1.0, INK)
    interval = f"({max(share.low_percent, 0.0):.0f} to {min(share.high_percent, 100.0):.0f})"
    number = f"{share.percent:.0f} %"
    pen.text(BAR + 20.0, 8.6, number, SIZE, bold=True, align="right")
    pen.text(BAR + 23.0, 8.6, interval, SIZE - 0.6, colour=GREY)


def step_pieces(steps: Sequence[Step], note: str, width: float) -> Iterator[Piece]:
    """The advice as a numbered list, each with what it rests on."""
    if not steps:
        return
    yield heading("Next steps", width, note)
    indent = 13.0
    label = 22.0 * MM
    for number, step in enumerate(steps, start=1):
        laid = [(fact.label, wrapped(fact.words, PLAIN, SIZE, width - indent - label, 12)) for fact in step.lines if fact.words]
        height = 11.5 + sum(LEADING * len(lines) for _, lines in laid)

        def draw(
            pen: Pen,
            number: int = number,
            step: Step = step,
            laid: list[tuple[str, tuple[str, ...]]] = laid,
        ) -> None:
            pen.text(0.0, 8.8, f"{number}", 9.0, bold=True, colour=ACCENT)
            pen.text(indent, 8.8, step.who, 8.4, bold=True)
            pen.text(indent + width_of(step.who, BOLD, 8.4) + 6.0, 8.8, step.certainty, SIZE, colour=GREY)
            y = 11.5
            for name, lines in laid:
                pen.text(indent, y + 7.6, name, 7.2, colour=GREY)
                for line in lines:
                    pen.text(indent + label, y + 7.6, line, SIZE)
                    y += LEADING

        yield Piece(height, draw, before=4.0 if number > 1 else 0.0)
