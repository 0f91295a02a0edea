"""What a job is told beside its tests: whose engine, how far it has run, how warm it is, what its compression was."""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from borewright.errors import UseError

if TYPE_CHECKING:
    from borewright.units import Dimension

__all__ = ["add_details_arguments", "details_of"]


def add_details_arguments(parser: argparse.ArgumentParser, *, engine_temp: bool = True) -> None:
    """The options that describe a job. engine_temp: whether --engine-temp is one of them; commands at the rig have it already."""
    parser.add_argument("--customer", metavar="REF", help="the customer's reference")
    parser.add_argument("--technician", metavar="NAME", help="who does the work")
    parser.add_argument("--hours", metavar="TEXT", help='hours run, as the meter shows them, like "1240 h"')
    parser.add_argument("--distance", metavar="TEXT", help='distance run, like "84000 km"')
    if engine_temp:
        parser.add_argument("--engine-temp", metavar="T", help='the engine\'s temperature, like "75 degC"')
    parser.add_argument("--oil-temp", metavar="T", help='the oil\'s temperature, like "80 degC"')
    parser.add_argument("--hot", action="store_true", default=None, help="this is to be a test of the hot engine")
    parser.add_argument(
        "--compression",
        metavar="N=P",
        action="append",
        help='an earlier compression reading, as context, like 1="12.1 bar"; repeat it for each cylinder',
    )
    parser.add_argument("--remark", metavar="TEXT", help="anything else that belongs to the job")


def details_of(args: argparse.Namespace, before: Mapping[str, Any] | None = None) -> dict[str, Any]:
    """The details of a job as the record keeps them: those of before, with what these options say in their place.

    Raises UseError for an option that cannot be.
    """
    details = dict(before or {})
    for key, text in (("hours", args.hours), ("distance", args.distance), ("text", args.remark)):
        if text is not None:
            details[key] = text
    for key, option in (("engine_temperature_k", "engine_temp"), ("oil_temperature_k", "oil_temp")):
        if (text := getattr(args, option)) is not None:
            details[key] = _parsed(f"--{option.replace('_', '-')}", text, "temperature")
    if args.hot is not None:
        details["hot"] = args.hot
    if args.compression:
        details["compression_gauge_pa"] = dict(details.get("compression_gauge_pa", {})) | dict(map(_reading, args.compression))
    return _checked(details)


def _reading(words: str) -> tuple[str, float]:
    cylinder, equals, pressure = words.partition("=")
    if not equals or not cylinder.strip().isdecimal():
        raise UseError(f'--compression {words}: say the cylinder and its reading, like 1="12.1 bar"')
    return str(int(cylinder)), _parsed("--compression", pressure, "pressure_gauge")


def _parsed(option: str, text: str, dimension: Dimension) -> float:
    from borewright.units import UnitsError, parse

    try:
        return parse(text, dimension)
    except UnitsError as error:
        raise UseError(f"{option}: {error}") from None


def _checked(details: dict[str, Any]) -> dict[str, Any]:
    from borewright.core.job_details import JobDetails

    try:
        return JobDetails.from_dict(details).as_dict()
    except ValueError as error:
        raise UseError(f"the job cannot be described like that: {error}") from None
