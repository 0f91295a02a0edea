"""Every error that the host shows to a person.

    BorewrightError           exit code
    ├── UseError              2   the command or one of its files is wrong
    ├── LinkError             3   no rig, not this kind of rig, or the link was lost
    ├── StoreError            4   the record file cannot be used
    └── NotReadyError         5   not ready for air

Each message is one sentence that says what happened and what to do. Names and values from files, devices and records stand in it:
what would command a terminal is written out, and what is endless is cut in the middle, for its end says what to do.
"""

from __future__ import annotations

from typing import ClassVar

__all__ = ["BorewrightError", "LinkError", "NotReadyError", "StoreError", "UseError"]


LONGEST = 500


class BorewrightError(Exception):
    """Something that the person can be told in one sentence.

    >>> print(BorewrightError("engine '\x1b[2J' is not there; look at the list"))
    engine '\\x1b[2J' is not there; look at the list
    """

    exit_code: ClassVar[int] = 1

    def __init__(self, sentence: str = "") -> None:
        said = "".join(letter if letter.isprintable() else repr(letter)[1:-1] for letter in sentence)
        super().__init__(said if len(said) <= LONGEST else f"{said[: LONGEST // 2]} … {said[-LONGEST // 2 :]}")


class UseError(BorewrightError):
    """The command or one of its files is wrong."""

    exit_code = 2


class LinkError(BorewrightError):
    """There is no rig, it is not this kind of rig, or the link to it was lost."""

    exit_code = 3


class StoreError(BorewrightError):
    """The record file cannot be used."""

    exit_code = 4


class NotReadyError(BorewrightError):
    """The rig is not ready for air."""

    exit_code = 5
