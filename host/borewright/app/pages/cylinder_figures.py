"""The figures of the page of the tests: one very large, two beside it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtWidgets import QHBoxLayout, QWidget

from borewright.app.draw.big_figure import BigFigure

if TYPE_CHECKING:
    from borewright.app.desk import Desk
    from borewright.app.pages.cylinder_moment import Figure, Figures

__all__ = ["FiguresRow"]


class FiguresRow(QWidget):
    """What counts most at this moment takes half of the room, the two pressures the rest."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._most = BigFigure(desk, "To compression TDC", most_px=120.0, least_px=48.0)
        self._beside = tuple(BigFigure(desk, caption, most_px=84.0, least_px=30.0) for caption in ("Regulated", "Cylinder"))
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(16)
        row.addWidget(self._most, 5)
        for figure in self._beside:
            row.addWidget(figure, 3)

    @property
    def words(self) -> tuple[str, ...]:
        """What each of them says."""
        return tuple(figure.words for figure in (self._most, *self._beside))

    def show_figures(self, figures: Figures) -> None:
        """Show these."""
        _show(self._most, figures.most)
        for widget, figure in zip(self._beside, figures.beside, strict=True):
            _show(widget, figure)


def _show(widget: BigFigure, figure: Figure) -> None:
    widget.show_figure(figure.figure, figure.unit, figure.below, caption=figure.caption, air=figure.air)
