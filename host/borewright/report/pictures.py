"""Logos and photos: opened with care, turned upright, made no larger than the page needs, without what the camera wrote into them.

The same octets give the same picture. What is no picture is said in words instead of drawn.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from PIL import Image, ImageOps
from reportlab.lib.utils import ImageReader

from borewright.report.model import Photo
from borewright.report.sheet import FAINT, GREY, MM, Pen, Piece
from borewright.report.text import PLAIN, wrapped

__all__ = ["FORMATS", "MOST_BYTES", "Picture", "PictureUnusable", "Read", "photo_pieces", "read_photos", "read_picture"]

FORMATS = ("JPEG", "PNG", "WEBP")
MOST_BYTES = 40_000_000
MOST_PIXELS = 64_000_000
DOTS_PER_POINT = 200.0 / 72.0


class PictureUnusable(ValueError):  # noqa: N818 -- it is read as a word of the trade
    """These octets cannot be drawn; the message says why, as the end of a sentence."""


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture ready for the page."""

    image: ImageReader = field(repr=False)
    width_px: int
    height_px: int

    def size_in(self, width: float, height: float) -> tuple[float, float]:
        """The size in points in which it fits into this box; small ones are not blown up beyond 72 dots an inch."""
        scale = min(width / self.width_px, height / self.height_px, 1.0)
        return self.width_px * scale, self.height_px * scale

    def draw(self, pen: Pen, x: float, y: float, width: float, height: float) -> None:
        """Draw it with its upper left corner there."""
        pen.canvas.drawImage(self.image, pen.left + x, pen.top - y - height, width, height)


def read_picture(octets: bytes, width: float, height: float, *, sharp: bool = False) -> Picture:
    """The picture in these octets, with as many dots as a box of this size in points needs. sharp: kept without loss, for a logo.

    Raises PictureUnusable for what is no picture, is damaged, or is larger than can be meant.
    """
    if len(octets) > MOST_BYTES:
        raise PictureUnusable(f"it is larger than {MOST_BYTES // 1_000_000} MB")
    most = (max(1, round(width * DOTS_PER_POINT)), max(1, round(height * DOTS_PER_POINT)))
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of Pillow, about what is refused here or does no harm
            with Image.open(io.BytesIO(octets), formats=FORMATS) as opened:
                if opened.width * opened.height > MOST_PIXELS:
                    raise PictureUnusable(f"it has more than {MOST_PIXELS // 1_000_000} million dots")
                opened.draft("RGB", (max(most), max(most)))  # a camera's picture is read at a part of its size
                upright = ImageOps.exif_transpose(opened)
                made = _on_white(upright)
    except PictureUnusable:
        raise
    except Exception as error:  # decoders fail in every way that hostile octets can think of
        raise PictureUnusable("it is no picture that can be read") from error
    made.thumbnail(most, Image.Resampling.LANCZOS, reducing_gap=3.0)
    kept = io.BytesIO()
    if sharp:
        made.save(kept, "PNG")
    else:
        made.save(kept, "JPEG", quality=86, optimize=False)
    kept.seek(0)
    return Picture(ImageReader(kept), made.width, made.height)


def _on_white(image: Image.Image) -> Image.Image:
    if image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info:
        seen = image.convert("RGBA")
        white = Image.new("RGBA", seen.size, "white")
        return Image.alpha_composite(white, seen).convert("RGB")
    return image.convert("RGB")


Read = tuple[Picture | str, str]  # the picture, or why it is not shown, and what stands under it
PHOTO_GAP, BESIDE = 5.0 * MM, 3


def read_photos(photos: Sequence[Photo], width: float, high: float) -> list[Read]:
    """Every photo read once, for a column of this width; high: the most that it may take, in points."""
    found: list[Read] = []
    for photo in photos:
        try:
            found.append((read_picture(photo.data, _photo_width(width), high), photo.caption))
        except PictureUnusable as error:
            found.append((f"This photo is not shown: {error}.", photo.caption))
    return found


def _photo_width(width: float) -> float:
    return (width - PHOTO_GAP * (BESIDE - 1)) / BESIDE


def photo_pieces(photos: Sequence[Read], width: float, high: float) -> Iterator[Piece]:
    """The photos, three beside each other, each with its words under it."""
    wide = _photo_width(width)
    for first in range(0, len(photos), BESIDE):
        row = [(seen, wrapped(caption, PLAIN, 7.2, wide, 5)) for seen, caption in photos[first : first + BESIDE]]
        tall = max(seen.size_in(wide, high)[1] if isinstance(seen, Picture) else 14.0 * MM for seen, _ in row)

        def draw(pen: Pen, row: list[tuple[Picture | str, tuple[str, ...]]] = row, tall: float = tall) -> None:
            for number, (seen, caption) in enumerate(row):
                _photo(pen.moved(number * (wide + PHOTO_GAP), 0.0), seen, caption, (wide, high), tall)

        yield Piece(tall + 5.0 + 9.3 * max(len(caption) for _, caption in row), draw, before=5.0 if first else 0.0)


def _photo(pen: Pen, seen: Picture | str, caption: Sequence[str], box: tuple[float, float], tall: float) -> None:
    """One photo, standing on the line that its row stands on."""
    if isinstance(seen, Picture):
        size = seen.size_in(*box)
        seen.draw(pen, 0.0, tall - size[1], *size)
    else:
        pen.box(0.0, 0.0, box[0], tall, fill=None, edge=FAINT)
        for at, line in enumerate(wrapped(seen, PLAIN, 7.2, box[0] - 12.0, 3)):
            pen.text(6.0, 13.0 + 9.3 * at, line, 7.2, colour=GREY)
    for at, line in enumerate(caption):
        pen.text(0.0, tall + 9.5 + 9.3 * at, line, 7.2, colour=GREY)
