"""What the page of the rig asks of the record and of the computer, and how its checks stand at a glance."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from borewright.core.rig import CheckKind, RigCheck, RigSetup
from borewright.errors import UseError
from borewright.link import list_ports
from borewright.service.check_words import figures_of
from borewright.service.known_rig import (
    ORDER,
    Held,
    OtherRigError,
    TakenIn,
    known_calibration,
    save_known,
    take_in_file,
    validity_of,
)
from borewright.service.rig_file import load_rig_file
from borewright.service.shown_units import ShownUnits
from borewright.service.state import BenchState
from borewright.service.time_words import date_words
from borewright.store.store import Store

__all__ = [
    "HELD_WORDS",
    "SYMBOLS",
    "TITLES",
    "CheckRow",
    "FileOfOtherRig",
    "KnownRig",
    "PortChoice",
    "checks_at_a_glance",
    "keep_setup",
    "known_rigs",
    "load_checks",
    "ports_here",
    "read_setup",
    "save_checks",
    "setup_lines",
]

TITLES: dict[CheckKind, str] = {
    "zero": "Zero",
    "span": "Span",
    "sealed": "Sealed",
    "restrictor": "Restrictor",
    "acceptance": "Acceptance",
    "volumes": "Volumes",
    "tdc": "True TDC",
}
SYMBOLS: dict[Held, str] = {"held": "●", "none": "○", "too old": "◔", "lapsed": "✕", "not passed": "!"}
HELD_WORDS: dict[Held, str] = {
    "held": "Holds",
    "none": "Never made",
    "too old": "Too old",
    "lapsed": "Does not hold any more",
    "not passed": "Not passed",
}


@dataclass(frozen=True, slots=True)
class CheckRow:
    """One check as it stands. held_words, age: how it holds, and why; figures: what it found."""

    kind: CheckKind
    title: str
    held: Held
    symbol: str
    held_words: str
    age: str
    made: str
    figures: tuple[str, ...]

    @property
    def key_figure(self) -> str:
        """The one line that matters most; of a span what was found, not what it was found with."""
        return self.figures[min(1 if self.kind == "span" else 0, len(self.figures) - 1)] if self.figures else ""


def checks_at_a_glance(
    checks: Mapping[str, RigCheck], holding: Mapping[str, RigCheck], now_unix_s: float, units: ShownUnits, *, other_tdc: str = ""
) -> tuple[CheckRow, ...]:
    """Every kind of check in the order in which they are made. checks: the newest of each kind; holding: those of them in force.

    other_tdc: why a true TDC that is kept does not serve the crank that is there now; "" where it does.
    """
    return tuple(_row(kind, checks.get(kind), holding.get(kind), now_unix_s, units, other_tdc) for kind in ORDER)


def _row(
    kind: CheckKind, check: RigCheck | None, holding: RigCheck | None, now_unix_s: float, units: ShownUnits, other_tdc: str
) -> CheckRow:
    holds = check is not None and holding is not None and holding.made_at_unix_s >= check.made_at_unix_s
    found = validity_of(kind, check, now_unix_s, holds=holds)
    held, age = found.held, found.words.removeprefix(f"{HELD_WORDS['lapsed'].lower()}: ")
    if kind == "tdc" and held == "held" and other_tdc:
        held, age = "lapsed", other_tdc
    made = "" if check is None else f"{date_words(check.made_at_unix_s)}, {check.made_by}".rstrip(", ")
    figures = () if check is None else figures_of(check, units)
    return CheckRow(kind, TITLES[kind], held, SYMBOLS[held], HELD_WORDS[held], age, made, figures)


def other_tdc(state: BenchState) -> str:
    """Why the kept true TDC does not serve the engine and encoder that are there now; "" where it does, or there is none."""
    check = state.checks.get("tdc")
    if check is None or not check.passed or state.tdc is not None:
        return ""
    if state.stop is not None or state.tdc_way is not None:
        return "is being found anew; the earlier one was dropped when that began"
    if state.engine is None:
        return f"is that of {check.result.get('engine', 'an engine')}; open a job on that engine for it to count"
    if check.result.get("engine") != state.engine.name:
        return f"is that of {check.result.get('engine', 'another engine')}, not of {state.engine.name}"
    return "does not stand for this fitting of the encoder; find it anew"


# ---------------------------------------------------------------------- the record


@dataclass(frozen=True, slots=True)
class KnownRig:
    """A rig as the record has it. checks: the newest of each kind; holding: those of them that hold for its setup."""

    serial: str
    setup: RigSetup
    setup_given: bool
    checks: Mapping[str, RigCheck]
    holding: Mapping[str, RigCheck]


def known_rigs(store: Store, connected: str) -> tuple[KnownRig, ...]:
    """Every rig that was checked, and the one that is connected ("" for none) first."""
    serials = [serial for serial in store.checked_rigs() if serial != connected]
    return tuple(_known(store, serial) for serial in ([connected] if connected else []) + serials)


def _known(store: Store, serial: str) -> KnownRig:
    calibration = known_calibration(store, serial)
    return KnownRig(
        serial, calibration.setup, store.get_rig(serial) is not None, store.latest_rig_checks(serial), calibration.by_kind
    )


def save_checks(store: Store, serial: str, path: Path) -> str:
    """Write everything that is known of a rig to a file; what was written, in one sentence. Raises UseError."""
    calibration = save_known(store, serial, path)
    kinds = ", ".join(TITLES[check.kind].lower() if check.kind != "tdc" else TITLES["tdc"] for check in calibration.checks)
    return f"{path.name}: the calibration of rig {serial} was saved, with {kinds}"


@dataclass(frozen=True, slots=True)
class FileOfOtherRig:
    """The calibration file is of a rig that the record does not know: it is taken in only if the person means it."""

    words: str


def load_checks(store: Store, path: Path, other_rig: bool) -> TakenIn | FileOfOtherRig:
    """Take in a calibration file. Raises UseError with one sentence for a file that cannot be one."""
    try:
        return take_in_file(store, path, other_rig=other_rig)
    except OtherRigError as other:
        return FileOfOtherRig(str(other))


def taken_words(taken: TakenIn, source: str) -> str:
    """What came of loading a calibration file, in one sentence."""
    setup = "its setup was taken in" if taken.setup_taken else "its setup is as it was"
    names = [TITLES[check.kind].lower() if check.kind != "tdc" else TITLES["tdc"] for check in taken.taken]
    checks = f"taken in: {', '.join(names)}" if names else "no check was taken in, because the record has each as new"
    return f"{source}: rig {taken.serial}, {setup}; {checks}"


def read_setup(store: Store, path: Path) -> RigSetup:
    """The rig in a rig file. Raises UseError."""
    del store
    return load_rig_file(path)


def keep_setup(store: Store, serial: str, setup: RigSetup) -> None:
    """Keep the setup of a rig that is not connected now."""
    store.save_rig(serial, setup)


# ---------------------------------------------------------------------- the computer, and the setup in words


@dataclass(frozen=True, slots=True)
class PortChoice:
    """A serial port: its name, and what the system calls what is on it."""

    name: str
    words: str


def ports_here(store: Store) -> tuple[PortChoice, ...]:
    """The serial ports of this computer. Raises UseError where the system does not tell."""
    del store
    try:
        found = list_ports()
    except OSError as error:
        raise UseError(f"the system does not tell its serial ports ({error.strerror}); type the name of the port") from error
    return tuple(PortChoice(port.name, port.description if port.description != "n/a" else "") for port in found)


def setup_lines(setup: RigSetup, units: ShownUnits) -> tuple[tuple[str, str], ...]:
    """What the host has to know of a rig: name and value."""

    def pressure(gauge_pa: float) -> str:
        return units.text(gauge_pa, "pressure_gauge", "kPa")

    lines = [
        ("Rig", setup.name),
        ("Transducers", f"{pressure(setup.transducer_low_gauge_pa)} to {pressure(setup.transducer_high_gauge_pa)}"),
        ("Restrictor", f"{units.text(setup.restrictor_area_m2, 'area', 'mm²')} as an ideal nozzle"),
        ("Test pressure", pressure(setup.set_pressure_gauge_pa)),
        ("Regulated", f"{pressure(setup.regulated_low_gauge_pa)} to {pressure(setup.regulated_high_gauge_pa)}"),
        ("Cylinder side rated", pressure(setup.rated_cylinder_side_gauge_pa)),
        ("Dead volume", units.text(setup.dead_volume_m3, "volume", "cm³")),
        ("Hose and adapter", units.text(setup.hose_volume_m3, "volume", "cm³")),
        ("Counts in running direction", "rise" if setup.running_sign > 0 else "fall"),
        ("Slack of the restraint", f"{setup.restraint_slack_deg:g}°"),
    ]
    if setup.spare_high_gauge_pa > 0.0:
        lines.append(("Spare gauge up to", pressure(setup.spare_high_gauge_pa)))
    return tuple(lines)
