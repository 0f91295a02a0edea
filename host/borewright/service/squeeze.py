"""The squeeze: supply shut, vent closed, the hand-turned piston squeezes air into the hose while it is watched."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from borewire.messages import VentOpen

from borewright.core.crank import squeeze_peak_gauge_pa
from borewright.core.engine import Engine
from borewright.core.evidence import SqueezeWatch, vent_noise_pa
from borewright.core.readiness_table import Event, State
from borewright.core.samples import SampleColumns
from borewright.service.air import happen
from borewright.service.evidence import drop_hose, keep_verdict
from borewright.service.facts import reference_tdc_count
from borewright.service.state import Reading
from borewright.service.work import Work

__all__ = ["begin_squeeze", "break_off_squeeze", "watch_squeeze", "watch_squeeze_pressure"]

MOST_PAIRS = 3
STANDARD_AIR_PA = 101_325.0  # near enough for a warning
BACKWARDS = (
    "the crank was counted backwards in this squeeze: if it was turned in the running direction, the encoder's two phases are "
    "swapped; connect them the other way round and find true TDC again"
)
LEAST_AT_VENT = 200  # samples to know the noise from


def begin_squeeze(work: Work) -> None:
    """Close the vent and begin to watch, if the piston's place is known."""
    state = work.state
    crank, engine, transducers = state.crank, state.engine, state.transducers
    if (
        state.pressurised
        or crank is None
        or engine is None
        or transducers is None
        or state.purpose.kind != "test"
        or not state.recent
    ):
        work.say("warning", "a squeeze needs a vented rig, an engine and a cylinder")
        return
    tdc_count = reference_tdc_count(state, state.purpose.cylinder)
    if state.check_valve is not None:
        work.say("warning", f"no squeeze yet: {state.check_valve.words}; take it out and say so first")
        return
    if tdc_count is None:
        work.say("warning", "where TDC lies is not known yet; find true TDC and turn the crank over its index pulse first")
        return
    recent = SampleColumns.join(state.recent)
    if len(recent) < LEAST_AT_VENT:
        work.say("warning", "the rig has not been watched at vent for long enough; wait two seconds, then squeeze")
        return
    _, p_cylinder = transducers.gauge_pa(recent)
    watch = SqueezeWatch.begin(
        engine,
        state.purpose.cylinder,
        tdc_count,
        crank.counts_per_rev,
        state.setup.running_sign,
        max(vent_noise_pa(p_cylinder), transducers.cylinder.pa_per_raw / np.sqrt(12.0)),
        resolution_pa=transducers.cylinder.pa_per_raw,
        vent_pa=float(p_cylinder.mean()),
        hose_volume_m3=state.setup.hose_volume_m3 + state.setup.dead_volume_m3,
    )
    happen(work, Event.SQUEEZE_ASKED)
    if work.state.readiness.state is State.SQUEEZING:
        drop_hose(work)
        work.set(squeeze=watch, squeeze_relieved=False, squeeze_highest_pa=0.0, verdict=None)
        work.log("squeeze", cylinder=state.purpose.cylinder, tdc_count=tdc_count)
        _say_what_to_expect(work, engine)


def break_off_squeeze(work: Work) -> None:
    """Hose, cylinder or reference have changed in the middle of a squeeze: nothing can be concluded from it."""
    if work.state.readiness.state is State.SQUEEZING:
        happen(work, Event.SQUEEZE_OVER)
    work.set(squeeze=None)


def _say_what_to_expect(work: Work, engine: Engine) -> None:
    setup = work.state.setup
    peak_pa = squeeze_peak_gauge_pa(
        engine.bore_m,
        engine.stroke_m,
        engine.rod_m,
        engine.clearance_m3,
        setup.hose_volume_m3 + setup.dead_volume_m3,
        STANDARD_AIR_PA,
        engine.closed_part_deg()[0],
        pin_offset_m=engine.pin_offset_m,
    )
    limit_pa = work.state.limits.squeeze_vent_fraction * setup.rated_cylinder_side_gauge_pa
    relief = "the vent opens by itself" if work.state.has_valves else "open the vent by hand"
    work.say("note", f"the squeeze may reach {peak_pa / 1000:.0f} kPa; above {limit_pa / 1000:.0f} kPa {relief}")
    if engine.decompression == "automatic":
        work.say("note", "an automatic decompression device weakens the squeeze")


def watch_squeeze(work: Work, columns: SampleColumns, p_cylinder_gauge_pa: npt.NDArray[np.float64]) -> None:
    """Add samples; when the verdict is there, keep what it shows and open the vent."""
    watch = work.state.squeeze
    if watch is None:
        return
    if work.state.readiness.state is not State.SQUEEZING:
        work.set(squeeze=None)
        return
    watch = watch.add(columns, p_cylinder_gauge_pa)
    work.set(squeeze=watch)
    verdict = watch.verdict
    if verdict.kind == "not_enough" and (watch.pairs < MOST_PAIRS or watch.pending):
        return
    work.set(squeeze=None, verdict=verdict, supply_leaked=False)
    work.log(
        "squeeze_verdict", verdict=verdict.kind, cylinders=list(verdict.cylinders), tdc_count=verdict.tdc_count, pairs=verdict.pairs
    )
    keep_verdict(work, watch)
    # what a check valve shuts in pushes the piston back
    if work.state.crank is not None and work.state.crank.direction < 0 and not verdict.check_valve:
        work.say("warning", BACKWARDS)
    if work.state.has_valves:  # else the person says when turning has stopped and the vent is open
        happen(work, Event.SQUEEZE_OVER)


def watch_squeeze_pressure(work: Work, reading: Reading) -> None:
    """A strong squeeze opens the vent: by the device, by the host, or by the person. Where there are valves it is closed again."""
    state = work.state
    limit_pa = state.limits.squeeze_vent_fraction * state.setup.rated_cylinder_side_gauge_pa
    highest_pa = max(state.squeeze_highest_pa, reading.p_cylinder_gauge_pa)
    work.set(squeeze_highest_pa=highest_pa)
    if reading.p_regulated_gauge_pa > highest_pa + state.limits.seen_gauge_pa:  # no piston does that: the supply is open
        work.say(
            "alarm",
            "the regulated pressure rises with the supply shut: its valve leaks, or the transducers are swapped;"
            " shut the air before the rig by hand",
        )
        work.set(supply_leaked=True)
        happen(work, Event.PRESSURE_SEEN)
    elif not state.has_valves:
        if reading.p_highest_gauge_pa > limit_pa:
            happen(work, Event.OVER_PRESSURE)
    elif reading.p_highest_gauge_pa > limit_pa:
        if not state.squeeze_relieved:
            work.set(squeeze_relieved=True)
            work.send(VentOpen(0))
    elif state.squeeze_relieved and abs(reading.p_cylinder_gauge_pa) < state.limits.vented_gauge_pa:
        work.set(squeeze_relieved=False)
        happen(work, Event.SQUEEZE_ASKED)
