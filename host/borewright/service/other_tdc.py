"""True TDC by dial gauge, timing mark or locking pin, as the bench goes through it, where a piston stop cannot be used."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

from borewright.core.engine import Engine
from borewright.core.kept import TdcKept, check_of
from borewright.core.rig import CheckRefused
from borewright.core.tdc_ways import EqualDrop, MarkedTdc, by_dial_gauge, by_locking_pin, by_timing_mark
from borewright.service.acts import BeginTdcWay
from borewright.service.checks import keep_check
from borewright.service.squeeze import break_off_squeeze
from borewright.service.tdc_way import TdcWay
from borewright.service.work import Work

__all__ = ["begin_tdc_way", "finish_tdc_way", "pin_removed", "take_tdc_reading"]


def begin_tdc_way(work: Work, act: BeginTdcWay) -> None:
    """Begin; what was known of true TDC is dropped."""
    state, engine = work.state, work.state.engine
    if state.crank is None or engine is None or act.cylinder not in engine.firing_order or state.pressurised:
        work.say("warning", "true TDC needs a vented rig and one of this engine's cylinders")
        return
    break_off_squeeze(work)
    work.set(tdc_way=TdcWay(act), stop=None, tdc=None, fitting_confirmed=False, peak_late_deg=None)
    work.set(stroke=None, hose_evidence=None, confirmed=None)


def take_tdc_reading(work: Work) -> None:
    """Take the count at which the crank stands; it has to be still."""
    way, crank = work.state.tdc_way, work.state.crank
    if way is None or way.step != "readings" or crank is None or crank.last_count is None:
        work.say("warning", "begin to find true TDC first")
        return
    if crank.moved_count > work.state.limits.still_count:
        work.say("warning", "the crank moved just now; let it stand and say so again")
        return
    work.set(tdc_way=replace(way, counts=(*way.counts, crank.last_count)))
    work.log("tdc_reading", count=crank.last_count, method=way.act.method)
    finish_tdc_way(work)


def pin_removed(work: Work) -> None:
    """Gauge or pin is out of the way."""
    if work.state.tdc_way is not None and work.state.tdc_way.step == "clear":
        work.set(tdc_way=replace(work.state.tdc_way, cleared=True))
        finish_tdc_way(work)


def finish_tdc_way(work: Work) -> None:
    """Keep true TDC once the readings are there and the index pulse has been seen; begin anew where they cannot be right."""
    state = work.state
    way, crank, identity, engine = state.tdc_way, state.crank, state.session.identity, state.engine
    if way is None or way.step != "done" or crank is None or crank.index_count is None or identity is None or engine is None:
        return
    try:
        found = _found(way, engine, crank.counts_per_rev, crank.index_count, state.setup.running_sign)
    except (CheckRefused, ValueError) as refused:
        work.say("warning", str(refused))
        work.set(tdc_way=TdcWay(way.act))
        return
    tdc = found.tdc
    work.set(tdc=tdc, fitting_confirmed=True, tdc_way=None)
    counts = [float(count) for count in way.counts]
    kept = TdcKept(
        tdc.counts_after_index,
        tdc.reference_cylinder,
        tdc.u_deg,
        tdc.method,
        tdc.spread_deg,
        tdc.backlash_deg,
        crank.counts_per_rev,
        state.setup.running_sign,
        engine.name,
        found.mark,
        tuple(zip(counts[::2], counts[1::2], strict=True)) if len(counts) > 1 else ((counts[0], counts[0]),),
        float(crank.index_count),
        state.setup.fingerprint,
    )
    keep_check(work, check_of(kept, state.unix_s, state.who, identity.serial_number, passed=True))


def _found(way: TdcWay, engine: Engine, counts_per_rev: int, index_count: int, running_sign: Literal[1, -1]) -> MarkedTdc:
    act, counts = way.act, way.counts
    if act.method == "dial_gauge":
        drops = [
            EqualDrop(float(before), float(after), act.figure) for before, after in zip(counts[::2], counts[1::2], strict=True)
        ]
        return by_dial_gauge(
            drops,
            act.cylinder,
            counts_per_rev,
            float(index_count),
            engine.stroke_m,
            engine.rod_m,
            running_sign,
            engine.pin_offset_m,
            backlash_deg=act.backlash_deg,
        )
    by = by_timing_mark if act.method == "timing_mark" else by_locking_pin
    return by(
        float(counts[0]),
        act.cylinder,
        counts_per_rev,
        float(index_count),
        act.figure,
        running_sign,
        backlash_deg=act.backlash_deg,
    )
