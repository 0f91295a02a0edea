"""DEVELOPERS.md says nothing that is not so: paths and names exist, diagrams are current, the walk is what a capture does."""

from __future__ import annotations

import ast
import importlib
import re
import sys
import tomllib
from collections.abc import Callable
from functools import cache
from pathlib import Path
from types import FrameType
from typing import Any

import pytest
from borewright.cli.main import COMMANDS
from borewright.service import acts
from borewright.simrig import demo
from borewright.store import Store

from .developers_page import DIAGRAMS, PAGE, ROOT, between, with_diagrams

TEXT = PAGE.read_text("utf-8")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
SPANS = sorted(set(re.findall(r"`([^`\n]+)`", re.sub(r"```.*?```", "", TEXT, flags=re.DOTALL))))
PLACES = [span for span in SPANS if re.fullmatch(r"[\w./-]+\.py:[\w.]+", span)]
PATHS = [span for span in SPANS if re.fullmatch(r"\.?[\w.-]+(/[\w.-]*)+|[\w-]+\.(py|md|toml)", span)]
NAMES = [span for span in SPANS if re.fullmatch(r"(borewright|borewire|boresim)(\.\w+)+", span)]
WALK = between(TEXT, "walk")[1]


@cache
def defined_in(path: Path) -> frozenset[str]:
    """What a file defines: functions, classes, methods with their class, names that are assigned."""
    found: set[str] = set()

    def look(body: list[ast.stmt], inside: str) -> None:
        for node in body:
            if isinstance(node, ast.FunctionDef | ast.ClassDef):
                found.add(inside + node.name)
                if isinstance(node, ast.ClassDef):
                    look(node.body, f"{inside}{node.name}.")
            for target in node.targets if isinstance(node, ast.Assign) else [getattr(node, "target", None)]:
                if isinstance(target, ast.Name):
                    found.add(inside + target.id)

    look(ast.parse(path.read_text("utf-8")).body, "")
    return frozenset(found)


def test_the_page_can_be_read_by_these_tests() -> None:
    assert len(PLACES) > 60
    assert len(PATHS) > 30
    assert len(NAMES) >= 3
    prose = re.sub(r"```.*?```", "", TEXT, flags=re.DOTALL)
    assert [line for line in prose.splitlines() if line.count("`") % 2] == []
    assert not [span for span in SPANS if ".py" in span and span not in PLACES + PATHS and " " not in span]


@pytest.mark.parametrize("path", PATHS)
def test_each_path_is_there(path: str) -> None:
    assert (ROOT / path).exists()


@pytest.mark.parametrize("place", PLACES)
def test_each_name_is_defined_in_its_file(place: str) -> None:
    path, _, name = place.partition(":")
    assert name in defined_in(ROOT / path)


@pytest.mark.parametrize("name", NAMES)
def test_each_dotted_name_can_be_imported(name: str) -> None:
    words = name.split(".")
    for split in range(len(words), 0, -1):
        try:
            found: Any = importlib.import_module(".".join(words[:split]))
        except ModuleNotFoundError:
            continue
        for word in words[split:]:
            found = getattr(found, word)
        break
    else:
        pytest.fail(f"{name} is no module")


@pytest.mark.parametrize("target", sorted(set(re.findall(r"\]\(([^)]+)\)", TEXT))))
def test_each_link_leads_somewhere(target: str) -> None:
    titles = re.findall(r"^#+ (.+)$", TEXT, flags=re.MULTILINE)
    headings = {re.sub(r"[^\w -]", "", title.lower()).replace(" ", "-") for title in titles}
    assert target[1:] in headings if target.startswith("#") else (ROOT / target).exists()


@pytest.mark.parametrize("page", ["README.md", "hardware_notes/README.md"])
def test_the_other_pages_name_what_is_there(page: str) -> None:
    text = (ROOT / page).read_text("utf-8")
    links = [(ROOT / page).parent / target for target in re.findall(r"\]\(([^)#:]+)\)", text)]
    named = [ROOT / path for path in re.findall(r"`((?:simulator|host|firmware_protocol|hardware_notes|tests)/[\w./-]+)`", text)]
    assert links
    assert [str(path) for path in links + named if not path.exists()] == []


def test_the_diagrams_are_current() -> None:
    assert with_diagrams(TEXT) == TEXT, "run python tests/check/developers_page.py"
    assert len({between(TEXT, name)[1] for name in DIAGRAMS}) == len(DIAGRAMS)


def test_every_contract_and_every_dependency_has_its_line() -> None:
    contracts = [contract["name"] for contract in PROJECT["tool"]["importlinter"]["contracts"]]
    assert [name for name in contracts if f"| {name} |" not in TEXT] == []
    project = PROJECT["project"]
    needed = {re.split(r"[^\w-]", line)[0] for line in project["dependencies"] + project["optional-dependencies"]["test"]}
    told = TEXT.partition("## Dependencies")[2].partition("## Decisions")[0]
    assert [name for name in sorted(needed) if name not in told] == []


def test_every_room_of_the_host_is_on_the_map() -> None:
    rooms = {name.split(".")[1] for name in PROJECT["tool"]["setuptools"]["packages"] if name.startswith("borewright.")}
    assert [room for room in sorted(rooms) if f"| `host/borewright/{room}/` |" not in TEXT] == []


def test_the_commands_that_it_shows_exist() -> None:
    typed = re.findall(r"```sh\n(.*?)```", TEXT, flags=re.DOTALL) + [span for span in SPANS if span.startswith("borewright ")]
    shown = set(re.findall(r"\bborewright ([a-z]+)", "\n".join(typed)))
    assert shown
    assert shown <= set(COMMANDS)


def test_its_python_example_runs() -> None:
    (example,) = re.findall(r"```python\n(.*?)```", TEXT, flags=re.DOTALL)
    names: dict[str, Any] = {}
    exec(compile(example, str(PAGE), "exec"), names)
    assert names["port"].rig.operator.busy
    assert names["bench"].state.transducers is not None


class _Enough(Exception):  # noqa: N818 -- no error: the first test is over
    pass


def test_the_walk_is_what_a_capture_goes_through(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every function between the walk's markers is called while one cylinder is tested on the simulated rig, in virtual time."""
    called: set[tuple[str, str]] = set()
    carry_out = demo.Person.carry_out

    def watch(frame: FrameType, event: str, _: object) -> None:
        if event == "call":
            called.add((frame.f_code.co_filename, frame.f_code.co_qualname))

    def watched(person: demo.Person, purpose: acts.Purpose, with_air: Callable[[], bool] | None = None) -> None:
        if purpose.kind != "test":
            carry_out(person, purpose, with_air)
            return
        before = sys.getprofile()
        sys.setprofile(watch)
        try:
            carry_out(person, purpose, with_air)
        finally:
            sys.setprofile(before)
        raise _Enough

    monkeypatch.setattr(demo.Person, "carry_out", watched)
    scenario, _ = demo.demo_scenarios("solenoid", None)
    with Store.open(tmp_path / "walk.db") as store, pytest.raises(_Enough):
        demo.run_stage(scenario, store, "walk", 0.0, lambda _: None, show_refusals=False)

    hops = set(re.findall(r"`([\w./-]+\.py):([\w.]+)`", WALK))
    elsewhere = {("host/borewright/link/port.py", "SerialEndpoint.read")}  # named as what a real port has in its place
    assert len(hops) > 50
    assert {(str(ROOT / path), name) for path, name in hops - elsewhere} - called == set()


def test_the_readme_begins_with_the_job_in_one_paragraph() -> None:
    blocks = (ROOT / "README.md").read_text("utf-8").split("\n\n")
    title, job, after = blocks[:3]
    assert title == "# Borewright"
    assert after.startswith("## ")
    for word in ("cylinder", "leak-down test", "top dead centre", "restrictor", "Borewright", "rig"):
        assert word in job
    assert not job.startswith(("#", "-", "*", "|", ">", "`"))
