"""The trace of the two pressures: thinned without losing what was highest, in any unit, made only once it has been seen."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest
from borewright.app.desk import Desk
from borewright.app.draw.trace_model import SPANS_S, AirSpans, label_heights, nice_step, thinned, top_pa
from borewright.app.draw.trace_plot import TracePlot
from borewright.app.draw.trace_view import TraceWidget
from borewright.core.rig import RigSetup
from borewright.service.snapshot import Snapshot
from borewright.service.trace import Trace, TraceView
from hypothesis import given
from hypothesis import strategies as st
from PySide6.QtCore import Qt
from pytestqt.qtbot import QtBot

from .conftest import bench_time

NOT = np.float32(np.nan)


def trace_of(seconds: float, regulated_pa: float = 551_000.0, cylinder_pa: float = 430_000.0, rate_hz: int = 200) -> TraceView:
    """Steady pressures for so long."""
    trace = Trace()
    t_s = np.arange(1, round(seconds * rate_hz) + 1) / rate_hz
    for part in np.array_split(t_s, max(1, int(seconds))):
        trace.add(part, np.full(len(part), regulated_pa), np.full(len(part), cylinder_pa))
    return trace.view()


def snapshot_of(trace: TraceView, *, pressurised: bool = False, setup: RigSetup | None = None) -> Snapshot:
    """A snapshot as far as the trace reads it."""
    state = SimpleNamespace(readiness=SimpleNamespace(locked=pressurised), setup=setup or RigSetup())
    return cast(Snapshot, SimpleNamespace(trace=trace, state=state))


# ---------------------------------------------------------------------- without Qt


@given(
    st.lists(st.floats(-1e4, 1e6, width=32), min_size=1, max_size=400),
    st.sampled_from(SPANS_S),
    st.integers(20, 900),
)
def test_thinning_loses_neither_the_highest_nor_the_lowest(values: list[float], span_s: int, columns: int) -> None:
    low = np.array(values, dtype=np.float32)
    high = low + np.float32(5.0)
    t_s = (np.arange(len(low)) + 0.5) * 0.05
    curves = thinned(TraceView(t_s, low, high, low, high, float(t_s[-1]) + 0.025), span_s, columns)
    seen = t_s >= t_s[-1] + 0.025 - span_s
    assert curves.regulated_pa.max() == high[seen].max()
    assert curves.cylinder_pa.min() == low[seen].min()
    assert curves.highest_pa == max(0.0, float(high[seen].max()))
    assert len(curves.x_s) == len(curves.regulated_pa) <= 2 * (columns + 2)
    assert np.all(np.diff(curves.x_s) >= 0.0)
    assert curves.x_s[-1] <= 0.0


def test_columns_stay_on_their_places_in_time_as_the_picture_moves() -> None:
    whole = trace_of(70.0)
    curves = [thinned(replace(whole, newest_s=newest_s), 60.0, 300) for newest_s in (69.9, 69.95)]
    places = [set(np.round(one.x_s + newest_s, 4)) for one, newest_s in zip(curves, (69.9, 69.95), strict=True)]
    inside = {place for place in places[0] if 15.0 < place < 69.0}
    assert inside <= places[1]


def test_missing_samples_break_the_line() -> None:
    low = np.full(40, 100.0, np.float32)
    low[20:22] = NOT
    t_s = (np.arange(40) + 0.5) * 0.05
    curves = thinned(TraceView(t_s, low, low, low, low, 2.0), 10.0, 400)
    assert not curves.whole
    assert np.isnan(curves.regulated_pa).sum() == 4
    assert (curves.highest_pa, curves.newest_regulated_pa) == (100.0, 100.0)


def test_where_samples_are_missing_just_now_there_is_no_newest() -> None:
    low = np.array([1.0, NOT], np.float32)
    curves = thinned(TraceView(np.array([0.025, 0.075]), low, low, low, low, 0.1), 10.0, 100)
    assert curves.newest_regulated_pa is None


def test_nothing_is_nothing() -> None:
    curves = thinned(Trace().view(), 60.0, 500)
    assert (len(curves.x_s), curves.newest_regulated_pa, curves.highest_pa) == (0, None, 0.0)


def test_the_scale_stays_where_it_is_until_a_pressure_leaves_it() -> None:
    assert len({top_pa(620e3, highest, 1e6) for highest in (0.0, 300e3, 650e3)}) == 1
    assert top_pa(620e3, 700e3, 1e6) > 1e6
    assert top_pa(620e3, 1.3e6, 1e6) > 1.3e6


@given(st.floats(1e-3, 1e7), st.integers(1, 20))
def test_steps_are_round_and_few(whole: float, most: int) -> None:
    step = nice_step(whole, most)
    assert whole / step <= most * (1.0 + 1e-6)
    assert f"{step:.1e}".split("e")[0] in ("1.0", "2.0", "2.5", "5.0")


@given(st.floats(-50.0, 150.0), st.floats(-50.0, 150.0))
def test_names_keep_apart_and_inside(first: float, second: float) -> None:
    heights = label_heights((first, second), 12.0, 0.0, 100.0)
    if 0.0 <= first <= 100.0 and 0.0 <= second <= 100.0:
        assert abs(heights[0] - heights[1]) >= 12.0 - 1e-9
        assert (heights[0] >= heights[1]) == (first >= second)
    assert all(0.0 <= height <= 100.0 for height in heights)


def test_what_was_pressurised_is_remembered_for_as_long_as_it_is_shown() -> None:
    air = AirSpans()
    for now_s, on in ((0.0, False), (1.0, True), (1.5, True), (2.0, False), (300.0, False)):
        air.see(now_s, on)
    assert air.spans_s == [(1.0, 2.0)]
    air.see(700.0, False)
    assert air.spans_s == []


def test_a_clock_that_began_anew_takes_the_shading_with_it() -> None:
    air = AirSpans()
    for now_s, on in ((10.0, True), (10.5, True), (0.1, True), (0.2, True)):
        air.see(now_s, on)
    assert air.spans_s == [(0.1, 0.2)]


# ---------------------------------------------------------------------- the widget


@pytest.fixture
def make_trace(desk: Desk, qtbot: QtBot) -> Callable[..., tuple[TraceWidget, TracePlot]]:
    """Makes a trace in view, its plot made."""

    def make(width: int = 700, height: int = 240) -> tuple[TraceWidget, TracePlot]:
        widget = TraceWidget(desk)
        qtbot.addWidget(widget)
        widget.resize(width, height)
        widget.show()
        qtbot.waitUntil(lambda: widget.plot is not None)
        assert widget.plot is not None
        return widget, widget.plot

    return make


def test_the_plot_is_made_once_it_has_been_seen(desk: Desk, qtbot: QtBot) -> None:
    widget = TraceWidget(desk)
    qtbot.addWidget(widget)
    widget.show_snapshot(desk.snapshot)
    assert widget.plot is None
    widget.show()
    qtbot.waitUntil(lambda: widget.plot is not None)


def test_both_pressures_are_drawn_to_scale_with_their_names_at_the_end(
    make_trace: Callable[..., tuple[TraceWidget, TracePlot]],
) -> None:
    widget, plot = make_trace()
    widget.show_snapshot(snapshot_of(trace_of(30.0)))
    regulated, cylinder = plot.lines
    height = plot.box_height
    top = 620_528.2 * 1.08  # of the setup's highest regulated pressure, RigSetup
    for line, pa in ((regulated, 551_000.0), (cylinder, 430_000.0)):
        assert line.y[-1] == pytest.approx((top - pa) / (top * 1.06) * height, abs=1.0)
        assert line.name_at is not None
    assert (regulated.name, cylinder.name) == ("regulated", "cylinder")
    assert regulated.round_sign != cylinder.round_sign  # told apart without colour
    assert regulated.marks
    assert cylinder.marks


def test_names_of_equal_pressures_do_not_overlap(make_trace: Callable[..., tuple[TraceWidget, TracePlot]]) -> None:
    widget, plot = make_trace()
    widget.show_snapshot(snapshot_of(trace_of(30.0, 551_000.0, 550_500.0)))
    at = [line.name_at for line in plot.lines]
    assert at[0] is not None
    assert at[1] is not None
    assert at[1].y() - at[0].y() >= 12.0


def test_pressurised_is_shaded(make_trace: Callable[..., tuple[TraceWidget, TracePlot]]) -> None:
    widget, plot = make_trace()
    for seconds, on in ((20.0, False), (20.5, True), (21.0, True), (21.5, False)):
        widget.show_snapshot(snapshot_of(trace_of(seconds), pressurised=on))
    (shaded,) = plot.shaded
    assert shaded.width() == pytest.approx(plot.columns / 60.0, abs=1.5)  # one second of the sixty shown


def test_the_span_is_chosen_by_button_and_key_and_kept(
    make_trace: Callable[..., tuple[TraceWidget, TracePlot]], desk: Desk, qtbot: QtBot
) -> None:
    widget, plot = make_trace()
    assert widget.span_s == 60
    qtbot.keyClick(widget, Qt.Key.Key_Period)
    assert (widget.span_s, desk.settings.span_s) == (300, 300)
    for _ in range(5):
        qtbot.keyClick(widget, Qt.Key.Key_Comma)
    assert desk.settings.span_s == SPANS_S[0]
    widget.span_button(600).click()
    assert desk.settings.span_s == 600
    widget.show_snapshot(snapshot_of(trace_of(400.0)))
    assert plot.lines[0].x[0] == pytest.approx(plot.columns * 200.0 / 600.0, abs=3.0)


def test_a_kept_span_comes_back(make_desk: Callable[..., Desk], qtbot: QtBot) -> None:
    desk = make_desk()
    desk.change_setting(span_s=300)
    widget = TraceWidget(desk)
    qtbot.addWidget(widget)
    assert widget.span_s == 300


def test_the_unit_is_that_of_the_desk_at_once(make_trace: Callable[..., tuple[TraceWidget, TracePlot]], desk: Desk) -> None:
    widget, plot = make_trace()
    desk.snapshot = snapshot_of(trace_of(30.0))
    desk.choose_units({"pressure_gauge": "psi"})
    assert widget.title == "Pressure, psi"
    # 1 psi is 6894.757 Pa: NIST SP 811, appendix B.8
    assert [place / float(words) for place, words in plot.ticks if words != "0"] == pytest.approx(
        [6894.757] * (len(plot.ticks) - 1), rel=1e-5
    )
    assert "regulated 80 psi" in widget.accessibleDescription()
    desk.choose_units({"pressure_gauge": "bar"})
    assert widget.title == "Pressure, bar"
    assert "cylinder 4.30 bar" in widget.accessibleDescription()


def test_nothing_is_drawn_again_where_nothing_came(
    make_trace: Callable[..., tuple[TraceWidget, TracePlot]], monkeypatch: pytest.MonkeyPatch
) -> None:
    widget, plot = make_trace()
    snapshot = snapshot_of(trace_of(30.0))
    drawn: list[object] = []
    monkeypatch.setattr(plot, "show", lambda *things: drawn.append(things))
    for _ in range(3):
        widget.show_snapshot(snapshot)
    assert len(drawn) == 1


def test_gaps_are_painted_as_gaps(make_trace: Callable[..., tuple[TraceWidget, TracePlot]]) -> None:
    widget, plot = make_trace()
    trace = Trace()
    for start in (0.0, 20.0):
        t_s = start + np.arange(1, 2001) / 200.0
        trace.add(t_s, np.full(2000, 5e5), np.full(2000, 4e5))
    widget.show_snapshot(snapshot_of(trace.view()))
    widget.grab()
    assert np.isnan(plot.lines[0].y).any()


@pytest.mark.parametrize("size", [(330, 130), (600, 160), (1200, 400)])
def test_it_shows_the_built_in_rig_at_any_size(
    make_trace: Callable[..., tuple[TraceWidget, TracePlot]], desk: Desk, size: tuple[int, int]
) -> None:
    widget, plot = make_trace(*size)
    bench_time(desk, 2.0)
    widget.show_snapshot(desk.snapshot)
    assert not widget.grab().isNull()
    assert len(plot.lines[0].x) > 20
    desk.change_setting(theme="dark")
    assert plot.lines[0].colour.name() == desk.palette.regulated
