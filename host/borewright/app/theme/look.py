"""The palette as Qt wants it: the stylesheet, the letters, and fills that differ by pattern as well as by colour."""

from __future__ import annotations

from importlib.resources import files

from PySide6.QtCore import Qt
from PySide6.QtGui import QBrush, QColor, QFont, QFontDatabase, QGuiApplication, QPainter, QPixmap
from PySide6.QtWidgets import QApplication

from borewright.app.theme.palette import DARK, LIGHT, Palette

__all__ = ["BASE_PX", "dress", "figure_font", "load_letters", "palette_of", "pattern_brush", "qcolor"]

BASE_PX = 15.0  # at 100 %
_TILE_PX = 12
_FACE = "DejaVu Sans Condensed"  # comes with the program, so that it looks the same everywhere; its digits are all as wide


def qcolor(colour: str, alpha: float = 1.0) -> QColor:
    """A colour of the palette for Qt; alpha from 0 to 1."""
    made = QColor(colour)
    made.setAlphaF(alpha)
    return made


def load_letters() -> None:
    """Make the program's own letters known to Qt."""
    folder = files("borewright.report") / "fonts"
    for name in ("DejaVuSansCondensed.ttf", "DejaVuSansCondensed-Bold.ttf"):
        QFontDatabase.addApplicationFontFromData((folder / name).read_bytes())


def palette_of(theme: str) -> Palette:
    """The palette for a theme; "system" follows what the desktop says."""
    if theme == "system":
        dark = QGuiApplication.styleHints().colorScheme() is Qt.ColorScheme.Dark
        return DARK if dark else LIGHT
    return DARK if theme == "dark" else LIGHT


def figure_font(px: float, *, bold: bool = True) -> QFont:
    """Letters for figures of this height in pixels. Every digit is as wide as every other, so that nothing jumps."""
    font = QFont(_FACE)
    font.setPixelSize(max(6, round(px)))
    font.setBold(bold)
    return font


def pattern_brush(index: int, palette: Palette) -> QBrush:
    """The fill of a band: 0 plain, 1 dots, 2 diagonal lines, 3 crossed lines, each on its colour."""
    at = min(max(index, 0), 3)
    tile = QPixmap(_TILE_PX, _TILE_PX)
    tile.fill(qcolor(palette.bands[at]))
    painter = QPainter(tile)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.setPen(qcolor(palette.on_bands[at], 0.55))
    if at == 1:
        painter.setBrush(qcolor(palette.on_bands[at], 0.55))
        for x, y in ((2, 2), (8, 8)):
            painter.drawEllipse(x, y, 2, 2)
    if at >= 2:
        painter.drawLine(0, _TILE_PX, _TILE_PX, 0)
    if at == 3:
        painter.drawLine(0, 0, _TILE_PX, _TILE_PX)
    painter.end()
    return QBrush(tile)


def dress(app: QApplication, palette: Palette, scale_percent: int) -> None:
    """Put palette and size onto the whole program."""
    font = figure_font(BASE_PX * scale_percent / 100.0, bold=False)
    app.setFont(font)
    app.setStyleSheet(_sheet(palette, scale_percent / 100.0))


def _sheet(p: Palette, scale: float) -> str:
    px = BASE_PX * scale

    def n(pixels: float) -> str:
        return f"{pixels * scale:.0f}px"

    fields = "QLineEdit, QComboBox, QAbstractSpinBox, QPlainTextEdit, QAbstractItemView"
    focused = ", ".join(f"{kind.strip()}:focus" for kind in f"QPushButton, QToolButton, {fields}".split(","))
    return f"""
* {{ font-family: "{_FACE}"; font-size: {px:.0f}px; color: {p.ink}; }}
QMainWindow, QWidget#page, QScrollArea, QScrollArea > QWidget > QWidget, QStackedWidget, QDockWidget {{ background: {p.ground}; }}
QDockWidget {{ font-size: {px:.0f}px; font-weight: bold; }}
QDockWidget::title {{ background: {p.raised}; padding: {n(6)}; text-align: left; }}
QScrollArea {{ border: none; }}
QFrame[role="panel"] {{ background: {p.panel}; border: 1px solid {p.line}; border-radius: {n(4)}; }}
QLabel {{ background: transparent; }}
QLabel[role="soft"] {{ color: {p.ink_soft}; }}
QLabel[role="heading"] {{ font-size: {px * 1.25:.0f}px; font-weight: bold; }}
QLabel[role="big"] {{ font-size: {px * 1.6:.0f}px; font-weight: bold; }}
QLabel[role="good"] {{ color: {p.good}; }}
QLabel[role="caution"] {{ color: {p.caution}; font-weight: bold; }}
QLabel[role="fault"] {{ color: {p.air}; font-weight: bold; }}
QLabel[role="air"], QFrame[role="air"] {{ background: {p.air}; color: {p.on_air}; font-weight: bold; }}
QPushButton, QToolButton {{
  background: {p.raised}; border: 1px solid {p.ink_soft}; border-radius: {n(4)}; padding: {n(5)} {n(10)}; }}
QPushButton:hover, QToolButton:hover {{ border-color: {p.accent}; }}
{focused} {{ border: {n(2)} solid {p.accent}; }}
QPushButton:disabled, QToolButton:disabled {{ color: {p.ink_soft}; border-style: dashed; }}
QPushButton:checked, QToolButton:checked {{
  background: {p.panel}; color: {p.accent}; border: {n(1)} solid {p.ink_soft}; border-bottom: {n(4)} solid {p.accent}; }}
QPushButton:checked:focus, QToolButton:checked:focus {{ border: {n(2)} solid {p.accent}; border-bottom: {n(4)} solid {p.accent}; }}
QPushButton[role="act"] {{ background: {p.accent}; color: {p.on_accent}; font-weight: bold; padding: {n(8)} {n(16)}; }}
QPushButton[role="act"]:disabled {{ background: {p.raised}; color: {p.ink_soft}; }}
QPushButton[role="act"]:focus {{ border: {n(3)} solid {p.ink}; }}
QPushButton[role="stop"] {{ background: {p.panel}; color: {p.air}; border: {n(3)} solid {p.air}; font-weight: bold; }}
{fields} {{
  background: {p.panel}; border: 1px solid {p.ink_soft}; border-radius: {n(3)}; padding: {n(3)};
  selection-background-color: {p.accent}; selection-color: {p.on_accent}; }}
QLineEdit, QPlainTextEdit {{ placeholder-text-color: {p.ink_soft}; }}
QHeaderView {{ background: {p.raised}; border: none; padding: 0; }}
QHeaderView::section {{
  background: {p.raised}; border: none; border-bottom: 1px solid {p.line}; padding: {n(4)}; font-weight: bold; }}
QCheckBox, QRadioButton {{ background: transparent; spacing: {n(6)}; }}
QCheckBox::indicator, QRadioButton::indicator {{
  width: {n(12)}; height: {n(12)}; border: {n(2)} solid {p.ink_soft}; background: {p.panel}; border-radius: {n(2)}; }}
QRadioButton::indicator {{ border-radius: {n(8)}; }}
QCheckBox::indicator:checked, QRadioButton::indicator:checked {{ background: {p.ink}; border: {n(2)} solid {p.ink}; }}
QCheckBox:focus, QRadioButton:focus {{ color: {p.accent}; text-decoration: underline; }}
QScrollBar:vertical {{ background: {p.ground}; width: {n(12)}; margin: 0; border: none; }}
QScrollBar:horizontal {{ background: {p.ground}; height: {n(12)}; margin: 0; border: none; }}
QScrollBar::handle {{ background: {p.ink_soft}; border-radius: {n(4)}; min-height: {n(28)}; min-width: {n(28)}; margin: {n(2)}; }}
QScrollBar::add-line, QScrollBar::sub-line {{ width: 0; height: 0; }}
QScrollBar::add-page, QScrollBar::sub-page {{ background: {p.ground}; }}
QGroupBox {{ border: 1px solid {p.line}; border-radius: {n(4)}; margin-top: {n(12)}; padding-top: {n(8)}; }}
QGroupBox::title {{ subcontrol-origin: margin; left: {n(8)}; font-weight: bold; }}
QTabBar::tab {{ background: {p.raised}; padding: {n(6)} {n(12)}; border: 1px solid {p.line}; }}
QTabBar::tab:selected {{ background: {p.panel}; border-bottom: {n(3)} solid {p.accent}; font-weight: bold; }}
QTabWidget::pane {{ border: 1px solid {p.line}; }}
QProgressBar {{ background: {p.raised}; border: 1px solid {p.ink_soft}; text-align: center; }}
QProgressBar::chunk {{ background: {p.accent}; }}
QToolTip {{ background: {p.panel}; color: {p.ink}; border: 1px solid {p.ink_soft}; padding: {n(4)}; }}
QSplitter::handle {{ background: {p.line}; }}
"""
