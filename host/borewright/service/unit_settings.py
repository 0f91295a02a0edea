"""Which unit each kind of quantity is shown in: words for it, and the file in the user's own folder that keeps the choice.

The file is `units.toml` in `$XDG_CONFIG_HOME/borewright` (`~/.config/borewright`), on Windows in `%APPDATA%\\borewright`:

    pressure = "bar"
    area = "in²"

What it does not name is shown in the unit that is usual where it stands. A file that cannot be used never stops a command: there is
a notice, and the usual units.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path, PurePath
from typing import Final

from borewire.toml_file import read_toml

from borewright.errors import UseError
from borewright.service.whole_file import replace_whole
from borewright.units import Dimension, known_unit

__all__ = ["KINDS", "SYSTEMS", "chosen_by", "load_units", "save_units", "settings_path", "unit_of"]

# the words for the kinds of quantity
KINDS: Final[dict[str, Dimension]] = {
    "pressure": "pressure_gauge",
    "ambient": "pressure_absolute",
    "length": "length",
    "area": "area",
    "volume": "volume",
    "temperature": "temperature",
    "torque": "torque",
    "flow": "air_flow",
}
_METRIC: Final[dict[Dimension, str]] = {
    "pressure_gauge": "kPa",
    "pressure_absolute": "kPa abs",
    "length": "mm",
    "area": "mm²",
    "volume": "cm³",
    "temperature": "°C",
    "torque": "N·m",
    "air_flow": "L/min ANR",
}
_INCH: Final[dict[Dimension, str]] = {
    "pressure_gauge": "psi",
    "pressure_absolute": "psia",
    "length": "in",
    "area": "in²",
    "volume": "in³",
    "temperature": "°F",
    "torque": "lb·ft",
    "air_flow": "SCFM 60 °F",
}
SYSTEMS: Final[dict[str, dict[Dimension, str]]] = {"metric": _METRIC, "inch": _INCH}
_LONGEST_FILE = 20_000


def settings_path(environment: Mapping[str, str], home: Path, *, windows: bool) -> Path:
    """Where the choice is kept. A relative $XDG_CONFIG_HOME counts for nothing (XDG Base Directory Specification).

    >>> settings_path({"XDG_CONFIG_HOME": "elsewhere"}, Path("/home/ada"), windows=False).as_posix()
    '/home/ada/.config/borewright/units.toml'
    """
    said = environment.get("APPDATA" if windows else "XDG_CONFIG_HOME", "")
    usual = home / "AppData" / "Roaming" if windows else home / ".config"
    return (Path(said) if PurePath(said).is_absolute() else usual) / "borewright" / "units.toml"


def unit_of(kind: str, unit: str) -> tuple[Dimension, str]:
    """Kind and unit as a person names them. Raises UseError that names those there are.

    >>> unit_of("area", "in2")
    ('area', 'in²')
    """
    dimension = KINDS.get(kind.strip().lower())
    if dimension is None:
        raise UseError(f"{kind.strip()!r} is no kind of quantity; there are {', '.join(KINDS)}")
    return dimension, known_unit(unit, dimension)


def chosen_by(words: str) -> dict[Dimension, str]:
    """The choice for one run: systems and KIND=UNIT, divided by commas, a later one over an earlier one. Raises UseError.

    >>> chosen_by("metric, pressure=bar")["pressure_gauge"], chosen_by("pressure=bar")
    ('bar', {'pressure_gauge': 'bar'})
    """
    chosen: dict[Dimension, str] = {}
    for part in words.split(","):
        kind, named, unit = part.partition("=")
        if named:
            chosen |= dict([unit_of(kind, unit)])
        elif kind.strip().lower() in SYSTEMS:
            chosen |= SYSTEMS[kind.strip().lower()]
        else:
            raise UseError(f"{part.strip()!r} chooses no units; write {' or '.join(SYSTEMS)}, or KIND=UNIT like pressure=bar")
    return chosen


def load_units(path: Path) -> tuple[dict[Dimension, str], str | None]:
    """The choice that a file keeps, and a notice where not all of it can be used. A file that is not there chooses nothing."""
    try:
        with path.open("rb") as file:
            octets = file.read(_LONGEST_FILE + 1)
        if len(octets) > _LONGEST_FILE:
            raise ValueError("it is too long")
        document = read_toml(octets.decode("utf-8"))
    except (FileNotFoundError, NotADirectoryError):
        return {}, None
    except UnicodeDecodeError:
        return {}, _notice(path, "it is not UTF-8 text")
    except (OSError, ValueError) as error:
        return {}, _notice(path, getattr(error, "strerror", None) or str(error))
    chosen: dict[Dimension, str] = {}
    wrong: list[str] = []
    for kind, unit in document.items():
        try:
            if not isinstance(unit, str):
                raise UseError(f"{kind} is no text")
            chosen |= dict([unit_of(kind, unit)])
        except UseError as error:
            wrong.append(str(error))
    return chosen, _notice(path, wrong[0]) if wrong else None


def save_units(path: Path, chosen: Mapping[Dimension, str]) -> None:
    """Keep the choice, whole or not at all; an empty one takes the file away. Raises UseError where the disk does not let it."""
    words = {dimension: kind for kind, dimension in KINDS.items()}
    text = "".join(f'{words[dimension]} = "{unit}"\n' for dimension, unit in chosen.items())
    try:
        if not text:
            path.unlink(missing_ok=True)
            return
        path.parent.mkdir(parents=True, exist_ok=True)
        replace_whole(path, text.encode())
    except OSError as error:
        raise UseError(f"{path}: the units cannot be kept there ({error.strerror}); mend the folder, or use --units") from error


def _notice(path: Path, reason: str) -> str:
    said = " ".join(reason.split())
    return f"{path}: not all of it can be used ({said}); the usual units are shown until `borewright units set` or reset mends it"
