"""Paint a floor with a hide, marks and sheets on it, and see it through a camera."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray
from shapely import Polygon

from hides.capture import targets
from hides.outline import FloatArray, turned
from tests.scene_parts import Camera, Chalk, Marked, Place

Image = NDArray[np.uint8]
LEATHERS = {  # BGR
    "tan": (98, 145, 190),
    "russet": (52, 82, 140),
    "black": (34, 32, 33),
    "natural": (168, 199, 222),
}
CHALKS = {  # BGR
    "white": (240, 240, 238),
    "yellow": (60, 215, 240),
    "red": (50, 45, 205),
    "blue": (190, 80, 30),
    "green": (70, 150, 40),
    "pink": (170, 90, 235),
    "orange": (30, 125, 240),
}
STROKE = 6.0  # mm, width of a chalk line


def _noise(rng: np.random.Generator, shape: tuple[int, int], cell: float) -> NDArray[np.float32]:
    """Smooth noise of unit deviation whose bumps are about ``cell`` pixels wide, (h, w)."""
    small = tuple(max(4, int(np.ceil(n / max(cell, 1.0)))) for n in shape)
    grid = rng.standard_normal(small, dtype=np.float32)
    return cv2.resize(grid, shape[::-1], interpolation=cv2.INTER_CUBIC)


def _inside(ring: FloatArray, shape: tuple[int, int]) -> NDArray[np.uint8]:
    """255 where a pixel's centre lies in the ring, (h, w). OpenCV's own fill is too wide by half
    a pixel all around, which would be 0.1 % of a hide's area."""
    flips = np.zeros((shape[0], shape[1] + 1), dtype=bool)
    for (x1, y1), (x2, y2) in zip(ring, np.roll(ring, -1, axis=0), strict=True):
        if y1 == y2:
            continue
        rows = np.arange(max(0, np.ceil(min(y1, y2))), min(shape[0], np.ceil(max(y1, y2))))
        cross = np.ceil(x1 + (rows - y1) * (x2 - x1) / (y2 - y1)).clip(0, shape[1])
        flips[rows.astype(int), cross.astype(int)] ^= True
    return np.logical_xor.accumulate(flips, axis=1)[:, :-1].astype(np.uint8) * 255


def _ground_of(camera: Camera) -> tuple[float, FloatArray]:
    """How fine a camera sees the floor in its middle (mm), and the corners of what it sees."""
    w, h = camera.width - 1, camera.height - 1
    frame = np.array([(0, 0), (w, 0), (w, h), (0, h), (w / 2, 0), (w / 2, h)])
    middle = camera.to_floor([(w / 2, h / 2)])
    step = camera.to_floor([(w / 2 + 1, h / 2)]) - middle
    pixel = float(np.hypot(*step.T)[0]) * 0.75
    return pixel, camera.to_floor(frame).clip(middle - pixel * w, middle + pixel * w)


class Ground:
    """The floor and what lies on it, seen straight from above, then through each camera."""

    def __init__(self, cameras: Sequence[Camera], rng: np.random.Generator) -> None:
        self.rng = rng
        steps, frames = zip(*(_ground_of(camera) for camera in cameras), strict=True)
        self.pixel, corners = min(steps), np.concatenate(frames)  # mm
        self.low = corners.min(axis=0) - 10
        self.shape = tuple(int(n) for n in np.ceil(np.ptp(corners, axis=0)[::-1] / self.pixel) + 20)
        self.paint: Image = np.zeros((*self.shape, 3), np.uint8)

    def at(self, points: ArrayLike) -> FloatArray:
        """Pixels of this picture from floor points."""
        x, y = ((np.asarray(points, dtype=np.float64) - self.low) / self.pixel).T
        return np.column_stack([x, self.shape[0] - 1 - y])

    def floor(self, kind: str, texture: Image | None) -> None:
        """Lay the floor: a drawn kind or a given picture of 1 m width."""
        if texture is not None:
            wide = max(1, round(1000 / self.pixel))
            tile = cv2.resize(
                texture,
                (wide, max(1, round(wide * texture.shape[0] / texture.shape[1]))),
                interpolation=cv2.INTER_AREA,
            )
            times = [-(-n // m) for n, m in zip(self.shape, tile.shape[:2], strict=True)]
            self.paint = np.tile(tile, (*times, 1))[: self.shape[0], : self.shape[1]].copy()
            return
        base, light = _FLOORS[kind](self.rng, self.shape, self.pixel)
        self._lay(slice(None), slice(None), base, light, None)

    def hide(self, lies: Polygon, leather: str, creases: int) -> None:
        """Lay a hide: its shadow on the floor, its colour, grain and creases."""
        ring = self.at(lies.exterior.coords[:-1])
        pad = int(40 / self.pixel)
        low = np.maximum(ring.min(axis=0).astype(int) - pad, 0)
        high = np.minimum(ring.max(axis=0).astype(int) + pad, self.shape[::-1])
        rows, columns = slice(low[1], high[1]), slice(low[0], high[0])
        mask = _inside(ring - low, (high[1] - low[1], high[0] - low[0]))
        for hole in lies.interiors:
            mask ^= _inside(self.at(hole.coords[:-1]) - low, mask.shape)
        drop = cv2.GaussianBlur(mask, (0, 0), 5 / self.pixel).astype(np.float32) / 255
        way = self.rng.normal(0, 3 / self.pixel, 2)
        drop = cv2.warpAffine(drop, np.array([[1, 0, way[0]], [0, 1, way[1]]]), mask.shape[::-1])
        self.paint[rows, columns] = (
            self.paint[rows, columns] * (1 - 0.4 * drop[..., None])
        ).astype(np.uint8)
        rng, size, px = self.rng, mask.shape, self.pixel
        tone = 1 + 0.05 * _noise(rng, size, 300 / px) + 0.03 * _noise(rng, size, 60 / px)
        tone += 0.03 * _noise(rng, size, 4 / px) + 0.03 * _noise(rng, size, 1.0)
        tone += self._creases(creases, size)
        rim = cv2.GaussianBlur(mask, (0, 0), 4 / px).astype(np.float32) / 255
        tone *= 0.8 + 0.2 * np.minimum(1.0, 2 * (rim - 0.5).clip(0))
        base = np.array(LEATHERS[leather]) * rng.normal(1, 0.04) * rng.normal(1, 0.02, 3)
        self._lay(rows, columns, base, tone, mask)

    def chalk(self, mark: Marked, asked: Chalk, lies: Polygon) -> None:
        """Draw a mark: chalk does not take everywhere, and lets some leather through."""
        ring = self.at(mark.shape.exterior.coords)
        pad = int(20 / self.pixel)
        low = np.maximum(ring.min(axis=0).astype(int) - pad, 0)
        high = np.minimum(ring.max(axis=0).astype(int) + pad, self.shape[::-1])
        rows, columns = slice(low[1], high[1]), slice(low[0], high[0])
        size = (high[1] - low[1], high[0] - low[0])
        if asked.form == "ring":
            mask = np.zeros(size, np.uint8)
            points = np.round((ring - low) * 16).astype(np.int32)
            wide = max(1, round(STROKE / self.pixel))
            cv2.polylines(mask, [points], True, 255, wide, cv2.LINE_AA, 4)
        else:
            mask = _inside((ring - low)[:-1], size)
        mask &= _inside(self.at(lies.exterior.coords[:-1]) - low, size)
        bare = _noise(self.rng, size, 3 / self.pixel) + 0.6 * _noise(self.rng, size, 1.0)
        cover = cv2.GaussianBlur(mask, (0, 0), 0.7).astype(np.float32) / 255
        cover *= np.where(bare > 1.0, 0.25, 0.85).astype(np.float32)
        under = self.paint[rows, columns].astype(np.float32)
        colour = np.array(CHALKS[asked.colour], np.float32)
        mixed = under + cover[..., None] * (colour - under)
        self.paint[rows, columns] = mixed.clip(0, 255).astype(np.uint8)

    def seen(
        self,
        camera: Camera,
        spots: Sequence[Place],
        glued: Sequence[Place],
        printed: FloatArray,
        hidden: int,
    ) -> NDArray[np.float32]:
        """What falls on a camera's sensor, (h, w, 3), before light and noise."""
        picture = np.empty((camera.height, camera.width, 3), np.float32)
        for top in range(0, camera.height, 256):
            rows = min(256, camera.height - top)
            v, u = np.mgrid[top : top + rows, : camera.width]
            there = self.at(camera.to_floor(np.column_stack([u.ravel(), v.ravel()])))
            there = there.astype(np.float32).reshape(rows, camera.width, 2)
            picture[top : top + rows] = cv2.remap(
                self.paint, there, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT_101
            )
        for spot in glued:
            card = _square(targets.STICKER)
            _lay_card(camera, picture, spot, _sticker(spot.number), card, 1.0)
        for i, spot in enumerate(spots):
            paper = targets.paper_of("a4")
            if i < hidden:
                paper = paper * (0.5, 1.0)
            _lay_card(camera, picture, spot, _pattern(spot.number), paper, printed[i])
        return picture

    def _creases(self, count: int, size: tuple[int, int]) -> NDArray[np.float32]:
        """Light and dark sides of soft folds, as a change of tone."""
        change = np.zeros(size, np.float32)
        for _ in range(count):
            start = self.rng.uniform((0.15, 0.15), (0.85, 0.85)) * size[::-1]
            way, reach = self.rng.uniform(0, np.pi), self.rng.uniform(100, 400) / self.pixel
            t = np.linspace(-1, 1, 40)
            bow = self.rng.uniform(-0.2, 0.2) * (1 - t**2)
            line = turned(np.column_stack([t, bow]) * reach, float(np.rad2deg(way)), *start)
            for sign, off in ((-1.0, 0.0), (1.0, 5.0 / self.pixel)):
                stroke = np.zeros(size, np.uint8)
                points = np.round((line + np.array((0.0, off))) * 16).astype(np.int32)
                cv2.polylines(stroke, [points], False, 255, max(1, int(5 / self.pixel)), 8, 4)
                soft = cv2.GaussianBlur(stroke, (0, 0), 3 / self.pixel).astype(np.float32) / 255
                change += sign * self.rng.uniform(0.12, 0.3) * soft
        return change

    def _lay(
        self,
        rows: slice,
        columns: slice,
        base: FloatArray,
        light: NDArray[np.float32],
        mask: Image | None,
    ) -> None:
        """Paint ``base`` (3,) or (h, w, 3) times ``light``, where the mask is set."""
        under = self.paint[rows, columns]
        for channel in range(3):
            value = (base[..., channel] * light).clip(0, 255).astype(np.uint8)
            if mask is None:
                under[..., channel] = value
            else:
                np.copyto(under[..., channel], value, where=mask > 0)


def _lay_card(
    camera: Camera,
    picture: NDArray[np.float32],
    frame: Place,
    print_: Image,
    card: FloatArray,
    printed: float | FloatArray,
) -> None:
    """A printed card, each pixel the mean of nine exact points of it."""
    seen = camera.to_pixels(frame(card))
    (u1, v1), (u2, v2) = (
        np.floor(seen.min(axis=0)).astype(int) - 2,
        np.ceil(seen.max(axis=0)).astype(int) + 3,
    )
    u1, v1 = max(u1, 0), max(v1, 0)
    u2, v2 = min(u2, camera.width), min(v2, camera.height)
    if u1 >= u2 or v1 >= v2:
        return
    n = 3
    v, u = np.mgrid[: (v2 - v1) * n, : (u2 - u1) * n]
    pixels = np.column_stack(
        [u1 + (u.ravel() - (n - 1) / 2) / n, v1 + (v.ravel() - (n - 1) / 2) / n]
    )
    there = frame.back(camera.to_floor(pixels))
    on = (there >= card.min(axis=0)).all(axis=1) & (there <= card.max(axis=0)).all(axis=1)
    x, y = (there / printed * _FINE).T
    where = np.column_stack([x - 0.5, print_.shape[0] - 0.5 - y]).astype(np.float32)
    where = where.reshape(u.shape[0], u.shape[1], 2)
    ink = cv2.remap(print_, where, None, cv2.INTER_LINEAR, borderValue=255).astype(np.float32)
    value = 22 + (ink / 255) * 208
    cover = on.reshape(u.shape).astype(np.float32)
    value = cv2.resize(value * cover, (u2 - u1, v2 - v1), interpolation=cv2.INTER_AREA)
    cover = cv2.resize(cover, (u2 - u1, v2 - v1), interpolation=cv2.INTER_AREA)
    under = picture[v1:v2, u1:u2]
    under *= 1 - cover[..., None]
    under += value[..., None] * np.array([1.0, 1.0, 0.99], np.float32)


_FINE = 8  # dots per mm of a print


def _square(size: float) -> FloatArray:
    return np.array([(0.0, 0.0), (size, 0.0), (size, size), (0.0, size)])


def _print(black: Sequence[FloatArray], width: float, height: float) -> Image:
    """Black rectangles on white, (h, w), _FINE dots per mm, y up in the frame they come in."""
    image = np.full((round(height * _FINE), round(width * _FINE)), 255, np.uint8)
    for ring in black:
        (x1, y1), (x2, y2) = ring.min(axis=0) * _FINE, ring.max(axis=0) * _FINE
        rows = slice(round(image.shape[0] - y2), round(image.shape[0] - y1))
        image[rows, round(x1) : round(x2)] = 0
    return image


def _pattern(number: int) -> Image:
    return _print(targets.SHEETS[number - 1].black(), targets.WIDTH, targets.HEIGHT)


def _sticker(number: int) -> Image:
    inset = (targets.STICKER - targets.STICKER_MARKER) / 2
    marker = targets.FIRST_STICKER + number - 1
    black = targets.black_cells(marker, (inset, inset), targets.STICKER_MARKER)
    return _print(black, targets.STICKER, targets.STICKER)


def _grey(rng, shape, px):  # type: ignore[no-untyped-def]
    level = rng.choice((75.0, 120.0, 170.0))
    light = 1 + 0.02 * _noise(rng, shape, 400 / px) + 0.015 * _noise(rng, shape, 1.0)
    return np.full(3, level) * rng.normal(1, 0.01, 3), light


def _tarp(rng, shape, px):  # type: ignore[no-untyped-def]
    v, u = _axes(shape, px, rng.uniform(0, np.pi))
    light = 1 + 0.03 * _noise(rng, shape, 250 / px) + 0.02 * _noise(rng, shape, 1.0)
    light += 0.02 * np.sin(u * 2 * np.pi / 6) * np.sin(v * 2 * np.pi / 6)
    for axis in (u, v):  # it was folded
        fold = (axis + 37 + 6 * _noise(rng, shape, 500 / px)) % 460 - 230
        light += (0.16 * fold / 6 * np.exp(-((fold / 6) ** 2))).astype(np.float32)
    ridge = _noise(rng, shape, 120 / px)
    light += 0.08 * np.exp(-((ridge / 0.06) ** 2))
    return np.array((150.0, 98.0, 42.0)), light


def _concrete(rng, shape, px):  # type: ignore[no-untyped-def]
    light = 1 + 0.04 * _noise(rng, shape, 300 / px) + 0.03 * _noise(rng, shape, 40 / px)
    light += 0.03 * _noise(rng, shape, 5 / px) + 0.03 * _noise(rng, shape, 1.0)
    light -= 0.15 * (_noise(rng, shape, 6 / px) > 2.6)
    light -= 0.12 * np.exp(-((_noise(rng, shape, 900 / px) / 0.004) ** 2))  # a crack
    return np.array((158.0, 165.0, 168.0)) * rng.normal(1, 0.08), light


def _wood(rng, shape, px):  # type: ignore[no-untyped-def]
    v, u = _axes(shape, px, rng.uniform(0, np.pi))
    wide = rng.uniform(90, 140)
    plank = np.floor(v / wide).astype(int)
    plank -= plank.min()
    tone = rng.normal(1, 0.09, plank.max() + 1).astype(np.float32)
    shift = rng.uniform(0, 5000, plank.max() + 1).astype(np.float32)
    grain = _noise(rng, (2048, 2048), 3)
    there = np.stack([((u + shift[plank]) / 45) % 2046, (v * 1.3 + shift[plank]) % 2046], axis=-1)
    fine = cv2.remap(grain, there.astype(np.float32), None, cv2.INTER_LINEAR)
    light = tone[plank] * (1 + 0.10 * fine + 0.02 * _noise(rng, shape, 1.0))
    light *= np.where(v % wide < 2.5, 0.45, 1.0)
    return np.array((92.0, 138.0, 182.0)) * rng.normal(1, 0.05), light.astype(np.float32)


def _brick(rng, shape, px):  # type: ignore[no-untyped-def]
    v, u = _axes(shape, px, rng.uniform(0, np.pi))
    row = np.floor(v / 75).astype(int)
    along = u + np.where(row % 2, 110.0, 0.0)
    column = np.floor(along / 220).astype(int)
    tone = rng.normal(1, 0.13, (np.ptp(row) + 1, np.ptp(column) + 1)).astype(np.float32)
    light = tone[row - row.min(), column - column.min()]
    light += 0.05 * _noise(rng, shape, 8 / px) + 0.04 * _noise(rng, shape, 1.0)
    mortar = (v % 75 < 10) | (along % 220 < 10)
    base = np.where(mortar[..., None], (150.0, 160.0, 165.0), (72.0, 88.0, 148.0))
    return base.astype(np.float32), np.where(mortar, 1 + (light - 1) * 0.4, light).astype(
        np.float32
    )


def _tiles(rng, shape, px):  # type: ignore[no-untyped-def]
    v, u = _axes(shape, px, rng.uniform(0, np.pi))
    side = rng.uniform(150, 330)
    row, column = (np.floor(axis / side).astype(int) for axis in (v, u))
    row, column = row - row.min(), column - column.min()
    tone = rng.normal(1, 0.03, (row.max() + 1, column.max() + 1)).astype(np.float32)
    light = tone[row, column] * (1 + 0.03 * _noise(rng, shape, 60 / px))
    light += 0.01 * _noise(rng, shape, 1.0)
    joint = (v % side < 5) | (u % side < 5)
    base = np.array(((196.0, 204.0, 208.0), (70.0, 96.0, 150.0), (92.0, 96.0, 98.0))[rng.choice(3)])
    base = np.where(joint[..., None], (138.0, 142.0, 146.0), base).astype(np.float32)
    return base, light.astype(np.float32)


def _grass(rng, shape, px):  # type: ignore[no-untyped-def]
    dry = (0.5 + 0.25 * _noise(rng, shape, 120 / px)).clip(0, 1)[..., None]
    base = (1 - dry) * (38.0, 98.0, 70.0) + dry * (70.0, 138.0, 130.0)
    light = 1 + 0.22 * _noise(rng, shape, 4 / px) + 0.12 * _noise(rng, shape, 1.5)
    light += 0.10 * _noise(rng, shape, 30 / px)
    return base.astype(np.float32), light.clip(0.25, 1.8).astype(np.float32)


def _rug(rng, shape, px):  # type: ignore[no-untyped-def]
    """Lozenges in three colours, woven."""
    v, u = _axes(shape, px, rng.uniform(0, np.pi))
    side = rng.uniform(90, 180)
    kind = (np.floor((u + v) / side) + 2 * np.floor((u - v) / side)).astype(int) % 3
    colours = np.array([(40, 44, 120), (92, 128, 164), (110, 62, 40)], np.float32)
    light = 1 + 0.05 * np.sin(u * 2 * np.pi / 5) * np.sin(v * 2 * np.pi / 5)
    light += 0.05 * _noise(rng, shape, 1.0) + 0.04 * _noise(rng, shape, 200 / px)
    return colours[kind] * rng.normal(1, 0.06, 3).astype(np.float32), light.astype(np.float32)


_FLOORS = {
    "grey": _grey,
    "tarp": _tarp,
    "concrete": _concrete,
    "wood": _wood,
    "brick": _brick,
    "tiles": _tiles,
    "grass": _grass,
    "rug": _rug,
}


def _axes(shape: tuple[int, int], px: float, angle: float) -> tuple[NDArray[np.float32], ...]:
    """Two coordinates in mm over a picture, turned by ``angle`` (radians)."""
    y = np.arange(shape[0], dtype=np.float32)[:, None] * np.float32(px)
    x = np.arange(shape[1], dtype=np.float32)[None] * np.float32(px)
    c, s = np.float32(np.cos(angle)), np.float32(np.sin(angle))
    return x * s + y * c, x * c - y * s


def expose(
    rng: np.random.Generator,
    picture: NDArray[np.float32],
    shadow: float,
    vignette: float,
    blur: float,
    noise: float,
) -> Image:
    """Light and shade, the lens's softness, and the sensor's noise."""
    h, w = picture.shape[:2]
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    x, y = (x - w / 2) / w, (y - h / 2) / w
    way = rng.uniform(0, 2 * np.pi)
    edge = (
        x * np.float32(np.cos(way))
        + y * np.float32(np.sin(way))
        - np.float32(rng.uniform(-0.2, 0.2))
    )
    light = 1 - shadow / (1 + np.exp(-edge / np.float32(rng.uniform(0.01, 0.06))))
    light *= 1 - vignette * (x**2 + y**2) / 0.39
    picture *= light[..., None]
    picture = cv2.GaussianBlur(picture, (0, 0), float(np.hypot(0.6, blur)))
    if noise:
        for channel in range(3):
            picture[..., channel] += noise * rng.standard_normal((h, w), dtype=np.float32)
    return picture.clip(0, 255).astype(np.uint8)
