"""A check of the rig as JSON has it; its words are those of service.check_words."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from borewright.core.rig import RigCheck

__all__ = ["check_as_dict"]


def check_as_dict(check: RigCheck) -> dict[str, Any]:
    """A check as JSON has it."""
    return {
        "check": check.kind,
        "passed": check.passed,
        "made_at_unix_s": check.made_at_unix_s,
        "made_by": check.made_by,
        "rig": check.device_serial,
        "result": check.result,
    }
