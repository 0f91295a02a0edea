"""tests/run.py: what is missing is an error, what fails is told last, and the exit code says so."""

from __future__ import annotations

import importlib.util
import re
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pytest

RUN = Path(__file__).resolve().parent.parent / "run.py"


@pytest.fixture
def run() -> ModuleType:
    spec = importlib.util.spec_from_file_location("borewright_tests_run", RUN)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def ready(run: ModuleType, monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """The command with everything set up and its tools replaced by what a test names."""
    monkeypatch.setattr(run, "set_up", lambda: None)
    return run


def python(code: str) -> list[str]:
    return [sys.executable, "-c", code]


def last_line(capfd: pytest.CaptureFixture[str]) -> str:
    return capfd.readouterr().out.splitlines()[-1]


def test_every_step_runs_and_the_failed_ones_are_named_last(
    ready: ModuleType, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    steps = [
        ("first", lambda: ready.quietly(python("print('said by first'); raise SystemExit(3)"))),
        ("second", lambda: ready.aloud(python("print('said by second')"))),
        ("third", lambda: ready.quietly(python("print('not shown')"))),
    ]
    monkeypatch.setattr(ready, "test_steps", lambda _quick, _words: steps)
    assert ready.main([]) == 1
    out = capfd.readouterr().out
    assert "said by first" in out
    assert "said by second" in out
    assert "not shown" not in out
    assert out.splitlines()[-1].startswith("run.py: FAILED: first (1 of 3 steps)")


def test_when_all_pass_the_last_line_says_so(
    ready: ModuleType, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(ready, "test_steps", lambda _quick, _words: [("only", lambda: ready.quietly(python("pass")))])
    assert ready.main([]) == 0
    assert last_line(capfd).startswith("run.py: all 1 steps passed (only)")


def test_a_tool_that_is_not_there_fails_its_step(run: ModuleType, tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    assert run.quietly([str(tmp_path / "lint-imports")]) is False
    assert "cannot be run" in capfd.readouterr().out


def test_the_whole_check_is_all_steps_on_two_cores(run: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    called: list[list[str]] = []

    def note(words: list[str]) -> bool:
        called.append(words)
        return True

    for how in ("quietly", "aloud", "in_memory"):
        monkeypatch.setattr(run, how, note)
    assert run.run_steps(run.test_steps(False, ["-k", "readiness"])) == []
    names = ["make" if words[0] == "make" else Path(words[0]).name if len(words) == 1 else words[2] for words in called]
    assert names == ["ruff", "mypy", "lint-imports", "make", "pytest"]
    assert called[1][3:] == ["host", "firmware_protocol", "simulator"]
    assert called[4][3:] == ["-n", "2", "--dist", "loadfile", "--no-loadscope-reorder", "-k", "readiness"]


def test_steps_that_run_beside_the_others_are_told_and_counted_like_them(
    ready: ModuleType, capfd: pytest.CaptureFixture[str]
) -> None:
    over = threading.Event()
    steps = [
        ("aside", lambda: over.wait(60.0) and ready.quietly(python("print('said aside'); raise SystemExit(1)"))),
        ("aside too", lambda: ready.quietly(python("pass"))),
        ("tests", lambda: over.set() or False),
    ]
    assert ready.run_steps(steps, beside=("aside", "aside too")) == ["aside", "tests"]
    out = capfd.readouterr().out.splitlines()
    assert "said aside" in out
    assert [line.split(" (")[0] for line in out if "passed" in line or "FAILED" in line] == [
        "[3/3] tests: FAILED",
        "[1/3] aside: FAILED",
        "[2/3] aside too: passed",
    ]


def test_the_steps_that_run_beside_are_there_and_the_longest_files_too(run: ModuleType) -> None:
    assert set(run.STATIC) < {name for name, _ in run.test_steps(True, [])}
    listed = re.search(r"^LONGEST = \((.*?)^\)", (RUN.parent / "conftest.py").read_text(encoding="utf-8"), re.DOTALL | re.MULTILINE)
    assert listed is not None
    files = re.findall(r'"([^"]+)"', listed[1])
    assert files
    assert [file for file in files if not (RUN.parent / file).is_file()] == []


def test_temporary_files_are_in_memory_where_there_is_plenty_of_it(
    run: ModuleType, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.delenv("TMPDIR", raising=False)
    monkeypatch.setattr(run, "MEMORY", tmp_path)
    told = python("import os; print(os.environ.get('TMPDIR', 'none'))")
    monkeypatch.setattr(run, "MEMORY_FREE", 1)
    assert run.in_memory(told)
    assert Path(last_line(capfd)).parent == tmp_path
    assert list(tmp_path.iterdir()) == []
    monkeypatch.setattr(run, "MEMORY_FREE", 2**62)
    assert run.in_memory(told)
    assert last_line(capfd) == "none"


def test_the_firmware_is_built_in_a_folder_that_is_there(run: ModuleType) -> None:
    assert (run.FIRMWARE / "Makefile").is_file()


def test_compilers_and_headers_that_are_missing_are_packages_to_install(run: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(run, "loads", lambda _library: True)
    monkeypatch.setattr(run.shutil, "which", lambda name: None if name == "avr-gcc" else f"/usr/bin/{name}")
    monkeypatch.setattr(run, "HEADERS", {str(RUN): "is-there", str(RUN / "nothing.h"): "avr-libc"})
    assert run.missing_packages() == ["gcc-avr", "avr-libc"]


def test_the_quick_check_runs_rooms_that_are_there(run: ModuleType) -> None:
    assert [room for room in run.QUICK_ROOMS if not (RUN.parent / room).is_dir()] == []


def test_the_quick_check_leaves_out_only_surveys_that_are_there(run: ModuleType) -> None:
    for survey in run.SURVEYS:
        file, name = survey.split("::")
        assert f"def {name}(" in (RUN.parent.parent / file).read_text(encoding="utf-8")


def test_a_clone_without_benchmarks_is_an_error(
    ready: ModuleType, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(ready, "ROOT", tmp_path)
    assert ready.main(["--bench"]) == 2
    assert last_line(capfd) == "run.py: there is no benchmark in tests/bench; the clone is not whole"


def test_each_benchmark_runs_by_itself(
    ready: ModuleType, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "tests" / "bench"
    folder.mkdir(parents=True)
    helper = f"import sys; sys.path.insert(0, {str(RUN.parent / 'bench')!r})\nfrom parts.rows import at_least, at_most, tell\n"
    (folder / "good.py").write_text(f"{helper}tell([at_least('fast enough', '× real time', 20.0, 15.0)])\nprint('a table')")
    (folder / "slow.py").write_text(f"{helper}tell([at_most('too slow', 'ms', 30.0, 20.0)])")
    (folder / "worse.py").write_text("raise SystemExit(1)")
    monkeypatch.setattr(ready, "ROOT", tmp_path)
    monkeypatch.setattr(ready, "PYTHON", Path(sys.executable))
    assert ready.main(["--bench"]) == 1
    out = capfd.readouterr().out
    assert "a table" in out
    *_, head, fast, slow, last = out.splitlines()
    assert head.split() == ["what", "in", "asked", "found"]
    assert fast.split() == ["fast", "enough", "×", "real", "time", "≥", "15", "20", "reached"]
    assert slow.split() == ["too", "slow", "ms", "≤", "20", "30", "NOT", "REACHED"]
    assert last.startswith("run.py: FAILED: worse (1 of 3 steps)")
    # what is slow fails nothing, and only what is named is run
    assert ready.main(["--bench", "slow", "good"]) == 0
    assert "(good, slow)" in last_line(capfd)
    assert ready.main(["--bench", "slower"]) == 2
    assert last_line(capfd) == "run.py: there is no benchmark called slower; choose among good, slow, worse"


Answer = Callable[..., subprocess.CompletedProcess[bytes]]


def exits(code: int, called: list[list[str]]) -> Answer:
    def answer(words: list[str], **_options: object) -> subprocess.CompletedProcess[bytes]:
        called.append(words)
        return subprocess.CompletedProcess(words, code)

    return answer


def test_missing_libraries_are_named_where_they_may_not_be_installed(
    run: ModuleType, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(run, "loads", lambda library: library != "libEGL.so.1")
    monkeypatch.setattr(run.os, "geteuid", lambda: 1000)
    assert run.main([]) == 2
    assert last_line(capfd) == (
        "run.py: system libraries are missing; install them first (on Debian, as root: apt-get install libegl1)"
    )


def test_root_on_debian_installs_exactly_what_is_missing(run: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    called: list[list[str]] = []
    monkeypatch.setattr(run, "loads", lambda library: library not in {"libEGL.so.1", "libGL.so.1"} or len(called) == 2)
    monkeypatch.setattr(run.os, "geteuid", lambda: 0)
    monkeypatch.setattr(run.shutil, "which", lambda name: f"/usr/bin/{name}")
    monkeypatch.setattr(run.subprocess, "run", exits(0, called))
    run.see_to_libraries()
    assert [words[1] for words in called] == ["update", "install"]
    assert called[1][-2:] == ["libgl1", "libegl1"]


def test_an_installation_that_fails_is_an_error(run: ModuleType, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(run, "STAMP", tmp_path / "stamp")
    monkeypatch.setattr(run.subprocess, "run", exits(1, []))
    with pytest.raises(run.SetUpError, match=r"could not make \.venv-test"):
        run.see_to_venv()
    assert not (tmp_path / "stamp").exists()


def test_the_environment_is_made_once_for_one_pyproject(run: ModuleType, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    called: list[list[str]] = []
    (tmp_path / "pyproject.toml").write_text("first")
    monkeypatch.setattr(run, "ROOT", tmp_path)
    monkeypatch.setattr(run, "STAMP", tmp_path / "stamp")
    monkeypatch.setattr(run, "PYTHON", Path(sys.executable))
    monkeypatch.setattr(run.subprocess, "run", exits(0, called))
    run.see_to_venv()
    run.see_to_venv()
    assert [words[2] for words in called] == ["venv", "pip"]
    (tmp_path / "pyproject.toml").write_text("second")
    run.see_to_venv()
    assert len(called) == 4
