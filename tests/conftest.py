"""What is in this folder and is no test, and what all tests need: Qt without a screen."""

import os

collect_ignore = ["run.py", "bench"]

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
