"""Whose report it is: the shop's name, a line of contact and its logo, kept in the user's own folder beside the units.

`shop.toml` holds name and contact, `shop.logo` a copy of the logo, so that the original may be moved. A kept shop that cannot be
used never stops a report: there is a notice, and the report comes without it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from borewire.toml_file import read_toml

from borewright.errors import UseError
from borewright.service.plain_file import octets_of
from borewright.service.whole_file import replace_whole

__all__ = ["LONGEST_CONTACT", "LONGEST_NAME", "NO_SHOP", "Shop", "checked_line", "load_shop", "read_logo", "save_shop", "shop_path"]

LONGEST_NAME, LONGEST_CONTACT = 120, 240
MOST_LOGO_BYTES = 5_000_000
_LONGEST_FILE = 20_000


@dataclass(frozen=True, slots=True)
class Shop:
    """Name and contact as they are printed, the logo as the octets of a picture."""

    name: str = ""
    contact: str = ""
    logo: bytes | None = None


NO_SHOP = Shop()


def shop_path(settings: Path) -> Path:
    """Where the shop is kept, beside the file of the units."""
    return settings.with_name("shop.toml")


def checked_line(what: str, text: str, longest: int) -> str:
    """One line that can be printed. Raises UseError.

    >>> checked_line("--shop", " Alder Lane ", 120)
    'Alder Lane'
    """
    said = text.strip()
    if len(said) > longest or not said.isprintable():
        raise UseError(f"{what}: must be one line of at most {longest} characters that can be printed; shorten it")
    return said


def read_logo(path: Path) -> bytes:
    """The octets of a logo, looked at: they are a picture. Raises UseError with one sentence."""
    from borewright.report.pictures import PictureUnusable, read_picture  # noqa: PLC0415 -- Pillow and reportlab are heavy

    try:
        octets = octets_of(path, MOST_LOGO_BYTES)
    except OSError as error:
        raise UseError(f"{path}: the logo cannot be read ({error.strerror}); give a PNG or JPEG file, or a smaller copy") from error
    try:
        read_picture(octets, 100.0, 100.0, sharp=True)
    except PictureUnusable as error:
        raise UseError(f"{path}: the logo cannot be used: {error}; give a PNG or JPEG file") from error
    return octets


def load_shop(path: Path) -> tuple[Shop, str | None]:
    """The shop that is kept, and a notice where not all of it can be used. A file that is not there is no shop."""
    try:
        with path.open("rb") as file:
            octets = file.read(_LONGEST_FILE + 1)
        if len(octets) > _LONGEST_FILE:
            raise ValueError("it is too long")
        document = read_toml(octets.decode("utf-8"))
        shop = Shop(
            checked_line("name", _text(document.get("name", "")), LONGEST_NAME),
            checked_line("contact", _text(document.get("contact", "")), LONGEST_CONTACT),
        )
    except (FileNotFoundError, NotADirectoryError):
        return NO_SHOP, None
    except UnicodeDecodeError:
        return NO_SHOP, _notice(path, "it is not UTF-8 text")
    except (OSError, ValueError, UseError) as error:
        return NO_SHOP, _notice(path, getattr(error, "strerror", None) or str(error))
    logo = _logo_path(path)
    if not logo.exists():
        return shop, None
    try:
        return replace(shop, logo=read_logo(logo)), None
    except UseError as error:
        return shop, _notice(path, str(error))


def save_shop(path: Path, shop: Shop) -> None:
    """Keep the shop for the reports to come; an empty one takes it away. Raises UseError where the disk does not let it."""
    text = "".join(f"{key} = {_quoted(value)}\n" for key, value in (("name", shop.name), ("contact", shop.contact)) if value)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        for where, octets in ((_logo_path(path), shop.logo), (path, text.encode() if text or shop.logo else None)):
            if octets is None:
                where.unlink(missing_ok=True)
            else:
                replace_whole(where, octets)
    except OSError as error:
        raise UseError(f"{path}: the shop cannot be kept there ({error.strerror}); mend the folder") from error


def _logo_path(path: Path) -> Path:
    return path.with_suffix(".logo")


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise UseError("name and contact must be texts")
    return value


def _quoted(text: str) -> str:
    """A TOML string; the text is one line of printable characters."""
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _notice(path: Path, reason: str) -> str:
    said = " ".join(reason.split())
    return f"{path}: not all of the shop's heading can be used ({said}); mend it with borewright report --shop NAME --keep-shop"
