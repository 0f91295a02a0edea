"""What is in this folder and is no test."""

collect_ignore = ["run.py", "bench"]
