"""A sweep over the transducers' range beside a reference gauge: air stays on at the capped outlet, the person sets the regulator
from point to point and says what the gauge shows.
"""

from __future__ import annotations

from dataclasses import replace

from borewright.core.readiness_table import Event, State
from borewright.core.samples import SampleColumns
from borewright.service.air import happen
from borewright.service.readings import mean_reading
from borewright.service.state import BenchState
from borewright.service.work import Work

__all__ = ["awaits_reading", "end_sweep", "next_sweep_pa", "read_gauge"]

FAR_OFF_SHARE = 0.05  # of the range: farther apart, gauge and transducers do not show the same pressure


def next_sweep_pa(state: BenchState) -> float | None:
    """The pressure of the sweep that comes next, None when there is none or the sweep was ended."""
    capture = state.capture
    sweep = state.purpose.sweep_gauge_pa
    done = len(capture.readings) if capture is not None else 0
    return None if done >= len(sweep) or (capture is not None and capture.settled) else sweep[done]


def awaits_reading(state: BenchState) -> bool:
    """Whether air stands at the gauge and the next reading may be taken."""
    capture = state.capture
    if capture is None or capture.purpose.aim != "span" or capture.ended_s is not None or next_sweep_pa(state) is None:
        return False
    return state.readiness.state is (State.HOLDING if state.has_valves else State.FILLING) and capture.live.fill_done


def read_gauge(work: Work, gauge_pa: float) -> None:
    """Take the mean of the last two seconds beside what the gauge shows; refused while the pressure moves or cannot be the same."""
    state, capture = work.state, work.state.capture
    transducers = state.transducers
    if not awaits_reading(state) or capture is None or transducers is None:
        work.say("warning", "the reference gauge is read while the air stands at the capped outlet, not now")
        return
    reading, moved = mean_reading(transducers, SampleColumns.join(state.recent), gauge_pa)
    if moved:
        work.say("warning", "the pressure still moves; wait until the gauge stands still, read it and type it again")
        return
    words = (reading.raw_regulated, reading.raw_cylinder)
    laws = (transducers.regulated, transducers.cylinder)
    seen = [float(law.gauge_pa(raw)) for law, raw in zip(laws, words, strict=True)]
    range_pa = state.setup.transducer_high_gauge_pa - state.setup.transducer_low_gauge_pa
    if not all(abs(one - gauge_pa) <= FAR_OFF_SHARE * range_pa for one in seen):  # not-a-number is refused too
        work.say(
            "warning",
            f"the gauge cannot show {gauge_pa / 1000:.1f} kPa while the transducers show {seen[0] / 1000:.0f} and "
            f"{seen[1] / 1000:.0f} kPa; look at the unit and at the gauge, and type it again",
        )
        return
    before_pa = capture.readings[-1].reference_gauge_pa if capture.readings else 0.0
    taken = (*capture.readings, replace(reading, rising=gauge_pa >= before_pa))
    work.set(capture=replace(capture, readings=taken))
    work.log("gauge", reference_gauge_pa=gauge_pa, raw_regulated=reading.raw_regulated, raw_cylinder=reading.raw_cylinder)
    if next_sweep_pa(work.state) is None:
        end_sweep(work)
    else:
        happen(work, Event.HOLD_ASKED)  # the person is there and goes on: as good as asking to keep the air on


def end_sweep(work: Work) -> None:
    """No more readings: shut and vent where the rig has valves; by hand it is the person who does."""
    capture = work.state.capture
    if capture is None or capture.purpose.aim != "span":
        return
    work.set(capture=replace(capture, settled=True))
    if work.state.has_valves:
        happen(work, Event.AIR_RELEASED)
