"""Where the air of a cylinder goes: leak shares as bars, decided or not, the wet test, and the reasoned next steps."""

from __future__ import annotations

from PySide6.QtWidgets import QVBoxLayout, QWidget

from borewright.app.draw.share_bars import ShareBars
from borewright.app.draw.share_bars_model import not_told_apart, share_rows
from borewright.app.pages.findings_parts import Column, label, scrolled
from borewright.app.theme.palette import Palette
from borewright.core.advice import NOTHING
from borewright.core.advice_evidence import Advice
from borewright.service.path import CylinderPath, JobPath

__all__ = ["WherePanel", "advice_lines", "verdict_lines"]

AID = (
    "An aid to judgement from what was measured and heard; the engine maker's manual, local rules and licensed practice come "
    "first. What a place means is common practice, no source."
)
_CERTAINTY = {"points to": "The evidence points to it", "may be": "It may be this", "undecided": "The evidence does not decide"}


def verdict_lines(path: CylinderPath) -> list[tuple[str, str]]:
    """Decided or not, in words, with the wet test: role and words."""
    measured = "● Decided" if path.decided else "○ Not decided"
    head = "By ear only: no shares were measured" if path.unattributed is None else measured
    lines = [("heading", head), ("", path.words)]
    return [*lines, ("", f"Wet test: {path.wet}.")] if path.wet else lines


def advice_lines(path: CylinderPath, advice: tuple[Advice, ...]) -> list[tuple[str, str]]:
    """What to do next for a cylinder, and what is said of the whole engine: role and words."""
    apart = not_told_apart(path)
    lines = [("soft", apart)] if apart else []
    if path.further_tests:
        lines.append(("heading", "Tests that would tell more"))
        lines += [("", f"{number}.  {_sentence(test)}") for number, test in enumerate(path.further_tests, 1)]
    told = [one for one in advice if one.cylinder in (path.cylinder, 0)]
    if told:
        lines.append(("heading", "What to do next"))
    for one in told:
        who = "" if one.cylinder else " (whole engine)"
        if one.open == NOTHING:
            lines.append(("", _sentence(one.look_first) + who))
        else:
            lines.append(("caution", f"{_CERTAINTY[one.certainty]}{who}: open {one.open}"))
            lines += [("", f"First: {one.look_first}."), ("", f"Measure: {one.measure}.")]
        lines += [("soft", f"because: {words}") for words in one.evidence]
    return lines


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:].rstrip('.')}."


class WherePanel(QWidget):
    """The panel."""

    def __init__(self, palette: Palette, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._verdict, self._advice = Column(), Column()
        self._bars = ShareBars(palette)
        self._bars.hide()
        inside = QWidget()
        column = QVBoxLayout(inside)
        for widget in (self._verdict, self._bars, self._advice, label(AID, "soft")):
            column.addWidget(widget)
        column.addStretch(1)
        outer = QVBoxLayout(self)
        outer.setContentsMargins(0, 0, 0, 0)
        outer.addWidget(scrolled(inside))

    def show_path(self, path: JobPath | None, cylinder: int) -> None:
        """Show a cylinder's path; None: it is being worked out, or there is none."""
        one = None if path is None else path.cylinders.get(cylinder)
        if path is None or one is None:
            self._verdict.show_lines([("soft", "Nothing to show yet.")])
            self._advice.show_lines([])
            self._bars.show_rows(())
            return
        self._verdict.show_lines(verdict_lines(one))
        self._bars.show_rows(share_rows(one))
        self._advice.show_lines(advice_lines(one, path.advice))

    def show_palette(self, palette: Palette) -> None:
        """Draw in these colours."""
        self._bars.show_palette(palette)

    @property
    def words(self) -> str:
        """All that is said, for whoever reads it without eyes."""
        return f"{self._verdict.words}\n{self._bars.accessibleDescription()}\n{self._advice.words}"
