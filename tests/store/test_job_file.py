"""Jobs that travel: all of them or nothing, the same numbers afterwards, and nothing that a file says is trusted."""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from copy import deepcopy
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from borewright.core.samples import SampleColumns
from borewright.errors import UseError
from borewright.store import Store
from borewright.store.job_export import outgoing
from borewright.store.job_file import job_schema, read_job_file, save_new, zip_bytes
from jsonschema import Draft202012Validator

ENGINE = {
    "schema_version": 1,
    "name": "Larch single",
    "cycle": "four-stroke",
    "firing_order": [1],
    "bore_mm": 81.5,
    "stroke_mm": 76.6,
}
ENGINE |= {"rod_mm": 134.0, "compression_ratio": 11.2}
PHOTO = b"\x89PNG not really, the store does not look"


def columns(n: int = 50) -> SampleColumns:
    steps = np.arange(n, dtype=np.int64)
    raw = np.stack([steps % 7, steps % 11]).astype(np.uint16)
    return SampleColumns(steps * 1000 + 2**33, steps, -steps, raw, np.zeros(n, np.uint16), 1_000_000)


def fill(store: Store) -> int:
    engine = store.save_engine("Larch single", ENGINE)
    details = {"hours": "310 h", "compression_gauge_pa": {"1": 1.2e6}}
    job = store.create_job("hill-climb 7", "before", engine, "no. 7", "ada", details)
    capture = store.begin_capture(job, 1, device_serial="BW-7", laws={"restrictor_area_m2": 8e-7}, readiness={"why": ["shown"]})
    store.append_chunk(capture, columns(30))
    store.append_event(capture, "readiness", 2**40, 1.5, {"after": "ready"})
    store.finish_capture(capture, {"leakage_percent": 7.123456789012345}, marks=["assumed: air temperature"])
    store.finish_capture(store.begin_capture(job, 1, purpose="stop_off"), void_reason="the crank moved")
    heard = store.add_finding(job, 1, "heard", place="exhaust", detail={"strength": "steady"}, said_by="ada", capture_id=capture)
    store.add_finding(job, 0, "note", detail={"text": "oil on the plug"}, said_by="ada")
    store.add_photo(heard, "valve.png", "image/png", 4, 3, PHOTO)
    store.delete_capture(
        store.add_declared(job, 1, result={"leakage_percent": 12.0}, declared={"who": "bo"}, laws={}, marks=[]), "typed wrongly"
    )
    return job


@contextmanager
def a_record(path: Path) -> Iterator[tuple[Store, int]]:
    with Store.open(path, clock=lambda: 1_700_000_000.0) as store:
        yield store, fill(store)


@pytest.fixture
def exported(tmp_path: Path) -> Path:
    path = tmp_path / "job.zip"
    with a_record(tmp_path / "one.db") as (store, job):
        out = outgoing(store, [store.get_job(job)])
        path.write_bytes(zip_bytes(out.document, out.samples, out.photos))
    return path


def changed(path: Path, change: Callable[[dict[str, Any]], None], members: dict[str, bytes] | None = None) -> Path:
    """The file with another document, and members put in place of its own."""
    with zipfile.ZipFile(path) as archive:
        held = {name: archive.read(name) for name in archive.namelist()}
    document = json.loads(held["job.json"])
    change(document)
    held |= {"job.json": json.dumps(document).encode()} | (members or {})
    made = path.with_name("changed.zip")
    with zipfile.ZipFile(made, "w") as archive:
        for name, data in held.items():
            archive.writestr(name, data)
    return made


def left_alone(path: Path, file: Path, rename: str | None = None) -> str:
    """The sentence with which a record refuses a file, of which nothing is in it afterwards."""
    with Store.open(path) as store:
        before = (len(store.list_jobs(deleted=True, archived=True)), len(store.list_captures(deleted=True)))
        with pytest.raises(UseError) as refused:
            store.take_in(read_job_file(file), rename)
        assert (len(store.list_jobs(deleted=True, archived=True)), len(store.list_captures(deleted=True))) == before
    return str(refused.value)


def test_a_job_comes_out_as_it_went_in(tmp_path: Path, exported: Path) -> None:
    with a_record(tmp_path / "two.db") as (one, job_id), Store.open(tmp_path / "other.db") as other:
        other.create_job("something else", "routine", other.save_engine("x", {}))  # so that running numbers differ
        (taken,) = other.take_in(read_job_file(exported))
        (first,) = Store.open(tmp_path / "one.db").list_jobs()
        assert replace(taken, id=first.id, engine_id=first.engine_id) == first
        assert other.get_engine(taken.engine_id).document == one.get_engine(one.get_job(job_id).engine_id).document
    with Store.open(tmp_path / "one.db") as one, Store.open(tmp_path / "other.db") as other:
        pairs = list(zip(one.list_captures(first.id, deleted=True), other.list_captures(taken.id, deleted=True), strict=True))
        assert len(pairs) == 3
        for was, now in pairs:
            assert replace(now, id=was.id, job_id=was.job_id) == was
            assert [replace(e, id=0, capture_id=0) for e in other.load_events(now.id)] == [
                replace(e, id=0, capture_id=0) for e in one.load_events(was.id)
            ]
        was, now = pairs[0]
        for name in ("tick", "index", "crank_count", "raw", "flags", "tick_rate_hz"):
            assert np.array_equal(getattr(other.load_columns(now.id), name), getattr(one.load_columns(was.id), name)), name
        heard, note = other.list_findings(taken.id)
        assert (heard.capture_id, heard.place, heard.detail, note.detail["text"]) == (
            now.id,
            "exhaust",
            {"strength": "steady"},
            "oil on the plug",
        )
        (photo,) = other.list_photos(taken.id)
        assert (photo.name, other.get_photo(photo.id)) == ("valve.png", PHOTO)


def test_the_same_job_makes_the_same_bytes_and_goes_on_travelling(tmp_path: Path, exported: Path) -> None:
    with Store.open(tmp_path / "other.db") as other:
        taken = other.take_in(read_job_file(exported))
        out = outgoing(other, taken)
        assert zip_bytes(out.document, out.samples, out.photos) == exported.read_bytes()


def test_the_document_keeps_to_its_published_schema(exported: Path) -> None:
    Draft202012Validator.check_schema(job_schema())
    document = read_job_file(exported).document
    assert not list(Draft202012Validator(job_schema()).iter_errors(document))
    assert list(Draft202012Validator(job_schema()).iter_errors(document | {"jobs": []}))


def test_a_job_comes_in_once(tmp_path: Path, exported: Path) -> None:
    with Store.open(tmp_path / "other.db") as other:
        (job,) = other.take_in(read_job_file(exported))
    assert "is in" in left_alone(tmp_path / "other.db", exported, "another name")
    with Store.open(tmp_path / "other.db") as other:
        other.delete_job(job.id, "by mistake")
    assert "job restore" in left_alone(tmp_path / "other.db", exported)


def test_a_name_that_is_taken_needs_another(tmp_path: Path, exported: Path) -> None:
    with a_record(tmp_path / "two.db"):
        pass
    assert "--as NAME" in left_alone(tmp_path / "two.db", exported)
    with Store.open(tmp_path / "two.db") as store:
        (taken,) = store.take_in(read_job_file(exported), "hill-climb 7 of the other bench")
        assert taken.name == "hill-climb 7 of the other bench"


def _newer(document: dict[str, Any]) -> None:
    document["version"] = 2


def _twice(document: dict[str, Any]) -> None:
    document["jobs"].append(deepcopy(document["jobs"][0]))


def _same_uid(document: dict[str, Any]) -> None:
    document["jobs"][0]["findings"][0]["uid"] = document["jobs"][0]["captures"][0]["uid"]


def _deep(document: dict[str, Any]) -> None:
    inner: dict[str, Any] = {}
    document["jobs"][0]["captures"][0]["result"] = inner
    for _ in range(900):
        inner["more"] = {}
        inner = inner["more"]


def _huge(document: dict[str, Any]) -> None:
    document["jobs"][0]["captures"][0]["events"][0]["tick"] = 10**30


def _astray(document: dict[str, Any]) -> None:
    document["jobs"][0]["findings"][0]["capture"] = "0" * 32


def _escape(document: dict[str, Any]) -> None:
    document["jobs"][0]["technician"] = "\x1b[2Jada"


def _unknown_key(document: dict[str, Any]) -> None:
    document["jobs"][0]["script"] = "rm"


def _details(document: dict[str, Any]) -> None:
    document["jobs"][0]["details"]["hours"] = 310


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (_newer, "a newer Borewright wrote version 2"),
        (_twice, "twice"),
        (_same_uid, "the same thing twice"),
        (_deep, "nested deeper"),
        (_huge, "too large"),
        (_astray, "belongs to nothing in it"),
        (_escape, "text that cannot be shown"),
        (_unknown_key, "script"),
        (_details, "hours"),
    ],
)
def test_a_document_that_is_not_right_is_refused_whole(
    tmp_path: Path, exported: Path, change: Callable[[dict[str, Any]], None], said: str
) -> None:
    assert said in left_alone(tmp_path / "other.db", changed(exported, change))


def npz(**arrays: Any) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        for name, array in arrays.items():
            column = io.BytesIO()
            np.lib.format.write_array(column, np.asarray(array), allow_pickle=True)
            archive.writestr(f"{name}.npy", column.getvalue())
    return packed.getvalue()


def header_only(shape: tuple[int, ...]) -> bytes:
    """A column whose header claims more than there is."""
    column = io.BytesIO()
    np.lib.format.write_array_header_1_0(column, {"descr": "<i8", "fortran_order": False, "shape": shape})
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("tick.npy", column.getvalue())
    return packed.getvalue()


ODD = np.zeros(3, np.int64)
GOOD = {"tick": ODD, "index": ODD, "crank_count": ODD, "raw": np.zeros((2, 3), np.uint16), "flags": np.zeros(3, np.uint16)}


@pytest.mark.parametrize(
    ("samples", "said"),
    [
        (b"not a zip", "not a zip"),
        (npz(tick=np.array([{"a": 1}], dtype=object)), "tick.npy"),
        (header_only((2**50,)), "tick.npy"),
        (npz(**GOOD), "tick_rate_hz.npy is missing"),
        (npz(**GOOD, tick_rate_hz=np.int64(0)), "have no sense"),
        (npz(**(GOOD | {"flags": np.zeros(2, np.uint16)}), tick_rate_hz=np.int64(1000)), "equal length"),
        (npz(**GOOD, tick_rate_hz=np.int64(1000)), "holds 3 samples, not 30"),
    ],
)
def test_samples_that_are_none_are_refused(tmp_path: Path, exported: Path, samples: bytes, said: str) -> None:
    with zipfile.ZipFile(exported) as archive:
        name = next(name for name in archive.namelist() if name.startswith("samples/"))
    assert said in left_alone(tmp_path / "other.db", changed(exported, lambda _: None, {name: samples}))


def test_another_photo_under_the_same_name_is_refused(tmp_path: Path, exported: Path) -> None:
    name = f"photos/{hashlib.sha256(PHOTO).hexdigest()}"
    assert "not the one that was exported" in left_alone(
        tmp_path / "other.db", changed(exported, lambda _: None, {name: b"another"})
    )


@pytest.mark.parametrize("octets", [b"", b"PK\x05\x06" + b"\0" * 18, b"{}"])
def test_what_is_no_job_file_is_said_to_be_none(tmp_path: Path, octets: bytes) -> None:
    path = tmp_path / "file.zip"
    path.write_bytes(octets)
    with pytest.raises(UseError, match=r"file\.zip: this is no job file, or it is damaged"):
        read_job_file(path)


def test_a_file_with_flipped_bytes_is_damaged_and_never_a_traceback(tmp_path: Path, exported: Path) -> None:
    whole = exported.read_bytes()
    path = tmp_path / "flipped.zip"
    refused = 0
    for at in range(40, len(whole) - 40, max(1, len(whole) // 150)):
        path.write_bytes(whole[:at] + bytes(octet ^ 0xFF for octet in whole[at : at + 7]) + whole[at + 7 :])
        try:
            read_job_file(path)
        except UseError:
            refused += 1
    assert refused > 100  # what is left lies in dates and attributes that nothing reads


def test_an_exponent_beyond_all_numbers_is_refused(tmp_path: Path, exported: Path) -> None:
    with zipfile.ZipFile(exported) as archive:
        text = archive.read("job.json").decode().replace("7.123456789012345", "1e999")
    assert "too large" in left_alone(tmp_path / "other.db", changed(exported, lambda _: None, {"job.json": text.encode()}))


def test_a_record_a_folder_and_what_is_there_are_not_written_over(tmp_path: Path) -> None:
    with a_record(tmp_path / "shop.db"):
        pass
    before = (tmp_path / "shop.db").read_bytes()
    for path, replace_it in (
        (tmp_path / "shop.db", True),
        (tmp_path / "shop.db", False),
        (tmp_path, True),
        (Path("/dev/null"), True),
    ):
        with pytest.raises(UseError, match=r"left alone|never written over"):
            save_new(path, b"report", replace=replace_it)
    assert (tmp_path / "shop.db").read_bytes() == before
    (tmp_path / "report.pdf.part").write_text("mine", encoding="utf-8")
    save_new(tmp_path / "report.pdf", b"report")
    assert sorted(path.name for path in tmp_path.iterdir() if "report" in path.name) == ["report.pdf", "report.pdf.part"]
    assert (tmp_path / "report.pdf.part").read_text(encoding="utf-8") == "mine"


def test_half_a_file_is_damaged(tmp_path: Path, exported: Path) -> None:
    path = tmp_path / "half.zip"
    path.write_bytes(exported.read_bytes()[:-200])
    with pytest.raises(UseError, match="damaged"):
        read_job_file(path)


def test_a_test_under_way_is_not_exported(tmp_path: Path) -> None:
    with a_record(tmp_path / "one.db") as (store, job):
        store.begin_capture(job, 1)
        with pytest.raises(UseError, match="is being recorded"):
            outgoing(store, [store.get_job(job)])
