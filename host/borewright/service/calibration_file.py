"""The calibration of a rig as one portable file: a JSON document with setup and checks, raw points and certificates in it."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, get_args

from borewright.core.calibration import Calibration, calibration_of, instrument_of
from borewright.core.kept import RESULTS
from borewright.core.plain import from_plain, to_plain
from borewright.core.rig import CheckKind, RigCheck, RigSetup
from borewright.errors import StoreError, UseError
from borewright.service.plain_file import octets_of
from borewright.service.rig_file import NUMBERS, QUANTITIES
from borewright.service.time_words import NO_DATE
from borewright.store.job_file import disk_words, save_new

__all__ = [
    "FORMAT",
    "LARGEST_BYTES",
    "VERSION",
    "calibration_text",
    "check_rig",
    "load_calibration",
    "read_calibration",
    "save_calibration",
]

FORMAT = "borewright rig calibration"
VERSION = 1
LARGEST_BYTES = 4_000_000
KEYS = ("format", "version", "device_serial", "setup", "checks")
CHECK_KEYS = ("check", "made_on", "made_at_unix_s", "made_by", "passed", "result")


def calibration_text(calibration: Calibration) -> str:
    """The file's text. Every key carries its unit; numbers come back exactly. Raises ValueError for a check that holds no result of
    its kind."""
    document = {
        "format": FORMAT,
        "version": VERSION,
        "device_serial": calibration.device_serial,
        "setup": to_plain(calibration.setup),
        "checks": [_check_document(check) for check in calibration.checks],
    }
    return json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _check_document(check: RigCheck) -> dict[str, Any]:
    from_plain(RESULTS[check.kind], check.result, f"{check.kind}.result")  # nothing is saved that could not be loaded
    return {
        "check": check.kind,
        "made_on": _date(check.made_at_unix_s),
        "made_at_unix_s": check.made_at_unix_s,
        "made_by": check.made_by,
        "passed": check.passed,
        "result": check.result,
    }


def _date(unix_s: float) -> str:
    try:
        return datetime.fromtimestamp(unix_s, UTC).strftime("%Y-%m-%d %H:%M UTC")
    except (ValueError, OverflowError, OSError):  # a clock that was far off made it
        return NO_DATE


def save_calibration(calibration: Calibration, path: Path) -> None:
    """Write the file, whole or not at all, never over a record or what is no plain file. Raises UseError."""
    try:
        text = calibration_text(calibration)
    except ValueError as error:
        raise UseError(f"the calibration cannot be saved ({error}); make that check anew") from error
    try:
        save_new(path, text.encode(), replace=True)
    except StoreError as error:
        raise UseError(f"{path}: the calibration cannot be written ({disk_words(error)}); give another path") from error


def load_calibration(path: Path, device_serial: str | None = None) -> Calibration:
    """The calibration in a file. Raises UseError with one sentence that names the file, the key and the reason."""
    try:
        octets = octets_of(path, LARGEST_BYTES)
    except OSError as error:
        raise UseError(f"{path}: the calibration cannot be read ({error.strerror}); give the path of a calibration file") from error
    return read_calibration(octets, str(path), device_serial)


def read_calibration(octets: bytes, source: str, device_serial: str | None = None) -> Calibration:
    """The calibration in the file's octets; source names it in errors.

    device_serial: of the device it has to belong to, None for any. Unknown or missing keys, wrong types, numbers that are not
    finite, a file over 4 MB, another version or another device raise UseError.
    """
    if len(octets) > LARGEST_BYTES:
        raise UseError(f"{source}: this is over {LARGEST_BYTES // 1_000_000} MB, which no calibration is; give a calibration file")
    try:
        document = json.loads(octets.decode("utf-8"), parse_constant=_no_constant, object_pairs_hook=_no_key_twice)
    except (UnicodeDecodeError, RecursionError, ValueError) as error:
        reason = str(error) if isinstance(error, _RefusedError) else "it is not JSON in UTF-8"
        raise UseError(f"{source}: the calibration cannot be read ({reason}); give a file that was saved as one") from None
    try:
        return _calibration(document, device_serial)
    except ValueError as error:
        raise UseError(f"{source}: {error}") from None


class _RefusedError(ValueError):
    """Read as JSON, but refused."""


def _no_constant(word: str) -> Any:
    raise _RefusedError(f"{word} is no number")


def _no_key_twice(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise _RefusedError("a key stands twice in one object")
    return found


def _calibration(document: Any, device_serial: str | None) -> Calibration:
    if type(document) is not dict or document.get("format") != FORMAT:
        raise ValueError(f'format: must be "{FORMAT}"; this is another kind of file')
    if document.get("version") != VERSION or type(document["version"]) is not int:
        raise ValueError(f"version: must be {VERSION}; a file of another version needs the program that wrote it")
    _keys(document, KEYS, "")
    serial = from_plain(str, document["device_serial"], "device_serial")
    if not serial:
        raise ValueError("device_serial: must not be empty")
    if device_serial is not None and serial != device_serial:
        raise ValueError(
            f'device_serial: this is the calibration of "{serial}", not of "{device_serial}"; load that of this device'
        )
    setup = from_plain(RigSetup, document["setup"], "setup")
    _plausible(setup)
    if type(document["checks"]) is not list or len(document["checks"]) > len(RESULTS):
        raise ValueError(f"checks: must be a list of {len(RESULTS)} at most")
    checks = [_check(item, f"checks[{number}]", serial) for number, item in enumerate(document["checks"])]
    calibration = calibration_of(serial, setup, checks)
    if len(calibration.checks) != len(checks):
        raise ValueError("checks: one stands twice, or was made with another setup; save the calibration anew")
    try:
        instrument_of(setup, calibration.by_kind, 101_325.0, 293.15)
    except ArithmeticError:
        raise ValueError("checks: they hold figures from which nothing can be computed; make them anew") from None
    return Calibration(serial, setup, tuple(checks))


def check_rig(setup: Any, checks: Sequence[Any]) -> None:
    """Whether a setup and checks from elsewhere, as plain data, are what a rig of ours can have.

    checks: their whole history, each with kind, passed and result; with the newest of each kind a reading has to be possible. What
    setup lacks is as usual. Raises ValueError that names the key.
    """
    known = from_plain(RigSetup, to_plain(RigSetup()) | setup, "setup")
    _plausible(known)
    made = [from_plain(RigCheck, check, f"checks[{number}]") for number, check in enumerate(checks)]
    for number, check in enumerate(made):
        from_plain(RESULTS[check.kind], check.result, f"checks[{number}].result")
    newest = {check.kind: check for check in sorted(made, key=lambda check: check.made_at_unix_s) if check.passed}
    try:
        instrument_of(known, calibration_of("", known, list(newest.values())).by_kind, 101_325.0, 293.15)
    except ArithmeticError:
        raise ValueError("checks: they hold figures from which nothing can be computed") from None


def _plausible(setup: RigSetup) -> None:
    usual = RigSetup()
    for _, low, high, field in QUANTITIES.values():
        value = getattr(setup, field)
        if not (low <= value <= high or value == getattr(usual, field)):  # what a rig does not have stands at its usual 0
            raise ValueError(f"setup.{field}: {value:g} is outside of what a rig can have")
    if not -101e3 <= setup.transducer_low_gauge_pa < setup.regulated_high_gauge_pa < setup.transducer_high_gauge_pa <= 10e6:
        raise ValueError("setup.transducer_high_gauge_pa: the range must rise and hold regulated_high_gauge_pa")
    if not setup.regulated_low_gauge_pa <= setup.set_pressure_gauge_pa <= setup.regulated_high_gauge_pa:
        raise ValueError("setup.set_pressure_gauge_pa: must lie between regulated_low_gauge_pa and regulated_high_gauge_pa")
    for field, (unit, highest) in NUMBERS.items():
        if not 0.0 <= getattr(setup, field) <= highest:
            raise ValueError(f"setup.{field}: must be a number of {unit} from 0 to {highest:g}")


def _check(item: Any, at: str, serial: str) -> RigCheck:
    _keys(item, CHECK_KEYS, at)
    if item["check"] not in get_args(CheckKind):
        raise ValueError(f"{at}.check: must be one of {', '.join(get_args(CheckKind))}")
    made_at = from_plain(float, item["made_at_unix_s"], f"{at}.made_at_unix_s")
    if not 0.0 <= made_at <= 4e10:
        raise ValueError(f"{at}.made_at_unix_s: must be seconds since 1970")
    if item["made_on"] != _date(made_at):
        raise ValueError(f"{at}.made_on: does not agree with made_at_unix_s, which is {_date(made_at)}")
    from_plain(RESULTS[item["check"]], item["result"], f"{at}.result")
    made_by = from_plain(str, item["made_by"], f"{at}.made_by")
    return RigCheck(item["check"], made_at, made_by, serial, from_plain(bool, item["passed"], f"{at}.passed"), item["result"])


def _keys(item: Any, keys: tuple[str, ...], at: str) -> None:
    if type(item) is not dict:
        raise ValueError(f"{at}: must be an object with keys")
    prefix = f"{at}." if at else ""
    for key in item:
        if key not in keys:
            raise ValueError(f"{prefix}{''.join(letter if letter.isprintable() else '?' for letter in key)[:60]}: is no key here")
    for key in keys:
        if key not in item:
            raise ValueError(f"{prefix}{key}: is missing")
