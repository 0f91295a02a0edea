"""What comes from the rig just now: a strip under the page, and the panel with everything."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import Qt
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QBoxLayout, QFrame, QGridLayout, QHBoxLayout, QLabel, QVBoxLayout, QWidget

from borewright.app.pages.rig_parts import dress_label, label, put_text, sentence
from borewright.app.plain_label import plain_tip
from borewright.service.rig_live import ChannelLive, RigLive, counter_lines, identity_lines

if TYPE_CHECKING:
    from borewright.app.desk import Desk
    from borewright.service.shown_units import ShownUnits
    from borewright.service.snapshot import Snapshot

__all__ = ["LivePanel", "LiveStrip", "channel_cells"]

NARROW_LETTERS = 88  # under so many the three groups stand under each other
HEADINGS = ("Channel", "Raw count", "Mean of 1 s", "Volts", "Pressure", "Noise", "Saturated")
TIPS = (
    "",
    "The newest raw word of the converter.",
    "Mean of the last second, in counts.",
    "What the device says that the mean stands for.",
    "By the law of the channel: span, tie and zero taken into account.",
    "Standard deviation over the last second, in counts and as pressure. At vent it is the noise that the uncertainty goes by.",
    "Share of the samples of the last second at either end of the converter.",
)


def channel_cells(channel: ChannelLive, units: ShownUnits) -> tuple[str, ...]:
    """One channel as a row of the table.

    >>> from borewright.service.shown_units import ShownUnits
    >>> live = ChannelLive("cylinder pressure", 412, 0, 4095, 411.62, 1.26, 0.5026, 210.0, 384.0, 0.0)
    >>> channel_cells(live, ShownUnits())
    ('cylinder pressure', '412', '411.6', '0.503 V', '0.2 kPa', '1.26 = 0.38 kPa', 'no')
    """
    pressure = "not known"
    if channel.gauge_pa is not None and channel.noise_pa is not None:
        pressure = units.text(channel.gauge_pa, "pressure_gauge", "kPa", 1)
        if not pressure.strip("-0. ")[:1].isdigit():  # minus nothing is nothing
            pressure = pressure.removeprefix("-")
        noise = f"{channel.noise_raw:.2f} = {units.text(channel.noise_pa, 'pressure_gauge', 'kPa', 2)}"
    else:
        noise = f"{channel.noise_raw:.2f}"
    saturated = "no" if channel.saturated == 0.0 else f"! {100.0 * channel.saturated:.0f} %"
    return (
        channel.name,
        f"{channel.raw}",
        f"{channel.mean_raw:.1f}",
        f"{channel.volts:.3f} V",
        pressure,
        noise,
        saturated,
    )


def crank_words(live: RigLive) -> str:
    """The crank's count and how it stands with the index pulse, on one line."""
    crank = live.crank
    if crank is None or crank.count is None:
        return "Crank: no count yet"
    return f"Crank {crank.count}{', turning' if crank.moving else ''}; index {crank.index_words}"


class LiveStrip(QFrame):
    """One line for each pressure channel and one for the crank: under whatever the page shows."""

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self.setProperty("role", "panel")
        self.setAccessibleName("Live from the rig")
        self._link, self._channels, self._crank = label(), label(), label()
        row = QHBoxLayout(self)
        row.setContentsMargins(8, 4, 8, 4)
        row.setSpacing(14)
        row.addWidget(self._link, 2)
        row.addWidget(self._channels, 4)
        row.addWidget(self._crank, 3)

    def show_live(self, snapshot: Snapshot, live: RigLive | None) -> None:
        """Show it; called a few times a second."""
        here = snapshot.link.kind == "open"
        put_text(self._link, f"{'●' if here else '○'} {sentence(snapshot.link.words)}")
        dress_label(self._link, "good" if here else "caution")
        if live is None or not here:
            put_text(self._channels, "")
            put_text(self._crank, "")
            return
        where = "noise at vent" if live.vented else "noise"
        lines = [self._words_of(channel, where) for channel in live.channels[:2]]
        put_text(self._channels, "\n".join(lines))
        put_text(self._crank, crank_words(live))

    def _words_of(self, channel: ChannelLive, where: str) -> str:
        cells = channel_cells(channel, self._desk.units)
        full = ", SATURATED" if channel.saturated else ""
        name = sentence(channel.name.removesuffix(" pressure"))
        return f"{name} {cells[1]} counts, {cells[4]}, {where} {cells[5].split(' = ')[-1]}{full}"


class LivePanel(QWidget):
    """Every channel, the crank, the switch, the device, the link."""

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self._built = False

    def _build(self) -> None:
        """When it is first looked at; most never do."""
        self._built = True
        self._table = _Table(len(HEADINGS))
        self._table.put_headings(HEADINGS, TIPS)
        self._note, self._crank = label(role="soft"), _Pairs()
        self._device, self._counters = _Pairs(), _Pairs()
        self._wait = label("Nothing comes from a rig. Connect one under Rig and port.", "soft")
        pairs = self._pairs = QBoxLayout(QBoxLayout.Direction.LeftToRight)
        pairs.setSpacing(16)
        for title, box in (
            ("Crank and switch", self._crank),
            ("Device", self._device),
            ("Link since it was opened", self._counters),
        ):
            side = QVBoxLayout()
            side.addWidget(label(title, "heading"))
            side.addWidget(box)
            side.addStretch(1)
            pairs.addLayout(side, 1)
        column = QVBoxLayout(self)
        column.addWidget(self._wait)
        column.addWidget(self._table)
        column.addWidget(self._note)
        column.addLayout(pairs)
        column.addStretch(1)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Three columns where there is room for them."""
        super().resizeEvent(event)
        self._set_out()

    def _set_out(self) -> None:
        if self._built:
            narrow = self.width() < NARROW_LETTERS * self.fontMetrics().averageCharWidth()
            ways = QBoxLayout.Direction
            self._pairs.setDirection(ways.TopToBottom if narrow else ways.LeftToRight)

    def show_live(self, snapshot: Snapshot, live: RigLive | None) -> None:
        """Show it; called a few times a second while it is in view."""
        if not self._built:
            self._build()
            self._set_out()
        state = snapshot.state
        put_text(self._wait, "" if live is not None else "Nothing comes from a rig. Connect one under Rig and port.")
        self._table.setVisible(live is not None)
        if live is None or state is None:
            return
        self._table.put_rows([channel_cells(channel, self._desk.units) for channel in live.channels])
        noise = "noise is that at vent" if live.vented else "noise at vent shows once the rig is vented"
        full = "; the device says that a channel is saturated" if live.saturated_said else ""
        put_text(self._note, f"Over the last second; {noise}{full}.{self._slow_words(live)}")
        crank = live.crank
        self._crank.put(
            (
                ("Count", "none yet" if crank is None or crank.count is None else f"{crank.count}", False),
                ("Counts in a turn", "not known" if crank is None else f"{crank.counts_per_rev}", False),
                ("Index pulse", "not known" if crank is None else crank.index_words, crank is not None and not crank.index_good),
                ("Crank", "not known" if crank is None else "turning" if crank.moving else "still", False),
                ("Hold-to-run switch", live.hold_words or "none fitted; a key of this program serves", False),
                ("Valves", "driven by the rig" if state.has_valves else "worked by hand", False),
            )
        )
        self._device.put(tuple((name, value, False) for name, value in identity_lines(state)))
        self._counters.put(counter_lines(snapshot.counters))

    def _slow_words(self, live: RigLive) -> str:
        told = [
            name if gauge_pa is None else f"{name} {self._desk.units.text(gauge_pa, 'pressure_gauge', 'kPa', 1)}"
            for name, gauge_pa in live.slow
        ]
        return f" Now and then comes: {', '.join(told)}." if told else ""


class _Table(QWidget):
    """Rows of words under headings; columns are as wide as they need, and wrap where there is no room."""

    def __init__(self, columns: int) -> None:
        super().__init__()
        self._grid = QGridLayout(self)
        self._grid.setContentsMargins(0, 0, 0, 0)
        self._grid.setHorizontalSpacing(12)
        self._cells: list[list[QLabel]] = []
        for column in range(columns):
            self._grid.setColumnStretch(column, 2 if column == 0 else 1)

    def put_headings(self, headings: tuple[str, ...], tips: tuple[str, ...]) -> None:
        for column, (text, tip) in enumerate(zip(headings, tips, strict=True)):
            heading = label(text, "soft")
            heading.setToolTip(plain_tip(tip))
            self._grid.addWidget(heading, 0, column)

    def put_rows(self, rows: list[tuple[str, ...]]) -> None:
        while len(self._cells) < len(rows):
            line = [label() for _ in rows[0]]
            for column, cell in enumerate(line):
                cell.setWordWrap(column == 0)  # a number is never torn apart
                self._grid.addWidget(cell, len(self._cells) + 1, column)
            self._cells.append(line)
        for line, row in zip(self._cells, rows, strict=False):
            for cell, text in zip(line, row, strict=True):
                put_text(cell, text)


class _Pairs(QWidget):
    """Names and values; a value that tells of trouble says so by its mark as well as by its colour."""

    def __init__(self) -> None:
        super().__init__()
        self._grid = QGridLayout(self)
        self._grid.setContentsMargins(0, 0, 0, 0)
        self._grid.setColumnStretch(1, 1)
        self._rows: list[tuple[QLabel, QLabel]] = []

    def put(self, pairs: tuple[tuple[str, str, bool], ...]) -> None:
        while len(self._rows) < len(pairs):
            name, value = label(role="soft"), label(chosen=True)
            name.setAlignment(Qt.AlignmentFlag.AlignTop)
            self._grid.addWidget(name, len(self._rows), 0)
            self._grid.addWidget(value, len(self._rows), 1)
            self._rows.append((name, value))
        for (name, value), (name_text, value_text, trouble) in zip(self._rows, pairs, strict=False):
            put_text(name, name_text)
            put_text(value, f"! {value_text}" if trouble else value_text)
            dress_label(value, "caution" if trouble else "")
