"""Rig files: what a shop has to say of its rig that the device does not, in TOML with units.

    name = "bench 2"
    transducer_range = ["0 kPa", "700 kPa"]
    restrictor_bore = "0.040 in"
    hose_volume = "45 cm^3"
    encoder_counts_rise = false

Every key may be left out; then the reference rig's value stands.
"""

from __future__ import annotations

from dataclasses import asdict
from math import pi
from pathlib import Path
from typing import Any

from borewire.toml_file import read_toml

from borewright.core.rig import RigSetup
from borewright.errors import UseError
from borewright.service.plain_file import text_of
from borewright.units import Dimension, UnitsError, parse

__all__ = ["load_rig_file", "read_rig_file"]

# key of the file: (dimension, lowest, highest in SI, field of RigSetup)
QUANTITIES: dict[str, tuple[Dimension, float, float, str]] = {
    "restrictor_area": ("area", 1e-9, 1e-4, "restrictor_area_m2"),
    "set_pressure": ("pressure_gauge", 50e3, 1.5e6, "set_pressure_gauge_pa"),
    "regulated_lowest": ("pressure_gauge", 20e3, 2e6, "regulated_low_gauge_pa"),
    "regulated_highest": ("pressure_gauge", 50e3, 2e6, "regulated_high_gauge_pa"),
    "rated_cylinder_side": ("pressure_gauge", 100e3, 10e6, "rated_cylinder_side_gauge_pa"),
    "spare_range_top": ("pressure_gauge", 1e3, 1e6, "spare_high_gauge_pa"),
    "dead_volume": ("volume", 1e-7, 1e-2, "dead_volume_m3"),
    "hose_volume": ("volume", 1e-7, 1e-2, "hose_volume_m3"),
}
LARGEST_FILE = 100_000  # octets; a rig file has a few hundred
LARGEST_SLACK_DEG = 5.0
NUMBERS = {"restraint_slack_deg": ("degrees", LARGEST_SLACK_DEG), "converter_nonlinearity_lsb": ("steps of the converter", 8.0)}
OTHER_KEYS = ("name", "transducer_range", "restrictor_bore", "encoder_counts_rise", *NUMBERS)


def load_rig_file(path: Path) -> RigSetup:
    """The rig in a TOML file. Raises UseError with one sentence that names the file, the key and the reason."""
    try:
        text = text_of(path, LARGEST_FILE)
    except OSError as error:
        reason = error.strerror or "the disk refuses"
        raise UseError(f"{path}: the rig file cannot be read ({reason}); give the path of a rig file in TOML") from error
    return read_rig_file(text, str(path))


def read_rig_file(text: str, source: str) -> RigSetup:
    """The rig in a TOML text; source names it in errors.

    Pressures are gauge pressures. encoder_counts_rise: whether the counts rise in the running direction. Raises UseError.

    >>> setup = read_rig_file('transducer_range = ["0 kPa", "700 kPa"]\\nencoder_counts_rise = false', "bench.toml")
    >>> setup.transducer_high_gauge_pa, setup.running_sign
    (700000.0, -1)
    """
    try:
        document = read_toml(text)
    except ValueError as error:
        raise UseError(f"{source}: {error}") from None
    values = asdict(RigSetup())
    for key, value in document.items():
        if key in QUANTITIES:
            dimension, low, high, field = QUANTITIES[key]
            values[field] = _quantity(source, key, value, dimension, low, high)
        elif key in OTHER_KEYS:
            _take_other(values, source, key, value)
        else:
            raise _wrong(source, key, f"is no key of a rig file; it has {', '.join([*QUANTITIES, *OTHER_KEYS])}")
    if "restrictor_area" in document and "restrictor_bore" in document:
        raise _wrong(source, "restrictor_bore", "cannot stand beside restrictor_area; leave one of them out")
    setup = RigSetup(**values)
    _check_order(source, setup)
    return setup


def _take_other(values: dict[str, Any], source: str, key: str, value: Any) -> None:
    match key:
        case "name":
            if not isinstance(value, str) or not 0 < len(value) <= 80:
                raise _wrong(source, key, "must be a text of 1 to 80 characters")
            values["name"] = value
        case "transducer_range":
            if not isinstance(value, list) or len(value) != 2:
                raise _wrong(source, key, 'must be a lower and an upper gauge pressure, like ["0 kPa", "1000 kPa"]')
            low, high = (_quantity(source, key, end, "pressure_gauge", -101e3, 10e6) for end in value)
            values |= {"transducer_low_gauge_pa": low, "transducer_high_gauge_pa": high}
        case "restrictor_bore":
            values["restrictor_area_m2"] = pi / 4.0 * _quantity(source, key, value, "length", 1e-4, 1e-2) ** 2
        case "encoder_counts_rise":
            if not isinstance(value, bool):
                raise _wrong(source, key, "must be true or false")
            values["running_sign"] = 1 if value else -1
        case _:
            what, largest = NUMBERS[key]
            if isinstance(value, bool) or not isinstance(value, int | float) or not 0.0 <= value <= largest:
                raise _wrong(source, key, f"must be a number of {what} from 0 to {largest:g}")
            values[key] = float(value)


def _quantity(source: str, key: str, value: Any, dimension: Dimension, low: float, high: float) -> float:
    if not isinstance(value, str):
        raise _wrong(source, key, "must be a text with a number and its unit")
    try:
        si = parse(value, dimension)
    except UnitsError as error:
        raise _wrong(source, key, str(error)) from error
    if not low <= si <= high:
        raise _wrong(source, key, f"{value} is outside of what a rig can have; look at the unit")
    return si


def _check_order(source: str, setup: RigSetup) -> None:
    if setup.transducer_high_gauge_pa <= setup.transducer_low_gauge_pa:
        raise _wrong(source, "transducer_range", "must rise from its lower to its upper end")
    if not setup.regulated_low_gauge_pa <= setup.set_pressure_gauge_pa <= setup.regulated_high_gauge_pa:
        raise _wrong(source, "set_pressure", "must lie between regulated_lowest and regulated_highest; give all three")
    if setup.regulated_high_gauge_pa >= setup.transducer_high_gauge_pa:
        raise _wrong(source, "regulated_highest", "must lie under the upper end of transducer_range, or nobody would see it passed")
    if setup.regulated_high_gauge_pa > setup.rated_cylinder_side_gauge_pa:
        raise _wrong(source, "regulated_highest", "must not be above rated_cylinder_side")


def _wrong(source: str, key: str, reason: str) -> UseError:
    return UseError(f"{source}: {key}: {reason}")
