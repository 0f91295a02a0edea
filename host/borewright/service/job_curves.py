"""The curves of a job's tests as arrays for other programs: full length, in SI, zero-corrected."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from borewright.core.samples import SampleColumns
from borewright.errors import UseError
from borewright.service.laws import Laws, laws_from_record

if TYPE_CHECKING:
    from borewright.store import Store
    from borewright.store.records import CaptureRecord, JobRecord

__all__ = ["job_curves"]


def job_curves(store: Store, chosen: Sequence[JobRecord]) -> dict[str, Any]:
    """The arrays of an .npz: for each test that has samples, testN_t_s, _p_regulated_gauge_pa, _p_cylinder_gauge_pa, _crank_count.

    t_s counts from the first sample. "tests" says what each N is. Tests from before the laws were kept are left out.
    """
    about: list[str] = []
    arrays: dict[str, Any] = {}
    for job in chosen:
        counts = store.sample_counts(job.id)
        for capture in store.list_captures(job.id):
            laws = _laws(capture) if counts.get(capture.id) else None
            if laws is not None:
                about.append(
                    f"test{capture.id}: {job.name}, {job.stage}, cylinder {capture.cylinder}, {capture.purpose}, {capture.state}"
                )
                arrays |= _curves(f"test{capture.id}", capture, laws, store.load_columns(capture.id))
    return {"tests": np.array(about, dtype=np.str_), **arrays}


def _laws(capture: CaptureRecord) -> Laws | None:
    try:
        return laws_from_record(capture.laws)
    except UseError:
        return None


def _curves(prefix: str, capture: CaptureRecord, laws: Laws, columns: SampleColumns) -> dict[str, Any]:
    result = capture.result or {}
    regulated, cylinder = laws.regulated, laws.cylinder
    if "zero_regulated_pa" in result:  # as it was read: each test has its own zeros
        regulated, cylinder = (
            regulated.with_zero(result["zero_regulated_pa"]),
            cylinder.with_zero(result["zero_cylinder_pa"]),
        )
    return {
        f"{prefix}_t_s": columns.t_s - columns.t_s[:1],
        f"{prefix}_p_regulated_gauge_pa": regulated.gauge_pa(columns.raw[laws.regulated_channel]),
        f"{prefix}_p_cylinder_gauge_pa": cylinder.gauge_pa(columns.raw[laws.cylinder_channel]),
        f"{prefix}_crank_count": columns.crank_count,
    }
