"""A photo as it is taken in: really a photo, of a size that a report can carry, and without what its camera wrote into it."""

from __future__ import annotations

import io
import warnings
from dataclasses import dataclass
from pathlib import Path

from borewright.errors import UseError
from borewright.service.plain_file import octets_of

__all__ = ["Photo", "read_photo"]

MOST_BYTES = 40_000_000
MOST_PIXELS = 60_000_000
LONG_SIDE_PX = 2400  # a whole page at 300 dots per inch
QUALITY = 88
LONGEST_NAME = 80
FORMATS = {"JPEG": "image/jpeg", "PNG": "image/png"}


@dataclass(frozen=True, slots=True)
class Photo:
    """A photo made anew from its pixels alone: no place, no date, no camera, nothing that stood behind the picture."""

    name: str
    media_type: str
    width_px: int
    height_px: int
    data: bytes


def read_photo(path: Path) -> Photo:
    """The photo in a file, JPEG or PNG, turned upright and at most 2400 pixels long. Raises UseError with one sentence."""
    from PIL import Image, ImageOps, UnidentifiedImageError  # noqa: PLC0415 -- only where a photo is taken in

    try:
        data = octets_of(path, MOST_BYTES)
    except OSError as error:
        raise UseError(
            f"{_shown(path)}: the photo cannot be read ({error.strerror}); give the path of a JPEG or PNG file, or make it smaller"
        ) from error
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(data), formats=tuple(FORMATS)) as opened:
                kind = str(opened.format)
                if opened.width * opened.height > MOST_PIXELS:
                    raise UseError(
                        f"{_shown(path)}: the photo has more than {MOST_PIXELS / 1e6:.0f} million pixels; make it smaller"
                    )
                upright = ImageOps.exif_transpose(opened)
                upright.load()
    except (UnidentifiedImageError, Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise UseError(f"{_shown(path)}: this is no JPEG or PNG photo; give one that is") from error
    except (OSError, ValueError, SyntaxError, EOFError) as error:  # what Pillow says of a broken file
        raise UseError(f"{_shown(path)}: the photo is damaged and cannot be shown; take it again or give another copy") from error
    upright.thumbnail((LONG_SIDE_PX, LONG_SIDE_PX))
    return _anew(path, kind, upright)


def _anew(path: Path, kind: str, picture: object) -> Photo:
    """Only the pixels go on."""
    from PIL import Image  # noqa: PLC0415 -- as above

    if not isinstance(picture, Image.Image):
        raise UseError(f"{_shown(path)}: this is no photo")
    mode = "RGBA" if kind == "PNG" and picture.has_transparency_data else "RGB"
    bare = Image.new(mode, picture.size)
    bare.paste(picture.convert(mode))
    out = io.BytesIO()
    if kind == "PNG":
        bare.save(out, "PNG", optimize=True)
    else:
        bare.save(out, "JPEG", quality=QUALITY, optimize=True)
    return Photo(_shown(path), FORMATS[kind], bare.width, bare.height, out.getvalue())


def _shown(path: Path) -> str:
    """The file's own name, without its folders and with nothing that a terminal would obey."""
    return "".join(letter if letter.isprintable() else "?" for letter in path.name)[-LONGEST_NAME:] or "photo"
