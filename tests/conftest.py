"""What is in this folder and is no test, and what all tests need.

That is: Qt without a screen, no units that the user has chosen, the same examples in every run.
"""

import os
from pathlib import Path

import pytest
from hypothesis import settings

collect_ignore = ["run.py", "bench", "fuzz/run.py", "fuzz/throw.py"]

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as cli.main does
os.environ["XDG_CONFIG_HOME"] = os.environ["APPDATA"] = os.devnull
os.environ.pop("BOREWRIGHT_UNITS", None)

# the same examples in every run, so that a failure is that of the change; `--hypothesis-profile=search` looks for new ones.
# No deadline: how long an example takes by the clock is how busy the computer is.
settings.register_profile("same", derandomize=True, deadline=None)
settings.register_profile("search", derandomize=False, print_blob=True, deadline=None)
settings.load_profile("same")


# where a file alone takes long, the longest first: begun last, it would keep one core busy while the other has nothing to do
LONGEST = (
    "demo/test_demo.py",
    "demo/test_measure_process.py",
    "faults/test_fault_table.py",
    "service/test_no_open_when_not_ready.py",
    "window/test_window_hardships.py",
    "window/test_under_x.py",
    "firmware/test_firmware_rig_job.py",
    "window/test_whole_job.py",
    "window/test_findings_page.py",
    "window/test_first_run.py",
    "cli/test_cli_rig.py",
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The longest files first, all others as they were found."""
    places = {Path(__file__).parent / file: place for place, file in enumerate(LONGEST)}
    items.sort(key=lambda item: places.get(item.path, len(places)))


def pytest_addoption(parser: pytest.Parser) -> None:
    """--device-url URL: hardware that the conformance tests are also run on."""
    parser.addoption("--device-url", metavar="URL", help="also hold the device on this port to the conformance suite, without air")
