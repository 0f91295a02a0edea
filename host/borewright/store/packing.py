"""Raw samples as one block of bytes, and back, bit for bit.

A block is a header (format 1, samples, channels, tick rate), a CRC-32 of all else, and one zlib stream. In it each column stands as
its first differences, which are small or constant, and the differences by byte planes, which zlib squeezes best. Differences wrap,
so that nothing is out of range.
"""

from __future__ import annotations

import struct
import zlib

import numpy as np
import numpy.typing as npt

from borewright.core.samples import SampleColumns

__all__ = ["pack", "unpack"]

_HEADER = struct.Struct("<BIHI")
_CHECK = struct.Struct("<I")
_FORMAT = 1
_WIDE = np.dtype("<u8")
_NARROW = np.dtype("<u2")


def pack(columns: SampleColumns) -> bytes:
    """The columns as bytes.

    >>> import numpy as np
    >>> n = np.arange(1000)
    >>> raw = np.full((2, 1000), 410, np.uint16)
    >>> packed = pack(SampleColumns(n * 1000, n, n * 0, raw, np.zeros(1000, np.uint16), 1_000_000))
    >>> len(packed) < 400, int(unpack(packed).tick[-1])
    (True, 999000)
    """
    channels, n = columns.raw.shape
    planes = [
        *(_squeeze(column, _WIDE) for column in (columns.tick, columns.index, columns.crank_count)),
        _squeeze(columns.flags, _NARROW),
        *(_squeeze(row, _NARROW) for row in columns.raw),
    ]
    header, stream = _HEADER.pack(_FORMAT, n, channels, columns.tick_rate_hz), zlib.compress(b"".join(planes), 1)
    return header + _CHECK.pack(zlib.crc32(stream, zlib.crc32(header))) + stream


def unpack(packed: bytes) -> SampleColumns:
    """The columns that were packed. Raises ValueError when the bytes are damaged or of an unknown format."""
    try:
        form, n, channels, tick_rate_hz = _HEADER.unpack_from(packed)
        if form != _FORMAT:
            raise ValueError(f"packed samples of format {form}; this program knows format {_FORMAT}")
        (check,) = _CHECK.unpack_from(packed, _HEADER.size)
        stream = packed[_HEADER.size + _CHECK.size :]
        if check != zlib.crc32(stream, zlib.crc32(packed[: _HEADER.size])):
            raise ValueError("packed samples are damaged (their checksum differs)")
        planes = zlib.decompress(stream)
    except (struct.error, zlib.error) as error:
        raise ValueError(f"packed samples are damaged ({error})") from error
    if len(planes) != n * (3 * 8 + 2 + 2 * channels):
        raise ValueError("packed samples are damaged (wrong length)")
    wide = [_stretch(planes[k * 8 * n : (k + 1) * 8 * n], _WIDE).view(np.int64) for k in range(3)]
    narrow = [_stretch(planes[24 * n + k * 2 * n : 24 * n + (k + 1) * 2 * n], _NARROW) for k in range(1 + channels)]
    raw = np.stack(narrow[1:]) if channels else np.zeros((0, n), np.uint16)
    return SampleColumns(wide[0], wide[1], wide[2], raw, narrow[0], tick_rate_hz)


def _squeeze(column: npt.NDArray[np.int64] | npt.NDArray[np.uint16], kind: np.dtype[np.unsignedinteger]) -> bytes:
    differences = np.diff(column.astype(kind), prepend=np.zeros(1, kind)).astype(kind, copy=False)
    return differences.view(np.uint8).reshape(-1, kind.itemsize).T.tobytes()


def _stretch(planes: bytes, kind: np.dtype[np.unsignedinteger]) -> npt.NDArray[np.unsignedinteger]:
    by_sample = np.frombuffer(planes, np.uint8).reshape(kind.itemsize, -1).T
    return np.cumsum(np.ascontiguousarray(by_sample).view(kind).ravel(), dtype=kind)
