"""The path of the leak: what the tests and the findings of one job say of each cylinder's places, and what to do about it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from borewright.core.advice import Advice, CylinderEvidence, advice_of
from borewright.core.heard import OTHER_CYLINDERS
from borewright.core.place_meaning import meaning
from borewright.core.place_open import open_now
from borewright.core.sanity import NEARLY_NOTHING_PERCENT
from borewright.core.shares import leak_shares
from borewright.service.engines import engine_from_document
from borewright.service.judging import judge_stage
from borewright.service.limit_files import find_limits
from borewright.service.other_cylinders import odd_volumes
from borewright.service.path_further import further_tests
from borewright.service.path_heard import HeardAt, heard_at
from borewright.service.path_leakage import Leakage, leakage_of, wet_of
from borewright.service.path_readings import PathReadings, readings_of

if TYPE_CHECKING:
    from borewright.core.engine import Engine
    from borewright.core.shares import Share, Shares
    from borewright.service.judging import JudgedStage
    from borewright.store import Store
    from borewright.store.records import CaptureRecord, FindingRecord, JobRecord

__all__ = ["CylinderPath", "JobPath", "PlaceFinding", "path_of", "path_of_job"]


@dataclass(frozen=True, slots=True)
class PlaceFinding:
    """One place of a cylinder: what was heard there last (None: not looked at), its share (None: not measured), its meaning.

    neighbours: at which other cylinders it was heard, where that was said. findings: the numbers of those that count here.
    """

    place: str
    strength: str | None
    share: Share | None
    implies: tuple[str, ...]
    imitated_by: tuple[str, ...]
    next_step: str
    look: str
    neighbours: tuple[int, ...] = ()
    findings: tuple[int, ...] = ()


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
    """The paths by cylinder, every cylinder of the engine, the list of what to do, and the notes on the whole engine."""

    cylinders: dict[int, CylinderPath]
    advice: tuple[Advice, ...]
    notes: tuple[FindingRecord, ...] = ()


def path_of_job(store: Store, job: JobRecord) -> JobPath:
    """The paths of a job, judged by common practice where it says whether a cylinder seals. Raises StoreError, UseError."""
    document = store.get_engine(job.engine_id).document
    engine = engine_from_document(document, f"the engine of job {job.name}")
    captures = store.list_captures(job.id)
    judged = judge_stage(captures, document, find_limits(None, document))
    return path_of(engine, captures, store.list_findings(job.id), judged)


def path_of(
    engine: Engine, captures: Sequence[CaptureRecord], findings: Sequence[FindingRecord], judged: JudgedStage | None = None
) -> JobPath:
    """The paths from what the record holds of one job at one stage; pure. judged: None where nothing was judged.

    A finding or a capture of a cylinder or a place that the engine does not have is passed over; deleted ones too. Raises
    StoreError for a budget that cannot be read.
    """
    said = sorted((one for one in findings if one.deleted_at_unix_s is None), key=lambda one: (one.at_unix_s, one.id))
    captures = [one for one in captures if one.deleted_at_unix_s is None]
    odd = odd_volumes(captures)
    known = {
        cylinder: _known(
            engine,
            cylinder,
            [one for one in captures if one.cylinder == cylinder],
            [one for one in said if one.cylinder == cylinder],
            judged,
            tuple(words for words in odd if words.startswith(f"cylinder {cylinder}:")),
        )
        for cylinder in engine.cylinders
    }
    spread = judged.spread.words if judged is not None and judged.spread is not None else ""
    return JobPath(
        {cylinder: one.path for cylinder, one in known.items()},
        advice_of(engine, [one.evidence for one in known.values()], spread),
        tuple(one for one in said if one.cylinder == 0 and one.kind == "note"),
    )


@dataclass(frozen=True, slots=True)
class _Known:
    """A cylinder's path, and the same as the advice rests on it."""

    path: CylinderPath
    evidence: CylinderEvidence


def _known(
    engine: Engine,
    cylinder: int,
    captures: Sequence[CaptureRecord],
    findings: Sequence[FindingRecord],
    judged: JudgedStage | None,
    odd: tuple[str, ...],
) -> _Known:
    places = engine.places
    findings = [one for one in findings if one.place is None or one.place in places]
    heard = heard_at(engine, cylinder, findings)
    leakage = leakage_of(captures, judged)
    together = readings_of(captures, findings, open_now(engine, cylinder))
    little = leakage.percent is not None and leakage.percent - (leakage.expanded_percent or 0.0) <= NEARLY_NOTHING_PERCENT
    shares = leak_shares(places, together.readings, together.flows) if together.tells_places and not little else None
    further = () if little else further_tests(engine, cylinder, heard.strengths, leakage, together, shares)
    wet = wet_of(captures)
    words = _words(places, heard, leakage, together, shares, little)
    by_place = {} if shares is None else {share.place: share for share in shares.shares}
    path = CylinderPath(
        cylinder=cylinder,
        places=tuple(_place(engine, cylinder, place, heard, by_place.get(place), findings) for place in places),
        unattributed=None if shares is None else shares.unattributed,
        decided=shares is not None and shares.decided,
        main=shares.main if shares is not None and shares.decided else None,
        words=words,
        further_tests=further,
        wet=None if wet is None else wet.words,
        notes=tuple(one for one in findings if one.kind == "note"),
    )
    evidence = CylinderEvidence(
        cylinder=cylinder,
        leakage_percent=leakage.percent,
        expanded_percent=leakage.expanded_percent,
        tests=leakage.tests,
        seals=leakage.seals,
        judged=leakage.judged,
        heard=heard.strengths,
        neighbours=heard.neighbours,
        leak_area_m2=together.whole_area_m2,
        shares=shares,
        wet=wet,
        questions=leakage.questions,
        contradictions=(*leakage.contradictions, *odd),
        further_tests=further,
    )
    return _Known(path, evidence)


def _place(
    engine: Engine, cylinder: int, place: str, heard: HeardAt, share: Share | None, findings: Sequence[FindingRecord]
) -> PlaceFinding:
    means = meaning(engine, cylinder, place)
    measured = (one.id for one in findings if one.place == place and one.kind in ("flow", "stop_gauge"))
    return PlaceFinding(
        place=place,
        strength=heard.strengths.get(place),
        share=share,
        implies=means.implies,
        imitated_by=means.imitated_by,
        next_step=means.next_step,
        look=means.look,
        neighbours=tuple(sorted(at for at, how in heard.neighbours.items() if place in OTHER_CYLINDERS and how != "none")),
        findings=(*heard.numbers.get(place, ()), *measured),
    )


def _words(
    places: tuple[str, ...],
    heard: HeardAt,
    leakage: Leakage,
    together: PathReadings,
    shares: Shares | None,
    little: bool,
) -> str:
    left_out = f" Left out: {'; '.join(together.left_out)}." if together.left_out else ""
    listened = heard.words(places) or "nobody has looked at its places yet"
    if leakage.percent is None and not together.readings:
        return f"No test of this cylinder yet; {listened}." + left_out
    if little:
        return "Next to nothing leaks, so there is nothing to share out." + left_out
    if shares is not None:
        p_pa = together.p_regulated_gauge_pa
        return ("" if p_pa is None else f"Read at {p_pa / 1000.0:.0f} kPa. ") + shares.words + left_out
    said = "no place was stopped and no flow measured, so it is not known how the leak is shared"
    return f"{listened[0].upper()}{listened[1:]}; {said}." + left_out
