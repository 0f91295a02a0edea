"""How long until the window is there: the first one painted, then the page on it that works. Bound: first painted ≤ 1 s.

Each start is a process of its own, without a screen unless QT_QPA_PLATFORM says otherwise. Seconds from before the process.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

from parts.rows import at_most, tell

STARTS = 7
STARTED = """
import sys, time
from pathlib import Path
began_unix_s, folder = float(sys.argv[1]), Path(sys.argv[2])

from PySide6.QtCore import QEvent, QObject
from PySide6.QtWidgets import QApplication

class Painted(QObject):
    first = None
    def eventFilter(self, watched, event):
        if event.type() == QEvent.Type.Paint and watched.isWidgetType() and Painted.first is None:
            Painted.first = time.time() - began_unix_s
        return False

app = QApplication(["borewright"])
watch = Painted()
app.installEventFilter(watch)

from borewright.app import main

begun = main._begin
def begin(*words):
    leave = begun(*words)
    QApplication.processEvents()
    print(Painted.first, time.time() - began_unix_s, flush=True)
    leave()
    return leave

main._begin = begin
main.run(main.Options(folder / "window.toml", folder / "units.toml", record=folder / "record.db"))
"""


def main() -> None:
    """Print the table."""
    first, working = [], []
    for _ in range(STARTS):
        with tempfile.TemporaryDirectory() as folder:
            script = Path(folder) / "started.py"
            script.write_text(STARTED, encoding="utf-8")
            environment = {"QT_QPA_PLATFORM": "offscreen", "OPENBLAS_NUM_THREADS": "1", **os.environ}
            words = [sys.executable, str(script), repr(time.time()), folder]
            done = subprocess.run(words, env=environment, capture_output=True, text=True, timeout=120, check=True)
            painted, paged = map(float, done.stdout.split()[:2])
            first.append(painted)
            working.append(paged)
    print(f"{'':28}{'middle':>9}{'slowest':>9}")
    for what, times in (("first window painted", first), ("its page built and painted", working)):
        print(f"{what:28}{median(times):9.2f}{max(times):9.2f}  s")
    tell([at_most("first window painted, by the clock", "s", median(first), 1.0)])


if __name__ == "__main__":
    main()
