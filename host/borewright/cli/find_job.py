"""Which job a command means: by its name, and by its stage where there are several of that name."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from borewright.errors import UseError

if TYPE_CHECKING:
    from borewright.store import Store
    from borewright.store.records import JobRecord

__all__ = ["STAGES", "add_job_arguments", "one_of_two", "the_job", "the_jobs"]

STAGES = ("before", "after", "routine")


def add_job_arguments(parser: argparse.ArgumentParser) -> None:
    """NAME and --stage."""
    parser.add_argument("name", metavar="NAME", help="the job's name, as `borewright job list` shows it")
    parser.add_argument("--stage", choices=STAGES, help="which stage of it; needed where there are several")


def the_jobs(store: Store, name: str, stage: str | None = None) -> list[JobRecord]:
    """All living jobs of a name, oldest first, or the one of a stage. Raises UseError when there is none."""
    found = [job for job in store.list_jobs(archived=True) if job.name == name and stage in (None, job.stage)]
    if not found:
        at = f" at stage {stage!r}" if stage else ""
        raise UseError(f"there is no job {name!r}{at} in {store.path}; `borewright job list` shows those that are there")
    return found


def the_job(store: Store, name: str, stage: str | None) -> JobRecord:
    """The one job that is meant. Raises UseError when there is none, or when the name alone could mean several."""
    found = the_jobs(store, name, stage)
    if len(found) > 1:
        stages = ", ".join(job.stage for job in found)
        raise UseError(f"job {name!r} has the stages {stages}; say which one with --stage")
    return found[0]


def one_of_two(store: Store, name: str, stage: str | None) -> JobRecord:
    """One of two jobs that are held against each other: the stage decides only where the name has several. Raises UseError."""
    found = the_jobs(store, name)
    return found[0] if len(found) == 1 else the_job(store, name, stage)
