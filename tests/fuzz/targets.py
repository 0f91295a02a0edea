"""What hostile octets are thrown at: one function for each reader of octets or files that anybody may have written.

Each takes any octets. Only the reader's planned error may come out, as one sentence that a terminal can show; what it accepts has
to be usable. Anything else leaves the function as an exception, which is a find.
"""

from __future__ import annotations

import atexit
import io
import json
import shutil
import tempfile
import zipfile
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

from boresim.rig import SimRig
from boresim.scenario import ScenarioError, load_scenario
from borewire.codec import BadFrame, Decoder, Received, UnknownMessage, encode
from borewright.core.limit_sets import LimitSet
from borewright.errors import UseError
from borewright.service.calibration_file import calibration_text, load_calibration, read_calibration
from borewright.service.engines import engine_from_document, load_engine
from borewright.service.job_import import checked_job_file
from borewright.service.limit_files import find_limits
from borewright.service.rig_file import load_rig_file

__all__ = ["SEEDS", "TARGETS", "job_seeds"]

LONGEST_SENTENCE = 520
HELD_OCTETS = 254
ROOT = Path(__file__).resolve().parents[2]
FOLDER = Path(tempfile.mkdtemp(prefix="borewright-fuzz-"))
atexit.register(shutil.rmtree, FOLDER, ignore_errors=True)


def refused(read: Callable[[], Any], *planned: type[Exception]) -> Any:
    """What read gives; None where it refuses as planned."""
    try:
        return read()
    except planned as error:
        said = str(error)
        assert said.isprintable(), ascii(said)
        assert len(said) < LONGEST_SENTENCE, f"{len(said)} characters"
        return None


def written(octets: bytes, name: str) -> Path:
    path = FOLDER / name
    path.write_bytes(octets)
    return path


# ---------------------------------------------------------------------- the wire


def decoder(octets: bytes) -> None:
    """Two octets say whose ear and how the rest is cut; the events must not depend on it."""
    if len(octets) < 2:
        return
    side: Any = "host" if octets[0] & 1 else "device"
    rest = octets[2:]
    whole, cut = Decoder(side), Decoder(side)
    events = whole.feed(rest)
    pieces: list[Received] = []
    step, at = 1 + octets[1] % 64, 0
    while at < len(rest):
        pieces += cut.feed(rest[at : at + step])
        at += step
        step = 1 + (step * 7 + octets[1]) % 64
        assert sum(len(value) for value in vars(cut).values() if isinstance(value, bytes)) <= HELD_OCTETS
    assert pieces == events
    assert cut.counters == whole.counters
    assert len(events) <= len(rest) + 1
    assert whole.counters.bytes_discarded <= len(rest)
    for event in events:
        if not isinstance(event, BadFrame | UnknownMessage):
            assert Decoder(side).feed(b"\0" + encode(event))[-1] == event


# ---------------------------------------------------------------------- files


def scenario(octets: bytes) -> None:
    """A scenario that is accepted can be played."""
    found = refused(lambda: load_scenario(str(written(octets, "odd.toml"))), ScenarioError)
    if found is not None:
        rig = SimRig(found)
        rig.advance(0.02)
        rig.transmit()


def engine(octets: bytes) -> None:
    """An engine that is accepted can be kept in the record and comes back as the same."""
    found = refused(lambda: load_engine(written(octets, "odd.toml")), UseError)
    if found is not None:
        known, document = found
        kept = json.loads(json.dumps(document, allow_nan=False))
        assert engine_from_document(kept, "kept") == known


def limits(octets: bytes) -> None:
    """A set of limits that is accepted has a band for every reading."""
    found = refused(lambda: find_limits(str(written(octets, "odd.toml"))), UseError)
    if found is not None:
        assert isinstance(found, LimitSet)
        for percent in (0.0, 1e-9, 12.5, 99.9, 100.0):
            assert found.band_of(percent).name


def rig_file(octets: bytes) -> None:
    """A rig that is accepted has a fingerprint."""
    found = refused(lambda: load_rig_file(written(octets, "odd.toml")), UseError)
    assert found is None or found.fingerprint


def calibration(octets: bytes) -> None:
    """A calibration that is accepted comes back from its own text as the same."""
    found = refused(lambda: load_calibration(written(octets, "odd.json")), UseError)
    if found is not None:
        assert read_calibration(calibration_text(found).encode(), "again") == found


def job_file(octets: bytes) -> None:
    """The first octet says what the rest is: the file itself, its document, or the samples that its document names."""
    if not octets:
        return
    kind, rest = octets[0] % 3, octets[1:]
    members = dict(_job_members())
    if kind == 1:
        members["job.json"] = rest
    elif kind == 2:
        members = {name: rest if name.startswith("samples/") else data for name, data in members.items()}
    path = written(rest if kind == 0 else _zipped(members), "odd.zip")
    refused(lambda: checked_job_file(path), UseError)


def _zipped(members: dict[str, bytes]) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        for name, data in members.items():
            archive.writestr(zipfile.ZipInfo(name), data)
    return packed.getvalue()


# ---------------------------------------------------------------------- what the search begins with

RIG_FILE = b"""name = "bench 2"
transducer_range = ["0 kPa", "700 kPa"]
restrictor_bore = "0.040 in"
hose_volume = "45 cm^3"
regulated_highest = "90 psi"
restraint_slack_deg = 0.5
encoder_counts_rise = false
"""


@cache
def _job_members() -> dict[str, bytes]:
    """The members of a small job file: one test with few samples, a finding, a photo."""
    with zipfile.ZipFile(io.BytesIO((Path(__file__).with_name("seed_job.zip")).read_bytes())) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def job_seeds() -> list[bytes]:
    """A job file, its document, its samples."""
    members = _job_members()
    samples = [data for name, data in members.items() if name.startswith("samples/")]
    return [b"\0" + _zipped(members), b"\1" + members["job.json"], *(b"\2" + data for data in samples)]


def _files(*patterns: str) -> list[bytes]:
    return [path.read_bytes() for pattern in patterns for path in sorted(ROOT.glob(pattern))]


def _frames() -> list[bytes]:
    found = []
    for side, name in ((b"\0\5", "device"), (b"\1\5", "host")):
        cases = json.loads((ROOT / f"firmware_protocol/vectors/accept/to_{name}.json").read_text(encoding="utf-8"))["cases"]
        found += [side + bytes.fromhex(case["frame"]) for case in cases if "frame" in case]
    return found


TARGETS: dict[str, Callable[[bytes], None]] = {
    "decoder": decoder,
    "scenario": scenario,
    "engine": engine,
    "limits": limits,
    "rig_file": rig_file,
    "calibration": calibration,
    "job_file": job_file,
}
SEEDS: dict[str, Callable[[], list[bytes]]] = {
    "decoder": _frames,
    "scenario": lambda: [text for text in _files("simulator/scenarios/*.toml") if b"[operator]" in text or b"like" in text],
    "engine": lambda: _files("simulator/scenarios/*_engine.toml"),
    "limits": lambda: _files("host/borewright/service/limit_sets/*.toml"),
    "rig_file": lambda: [RIG_FILE],
    "calibration": lambda: _files("tests/fuzz/seed_calibration.json"),
    "job_file": job_seeds,
}
"""The search begins with what people really write."""

