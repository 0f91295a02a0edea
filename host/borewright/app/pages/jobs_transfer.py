"""Files out of the record and into it, told in the strip: made or looked through in the worker, then written or taken in."""

from __future__ import annotations

from functools import partial
from pathlib import Path

from PySide6.QtCore import QObject, Signal

from borewright.app.desk import Desk
from borewright.app.pages.jobs_model import job_words
from borewright.app.pages.jobs_report import file_name
from borewright.app.pages.jobs_strip import JobsStrip
from borewright.errors import BorewrightError
from borewright.service.job_files import LookedThrough, Written, file_of_jobs, look_through, take_in, write_file
from borewright.service.view_jobs import JobGlance
from borewright.store.records import JobRecord

__all__ = ["Transfers"]

_KINDS = {
    ".zip": "Job file (*.zip)",
    ".csv": "Table (*.csv)",
    ".json": "JSON (*.json)",
    ".npz": "Curves (*.npz)",
    ".pdf": "PDF (*.pdf)",
}


class Transfers(QObject):
    """The acts with files. taken_in: the jobs that came into the record."""

    taken_in = Signal(object)

    def __init__(self, desk: Desk, strip: JobsStrip) -> None:
        super().__init__(strip)
        self._desk = desk
        self._strip = strip

    # ------------------------------------------------------------------ out

    def export(self, glance: JobGlance, job_ids: tuple[int, ...], kind: str) -> None:
        """Ask where to, make the file, write it."""
        stage = "" if len(job_ids) > 1 else f"-{glance.job.stage}"
        path = self._where(f"{file_name(glance.job.name)}{stage}{kind}", kind)
        if path is None:
            return
        asking = self._desk.ask(
            file_of_jobs, job_ids, kind, then=partial(self._write, path, False), failed=self._refused, key="jobs file"
        )
        self._strip.work(f"Making {path.name}", asking.cancel)

    def save(self, suggested: str, data: bytes) -> None:
        """Ask where to, and write what is there already."""
        path = self._where(suggested, Path(suggested).suffix)
        if path is not None:
            self._write(path, False, data)

    def _where(self, suggested: str, kind: str) -> Path | None:
        path = self._desk.save_as("Save as", suggested, _KINDS[kind])
        if path is None or path.suffix.lower() == kind:
            return path
        return path.with_name(path.name + kind)

    def _write(self, path: Path, replace: bool, data: bytes) -> None:
        self._desk.ask(
            write_file, path, data, replace, then=partial(self._written, path, data), failed=self._refused, words="writing the file"
        )

    def _written(self, path: Path, data: bytes, written: Written | None) -> None:
        if written is None:
            self._strip.note(
                f"{path} is there already and was left alone.", ("&Yes, write over it", partial(self._write, path, True, data))
            )
        else:
            self._strip.note(f"{written.path} is written, {_size_words(written.size)}.")

    # ------------------------------------------------------------------ in

    def choose_file(self) -> None:
        """Ask which file, and look through it."""
        files = self._desk.open_files("Import a job file", _KINDS[".zip"])
        if files:
            self.look_through(files[0])

    def look_through(self, path: Path) -> None:
        """Read every number of the file once before anything is taken in."""
        asking = self._desk.ask(
            look_through, path, then=self._looked, failed=self._refused, key="jobs file", words="looking through a job file"
        )
        self._strip.work(f"Looking through {path.name}: every number is read once before anything is taken in", asking.cancel)

    def _looked(self, looked: LookedThrough) -> None:
        if looked.here:
            self._strip.note(f"{'; '.join(looked.here)}: in the record already. Nothing was imported.")
        elif looked.taken:
            self._ask_name(
                looked, f"Another job is called {', '.join(looked.taken[0])} here. Under what name is this one taken in?"
            )
        else:
            self._take_in(looked, "")

    def _ask_name(self, looked: LookedThrough, words: str) -> None:
        self._strip.ask(
            words,
            "&Yes, take it in",
            partial(self._take_in, looked),
            name="name that the job gets here",
            typed=f"{looked.jobs[0][0]} (2)",
        )

    def _take_in(self, looked: LookedThrough, name: str) -> None:
        self._desk.ask(
            take_in, looked, name, then=self._taken, failed=partial(self._not_taken, looked, name), words="taking the job in"
        )

    def _not_taken(self, looked: LookedThrough, name: str, error: BorewrightError) -> None:
        if name:
            self._ask_name(looked, f"✗ {str(error).partition(';')[0]}. Under what name is it taken in?")
        else:
            self._refused(error)

    def _taken(self, jobs: tuple[JobRecord, ...]) -> None:
        self._strip.note(f"Imported: {'; '.join(map(job_words, jobs))}.")
        self._desk.record_changed.emit()
        self.taken_in.emit(jobs)

    # ------------------------------------------------------------------ told

    def _refused(self, error: BorewrightError) -> None:
        self._strip.note(f"✗ {error}")


def _size_words(octets: int) -> str:
    """How large a file is.

    >>> _size_words(999), _size_words(1_234_567)
    ('1 kB', '1.2 MB')
    """
    return f"{octets / 1e6:.1f} MB" if octets >= 1e6 else f"{max(1, round(octets / 1e3))} kB"
