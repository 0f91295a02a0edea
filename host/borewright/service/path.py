"""The path of the leak: what the tests and the findings of one job say of each cylinder's places, and what to do about it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from borewright.core.advice import Advice

if TYPE_CHECKING:
    from borewright.core.engine import Engine
    from borewright.core.shares import Share
    from borewright.service.judging import JudgedStage
    from borewright.store import Store
    from borewright.store.records import CaptureRecord, FindingRecord, JobRecord

__all__ = ["CylinderPath", "JobPath", "PlaceFinding", "path_of", "path_of_job"]


@dataclass(frozen=True, slots=True)
class PlaceFinding:
    """One place of a cylinder: what was heard there last (None: not looked at), its share (None: not measured), its meaning."""

    place: str
    strength: str | None
    share: Share | None
    implies: tuple[str, ...]
    imitated_by: tuple[str, ...]
    next_step: str
    look: str


@dataclass(frozen=True, slots=True)
class CylinderPath:
    """Where the air of one cylinder goes.

    decided, main: by measured shares. words: why it is decided or not. further_tests: what would decide, each a sentence. wet: what
    the wet test says, None without one. notes: of this cylinder, oldest first.
    """

    cylinder: int
    places: tuple[PlaceFinding, ...]
    unattributed: Share | None
    decided: bool
    main: str | None
    words: str
    further_tests: tuple[str, ...]
    wet: str | None
    notes: tuple[FindingRecord, ...]


@dataclass(frozen=True, slots=True)
class JobPath:
    """The paths by cylinder, every cylinder of the engine, and the list of what to do."""

    cylinders: dict[int, CylinderPath]
    advice: tuple[Advice, ...]


def path_of_job(store: Store, job: JobRecord) -> JobPath:
    """The paths of a job, judged by common practice where it says whether a cylinder seals. Raises StoreError, UseError."""
    from borewright.service.engines import engine_from_document  # noqa: PLC0415 -- heavy
    from borewright.service.judging import judge_stage  # noqa: PLC0415 -- heavy
    from borewright.service.limit_files import find_limits  # noqa: PLC0415 -- heavy

    document = store.get_engine(job.engine_id).document
    engine = engine_from_document(document, f"the engine of job {job.name}")
    captures = store.list_captures(job.id)
    judged = judge_stage(captures, document, find_limits(None, document))
    return path_of(engine, captures, store.list_findings(job.id), judged)


def path_of(
    engine: Engine, captures: Sequence[CaptureRecord], findings: Sequence[FindingRecord], judged: JudgedStage | None = None
) -> JobPath:
    """The paths from what the record holds of one job at one stage; pure. judged: None where nothing was judged."""
    raise NotImplementedError
