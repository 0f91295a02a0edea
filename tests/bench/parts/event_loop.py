"""The screen's event loop: run until something is so; and how long it was held up, by a timer that should come every 5 ms."""

from __future__ import annotations

import time
from collections.abc import Callable

from PySide6.QtCore import QEventLoop, QObject, Qt, QTimer

__all__ = ["Stalls", "until"]

EVERY_MS = 5
GLANCE_MS = 40
LIMIT_S = 240.0


def until(reached: Callable[[], bool]) -> None:
    """Run the real event loop, and look every 40 ms. Raises TimeoutError."""
    loop, began_s = QEventLoop(), time.monotonic()
    timer = QTimer()
    timer.setInterval(GLANCE_MS)
    timer.timeout.connect(lambda: loop.quit() if reached() or time.monotonic() - began_s > LIMIT_S else None)
    timer.start()
    loop.exec()
    timer.stop()
    if time.monotonic() - began_s > LIMIT_S:
        raise TimeoutError("what was waited for never came about")


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
