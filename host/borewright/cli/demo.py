"""borewright demo: a whole job on the simulated rig, ending in the customer's report, with the simulator's truth beside it."""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from borewright.cli import exits
from borewright.errors import StoreError

if TYPE_CHECKING:
    from borewright.simrig.demo import Scenario, StageReport
    from borewright.store import Store

__all__ = ["EXAMPLE", "add_arguments", "run"]

EXAMPLE = """examples:
  borewright demo --out hillclimb
    tests the four cylinders of a club hill-climb engine before and after its rebuild, in virtual time, finds where the
    air goes, compares, and leaves the record (demo.db), a table for each stage (demo-before.csv, demo-after.csv)
    and the customer's report (demo-report.pdf) in the folder hillclimb
  borewright demo --scenario burnt-exhaust-valve --out burnt
    another engine to look at; `borewright sim --list` says which there are"""

BAR = 30
FLOW_STEPS = 4  # about as many flows are measured where much leaks
DAYS_BETWEEN = 12
DAY_S = 86_400.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The options of the demo."""
    parser.add_argument("--out", metavar="DIR", type=Path, default=Path("borewright-demo"), help="where the files go (%(default)s)")
    parser.add_argument("--seed", metavar="N", type=int, help="other sensor errors, noise and handiwork")
    kind = parser.add_mutually_exclusive_group()
    kind.add_argument("--hand-valves", action="store_true", help="on a rig whose valves are turned by hand, slowly and late")
    kind.add_argument("--scenario", metavar="NAME", help="another engine of the simulator, or a scenario file; one stage of it")
    parser.add_argument("--json", action="store_true", help="print one JSON object and nothing else")


def run(args: argparse.Namespace) -> int:
    """Run the demo."""
    from borewright.cli.demo_words import demo_as_dict, demo_lines
    from borewright.simrig import demo
    from borewright.simrig.virtual_clock import VirtualClock
    from borewright.store import Store
    from borewright.store.export import job_table, save_csv

    scenarios: Sequence[Scenario]
    if args.scenario is None:
        scenarios = demo.demo_scenarios("hand" if args.hand_valves else "solenoid", args.seed)
        name = demo.JOB_NAME
    else:
        scenarios = (demo.one_scenario(args.scenario, args.seed),)
        name = scenarios[0].name
    try:
        args.out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StoreError(f"{args.out} cannot be made ({error.strerror}); name a folder that you may write to with --out") from error
    database = _free_name(args.out)
    progress = _Progress(sum(demo.CYLINDER_STEPS + len(scenario.engine.firing_order) for scenario in scenarios) + FLOW_STEPS)
    files: list[Path] = []
    reports: list[StageReport] = []
    today = time.time()
    clock = VirtualClock(today)
    with Store.open(database, clock=clock) as store:
        for number, scenario in enumerate(scenarios):
            progress.stage = scenario.stage
            clock.go_to(today - DAYS_BETWEEN * DAY_S * (len(scenarios) - 1 - number))
            reports.append(
                demo.run_stage(
                    scenario,
                    store,
                    name,
                    clock,
                    progress.step,
                    show_refusals=number == 0 and args.scenario is None,
                    details=demo.JOB_DETAILS.get(scenario.stage) if args.scenario is None else None,
                    customer_reference=demo.CUSTOMER if args.scenario is None else "",
                )
            )
        progress.end()
        for job in store.list_jobs():
            path = database.with_name(f"{database.stem}-{job.stage}.csv")
            save_csv(job_table(job, store.list_captures(job.id)), path)
            files.append(path)
        files += _report(store, reports, database.with_name(f"{database.stem}-report.pdf"))
        if args.json:
            print(json.dumps(demo_as_dict(reports, scenarios, database, files), indent=1))
        else:
            print("\n".join(demo_lines(store, reports, scenarios, database, files)))
    sound = all(one.void_reason is None for report in reports for one in report.cylinders) and not any(one.stuck for one in reports)
    return exits.OK if sound else exits.UNUSABLE


def _report(store: Store, reports: list[StageReport], path: Path) -> list[Path]:
    """The customer's report of all stages, where there is a test to report."""
    from borewright.report.pdf import render
    from borewright.service.report_data import report_of
    from borewright.store.job_file import save_new

    if not any(report.cylinders for report in reports):
        return []
    jobs = [store.get_job(report.job_id) for report in reports]
    made = report_of(store, jobs[0], jobs[1] if len(jobs) > 1 else None)
    save_new(path, render(made, "A4"))
    return [path]


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
        share = min(1.0, self._begun / self._steps)
        self._begun += 1
        bar = "#" * round(BAR * share) + "." * (BAR - round(BAR * share))
        text = f"[{bar}] {share:4.0%}  {self.stage}: {what}"
        print(f"\r{text:<78}" if self._live else text, end="" if self._live else "\n", file=sys.stderr, flush=True)

    def end(self) -> None:
        """All steps are done."""
        print(f"\r{'[' + '#' * BAR + '] 100%':<78}" if self._live else f"[{'#' * BAR}] 100%", file=sys.stderr)
