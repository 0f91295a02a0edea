"""The report for the window: the octets that `borewright report` would write, and its pages as pictures of them. Without Qt.

Made in a worker process: drawing a report takes a good second, and a picture of a page some tens of milliseconds. What is heavy is
imported there, and not where the window names these functions.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from borewright.service.limit_files import MAKER, USUAL, known_limits
from borewright.service.shop import (
    LONGEST_CONTACT,
    LONGEST_NAME,
    Shop,
    checked_line,
    load_shop,
    read_logo,
    save_shop,
    shop_path,
)
from borewright.service.shown_units import user_settings_path

if TYPE_CHECKING:
    from collections.abc import Mapping

    from borewright.report.sheet import PageName
    from borewright.store import Store
    from borewright.units import Dimension

__all__ = [
    "KeptShop",
    "PageImage",
    "ReportMade",
    "ReportWanted",
    "keep_shop",
    "kept_shop",
    "limit_names",
    "made_report",
    "page_image",
]

WIDEST_PX = 6000
_POINTS_PER_INCH = 72.0


@dataclass(frozen=True, slots=True)
class ReportWanted:
    """What report is wanted. job_ids: one, or the earlier and the later. limits: a set by its name, None: the usual one."""

    job_ids: tuple[int, ...]
    page: PageName = "A4"
    limits: str | None = None
    units: Mapping[Dimension, str] = field(default_factory=dict)
    shop: Shop = field(default_factory=Shop)


@dataclass(frozen=True, slots=True)
class ReportMade:
    """A report. data: of the PDF. sizes_in: width and height of each page in inches."""

    wanted: ReportWanted
    data: bytes
    sizes_in: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class PageImage:
    """A page as a picture. number: counts from 0. data: red, green and blue of each pixel, row by row."""

    number: int
    width_px: int
    height_px: int
    data: bytes


@dataclass(frozen=True, slots=True)
class KeptShop:
    """The shop that is kept for reports, and a notice where not all of it can be used."""

    shop: Shop
    notice: str | None


def made_report(store: Store, wanted: ReportWanted) -> ReportMade:
    """The report. Raises UseError for limits that are none and jobs of different engines, StoreError."""
    import pypdfium2  # noqa: PLC0415 -- as at the top

    from borewright.report.pdf import render  # noqa: PLC0415
    from borewright.service.report_data import report_of  # noqa: PLC0415

    jobs = [store.get_job(job_id) for job_id in wanted.job_ids]
    other = jobs[1] if len(jobs) > 1 else None
    report = report_of(store, jobs[0], other, limits=wanted.limits, units=wanted.units, shop=wanted.shop)
    data = render(report, wanted.page)
    document = pypdfium2.PdfDocument(data)
    try:
        points = [document.get_page_size(number) for number in range(len(document))]
    finally:
        document.close()
    return ReportMade(wanted, data, tuple((wide / _POINTS_PER_INCH, high / _POINTS_PER_INCH) for wide, high in points))


def page_image(_store: Store, data: bytes, number: int, width_px: int) -> PageImage:
    """A page of a PDF as a picture of this width. number: counts from 0."""
    import pypdfium2  # noqa: PLC0415 -- as at the top

    document = pypdfium2.PdfDocument(data)
    try:
        page = document[number]
        scale = (min(max(width_px, 1), WIDEST_PX) - 0.01) / page.get_width()  # it rounds up, and must not by a rounding error
        picture = page.render(scale=scale).to_pil()
        page.close()
    finally:
        document.close()
    # unpacked: a window that had to unpack it would stand still for as long
    return PageImage(number, picture.width, picture.height, picture.convert("RGB").tobytes())


def limit_names(store: Store, job_id: int) -> tuple[str, ...]:
    """The sets of limits that a report of this job can be judged by, the usual one first. Raises StoreError."""
    document = store.get_engine(store.get_job(job_id).engine_id).document
    named = [USUAL, *known_limits(), *([MAKER] if "maker_limits" in document else [])]
    return tuple(dict.fromkeys(named))


def kept_shop(_store: Store) -> KeptShop:
    """The shop that is kept for this user, also by `borewright report --keep-shop`."""
    return KeptShop(*load_shop(shop_path(user_settings_path())))


def keep_shop(_store: Store, name: str, contact: str, logo: Path | bytes | None) -> Shop:
    """Keep the shop for the reports to come, also for `borewright report`. logo: a file to read, or what was read of one before.

    Raises UseError for a line that cannot be printed, a logo that is no picture, a folder that may not be written.
    """
    octets = read_logo(logo) if isinstance(logo, Path) else logo
    shop = Shop(checked_line("name", name, LONGEST_NAME), checked_line("contact", contact, LONGEST_CONTACT), octets)
    save_shop(shop_path(user_settings_path()), shop)
    return shop
