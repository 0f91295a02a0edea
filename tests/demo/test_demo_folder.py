"""Folders that the demo cannot write to, options that are none: one sentence, the documented exit code, nothing overwritten."""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

from .demo_run import refusal

NOBODY = 65534
DEMO_WITHOUT_RIGHTS = f"""
import os, sys
import borewright.cli.demo, borewright.store.export
from borewright.cli.main import main
from borewright.simrig.demo import demo_scenarios
from borewright.store import Store
demo_scenarios("solenoid", None)  # what is loaded late has to be read while it may be
Store.open(sys.argv[2]).close()
if os.geteuid() == 0:
    os.setgroups([]); os.setgid({NOBODY}); os.setuid({NOBODY})  # rights bind everybody but root
sys.exit(main(["demo", "--json", "--out", sys.argv[1]]))
"""


def test_out_is_a_file(tmp_path: Path) -> None:
    file = tmp_path / "notes.txt"
    file.write_text("kept")
    said = refusal("demo", 4, "--json", "--out", file)
    assert said.startswith(f"{file} cannot be made")
    assert said.endswith("name a folder that you may write to with --out")
    assert file.read_text() == "kept"


def test_out_is_beneath_a_file(tmp_path: Path) -> None:
    file = tmp_path / "notes.txt"
    file.write_text("kept")
    assert "name a folder that you may write to" in refusal("demo", 4, "--out", file / "demo")
    assert file.read_text() == "kept"


def test_out_may_not_be_written_to() -> None:
    with tempfile.TemporaryDirectory() as name:  # those of tmp_path are for their owner alone
        way, folder = Path(name), Path(name) / "archive"
        way.chmod(0o755)
        folder.mkdir()
        folder.chmod(0o555)
        for out in (folder, folder / "new"):
            done = subprocess.run(
                [sys.executable, "-c", DEMO_WITHOUT_RIGHTS, str(out), str(way / "first.db")],
                capture_output=True,
                text=True,
                check=False,
                timeout=60,
            )
            assert done.returncode == 4, done.stderr
            assert done.stdout == ""
            (said,) = done.stderr.splitlines()
            assert said.startswith(f"borewright demo: {out}")
            assert "folder that you may write to" in said
            assert list(folder.iterdir()) == []
        folder.chmod(0o755)
