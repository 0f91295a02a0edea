"""The rig's spare channel as a gauge at a place: it watches where a person only looks now and then."""

from __future__ import annotations

from borewire.messages import Quantity

from borewright.core.readiness_table import AIR_ON, State
from borewright.core.rig import ChannelLaw
from borewright.core.samples import SampleColumns
from borewright.core.stopping import stop_rules
from borewright.service.on_place import too_much
from borewright.service.places import limit_of
from borewright.service.state import BenchState
from borewright.service.work import Work

__all__ = ["spare_law", "take_slow", "take_streamed"]


def spare_law(state: BenchState) -> tuple[int, ChannelLaw] | None:
    """The spare pressure channel and its law; None where the device has none or the rig file does not give its range."""
    if not state.setup.spare_high_gauge_pa > 0.0:
        return None
    for channel in state.session.channels:
        if channel.quantity is Quantity.PRESSURE_SPARE:
            volts = (channel.volts_at_zero, channel.volts_per_raw, channel.sensor_supply_volts)
            return channel.channel, ChannelLaw(*volts, 0.0, state.setup.spare_high_gauge_pa)
    return None


def take_slow(work: Work, channel: int, raw: int) -> None:
    """A reading of a slow channel, for devices that send the spare one so."""
    found = spare_law(work.state)
    if found is not None and found[0] == channel:
        _take_gauge(work, float(found[1].gauge_pa(raw)))


def take_streamed(work: Work, columns: SampleColumns) -> None:
    """New samples, for devices that have the spare channel in each of them: their mean, so that noise is not taken for pressure."""
    found = spare_law(work.state)
    if found is not None and found[0] < columns.raw.shape[0]:
        _take_gauge(work, float(found[1].gauge_pa(float(columns.raw[found[0]].mean()))))


def _take_gauge(work: Work, gauge_pa: float) -> None:
    """At vent it is the spare gauge's zero, with air on it is held against the limit of its place."""
    state = work.state
    if state.readiness.state in (State.VENTED, State.READY, State.ARMED) and not state.pressurised:
        work.set(spare_zero_pa=gauge_pa, spare_gauge_pa=0.0)
        return
    shown_pa = gauge_pa - state.spare_zero_pa
    work.set(spare_gauge_pa=shown_pa)
    place, engine = state.purpose.spare_place, state.engine
    if not place or engine is None or state.capture is None or state.readiness.state not in AIR_ON:
        return
    limit_pa = limit_of(stop_rules(engine)[place])
    if shown_pa > limit_pa:
        work.log("place_gauge", place=place, p_place_gauge_pa=shown_pa)
        too_much(work, place, shown_pa, limit_pa)
