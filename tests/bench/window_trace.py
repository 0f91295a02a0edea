"""What drawing the Test page costs the thread of the window: 30 frames a second at 10 kHz × 3 channels.

Measured is the processor time of that thread alone, with the taking in of the samples (raw words to pressures, envelope), the
trace, and the cycle ring of a crank that turns; then the longest that it did not come back to its events, and what memory does in
an hour of it, told from half of it on, when the ten minutes of the trace have filled. Frames are made one after the other, as
fast as they come; the share of a core is what a second's worth of them takes. Samples are made beforehand.
"""

from __future__ import annotations

import argparse
import gc
import os
import sys
import time
import tracemalloc
from dataclasses import dataclass, replace
from pathlib import Path
from types import SimpleNamespace

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from borewright.app.draw.ring_model import RingMark, RingModel, Saying
from borewright.app.draw.ring_view import RingView
from borewright.app.draw.trace_view import TraceWidget
from borewright.app.settings import Settings
from borewright.app.theme.look import dress, load_letters
from borewright.app.theme.palette import LIGHT
from borewright.core.rig import ChannelLaw, RigSetup
from borewright.core.samples import SampleColumns
from borewright.service.shown_units import ShownUnits
from borewright.service.trace import Trace
from borewright.service.transducers import Transducers
from parts.rows import at_most, tell
from PySide6.QtCore import QObject, Signal
from PySide6.QtWidgets import QApplication

RATE_HZ = 10_000
CHANNELS = 3
FRAMES_HZ = 30
SPAN_S = 60
WANTED_SHARE = 0.20
WANTED_STALL_S = 0.050
WANTED_GROWTH_MB = 1.0
DRAWN_EVERY_S = 4  # in the long run
CYCLE_S = 45.0  # a test every so often: vented, filled, bled away
LAW = ChannelLaw(0.0, 5.0 / 4096, 5.0, 0.0, 1_000_000.0)
TRANSDUCERS = Transducers(0, 1, LAW, LAW, 4095)
ORDER = (1, 3, 4, 2)


class BenchDesk(QObject):
    """As much of a desk as drawings need."""

    look_changed = Signal()
    units_changed = Signal()

    def __init__(self, trace: Trace) -> None:
        super().__init__()
        self.palette, self.settings, self.units = LIGHT, Settings(theme="light", span_s=SPAN_S), ShownUnits()
        self.snapshot = snapshot_of(trace)

    def change_setting(self, **changes: object) -> None:
        """Keep it for this run."""
        self.settings = replace(self.settings, **changes)  # type: ignore[arg-type]


def snapshot_of(trace: Trace) -> SimpleNamespace:
    """A snapshot as far as the trace reads it."""
    view = trace.view()
    in_test_s = view.newest_s % CYCLE_S
    state = SimpleNamespace(readiness=SimpleNamespace(locked=5.0 <= in_test_s < 40.0), setup=RigSetup())
    return SimpleNamespace(trace=view, state=state)


def raw_of(t_s: np.ndarray) -> np.ndarray:
    """Raw words of a test after the other, with noise of one step."""
    in_test_s = t_s % CYCLE_S
    on, shut = (in_test_s >= 5.0) & (in_test_s < 25.0), in_test_s >= 25.0
    fill, bleed = 1.0 - np.exp(-(in_test_s - 5.0) / 1.5), np.exp(-(in_test_s - 25.0) / 4.0)
    regulated = np.where(on, 550e3, 0.0) + np.where(shut, 430e3 * bleed, 0.0)
    cylinder = np.where(on, 430e3 * fill, 0.0) + np.where(shut, 430e3 * bleed, 0.0)
    noise = np.random.default_rng(5).integers(-1, 2, (CHANNELS, len(t_s)))
    clean = np.stack([(0.1 + 0.8 * pressure / 1e6) * 4096.0 for pressure in (regulated, cylinder, np.zeros_like(t_s))])
    return (clean + noise).astype(np.uint16)


class Samples:
    """One cycle of samples, made once; `part` gives any stretch of an endless run of it."""

    def __init__(self, rate_hz: int) -> None:
        self.rate_hz = rate_hz
        self._raw = raw_of(np.arange(round(CYCLE_S * rate_hz)) / rate_hz)

    def part(self, start: int, stop: int) -> SampleColumns:
        """Samples number start to stop − 1."""
        index = np.arange(start, stop, dtype=np.int64)
        raw = self._raw[:, index % self._raw.shape[1]]
        none = np.zeros(len(index), dtype=np.uint16)
        return SampleColumns(index, index, index // 40, raw, none, self.rate_hz)


@dataclass
class Screen:
    """The widgets, and what feeds them."""

    app: QApplication
    desk: BenchDesk
    trace: Trace
    widget: TraceWidget
    ring: RingView

    def second(self, samples: Samples, start: int, *, drawn: bool) -> None:
        """A second's samples, for the long run."""
        for part in (samples.part(start, start + RATE_HZ // 2), samples.part(start + RATE_HZ // 2, start + RATE_HZ)):
            self.trace.add(part.t_s, *TRANSDUCERS.gauge_pa(part))
        if drawn:
            self.draw()

    def draw(self) -> None:
        """A frame of what is there."""
        self.desk.snapshot = snapshot_of(self.trace)
        self.widget.show_snapshot(self.desk.snapshot)  # type: ignore[arg-type]
        self.ring.set_model(ring_at(self.trace.view().newest_s))
        self.app.processEvents()


def ring_at(t_s: float) -> RingModel:
    """A four-cylinder engine whose crank is turned at 20 degrees a second, past the window and on."""
    marks = tuple(RingMark(cylinder, 180.0 * i, i == 1) for i, cylinder in enumerate(ORDER))
    crank_deg = 20.0 * t_s % 720.0
    off_deg = (crank_deg - 180.0 + 360.0) % 720.0 - 360.0
    turn_deg = -off_deg % 720.0
    saying = Saying("turn", "Turn on", f"{turn_deg:.0f}°", "clockwise, to compression TDC")
    return RingModel(720.0, True, marks, 180.0, (crank_deg,), turn_deg, 3, 3, off_deg, 1.5, saying, "")


def make_screen(app: QApplication) -> Screen:
    """As large as on the Test page of a window of 1280 × 800, the plot made."""
    trace = Trace()
    desk = BenchDesk(trace)
    widget, ring = TraceWidget(desk), RingView(desk)  # type: ignore[arg-type]
    widget.resize(820, 260)
    ring.resize(440, 440)
    widget.show()
    ring.show()
    for _ in range(200):
        app.processEvents()
        if widget.plot is not None:
            break
    else:
        raise SystemExit("the plot was never made; there is nothing to measure")
    return Screen(app, desk, trace, widget, ring)


def drawing(screen: Screen, rate_hz: int, span_s: int, trace_s: float) -> tuple[float, float, float, float]:
    """Share of a core, that of taking samples in, and the longest frame in seconds: by the wall's clock and of the processor."""
    samples = Samples(rate_hz)
    filled = round(span_s * rate_hz)
    began = (int(screen.trace.view().newest_s) + 1) * rate_hz
    for start in range(began, began + filled, rate_hz):
        columns = samples.part(start, start + rate_hz)
        screen.trace.add(columns.t_s, *TRANSDUCERS.gauge_pa(columns))
    screen.widget.span_button(span_s).click()
    for _ in range(5):
        screen.draw()
    a_frame = rate_hz // FRAMES_HZ
    parts = [
        samples.part(began + filled + i * a_frame, began + filled + (i + 1) * a_frame) for i in range(round(trace_s * FRAMES_HZ))
    ]
    gc.collect()
    longest_s = busiest_s = took_in_s = 0.0
    began_s = time.thread_time()
    for columns in parts:
        at_s = time.thread_time()
        screen.trace.add(columns.t_s, *TRANSDUCERS.gauge_pa(columns))
        took_in_s += time.thread_time() - at_s
        wall_s, busy_s = time.perf_counter(), time.thread_time()
        screen.draw()
        longest_s, busiest_s = max(longest_s, time.perf_counter() - wall_s), max(busiest_s, time.thread_time() - busy_s)
    spent_s = time.thread_time() - began_s
    return spent_s / trace_s, took_in_s / trace_s, longest_s, busiest_s


def resident_mb() -> float:
    """Memory of this process that is in use now."""
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1]) if sys.platform == "linux" else 0
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6 if pages else float("nan")


def an_hour(screen: Screen, hours: float) -> tuple[float, float, float]:
    """How much memory grows in the last half of it: objects of Python, and of the process, in MB; and its wall clock."""
    samples = Samples(RATE_HZ)
    began_s = time.perf_counter()
    start = (int(screen.trace.view().newest_s) + 1) * RATE_HZ
    seconds = round(3600 * hours)
    grown: list[tuple[float, float]] = []
    for i in range(seconds):
        if i == seconds // 3:  # what is held from here on is traced; by the half of the time all of it has been made anew
            tracemalloc.start()
        if i == seconds // 2:
            grown.append(memory_mb())
        screen.second(samples, start + i * RATE_HZ, drawn=i % DRAWN_EVERY_S == 0)
    grown.append(memory_mb())
    tracemalloc.stop()
    return grown[1][0] - grown[0][0], grown[1][1] - grown[0][1], time.perf_counter() - began_s


def memory_mb() -> tuple[float, float]:
    """Memory in use now: by objects of Python that are traced, and by the process."""
    gc.collect()
    return tracemalloc.get_traced_memory()[0] / 1e6, resident_mb()


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--trace-s", type=float, default=60.0, help="seconds of trace that are drawn")
    parser.add_argument("--hours", type=float, default=1.0, help="hours of the run for memory, which is drawn every few seconds")
    args = parser.parse_args()
    app = QApplication.instance() or QApplication([])
    load_letters()
    dress(app, LIGHT, 100)  # type: ignore[arg-type]
    made_s = time.perf_counter()
    screen = make_screen(app)  # type: ignore[arg-type]
    made_s = time.perf_counter() - made_s
    print(f"{'':34}{'share of a core':>16}{'of it samples':>15}{'longest frame':>15}{'of it processor':>17}")
    for rate_hz, span_s, trace_s in (
        (1000, SPAN_S, args.trace_s / 6),
        (RATE_HZ, SPAN_S, args.trace_s),
        (RATE_HZ, 600, args.trace_s / 6),
    ):
        share, took_in, longest_s, busiest_s = drawing(screen, rate_hz, span_s, trace_s)
        name = f"{rate_hz / 1000:g} kHz × {CHANNELS}, {span_s} s shown"
        print(f"{name:34}{share:15.1%} {took_in:14.1%}{longest_s * 1e3:12.1f} ms{busiest_s * 1e3:14.1f} ms")
        asked = 100.0 * WANTED_SHARE if (rate_hz, span_s) == (RATE_HZ, SPAN_S) else None
        tell([at_most(f"drawing the Test page, {name}", "% of a core", 100.0 * share, asked)])
    print(f"wanted: at most {WANTED_SHARE:.0%} at 10 kHz × 3 with 60 s shown, no stall over {WANTED_STALL_S * 1e3:.0f} ms")
    objects_mb, process_mb, wall_s = an_hour(screen, args.hours)
    print(
        f"{args.hours:g} h in {wall_s:.0f} s: memory grew by {objects_mb:+.2f} MB of objects, {process_mb:+.1f} MB of the process"
    )
    tell(
        [
            at_most(f"{args.hours:g} h of the window: objects grew by", "MB", objects_mb, WANTED_GROWTH_MB),
            at_most(f"{args.hours:g} h of the window: the process grew by", "MB", process_mb, None),
        ]
    )
    print(f"wanted: less than {WANTED_GROWTH_MB:g} MB; first plot after {made_s:.2f} s, pyqtgraph loaded in it")


if __name__ == "__main__":
    main()
