"""What the demo says at its end: as words, and as one JSON object."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from borewright.simrig.demo import StageReport
    from borewright.store import Store

__all__ = ["demo_as_dict", "demo_lines"]


def demo_as_dict(reports: Sequence[StageReport], scenarios: Sequence[Any], database: Path, files: Sequence[Path]) -> dict[str, Any]:
    """The demo as one JSON object."""
    return {
        "jobs": [report.as_dict(scenario.truth) for report, scenario in zip(reports, scenarios, strict=True)],
        "refusals": [
            {"cylinder": refusal.cylinder, "reasons": list(refusal.reasons)} for report in reports for refusal in report.refusals
        ],
        "database": str(database),
        "files": [str(path) for path in files],
    }


def demo_lines(
    store: Store, reports: Sequence[StageReport], scenarios: Sequence[Any], database: Path, files: Sequence[Path]
) -> list[str]:
    """The demo in words: each stage's tests, where the air goes, what was refused, before against after, the files."""
    lines = [
        "Simulated rig, invented engine. Leakage at compression TDC; the truth is what this rig would read without sensor error."
    ]
    for report, scenario in zip(reports, scenarios, strict=True):
        lines.append(f"\n{report.engine}, {report.stage} the rebuild" if report.stage != "routine" else f"\n{report.engine}")
        lines.append("  cylinder   reads    leakage    truth   leak area    truth    decay to 75 %   50 %   25 %   shown by")
        lines += ["  " + _row(row) for row in report.as_dict(scenario.truth)["cylinders"]]
        lines += [f"  not tested: {why}" for why in report.stuck]
        lines += _path_lines(store, report, scenario)
        warned = dict.fromkeys(word.text for word in report.said if word.level != "note")
        lines += [f"  said on the way: {text}" for text in warned]
    refusals = [refusal for report in reports for refusal in report.refusals]
    if refusals:
        lines.append("\nAir was refused:")
        lines += [f"  cylinder {refusal.cylinder}: {'; '.join(refusal.reasons)}" for refusal in refusals]
    if len(reports) > 1:
        lines += _comparison_lines(store, reports)
    return [*lines, f"\nrecord: {database}", f"files:  {', '.join(map(str, files))}"]


def _path_lines(store: Store, report: StageReport, scenario: Any) -> list[str]:
    """What was heard and measured at the places of the cylinders that were looked at, beside the truth, and what it points to."""
    from borewright.service.path import path_of_job
    from borewright.simrig.demo import place_truth

    found = path_of_job(store, store.get_job(report.job_id))
    lines = []
    for cylinder, path in found.cylinders.items():
        looked_at = [place for place in path.places if place.strength is not None]
        if not looked_at:
            continue
        truth = place_truth(scenario, cylinder)
        lines.append(f"  cylinder {cylinder}: where the air goes      heard    share of the leak       truth")
        for place in looked_at:
            share = place.share
            measured = share is not None and share.looked_at
            words = f"{share.percent:3.0f} % ({share.low_percent:.0f} to {share.high_percent:.0f} %)" if share and measured else "-"
            name = place.place.replace("_", " ")
            lines.append(f"    {name:32}{place.strength:8} {words:22}  {truth.get(place.place, 0.0):4.0f} %")
        lines += [f"    {line.certainty}: open {line.open}" for line in found.advice if line.cylinder == cylinder]
    return lines


def _comparison_lines(store: Store, reports: Sequence[StageReport]) -> list[str]:
    """The leak area of each cylinder before and after, and what came out."""
    from borewright.service.comparing import compare_jobs

    before, after = (store.get_job(report.job_id) for report in reports[:2])
    found = compare_jobs(store, before, after)
    lines = ["\nBefore against after, the leak areas carried to one pressure:"]
    for one in found.cylinders:
        if one.area is not None:
            change = f"{one.area.change:+.3f} ± {one.area.expanded:.3f} mm²"
            lines.append(
                f"  cylinder {one.cylinder}: leak area {one.area.before:.3f}, then {one.area.after:.3f}: {change}, {one.verdict}"
            )
    return [*lines, f"  {found.words}"]


def _row(row: dict[str, Any]) -> str:
    if row["leakage_percent"] is None:
        return f"{row['cylinder']:^8}   void: {row['void_reason']}"
    pair = "/".join(map(str, row["pair_psi"]))
    truth = row["truth"] or {}
    true_percent = f"{truth['leakage_percent']:5.1f} %" if truth else "      -"
    true_area = f"{truth['leak_area_mm2']:.3f} mm²" if truth else "        -"
    times = "  ".join(
        "   -  " if row["decay"][name] is None else f"{row['decay'][name]:4.2f} s" for name in ("t75_s", "t50_s", "t25_s")
    )
    void = f"  void: {row['void_reason']}" if row["void_reason"] else ""
    return (
        f"{row['cylinder']:^8}   {pair:>5}   {row['leakage_percent']:5.1f} %   {true_percent}   {row['leak_area_mm2']:.3f} mm²"
        f"   {true_area}       {times}   {row['readiness']['stroke_evidence']}{void}"
    )
