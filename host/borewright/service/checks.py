"""Checks of the rig, whichever way they were made: into the state for what follows, and into the record."""

from __future__ import annotations

from borewright.core.rig import RigCheck
from borewright.service.effects import SaveCheck
from borewright.service.work import Work

__all__ = ["RESTS_ON_SPAN", "keep_check", "still_holding"]

RESTS_ON_SPAN = ("zero", "sealed", "restrictor", "acceptance")


def still_holding(checks: dict[str, RigCheck]) -> dict[str, RigCheck]:
    """The checks without those that were read before the newest calibration of the transducers."""
    span = checks.get("span")
    if span is None:
        return checks
    return {kind: check for kind, check in checks.items() if kind not in RESTS_ON_SPAN or _was_read_with(span, check)}


def _was_read_with(span: RigCheck, check: RigCheck) -> bool:
    """Whether a check was read by this calibration: as it says itself, else by the dates."""
    if "span_made_at_unix_s" in check.result:
        return bool(check.result["span_made_at_unix_s"] == span.made_at_unix_s)
    return check.made_at_unix_s >= span.made_at_unix_s


def keep_check(work: Work, check: RigCheck) -> None:
    """Keep a check, passed or not. From now on the transducers read by it; what rested on an earlier calibration is dropped."""
    checks = {**work.state.checks, check.kind: check}
    if check.kind == "span":
        checks = {kind: kept for kind, kept in checks.items() if kind not in RESTS_ON_SPAN}
        work.set(proven_gauge_pa=None)
    work.set(checks=checks)
    if check.kind in ("span", "sealed") and work.state.transducers is not None:
        work.set(transducers=work.state.transducers.calibrated(checks))
    work.do(SaveCheck(check))
