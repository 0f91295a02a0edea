"""How near the demo comes to the simulator's truth, over ten seeds and on both kinds of rig. Bounds: 0.3 points, 3 %."""

from __future__ import annotations

import os
import tempfile
import time
from pathlib import Path
from typing import Literal

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as cli.main does


from borewright.simrig.demo import demo_scenarios, run_stage
from borewright.store import Store
from parts.rows import at_most, tell

SEEDS: tuple[int | None, ...] = (None, *range(1, 10))
RIGS: tuple[tuple[Literal["solenoid", "hand"], tuple[int | None, ...]], ...] = (("solenoid", SEEDS), ("hand", SEEDS[:3]))


def errors(valves: Literal["solenoid", "hand"], seed: int | None, folder: Path) -> tuple[list[float], list[float], int]:
    """Leakage errors in points, leak area errors in %, refusals, of the eight tests of one demo."""
    points: list[float] = []
    percents: list[float] = []
    refusals = 0
    with Store.open(folder / f"{valves}-{seed}.db") as store:
        for number, scenario in enumerate(demo_scenarios(valves, seed)):
            report = run_stage(scenario, store, "bench", 1.8e9, lambda _: None, show_refusals=number == 0)
            refusals += len(report.refusals)
            for row in report.as_dict(scenario.truth)["cylinders"]:
                points.append(row["leakage_percent"] - row["truth"]["leakage_percent"])
                percents.append(100.0 * (row["leak_area_mm2"] / row["truth"]["leak_area_mm2"] - 1.0))
    return points, percents, refusals


def worst(errors: list[float]) -> float:
    """The one farthest from zero, with its sign."""
    return max(errors, key=abs)


def main() -> None:
    """Print the table."""
    print("demo           seed    leakage, worst    leak area, worst    refusals    took")
    with tempfile.TemporaryDirectory() as name:
        for valves, seeds in RIGS:
            all_points: list[float] = []
            all_percents: list[float] = []
            for seed in seeds:
                began_s = time.perf_counter()
                points, percents, refusals = errors(valves, seed, Path(name))
                all_points += points
                all_percents += percents
                print(
                    f"{valves:12} {'own' if seed is None else seed:>6}  {worst(points):+9.3f} points  {worst(percents):+14.2f} %"
                    f"  {refusals:10}  {time.perf_counter() - began_s:5.1f} s"
                )
            print(f"{valves:12}  worst  {worst(all_points):+9.3f} points  {worst(all_percents):+14.2f} %")
            tell([at_most(f"demo, {valves} rig, leakage off the truth, worst", "percentage points", abs(worst(all_points)), 0.3)])
            tell([at_most(f"demo, {valves} rig, leak area off the truth, worst", "%", abs(worst(all_percents)), 3.0)])


if __name__ == "__main__":
    main()
