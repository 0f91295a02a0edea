"""The squeeze while it goes on, and what its verdict leaves behind."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
from borewire.messages import VentOpen

from borewright.core.crank import squeeze_peak_gauge_pa
from borewright.core.engine import Engine
from borewright.core.evidence import (
    HoseEvidence,
    SqueezeWatch,
    contradicts,
    hose_from_squeeze,
    stroke_from_squeeze,
    vent_noise_pa,
)
from borewright.core.readiness_table import Event, State
from borewright.core.samples import SampleColumns
from borewright.service.air import happen
from borewright.service.facts import reference_tdc_count
from borewright.service.state import Reading
from borewright.service.work import Work

__all__ = ["begin_squeeze", "break_off_squeeze", "drop_hose", "read_back_hose", "watch_squeeze", "watch_squeeze_pressure"]

MOST_PAIRS = 3
LEAST_AT_VENT = 200  # samples to know the noise from
STANDARD_AIR_PA = 101_325.0  # near enough for a warning


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
        hose_volume_m3=state.setup.hose_volume_m3 + state.setup.dead_volume_m3,
    )
    happen(work, Event.SQUEEZE_ASKED)
    if work.state.readiness.state is State.SQUEEZING:
        drop_hose(work)
        work.set(squeeze=watch, squeeze_relieved=False, verdict=None)
        work.log("squeeze", cylinder=state.purpose.cylinder, tdc_count=tdc_count)
        _say_what_to_expect(work, engine)


def break_off_squeeze(work: Work) -> None:
    """Hose, cylinder or reference have changed in the middle of a squeeze: nothing can be concluded from it."""
    if work.state.readiness.state is State.SQUEEZING:
        happen(work, Event.SQUEEZE_OVER)
    work.set(squeeze=None)


def drop_hose(work: Work) -> None:
    """Nothing shows any more where the hose is.

    A stroke that a squeeze showed in a hole which nobody read back goes with it: it may be that of a cylinder that moves in step.
    """
    evidence = work.state.hose_evidence
    if evidence is not None and evidence.needs_read_back and not evidence.read_back:
        work.set(stroke=None)
    work.set(hose_evidence=None)


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
    if verdict.kind == "not_enough" and watch.pairs < MOST_PAIRS:
        return
    work.set(squeeze=None, verdict=verdict)
    work.log(
        "squeeze_verdict", verdict=verdict.kind, cylinders=list(verdict.cylinders), tdc_count=verdict.tdc_count, pairs=verdict.pairs
    )
    _keep_verdict(work, watch)
    if work.state.has_valves:  # else the person says when turning has stopped and the vent is open
        happen(work, Event.SQUEEZE_OVER)


def watch_squeeze_pressure(work: Work, reading: Reading) -> None:
    """A strong squeeze opens the vent: by the device, by the host, or by the person. Where there are valves it is closed again."""
    state = work.state
    limit_pa = state.limits.squeeze_vent_fraction * state.setup.rated_cylinder_side_gauge_pa
    if not state.has_valves:
        if reading.p_highest_gauge_pa > limit_pa:
            happen(work, Event.OVER_PRESSURE)
    elif reading.p_highest_gauge_pa > limit_pa:
        if not state.squeeze_relieved:
            work.set(squeeze_relieved=True)
            work.send(VentOpen(0))
    elif state.squeeze_relieved and abs(reading.p_cylinder_gauge_pa) < state.limits.vented_gauge_pa:
        work.set(squeeze_relieved=False)
        happen(work, Event.SQUEEZE_ASKED)


def _keep_verdict(work: Work, watch: SqueezeWatch) -> None:
    state, verdict = work.state, watch.verdict
    boot_id = state.session.boot_id
    crank = state.crank
    if boot_id is None or crank is None:
        return
    if watch.peak_late and watch.peak_after_tdc_deg is not None:
        work.say("warning", "the squeeze peaks after the stored TDC: the encoder has slipped; find true TDC again")
        work.set(peak_late_deg=watch.peak_after_tdc_deg, stroke=None, hose_evidence=None)
        return
    cylinder = watch.cylinder
    if state.stroke is not None and contradicts(
        verdict, state.stroke, watch.engine, cylinder, crank.counts_per_rev, state.setup.running_sign
    ):
        work.say("warning", "this squeeze contradicts what was shown before; look which hole the hose is in, then squeeze again")
        work.set(stroke=None, hose_evidence=None)
        return
    if verdict.kind == "out_of_step":  # a wrong hole or a wrong TDC; what was carried over may come from either
        work.set(stroke=None, hose_evidence=None)
        return
    stroke = stroke_from_squeeze(verdict, cylinder, boot_id, state.now_s)
    if stroke is not None:
        work.set(stroke=stroke)
    work.set(hose_evidence=hose_from_squeeze(verdict, cylinder, boot_id, state.now_s))
    if verdict.kind == "rises_at_both":
        work.say("warning", "the squeeze rises at both TDCs: the valves do not open; either TDC will do, but find out why")


def read_back_hose(work: Work, cylinder: int) -> None:
    """The person says which hole the hose is in."""
    state = work.state
    boot_id = state.session.boot_id
    if cylinder != state.purpose.cylinder:
        drop_hose(work)
        work.set(confirmed=None)
        work.say("warning", f"the hose is in cylinder {cylinder}; put it into cylinder {state.purpose.cylinder}")
    elif state.hose_evidence is not None:
        work.set(hose_evidence=replace(state.hose_evidence, read_back=True))
    elif state.stroke is not None and state.stroke.kind == "carried" and boot_id is not None:
        work.set(hose_evidence=HoseEvidence("puff_read_back", cylinder, boot_id, state.now_s, read_back=True, said_by=state.who))
