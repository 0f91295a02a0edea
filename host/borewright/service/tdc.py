"""True TDC by piston stop, as the bench goes through it."""

from __future__ import annotations

from typing import Any, Literal

from borewright.core.motion import CrankTracker
from borewright.core.pistonstop import WARNINGS, PistonStop
from borewright.core.rig import RigCheck, TrueTdc
from borewright.service.checks import keep_check
from borewright.service.squeeze import break_off_squeeze
from borewright.service.work import Work

__all__ = ["begin_tdc", "finish_tdc", "stop_removed", "take_contact", "tdc_of_check"]


def begin_tdc(work: Work, cylinder: int, backlash_deg: float = 0.0) -> None:
    """Begin the procedure in this cylinder; what was known of true TDC is dropped."""
    crank, engine = work.state.crank, work.state.engine
    if crank is None or engine is None or cylinder not in engine.firing_order or work.state.pressurised:
        work.say("warning", "true TDC needs a vented rig and one of this engine's cylinders")
        return
    break_off_squeeze(work)  # it was begun at the TDC that is dropped here
    stop = PistonStop(cylinder, crank.counts_per_rev, work.state.setup.running_sign, backlash_deg, work.state.limits, engine)
    work.set(stop=stop, tdc_way=None)
    work.set(tdc=None, fitting_confirmed=False, peak_late_deg=None, stroke=None, hose_evidence=None, confirmed=None)
    for warning in WARNINGS:
        work.say("note", warning)


def take_contact(work: Work, side: Literal["before", "after"]) -> None:
    """Take the count at which the piston rests against the stop; the crank has to be still."""
    stop, crank = work.state.stop, work.state.crank
    if stop is None or crank is None or crank.last_count is None:
        work.say("warning", "begin the piston-stop procedure first")
        return
    if crank.moved_count > work.state.limits.still_count:
        work.say("warning", "the crank moved just now; hold it against the stop by hand and say so again")
        return
    taken = stop.take(crank.last_count, side)
    work.set(stop=taken)
    work.log("stop_contact", count=crank.last_count, side=side, refused=taken.refused)
    if taken.refused:
        work.say("warning", taken.refused)


def stop_removed(work: Work) -> None:
    """The stop is out; with the index pulse seen, true TDC is known."""
    stop = work.state.stop
    if stop is None:
        return
    work.set(stop=stop.stop_out())
    finish_tdc(work)


def finish_tdc(work: Work) -> None:
    """Keep true TDC once the pairs agree, the stop is out and the index pulse has been seen."""
    stop, crank, identity = work.state.stop, work.state.crank, work.state.session.identity
    if stop is None or stop.step != "done" or crank is None or crank.index_count is None or identity is None:
        return
    tdc = stop.result(crank.index_count)
    if isinstance(tdc, str):
        work.say("warning", tdc)
        return
    work.set(tdc=tdc, fitting_confirmed=True, stop=None)
    result: dict[str, Any] = {
        "counts_after_index": tdc.counts_after_index,
        "reference_cylinder": tdc.reference_cylinder,
        "u_deg": tdc.u_deg,
        "method": tdc.method,
        "spread_deg": tdc.spread_deg,
        "backlash_deg": tdc.backlash_deg,
        "middle_late_deg": sum(stop.middles_late_deg) / len(stop.middles_late_deg),
        "counts_per_rev": crank.counts_per_rev,
        "running_sign": work.state.setup.running_sign,
        "engine": work.state.engine.name if work.state.engine else "",
        "readings": [[float(before), float(after)] for before, after in stop.pairs],
        "index_count": float(crank.index_count),
    }
    keep_check(work, RigCheck("tdc", work.state.unix_s, work.state.who, identity.serial_number, True, result))


def tdc_of_check(check: RigCheck, crank: CrankTracker, engine_name: str) -> TrueTdc | None:
    """The true TDC that a stored check holds, None when it belongs to another encoder, mounting or engine."""
    result = check.result
    belongs_to = (result.get("counts_per_rev"), result.get("running_sign"), result.get("engine"))
    if not check.passed or belongs_to != (crank.counts_per_rev, crank.running_sign, engine_name):
        return None
    method = result["method"]
    if method not in ("piston_stop", "dial_gauge", "timing_mark", "locking_pin"):
        return None
    return TrueTdc(
        float(result["counts_after_index"]),
        int(result["reference_cylinder"]),
        float(result["u_deg"]),
        method,
        float(result["spread_deg"]),
        float(result["backlash_deg"]),
    )
