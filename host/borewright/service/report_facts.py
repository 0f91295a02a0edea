"""What a report says around its numbers: engine, job, condition on the day, cautions, and which record it was made from."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from borewright import __version__
from borewright.core.job_details import JobDetails
from borewright.report.model import Block, Fact, Facts
from borewright.service.report_numbers import Shown, counted, signed

if TYPE_CHECKING:
    from borewright.core.engine import Engine
    from borewright.core.rig import RigCheck
    from borewright.service.report_results import StageTests
    from borewright.store.records import FindingRecord, PhotoRecord

__all__ = ["CAUTION", "SCOPE", "engine_facts", "fingerprint", "identity_facts", "job_facts"]

SCOPE = Block(
    "Scope and cautions",
    (
        "This report is an aid to judgement. It is no approval of airworthiness, roadworthiness or safety and replaces no "
        "inspection; work on aircraft is for licensed people. The engine maker's manual and limits, local rules and licensed "
        "practice come first.",
        "It tells how each cylinder sealed at one piston position, at the pressure and temperature of the test. It says nothing of "
        "bearings, of parts that were not under pressure, or of how the engine runs and lasts.",
        "Compressed air can swing the crank, propeller or fan without warning. Whoever repeats these tests restrains the crank, "
        "isolates ignition, fuel and starter, and keeps clear.",
    ),
)
CAUTION = "An aid to judgement, no approval of airworthiness or safety; the engine maker's manual comes first."
_ASSEMBLIES = {"short_block": "short block, without its head", "bare_head": "bare head, without its block"}


def engine_facts(engine: Engine, document: Mapping[str, Any], shown: Shown) -> Facts:
    """What the engine is."""
    size = [shown.of(one, "length", "mm") for one in (engine.bore_m, engine.stroke_m)]
    unit = shown.unit("length", "mm")
    decimals = 3 if unit == "in" else 1
    facts = [
        Fact("kind", f"{engine.cycle}, {counted(len(engine.cylinders), 'cylinder', 'cylinders')}, {engine.cooling}-cooled"),
        Fact("assembly", _ASSEMBLIES.get(engine.assembly, "")),
        Fact("bore × stroke", f"{signed(size[0], decimals)} × {signed(size[1], decimals)} {unit}"),
        Fact("compression", f"{document['compression_ratio']:g} : 1" if "compression_ratio" in document else ""),
        Fact("firing order", "-".join(map(str, engine.firing_order)) if len(engine.firing_order) > 1 else ""),
        Fact("numbering", engine.numbering),
        Fact("decompression", f"{engine.decompression} device" if engine.decompression != "none" else ""),
    ]
    return Facts("Engine", tuple(fact for fact in facts if fact.words))


def job_facts(stages: Sequence[StageTests], shown: Shown) -> tuple[Facts, Facts]:
    """Whose job it is, and in what condition the engine was at each stage."""
    jobs = [stage.job for stage in stages]
    names = list(dict.fromkeys(job.name for job in jobs))
    people = dict.fromkeys(job.technician for job in jobs if job.technician)
    customers = dict.fromkeys(job.customer_reference for job in jobs if job.customer_reference)
    facts = [
        Fact("job", " / ".join(names)),
        Fact("customer", " / ".join(customers)),
        Fact("technician", " / ".join(people)),
        *(Fact(_stage_label(stage), _when(stage, shown)) for stage in stages),
    ]
    conditions = [fact for stage in stages for fact in _condition(stage, len(stages) > 1, shown)]
    return Facts("Job", tuple(fact for fact in facts if fact.words)), Facts("Condition", tuple(conditions))


def _stage_label(stage: StageTests) -> str:
    return stage.label if stage.label == stage.job.stage else f"{stage.label} ({stage.job.stage})"


def _when(stage: StageTests, shown: Shown) -> str:
    tests = [one for one in stage.captures if one.cylinder]
    days = list(dict.fromkeys(shown.date(one.started_at_unix_s) for one in tests)) or [shown.date(stage.job.created_at_unix_s)]
    span = days[0] if len(days) == 1 else f"{days[0]} to {days[-1]}"
    return f"{span}, {counted(len(tests), 'test', 'tests') if tests else 'no test'}"


def _condition(stage: StageTests, several: bool, shown: Shown) -> Iterable[Fact]:
    try:
        details = JobDetails.from_dict(stage.job.details)
    except ValueError:  # of another program version; the tests speak for themselves
        details = JobDetails()
    engine_k, oil_k = details.engine_temperature_k, details.oil_temperature_k
    said = [words for words in (details.hours, details.distance) if words]
    if engine_k is not None:
        said.append(f"engine {shown.text(engine_k, 'temperature', '°C')}")
    elif (tested := _tested_at(stage, shown)) is not None:
        said.append(f"engine {tested}")
    if oil_k is not None:
        said.append(f"oil {shown.text(oil_k, 'temperature', '°C')}")
    if details.hot:
        said.append("hot test wanted")
    yield Fact(stage.label if several else "engine", ", ".join(said) or "not entered")
    if details.compression_gauge_pa:
        unit = shown.unit("pressure_gauge", "psi")
        read = ", ".join(
            f"{cylinder}: {signed(shown.of(pa, 'pressure_gauge', 'psi'), 1 if unit == 'bar' else 0)}"
            for cylinder, pa in sorted(details.compression_gauge_pa.items())
        )
        yield Fact("context", f"earlier compression {read} {unit}")


def _tested_at(stage: StageTests, shown: Shown) -> str | None:
    """The engine's temperature that the tests were computed with, None where it was assumed."""
    found = [
        float(one.laws["t_engine_k"])
        for one in stage.captures
        if one.cylinder
        and one.state == "complete"
        and isinstance(one.laws.get("t_engine_k"), int | float)
        and not any(mark.startswith("assumed:") and "engine temperature" in mark for mark in one.marks)
    ]
    if not found:
        return None
    low, high = shown.text(min(found), "temperature", "°C"), shown.text(max(found), "temperature", "°C")
    return low if low == high else f"{low} to {high}"


def fingerprint(
    document: Mapping[str, Any],
    stages: Sequence[StageTests],
    findings: Sequence[FindingRecord],
    photos: Sequence[PhotoRecord],
    checks: Sequence[RigCheck],
) -> str:
    """SHA-256 of what the record holds of all that is shown, as JSON with sorted keys; numbers of rows do not count.

    Another report from the same record has the same; a record in which anything of it was changed has another.
    """
    shown = {
        "engine": dict(document),
        "jobs": [_without_rows(asdict(stage.job)) for stage in stages],
        "tests": [_without_rows(asdict(one)) for stage in stages for one in stage.captures],
        "findings": [_without_rows(asdict(finding)) for finding in findings],
        "photos": [photo.sha256 for photo in photos],
        "checks": [asdict(check) for check in checks],
    }
    return hashlib.sha256(json.dumps(shown, sort_keys=True, ensure_ascii=False, default=list).encode()).hexdigest()


def _without_rows(values: dict[str, Any]) -> dict[str, Any]:
    rows = ("id", "job_id", "engine_id", "capture_id", "archived_at_unix_s")
    return {key: value for key, value in values.items() if key not in rows}


def identity_facts(stages: Sequence[StageTests], sha256: str, made_unix_s: float, shown: Shown) -> tuple[Fact, ...]:
    """Which record, which tests, which programs and rigs."""
    captures = [one for stage in stages for one in stage.captures]
    programs = [f"{name} {version}" for one in captures for name, version in one.versions.items()]
    rigs = dict.fromkeys(one.device_serial for one in captures if one.device_serial)
    facts = [
        Fact("job", ", ".join(f"{stage.label} {stage.job.uid}" for stage in stages)),
        *(Fact(f"tests, {stage.label}", _tests_words(stage)) for stage in stages),
        Fact("rig", ", ".join(rigs)),
        Fact("programs", f"tests by {', '.join(dict.fromkeys(programs)) or 'none'}; this report by borewright {__version__}"),
        Fact("data shown", f"SHA-256 {sha256}"),
        Fact("newest entry", f"{shown.moment(made_unix_s)}; all times {shown.zone_words(made_unix_s)}"),
    ]
    return tuple(fact for fact in facts if fact.words)


def _tests_words(stage: StageTests) -> str:
    """The numbers of the tests that count, by cylinder."""
    said = []
    for cylinder in stage.cylinders:
        tests = stage.standing(cylinder)
        if tests:
            said.append(f"cylinder {cylinder}: {', '.join(str(test.id) for test in tests)}")
    return "; ".join(said) or "none that counts"
