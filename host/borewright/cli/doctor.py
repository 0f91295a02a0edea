"""borewright doctor: what is installed, what rig answers, how good the link to it is. It never lets air in."""

from __future__ import annotations

import argparse
import platform
from importlib import metadata
from typing import TYPE_CHECKING, Any

from borewright import __version__
from borewright.cli import exits
from borewright.cli.output import print_json, table_lines
from borewright.core.plain_text import printable
from borewright.errors import LinkError

if TYPE_CHECKING:
    from borewright.cli.listening import Listener

__all__ = ["EXAMPLE", "add_arguments", "run"]

EXAMPLE = """examples:
  borewright doctor
  borewright doctor --port /dev/ttyACM0

With --port it asks the rig who it is and listens to its samples for two seconds. It moves no valve but at its end, when it has the
rig vent. The exit code is 1 when a package is missing or the link lost something."""

PACKAGES = (
    "numpy",
    "scipy",
    "pyserial",
    "pint",
    "SQLAlchemy",
    "alembic",
    "jsonschema",
    "PySide6-Essentials",
    "pyqtgraph",
    "reportlab",
)
LISTENS_S = 2.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The options of doctor."""
    parser.add_argument("--port", metavar="URL", help="also look at the rig on this port: a name, or socket://HOST:PORT")
    parser.add_argument("--json", action="store_true", help="one JSON object")


def run(args: argparse.Namespace) -> int:
    """Say what is there. Raises LinkError when the rig cannot be talked to, after having said what is installed."""
    packages = {name: _version(name) for name in PACKAGES}
    troubles = [f"{name} is not installed; install borewright again" for name, version in packages.items() if version is None]
    installed: dict[str, Any] = {
        "borewright": __version__,
        "python": platform.python_version(),
        "system": platform.platform(),
        "packages": packages,
    }
    if not args.json:
        rows = [[key, str(installed[key])] for key in ("borewright", "python", "system")]
        rows += [[name, version or "missing"] for name, version in packages.items()]
        print("\n".join(table_lines(["what", "version"], rows)), flush=True)
    heard: dict[str, Any] = {}
    lost: LinkError | None = None
    if args.port is not None:
        try:
            heard = _listen(args.port, troubles)
        except LinkError as error:
            lost = error
    if args.json:
        no_rig = {} if lost is None else {"rig": None}
        print_json(installed | heard | no_rig | {"troubles": [*troubles, *([] if lost is None else [str(lost)])]})
    else:
        print("\n".join([*_in_words(heard), *(f"trouble: {trouble}" for trouble in troubles)]))
    if lost is not None:
        raise lost
    return exits.UNUSABLE if troubles else exits.OK


def _version(package: str) -> str | None:
    try:
        return metadata.version(package)
    except metadata.PackageNotFoundError:
        return None


def _listen(port: str, troubles: list[str]) -> dict[str, Any]:
    from borewright.cli.listening import listening, rig_as_dict
    from borewright.link import open_link

    with listening(open_link(port)) as listener:
        listener.listen(until=lambda: listener.streaming)
        until_s = listener.seconds + LISTENS_S
        listener.listen(until=lambda: listener.seconds >= until_s)
    if listener.identity is None:
        raise LinkError("the rig did not say who it is; restart it and try again")
    link = listener.link_as_dict()
    _judge(listener, link, troubles)
    return {"rig": rig_as_dict(listener.identity, listener.channels), "link": link | _as_the_rig_sees_it(listener)}


def _judge(listener: Listener, link: dict[str, int], troubles: list[str]) -> None:
    advice = "check cable, plugs and earth"
    if not listener.streaming or listener.events["silences"]:
        troubles.append(f"the rig fell silent while it was listened to; {advice}")
    if link["frames_bad"]:
        troubles.append(f"{link['frames_bad']} of {link['frames_good'] + link['frames_bad']} frames came damaged; {advice}")
    if link["gaps"]:
        troubles.append(f"{link['missing_blocks']} blocks of samples are missing; {advice}")
    troubles.extend(happening.words for happening in listener.happenings if happening.words.startswith("fault"))


def _as_the_rig_sees_it(listener: Listener) -> dict[str, Any]:
    status = listener.status
    if status is None:
        return {"rig_counters": None}
    names = ("frames_received", "frames_bad", "frames_unknown", "commands_refused", "samples_dropped")
    states = {name: getattr(status, name).name.lower() for name in ("air", "supply", "vent", "hold")}
    return {"rig_counters": {name: getattr(status, name) for name in names}, "rig_state": states}


def _in_words(heard: dict[str, Any]) -> list[str]:
    if not heard:
        return []
    rig, link = heard["rig"], heard["link"]
    fitted = ", ".join(part.replace("_", " ") for part in rig["fitted"])
    lines = [
        "",
        f"rig {printable(rig['serial_number'])}, firmware {printable(rig['firmware_version'])}, protocol {rig['protocol']}",
        f"crank encoder: {rig['counts_per_rev']} counts in a turn; clock: {rig['tick_rate_hz']} ticks in a second",
        f"fitted: {fitted or 'sensors only; the valves are worked by hand'}",
    ]
    rows = [
        [
            str(channel["channel"]),
            channel["quantity"].replace("_", " "),
            "in every sample" if channel["streamed"] else "now and then",
            f"{channel['raw_min']} to {channel['raw_max']}",
            f"{channel['volts_at_zero'] + channel['volts_per_raw'] * channel['raw_max']:.3f} V",
        ]
        for channel in rig["channels"]
    ]
    lines += table_lines(["channel", "measures", "comes", "raw words", "at the highest"], rows)
    lines.append(
        "in two seconds: " + ", ".join(f"{name.replace('_', ' ')} {link[name]}" for name in link if not name.startswith("rig"))
    )
    if link["rig_counters"] is not None:
        lines.append("the rig says: " + ", ".join(f"{name.replace('_', ' ')} {n}" for name, n in link["rig_counters"].items()))
        lines.append("its state: " + ", ".join(f"{name} {word.replace('_', ' ')}" for name, word in link["rig_state"].items()))
    return lines
