"""Between the puff and the full opening: the crank is watched, and what readiness rests on has to hold still."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from borewright.core.flow import AIR_GAS_CONSTANT, mass_flow_kg_s
from borewright.core.puff_fill import puff_fill
from borewright.core.readiness_table import Event
from borewright.core.samples import SampleColumns
from borewright.service.air import happen
from borewright.service.facts import conditions_of
from borewright.service.state import BenchState
from borewright.service.work import Work

__all__ = ["end_puff", "end_watch", "stands"]

LASTING = ("link", "reference", "stroke_and_hose", "people")
STANDARD_AIR_PA, STANDARD_AIR_K = 101_325.0, 293.15  # near enough to tell a hose from a cylinder
LEAST_FILL_SHARE = 0.8  # of what an isothermal fill would give; a real one warms up and gives more


def end_puff(work: Work) -> None:
    """The puff's time is up on the host's side. Without a word that it ever began there is no full pressure after it."""
    opening, capture = work.state.opening, work.state.capture
    if opening is not None and opening.opened:
        happen(work, Event.PUFF_OVER)
        return
    reason = "the rig did not say that it opened its supply for the puff"
    work.say("warning", f"{reason}: its line is slow or cut")
    if capture is not None:
        work.set(capture=replace(capture, void_reason=reason))
    happen(work, Event.DEVICE_TRIPPED)


def stands(state: BenchState) -> bool:
    """The crank stands still; where it does not, the full opening waits until ready has become stale, which ends the capture."""
    limits = state.limits
    stale = state.now_s - state.state_since_s > limits.ready_s
    return stale or (state.crank is not None and state.crank.still(limits.still_s, limits.still_count))


def end_watch(work: Work) -> None:
    """The crank stood still after the puff: the full opening follows, if readiness still rests on what it was decided on."""
    lost = [condition.reason for condition in conditions_of(work.state) if condition.name in LASTING and not condition.met]
    if not lost and not _puff_fits(work.state):
        lost.append("the hose filled too slowly to be capped: look where it ends")
    if not lost and (misfit := _misfit(work.state)):
        lost.append(misfit)
        work.set(stroke=None, hose_evidence=None, hose=None, confirmed=None)  # a squeeze has to show all of it
    if not lost:
        happen(work, Event.WATCH_PASSED)
        return
    if work.state.capture is not None:
        work.set(capture=replace(work.state.capture, void_reason=f"not ready any more after the puff: {lost[0]}"))
    work.say("warning", f"no full pressure: {lost[0]}")
    happen(work, Event.STOP)


def _misfit(state: BenchState) -> str:
    """Why the puff was not that of the cylinder that the hose was read back to be in; empty where it was, or was not needed."""
    capture, transducers, evidence, engine = state.capture, state.transducers, state.hose_evidence, state.engine
    if evidence is None or evidence.kind != "puff_read_back":
        return ""
    cylinder = evidence.cylinder
    if capture is None or transducers is None or engine is None:
        return "the puff was not seen"
    columns = SampleColumns.join(capture.parts)
    puff = columns.between(int(np.searchsorted(columns.t_s, capture.began_s)), len(columns))
    regulated_pa, cylinder_pa = transducers.gauge_pa(puff)
    seen = puff_fill(puff.t_s, regulated_pa, cylinder_pa, state.restrictor, state.setup.hose_volume_m3, engine.clearance_m3)
    made = f"it made {seen.p_highest_gauge_pa / 1000:.0f} kPa"
    if seen.verdict == "capped":
        return f"the puff filled the hose as if it were capped ({made}): is a check valve left in the adapter, or a cap on?"
    if seen.verdict == "too_little":
        return (
            f"the puff did not fill cylinder {cylinder} as a closed cylinder at TDC fills ({made}): is the hose in another hole "
            "or off, a valve open, or the leak very large? A squeeze in this cylinder shows it"
        )
    return ""


def _puff_fits(state: BenchState) -> bool:
    """A capped hose fills within the puff; with a cylinder behind it the same air makes less pressure."""
    capture, transducers, setup = state.capture, state.transducers, state.setup
    if capture is None or transducers is None or capture.purpose.kind != "sealed":
        return True
    regulated, cylinder = transducers.gauge_pa(SampleColumns.join(capture.parts))
    p_fed_pa = float(regulated.max())
    fed_kg_s = float(mass_flow_kg_s(state.restrictor_area_m2, p_fed_pa + STANDARD_AIR_PA, STANDARD_AIR_PA, STANDARD_AIR_K))
    rise_pa = fed_kg_s * state.limits.puff_s * AIR_GAS_CONSTANT * STANDARD_AIR_K / (setup.dead_volume_m3 + setup.hose_volume_m3)
    return float(cylinder.max()) > LEAST_FILL_SHARE * min(rise_pa, p_fed_pa)
