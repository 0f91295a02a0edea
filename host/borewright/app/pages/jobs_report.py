"""The customer's report shown page by page as it will print, what it is made of, and where it is saved."""

from __future__ import annotations

from functools import partial

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QComboBox, QGridLayout, QHBoxLayout, QWidget

from borewright.app.asking import Asking
from borewright.app.desk import Desk
from borewright.app.pages.jobs_model import job_words
from borewright.app.pages.jobs_paper import PaperView
from borewright.app.pages.jobs_sheet import Sheet, act_button, labelled, listen_for
from borewright.app.pages.jobs_shop import ShopPanel
from borewright.app.plain_label import PlainLabel
from borewright.errors import BorewrightError
from borewright.service.report_pages import (
    KeptShop,
    PageImage,
    ReportMade,
    ReportWanted,
    kept_shop,
    limit_names,
    made_report,
    page_image,
)
from borewright.service.shop import Shop
from borewright.service.view_jobs import JobGlance

__all__ = ["ReportSheet"]

_PAPERS = (("A4", "A4"), ("US letter", "letter"))
_ZOOMS = (("page width", 0), ("50 %", 50), ("75 %", 75), ("100 %", 100), ("150 %", 150), ("200 %", 200))


class ReportSheet(Sheet):
    """Options, the page, save. save_wanted: (suggested name, octets) of a report that is to be written."""

    save_wanted = Signal(str, object)

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(desk, "Report", parent)
        self.made: ReportMade | None = None
        self.image: PageImage | None = None
        self._glance: JobGlance | None = None
        self._shop = Shop()
        self._asking: Asking | None = None
        self.of, self.paper, self.limits, self.zoom = QComboBox(), QComboBox(), QComboBox(), QComboBox()
        for words, page in _PAPERS:
            self.paper.addItem(words, page)
        for words, percent in _ZOOMS:
            self.zoom.addItem(words, percent)
        for box in (self.of, self.limits):
            box.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
            box.setMinimumContentsLength(12)
        for box in (self.of, self.paper, self.limits):
            box.activated.connect(lambda _at: self._ask())
        self.view = PaperView()
        self.view.wanted_changed.connect(self._ask_page)
        self.zoom.activated.connect(lambda _at: self.view.show_zoom(int(self.zoom.currentData())))
        self.back_page = act_button("‹ &Earlier page", partial(self.view.turn, -1), "Page up")
        self.next_page = act_button("&Next page ›", partial(self.view.turn, 1), "Page down")
        self.where = PlainLabel("making the report …")
        self.where.setWordWrap(True)
        self.save = act_button("Save as &PDF…", self._save, "Write it as a file", "act")
        self.heading = act_button("Shop's &heading…", self._toggle_shop, "Name, contact and logo over every report")
        self.shop_panel = ShopPanel(desk)
        self.shop_panel.kept.connect(self._shop_kept)
        self.shop_panel.hide()
        self._lay_out()
        for key, act in (("PgDown", partial(self._page_key, 1)), ("PgUp", partial(self._page_key, -1))):
            listen_for(key, self, act)

    def _lay_out(self) -> None:
        options = QGridLayout()
        options.addWidget(labelled("&Of", self.of, "Which stages the report shows"), 0, 0)
        options.addWidget(self.of, 0, 1)
        options.addWidget(labelled("P&aper", self.paper, "The paper that it is printed on"), 0, 2)
        options.addWidget(self.paper, 0, 3)
        options.addWidget(labelled("&Judged by", self.limits, "Common practice, a published procedure, or the maker's limit"), 0, 4)
        options.addWidget(self.limits, 0, 5)
        options.setColumnStretch(1, 2)
        options.setColumnStretch(5, 1)
        acts = QHBoxLayout()
        for widget in (self.back_page, self.next_page):
            acts.addWidget(widget)
        acts.addWidget(self.where, 1)
        acts.addWidget(labelled("&Zoom", self.zoom))
        acts.addWidget(self.zoom)
        acts.addWidget(self.heading)
        acts.addWidget(self.save)
        self.body.addLayout(options)
        self.body.addLayout(acts)
        self.body.addWidget(self.shop_panel)
        self.body.addWidget(self.view, 1)

    # ------------------------------------------------------------------ asking

    def show_for(self, glance: JobGlance) -> None:
        """The report of this job; where before and after are there, of both."""
        self._glance, self.made = glance, None
        self.show_title(f"Report: {job_words(glance.job)}")
        self.of.clear()
        for words, ids in _choices(glance):
            self.of.addItem(words, ids)
        self.view.number = 0
        self.view.show_pages(())
        self.limits.clear()
        self.desk.ask(limit_names, glance.job.id, then=self._show_limits, key="jobs limits")
        self.desk.ask(kept_shop, then=self._show_shop, key="jobs shop")
        self.view.setFocus()

    def _show_limits(self, names: tuple[str, ...]) -> None:
        self.limits.clear()
        self.limits.addItems(list(names))
        at = self.limits.findText(self.desk.limit_set.name)
        self.limits.setCurrentIndex(max(at, 0))

    def _show_shop(self, kept: KeptShop) -> None:
        self._shop = kept.shop
        self.shop_panel.show_shop(kept.shop)
        if kept.notice is not None:
            self.desk.notice("warning", kept.notice)
        self._ask()

    def _shop_kept(self, shop: Shop) -> None:
        self._shop = shop
        self.shop_panel.hide()
        self._ask()

    def _ask(self) -> None:
        if self.of.currentData() is None:
            return
        wanted = ReportWanted(
            tuple(self.of.currentData()),
            self.paper.currentData(),
            self.limits.currentText() or None,
            self.desk.chosen_units,
            self._shop,
        )
        self.where.setText("making the report …")
        self.save.setEnabled(False)
        self._asking = self.desk.ask(
            made_report, wanted, then=self._show_made, failed=self._refused, key="jobs report", words="making the report"
        )

    def _ask_page(self) -> None:
        self._say_where()
        if self.made is not None and self.view.sizes_in:
            self.desk.ask(page_image, self.made.data, self.view.number, self.view.width_px, then=self._show_page, key="jobs page")

    # ------------------------------------------------------------------ showing

    def ask_again(self) -> None:
        """Something in the record, or the units, has changed."""
        if self._glance is not None:
            self._ask()

    def _show_made(self, made: ReportMade) -> None:
        self.made = made
        self.save.setEnabled(True)
        self.view.show_pages(made.sizes_in)

    def _refused(self, error: BorewrightError) -> None:
        self.made = None
        self.view.show_pages(())
        self.where.setText(f"✗ {error}")

    def _show_page(self, image: PageImage) -> None:
        self.image = image
        self.view.show_image(image)

    def _say_where(self) -> None:
        pages = len(self.view.sizes_in)
        if pages:
            self.where.setText(f"page {self.view.number + 1} of {pages}")
        self.back_page.setEnabled(self.view.number > 0)
        self.next_page.setEnabled(self.view.number < pages - 1)

    def _page_key(self, by: int) -> None:
        bar = self.view.verticalScrollBar()
        at_end = bar.value() >= bar.maximum() if by > 0 else bar.value() <= bar.minimum()
        if at_end:
            self.view.turn(by, to_end=by < 0)
        else:
            bar.setValue(bar.value() + by * bar.pageStep())

    # ------------------------------------------------------------------ doing

    def _toggle_shop(self) -> None:
        self.shop_panel.setVisible(self.shop_panel.isHidden())
        if not self.shop_panel.isHidden():
            self.shop_panel.name.setFocus()

    def _save(self) -> None:
        if self.made is not None and self._glance is not None:
            self.save_wanted.emit(f"{file_name(self._glance.job.name)}-report.pdf", self.made.data)


def _choices(glance: JobGlance) -> list[tuple[str, list[int]]]:
    """What a report of this job can show, the usual one first."""
    job = glance.job
    alone = (f"{job_words(job)} alone", [job.id])
    if glance.pair is None:
        return [alone]
    first, second = glance.pair
    together = (f"{job_words(first)} and {job_words(second)}", [first.id, second.id])
    if first.name == second.name and (first.stage, second.stage) == ("before", "after"):
        return [together, alone]
    return [alone, together]


LONGEST_OCTETS = 150  # disks take 255, and what kind of file it is comes after


def file_name(name: str) -> str:
    """A job's name as the beginning of the name of a file: letters, digits and dashes.

    >>> file_name("Hill-climb 7 / Müller"), file_name("..//")
    ('Hill-climb-7-Müller', 'job')
    """
    words = "".join(letter if letter.isalnum() or letter == "-" else " " for letter in name).split()
    said = "-".join(word for word in (word.strip("-") for word in words) if word) or "job"
    return said.encode()[:LONGEST_OCTETS].decode(errors="ignore")
