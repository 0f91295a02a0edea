"""borewright demo: a whole job on the simulated rig, with the simulator's truth beside it."""

from __future__ import annotations

import argparse
import json
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

from borewright.cli import exits
from borewright.errors import StoreError

if TYPE_CHECKING:
    from borewright.simrig.demo import StageReport

__all__ = ["EXAMPLE", "add_arguments", "run"]

EXAMPLE = """example:
  borewright demo --out hillclimb
    tests the four cylinders of a club hill-climb engine before and after its rebuild, in virtual time,
    and leaves the record (demo.db) and a table for each stage (demo-before.csv, demo-after.csv) in the folder hillclimb"""

BAR = 30


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The options of the demo."""
    parser.add_argument("--out", metavar="DIR", type=Path, default=Path("borewright-demo"), help="where the files go (%(default)s)")
    parser.add_argument("--seed", metavar="N", type=int, help="other sensor errors, noise and handiwork")
    parser.add_argument("--hand-valves", action="store_true", help="on a rig whose valves are turned by hand, slowly and late")
    parser.add_argument("--json", action="store_true", help="print one JSON object and nothing else")


def run(args: argparse.Namespace) -> int:
    """Run the demo."""
    from borewright.simrig import demo
    from borewright.store import Store
    from borewright.store.export import job_table, save_csv

    try:
        args.out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StoreError(f"{args.out} cannot be made ({error.strerror}); name a folder that you may write to with --out") from error
    database = _free_name(args.out)
    scenarios = demo.demo_scenarios("hand" if args.hand_valves else "solenoid", args.seed)
    progress = _Progress(sum(demo.CYLINDER_STEPS + len(scenario.engine.firing_order) for scenario in scenarios))
    files: list[Path] = []
    reports: list[StageReport] = []
    with Store.open(database) as store:
        for number, scenario in enumerate(scenarios):
            progress.stage = scenario.stage
            reports.append(demo.run_stage(scenario, store, demo.JOB_NAME, time.time(), progress.step, show_refusals=number == 0))
        progress.end()
        for job in store.list_jobs():
            path = database.with_name(f"{database.stem}-{job.stage}.csv")
            save_csv(job_table(job, store.list_captures(job.id)), path)
            files.append(path)
    if args.json:
        print(json.dumps(_as_dict(reports, scenarios, database, files), indent=1))
    else:
        _print(reports, scenarios, database, files)
    sound = all(one.void_reason is None for report in reports for one in report.cylinders)
    return exits.OK if sound else exits.UNUSABLE


def _free_name(folder: Path) -> Path:
    """A file that is not there yet, so that no earlier demo is overwritten."""
    number = 1
    while (path := folder / ("demo.db" if number == 1 else f"demo-{number}.db")).exists():
        number += 1
    return path


class _Progress:
    """A bar on a terminal, a line for each step elsewhere; on the error stream, so that results can be piped."""

    def __init__(self, steps: int) -> None:
        self.stage = ""
        self._steps = steps
        self._begun = 0
        self._live = sys.stderr.isatty()

    def step(self, what: str) -> None:
        """The next step begins."""
        share = self._begun / self._steps
        self._begun += 1
        bar = "#" * round(BAR * share) + "." * (BAR - round(BAR * share))
        text = f"[{bar}] {share:4.0%}  {self.stage}: {what}"
        print(f"\r{text:<78}" if self._live else text, end="" if self._live else "\n", file=sys.stderr, flush=True)

    def end(self) -> None:
        """All steps are done."""
        print(f"\r{'[' + '#' * BAR + '] 100%':<78}" if self._live else f"[{'#' * BAR}] 100%", file=sys.stderr)


def _as_dict(reports: list[StageReport], scenarios: Any, database: Path, files: list[Path]) -> dict[str, Any]:
    return {
        "jobs": [report.as_dict(scenario.truth) for report, scenario in zip(reports, scenarios, strict=True)],
        "refusals": [
            {"cylinder": refusal.cylinder, "reasons": list(refusal.reasons)} for report in reports for refusal in report.refusals
        ],
        "database": str(database),
        "files": [str(path) for path in files],
    }


def _print(reports: list[StageReport], scenarios: Any, database: Path, files: list[Path]) -> None:
    print("Simulated rig, invented engine. Leakage at compression TDC; the truth is what this rig would read without sensor error.")
    for report, scenario in zip(reports, scenarios, strict=True):
        print(f"\n{report.engine}, {report.stage} the rebuild" if report.stage != "routine" else f"\n{report.engine}")
        print("  cylinder   reads    leakage    truth   leak area    truth    decay to 75 %   50 %   25 %   shown by")
        for row in report.as_dict(scenario.truth)["cylinders"]:
            print("  " + _row(row))
    refusals = [refusal for report in reports for refusal in report.refusals]
    if refusals:
        print("\nAir was refused:")
        for refusal in refusals:
            print(f"  cylinder {refusal.cylinder}: {'; '.join(refusal.reasons)}")
    print(f"\nrecord: {database}\ntables: {', '.join(map(str, files))}")


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
