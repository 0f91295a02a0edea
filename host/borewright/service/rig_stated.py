"""What a person states of gauge, orifices, restrictor and TDC, in words with units, and what it means in SI.

Certificates state expanded uncertainties (k = 2); what comes out of here is standard. Every UseError is one sentence.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from math import pi, sqrt
from typing import Literal

from borewright.errors import UseError
from borewright.service.acts import Aim, Purpose, StateBore
from borewright.units import Dimension, parse

__all__ = [
    "BORE_FORMS",
    "DEGREES_OFF",
    "LARGEST_BACKLASH_DEG",
    "BoreForm",
    "OrificeStated",
    "Paper",
    "PaperStated",
    "backlash_of",
    "bore_of",
    "degrees_of",
    "drop_of",
    "orifice_purposes",
    "share_or_size",
]

BoreForm = Literal["sharp", "short cylinder", "rounded", "unknown"]
Paper = tuple[tuple[str, float | str], ...]

BORE_FORMS: tuple[BoreForm, ...] = ("unknown", "sharp", "short cylinder", "rounded")
DEGREES_OFF = {"timing_mark": 60.0, "locking_pin": 180.0}
LARGEST_BACKLASH_DEG = 5.0
LARGEST_DROP_M = 0.05
USUAL_DROP_M = 1e-3
USUAL_U_ORIFICE = 0.01  # standard, where nothing is stated
LONGEST_TEXT = 100


@dataclass(frozen=True, slots=True)
class OrificeStated:
    """One orifice. size: its effective area, or by "bore" that of an ideal nozzle; u: of the area; "" where nothing is stated."""

    size: str
    by: Literal["area", "bore"] = "area"
    u: str = ""
    serial: str = ""


@dataclass(frozen=True, slots=True)
class PaperStated:
    """Serial numbers, certificate and uncertainty of what a check is made with; "" where nothing is stated."""

    certificate: str = ""
    certificate_date: str = ""
    gauge_serial: str = ""
    regulated_serial: str = ""
    cylinder_serial: str = ""
    gauge_u: str = ""
    gauge_step: str = ""

    def kept(self) -> Paper:
        """As BeginRound has it. Raises UseError.

        >>> PaperStated(gauge_serial="G-114", gauge_u="0.05 %").kept()
        (('gauge_serial', 'G-114'), ('gauge_u_relative', 0.00025))
        """
        paper: dict[str, float | str] = {}
        for name in ("certificate", "gauge_serial", "regulated_serial", "cylinder_serial"):
            if getattr(self, name):
                paper[name] = _text(f"the {name.replace('_', ' ')}", getattr(self, name))
        if self.certificate_date:
            paper["certified_at_unix_s"] = _day(self.certificate_date)
        return tuple((paper | self._gauge()).items())

    def _gauge(self) -> dict[str, float]:
        """The uncertainty of one reading: a share of what the gauge shows, and so many pascals with half of its smallest step."""
        if not self.gauge_u and not self.gauge_step:
            return {}
        step_pa = parse(self.gauge_step, "pressure_gauge") if self.gauge_step else 0.0
        share, size_pa = share_or_size(self.gauge_u, "pressure_gauge") if self.gauge_u else (None, None)
        u_pa = sqrt(((size_pa or 0.0) / 2.0) ** 2 + step_pa**2 / 12.0)
        if not (u_pa <= 20e3 and (size_pa or 0.0) >= 0.0 and step_pa >= 0.0 and (share or 0.0) <= 0.1 and (u_pa > 0.0 or share)):
            raise UseError("the stated uncertainty of the gauge, or its smallest step, cannot be right; look at the unit")
        found: dict[str, float] = {}
        if share is not None:
            found["gauge_u_relative"] = share / 2.0
        elif size_pa is not None:
            found["gauge_u_relative"] = 0.0
        if u_pa > 0.0:
            found["gauge_u_pa"] = u_pa
        return found


def orifice_purposes(orifices: tuple[OrificeStated, ...], aim: Aim = "check") -> tuple[Purpose, ...]:
    """One capture for each orifice: one, or for the check of the restrictor three and more. Raises UseError.

    >>> [purpose.orifice_u_relative for purpose in orifice_purposes((OrificeStated("0.8 mm^2", u="0.6 %"),))]
    [0.003]
    """
    areas = [_area_m2(orifice) for orifice in orifices]
    if len(areas) == 2 or not areas or (aim != "check" and len(areas) > 1):
        raise UseError(f"{len(areas)} orifices cannot serve here; give one" + (", or three and more" if aim == "check" else ""))
    if len(set(areas)) < len(areas):
        raise UseError("two of the orifices have the same area; give different ones")
    return tuple(
        Purpose(
            "restrictor",
            orifice_area_m2=area_m2,
            aim=aim,
            orifice_u_relative=_u_relative(orifice.u, area_m2) if orifice.u else USUAL_U_ORIFICE,
            orifice_serial=_text("the serial number of the orifice", orifice.serial) if orifice.serial else "",
        )
        for area_m2, orifice in zip(areas, orifices, strict=True)
    )


def _area_m2(orifice: OrificeStated) -> float:
    if orifice.by == "area":
        area_m2 = parse(orifice.size, "area")
    else:
        bore_m = parse(orifice.size, "length")
        area_m2 = pi / 4.0 * bore_m * abs(bore_m)
    if not 1e-9 <= area_m2 <= 1e-4:
        raise UseError(f"an orifice of {area_m2 * 1e6:g} mm² cannot serve here; between 0.001 and 100 mm² can")
    return area_m2


def _u_relative(text: str, area_m2: float) -> float:
    share, size_m2 = share_or_size(text, "area")
    found = share / 2.0 if share is not None else (size_m2 or 0.0) / area_m2 / 2.0
    if not 0.0 <= found <= 0.25:
        raise UseError(f"{text} cannot be the uncertainty of a certified orifice; give a share under 50 %")
    return found


def bore_of(bore: str, u: str, form: BoreForm) -> StateBore:
    """The restrictor by its own bore, known to u (k = 2). Raises UseError.

    >>> bore_of("0.040 in", "0.01 mm", "short cylinder").u_bore_m
    5e-06
    """
    bore_m, u_m = parse(bore, "length"), parse(u, "length") / 2.0
    if not (1e-4 <= bore_m <= 1e-2 and 0.0 <= u_m <= bore_m / 4.0):
        raise UseError(f"a bore of {bore}, known to {u}, cannot be that of a restrictor; between 0.1 and 10 mm can")
    return StateBore(bore_m, u_m, form)


# ---------------------------------------------------------------------- true TDC


def backlash_of(text: str) -> float:
    """The play between crank and encoder in degrees; nothing stands for none. Raises UseError.

    >>> backlash_of(""), backlash_of("0,5°")
    (0.0, 0.5)
    """
    backlash_deg = _number(text) if text.strip() else 0.0
    if not 0.0 <= backlash_deg <= LARGEST_BACKLASH_DEG:
        raise UseError(f"a backlash of {text.strip()} cannot be right; give 0 to {LARGEST_BACKLASH_DEG:g} degrees")
    return backlash_deg


def drop_of(text: str) -> float:
    """The drop in metres at which a dial gauge is read; nothing stands for 1 mm. Raises UseError.

    >>> drop_of(""), drop_of("0.5 mm")
    (0.001, 0.0005)
    """
    drop_m = parse(text, "length") if text.strip() else USUAL_DROP_M
    if not 0.0 < drop_m < LARGEST_DROP_M:
        raise UseError(f"a drop of {text} cannot be read at the top of a stroke; 0.5 to 5 mm serve best")
    return drop_m


def degrees_of(text: str, method: Literal["timing_mark", "locking_pin"]) -> float:
    """How many degrees before TDC a timing mark or a locking pin stands for; nothing stands for TDC itself. Raises UseError.

    >>> degrees_of("-4,5", "timing_mark"), degrees_of("", "locking_pin")
    (-4.5, 0.0)
    """
    degrees = _number(text) if text.strip() else 0.0
    if not abs(degrees) <= DEGREES_OFF[method]:
        raise UseError(f"{text!r} cannot be used here; type a number of degrees, {DEGREES_OFF[method]:g} at most")
    return degrees


def _number(text: str) -> float:
    try:
        return float(text.replace(",", ".").strip().removesuffix("°").strip())
    except ValueError:
        return float("nan")


# ---------------------------------------------------------------------- words


def share_or_size(text: str, dimension: Dimension) -> tuple[float | None, float | None]:
    """(share, None) of "0.5 %", else (None, SI value). Raises UseError.

    >>> share_or_size("0.5 %", "area"), share_or_size("0.1 kPa", "pressure_gauge")
    ((0.005, None), (None, 100.0))
    """
    if not text.strip().endswith("%"):
        return None, parse(text, dimension)
    try:
        share = float(text.strip().removesuffix("%").replace(",", ".")) / 100.0
    except ValueError:
        share = float("nan")
    if not 0.0 <= share < 1.0:
        raise UseError(f"{text!r} is no share; write it like '0.5 %'")
    return share, None


def _text(what: str, text: str) -> str:
    if not 0 < len(text.strip()) <= LONGEST_TEXT or not text.isprintable():
        raise UseError(f"{what} must be a text of 1 to {LONGEST_TEXT} characters that can be printed")
    return text.strip()


def _day(text: str) -> float:
    try:
        at = datetime.strptime(text.strip(), "%Y-%m-%d").replace(tzinfo=UTC)
    except ValueError:
        raise UseError(f"{text!r} is no date; write it like 2026-03-31") from None
    if at > datetime.now(UTC):
        raise UseError(f"a certificate of {text} would come from the future; look at the date")
    return at.timestamp()
