"""Whether two jobs are of the same engine: its file may have been edited in between, but not what the leak goes through."""

from __future__ import annotations

from typing import TYPE_CHECKING

from borewright.errors import UseError
from borewright.service.engines import engine_from_document

if TYPE_CHECKING:
    from borewright.core.engine import Engine
    from borewright.store import Store
    from borewright.store.records import JobRecord

__all__ = ["cylinders_of", "what_differs"]

_NEAR = 1e-6


def what_differs(store: Store, one: JobRecord, other: JobRecord) -> str | None:
    """What shows that the jobs are of different engines, in words; None where they are of the same one."""
    if one.engine_id == other.engine_id:
        return None
    if one.engine_name != other.engine_name:
        return f"{one.engine_name} and {other.engine_name}"
    documents = [store.get_engine(job.engine_id).document for job in (one, other)]
    try:
        engines = [engine_from_document(document, "the record") for document in documents]
    except UseError:  # of an older engine file: then only the same text is the same engine
        return (
            None if documents[0] == documents[1] else "the engine's file was changed in between, and one of the two cannot be read"
        )
    apart = _apart(engines[0], engines[1])
    return None if not apart else f"{one.engine_name} has another {', another '.join(apart)}"


def cylinders_of(store: Store, job: JobRecord) -> tuple[int, ...]:
    """The cylinders of a job's engine; none where its file is of an older kind that cannot be read."""
    try:
        return engine_from_document(store.get_engine(job.engine_id).document, "the record").cylinders
    except UseError:
        return ()


def _apart(one: Engine, other: Engine) -> list[str]:
    exact = (
        ("cycle", one.cycle, other.cycle),
        ("number of cylinders", one.cylinders, other.cylinders),
        ("assembly", one.assembly, other.assembly),
    )
    sizes = (
        ("bore", one.bore_m, other.bore_m),
        ("stroke", one.stroke_m, other.stroke_m),
        ("rod length", one.rod_m, other.rod_m),
        ("pin offset", one.pin_offset_m, other.pin_offset_m),
        ("clearance volume", one.clearance_m3, other.clearance_m3),
    )
    found = [name for name, a, b in exact if a != b]
    return found + [name for name, a, b in sizes if abs(a - b) > _NEAR * max(abs(a), abs(b))]
