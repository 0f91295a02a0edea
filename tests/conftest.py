"""What is in this folder and is no test, and what all tests need.

That is: Qt without a screen, no units that the user has chosen, the same examples in every run.
"""

import os

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


def pytest_addoption(parser: pytest.Parser) -> None:
    """--device-url URL: hardware that the conformance tests are also run on."""
    parser.addoption("--device-url", metavar="URL", help="also hold the device on this port to the conformance suite, without air")
