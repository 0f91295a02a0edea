"""A report from the record: everything that its pages show, of one job or of two of the same engine."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from borewright.errors import UseError
from borewright.report.model import Report
from borewright.service.comparing import compare_jobs
from borewright.service.counting_tests import unused_words
from borewright.service.engines import engine_from_document
from borewright.service.limit_files import find_limits
from borewright.service.path import path_of_job
from borewright.service.report_checks import checks_of, rig_lines
from borewright.service.report_curves import charts_of
from borewright.service.report_facts import CAUTION, SCOPE, engine_facts, fingerprint, identity_facts, job_facts
from borewright.service.report_numbers import Shown, listed
from borewright.service.report_places import STEPS_NOTE, photos_of, places_of, steps_of
from borewright.service.report_results import (
    NOT_COMPARED,
    StageTests,
    changes_of,
    leakage_of,
    marks_of,
    results_of,
    stage_tests,
    voids_of,
)
from borewright.service.same_engine import what_differs
from borewright.service.shop import NO_SHOP, Shop

if TYPE_CHECKING:
    from datetime import tzinfo

    from borewright.core.limit_sets import LimitSet
    from borewright.service.comparing import JobComparison
    from borewright.service.path import JobPath
    from borewright.store import Store
    from borewright.store.records import JobRecord
    from borewright.units import Dimension

__all__ = ["report_of"]

TITLE = "Leak-down test report"


def report_of(
    store: Store,
    job: JobRecord,
    other: JobRecord | None = None,
    *,
    limits: str | None = None,
    units: Mapping[Dimension, str] | None = None,
    shop: Shop = NO_SHOP,
    zone: tzinfo | None = None,
) -> Report:
    """The report of a job, or of a job (before) and another (after) of the same engine.

    limits: a set by its name or file, None for the usual one. units: what was chosen by kind of quantity. zone: for dates, None for
    that of this computer. Raises UseError for limits that are none and for jobs of different engines, StoreError for a record that
    cannot be read.
    """
    shown = Shown(units or {}, zone)
    record = store.get_engine(job.engine_id)
    engine = engine_from_document(record.document, f"the engine of job {job.name}")
    limit_set = find_limits(limits, record.document)
    jobs = [job] if other is None else [job, other]
    stages = [
        stage_tests(one, label, store.list_captures(one.id), store.get_engine(one.engine_id).document, limit_set)
        for one, label in zip(jobs, _labels(jobs), strict=True)
    ]
    comparison, why_none = (None, "") if other is None else _compared(store, job, other, stages)
    paths = [(stage, path_of_job(store, stage.job)) for stage in stages]
    notes = [(stage, store.list_findings(stage.job.id)) for stage in stages]
    findings = [finding for _, of_job in notes for finding in of_job]
    photos = [photo for stage in stages for photo in store.list_photos(stage.job.id)]
    marks = marks_of(stages)
    checks = checks_of(store, stages)
    made_unix_s = max(
        [one.created_at_unix_s for one in jobs]
        + [one.ended_at_unix_s or one.started_at_unix_s for stage in stages for one in stage.captures]
        + [finding.at_unix_s for finding in findings]
    )
    sha256 = fingerprint(record.document, stages, findings, photos, [served.check for served in checks])
    return Report(
        title=TITLE,
        job=" / ".join(dict.fromkeys(one.name for one in jobs)),
        engine=record.name,
        subtitle=_subtitle(stages, shown),
        shop=shop.name,
        shop_contact=shop.contact,
        logo=shop.logo,
        facts=(engine_facts(engine, record.document, shown), *job_facts(stages, shown)),
        summary=_summary(stages, comparison, why_none, paths),
        scope=SCOPE,
        results=results_of(stages, engine.cylinders, marks, shown),
        changes=() if comparison is None else changes_of(comparison, shown),
        units=(shown.unit("area", "mm²"), shown.unit("volume", "cm³")),
        table_notes=_table_notes(stages, comparison, limit_set),
        charts=charts_of(store, stages, engine.cylinders, shown),
        pressure_unit=shown.unit("pressure_gauge", "psi"),
        places=places_of(paths, notes, shown),
        steps=steps_of(paths),
        steps_note=STEPS_NOTE,
        photos=photos_of(store, notes),
        rig=rig_lines(checks, stages, shown),
        voids=voids_of(stages, shown),
        shared_marks=marks.shared,
        marks=marks.lettered,
        identity=identity_facts(stages, sha256, made_unix_s, shown),
        signatures=("tested by", "date", "signature"),
        caution=CAUTION,
        made_unix_s=made_unix_s,
    )


def _labels(jobs: Sequence[JobRecord]) -> list[str]:
    """What the stages are called: by their own names, where those tell them apart."""
    stages = [job.stage for job in jobs]
    return list(stages) if len(set(stages)) == len(stages) else ["earlier", "later"]


def _compared(store: Store, before: JobRecord, after: JobRecord, stages: Sequence[StageTests]) -> tuple[JobComparison | None, str]:
    """The comparison, or why there is none: a job that is not finished is shown all the same, another engine is refused."""
    for stage in stages:
        if not any(stage.standing(cylinder) for cylinder in stage.cylinders):
            return None, f"There is no test {stage.label} that counts yet, so nothing is compared."
    try:
        return compare_jobs(store, before, after), ""
    except UseError as error:
        if what_differs(store, before, after) is not None:
            raise
        return None, f"Nothing is compared: {error}."


def _subtitle(stages: Sequence[StageTests], shown: Shown) -> str:
    said = []
    for stage in stages:
        days = [shown.date(one.started_at_unix_s) for one in stage.captures if one.cylinder and one.state == "complete"]
        said.append(f"{stage.label} {days[0] if days else '(no test that counts)'}")
    return f"Job {' / '.join(dict.fromkeys(stage.job.name for stage in stages))}: {', '.join(said)}"


def _summary(
    stages: Sequence[StageTests],
    comparison: JobComparison | None,
    why_none: str,
    paths: Sequence[tuple[StageTests, JobPath]],
) -> tuple[str, ...]:
    """What came out, in some sentences."""
    said: list[str] = []
    if comparison is not None:
        said.append(_verdicts(comparison))
    if why_none:
        said.append(why_none)
    ranges = [words for stage in stages if (words := _range_words(stage, several=len(stages) > 1))]
    if ranges:
        said.append(f"Leakage {'; '.join(ranges)}.")
    elif not why_none:
        said.append("No test counts yet: this report shows no numbers.")
    for stage, path in paths:
        for cylinder, one in path.cylinders.items():
            share = next((place.share for place in one.places if one.decided and place.place == one.main), None)
            if share is not None:
                at = f"{stage.label[0].upper()}{stage.label[1:]}, most" if len(paths) > 1 else "Most"
                place = share.place.replace("_", " ")
                said.append(
                    f"{at} of the air of cylinder {cylinder} leaves at the {place}: {share.percent:.0f} % of its leak "
                    f"({share.low_percent:.0f} to {share.high_percent:.0f} %)."
                )
    return tuple(said)


def _verdicts(comparison: JobComparison) -> str:
    """Which cylinders are better, worse, and so on."""
    by_verdict: dict[str, list[str]] = {}
    for one in comparison.cylinders:
        leading = one.area or one.leakage
        by_verdict.setdefault(NOT_COMPARED if leading is None else leading.verdict, []).append(str(one.cylinder))
    order = ("better", "worse", "no shown difference", NOT_COMPARED)
    said = [
        f"{verdict}: cylinder{'s' if len(by_verdict[verdict]) > 1 else ''} {listed(by_verdict[verdict])}"
        for verdict in order
        if verdict in by_verdict
    ]
    words = "; ".join(said)
    return f"{words[:1].upper()}{words[1:]}."


def _range_words(stage: StageTests, *, several: bool) -> str:
    """From which cylinder to which the leakage reaches; empty where no test counts."""
    values = {cylinder: leakage_of(stage, cylinder)[0].value for cylinder in stage.cylinders if stage.standing(cylinder)}
    ranked = sorted((cylinder for cylinder in values if values[cylinder]), key=lambda one: float(values[one].replace("−", "-")))
    if not ranked:
        return ""
    at = f"{stage.label}: " if several else ""
    low, high = ranked[0], ranked[-1]
    if low == high:
        return f"{at}{values[low]} % (cylinder {low})"
    return f"{at}{values[low]} % (cylinder {low}) to {values[high]} % (cylinder {high})"


def _table_notes(stages: Sequence[StageTests], comparison: JobComparison | None, limits: LimitSet) -> tuple[str, ...]:
    """How to read the table."""
    notes = [
        "U: expanded uncertainty (k about 2, 95 of 100 such intervals hold the value). Pair: regulated and cylinder pressure; "
        "leakage: their difference in percent of the regulated one. Leak area: of the ideal nozzle that leaks as much. Trapped: "
        "the closed volume with hose and adapter. ×2: mean of two tests. Letters: see Marks."
    ]
    bands = "; ".join(
        f"“{band.name}” up to {band.up_to_percent:g} %" if band.up_to_percent < 100.0 else f"“{band.name}” beyond"
        for band in limits.bands
    )
    notes.append(" ".join(filter(None, (f"Bands: {limits.name} ({limits.source}): {bands}.", limits.caution))))
    apart = [f"{stage.label}: {stage.judged.spread.words}" for stage in stages if stage.judged.spread is not None]
    if apart:
        notes.append(f"Between cylinders, {'; '.join(apart)}.")
    if comparison is not None:
        told = ("Better:", "Worse:", "No shown difference:", "Not compared:")  # these stand in the table
        why = [words.rstrip(".") for words in comparison.words.split(". ") if not words.startswith(told)]
        notes += [f"Change: {'. '.join(why)}."] if why else []
        untested = {
            one.cylinder for one in comparison.cylinders if not (one.tests_before and one.tests_after)
        }  # the table shows it
        refused = [f"{one.refused}" for one in comparison.cylinders if one.refused and one.cylinder not in untested]
        notes += [f"Not compared: {'; '.join(refused)}."] if refused else []
        converted = [f"cylinder {one.cylinder}: {words}" for one in comparison.cylinders for words in one.converted]
        if converted:
            notes.append(f"Converted to be compared: {'; '.join(converted)}.")
    notes += [
        f"Cylinder {repeated.cylinder}, {stage.label}: {words}."
        for stage in stages
        for repeated in stage.repeats.values()
        if repeated.leakage is not None and (words := repeated.leakage.words())
    ]
    notes += [
        f"Cylinder {cylinder}, {stage.label}: {words}."
        for stage in stages
        for cylinder, words in unused_words(stage.captures).items()
    ]
    return tuple(notes)
