"""What the record knows of a rig: which of its checks hold, how old each is and may be, and its calibration file in and out."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi
from pathlib import Path
from typing import Literal

from borewright.core.calibration import NOUNS, Calibration, calibration_of, interval_s
from borewright.core.engine import Engine
from borewright.core.rig import CheckKind, RigCheck, RigSetup
from borewright.errors import UseError
from borewright.service.calibration_file import load_calibration, save_calibration
from borewright.service.checks import still_holding
from borewright.service.time_words import age_words
from borewright.store import Store

__all__ = [
    "ORDER",
    "OtherRigError",
    "TakenIn",
    "Validity",
    "known_calibration",
    "save_known",
    "take_in",
    "take_in_file",
    "usual_setup",
    "validity_of",
]

SMALL_RESTRICTOR_M = 0.040 * 0.0254  # FAA Safety Team tip, November 2011: bores under 5.00 in; from there on 0.060 in
LARGE_RESTRICTOR_M = 0.060 * 0.0254
LARGE_BORE_M = 5.00 * 0.0254
CLOCK_SLACK_S = 3600.0
ORDER: tuple[CheckKind, ...] = ("zero", "span", "sealed", "restrictor", "acceptance", "volumes", "tdc")

Held = Literal["held", "none", "too old", "lapsed", "not passed"]


def usual_setup(engine: Engine | None) -> RigSetup:
    """The reference rig, with the restrictor that is usual for the engine's bore; what is taken where no rig file was ever given.

    >>> usual_setup(None).restrictor_area_m2 == RigSetup().restrictor_area_m2
    True
    """
    bore_m = LARGE_RESTRICTOR_M if engine is not None and engine.bore_m >= LARGE_BORE_M else SMALL_RESTRICTOR_M
    return RigSetup(restrictor_area_m2=pi / 4.0 * bore_m**2)


# ---------------------------------------------------------------------- how far a check holds


@dataclass(frozen=True, slots=True)
class Validity:
    """Whether a check holds now. words: with its age and the age that is allowed, one line."""

    kind: CheckKind
    held: Held
    words: str
    check: RigCheck | None = None


def validity_of(kind: CheckKind, check: RigCheck | None, now_unix_s: float, *, holds: bool) -> Validity:
    """Of the newest check of a kind, None where there is none. holds: it belongs to the setup and the calibration in force.

    >>> validity_of("tdc", None, 0.0, holds=False)
    Validity(kind='tdc', held='none', words='true TDC was never found', check=None)
    >>> zero = RigCheck("zero", 1000.0, "R. Holm", "R-1", True)
    >>> validity_of("zero", zero, 8200.0, holds=True).words
    '2.0 hours old, 12.0 hours allowed'
    """
    if check is None:
        verb = "found" if kind == "tdc" else "measured" if kind == "volumes" else "made"
        were = "were" if kind == "volumes" else "was"
        return Validity(kind, "none", f"{NOUNS[kind]} {were} never {verb}")
    if not check.passed:
        return Validity(kind, "not passed", f"did not pass, {age_words(max(0.0, now_unix_s - check.made_at_unix_s))} ago", check)
    if not holds:
        return Validity(kind, "lapsed", _LAPSED, check)
    age_s, allowed_s = now_unix_s - check.made_at_unix_s, interval_s(check)
    if age_s < -CLOCK_SLACK_S:
        return Validity(kind, "too old", "dated in the future; look at the clock, or make it anew", check)
    old = f"{age_words(max(0.0, age_s))} old"
    if allowed_s is None:
        return Validity(kind, "held", f"{old}; holds for this fitting of the encoder", check)
    return Validity(kind, "too old" if age_s > allowed_s else "held", f"{old}, {age_words(allowed_s)} allowed", check)


_LAPSED = "does not hold any more: the rig's setup or the transducers' calibration has changed since"


# ---------------------------------------------------------------------- the calibration as one


def known_calibration(store: Store, serial: str) -> Calibration:
    """What holds of a rig. Where no setup was ever given it is one of the two that are taken by themselves."""
    found = store.latest_rig_checks(serial)
    setup = store.get_rig(serial)
    usual = [RigSetup(restrictor_area_m2=pi / 4.0 * bore_m**2) for bore_m in (SMALL_RESTRICTOR_M, LARGE_RESTRICTOR_M)]
    each = [calibration_of(serial, one, found.values()) for one in ([setup] if setup is not None else usual)]
    fullest = max(each, key=lambda calibration: len(calibration.checks))
    holding = still_holding(fullest.by_kind)
    return Calibration(serial, fullest.setup, tuple(holding.values()))


def save_known(store: Store, serial: str, path: Path) -> Calibration:
    """Write everything that is known of one rig to a file; gives what was written. Raises UseError."""
    calibration = known_calibration(store, serial)
    if not calibration.checks:
        raise UseError(f"of rig {serial} no check holds for its setup; make the checks first")
    save_calibration(calibration, path)
    return calibration


@dataclass(frozen=True, slots=True)
class TakenIn:
    """What came of loading a calibration file. left: the record has one as new."""

    serial: str
    setup: RigSetup
    setup_taken: bool
    taken: tuple[RigCheck, ...]
    left: tuple[RigCheck, ...]


class OtherRigError(UseError):
    """The file is of a rig that the record does not know, beside others that it knows."""


def take_in(store: Store, calibration: Calibration, source: Path, *, other_rig: bool = False) -> TakenIn:
    """Take in a calibration: the rig's setup, and the checks that the record does not have yet.

    other_rig: also of a rig that the record does not know while it knows others; else that raises OtherRigError.
    """
    serial = calibration.device_serial
    known = store.checked_rigs()
    if known and serial not in known and not other_rig:
        raise OtherRigError(
            f"{source} is the calibration of rig {serial}, and the record knows {', '.join(known)}; "
            "take it in as another rig only if it is one"
        )
    before = store.latest_rig_checks(serial)
    taken: list[RigCheck] = []
    left: list[RigCheck] = []
    for check in calibration.checks:
        newer = check.kind not in before or before[check.kind].made_at_unix_s < check.made_at_unix_s
        (taken if newer else left).append(check)
    setup_taken = store.get_rig(serial) != calibration.setup
    if setup_taken:
        store.save_rig(serial, calibration.setup)
    for check in taken:
        store.add_rig_check(check)
    return TakenIn(serial, calibration.setup, setup_taken, tuple(taken), tuple(left))


def take_in_file(store: Store, path: Path, *, other_rig: bool = False) -> TakenIn:
    """Load a calibration file and take it in. Raises UseError, OtherRigError among them."""
    return take_in(store, load_calibration(path), path, other_rig=other_rig)
