"""What is kept of the rigs: shown, saved to a portable file, loaded from one. None of it needs a rig."""

from __future__ import annotations

import argparse
import json
import time
from typing import TYPE_CHECKING

from borewright.cli import exits
from borewright.cli.output import date_words
from borewright.cli.record_file import open_store
from borewright.cli.rig_words import check_as_dict
from borewright.core.plain_text import printable
from borewright.errors import UseError

if TYPE_CHECKING:
    from borewright.store import Store

__all__ = ["load", "save", "show"]


def show(args: argparse.Namespace) -> int:
    """What is missing or overdue first, then every check."""
    from borewright.cli.shown import shown_units
    from borewright.service.check_words import check_words
    from borewright.service.known_rig import known_calibration, validity_of
    from borewright.service.set_clock import set_back_words

    units = shown_units(args)
    now_s = time.time()
    with open_store(args, create=False) as store:
        serials = [args.serial] if args.serial else store.checked_rigs()
        latest_unix_s = store.latest_unix_s()
        rigs = {serial: (store.latest_rig_checks(serial), known_calibration(store, serial)) for serial in serials}
    if args.json:
        document = {serial: [check_as_dict(check) for check in found.values()] for serial, (found, _) in rigs.items()}
        print(json.dumps(document, allow_nan=False))
        return exits.OK
    if not any(found for found, _ in rigs.values()):
        print("no check has been made yet")
    if (behind := set_back_words(latest_unix_s, now_s)) is not None:
        print(f"! {behind}")
    for serial, (found, calibration) in rigs.items():
        print(f"rig {printable(serial)}")
        for words in calibration.due(now_s):
            print(f"  ! {words}")
        for check in found.values():
            print("  " + check_words(check, units).replace("\n", "\n  "))
            print(f"    {validity_of(check.kind, check, now_s, holds=check in calibration.checks).words}")
    return exits.OK


def save(args: argparse.Namespace) -> int:
    """Write everything that is known of one rig to a file."""
    from borewright.service.known_rig import save_known

    with open_store(args, create=False) as store:
        serial = args.serial or _only_rig(store)
        calibration = save_known(store, serial, args.file)
    print(f"{args.file}: rig {printable(serial)}, {', '.join(check.kind for check in calibration.checks)}")
    return exits.OK


def load(args: argparse.Namespace) -> int:
    """Take in such a file: the rig's setup, and the checks that the record does not have yet."""
    from borewright.service.calibration_file import load_calibration
    from borewright.service.known_rig import OtherRigError, take_in

    calibration = load_calibration(args.file, args.serial)
    with open_store(args) as store:
        try:
            found = take_in(store, calibration, args.file, other_rig=args.other_rig or args.serial is not None)
        except OtherRigError as other:
            raise UseError(f"{other} (--other-rig)") from None
    if args.json:
        taken = [check.kind for check in found.taken]
        print(json.dumps({"rig": found.serial, "setup_taken": found.setup_taken, "checks_taken": taken}))
        return exits.OK
    print(f"rig {printable(found.serial)}: setup {found.setup.name!r} {'taken in' if found.setup_taken else 'as it was'}")
    for check in found.taken:
        print(f"  taken in: {check.kind}, {date_words(check.made_at_unix_s)}, {check.made_by}")
    for check in found.left:
        print(f"  left, because the record has one as new: {check.kind}, {date_words(check.made_at_unix_s)}")
    return exits.OK


def _only_rig(store: Store) -> str:
    known = store.checked_rigs()
    if not known:
        raise UseError("no rig has been checked yet; make its checks before they are saved")
    if len(known) > 1:
        raise UseError(f"the record knows several rigs; name one with --serial: {', '.join(known)}")
    return known[0]
