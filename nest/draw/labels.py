"""Where words may stand: inside a shape, or beside it on a leader line, never on other words.

All in page millimetres. The search is a plain look at a grid of places, nearest the middle
first; a cut plan has some hundred labels, so nothing cleverer is needed.
"""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon, STRtree
from shapely.geometry.base import BaseGeometry

from hides.outline import FloatArray, polygons_of
from nest.draw.palette import LEADER, LEADER_DOT
from nest.draw.sheet import Pen
from nest.draw.words import Type, Words, words_size

WORD_AIR = 0.35  # mm kept free round words
PAGE_EDGE = 3.0  # mm kept free along the edge of the page
MOST_PLACES = 500  # places looked at inside one shape
LEADER_LENGTHS = np.arange(3.0, 60.0, 1.5)  # mm, lengths a leader may have
ROOMY = 6.0  # a mark so many times as large as its words is still seen behind them
NOTHING = Polygon()
Shapes = NDArray[np.object_]
NEIGHBOURS = ((0, 1), (0, -1), (1, 0), (-1, 0), (1, 1), (-1, 1), (1, -1), (-1, -1))
LEADER_ANGLES = np.deg2rad(np.arange(0.0, 360.0, 15.0))


class Labels:
    """Puts words on the page clear of all words already there and of ``obstacles``.

    Words stay within the pen's window, or else on the page.
    """

    def __init__(self, pen: Pen) -> None:
        self.sheet = pen.sheet
        page = shapely.box(0, 0, self.sheet.width, self.sheet.height).buffer(-PAGE_EDGE)
        self.room = page if pen.window is None else pen.window
        self.obstacles: list[shapely.Geometry] = []

    def inside(
        self,
        shape: Polygon,
        words: str,
        style: Type,
        *,
        angles: Sequence[float] = (0.0,),
        name: str = "",
    ) -> Words | None:
        """Write within ``shape`` at the first of ``angles`` (degrees) where there is room."""
        size = words_size(words, style)
        places = _grid(shape, min(size) * 0.5)
        shapely.prepare(shape)
        for angle in (_upright(a) for a in angles):
            boxes = _boxes(places, size, angle)
            free = shapely.contains(shape, boxes) & self._free(boxes)
            if free.any():
                place = places[int(np.argmax(free))]
                return self.sheet.text(place, words, style, anchor="middle", angle=angle, name=name)
        return None

    def beside(
        self,
        shape: Polygon,
        words: str,
        style: Type,
        *,
        avoid: BaseGeometry = NOTHING,
        name: str = "",
    ) -> Words:
        """Write near ``shape`` with a leader line to it; on the spot if all is taken.

        Places clear of ``avoid`` come first, but none are refused for touching it.
        """
        start = _middle(shape)
        size = words_size(words, style)
        rays = np.column_stack([np.cos(LEADER_ANGLES), np.sin(LEADER_ANGLES)])
        places = (start + LEADER_LENGTHS[:, None, None] * rays).reshape(-1, 2)
        boxes = _boxes(places, size, 0.0)
        starts = np.broadcast_to(start, places.shape)
        leaders = np.asarray(shapely.linestrings(np.stack([starts, places], axis=1)))
        clear = self._free(boxes)
        straight = clear & self._free(leaders)
        bare = ~shapely.intersects(shapely.union(avoid, shape), boxes)
        wishes = (straight & bare, straight, clear & bare, clear)
        free = next((wish for wish in wishes if wish.any()), None)
        place = start if free is None else places[int(np.argmax(free))]
        written = self.sheet.text(place, words, style, anchor="middle", name=name)
        self._lead(start, written)
        return written

    def near(
        self,
        pen: Pen,
        place: Sequence[float] | FloatArray,
        words: str,
        style: Type,
        *,
        on_it: bool = True,
        steps: int = 1,
    ) -> Words | None:
        """Write on ``place`` of ``pen``'s frame or beside it; nothing if all is taken.

        ``steps`` says how far off, counted in steps of about the words' own size.
        """
        size = words_size(words, style)
        rings = [np.array(NEIGHBOURS) * ring for ring in range(1, steps + 1)]
        offsets = np.vstack([np.zeros((int(on_it), 2)), *rings]) * (np.array(size) / 2 + 1.1)
        places = pen.at(np.array([place]))[0] + offsets
        return self.at(places, words, style)

    def at(
        self, places: FloatArray, words: str, style: Type, *, angle: float = 0.0
    ) -> Words | None:
        """Write centred on the first free one of (n, 2) ``places``, page mm; nothing if none is."""
        free = self._free(_boxes(places, words_size(words, style), angle))
        if not free.any():
            return None
        place = places[int(np.argmax(free))]
        return self.sheet.text(place, words, style, anchor="middle", angle=angle)

    def name(self, marks: Sequence[tuple[str, BaseGeometry]], style: Type) -> None:
        """Write the words of each mark within its shape where they hide little of it.

        Else they stand beside it, and on none of the other shapes.
        """
        outside = copy(self)
        outside.obstacles = [*self.obstacles, *(shape for _, shape in marks)]
        known = len(outside.obstacles)
        for words, shape in marks:
            if has_room(shape, words, style) and self.inside(polygons_of(shape)[0], words, style):
                continue
            centre = shape.representative_point()
            place = (centre.x, centre.y)
            if not outside.near(self.sheet, place, words, style, on_it=False, steps=2):
                outside.beside(polygons_of(shape)[0], words, style)
        self.obstacles += outside.obstacles[known:]

    def _free(self, shapes: Shapes) -> NDArray[np.bool_]:
        """Which of ``shapes`` lie in the room and touch neither words nor obstacles."""
        taken = [w.box for w in self.sheet.words] + self.obstacles
        shapely.prepare(self.room)
        free = np.asarray(shapely.contains(self.room, shapes))
        if taken:
            free[STRtree(taken).query(shapes, predicate="intersects")[0]] = False
        return free

    def _lead(self, start: FloatArray, written: Words) -> None:
        middle = np.asarray(written.box.centroid.coords[0])
        line = LineString(np.vstack([start, middle]))
        shown = line.difference(written.box.buffer(WORD_AIR))
        if shown.length > 0.5:
            self.sheet.line(shown.coords, LEADER, layer=7.0)
            self.sheet.dots([start], 0.7, LEADER_DOT, layer=7.0)
            self.obstacles.append(shown)


def has_room(shape: BaseGeometry, words: str, style: Type) -> bool:
    """Whether words within a shape (page mm) hide little of it."""
    wide, high = words_size(words, style)
    return shape.area > ROOMY * wide * high


def _upright(angle: float) -> float:
    """The same line of writing, never upside down: in (-90, 90]."""
    return 90.0 - (90.0 - angle) % 180.0


def _middle(shape: Polygon) -> FloatArray:
    """Where a label or leader belongs: the centroid, or in bent shapes the widest place."""
    widest = shapely.maximum_inscribed_circle(shape, 0.2)
    centre = shape.centroid
    if shape.contains(centre) and shape.exterior.distance(centre) > 0.8 * widest.length:
        return np.array([centre.x, centre.y])
    return np.asarray(widest.coords[0], dtype=np.float64)


def _grid(shape: Polygon, step: float) -> FloatArray:
    """Places inside ``shape``, those nearest its middle first."""
    middle = _middle(shape)
    step = max(step, float(np.sqrt(shape.area / MOST_PLACES)))
    x0, y0, x1, y1 = shape.bounds
    x = middle[0] + step * np.arange(np.ceil((x0 - middle[0]) / step), (x1 - middle[0]) / step)
    y = middle[1] + step * np.arange(np.ceil((y0 - middle[1]) / step), (y1 - middle[1]) / step)
    places = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    places = places[shapely.contains_xy(shape, places)]
    return places[np.argsort(np.hypot(*(places - middle).T), kind="stable")]


def _boxes(places: FloatArray, size: tuple[float, float], angle: float) -> Shapes:
    """Boxes of words of ``size`` centred on ``places`` and turned by ``angle`` degrees."""
    a = np.deg2rad(angle)
    along = np.array([np.cos(a), np.sin(a)]) * (size[0] / 2 + WORD_AIR)
    up = np.array([-np.sin(a), np.cos(a)]) * (size[1] / 2 + WORD_AIR)
    corners = np.array([-along - up, along - up, along + up, -along + up])
    return np.asarray(shapely.polygons(places[:, None, :] + corners))
