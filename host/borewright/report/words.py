"""Pieces of text: the head of the report, headings, paragraphs, facts in columns, plain tables, the signature line."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from borewright.report.model import Block, Fact, Facts, Report, RigLine, VoidTest
from borewright.report.pictures import Picture
from borewright.report.sheet import ACCENT, FAINT, GREY, INK, MM, Pen, Piece
from borewright.report.text import BOLD, PLAIN, clean, fitted, width_of, wrapped

__all__ = [
    "facts_in_columns",
    "head",
    "heading",
    "identity",
    "marks",
    "paragraphs",
    "rig_checks",
    "scope",
    "signatures",
    "summary",
    "voids",
]

BODY, LEADING = 8.2, 10.8
SMALL, SMALL_LEADING = 7.2, 9.3
GUTTER = 6.0 * MM


def head(report: Report, logo: Picture | None, width: float) -> Iterator[Piece]:
    """Whose report it is, what it is, of which engine and job."""
    if report.shop or logo is not None:
        yield _letterhead(report, logo, width)
    titles = wrapped(report.title, BOLD, 19.0, width, 2)
    engine = wrapped(report.engine, PLAIN, 11.0, width, 2)
    under = wrapped(report.subtitle, PLAIN, BODY, width, 3)

    def draw(pen: Pen) -> None:
        pen.line(0.0, 0.0, width, 0.0, 1.4, ACCENT)
        y = 4.0
        for line in titles:
            y += 22.0
            pen.text(0.0, y - 2.0, line, 19.0, bold=True, colour=ACCENT)
        for line in engine:
            y += 14.5
            pen.text(0.0, y - 2.0, line, 11.0)
        for line in under:
            y += LEADING
            pen.text(0.0, y, line, BODY, colour=GREY)

    yield Piece(8.0 + 22.0 * len(titles) + 14.5 * len(engine) + LEADING * len(under), draw, before=5.0)


def _letterhead(report: Report, logo: Picture | None, width: float) -> Piece:
    box = (58.0 * MM, 16.0 * MM)
    size = (0.0, 0.0) if logo is None else logo.size_in(*box)
    room = width - (size[0] + GUTTER if logo is not None else 0.0)
    names = wrapped(report.shop, BOLD, 12.0, room, 2) if report.shop else ()
    contact = wrapped(report.shop_contact, PLAIN, SMALL, room, 3) if report.shop_contact else ()
    words = 14.5 * len(names) + SMALL_LEADING * len(contact)
    height = max(words, size[1])

    def draw(pen: Pen) -> None:
        y = height - words
        for line in names:
            y += 14.5
            pen.text(0.0, y - 3.5, line, 12.0, bold=True)
        for line in contact:
            y += SMALL_LEADING
            pen.text(0.0, y - 2.0, line, SMALL, colour=GREY)
        if logo is not None:
            logo.draw(pen, width - size[0], height - size[1], *size)

    return Piece(height, draw)


def heading(title: str, width: float, note: str = "") -> Piece:
    """The heading of a section; it stays with what follows."""

    def draw(pen: Pen) -> None:
        pen.line(0.0, 0.0, width, 0.0, 0.5, FAINT)
        pen.text(0.0, 13.0, title, 10.0, bold=True, colour=ACCENT)
        if note:
            after = width_of(title, BOLD, 10.0) + 8.0
            pen.text(after, 13.0, fitted(note, PLAIN, SMALL, width - after), SMALL, colour=GREY)

    return Piece(18.5, draw, before=9.0, keep=True)


def paragraphs(
    lines: Sequence[str], width: float, size: float = BODY, leading: float = LEADING, colour: str = INK, bullet: str = ""
) -> Iterator[Piece]:
    """Paragraphs, a piece for each line, so that they go over the end of a page; no line stands alone there."""
    indent = 9.0 if bullet else 0.0
    for number, text in enumerate(lines):
        broken = wrapped(text, PLAIN, size, width - indent)
        for at, line in enumerate(broken):

            def draw(pen: Pen, line: str = line, first: bool = at == 0) -> None:
                if bullet and first:
                    pen.text(0.0, leading - 2.6, bullet, size, colour=GREY)
                pen.text(indent, leading - 2.6, line, size, colour=colour)

            keep = len(broken) > 1 and at in (0, len(broken) - 2)
            yield Piece(leading, draw, before=2.0 if at == 0 and number else 0.0, keep=keep)


def facts_in_columns(groups: Sequence[Facts], width: float) -> Iterator[Piece]:
    """Groups of facts beside each other, each a column of labels and words."""
    if not groups:
        return
    column = (width - GUTTER * (len(groups) - 1)) / len(groups)
    names = [width_of(clean(fact.label), PLAIN, SMALL) for group in groups for fact in group.facts if fact.words]
    label = min(max(names, default=0.0) + 7.0, 0.42 * column)
    laid = [
        [(fact.label, wrapped(fact.words, PLAIN, BODY, column - label, 4)) for fact in group.facts if fact.words]
        for group in groups
    ]
    height = 15.0 + max(sum(1.2 + LEADING * len(lines) for _, lines in facts) for facts in laid)

    def draw(pen: Pen) -> None:
        for number, (group, facts) in enumerate(zip(groups, laid, strict=True)):
            x = number * (column + GUTTER)
            pen.text(x, 8.0, group.title, SMALL, bold=True, colour=ACCENT)
            pen.line(x, 11.5, x + column, 11.5)
            y = 14.0
            for name, lines in facts:
                pen.text(x, y + 8.0, fitted(name, PLAIN, SMALL, label - 4.0), SMALL, colour=GREY)
                for line in lines:
                    pen.text(x + label, y + 8.0, line, BODY)
                    y += LEADING
                y += 1.2

    yield Piece(height, draw, before=8.0)


def summary(report: Report, width: float) -> Iterator[Piece]:
    """What came out, on a wash of grey."""
    if not report.summary:
        return
    inside = width - 16.0
    laid = [wrapped(text, PLAIN, 9.0, inside - 9.0, 12) for text in report.summary]
    height = 24.0 + sum(11.8 * len(lines) + 1.5 for lines in laid)

    def draw(pen: Pen) -> None:
        pen.box(0.0, 0.0, width, height)
        pen.line(0.6, 0.0, 0.6, height, 1.2, ACCENT)
        pen.text(8.0, 13.5, "What came out", 10.0, bold=True, colour=ACCENT)
        y = 17.5
        for lines in laid:
            pen.text(8.0, y + 9.0, "–", 9.0, colour=GREY)
            for line in lines:
                pen.text(17.0, y + 9.0, line, 9.0)
                y += 11.8
            y += 1.5

    yield Piece(height, draw, before=9.0)


def scope(block: Block, width: float) -> Iterator[Piece]:
    """Cautions, with a frame round them."""
    laid = [wrapped(text, PLAIN, 7.6, width - 25.0) for text in block.lines]
    height = 21.0 + sum(9.8 * len(lines) + 1.5 for lines in laid)

    def draw(pen: Pen) -> None:
        pen.box(0.0, 0.0, width, height, fill=None, edge=INK)
        pen.text(8.0, 12.5, block.title, 9.0, bold=True)
        y = 16.0
        for lines in laid:
            pen.text(8.0, y + 7.6, "–", 7.6, colour=GREY)
            for line in lines:
                pen.text(17.0, y + 7.6, line, 7.6)
                y += 9.8
            y += 1.5

    yield Piece(height, draw, before=10.0, keep=True)  # nobody signs on an empty page


Columns = Sequence[tuple[str, float]]  # heading, share of the width


def _table(columns: Columns, rows: Sequence[Sequence[str]], width: float) -> Iterator[Piece]:
    """A plain table; its headings come again where it goes over the end of a page."""
    edges = [0.0]
    for _, share in columns:
        edges.append(edges[-1] + share * width)

    def headings(pen: Pen) -> None:
        for edge, (name, _) in zip(edges, columns, strict=False):
            pen.text(edge, 7.0, name, SMALL, colour=GREY)
        pen.line(0.0, 10.5, width, 10.5)

    top = Piece(12.0, headings, keep=True)
    yield top
    for row in rows:
        cells = [wrapped(cell, PLAIN, 7.6, edges[at + 1] - edges[at] - 5.0, 30) if cell else () for at, cell in enumerate(row)]
        height = 3.4 + 9.6 * max(len(cell) for cell in cells)

        def draw(pen: Pen, cells: list[tuple[str, ...]] = cells, height: float = height) -> None:
            for edge, lines in zip(edges, cells, strict=False):
                for number, line in enumerate(lines):
                    pen.text(edge, 9.0 + 9.6 * number, line, 7.6)
            pen.line(0.0, height, width, height, 0.3)

        yield Piece(height, draw, again=top)


def rig_checks(lines: Sequence[RigLine], width: float) -> Iterator[Piece]:
    """The checks of the rig that the numbers rest on."""
    if lines:
        yield heading("Checks of the rig", width)
        rows = [(line.check, line.made, "; ".join(filter(None, (line.found, line.certificate)))) for line in lines]
        yield from _table((("check", 0.17), ("made", 0.22), ("found, and certificate", 0.61)), rows, width)


def voids(tests: Sequence[VoidTest], width: float) -> Iterator[Piece]:
    """The tests that do not count."""
    if tests:
        yield heading("Tests that do not count", width, "kept in the record, in no mean and no comparison")
        rows = [(one.test, one.cylinder, one.stage, one.made, one.reason) for one in tests]
        yield from _table((("test", 0.08), ("cylinder", 0.09), ("stage", 0.09), ("made", 0.16), ("why", 0.58)), rows, width)


def marks(report: Report, width: float) -> Iterator[Piece]:
    """What to know of the numbers: marks that all bear, and those by letter."""
    if not report.shared_marks and not report.marks:
        return
    yield heading("Marks: what to know of these numbers", width)
    if report.shared_marks:
        yield from paragraphs([f"all tests: {'; '.join(report.shared_marks)}"], width, 7.6, 9.8, bullet="–")
    for mark in report.marks:
        yield from paragraphs([mark.words], width, 7.6, 9.8, bullet=mark.label)


def identity(facts: Sequence[Fact], width: float) -> Iterator[Piece]:
    """Which record this is."""
    if not facts:
        return
    yield heading("Record", width)
    for fact in facts:
        lines = wrapped(fact.words, PLAIN, SMALL, width - 30.0 * MM)

        def draw(pen: Pen, fact: Fact = fact, lines: tuple[str, ...] = lines) -> None:
            pen.text(0.0, 7.4, fact.label, SMALL, colour=GREY)
            for number, line in enumerate(lines):
                pen.text(30.0 * MM, 7.4 + SMALL_LEADING * number, line, SMALL)

        yield Piece(SMALL_LEADING * len(lines), draw)


def signatures(labels: Sequence[str], width: float) -> Iterator[Piece]:
    """Lines to sign on."""
    if not labels:
        return
    shares = [0.40, 0.18, 0.42] if len(labels) == 3 else [1.0 / len(labels)] * len(labels)

    def draw(pen: Pen) -> None:
        x = 0.0
        for label, share in zip(labels, shares, strict=True):
            wide = share * width
            pen.line(x, 30.0, x + wide - (GUTTER if label != labels[-1] else 0.0), 30.0, 0.7, INK)
            pen.text(x, 38.5, fitted(label, PLAIN, SMALL, wide - GUTTER), SMALL, colour=GREY)
            x += wide

    yield Piece(41.0, draw, before=4.0)
