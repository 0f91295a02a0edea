"""What happened in this run of the program, for a support file that one act saves. Without Qt."""

from __future__ import annotations

import platform
import sys
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, version

from borewright import __version__

__all__ = ["Log", "LogLine"]

MOST_LINES = 5_000
_TOLD_OF = ("PySide6-Essentials", "pyqtgraph", "numpy", "scipy", "pyserial", "SQLAlchemy", "reportlab")


@dataclass(frozen=True, slots=True)
class LogLine:
    """One line: when (seconds since 1970), how grave, and what."""

    at_unix_s: float
    level: str
    text: str

    def words(self) -> str:
        """As it stands in the file.

        >>> LogLine(0.0, "note", "the rig has said who it is").words()
        '1970-01-01 00:00:00Z note     the rig has said who it is'
        """
        when = datetime.fromtimestamp(self.at_unix_s, UTC).strftime("%Y-%m-%d %H:%M:%SZ")
        return f"{when} {self.level:8} {' '.join(self.text.split())}"


class Log:
    """The last lines of this run."""

    def __init__(self) -> None:
        self._lines: deque[LogLine] = deque(maxlen=MOST_LINES)

    def add(self, at_unix_s: float, level: str, text: str) -> None:
        """Keep one more; the oldest goes where there are too many."""
        self._lines.append(LogLine(at_unix_s, level, text))

    def last(self, count: int) -> tuple[LogLine, ...]:
        """The last ones, oldest first."""
        return tuple(self._lines)[-count:]

    def text(self, facts: Mapping[str, str]) -> str:
        """The whole as a text file: versions, the facts that are handed over, the lines.

        >>> Log().text({"rig": "none"}).splitlines()[0].startswith("Borewright ")
        True
        """
        head = [f"Borewright {__version__}, Python {sys.version.split()[0]}, {platform.platform()}"]
        head += [f"{name} {_version(name)}" for name in _TOLD_OF]
        head += [f"{name}: {' '.join(words.split())}" for name, words in facts.items()]
        return "\n".join([*head, "", *(line.words() for line in self._lines)]) + "\n"


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "not installed"
