"""Photos of a hide on a floor whose truth is known: drawn, seeded, of our own invention.

    from tests.scenes import Chalk, scene
    shot = scene(7, floor="wood", leather="tan", tilt=25, sheets=5, chalk=[Chalk("ring", "blue")])
    shot.pixels                     (h, w, 3) uint8 BGR, what the camera gives; also shot.save(path)
    shot.outline                    (n, 2) mm: the hide's true edge in the floor frame
    shot.hide, shot.place           the same in the hide frame, and where that frame lies:
                                    floor = turned(hide * (1, -1 if mirror else 1), angle, x, y)
    shot.marks                      what was drawn on it: form, colour, shape (polygon, floor mm)
    shot.stickers                   number -> (x, y) floor mm of the middle of each sticker
    shot.sheets                     the sheets: number, and where their frame lies (angle, x, y)
    shot.to_pixels(floor (n, 2))    true projection, by OpenCV's own projectPoints
    shot.to_floor(pixels (n, 2))    its inverse
    shot.from_sheet(number, points) floor points as seen from another sheet's frame

The floor frame is in mm, x right, y up, seen from above; it is the frame of the sheet with the
lowest number (:mod:`hides.capture.targets`), as for a view that has read this sheet. Pixels have
y down, the centre of the first one is (0, 0).

Arguments of :func:`scene`, all but the seed by name: ``floor`` (:data:`FLOORS`), ``leather``
(:data:`LEATHERS`), ``tilt`` (degrees between the camera's axis and the vertical), ``sheets``
(how many), ``lens`` (k1, k2 of OpenCV's model), ``noise`` (standard deviation, 0 to 255),
``shadow`` (0 to 1, a soft one across the picture), ``vignette``, ``creases`` (how many), ``jpeg``
(quality, or None), ``blur`` (pixels), ``chalk`` (what is drawn on the hide), ``stickers`` (how
many), ``size`` (megapixels), ``length`` (mm, of the hide), ``mirror`` (the other side of the
animal, or this one flesh side up), ``hides`` (2: a second hide beside it), ``crop`` (0 to 0.3:
the camera is so near that this much of the hide leaves the frame at one end), ``printed`` (scale
of the printer, 1, or one for each sheet, or for each its scales in length and height), ``numbers``
(of the sheets), ``hidden`` (how many sheets have half of them covered), ``texture`` (a (h, w, 3)
uint8 BGR picture of 1 m width, repeated, in place of the drawn floor), ``holes`` (radius in mm of
each hole through the hide, by which the floor is seen).

    left, right = scenes(7, 2, floor="tarp")

draws one floor once and photographs it from two or more places: each camera stands elsewhere,
tilts and zooms by itself, and shows only a part of the hide, from one pair of sheets to the next,
so that neighbours share two sheets (``sheets`` and ``crop`` don't count here). The light is
another one in each photo. All are in one floor frame.

Three megapixels take about a second; the bench uses twelve.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import shapely
from numpy.typing import ArrayLike
from scipy.interpolate import CubicSpline
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from hides.capture import targets
from hides.outline import FloatArray, polygons_of, turned
from tests.scene_ground import CHALKS, LEATHERS, STROKE, Ground, Image, expose
from tests.scene_parts import Camera, Chalk, Marked, Place

__all__ = [
    "CHALKS",
    "FLOORS",
    "LEATHERS",
    "PLAIN",
    "STROKE",
    "Camera",
    "Chalk",
    "Image",
    "Marked",
    "Place",
    "Scene",
    "hide_shape",
    "scene",
    "scenes",
]

FLOORS = ("grey", "tarp", "concrete", "wood", "brick", "tiles", "grass", "rug")
PLAIN = ("grey", "tarp", "concrete")


@dataclass(frozen=True)
class Scene:
    """A photo with its truth; see the module's text."""

    pixels: Image
    hide: FloatArray
    place: Place
    camera: Camera
    sheets: tuple[Place, ...]
    marks: tuple[Marked, ...] = ()
    stickers: dict[int, tuple[float, float]] = field(default_factory=dict)
    jpeg: bytes = b""
    holes: tuple[Polygon, ...] = ()

    @property
    def outline(self) -> FloatArray:
        return self.place(self.hide)

    def to_pixels(self, floor: ArrayLike) -> FloatArray:
        return self.camera.to_pixels(floor)

    def to_floor(self, pixels: ArrayLike) -> FloatArray:
        return self.camera.to_floor(pixels)

    def from_sheet(self, number: int, points: ArrayLike) -> FloatArray:
        """Floor points in the frame of the sheet with that number."""
        return next(s for s in self.sheets if s.number == number).back(points)

    def save(self, path: Path) -> Path:
        """Write the photo: the camera's own JPEG, or without loss where there is none."""
        path.write_bytes(self.jpeg or cv2.imencode(".png", self.pixels)[1].tobytes())
        return path


def scene(seed: int, **asked: Any) -> Scene:
    """Draw a photo; see the module's text for the arguments."""
    (shot,) = scenes(seed, 1, **asked)
    return shot


def scenes(
    seed: int,
    count: int,
    *,
    floor: str = "grey",
    leather: str = "tan",
    tilt: float = 12.0,
    sheets: int = 4,
    lens: tuple[float, float] = (-0.04, 0.01),
    noise: float = 3.0,
    shadow: float = 0.35,
    vignette: float = 0.2,
    creases: int = 4,
    jpeg: int | None = 90,
    blur: float = 0.0,
    chalk: Sequence[Chalk] = (),
    stickers: int = 0,
    size: float = 3.0,
    length: float | None = None,
    mirror: bool = False,
    hides: int = 1,
    crop: float = 0.0,
    printed: float | Sequence[float] | FloatArray = 1.0,
    numbers: Sequence[int] | None = None,
    hidden: int = 0,
    texture: Image | None = None,
    holes: Sequence[float] = (),
) -> tuple[Scene, ...]:
    """Draw ``count`` photos of one side, all in one floor frame; see the module's text."""
    rng = np.random.default_rng(seed)
    length = length or (1400.0 if size < 6 else 2100.0)
    shape = hide_shape(rng, length)
    place = Place(float(rng.uniform(0, 360)), 0.0, 0.0, mirror)
    lies = Polygon(place(shape))
    taken: BaseGeometry = lies
    others = []
    for _ in range(hides - 1):
        beside = np.array((0.2, -0.45)) * length
        other = Polygon(place(hide_shape(rng, length * 0.5) + beside))
        others.append(other)
        taken = taken.union(other)
    if count > 1:
        numbers = numbers or rng.permutation(targets.COUNT)[: 2 * count + 2] + 1
        spots = _throw(rng, taken, numbers, _beside(count + 1))
        cameras = [
            _camera(rng, part, seen, tilt * rng.uniform(0.4, 1.0), lens, size, 0.0)
            for part, seen in _parts(taken, spots, count)
        ]
    else:
        numbers = numbers or rng.permutation(targets.COUNT)[:sheets] + 1
        spots = _throw(rng, taken, numbers, _around(rng, len(numbers)))
        cameras = [_camera(rng, taken, spots, tilt, lens, size, crop)]
    marks = _marks(rng, chalk, shape, place)
    glued = _stickers(rng, stickers, lies, [m.shape for m in marks])

    ground = Ground(cameras, rng)
    ground.floor(floor, texture)
    through = _holes(holes, lies, [m.shape for m in marks])
    for each in (Polygon(lies.exterior, [h.exterior for h in through]), *others):
        ground.hide(each, leather, creases)
    for mark, asked in zip(marks, chalk, strict=True):
        ground.chalk(mark, asked, lies)
    marks = tuple(replace(m, shape=polygons_of(m.shape.intersection(lies))[0]) for m in marks)
    first = min(spots, key=lambda s: s.number)
    cards = [_stuck(number, at, float(rng.uniform(0, 360))) for number, at in glued.items()]
    printed = np.broadcast_to(np.transpose(printed), (2, len(spots))).T
    shots = []
    for camera in cameras:
        picture = ground.seen(camera, spots, cards, printed, hidden)
        picture = expose(rng, picture, shadow, vignette, blur, noise)
        picture, coded = _coded(picture, jpeg)
        shot = Scene(picture, shape, place, camera, tuple(spots), marks, glued, coded)
        shots.append(_moved(replace(shot, holes=through), first))
    return tuple(shots)


def _coded(picture: Image, jpeg: int | None) -> tuple[Image, bytes]:
    """The picture as the camera's JPEG gives it back, and that file."""
    if jpeg is None:
        return picture, b""
    coded = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, jpeg])[1].tobytes()
    return cv2.imdecode(np.frombuffer(coded, np.uint8), cv2.IMREAD_COLOR), coded


def hide_shape(rng: np.random.Generator, length: float) -> FloatArray:
    """A side in the hide frame, (n, 2) mm counter-clockwise: backbone, neck, legs and belly."""
    rim = np.array(
        [
            *((1.0, 0.0), (1.016, 0.1), (1.005, 0.2), (0.965, 0.275), (0.87, 0.315)),
            *((0.805, 0.375), (0.79, 0.47), (0.735, 0.475), (0.71, 0.385)),  # fore shank
            *((0.6, 0.36), (0.45, 0.37), (0.33, 0.355), (0.25, 0.345)),  # belly and flank
            *((0.195, 0.4), (0.155, 0.49), (0.095, 0.475), (0.085, 0.375)),  # hind shank
            *((0.03, 0.3), (-0.012, 0.18), (-0.014, 0.07), (0.0, 0.0)),
        ]
    )
    rim[1:-1] += rng.normal(0.0, 0.006, (len(rim) - 2, 2))
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(rim, axis=0).T))])
    steps = np.linspace(0.0, along[-1], int(along[-1] * length / 10))
    curve = CubicSpline(along, rim)(steps) * length
    back = np.linspace((0.0, 0.0), (length, 0.0), int(length / 40))[1:-1]
    ring = np.concatenate([back, curve])
    around = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(ring, axis=0).T))])
    turn = 2 * np.pi * around / (around[-1] + np.hypot(*(ring[0] - ring[-1])))
    ways = np.roll(ring, -1, axis=0) - np.roll(ring, 1, axis=0)
    out = np.column_stack([ways[:, 1], -ways[:, 0]]) / np.hypot(*ways.T)[:, None]
    ripple = sum(
        rng.uniform(0.3, 1.0) * np.sin(k * turn + rng.uniform(0, 7)) for k in range(11, 32, 4)
    )
    return ring + out * np.asarray(ripple)[:, None] * (length / 1000)


Ray = tuple[tuple[float, float], tuple[float, float]]


def _around(rng: np.random.Generator, count: int) -> Iterator[Ray]:
    """From the middle towards the corners of a box, and some of its long sides."""
    for sector in np.arange(count) / count:
        way = 2 * np.pi * sector + np.pi / 4 + rng.uniform(-0.2, 0.2)
        yield (0.0, 0.0), (np.cos(way), np.sin(way))


def _beside(columns: int) -> Iterator[Ray]:
    """Square off the long axis of a box, in pairs from one of its ends to the other."""
    for along in np.linspace(-0.9, 0.9, columns):
        for side in (-1.0, 1.0):
            yield (along, 0.0), (0.0, side)


def _axes(taken: BaseGeometry) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Middle of the box around what is taken, half its long and half its short side, mm."""
    box = taken.minimum_rotated_rectangle.exterior.coords
    a, b = np.subtract(box[1], box[0]) / 2, np.subtract(box[2], box[1]) / 2
    return np.mean(np.array(box)[:4], axis=0), *((b, a) if np.hypot(*a) < np.hypot(*b) else (a, b))


def _throw(
    rng: np.random.Generator, taken: BaseGeometry, numbers: Sequence[int], rays: Iterable[Ray]
) -> list[Place]:
    """Sheets around what is taken, each out along a ray until it is clear of all else."""
    middle, a, b = _axes(taken)
    spots = []
    for number, (start, ray) in zip(numbers, rays, strict=True):
        angle, gap, reach = rng.uniform(0, 360), rng.uniform(30, 90), 0.7
        while True:
            u, v = np.add(start, np.multiply(ray, reach))
            x, y = middle + u * a + v * b
            spot = Place(float(angle), float(x), float(y), number=int(number))
            paper = Polygon(spot(targets.paper_of("a4") - (targets.WIDTH / 2, targets.HEIGHT / 2)))
            if paper.distance(taken) > gap:
                break
            reach += 0.02
        taken = taken.union(paper)
        x, y = spot(np.array([(-targets.WIDTH / 2, -targets.HEIGHT / 2)]))[0]
        spots.append(Place(spot.angle, float(x), float(y), number=spot.number))
    return spots


def _parts(
    taken: BaseGeometry, spots: Sequence[Place], count: int
) -> Iterator[tuple[BaseGeometry, Sequence[Place]]]:
    """What each photo of several shows: from one pair of sheets (:func:`_beside`) to the next."""
    middle, a, b = _axes(taken)
    ends = np.linspace(-0.9, 0.9, count + 1)
    ends[0], ends[-1] = -1.1, 1.1
    for which, (low, high) in enumerate(itertools.pairwise(ends)):
        corners = [(low, -2), (high, -2), (high, 2), (low, 2)]
        strip = Polygon([middle + u * a + v * b for u, v in corners])
        yield taken.intersection(strip), spots[2 * which : 2 * which + 4]


def _camera(
    rng: np.random.Generator,
    taken: BaseGeometry,
    spots: Sequence[Place],
    tilt: float,
    lens: tuple[float, float],
    size: float,
    crop: float,
) -> Camera:
    """A camera that sees everything, its long side along the hide's, looking across the hide."""
    width = round(np.sqrt(size * 1e6 * 4 / 3) / 8) * 8
    height = width * 3 // 4
    points = np.concatenate(
        [shapely.get_coordinates(taken), *(s(targets.paper_of("a4")) for s in spots)]
    )
    box = np.array(shapely.MultiPoint(points).minimum_rotated_rectangle.exterior.coords)
    sides = np.diff(box[:3], axis=0)
    long = sides[int(np.argmax(np.hypot(*sides.T)))] * rng.choice((-1.0, 1.0))
    heading = np.arctan2(long[1], long[0]) + np.pi / 2 + np.deg2rad(rng.uniform(-20, 20))
    focal = width * rng.uniform(0.7, 0.85)
    centre = tuple(np.array([width - 1, height - 1]) / 2 + rng.normal(0, 0.004 * width, 2))
    roll = np.deg2rad(rng.uniform(-6, 6))

    def at(aim: FloatArray, far: float) -> Camera:
        t = np.deg2rad(tilt)
        ahead = np.array([np.sin(t) * np.cos(heading), np.sin(t) * np.sin(heading), -np.cos(t)])
        right = np.array([np.sin(heading), -np.cos(heading), 0.0])
        down = np.cross(ahead, right)
        right, down = (
            np.cos(roll) * right + np.sin(roll) * down,
            np.cos(roll) * down - np.sin(roll) * right,
        )
        turn = np.stack([right, down, ahead])
        shift = -turn @ (np.append(aim, 0.0) - far * ahead)
        return Camera(float(focal), centre, turn, shift, lens, width, height)

    aim, far = box[:4].mean(axis=0), 2.0 * float(np.hypot(*long))
    for _ in range(12):
        seen = at(aim, far).to_pixels(points)
        low, high = seen.min(axis=0), seen.max(axis=0)
        aim = at(aim, far).to_floor([(low + high) / 2])[0]
        far *= float(((high - low) / (np.array([width, height]) * 0.95)).max()) ** 0.8
    if crop:
        aim, far = aim + long * crop, far * (1 - crop / 2)
    return at(aim, far)


def _blob(rng: np.random.Generator, radius: float) -> FloatArray:
    """A round shape drawn by hand, (n, 2) mm about (0, 0)."""
    way = np.linspace(0, 2 * np.pi, 48, endpoint=False)
    wobble = sum(rng.normal(0, 0.06) * np.cos(k * way + rng.uniform(0, 7)) for k in (1, 2, 3, 4))
    r = radius * (1 + np.asarray(wobble))
    return np.column_stack([r * np.cos(way), rng.uniform(0.7, 1.0) * r * np.sin(way)])


def _marks(
    rng: np.random.Generator, chalk: Sequence[Chalk], shape: FloatArray, place: Place
) -> tuple[Marked, ...]:
    """Where each mark goes: none touches another."""
    hide, marks, taken = Polygon(shape), [], Polygon()
    for each in chalk:
        radius = each.radius or float(rng.uniform(25, 70))
        for attempt in range(1000):
            at = each.at or _spot(rng, hide, edge=each.edge)
            if each.form == "line":
                t, way = np.linspace(-radius, radius, 30), rng.uniform(0, np.pi)
                bow = rng.uniform(-0.2, 0.2) * radius * np.cos(t / radius * np.pi / 2)
                line = turned(np.column_stack([t, bow]), float(np.rad2deg(way)), *at)
                drawn = LineString(line).buffer(STROKE / 2)
            else:
                drawn = Polygon(_blob(rng, radius) + at)
            inside = hide.buffer(-20).contains(drawn) or each.edge
            if each.at or (inside and (taken.is_empty or drawn.distance(taken) > 40)):
                break
            if attempt == 999:
                raise ValueError("there is no room for all marks")
        taken = taken.union(drawn)
        marks.append(Marked(each.form, each.colour, Polygon(place(drawn.exterior.coords))))
    return tuple(marks)


def _spot(rng: np.random.Generator, hide: Polygon, *, edge: bool) -> tuple[float, float]:
    if edge:
        point = hide.exterior.interpolate(rng.uniform(0, hide.exterior.length))
        return point.x, point.y
    low_x, low_y, high_x, high_y = hide.bounds
    return float(rng.uniform(low_x, high_x)), float(rng.uniform(low_y, high_y))


def _stickers(
    rng: np.random.Generator, count: int, lies: Polygon, marks: Sequence[Polygon]
) -> dict[int, tuple[float, float]]:
    """Stickers spread over the hide, clear of its edge, of marks and of each other."""
    free, found = lies.buffer(-60), {}
    for shape in marks:
        free = free.difference(shape.buffer(60))
    for number in range(1, count + 1):
        points = rng.uniform(free.bounds[:2], free.bounds[2:], (4000, 2))
        points = points[shapely.contains_xy(free, points)]
        if not len(points):
            raise ValueError("there is no room for all stickers")
        away = np.min(
            [np.hypot(*(points - p).T) for p in found.values()] or [points[:, 0] * 0], axis=0
        )
        x, y = points[int(np.argmax(away))]
        found[number] = (float(x), float(y))
        free = free.difference(shapely.Point(x, y).buffer(80))
    return found


def _holes(radii: Sequence[float], lies: Polygon, marks: Sequence[Polygon]) -> tuple[Polygon, ...]:
    """Lobed holes in the hide, clear of its edge, of marks and of each other."""
    spots = _stickers(np.random.default_rng(len(radii)), len(radii), lies, marks)
    turn = np.linspace(0, 2 * np.pi, 72, endpoint=False)
    lobes = 1 + 0.15 * np.cos(2 * turn) + 0.08 * np.sin(3 * turn)
    ring = np.column_stack([np.cos(turn), np.sin(turn)]) * lobes[:, None]
    pairs = zip(radii, spots.values(), strict=True)
    return tuple(Polygon(ring * radius + at) for radius, at in pairs)


def _stuck(number: int, at: tuple[float, float], angle: float) -> Place:
    """Where the frame of a sticker's card lies whose middle is at a place."""
    half = targets.STICKER / 2
    x, y = turned(np.array([(-half, -half)]), angle, *at)[0]
    return Place(angle, float(x), float(y), number=number)


def _moved(shot: Scene, first: Place) -> Scene:
    """The same, with the floor frame in that of a sheet."""

    def seen(place: Place) -> Place:
        x, y = first.back(np.array([(place.x, place.y)]))[0]
        return Place(place.angle - first.angle, float(x), float(y), place.mirror, place.number)

    c, s = np.cos(np.deg2rad(first.angle)), np.sin(np.deg2rad(first.angle))
    camera = shot.camera
    turn = camera.turn @ np.array([(c, -s, 0.0), (s, c, 0.0), (0.0, 0.0, 1.0)])
    shift = camera.turn @ np.array([first.x, first.y, 0.0]) + camera.shift
    return Scene(
        shot.pixels,
        shot.hide,
        seen(shot.place),
        Camera(camera.focal, camera.centre, turn, shift, camera.lens, camera.width, camera.height),
        tuple(seen(sheet) for sheet in shot.sheets),
        tuple(
            Marked(m.form, m.colour, Polygon(first.back(m.shape.exterior.coords)))
            for m in shot.marks
        ),
        {
            n: (float(x), float(y))
            for n, at in shot.stickers.items()
            for x, y in first.back(np.array([at]))
        },
        shot.jpeg,
        tuple(Polygon(first.back(hole.exterior.coords)) for hole in shot.holes),
    )
