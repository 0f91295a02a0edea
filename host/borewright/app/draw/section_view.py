"""The section of a cylinder on the screen: the sketch, and beside it a label for each place that is also the button for it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import atan2, degrees, hypot

from PySide6.QtCore import QEvent, QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import (
    QBrush,
    QColor,
    QFont,
    QFontInfo,
    QFontMetricsF,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPen,
    QPolygonF,
    QResizeEvent,
)
from PySide6.QtWidgets import QAbstractButton, QSizePolicy, QWidget

from borewright.app.draw.section_model import (
    LabelSize,
    Layout,
    Section,
    Shape,
    label_layout,
    label_width,
    least_height,
    section_of,
)
from borewright.app.theme.look import pattern_brush, qcolor
from borewright.app.theme.palette import Palette
from borewright.core.engine import Engine
from borewright.core.heard import STRENGTHS

__all__ = ["PlaceMark", "SectionView"]

NOT_LOOKED = "not looked at"
NEAR_PX = 26.0  # a click in the sketch so near to a place means it
LEAST_WIDTH_PX, LEAST_HEIGHT_PX = 260, 150
PAD_PX = 5.0
NARROW_PX, NARROW_LETTERS = 340, 0.85  # in a narrow sketch the labels have smaller letters


@dataclass(frozen=True, slots=True)
class PlaceMark:
    """What a label says. strength: "" where nobody has looked. at: like "at 2, 3", or "". share: of the leak, in words, or ""."""

    name: str
    key: str
    strength: str = ""
    at: str = ""
    share: str = ""

    @property
    def heard(self) -> str:
        """The line on what was heard."""
        return f"{self.strength or NOT_LOOKED}{f' {self.at}' if self.at else ''}"

    @property
    def spoken(self) -> str:
        """All of it for a screen reader."""
        return f"{self.name}: {self.heard}" + (f", {self.share} of the leak" if self.share else "")


class PlaceButton(QAbstractButton):
    """One place: its name with its key, how strong air was heard there by word and pattern, and its share."""

    def __init__(self, place: str, palette: Palette, parent: QWidget) -> None:
        super().__init__(parent)
        self.place = place
        self.mark = PlaceMark(place.replace("_", " "), "")
        self.colours = palette
        self.letters = 1.0
        self.setCheckable(True)
        self.setAutoExclusive(False)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setCursor(Qt.CursorShape.PointingHandCursor)

    def show_mark(self, mark: PlaceMark) -> None:
        """Say this from now on."""
        if mark != self.mark or not self.accessibleName():
            self.mark = mark
            self.setAccessibleName(mark.spoken)
            self.update()

    def lines(self, width: float) -> tuple[list[str], list[str]]:
        """The name and the rest, broken so that they go into a label of this width."""
        name = _broken(f"{self.mark.name} ({self.mark.key})", width - 2.0 * PAD_PX, self._metrics(bold=True))
        metrics = self._metrics(bold=False)
        rest = _broken(self.mark.heard, width - 2.0 * PAD_PX - self._swatch_px(), metrics)
        if self.mark.share:
            rest += _broken(self.mark.share, width - 2.0 * PAD_PX, metrics)
        return name, rest

    def size_within(self, width: float) -> LabelSize:
        """How much room it takes where it may be so wide."""
        name, rest = self.lines(width)
        bold, plain = self._metrics(bold=True), self._metrics(bold=False)
        swatch = self._swatch_px()
        wide = max(
            [bold.horizontalAdvance(line) for line in name]
            + [plain.horizontalAdvance(line) + (swatch if k == 0 else 0.0) for k, line in enumerate(rest)]
        )
        tall = len(name) * bold.height() + len(rest) * plain.height()
        return LabelSize(min(width, wide + 2.0 * PAD_PX + 2.0), tall + 2.0 * PAD_PX)

    def _swatch_px(self) -> float:
        return self._metrics(bold=False).height() + 5.0

    def _metrics(self, *, bold: bool) -> QFontMetricsF:
        return QFontMetricsF(self._font(bold=bold))

    def _font(self, *, bold: bool) -> QFont:
        font = self.font()
        font.setBold(bold)
        if self.letters != 1.0:
            font.setPixelSize(max(9, round(QFontInfo(font).pixelSize() * self.letters)))
        return font

    def paintEvent(self, event: QPaintEvent) -> None:
        """The label."""
        del event
        p = self.colours
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        frame = QRectF(self.rect()).adjusted(1.5, 1.5, -1.5, -1.5)
        chosen, focus = self.isChecked(), self.hasFocus()
        edge = p.accent if chosen or focus or self.underMouse() else p.ink_soft
        painter.setPen(QPen(qcolor(edge), 3.0 if chosen or focus else 1.2))
        painter.setBrush(qcolor(p.panel if chosen else p.ground))
        painter.drawRoundedRect(frame, 4.0, 4.0)
        name, rest = self.lines(float(self.width()))
        y = PAD_PX
        for bold, lines in ((True, name), (False, rest)):
            font = self._font(bold=bold)
            painter.setFont(font)
            metrics = QFontMetricsF(font)
            for k, line in enumerate(lines):
                swatch = self._swatch_px() if not bold and k == 0 else 0.0
                if swatch:
                    self._swatch(painter, QRectF(PAD_PX + 1.0, y + 2.0, swatch - 6.0, swatch - 9.0))
                painter.setPen(qcolor(p.ink if bold or self.mark.strength else p.ink_soft))
                painter.drawText(QPointF(PAD_PX + swatch, y + metrics.ascent()), line)
                y += metrics.height()
        painter.end()

    def _swatch(self, painter: QPainter, where: QRectF) -> None:
        p = self.colours
        painter.setPen(QPen(qcolor(p.ink_soft), 1.0, Qt.PenStyle.SolidLine if self.mark.strength else Qt.PenStyle.DotLine))
        known = self.mark.strength in STRENGTHS
        painter.setBrush(pattern_brush(_loudness(self.mark.strength), p) if known else Qt.BrushStyle.NoBrush)
        painter.drawRect(where)


def _loudness(strength: str) -> int:
    """0 for none and for what nobody has looked at, up to 3."""
    return next((k for k, one in enumerate(STRENGTHS) if one == strength), 0)


def _broken(text: str, width: float, metrics: QFontMetricsF) -> list[str]:
    """Text in lines of at most this width, broken between words; a word that is wider stands alone."""
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and metrics.horizontalAdvance(longer) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines or [""]


class SectionView(QWidget):
    """The sketch with its places. chosen: a place was picked, by click, by Tab or by its letter; noted: a key said how strong.

    keys: the letter of each place. strength_of: what a key means while a place has the focus, None where nothing.
    """

    chosen = Signal(str)
    noted = Signal(str, str)

    def __init__(self, palette: Palette, strength_of: Callable[[QKeyEvent], str | None], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._palette = palette
        self._strength_of = strength_of
        self._section: Section | None = None
        self._layout: Layout | None = None
        self._buttons: dict[str, PlaceButton] = {}
        self._air_on = False
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setAccessibleName("section of the cylinder")

    # ------------------------------------------------------------------ what it shows

    def show_engine(self, engine: Engine | None) -> None:
        """Draw another engine's section; None: nothing."""
        for button in self._buttons.values():
            button.hide()
            button.deleteLater()
        self._buttons = {}
        self._section = None if engine is None else section_of(engine)
        if self._section is not None:
            self.setAccessibleName(self._section.what)
            for target in self._section.targets:
                button = PlaceButton(target.place, self._palette, self)
                button.clicked.connect(lambda _=False, place=target.place: self.choose(place))
                button.installEventFilter(self)
                button.show()
                self._buttons[target.place] = button
        self._arrange()

    def show_marks(self, marks: Mapping[str, PlaceMark]) -> None:
        """What was heard at each place."""
        for place, button in self._buttons.items():
            if place in marks:
                button.show_mark(marks[place])
        self._arrange()

    def show_air(self, on: bool) -> None:
        """Whether air is in the cylinder now."""
        if on != self._air_on:
            self._air_on = on
            self.update()

    def show_palette(self, palette: Palette) -> None:
        """Draw in these colours, and take the size of the letters anew."""
        self._palette = palette
        for button in self._buttons.values():
            button.colours = palette
            button.update()
        self._arrange()

    @property
    def place(self) -> str:
        """The place that is chosen; "" where none is."""
        return next((place for place, button in self._buttons.items() if button.isChecked()), "")

    @property
    def arrangement(self) -> Layout | None:
        """Where sketch and labels stand now; None without an engine."""
        return self._layout

    def button(self, place: str) -> PlaceButton:
        """The label of a place."""
        return self._buttons[place]

    def choose(self, place: str, *, focus: bool = False) -> None:
        """Choose a place; focus: the keys go to it from now on."""
        if place not in self._buttons:
            return
        was = self.place
        for other, button in self._buttons.items():
            button.setChecked(other == place)
        if focus:
            self._buttons[place].setFocus(Qt.FocusReason.ShortcutFocusReason)
        if place != was:
            self.update()
            self.chosen.emit(place)

    # ------------------------------------------------------------------ keys and clicks

    def eventFilter(self, watched: object, event: QEvent) -> bool:
        """Keys while a label has the focus: arrows go on, letters pick a place, strengths are noted."""
        if isinstance(watched, PlaceButton):
            if event.type() == QEvent.Type.FocusIn:
                self.choose(watched.place)
            elif isinstance(event, QKeyEvent) and event.type() == QEvent.Type.KeyPress and self._take_key(watched, event):
                return True
        return super().eventFilter(watched, event)  # type: ignore[arg-type]

    def _take_key(self, button: PlaceButton, event: QKeyEvent) -> bool:
        plain = not event.modifiers() & (Qt.KeyboardModifier.ControlModifier | Qt.KeyboardModifier.AltModifier)
        if not plain:
            return False
        order = list(self._buttons)
        at = order.index(button.place)
        if event.key() in (Qt.Key.Key_Down, Qt.Key.Key_Right, Qt.Key.Key_Up, Qt.Key.Key_Left):
            step = 1 if event.key() in (Qt.Key.Key_Down, Qt.Key.Key_Right) else -1
            self.choose(order[(at + step) % len(order)], focus=True)
            return True
        strength = self._strength_of(event)
        if strength is not None:
            self.noted.emit(button.place, strength)
            return True
        return self.take_letter(event.text())

    def take_letter(self, text: str) -> bool:
        """Choose the place with this letter; whether there is one."""
        wanted = next((place for place, one in self._buttons.items() if text and one.mark.key.upper() == text.upper()), None)
        if wanted is not None:
            self.choose(wanted, focus=True)
        return wanted is not None

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """A click in the sketch means the place that is near."""
        layout, section = self._layout, self._section
        if layout is None or section is None:
            return
        where = event.position()
        far = {
            one.place: hypot(*(a - b for a, b in zip(layout.at(one.anchor), (where.x(), where.y()), strict=True)))
            for one in section.targets
        }
        nearest = min(far, key=far.__getitem__, default=None)
        if nearest is not None and far[nearest] <= max(NEAR_PX, 14.0 * layout.scale):
            self.choose(nearest, focus=True)

    # ------------------------------------------------------------------ room

    def minimumSizeHint(self) -> QSize:
        """So that no label has to overlap another."""
        if self._section is None:
            return QSize(LEAST_WIDTH_PX, LEAST_HEIGHT_PX)
        sizes = self._sizes(max(self.width(), LEAST_WIDTH_PX))
        return QSize(LEAST_WIDTH_PX, max(LEAST_HEIGHT_PX, round(least_height(self._section, sizes))))

    def sizeHint(self) -> QSize:
        """As it looks well."""
        return QSize(440, max(420, self.minimumSizeHint().height()))

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Arrange it anew."""
        super().resizeEvent(event)
        self._arrange()

    def changeEvent(self, event: QEvent) -> None:
        """Letters of another size need other room."""
        super().changeEvent(event)
        if event.type() in (QEvent.Type.FontChange, QEvent.Type.StyleChange):
            self._arrange()

    def _sizes(self, width: float) -> dict[str, LabelSize]:
        if self._section is None:
            return {}
        most = label_width(self._section, width)
        for button in self._buttons.values():
            button.letters = NARROW_LETTERS if width < NARROW_PX else 1.0
        return {place: button.size_within(most) for place, button in self._buttons.items()}

    def _arrange(self) -> None:
        self._layout = None
        if self._section is not None:
            self._layout = label_layout(self._section, self.width(), self.height(), self._sizes(self.width()))
            for place, box in self._layout.labels.items():
                self._buttons[place].setGeometry(QRectF(box.x, box.y, box.width, box.height).toRect())
            self.setMinimumHeight(self.minimumSizeHint().height())
        self.update()

    # ------------------------------------------------------------------ painting

    def paintEvent(self, event: QPaintEvent) -> None:
        """The sketch, the leaders and the marks; labels paint themselves."""
        del event
        layout, section = self._layout, self._section
        if layout is None or section is None:
            return
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        brush = _Brushes(self._palette, layout.scale, self._air_on)
        for shape in section.shapes:
            brush.draw(painter, shape, QPolygonF([QPointF(*layout.at(point)) for point in shape.points]))
        for target in section.targets:
            button = self._buttons[target.place]
            start, end = (QPointF(*point) for point in layout.leaders[target.place])
            colour = self._palette.accent if button.isChecked() else self._palette.ink_soft
            painter.setPen(QPen(qcolor(colour), 2.0 if button.isChecked() else 1.0))
            painter.drawLine(start, end)
            brush.mark(painter, button.mark.strength, end, target.towards, chosen=button.isChecked())
        painter.end()


class _Brushes:
    """How each kind of shape is drawn in these colours at this scale."""

    def __init__(self, palette: Palette, scale: float, air_on: bool) -> None:
        self._p = palette
        thick = min(max(scale * 1.1, 1.1), 2.6)
        ink = qcolor(palette.ink)
        hatch = QBrush(qcolor(palette.ink_soft, 0.75), Qt.BrushStyle.BDiagPattern)
        water = QBrush(qcolor(palette.regulated, 0.8), Qt.BrushStyle.HorPattern)
        filled = QBrush(qcolor(palette.air, 0.9), Qt.BrushStyle.Dense4Pattern)
        air = filled if air_on else QBrush(qcolor(palette.accent, 0.55), Qt.BrushStyle.Dense6Pattern)
        self._ways: dict[str, tuple[QPen, QBrush]] = {
            "wall": (_pen(ink, thick), hatch),
            "liquid": (_pen(ink, thick * 0.7), water),
            "part": (_pen(ink, thick), QBrush(qcolor(palette.raised))),
            "pipe": (_pen(ink, thick), QBrush(qcolor(palette.panel))),
            "air": (QPen(Qt.PenStyle.NoPen), air),
            "line": (_pen(ink, thick), QBrush()),
            "fine": (_pen(qcolor(palette.ink_soft), thick * 0.7), QBrush()),
            "hidden": (_pen(qcolor(palette.ink_soft), thick * 0.8, Qt.PenStyle.DashLine), QBrush()),
            "gasket": (_pen(ink, thick * 2.0), QBrush()),
        }
        self._under = qcolor(palette.panel)
        self._mark_scale = min(1.0, max(0.6, scale / 0.8))

    def draw(self, painter: QPainter, shape: Shape, points: QPolygonF) -> None:
        """One shape."""
        pen, brush = self._ways[shape.kind]
        if shape.closed:
            if shape.kind in ("wall", "liquid", "air"):  # patterns are see-through
                painter.setPen(Qt.PenStyle.NoPen)
                painter.setBrush(self._under)
                painter.drawPolygon(points)
            painter.setPen(pen)
            painter.setBrush(brush)
            painter.drawPolygon(points)
        else:
            painter.setPen(pen)
            painter.drawPolyline(points)

    def mark(self, painter: QPainter, strength: str, at: QPointF, towards: tuple[float, float], *, chosen: bool) -> None:
        """Air as it was heard: no, one, two or three waves that go out; a bar through a ring where there was none."""
        p, by = self._p, self._mark_scale
        ring = 4.5 * by
        painter.setPen(QPen(qcolor(p.accent if chosen else p.ink), 2.0))
        painter.setBrush(qcolor(p.panel) if strength in ("", "none") else qcolor(p.ink))
        painter.drawEllipse(at, ring, ring)
        if strength == "none":
            painter.drawLine(at + QPointF(-ring - 2.0, ring + 2.0), at + QPointF(ring + 2.0, -ring - 2.0))
        waves = _loudness(strength)
        turned = degrees(atan2(-towards[1], towards[0]))
        painter.setPen(_pen(qcolor(p.ink), 2.4 * by))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        for k in range(waves):
            radius = ring + (5.0 + 5.5 * k) * by
            box = QRectF(at.x() - radius, at.y() - radius, 2.0 * radius, 2.0 * radius)
            painter.drawArc(box, round((turned - 48.0) * 16.0), round(96.0 * 16.0))


def _pen(colour: QColor, width: float, style: Qt.PenStyle = Qt.PenStyle.SolidLine) -> QPen:
    return QPen(colour, width, style, Qt.PenCapStyle.RoundCap, Qt.PenJoinStyle.RoundJoin)
