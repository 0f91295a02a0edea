"""Text for the page: the two faces, text of unknown origin made harmless, and lines broken to a width.

No markup is known here: whatever a person wrote is drawn letter by letter.
"""

from __future__ import annotations

import re
import unicodedata
from functools import cache, lru_cache
from importlib.resources import files

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

__all__ = ["BOLD", "PLAIN", "REPLACEMENT", "as_seen", "clean", "fitted", "width_of", "wrapped"]

PLAIN = "BorewrightPlain"
BOLD = "BorewrightBold"
_FILES = {PLAIN: "DejaVuSansCondensed.ttf", BOLD: "DejaVuSansCondensed-Bold.ttf"}
REPLACEMENT = "□"  # stands for what these faces cannot draw
ELLIPSIS = "…"
LONGEST = 20_000  # characters of one text; more is nobody's note
_TOGETHER = re.compile(r"(?<=\d) (?=(?:%|°[CF]?|psi|kPa|bar|mm|cm³|in|s|h|points)(?!\w))| ± ")  # blanks that no line ends at
_JOINERS = "\u200c\u200d\ufe0e\ufe0f"  # invisible, and without meaning for single glyphs


@cache
def _characters() -> frozenset[int]:
    """Registers the faces and says which characters both of them have."""
    folder = files("borewright.report") / "fonts"
    known: list[frozenset[int]] = []
    for name, file in _FILES.items():
        with (folder / file).open("rb") as octets:
            font = TTFont(name, octets)
        pdfmetrics.registerFont(font)
        known.append(frozenset(font.face.charWidths))
    return frozenset.intersection(*known)


@lru_cache(maxsize=4096)
def clean(text: str) -> str:
    """The text as these faces can draw it, on one line: blanks and line ends as one blank each, what is missing as a visible box.

    Control and format characters count as missing. What is clean stays as it is.

    >>> clean("Δp = 3\\tkPa"), clean("a\\x1b[1m"), clean("flat 4 \\U0001F697")
    ('Δp = 3 kPa', 'a□[1m', 'flat 4 □')
    """
    known = _characters()
    letters: list[str] = []
    for letter in " ".join(unicodedata.normalize("NFC", text[:LONGEST]).split()):
        if letter in _JOINERS:
            continue
        drawable = ord(letter) in known and (letter == " " or letter.isprintable())
        letters.append(letter if drawable else REPLACEMENT)
    if len(text) > LONGEST:
        letters.append(ELLIPSIS)
    return "".join(letters)


def as_seen(line: str) -> str:
    """A line with its runs of right-to-left letters, and the blanks between them, turned round; they are not joined.

    >>> as_seen("7 \N{HEBREW LETTER ALEF}\N{HEBREW LETTER BET}") == "7 \N{HEBREW LETTER BET}\N{HEBREW LETTER ALEF}"
    True
    """
    letters = list(line)
    backward = [unicodedata.bidirectional(letter) in ("R", "AL") for letter in letters]
    if not any(backward):
        return line
    made: list[str] = []
    at = 0
    while at < len(letters):
        if not backward[at]:
            made.append(letters[at])
            at += 1
            continue
        end = last = at
        while end < len(letters) and (backward[end] or letters[end] == " " or unicodedata.combining(letters[end])):
            last = end if letters[end] != " " else last
            end += 1
        made += reversed(letters[at : last + 1])
        at = last + 1
    return "".join(made)


@lru_cache(maxsize=8192)
def width_of(text: str, font: str, size: float) -> float:
    """Width in points of a text that is clean."""
    _characters()
    return float(pdfmetrics.stringWidth(text, font, size))


def fitted(text: str, font: str, size: float, width: float) -> str:
    """The text cleaned and cut to one line of this width; what is cut off shows.

    >>> fitted("four", PLAIN, 8.0, 100.0), fitted("f" * 100, PLAIN, 8.0, 20.0).endswith("…")
    ('four', True)
    """
    said = clean(text)
    if width_of(said, font, size) <= width:
        return said
    low, high = 0, len(said)
    while low < high:
        middle = (low + high + 1) // 2
        if width_of(said[:middle].rstrip() + ELLIPSIS, font, size) <= width:
            low = middle
        else:
            high = middle - 1
    return said[:low].rstrip() + ELLIPSIS


def wrapped(text: str, font: str, size: float, width: float, most: int | None = None) -> tuple[str, ...]:
    """The text cleaned and broken into lines of this width; lines that the writer ended stay ended. most: so many lines, then cut.

    A word that is wider than the line is broken where it fills it.

    >>> wrapped("one two\\nthree", PLAIN, 8.0, 1000.0), wrapped("one two", PLAIN, 8.0, 20.0)
    (('one two', 'three'), ('one', 'two'))
    """
    lines: list[str] = []
    for part in text[: LONGEST + 1].splitlines() or [""]:
        lines += _broken(clean(part), font, size, width)
    if most is not None and len(lines) > most:
        lines = lines[:most]
        last = lines[-1]
        while last and width_of(last.rstrip() + ELLIPSIS, font, size) > width:
            last = last[:-1]
        lines[-1] = last.rstrip() + ELLIPSIS
    return tuple(lines)


def _broken(said: str, font: str, size: float, width: float) -> list[str]:
    lines: list[str] = []
    line = ""
    for part in _TOGETHER.sub(lambda blank: blank[0].replace(" ", "\xa0"), said).split(" "):
        word = part.replace("\xa0", " ")
        tried = f"{line} {word}" if line else word
        if width_of(tried, font, size) <= width:
            line = tried
            continue
        if line:
            lines.append(line)
        line = word
        while width_of(line, font, size) > width and len(line) > 1:
            cut = next(n for n in range(len(line) - 1, 0, -1) if n == 1 or width_of(line[:n], font, size) <= width)
            lines.append(line[:cut])
            line = line[cut:]
    lines.append(line)
    return lines
