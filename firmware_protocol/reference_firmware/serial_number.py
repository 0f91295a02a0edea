"""Write the file for the EEPROM that holds a rig's serial number: python3 serial_number.py BW-0001 build/serial.eep

The file is Intel hex and holds only the octets of the serial number, so that writing it leaves the count of resets alone.
"""

from __future__ import annotations

import binascii
import sys
from collections.abc import Sequence
from pathlib import Path

LONGEST = 32
"""Octets of a serial number at most: HAL_SERIAL_NUMBER_MAX of hal.h."""

_OCTETS_IN_A_LINE = 16


def saved_form(serial: str) -> bytes:
    """What stands at the beginning of the EEPROM: length, text filled up with zeros, CRC-16/IBM-3740, low octet first.

    Raises ValueError when the serial number is empty, longer than 32 octets, or not of printable ASCII.

    >>> saved_form("BW-0001")[:8], len(saved_form("BW-0001"))
    (b'\\x07BW-0001', 35)
    """
    if not serial or len(serial) > LONGEST or not serial.isascii() or not serial.isprintable():
        raise ValueError(f"{serial!r} is no serial number: use 1 to {LONGEST} printable ASCII characters")
    text = serial.encode()
    checked = bytes([len(text)]) + text.ljust(LONGEST, b"\0")
    return checked + binascii.crc_hqx(checked, 0xFFFF).to_bytes(2, "little")


def intel_hex(octets: bytes) -> str:
    """The octets from address 0 on as Intel hex.

    >>> print(intel_hex(b"AB"), end="")
    :0200000041427B
    :00000001FF
    """
    lines = []
    for at in range(0, len(octets), _OCTETS_IN_A_LINE):
        data = octets[at : at + _OCTETS_IN_A_LINE]
        record = bytes([len(data), at >> 8, at & 0xFF, 0]) + data
        lines.append(f":{record.hex()}{-sum(record) & 0xFF:02x}".upper())
    return "\n".join([*lines, ":00000001FF", ""])


def main(words: Sequence[str]) -> int:
    if len(words) != 2:
        print("usage: serial_number.py SERIAL FILE.eep", file=sys.stderr)
        return 2
    try:
        text = intel_hex(saved_form(words[0]))
    except ValueError as error:
        print(error, file=sys.stderr)
        return 2
    Path(words[1]).write_text(text, encoding="ascii")
    print(f"{words[1]}: serial number {words[0]}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
