"""A report as a PDF. The same report gives the same octets, in any process."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from dataclasses import fields, is_dataclass
from datetime import UTC, datetime

from reportlab.pdfgen.canvas import Canvas

from borewright.report.charts import chart_pieces
from borewright.report.found import places_pieces, step_pieces
from borewright.report.model import Report
from borewright.report.pictures import Read, photo_pieces, read_photos, read_picture
from borewright.report.results import results_table
from borewright.report.sheet import FAINT, GREY, MM, PAGES, Page, PageName, Pen, Piece, paginate
from borewright.report.text import PLAIN, REPLACEMENT, clean, fitted, width_of
from borewright.report.words import (
    facts_in_columns,
    head,
    heading,
    identity,
    marks,
    paragraphs,
    rig_checks,
    scope,
    signatures,
    summary,
    voids,
)

__all__ = ["render"]

PRODUCER = "Borewright"
PHOTO_HEIGHTS = (42.0 * MM, 30.0 * MM)  # the second where the plots are tight
PLOTS = ((28.0 * MM, False), (24.0 * MM, False), (20.0 * MM, False), (25.0 * MM, True), (20.0 * MM, True))  # height, tight


def render(report: Report, page: PageName = "A4") -> bytes:
    """The pages of a report on this paper. A photo that is none is said in words; a logo that is none raises PictureUnusable."""
    paper = PAGES[page]
    pages = _fewest(report, paper)
    octets = io.BytesIO()
    canvas = Canvas(octets, pagesize=(paper.width, paper.height), invariant=1, pageCompression=1, lang="en", initialFontName=PLAIN)
    made = datetime.fromtimestamp(report.made_unix_s, UTC).strftime("D:%Y%m%d%H%M%S+00'00'")
    canvas.setDateFormatter(lambda *_: made)
    canvas.setTitle(clean(f"{report.title}: {report.job}"))
    canvas.setSubject(clean(report.engine))
    canvas.setAuthor(clean(report.shop))
    canvas.setCreator(PRODUCER)
    canvas.setProducer(PRODUCER)
    for number, placed in enumerate(pages, start=1):
        for at, piece in placed:
            piece.draw(Pen(canvas, paper.side, paper.height - paper.top - at))
        _foot(canvas, report, paper, number, len(pages))
        canvas.showPage()
    canvas.save()
    return octets.getvalue()


def _fewest(report: Report, paper: Page) -> list[list[tuple[float, Piece]]]:
    """The pages with the curves drawn as large as they can be without one page more, and without white left under the table."""
    width = paper.column
    above = list(_above(report, width))
    photos = read_photos(report.photos, width, max(PHOTO_HEIGHTS))
    below = [list(_below(report, photos, width, high)) for high in PHOTO_HEIGHTS]
    tried = []
    for high, tight in PLOTS:
        charts = chart_pieces(report.charts, report.pressure_unit, width, high, tight=tight)
        tried.append(paginate([*above, *charts, *below[tight]], paper.room))
    return min(tried, key=lambda pages: (len(pages), _white(pages, paper.room)))  # the first of those that are as good


def _white(pages: Sequence[Sequence[tuple[float, Piece]]], room: float) -> bool:
    """Whether the first of several pages is left white by more than a fifth."""
    at, last = pages[0][-1]
    return len(pages) > 1 and at + last.height < 0.8 * room


def _above(report: Report, width: float) -> Iterator[Piece]:
    logo = None if report.logo is None else read_picture(report.logo, 58.0 * MM, 16.0 * MM, sharp=True)
    yield from head(report, logo, width)
    yield from facts_in_columns(report.facts, width)
    yield from summary(report, width)
    if report.results:
        yield heading("Each cylinder", width)
    yield from results_table(report, width)
    yield Piece(3.0, lambda _: None)
    yield from paragraphs(report.table_notes, width, 7.0, 8.8, GREY)
    if report.charts:
        yield heading("Filling and bleeding down", width, "gauge pressure in the cylinder; all cylinders to the same scales")


def _below(report: Report, photos: Sequence[Read], width: float, photo_high: float) -> Iterator[Piece]:
    yield from places_pieces(report.places, width)
    yield from step_pieces(report.steps, report.steps_note, width)
    if photos:
        yield heading("Photos", width)
        yield from photo_pieces(photos, width, photo_high)
    yield from voids(report.voids, width)
    yield from marks(report, width)
    yield from rig_checks(report.rig, width)
    yield from identity(report.identity, width)
    yield from scope(report.scope, width)
    yield from signatures(report.signatures, width)


def _foot(canvas: Canvas, report: Report, paper: Page, number: int, total: int) -> None:
    """Job and page number under every page."""
    pen = Pen(canvas, paper.side, paper.bottom - 12.0)
    pen.line(0.0, 0.0, paper.column, 0.0, 0.5, FAINT)
    counted = f"page {number} of {total}"
    room = paper.column - width_of(counted, PLAIN, 7.2) - 14.0
    pen.text(0.0, 10.0, fitted(f"{report.job} · {report.engine}", PLAIN, 7.2, room), 7.2, colour=GREY)
    pen.text(paper.column, 10.0, counted, 7.2, colour=GREY, align="right")
    missing = any(REPLACEMENT in clean(text) for text in _texts(report))
    said = report.caution + (f" {REPLACEMENT} stands for a letter that cannot be printed here." if missing else "")
    pen.text(0.0, 19.0, fitted(said, PLAIN, 6.8, paper.column), 6.8, colour=GREY)


def _texts(thing: object) -> Iterator[str]:
    """Every text in the report."""
    if isinstance(thing, str):
        yield thing
    elif isinstance(thing, tuple):
        for part in thing:
            yield from _texts(part)
    elif is_dataclass(thing):
        for one in fields(thing):
            yield from _texts(getattr(thing, one.name))
