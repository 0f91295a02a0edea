"""A job file taken into the record: tried in a record of its own first, so that nothing comes in that could not be shown.

What a file says is only what somebody wrote into it. Its rigs would be believed by the next test, and its numbers go through every
formula of a comparison and a report; so rigs are held to what a rig can have, and all else is read once by all that reads it.
"""

from __future__ import annotations

import hashlib
import json
import tempfile
from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from borewright.errors import BorewrightError, UseError
from borewright.service.calibration_file import check_rig
from borewright.service.names import checked_line, checked_name
from borewright.store.job_file import JobFile, read_job_file

if TYPE_CHECKING:
    from borewright.store import Store
    from borewright.store.records import JobRecord

__all__ = ["checked_job_file"]


def checked_job_file(path: Path) -> JobFile:
    """The job file at a path, fit for `Store.take_in`. Raises UseError with one sentence that names the file where it is not."""
    file = read_job_file(path)
    _check_names(path, file.document)
    _check_rigs(path, file.document)
    _try_first(path, file)
    return file


def _check_names(path: Path, document: Mapping[str, Any]) -> None:
    for job in document["jobs"]:
        try:
            sound = checked_name(job["name"], "a job", "name") == job["name"]
            for key in ("customer_reference", "technician"):
                checked_line(job[key], key)
        except UseError as wrong:
            raise UseError(f"{path}: this job file is not right ({wrong})") from None
        if not sound:
            raise UseError(f"{path}: the name of a job in this file begins or ends with a space; export it again")


def _check_rigs(path: Path, document: Mapping[str, Any]) -> None:
    checks = document["rig_checks"]
    for serial in dict.fromkeys([*document["rigs"], *(check["device_serial"] for check in checks)]):
        of_it = [check for check in checks if check["device_serial"] == serial]
        try:
            check_rig(document["rigs"].get(serial, {}), of_it)
        except (ValueError, KeyError) as wrong:
            raise UseError(f"{path}: the rig {serial!r} of this job file cannot be right ({wrong}); export the job again") from None


def _try_first(path: Path, file: JobFile) -> None:
    """Let everything that shows a job read these, in a record that goes away again."""
    from borewright.store import Store  # noqa: PLC0415 -- loads SQLAlchemy
    from borewright.store.job_export import outgoing  # noqa: PLC0415 -- as above

    with tempfile.TemporaryDirectory() as folder, Store.open(Path(folder) / "tried.db") as tried:
        try:
            taken, twins = tried.take_in(file), tried.take_in(_twin(file), "twin")
            outgoing(tried, taken)
            _read_by_all(tried, taken, twins)
        except BorewrightError as wrong:
            raise UseError(f"{path}: {wrong}") from None
        except Exception as wrong:  # noqa: BLE001 -- whatever a reader stumbles over, this file is not taken in
            kind = type(wrong).__name__
            raise UseError(f"{path}: this job file holds what cannot be read ({kind}: {wrong}); export the job again") from None


def _twin(file: JobFile) -> JobFile:
    """The same jobs with other identities, so that each can be compared with its equal."""
    text = json.dumps(file.document)
    samples = dict(file.samples)
    for job in file.document["jobs"]:
        for one in (job, *job["captures"], *job["findings"]):
            other = hashlib.sha256(one["uid"].encode()).hexdigest()[:32]
            text = text.replace(one["uid"], other)
            if one["uid"] in samples:
                samples[other] = samples.pop(one["uid"])
    return JobFile(json.loads(text), samples, file.photos)


def _read_by_all(store: Store, taken: Sequence[JobRecord], twins: Sequence[JobRecord]) -> None:
    from borewright.service.imported_results import check_results  # noqa: PLC0415 -- as below
    from borewright.service.job_curves import job_curves  # noqa: PLC0415 -- with what follows: only an import reads all of it
    from borewright.service.judging import judge_stage  # noqa: PLC0415
    from borewright.service.limit_files import find_limits, known_limits  # noqa: PLC0415
    from borewright.service.report_data import report_of  # noqa: PLC0415

    for job, twin in zip(taken, twins, strict=True):
        check_results(store, job.id)
        document = store.get_engine(job.engine_id).document
        for name in known_limits():
            judge_stage(store.list_captures(job.id), document, find_limits(name, document))
        report_of(store, job)
        with suppress(UseError):  # there may be nothing to compare
            report_of(store, job, twin)
    job_curves(store, taken)
