"""Photos: read safely, the right way up.

What a file is, is told by its first bytes and never by its name. Its size is known before it is
unpacked, so that a small file can't fill the memory; a photo that ends too early is refused,
since half of a hide would be missing without a word.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import ExifTags, Image, ImageOps, UnidentifiedImageError

from hides.errors import InputError, placed
from hides.files import read_whole

LARGEST_PHOTO = 100_000_000
MOST_PIXELS = 210e6  # phones of 200 megapixels exist
ENOUGH_PIXELS = 26e6  # larger photos are reduced by a whole number: finer is not truer
LEAST_SIDE = 600  # pixels; below this no sheet can be read
PHOTO_FORMATS = ("JPEG", "PNG", "TIFF", "WEBP")
PHOTO_MODES = ("RGB", "L", "RGBA", "P", "LA", "CMYK", "YCbCr", "1")
FILM_DIAGONAL = 43.267  # mm, of the 36 x 24 mm frame that EXIF's 35 mm focal length refers to

# ISO/IEC 14496-12: bytes 4 to 8 are "ftyp", then the brand. Brands of ISO/IEC 23008-12 (HEIF) and
# of the AV1 image format.
_HEIF = {b"heic", b"heix", b"hevc", b"hevx", b"heim", b"heis", b"mif1", b"msf1"}
_AVIF = {b"avif", b"avis"}
_AS_JPEG = (
    "Send or export it as JPEG; the camera's settings have a choice of format, mostly called "
    "compatible, that takes JPEG from then on."
)


@dataclass(frozen=True, eq=False)
class Photo:
    """A photo in memory, upright.

    Attributes
    ----------
    pixels : (h, w, 3) uint8, BGR, read-only.
    sha256 : digest of the file's bytes.
    reduced : how many pixels of the file, along each side, became one of these.
    focal : focal length in pixels by what the camera wrote, or None.
    """

    pixels: NDArray[np.uint8]
    path: Path
    sha256: str = ""
    reduced: int = 1
    focal: float | None = None

    @property
    def size(self) -> tuple[int, int]:
        """Width and height in pixels."""
        return self.pixels.shape[1], self.pixels.shape[0]


def read(path: Path) -> Photo:
    """Read a photo.

    Raises
    ------
    InputError : no such file, not a picture, a format that is not read (HEIC, HEIF and AVIF are
        told by name), damaged or cut off, too many or too few pixels, a kind of pixels that
        photos don't have.
    """
    data = read_whole(path, LARGEST_PHOTO, f"The photo is too large. {_SMALLER}")
    with placed(file=path):
        return _decoded(data, path)


def _decoded(data: bytes, path: Path) -> Photo:
    image = _opened(data)
    _check_size(*image.size)
    whole = max(image.size)
    try:
        exif = image.getexif()
        least = _step(image)
        image.draft("RGB", (image.width // least, image.height // least))  # JPEG: decodes smaller
        image = ImageOps.exif_transpose(image).convert("RGB")
    except (OSError, SyntaxError, ValueError, EOFError, OverflowError) as error:
        raise InputError(
            f"the photo is damaged or cut off ({error}).", mend="Copy it from the camera again."
        ) from None
    image = image.reduce(_step(image))
    pixels = np.ascontiguousarray(np.asarray(image)[:, :, ::-1])
    pixels.setflags(write=False)
    digest = hashlib.sha256(data).hexdigest()
    focal = _focal(exif, float(np.hypot(*image.size)))
    return Photo(pixels, path, digest, round(whole / max(image.size)), focal)


def _step(image: Image.Image) -> int:
    """By how much each side must be reduced to be small enough."""
    return int(np.ceil(np.sqrt(image.width * image.height / ENOUGH_PIXELS)))


def _opened(data: bytes) -> Image.Image:
    """The picture with its head read and its pixels not yet."""
    if not data:
        raise InputError("the file is empty.", mend="Copy it from the camera again.")
    brand = data[8:12] if data[4:8] == b"ftyp" else b""
    if brand in _HEIF:
        raise InputError("this is a HEIC (HEIF) photo, which can't be read here.", mend=_AS_JPEG)
    if brand in _AVIF:
        raise InputError("this is an AVIF picture, which can't be read here.", mend=_AS_JPEG)
    try:
        with warnings.catch_warnings(), _own_limit():
            warnings.simplefilter("ignore")
            image = Image.open(io.BytesIO(data), formats=PHOTO_FORMATS)
    except Image.DecompressionBombError:
        raise InputError(
            "the photo is too large: it claims far too many pixels.", mend=_SMALLER
        ) from None
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError):
        told = "a video" if brand else "not a picture that can be read here"
        raise InputError(
            f"the file is {told}.", mend="Photos are JPEG, PNG, TIFF or WebP files."
        ) from None
    if image.mode not in PHOTO_MODES:
        raise InputError(
            f"its pixels are of the kind {image.mode!r}, not the 8 bits a channel of a photo.",
            mend="Export it as an ordinary JPEG.",
        )
    return image


@contextlib.contextmanager
def _own_limit() -> Iterator[None]:
    """Pillow refuses from 179 megapixels on, and some phones' photos are larger."""
    usual = Image.MAX_IMAGE_PIXELS
    Image.MAX_IMAGE_PIXELS = int(MOST_PIXELS)
    try:
        yield
    finally:
        Image.MAX_IMAGE_PIXELS = usual


_SMALLER = (
    f"Photos have up to {MOST_PIXELS / 1e6:.0f} megapixels and {LARGEST_PHOTO / 1e6:.0f} MB; 12 "
    "megapixels as an ordinary JPEG are plenty."
)


def _check_size(width: int, height: int) -> None:
    if width * height > MOST_PIXELS:
        raise InputError(f"the photo is too large: {width} x {height} pixels.", mend=_SMALLER)
    if min(width, height) < LEAST_SIDE:
        raise InputError(
            f"the picture has only {width} x {height} pixels; the sheets can't be read in it.",
            mend="Take the photo with at least 8 megapixels, and send the original, not a preview.",
        )


def _focal(exif: Image.Exif, diagonal: float) -> float | None:
    """Focal length in pixels from EXIF's FocalLengthIn35mmFilm (CIPA DC-008: by the diagonal)."""
    value = exif.get_ifd(ExifTags.IFD.Exif).get(ExifTags.Base.FocalLengthIn35mmFilm)
    if not isinstance(value, int) or not 5 <= value <= 600:
        return None
    return value / FILM_DIAGONAL * diagonal
