"""A finding in a few words, as a person recognises it again."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from borewright.store.records import FindingRecord

__all__ = ["finding_words"]

LONGEST = 60


def finding_words(finding: FindingRecord) -> str:
    """Where and what, without anything that a terminal would obey.

    >>> from borewright.store.records import FindingRecord
    >>> finding_words(FindingRecord(12, "", 1, 2, "heard", "neighbours", {"strength": "strong", "neighbour": 3}, "Ada", 0.0, None))
    'cylinder 2, neighbours strong at cylinder 3'
    """
    where = f"cylinder {finding.cylinder}" if finding.cylinder else "the whole engine"
    detail, place = finding.detail, (finding.place or "").replace("_", " ")
    match finding.kind:
        case "heard":
            at = "" if detail.get("neighbour") is None else f" at cylinder {detail['neighbour']}"
            said = f"{place} {detail.get('strength')}{at}"
        case "flow":
            said = f"the flow measured at {place}"
        case "stop_gauge":
            said = f"the gauge on {place} while it was stopped"
        case "note":
            text = str(detail.get("text", ""))
            said = f"“{text[:LONGEST]}{'…' if len(text) > LONGEST else ''}”"
    return "".join(letter if letter.isprintable() else "?" for letter in f"{where}, {said}")
