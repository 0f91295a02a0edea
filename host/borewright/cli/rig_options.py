"""What is typed after the rig's checks: options, and what they mean in SI. Certificates state expanded uncertainties (k = 2)."""

from __future__ import annotations

import argparse
from datetime import UTC, datetime
from math import pi, sqrt
from typing import TYPE_CHECKING

from borewright.errors import UseError

if TYPE_CHECKING:
    from borewright.core.rig import RigSetup
    from borewright.service.acts import Aim, Purpose

__all__ = [
    "DEGREES_OFF",
    "TDC_WAYS",
    "add_certificate_arguments",
    "add_orifice_arguments",
    "add_span_arguments",
    "orifice_purposes",
    "paper_of",
    "pressures",
    "share_or_size",
    "sweep_of",
]

TDC_WAYS = ("piston-stop", "dial-gauge", "timing-mark", "locking-pin")
DEGREES_OFF = {"timing_mark": 60.0, "locking_pin": 180.0}
SEALED_SHARES = (0.4, 0.7, 1.0)
SPAN_SHARES = (0.25, 0.5, 0.75, 1.0)
USUAL_U_ORIFICE = 0.01  # standard, where nothing is stated
LONGEST_TEXT = 100

Paper = tuple[tuple[str, float | str], ...]


def add_certificate_arguments(parser: argparse.ArgumentParser, what: str) -> None:
    """The certificate of a gauge or an orifice."""
    parser.add_argument("--certificate", metavar="NUMBER", help=f"number of the certificate of the {what}")
    parser.add_argument("--certificate-date", metavar="YYYY-MM-DD", help="its date; after a year show says that it is due")


def add_orifice_arguments(parser: argparse.ArgumentParser, *, several: bool) -> None:
    """Certified orifices."""
    size = parser.add_mutually_exclusive_group(required=True)
    again = "; repeat it for three or more orifices" if several else ""
    size.add_argument(
        "--orifice-area",
        metavar="AREA",
        action="append",
        help=f'effective area on the certificate, for instance "0.80 mm^2"{again}',
    )
    size.add_argument(
        "--orifice-bore",
        metavar="BORE",
        action="append",
        help='bore of an orifice that is taken as an ideal nozzle: "1.0 mm"' + again,
    )
    if several:
        size.add_argument("--bore", metavar="BORE", help="the bore of the restrictor itself; no air is needed, and less is known")
        parser.add_argument(
            "--bore-form",
            choices=("sharp", "short cylinder", "rounded", "unknown"),
            default="unknown",
            help="how the bore is made (%(default)s)",
        )
        parser.add_argument("--bore-u", metavar="LENGTH", default="0.01 mm", help="uncertainty of the bore, k = 2 (%(default)s)")
    parser.add_argument(
        "--orifice-u",
        metavar="U",
        action="append",
        help='uncertainty of the area, k = 2: "0.6 %%" or an area; once for all, or once for each (2 %%, where nothing is stated)',
    )
    parser.add_argument("--orifice-serial", metavar="NUMBER", action="append", help="serial number of the orifice; once for each")
    add_certificate_arguments(parser, "orifices" if several else "orifice")


def add_span_arguments(parser: argparse.ArgumentParser) -> None:
    """The reference gauge and the points."""
    parser.add_argument(
        "--pressure", metavar="P", action="append", help="a point of the sweep; repeat it (four up to the test pressure)"
    )
    parser.add_argument("--rising-only", action="store_true", help="do not come down again; for a regulator that does not relieve")
    parser.add_argument("--gauge-serial", metavar="NUMBER", help="serial number of the reference gauge")
    parser.add_argument(
        "--gauge-u", metavar="U", help='uncertainty of the gauge, k = 2: a share like "0.05 %%" or a pressure (0.5 %% and 1 kPa)'
    )
    parser.add_argument("--gauge-step", metavar="P", help="the smallest step that can be read off it")
    parser.add_argument("--regulated-serial", metavar="NUMBER", help="serial number of the transducer before the restrictor")
    parser.add_argument("--cylinder-serial", metavar="NUMBER", help="serial number of the transducer after it")
    add_certificate_arguments(parser, "reference gauge")


# ---------------------------------------------------------------------- what they mean


def pressures(given: list[str] | None, setup: RigSetup) -> tuple[float, ...]:
    """The pressures of a sealed check, rising, so that the regulator is left at the highest; by default three up to the test's."""
    from borewright.units import parse

    if not given:
        return tuple(share * setup.set_pressure_gauge_pa for share in SEALED_SHARES)
    return tuple(sorted(parse(text, "pressure_gauge") for text in given))


def sweep_of(args: argparse.Namespace, setup: RigSetup) -> tuple[float, ...]:
    """The points of a sweep, rising and falling."""
    from borewright.units import parse

    if args.pressure:
        rising = tuple(sorted({parse(text, "pressure_gauge") for text in args.pressure}))
    else:
        rising = tuple(share * setup.set_pressure_gauge_pa for share in SPAN_SHARES)
    return rising if args.rising_only else rising + rising[-2::-1]


def orifice_purposes(args: argparse.Namespace, aim: Aim = "check") -> tuple[Purpose, ...]:
    """One capture for each orifice. Raises UseError for orifices that cannot serve."""
    from borewright.service.acts import Purpose
    from borewright.units import parse

    if args.orifice_area is not None:
        areas = [parse(text, "area") for text in args.orifice_area]
    else:
        bores = [parse(text, "length") for text in args.orifice_bore]
        areas = [pi / 4.0 * bore_m * abs(bore_m) for bore_m in bores]
    for area_m2 in areas:
        if not 1e-9 <= area_m2 <= 1e-4:
            raise UseError(f"an orifice of {area_m2 * 1e6:g} mm² cannot serve here; between 0.001 and 100 mm² can")
    if len(areas) == 2 or (aim != "check" and len(areas) > 1):
        raise UseError(f"{len(areas)} orifices cannot serve here; give one" + (", or three and more" if aim == "check" else ""))
    if len(set(areas)) < len(areas):
        raise UseError("two of the orifices have the same area; give different ones")
    stated = _for_each("--orifice-u", args.orifice_u, len(areas), one_for_all=True)
    serials = _for_each("--orifice-serial", args.orifice_serial, len(areas), one_for_all=False)
    return tuple(
        Purpose(
            "restrictor",
            orifice_area_m2=area_m2,
            aim=aim,
            orifice_u_relative=USUAL_U_ORIFICE if u is None else _share(u, area_m2),
            orifice_serial=_text("--orifice-serial", serial),
        )
        for area_m2, u, serial in zip(areas, stated, serials, strict=True)
    )


def _share(text: str, area_m2: float) -> float:
    share, size = share_or_size(text, "area")
    found = share / 2.0 if share is not None else (size or 0.0) / area_m2 / 2.0
    if not 0.0 <= found <= 0.25:
        raise UseError(f"--orifice-u {text} cannot be the uncertainty of a certified orifice; give a share under 50 %")
    return found


def _for_each(option: str, given: list[str] | None, count: int, *, one_for_all: bool) -> list[str | None]:
    if not given:
        return [None] * count
    if len(given) == 1 and one_for_all:
        return [given[0]] * count
    if len(given) != count:
        raise UseError(f"{option} stands {len(given)} times for {count} orifices; give it once for each, in the same order")
    return list(given)


def share_or_size(text: str, dimension: str) -> tuple[float | None, float | None]:
    """(share, None) of "0.5 %", else (None, SI value). Raises UseError.

    >>> share_or_size("0.5 %", "area"), share_or_size("0.1 kPa", "pressure_gauge")
    ((0.005, None), (None, 100.0))
    """
    from borewright.units import parse

    if not text.strip().endswith("%"):
        return None, parse(text, dimension)  # type: ignore[arg-type]
    try:
        share = float(text.strip().removesuffix("%").replace(",", ".")) / 100.0
    except ValueError:
        share = float("nan")
    if not 0.0 <= share < 1.0:
        raise UseError(f"{text!r} is no share; write it like '0.5 %'")
    return share, None


def paper_of(args: argparse.Namespace) -> Paper:
    """What the person states of gauge, orifices and transducers, for the record."""
    from borewright.units import parse

    paper: dict[str, float | str] = {}
    for option in ("certificate", "gauge_serial", "regulated_serial", "cylinder_serial"):
        if getattr(args, option, None):
            paper[option] = _text("--" + option.replace("_", "-"), getattr(args, option))
    if getattr(args, "certificate_date", None):
        paper["certified_at_unix_s"] = _day(args.certificate_date)
    step = getattr(args, "gauge_step", None)
    step_pa = 0.0 if step is None else parse(step, "pressure_gauge")
    if getattr(args, "gauge_u", None) or step is not None:
        share, size_pa = (None, None) if args.gauge_u is None else share_or_size(args.gauge_u, "pressure_gauge")
        u_pa = sqrt(((size_pa or 0.0) / 2.0) ** 2 + step_pa**2 / 12.0)
        if not (u_pa <= 20e3 and (size_pa or 0.0) >= 0.0 and step_pa >= 0.0 and (share or 0.0) <= 0.1 and (u_pa > 0.0 or share)):
            raise UseError("the stated uncertainty of the gauge cannot be right; look at --gauge-u and --gauge-step")
        if share is not None:
            paper["gauge_u_relative"] = share / 2.0
        elif size_pa is not None:
            paper["gauge_u_relative"] = 0.0
        if u_pa > 0.0:
            paper["gauge_u_pa"] = u_pa
    return tuple(paper.items())


def _text(option: str, text: str | None) -> str:
    if text is None:
        return ""
    if not 0 < len(text.strip()) <= LONGEST_TEXT or not text.isprintable():
        raise UseError(f"{option} must be a text of 1 to {LONGEST_TEXT} characters that can be printed")
    return text.strip()


def _day(text: str) -> float:
    try:
        at = datetime.strptime(text.strip(), "%Y-%m-%d").replace(tzinfo=UTC)
    except ValueError:
        raise UseError(f"{text!r} is no date; write it like 2026-03-31") from None
    if at > datetime.now(UTC):
        raise UseError(f"a certificate of {text} would come from the future; look at the date")
    return at.timestamp()
