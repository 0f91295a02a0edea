"""The whole check with one command, from a clean clone: python3 tests/run.py

It makes .venv-test and installs Borewright with all that the tests need (again only when pyproject.toml has changed), sees to the
system libraries that Qt loads and to the compilers of the firmware, then runs lint, types, import contracts, the firmware's build
and the tests. Nothing is skipped: what is missing is an error.
Arguments that it does not know go to pytest. Standard library only.
"""

from __future__ import annotations

import argparse
import ctypes
import hashlib
import importlib
import importlib.util
import os
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Collection, Mapping, Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv-test"
STAMP = VENV / "installed-for.sha256"
SCRIPTS = VENV / ("Scripts" if os.name == "nt" else "bin")
PYTHON = SCRIPTS / ("python.exe" if os.name == "nt" else "python")
SOURCES = ["host", "firmware_protocol", "simulator"]
FIRMWARE = ROOT / "firmware_protocol" / "reference_firmware"
ROWS_TABLE = Path(__file__).resolve().parent / "bench" / "parts" / "rows.py"

MEMORY = Path("/dev/shm")  # a file system in memory, where there is one
MEMORY_FREE = 6 * 1024**3  # octets: what the tests leave behind until their end, and much to spare

# what QtGui needs of a bare Debian: the library that is loaded, the package that brings it
QT_LIBRARIES = {
    "libglib-2.0.so.0": "libglib2.0-0",
    "libGL.so.1": "libgl1",
    "libEGL.so.1": "libegl1",
    "libxkbcommon.so.0": "libxkbcommon0",
    "libdbus-1.so.3": "libdbus-1-3",
    "libfontconfig.so.1": "libfontconfig1",
    # and of an X screen
    "libxcb-cursor.so.0": "libxcb-cursor0",
    "libxcb-icccm.so.4": "libxcb-icccm4",
    "libxcb-keysyms.so.1": "libxcb-keysyms1",
    "libxcb-shape.so.0": "libxcb-shape0",
    "libxkbcommon-x11.so.0": "libxkbcommon-x11-0",
}
# what is called by its name, and the package that brings it: an X screen without a monitor, and what builds the firmware
PROGRAMS = {"Xvfb": "xvfb", "gcc": "gcc", "make": "make", "avr-gcc": "gcc-avr", "avr-objcopy": "binutils-avr"}
# what the compilers read: the microcontroller's own headers, the emulator that its program runs in, and the PC's
HEADERS = {
    "/usr/lib/avr/include/avr/io.h": "avr-libc",
    "/usr/include/simavr/sim_avr.h": "libsimavr-dev",
    "/usr/include/stdio.h": "libc6-dev",
}

# rooms whose tests take seconds; the others run whole jobs on the simulated rig
QUICK_ROOMS = ["core", "wire", "session", "store", "link", "acquisition", "units"]
# surveys in those rooms: hundreds of drawn or simulated runs each, left to the whole check; of a name with cases, all of them
SURVEYS = [
    "tests/core/test_autocorrelation.py::test_the_true_mean_is_in_the_interval_as_often_as_said",
    "tests/core/test_autocorrelation.py::test_short_records_are_paid_for_in_degrees_of_freedom",
    "tests/core/test_compare.py::test_a_sample_of_random_engines_keeps_the_promises",
    "tests/core/test_convert.py::test_the_uncertainty_against_drawing",
    "tests/core/test_convert.py::test_a_fixed_hole_reads_what_two_nozzles_in_series_do",
    "tests/core/test_evidence_squeeze.py::test_a_large_slow_leak_is_left_open_rather_than_guessed",
    "tests/core/test_evidence_squeeze.py::test_a_slipped_coupling_shows_as_a_late_peak",
    "tests/core/test_evidence_squeeze.py::test_never_a_wrong_verdict",
    "tests/core/test_evidence_squeeze.py::test_mostly_decided_after_three_pairs",
    "tests/core/test_evidence_squeeze.py::test_no_verdict_before_a_pair_of_passes",
    "tests/core/test_evidence_squeeze.py::test_no_false_alarm_of_a_late_peak",
    "tests/core/test_restrictor_fit.py::test_two_standard_uncertainties_hold_area_and_critical_ratio",
    "tests/core/test_sealed_check.py::test_two_standard_uncertainties_hold_leak_and_tie",
    "tests/core/test_shares.py::test_a_sample_of_the_bench",
    "tests/core/test_squeeze_held.py::test_a_check_valve_is_never_taken_for_a_cylinder_that_can_be_tested",
    "tests/core/test_squeeze_held.py::test_a_check_valve_is_mostly_named_where_the_cylinder_holds",
    "tests/core/test_squeeze_held.py::test_a_really_tight_cylinder_is_not_taken_for_a_check_valve_and_its_squeeze_is_decided",
    "tests/store/test_power_and_kills.py::test_a_power_cut_loses_at_most_the_last_second_of_one_capture",
    "tests/store/test_power_and_kills.py::test_a_kill_loses_at_most_the_last_second_of_one_capture",
    "tests/wire/test_c_codec_agreement.py::test_both_codecs_agree_on_drawn_and_changed_frames",
]


class SetUpError(Exception):
    """The tests cannot be run here; one sentence that says why and what to do."""


def main(words: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(
        description=(__doc__ or "").split("\n\n", maxsplit=1)[0],
        epilog="Arguments that are not listed go to pytest, for example: python3 tests/run.py -k readiness",
    )
    kind = parser.add_mutually_exclusive_group()
    kind.add_argument("--quick", action="store_true", help="lint, types, contracts, unit tests and vectors; no surveys, no jobs")
    kind.add_argument(
        "--bench", metavar="NAME", nargs="*", help="run the benchmarks in tests/bench instead, or those named; ends in one table"
    )
    kind.add_argument("--screenshots", metavar="DIR", type=Path, help="write pictures of all pages of the window, and the README's")
    chosen, for_pytest = parser.parse_known_args(words)
    began_s = time.monotonic()
    try:
        set_up()
        if chosen.screenshots is not None:
            steps = picture_steps(chosen.screenshots)
        else:
            steps = test_steps(chosen.quick, for_pytest) if chosen.bench is None else bench_steps(chosen.bench)
        failed = run_steps(steps, beside=STATIC) if chosen.bench is None else run_benches(steps)
    except SetUpError as error:
        print(f"run.py: {error}", flush=True)
        return 2
    except KeyboardInterrupt:
        print("run.py: stopped with Ctrl-C; not everything was run", flush=True)
        return 130
    took = f"in {time.monotonic() - began_s:.0f} s"
    if failed:
        print(f"run.py: FAILED: {', '.join(failed)} ({len(failed)} of {len(steps)} steps) {took}", flush=True)
        return 1
    print(f"run.py: all {len(steps)} steps passed ({', '.join(name for name, _ in steps)}) {took}", flush=True)
    return 0


# ------------------------------------------------------------ what is needed


def set_up() -> None:
    """See to it that everything is there, or raise SetUpError."""
    if sys.version_info < (3, 11):  # noqa: UP036 -- whichever python3 is there runs this file
        raise SetUpError(f"this is Python {sys.version_info[0]}.{sys.version_info[1]}; run it with Python 3.11 or newer")
    if sys.platform.startswith("linux"):
        see_to_libraries()
    see_to_venv()


def see_to_libraries() -> None:
    missing = missing_packages()
    if not missing:
        return
    command = f"apt-get install {' '.join(missing)}"
    apt = shutil.which("apt-get")
    if apt is None or os.geteuid() != 0:
        raise SetUpError(f"system libraries are missing; install them first (on Debian, as root: {command})")
    print(f"installing system libraries: {' '.join(missing)}", flush=True)
    quiet = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    for words in ([apt, "update", "-qq"], [apt, "install", "-qq", "-y", "--no-install-recommends", *missing]):
        if subprocess.run(words, env=quiet, stdin=subprocess.DEVNULL, check=False).returncode != 0:
            raise SetUpError(f"{' '.join(words[:2])} failed; see above, then install them by hand: {command}")
    if missing_packages():
        raise SetUpError(f"system libraries are missing although their packages were installed: {' '.join(missing_packages())}")


def missing_packages() -> list[str]:
    importlib.invalidate_caches()
    venv = [] if importlib.util.find_spec("ensurepip") else ["python3-venv"]  # Debian cuts it off its python3
    libraries = [package for library, package in QT_LIBRARIES.items() if not loads(library)]
    programs = [package for program, package in PROGRAMS.items() if not shutil.which(program)]
    headers = [package for header, package in HEADERS.items() if not Path(header).is_file()]
    return venv + libraries + programs + headers


def loads(library: str) -> bool:
    try:
        ctypes.CDLL(library)
    except OSError:
        return False
    return True


def see_to_venv() -> None:
    wanted = hashlib.sha256((ROOT / "pyproject.toml").read_bytes() + sys.version.encode() + str(ROOT).encode()).hexdigest()
    if STAMP.is_file() and PYTHON.exists() and STAMP.read_text(encoding="ascii") == wanted:
        return
    print("making .venv-test and installing what the tests need; the first time takes some minutes", flush=True)
    if subprocess.run([sys.executable, "-m", "venv", "--clear", str(VENV)], check=False).returncode != 0:
        raise SetUpError("python3 could not make .venv-test; see above (on Debian, as root: apt-get install python3-venv)")
    install = [str(PYTHON), "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "-e", ".[test]"]
    if subprocess.run(install, cwd=ROOT, check=False).returncode != 0:
        raise SetUpError("pip could not install what the tests need; see above, look at the network, and run this again")
    STAMP.write_text(wanted, encoding="ascii")


# ------------------------------------------------------------ what is run

Step = tuple[str, Callable[[], bool]]

STATIC = ("lint", "types", "contracts")  # they say something only when they fail, and leave the second core alone
# a file's tests stay together, for they share what takes long to make; tests/conftest.py has put the longest files first
ON_TWO_CORES = ("-n", "2", "--dist", "loadfile", "--no-loadscope-reorder")


def test_steps(quick: bool, for_pytest: Sequence[str]) -> list[Step]:
    rooms = [f"tests/{room}" for room in QUICK_ROOMS] + [f"--deselect={survey}" for survey in SURVEYS] if quick else []
    return [
        ("lint", lambda: quietly([str(PYTHON), "-m", "ruff", "check", "."])),
        ("types", lambda: quietly([str(PYTHON), "-m", "mypy", *SOURCES])),
        ("contracts", lambda: quietly([str(SCRIPTS / "lint-imports")])),
        *([] if quick else [("firmware", lambda: aloud(["make", "--no-print-directory", "-C", str(FIRMWARE), "figures"]))]),
        ("tests", lambda: in_memory([str(PYTHON), "-m", "pytest", *ON_TWO_CORES, *rooms, *for_pytest])),
    ]


def bench_steps(names: Sequence[str]) -> list[Step]:
    """All of them, or those of these names."""
    scripts = sorted((ROOT / "tests" / "bench").glob("*.py"))
    if not scripts:
        raise SetUpError("there is no benchmark in tests/bench; the clone is not whole")
    known = [script.stem for script in scripts]
    unknown = [name for name in names if name not in known]
    if unknown:
        raise SetUpError(f"there is no benchmark called {', '.join(unknown)}; choose among {', '.join(known)}")
    scripts = [script for script in scripts if not names or script.stem in names]
    return [(script.stem, lambda script=script: aloud([str(PYTHON), str(script)])) for script in scripts]  # type: ignore[misc]


def run_benches(steps: Sequence[Step]) -> list[str]:
    """Run them all and show the rows of all in one table, also after Ctrl-C; a bound that is not reached fails nothing."""
    with tempfile.TemporaryDirectory() as folder:
        rows = Path(folder) / "rows.jsonl"
        os.environ["BOREWRIGHT_BENCH_ROWS"] = str(rows)
        try:
            return run_steps(steps)
        finally:
            del os.environ["BOREWRIGHT_BENCH_ROWS"]
            print("\nwhat the benchmarks found", flush=True)
            aloud([sys.executable, str(ROWS_TABLE), str(rows)])


def picture_steps(folder: Path) -> list[Step]:
    script = ROOT / "tests" / "window" / "pictures.py"
    return [("screenshots", lambda: aloud([str(PYTHON), str(script), str(folder.resolve())]))]


def run_steps(steps: Sequence[Step], beside: Collection[str] = ()) -> list[str]:
    """Run them all, also after one has failed; the names of those that failed, in the order of the steps.

    beside: the steps that run one after the other beside the others; each says that it is over when it is.
    """
    failed: set[str] = set()

    def run_one(number: int, name: str, step: Callable[[], bool]) -> None:
        print(f"[{number}/{len(steps)}] {name} ...\n", end="", flush=True)
        began_s = time.monotonic()
        passed = step()
        took = f"({time.monotonic() - began_s:.1f} s)"
        print(f"[{number}/{len(steps)}] {name}: {'passed' if passed else 'FAILED'} {took}\n", end="", flush=True)
        if not passed:
            failed.add(name)

    def run_those(aside: bool) -> None:
        for number, (name, step) in enumerate(steps, start=1):
            if (name in beside) is aside:
                run_one(number, name, step)

    others = threading.Thread(target=run_those, args=(True,), daemon=True)  # Ctrl-C waits for none of them
    others.start()
    run_those(False)
    others.join()
    return [name for name, _ in steps if name in failed]


def quietly(words: Sequence[str]) -> bool:
    """Run a tool; what it says is shown only when it fails."""
    return run(words, show_always=False)


def aloud(words: Sequence[str]) -> bool:
    """Run a tool and let it talk."""
    return run(words, show_always=True)


def in_memory(words: Sequence[str]) -> bool:
    """Run a tool aloud with its temporary files in memory, where there is plenty of it.

    A record waits for the disk at each commit, and the tests make some ten thousand of them.
    """
    if "TMPDIR" in os.environ or not MEMORY.is_dir() or shutil.disk_usage(MEMORY).free < MEMORY_FREE:
        return aloud(words)
    with tempfile.TemporaryDirectory(prefix="borewright-tests-", dir=MEMORY, ignore_cleanup_errors=True) as folder:
        Path(folder).chmod(0o755)  # some tests look at files as somebody without rights, who has to get there
        return run(words, show_always=True, more={"TMPDIR": folder})


def run(words: Sequence[str], *, show_always: bool, more: Mapping[str, str] | None = None) -> bool:
    environment = {"QT_QPA_PLATFORM": "offscreen", "OPENBLAS_NUM_THREADS": "1", **os.environ, **(more or {})}
    try:
        done = subprocess.run(
            words,
            cwd=ROOT,
            env=environment,
            stdout=None if show_always else subprocess.PIPE,
            stderr=None if show_always else subprocess.STDOUT,
            check=False,
        )
    except OSError as error:
        print(f"{words[0]} cannot be run ({error}); remove .venv-test and run this again", flush=True)
        return False
    if done.returncode != 0 and done.stdout:
        print(done.stdout.decode(errors="replace"), end="", flush=True)
    return done.returncode == 0


if __name__ == "__main__":
    sys.exit(main())
