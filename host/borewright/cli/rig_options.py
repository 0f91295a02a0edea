"""What is typed after the rig's checks: options, and what is handed on of them."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Literal

from borewright.errors import UseError

if TYPE_CHECKING:
    from borewright.service.acts import Aim, Purpose
    from borewright.service.rig_stated import OrificeStated, Paper

__all__ = [
    "TDC_WAYS",
    "add_certificate_arguments",
    "add_orifice_arguments",
    "add_span_arguments",
    "orifice_purposes_of",
    "paper_of",
]

TDC_WAYS = ("piston-stop", "dial-gauge", "timing-mark", "locking-pin")


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


def orifices_of(args: argparse.Namespace) -> tuple[OrificeStated, ...]:
    """The orifices that were named, with what is said of each. Raises UseError where it is not said of each."""
    from borewright.service.rig_stated import OrificeStated

    by: Literal["area", "bore"] = "area" if args.orifice_area is not None else "bore"
    sizes = args.orifice_area if by == "area" else args.orifice_bore
    stated = _for_each("--orifice-u", args.orifice_u, len(sizes), one_for_all=True)
    serials = _for_each("--orifice-serial", args.orifice_serial, len(sizes), one_for_all=False)
    return tuple(OrificeStated(size, by, u, serial) for size, u, serial in zip(sizes, stated, serials, strict=True))


def orifice_purposes_of(args: argparse.Namespace, aim: Aim = "check") -> tuple[Purpose, ...]:
    """One capture for each orifice. Raises UseError for orifices that cannot serve."""
    from borewright.service.rig_stated import orifice_purposes

    return orifice_purposes(orifices_of(args), aim)


def _for_each(option: str, given: list[str] | None, count: int, *, one_for_all: bool) -> list[str]:
    if not given:
        return [""] * count
    if len(given) == 1 and one_for_all:
        return given * count
    if len(given) != count:
        raise UseError(f"{option} stands {len(given)} times for {count} orifices; give it once for each, in the same order")
    return list(given)


def paper_of(args: argparse.Namespace) -> Paper:
    """What the person states of gauge, orifices and transducers, for the record. Raises UseError."""
    from dataclasses import fields

    from borewright.service.rig_stated import PaperStated

    return PaperStated(**{field.name: getattr(args, field.name, None) or "" for field in fields(PaperStated)}).kept()
