"""Leakage by the real firmware, in the emulator or with --pc on this computer, against the plant's truth: several leaks and seeds.

Each job goes the whole way: zeros, sealed check, restrictor check, true TDC, squeeze, and a test of every cylinder. Bound:
0.3 points with the converter of ten bits and its oversampling. With --converter the same jobs run on the simulator's own device
and the scenario's converter, to tell what is the firmware's from the rest. Build the programs first: make all host bench in
firmware_protocol/reference_firmware.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "simulator"))

from avr_rig.programs import in_the_emulator, on_the_pc
from avr_rig.rig import FirmwareRig
from boresim.any_rig import AnyRig
from boresim.rig import SimRig
from boresim.scenario import Scenario, load_scenario
from boresim.truth import plant_truth
from borewright.simrig.whole_job import run_job
from borewright.store.store import Store
from parts.rows import at_most, tell

SCENARIOS = ("hillclimb-after", "hillclimb-before", "worn-rings-one-bore", "burnt-exhaust-valve")
BOUND_POINTS = 0.3


def errors(device: str, name: str, seed: int, folder: Path) -> Iterator[tuple[int, float, float, float]]:
    """Cylinder, its true leakage, and what leakage (points) and leak area (%) are off by. An untested cylinder has no number."""
    scenario = load_scenario(name, seed)
    truth = plant_truth(scenario)
    with ExitStack() as open_, Store.open(folder / f"{device}-{name}-{seed}.db") as store:

        def make_rig(of: Scenario) -> AnyRig:
            if device == "converter":
                return SimRig(of)
            return FirmwareRig(of, open_.enter_context(on_the_pc() if device == "pc" else in_the_emulator()))

        done = run_job(scenario, store, "bench", 1.8e9, make_rig=make_rig).complete
    for cylinder in scenario.engine.firing_order:
        true, result = truth[cylinder], done[cylinder].analysed.result if cylinder in done else None
        off = float("nan") if result is None else result.leakage_percent - true.leakage_percent
        area = float("nan") if result is None else 100.0 * (result.leak_area_m2 / true.leak_area_m2 - 1.0)
        yield cylinder, true.leakage_percent, off, area


def main() -> int:
    """Print the table; 1 when a cylinder could not be tested or is beyond the bound."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", maxsplit=1)[0])
    parser.add_argument("--seeds", type=int, default=2, help="draws of the errors for each engine (default: 2)")
    which = parser.add_mutually_exclusive_group()
    which.add_argument(
        "--pc", dest="device", action="store_const", const="pc", default="emulator", help="the firmware on this computer"
    )
    which.add_argument("--converter", dest="device", action="store_const", const="converter", help="the simulator's own device")
    args = parser.parse_args()
    points: list[float] = []
    percents: list[float] = []
    print("engine                 seed  leakage of each cylinder, and what is read off by, points                          took")
    with tempfile.TemporaryDirectory() as folder:
        for name in SCENARIOS:
            for seed in range(1, args.seeds + 1):
                began_s = time.perf_counter()
                rows = list(errors(args.device, name, seed, Path(folder)))
                points += [off for _, _, off, _ in rows]
                percents += [area for *_, area in rows]
                shown = "   ".join(f"{true:5.2f} % {off:+.3f}" for _, true, off, _ in rows)
                print(f"{name:21} {seed:5}  {shown:76} {time.perf_counter() - began_s:8.1f} s", flush=True)
    off, area = np.abs(points), np.abs(percents)
    for what, size, mean, unit in (("leakage", off, np.mean(points), "points"), ("leak area", area, np.mean(percents), "%")):
        print(
            f"{len(size)} tests: {what} worst {size.max():.3f}, 95 % within {np.quantile(size, 0.95):.3f}, mean {mean:+.3f} {unit}"
        )
    tell([at_most(f"firmware ({args.device}), leakage off the plant's truth, worst", "percentage points", off.max(), BOUND_POINTS)])
    return 0 if bool(np.all(off < BOUND_POINTS)) else 1


if __name__ == "__main__":
    sys.exit(main())
