"""What is kept of the rigs: shown, saved to a portable file, loaded from one. None of it needs a rig."""

from __future__ import annotations

import argparse
import json
import time
from math import pi
from typing import TYPE_CHECKING

from borewright.cli import exits
from borewright.cli.at_the_rig import LARGE_RESTRICTOR_M, SMALL_RESTRICTOR_M
from borewright.cli.output import date_words
from borewright.cli.record import open_store
from borewright.cli.rig_words import check_as_dict, check_words
from borewright.errors import UseError

if TYPE_CHECKING:
    from borewright.core.calibration import Calibration
    from borewright.core.rig import RigCheck
    from borewright.store import Store

__all__ = ["load", "save", "show"]


def show(args: argparse.Namespace) -> int:
    """What is missing or overdue first, then every check."""
    from borewright.cli.shown import shown_units

    units = shown_units(args)
    now_s = time.time()
    with open_store(args, create=False) as store:
        serials = [args.serial] if args.serial else store.checked_rigs()
        rigs = {serial: (store.latest_rig_checks(serial), _calibration(store, serial)) for serial in serials}
    if args.json:
        document = {serial: [check_as_dict(check) for check in found.values()] for serial, (found, _) in rigs.items()}
        print(json.dumps(document, allow_nan=False))
        return exits.OK
    if not any(found for found, _ in rigs.values()):
        print("no check has been made yet")
    for serial, (found, calibration) in rigs.items():
        print(f"rig {serial}")
        for words in calibration.due(now_s):
            print(f"  ! {words}")
        for check in found.values():
            print("  " + check_words(check, units).replace("\n", "\n  "))
            print(f"    {_age(check, now_s, holds=check in calibration.checks)}")
    return exits.OK


def save(args: argparse.Namespace) -> int:
    """Write everything that is known of one rig to a file."""
    from borewright.service.calibration_file import save_calibration

    with open_store(args, create=False) as store:
        serial = args.serial or _only_rig(store)
        calibration = _calibration(store, serial)
    if not calibration.checks:
        raise UseError(f"of rig {serial} no check holds for its setup; make the checks, or name another rig with --serial")
    save_calibration(calibration, args.file)
    print(f"{args.file}: rig {serial}, {', '.join(check.kind for check in calibration.checks)}")
    return exits.OK


def load(args: argparse.Namespace) -> int:
    """Take in such a file: the rig's setup, and the checks that the record does not have yet."""
    from borewright.service.calibration_file import load_calibration

    calibration = load_calibration(args.file, args.serial)
    serial = calibration.device_serial
    with open_store(args) as store:
        known = store.checked_rigs()
        if known and serial not in known and not args.other_rig and args.serial is None:
            raise UseError(
                f"{args.file} is the calibration of rig {serial}, and the record knows {', '.join(known)}; "
                "say --other-rig to take in another one"
            )
        before = store.latest_rig_checks(serial)
        taken: list[RigCheck] = []
        left: list[RigCheck] = []
        for check in calibration.checks:
            newer = check.kind not in before or before[check.kind].made_at_unix_s < check.made_at_unix_s
            (taken if newer else left).append(check)
        setup_changes = store.get_rig(serial) != calibration.setup
        if setup_changes:
            store.save_rig(serial, calibration.setup)
        for check in taken:
            store.add_rig_check(check)
    if args.json:
        print(json.dumps({"rig": serial, "setup_taken": setup_changes, "checks_taken": [check.kind for check in taken]}))
        return exits.OK
    print(f"rig {serial}: setup {calibration.setup.name!r} {'taken in' if setup_changes else 'as it was'}")
    for check in taken:
        print(f"  taken in: {check.kind}, {date_words(check.made_at_unix_s)}, {check.made_by}")
    for check in left:
        print(f"  left, because the record has one as new: {check.kind}, {date_words(check.made_at_unix_s)}")
    return exits.OK


def _calibration(store: Store, serial: str) -> Calibration:
    """What holds of a rig. Where no setup was ever given it is one of the two that measure and rig take by themselves."""
    from borewright.core.calibration import Calibration, calibration_of
    from borewright.core.rig import RigSetup
    from borewright.service.checks import still_holding

    found = store.latest_rig_checks(serial)
    setup = store.get_rig(serial)
    usual = [RigSetup(restrictor_area_m2=pi / 4.0 * bore_m**2) for bore_m in (SMALL_RESTRICTOR_M, LARGE_RESTRICTOR_M)]
    each = [calibration_of(serial, one, found.values()) for one in ([setup] if setup is not None else usual)]
    fullest = max(each, key=lambda calibration: len(calibration.checks))
    holding = still_holding(fullest.by_kind)
    return Calibration(serial, fullest.setup, tuple(holding.values()))


def _age(check: RigCheck, now_s: float, *, holds: bool) -> str:
    from borewright.core.calibration import interval_s

    if not holds:
        return "does not hold any more: the rig's setup or the transducers' calibration has changed since"
    age_s, allowed_s = max(0.0, now_s - check.made_at_unix_s), interval_s(check)
    if allowed_s is None:
        return f"{_time(age_s)} old; holds for this fitting of the encoder"
    return f"{_time(age_s)} old, {_time(allowed_s)} allowed"


def _time(seconds: float) -> str:
    """A time as people say it.

    >>> _time(5400.0), _time(10 * 86400.0)
    ('1.5 hours', '10 days')
    """
    return f"{seconds / 3600.0:.1f} hours" if seconds < 2.0 * 86400.0 else f"{seconds / 86400.0:.0f} days"


def _only_rig(store: Store) -> str:
    known = store.checked_rigs()
    if not known:
        raise UseError("no rig has been checked yet; make its checks before they are saved")
    if len(known) > 1:
        raise UseError(f"the record knows several rigs; name one with --serial: {', '.join(known)}")
    return known[0]
