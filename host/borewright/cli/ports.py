"""borewright ports: the serial ports of this computer."""

from __future__ import annotations

import argparse
from dataclasses import asdict

from borewright.cli import exits
from borewright.cli.output import print_json, table_lines

__all__ = ["EXAMPLE", "add_arguments", "run"]

EXAMPLE = """example:
  borewright ports

Pseudo terminals and network ports are never listed; the program that made them says their names."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The options of ports."""
    parser.add_argument("--json", action="store_true", help="one JSON object")


def run(args: argparse.Namespace) -> int:
    """List the ports. Having none is no error."""
    from borewright.link import list_ports

    ports = list_ports()
    if args.json:
        print_json({"ports": [asdict(port) for port in ports]})
    elif ports:
        print("\n".join(table_lines(["port", "what", "hardware"], [[p.name, p.description, p.hardware_id] for p in ports])))
    else:
        print("no serial port was found; connect the rig, or start `borewright sim` and use the port that it prints")
    return exits.OK
