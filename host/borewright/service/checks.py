"""Checks of the rig, whichever way they were made: into the state for what follows, and into the record."""

from __future__ import annotations

from borewright.core.rig import RigCheck
from borewright.service.effects import SaveCheck
from borewright.service.work import Work

__all__ = ["keep_check"]


def keep_check(work: Work, check: RigCheck) -> None:
    """Keep a check, passed or not."""
    work.set(checks={**work.state.checks, check.kind: check})
    work.do(SaveCheck(check))
