"""The wheel has all packages of the tree and all files that their modules read: an installation from the tree hides what lacks."""

from __future__ import annotations

import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SETUP = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"]


def packages_in_the_tree() -> set[str]:
    found = set()
    for package, folder in SETUP["package-dir"].items():
        for made in (ROOT / folder).rglob("__init__.py"):
            found.add(".".join((package, *made.parent.relative_to(ROOT / folder).parts)))
    return found


def test_every_package_of_the_tree_is_in_the_wheel() -> None:
    assert set(SETUP["packages"]) == packages_in_the_tree()


def test_every_file_beside_the_modules_is_in_the_wheel() -> None:
    patterns = SETUP["package-data"]
    for package, folder in SETUP["package-dir"].items():
        for file in (ROOT / folder).rglob("*"):
            if not file.is_file() or file.suffix in {".py", ".pyc"}:
                continue
            owner = next(one for one in file.parents if (one / "__init__.py").is_file())
            name = ".".join((package, *owner.relative_to(ROOT / folder).parts))
            wanted = [*patterns["*"], *patterns.get(name, ())]
            packed = any(file.relative_to(owner).match(pattern) for pattern in wanted)
            assert packed, f"{file.relative_to(ROOT)} is not in the wheel"
