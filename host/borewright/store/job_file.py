"""A job file: jobs on their way to another record. A .zip with job.json, raw samples as NPZ and photos, whole or not at all.

Nothing in the file is trusted: what it unpacks to is bounded before it is unpacked, no name in it becomes a path, and nothing in it
is ever executed (NPZ without pickle). What job.json has to look like stands in job.schema.json.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import lzma
import math
import os
import tempfile
import tokenize
import zipfile
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from borewright.errors import StoreError, UseError
from borewright.store.errors import os_error

if TYPE_CHECKING:
    from borewright.core.samples import SampleColumns

__all__ = ["FORMAT", "VERSION", "JobFile", "disk_words", "job_schema", "npz_bytes", "read_job_file", "save_new", "zip_bytes"]

FORMAT = "borewright job"
VERSION = 1
DOCUMENT = "job.json"
LARGEST_FILE = 500_000_000
LARGEST_DOCUMENT = 200_000_000
LARGEST_SAMPLES = 800_000_000  # of one test, unpacked: over six hours at 1 kHz
LARGEST_PHOTO = 20_000_000
SAMPLE_COLUMNS = {"tick": "<i8", "index": "<i8", "crank_count": "<i8", "raw": "<u2", "flags": "<u2", "tick_rate_hz": "<i8"}
RECORD_BEGINS = b"SQLite format 3\0"
DEEPEST = 40  # tables in tables: ours have six
LARGEST_WHOLE = 2**63
PACKED = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
DAMAGE = (zipfile.BadZipFile, NotImplementedError, EOFError, RuntimeError, ValueError, OSError, zlib.error, lzma.LZMAError)
"""What zipfile says of a file that is none, or of one with a byte that was flipped on the way."""
_EPOCH = (1980, 1, 1, 0, 0, 0)  # the earliest a zip knows: the same jobs make the same bytes


@dataclass(frozen=True, slots=True)
class JobFile:
    """What a job file holds: its document, the packed samples by the uid of their test, the photos by their SHA-256."""

    document: Mapping[str, Any]
    samples: Mapping[str, bytes]
    photos: Mapping[str, bytes]

    def columns(self, uid: str) -> SampleColumns:
        """The samples of a test. Raises UseError when they are not what they should be."""
        return _columns(self.samples[uid], f"samples/{uid}.npz")


@cache
def job_schema() -> dict[str, Any]:
    """The schema of job.json, JSON Schema draft 2020-12.

    >>> job_schema()["properties"]["version"]
    {'const': 1}
    """
    found: dict[str, Any] = json.loads(files("borewright.store").joinpath("job.schema.json").read_text(encoding="utf-8"))
    return found


# ---------------------------------------------------------------------- writing


def zip_bytes(document: Mapping[str, Any], samples: Mapping[str, SampleColumns], photos: Mapping[str, bytes]) -> bytes:
    """The file's bytes; the same content gives the same bytes."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        _add(archive, DOCUMENT, json.dumps(document, ensure_ascii=False, allow_nan=False, indent=1).encode())
        for uid, columns in sorted(samples.items()):
            _add(archive, f"samples/{uid}.npz", _samples(columns), zipfile.ZIP_STORED)
        for sha256, data in sorted(photos.items()):
            _add(archive, f"photos/{sha256}", data, zipfile.ZIP_STORED)
    return packed.getvalue()


def _add(archive: zipfile.ZipFile, name: str, data: bytes, how: int = zipfile.ZIP_DEFLATED) -> None:
    archive.writestr(zipfile.ZipInfo(name, _EPOCH), data, compress_type=how)


def npz_bytes(arrays: Mapping[str, Any]) -> bytes:
    """Named numpy arrays as a compressed .npz; the same arrays give the same bytes."""
    import numpy as np  # noqa: PLC0415 -- heavy, and lists of jobs do without

    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, array in arrays.items():
            column = io.BytesIO()
            np.lib.format.write_array(column, np.asarray(array), allow_pickle=False)
            _add(archive, f"{name}.npy", column.getvalue())
    return packed.getvalue()


def _samples(columns: SampleColumns) -> bytes:
    import numpy as np  # noqa: PLC0415 -- as above

    return npz_bytes({name: np.asarray(getattr(columns, name), dtype=kind) for name, kind in SAMPLE_COLUMNS.items()})


def save_new(path: Path, data: bytes, *, replace: bool = False) -> None:
    """Write a file, whole or not at all. replace: also over one that is there, but never over a record or what is no plain file.

    Raises UseError where one is there and is to be left alone, StoreError where it cannot be written.
    """
    try:
        _may_be_written(path, replace)
        handle, part = tempfile.mkstemp(dir=path.parent, prefix=".borewright-", suffix=".part")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
            os.chmod(part, 0o666 & ~_umask())
            os.replace(part, path)
        except BaseException:
            with contextlib.suppress(OSError):
                os.unlink(part)
            raise
    except OSError as error:
        raise os_error(path, error) from error


def disk_words(error: StoreError) -> str:
    """What the disk said where save_new could not write."""
    return getattr(error.__cause__, "strerror", None) or "the disk refuses"


def _may_be_written(path: Path, replace: bool) -> None:
    if not os.path.lexists(path):
        return
    if not path.is_file():
        raise UseError(f"{path} is a folder or a device and was left alone; give the name of a file")
    if not replace:
        raise UseError(f"{path} is there already and was left alone; give another name, or --force to write over it")
    with path.open("rb") as file:
        if file.read(len(RECORD_BEGINS)) == RECORD_BEGINS:
            raise UseError(f"{path} is a record file and is never written over; give another name")


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


# ---------------------------------------------------------------------- reading


def read_job_file(path: Path) -> JobFile:
    """The job file at a path, its document held against the schema, all samples and photos that it names there and whole.

    Raises UseError with one sentence that names the file and what is wrong with it.
    """
    try:
        if path.exists() and not path.is_file():
            raise UseError(f"{path} is a folder or a device; give the path of an exported job")
        with path.open("rb") as file:
            data = file.read(LARGEST_FILE + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "it is no name of a file"
        raise UseError(f"{path}: the job file cannot be read ({reason}); give the path of an exported job") from error
    if len(data) > LARGEST_FILE:
        raise UseError(f"{path}: this is over {LARGEST_FILE // 1_000_000} MB, which no job file is; give a job file")
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            return _read(archive)
    except _NewerError as newer:
        raise UseError(f"{path}: {newer}") from None
    except DAMAGE as error:
        raise UseError(f"{path}: this is no job file, or it is damaged ({error}); export the job again as .zip") from None


class _NewerError(ValueError):
    """A file of a later program, which is sound as far as this one can tell."""


def _read(archive: zipfile.ZipFile) -> JobFile:
    document = _document(_member(archive, DOCUMENT, LARGEST_DOCUMENT))
    samples, photos = {}, {}
    for job in document["jobs"]:
        for capture in job["captures"]:
            if capture["samples"]:
                uid = capture["uid"]
                samples[uid] = _member(archive, f"samples/{uid}.npz", LARGEST_SAMPLES)
                found = len(_columns(samples[uid], f"samples/{uid}.npz"))
                if found != capture["samples"]:
                    raise ValueError(f"samples/{uid}.npz holds {found} samples, not {capture['samples']}")
        for photo in job["photos"]:
            image = _member(archive, f"photos/{photo['sha256']}", LARGEST_PHOTO)
            if hashlib.sha256(image).hexdigest() != photo["sha256"]:
                raise ValueError(f"photo {photo['name']!r} is not the one that was exported")
            photos[photo["sha256"]] = image
    return JobFile(document, samples, photos)


def _member(archive: zipfile.ZipFile, name: str, largest: int) -> bytes:
    try:
        member = archive.getinfo(name)
    except KeyError:
        raise ValueError(f"{name} is missing") from None
    if member.file_size > largest or member.compress_type not in PACKED:
        raise ValueError(f"{name} is larger than it can be, or packed in a way that we do not use")
    with archive.open(member) as file:  # the size is the file's own word, so it is not read beyond it
        data = file.read(member.file_size + 1)
    if len(data) != member.file_size:
        raise ValueError(f"{name} is not as long as it says")
    return data


def _document(octets: bytes) -> dict[str, Any]:
    try:
        document = json.loads(octets.decode("utf-8"), parse_constant=_no_constant, parse_float=_finite, parse_int=_whole)
        _check_depth(document)
    except (UnicodeDecodeError, RecursionError, ValueError) as error:
        raise ValueError(f"{DOCUMENT} is not JSON ({error})") from None
    version = document.get("version") if isinstance(document, dict) and document.get("format") == FORMAT else None
    if isinstance(version, int) and version > VERSION:
        raise _NewerError(f"a newer Borewright wrote version {version}, this program knows {VERSION}; update this program")
    from jsonschema import Draft202012Validator  # noqa: PLC0415 -- slow to load, and only an import needs it
    from jsonschema.exceptions import best_match  # noqa: PLC0415

    wrong = best_match(Draft202012Validator(job_schema()).iter_errors(document))
    if wrong is not None:
        raise ValueError(f"{DOCUMENT}: {wrong.json_path}: {wrong.message[:200]}")
    return dict(document)


def _no_constant(word: str) -> Any:
    raise ValueError(f"{word} is no number")


def _finite(word: str) -> float:
    number = float(word)
    if not math.isfinite(number):
        raise ValueError("a number in it is too large")
    return number


def _whole(word: str) -> int:
    number = int(word)
    if abs(number) >= LARGEST_WHOLE:
        raise ValueError("a number in it is too large")
    return number


def _check_depth(value: Any, depth: int = 0) -> None:
    if depth > DEEPEST:
        raise ValueError("it is nested deeper than any job")
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    for one in inner:
        _check_depth(one, depth + 1)


def _columns(packed: bytes, name: str) -> SampleColumns:
    from borewright.core.samples import SampleColumns  # noqa: PLC0415 -- loads numpy

    try:
        with zipfile.ZipFile(io.BytesIO(packed)) as archive:
            found = {column: _array(archive, column, kind) for column, kind in SAMPLE_COLUMNS.items()}
    except DAMAGE as error:
        raise ValueError(f"{name}: {error}") from None
    rate_hz = found.pop("tick_rate_hz")
    n = found["tick"].shape
    if len(n) != 1 or rate_hz.shape != () or not 0 < int(rate_hz) < 2**32:
        raise ValueError(f"{name}: the columns have no sense")
    if found["raw"].ndim != 2 or any(column.shape[-1:] != n for column in found.values()):
        raise ValueError(f"{name}: the columns are not of equal length")
    return SampleColumns(**found, tick_rate_hz=int(rate_hz))


def _array(archive: zipfile.ZipFile, column: str, kind: str) -> Any:
    """One column. Its header is read first, so that no array is made that the member could not fill."""
    import numpy as np  # noqa: PLC0415 -- as above

    data = io.BytesIO(_member(archive, f"{column}.npy", LARGEST_SAMPLES))
    try:
        if np.lib.format.read_magic(data) != (1, 0):
            raise ValueError(f"{column}.npy is of another version")
        shape, _, dtype = np.lib.format.read_array_header_1_0(data)
    except (SyntaxError, tokenize.TokenError, TypeError) as error:  # the header is a literal that numpy reads
        raise ValueError(f"{column}.npy is no column ({error})") from None
    if dtype != np.dtype(kind) or int(np.prod(shape, dtype=object)) * dtype.itemsize != len(data.getbuffer()) - data.tell():
        raise ValueError(f"{column}.npy is not a column of {kind}")
    data.seek(0)
    return np.lib.format.read_array(data, allow_pickle=False)
