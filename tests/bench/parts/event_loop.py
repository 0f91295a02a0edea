"""How long the screen's event loop was held up: a timer that should come every five milliseconds, and how late it came."""

from __future__ import annotations

import time

from PySide6.QtCore import QObject, Qt, QTimer

__all__ = ["Stalls"]

EVERY_MS = 5


class Stalls:
    """Watches the loop while it runs."""

    def __init__(self, parent: QObject | None = None) -> None:
        self.late_ms: list[float] = []
        self._last_s = time.perf_counter()
        self._timer = QTimer(parent)
        self._timer.setTimerType(Qt.TimerType.PreciseTimer)
        self._timer.setInterval(EVERY_MS)
        self._timer.timeout.connect(self._came)

    def begin(self) -> None:
        """Watch from now on."""
        self._last_s = time.perf_counter()
        self._timer.start()

    def end(self) -> None:
        """Watch no more."""
        self._timer.stop()

    @property
    def longest_ms(self) -> float:
        """The longest time between two rounds of the loop."""
        return max(self.late_ms, default=0.0)

    def over(self, ms: float) -> int:
        """How many times it was longer than this."""
        return sum(late > ms for late in self.late_ms)

    def _came(self) -> None:
        now_s = time.perf_counter()
        self.late_ms.append(1000.0 * (now_s - self._last_s))
        self._last_s = now_s
