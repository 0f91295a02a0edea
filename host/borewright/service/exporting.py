"""A job as the octets of a file: what each ending holds, and how it is made."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from borewright.store import Store
    from borewright.store.records import JobRecord

__all__ = ["KINDS", "export_bytes"]

KINDS = {
    ".zip": "all of it, with raw samples and photos, for `borewright job import`",
    ".json": "numbers and words; its schema stands in it by name",
    ".csv": "one line for each test",
    ".npz": "the pressure curves of each test, for numpy",
}
"""The endings, and what a file with each holds."""


def export_bytes(store: Store, chosen: Sequence[JobRecord], kind: str) -> bytes:
    """These jobs as a file of this kind, one of KINDS. Raises UseError while a test is being recorded, StoreError."""
    # what is heavy is imported where it is used: the help of the commands reads KINDS only
    if kind == ".csv":
        from borewright.store.export import csv_text, job_table, one_table  # noqa: PLC0415

        return csv_text(one_table([job_table(job, store.list_captures(job.id)) for job in chosen])).encode()
    if kind == ".npz":
        from borewright.service.job_curves import job_curves  # noqa: PLC0415
        from borewright.store.job_file import npz_bytes  # noqa: PLC0415

        return npz_bytes(job_curves(store, chosen))
    from borewright.store.job_export import job_document, outgoing  # noqa: PLC0415

    if kind == ".json":
        return (json.dumps(job_document(store, chosen), ensure_ascii=False, allow_nan=False, indent=1) + "\n").encode()
    from borewright.store.job_file import zip_bytes  # noqa: PLC0415

    out = outgoing(store, chosen)
    return zip_bytes(out.document, out.samples, out.photos)
