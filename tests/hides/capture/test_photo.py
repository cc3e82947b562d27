"""Photos are read safely: upright, within limits, and refused with a sentence that helps.

Orientation is judged by the values of Exif 2.32 (CIPA DC-008), tag 0x0112, applied by hand.
"""

import hashlib
import io
import zlib

import numpy as np
import pytest
from PIL import Image

from hides.capture import photo
from hides.capture.photo import read
from hides.errors import InputError

WIDTH, HEIGHT = 800, 640
ORIENTATION, EXIF_IFD, FOCAL_35 = 0x0112, 0x8769, 0xA405  # Exif 2.32


def picture():
    """A red upper left quarter, a green upper right one, a blue lower left one, the rest white."""
    image = np.full((HEIGHT, WIDTH, 3), 255, np.uint8)
    image[: HEIGHT // 2, : WIDTH // 2] = (255, 0, 0)
    image[: HEIGHT // 2, WIDTH // 2 :] = (0, 255, 0)
    image[HEIGHT // 2 :, : WIDTH // 2] = (0, 0, 255)
    return Image.fromarray(image)


def saved(tmp_path, image, name="side.jpg", **options):
    path = tmp_path / name
    image.save(path, **options)
    return path


def colours(pixels):
    """Names of the four quarters, row by row."""
    h, w = pixels.shape[:2]
    names = {(0, 0, 255): "red", (0, 255, 0): "green", (255, 0, 0): "blue"}
    spots = [(h // 4, w // 4), (h // 4, 3 * w // 4), (3 * h // 4, w // 4), (3 * h // 4, 3 * w // 4)]
    return [
        names.get(tuple((pixels[v, u].astype(int) > 128).astype(int) * 255), "white")
        for v, u in spots
    ]


@pytest.mark.parametrize("name", ["a.jpg", "a.png", "a.webp", "a.tif", "jpeg-in-truth.png"])
def test_a_photo_comes_as_blue_green_red(tmp_path, name):
    """The first bytes tell the format, and the pixels are in OpenCV's order, not to be changed."""
    kind = "JPEG" if name.startswith("jpeg") else None
    path = saved(tmp_path, picture(), name, format=kind)
    shot = read(path)
    assert shot.size == (WIDTH, HEIGHT)
    assert colours(shot.pixels) == ["red", "green", "blue", "white"]
    assert shot.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert not shot.pixels.flags.writeable


@pytest.mark.parametrize(
    ("value", "quarters"),
    [
        (1, ["red", "green", "blue", "white"]),
        (3, ["white", "blue", "green", "red"]),  # half a turn
        (6, ["blue", "red", "white", "green"]),  # a phone held upright: a quarter turn clockwise
        (8, ["green", "white", "red", "blue"]),  # the other way round
        (2, ["green", "red", "white", "blue"]),  # mirrored
    ],
)
def test_the_cameras_orientation_is_followed(tmp_path, value, quarters):
    exif = Image.Exif()
    exif[ORIENTATION] = value
    shot = read(saved(tmp_path, picture(), exif=exif))
    assert colours(shot.pixels) == quarters
    assert shot.size == ((HEIGHT, WIDTH) if value in (6, 8) else (WIDTH, HEIGHT))


def test_the_focal_length_is_taken_from_what_the_camera_wrote(tmp_path):
    """26 mm on film whose diagonal is that of 36 x 24 mm, on this picture's diagonal."""
    exif = Image.Exif()
    exif.get_ifd(EXIF_IFD)[FOCAL_35] = 26
    shot = read(saved(tmp_path, picture(), exif=exif))
    expected = 26 / np.hypot(36, 24) * np.hypot(WIDTH, HEIGHT)
    assert shot.focal == pytest.approx(expected, rel=1e-4)
    assert read(saved(tmp_path, picture(), "plain.jpg")).focal is None


@pytest.mark.parametrize("mode", ["L", "P", "RGBA", "CMYK", "1"])
def test_other_kinds_of_pixels_become_colour(tmp_path, mode):
    path = saved(tmp_path, picture().convert(mode), "a.tif")
    assert read(path).pixels.shape == (HEIGHT, WIDTH, 3)


def test_a_huge_photo_is_reduced(tmp_path, monkeypatch):
    """By a whole number, in JPEG and in other formats alike."""
    monkeypatch.setattr(photo, "LEAST_SIDE", 10)
    monkeypatch.setattr(photo, "ENOUGH_PIXELS", WIDTH * HEIGHT / 5)
    for name in ("a.jpg", "a.png"):
        shot = read(saved(tmp_path, picture(), name))
        assert shot.pixels.shape[0] * shot.pixels.shape[1] <= WIDTH * HEIGHT / 5
        assert shot.reduced >= 3
        assert colours(shot.pixels) == ["red", "green", "blue", "white"]


def encoded(kind, **options):
    data = io.BytesIO()
    picture().save(data, kind, **options)
    return data.getvalue()


def brand(name):
    """The start of an ISO base media file (ISO/IEC 14496-12, 4.3) with that major brand."""
    return b"\x00\x00\x00\x18ftyp" + name + b"\x00\x00\x00\x00mif1" + b"\x00" * 400


NOISE = np.random.default_rng(1).integers(0, 256, (700, 700, 3), dtype=np.uint8)


def noisy(kind):
    data = io.BytesIO()
    Image.fromarray(NOISE).save(data, kind)
    return data.getvalue()


@pytest.mark.parametrize(
    ("name", "data", "says"),
    [
        ("empty", b"", "is empty"),
        ("a table", b"knife, mm\n1, 2\n", "not a picture"),
        ("a PDF", b"%PDF-1.7 ...", "not a picture"),
        ("an SVG", b'<svg xmlns="http://www.w3.org/2000/svg"/>', "not a picture"),
        ("a GIF", encoded("GIF"), "not a picture"),
        ("a phone's own", brand(b"heic"), "HEIC"),
        ("of that family", brand(b"mif1"), "HEIC"),
        ("AVIF", brand(b"avif"), "AVIF"),
        ("MP4", brand(b"isom"), "a video"),
        ("half a JPEG", noisy("JPEG")[:-60_000], "cut off"),
        ("half a PNG", noisy("PNG")[:-60_000], "cut off"),
        ("half a WebP", noisy("WEBP")[:-60_000], "damaged|not a picture"),  # told at once
        ("the tables of a JPEG", encoded("JPEG")[:500], "cut off|not a picture"),
        ("the first bytes of a JPEG", encoded("JPEG")[:12], "not a picture"),
    ],
    ids=lambda value: value.replace(" ", "-") if isinstance(value, str) else "",
)
def test_what_is_no_photo_is_refused(tmp_path, name, data, says):
    """One sentence that names the file and what it is."""
    path = tmp_path / "side.jpg"
    path.write_bytes(data)
    with pytest.raises(InputError, match=says) as caught:
        read(path)
    assert str(caught.value).startswith(str(path)), name


def test_a_phones_own_format_is_told_how_to_become_jpeg_and_names_no_maker(tmp_path):
    path = tmp_path / "IMG_1.HEIC"
    path.write_bytes(brand(b"heic"))
    with pytest.raises(InputError, match="export it as JPEG") as caught:
        read(path)
    assert "phone" not in str(caught.value).removeprefix(str(path)).lower()


def test_sixteen_bits_are_refused(tmp_path):
    path = tmp_path / "deep.png"
    Image.fromarray(np.zeros((700, 700), np.uint16)).save(path)
    with pytest.raises(InputError, match="8 bits"):
        read(path)


def test_too_few_pixels_are_refused(tmp_path):
    """A preview in place of the photo."""
    path = saved(tmp_path, picture().resize((400, 300)))
    with pytest.raises(InputError, match="400 x 300"):
        read(path)


def test_a_small_file_that_claims_many_pixels_is_not_unpacked(tmp_path):
    """A PNG of 60000 x 60000 pixels can be a few kilobytes long and would fill 10 GB."""
    image = encoded("PNG")
    start = image.index(b"IHDR")
    for side in (15_000, 60_000):
        head = b"IHDR" + side.to_bytes(4, "big") * 2 + image[start + 12 : start + 17]
        claim = head + zlib.crc32(head).to_bytes(4, "big")  # ISO/IEC 15948, 5.3
        path = tmp_path / "bomb.png"
        path.write_bytes(image[:start] + claim + image[start + 21 :])
        with pytest.raises(InputError, match="the photo is too large"):
            read(path)


def test_a_photo_within_the_limit_that_is_told_is_read(tmp_path, monkeypatch):
    """What Pillow itself refuses (twice its own limit) may be less than what we say we take."""
    monkeypatch.setattr(photo, "LEAST_SIDE", 10)
    monkeypatch.setattr(Image, "MAX_IMAGE_PIXELS", WIDTH * HEIGHT // 3)
    assert read(saved(tmp_path, picture())).size == (WIDTH, HEIGHT)
    assert Image.MAX_IMAGE_PIXELS == WIDTH * HEIGHT // 3


def test_too_many_bytes_are_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(photo, "LARGEST_PHOTO", 1000)
    with pytest.raises(InputError, match=r"MB, more than .* The photo is too large"):
        read(saved(tmp_path, picture()))


def test_a_missing_file_is_named(tmp_path):
    with pytest.raises(InputError, match=r"gone\.jpg: there is no such file"):
        read(tmp_path / "gone.jpg")
