"""The inputs that are kept: a zip for each target, made of what reached something new, and of every find."""

from __future__ import annotations

import hashlib
import io
import zipfile
from collections.abc import Iterable
from pathlib import Path

__all__ = ["FIND", "keep", "kept"]

CORPUS = Path(__file__).with_name("corpus")
FIND = "find-"
"""How the names of inputs begin that once broke something; they are never thrown out."""


def kept(target: str) -> dict[str, bytes]:
    """The inputs of a target by their names."""
    path = CORPUS / f"{target}.zip"
    if not path.exists():
        return {}
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name) for name in sorted(archive.namelist())}


def keep(target: str, finds: Iterable[bytes], others: Iterable[bytes], most_octets: int) -> int:
    """Write them, all finds and then the shortest of the others until the file is full; gives how many there are."""
    named = {FIND + _name(octets): octets for octets in finds}
    for octets in sorted(others, key=len):
        tried = named | {_name(octets): octets}
        if len(_packed(tried)) > most_octets:
            break
        named = tried
    CORPUS.mkdir(exist_ok=True)
    (CORPUS / f"{target}.zip").write_bytes(_packed(named))
    return len(named)


def _name(octets: bytes) -> str:
    return hashlib.sha256(octets).hexdigest()[:16]


def _packed(named: dict[str, bytes]) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as archive:
        for name, octets in sorted(named.items()):
            archive.writestr(zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0)), octets, compress_type=zipfile.ZIP_DEFLATED)
    return packed.getvalue()
