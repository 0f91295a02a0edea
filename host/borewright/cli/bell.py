"""The terminal's bell, for what must not be missed.

What is printed is cleaned of all that commands a terminal, for names in it come from files and devices. So the program's own bell
goes its own way: no text that is printed can ring it, and no cleaning can mute it.
"""

from __future__ import annotations

import io
from typing import TextIO

__all__ = ["ring"]


def ring(stream: TextIO) -> None:
    """Ring the bell of the terminal behind this stream, before what is printed next."""
    if isinstance(stream, io.TextIOWrapper):
        io.TextIOWrapper.write(stream, "\a")
    else:
        stream.write("\a")
    stream.flush()
