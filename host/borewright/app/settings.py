"""What the window remembers from one run to the next: a TOML file beside that of the units. Without Qt.

A file that cannot be used never stops the start: what can be understood of it is, the rest is as usual, and there is a notice. A
file that could not be understood as a whole is set aside before another is written.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any, Literal, get_args, get_origin, get_type_hints

from borewire.toml_file import read_toml

from borewright.errors import UseError
from borewright.service.whole_file import replace_whole

__all__ = ["Settings", "load_settings", "save_settings", "window_settings_path"]

_LONGEST_FILE = 100_000
_LONGEST_TEXT = 4_000


@dataclass(frozen=True, slots=True)
class Settings:
    """What is remembered. scale_percent: size of everything; span_s: of the pressure curves; geometry: of the window, in hex.

    air_by: how the one deliberate act lets air in. squeeze_each: in each cylinder, where else the stroke is carried over by count.
    """

    theme: Literal["system", "light", "dark"] = "system"
    scale_percent: int = 100
    air_by: Literal["hold", "countdown"] = "hold"
    sounds: bool = True
    span_s: int = 60
    last_page: str = "Test"
    geometry: str = ""
    last_port: str = ""
    who: str = ""
    first_run_done: bool = False
    squeeze_each: bool = False


_BOUNDS = {"scale_percent": (80, 250), "span_s": (10, 600)}


def window_settings_path(units_path: Path) -> Path:
    """Beside the file of the units.

    >>> window_settings_path(Path("/home/ada/.config/borewright/units.toml")).name
    'window.toml'
    """
    return units_path.with_name("window.toml")


def load_settings(path: Path) -> tuple[Settings, str | None]:
    """What is remembered, and a notice where not all of it could be used. Without a file it is as usual."""
    try:
        with path.open("rb") as file:
            octets = file.read(_LONGEST_FILE + 1)
        if len(octets) > _LONGEST_FILE:
            raise ValueError("it is too long")
        document = read_toml(octets.decode("utf-8"))
    except (FileNotFoundError, NotADirectoryError):
        return Settings(), None
    except UnicodeDecodeError:
        return Settings(), _notice(path, "it is not UTF-8 text")
    except (OSError, ValueError) as error:
        return Settings(), _notice(path, getattr(error, "strerror", None) or str(error))
    good, wrong = {}, []
    hints = get_type_hints(Settings)
    for name, value in document.items():
        reason = f"{name} is not known" if name not in hints else _wrong(name, value, hints[name])
        if reason is None:
            good[name] = value
        else:
            wrong.append(reason)
    return replace(Settings(), **good), _notice(path, wrong[0]) if wrong else None


def _wrong(name: str, value: Any, kind: Any) -> str | None:
    """Why a value cannot be used; None where it can."""
    if get_origin(kind) is Literal:
        return None if value in get_args(kind) else f"{name} is one of {', '.join(get_args(kind))}"
    if type(value) is not kind:
        return f"{name} is not what it has to be"
    if isinstance(value, str) and (len(value) > _LONGEST_TEXT or not (value.isprintable() or not value)):
        return f"{name} holds what is no text"
    low, high = _BOUNDS.get(name, (None, None))
    if low is not None and high is not None and not low <= value <= high:
        return f"{name} is from {low} to {high}"
    return None


def save_settings(path: Path, settings: Settings) -> None:
    """Keep them, whole or not at all. Raises UseError where the disk does not let it."""
    text = "".join(f"{field.name} = {_toml(getattr(settings, field.name))}\n" for field in fields(settings))
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        _set_aside(path)
        replace_whole(path, text.encode())
    except OSError as error:
        raise UseError(f"{path}: the window's settings cannot be kept there ({error.strerror}); mend the folder") from error


def _set_aside(path: Path) -> None:
    """What somebody may still want to look at is not written over."""
    if load_settings(path)[1] is not None:
        os.replace(path, path.with_suffix(".unusable"))


def _toml(value: str | int | bool) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _notice(path: Path, reason: str) -> str:
    said = " ".join(reason.split())
    return f"{path}: not all of it can be used ({said}); what cannot is as usual, and is kept anew with the next change"
