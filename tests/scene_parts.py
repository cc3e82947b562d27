"""What drawn photos are made of: chalk marks, places of frames on the floor, the camera."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike
from shapely import Polygon

from hides.outline import FloatArray, turned


@dataclass(frozen=True)
class Chalk:
    """What to draw on the hide: a ``ring``, a filled ``area`` or a ``line``.

    ``at`` is in the hide frame; None finds a free place, inside the hide or, with ``edge``,
    across its edge. ``radius`` in mm (half the length of a line); None draws one from 25 to 70.
    """

    form: str
    colour: str
    at: tuple[float, float] | None = None
    radius: float | None = None
    edge: bool = False


@dataclass(frozen=True)
class Marked:
    """A mark as drawn. ``shape``: what a ring encloses up to the middle of its line, the painted
    ground of an area or line; floor mm, cut to the hide."""

    form: str
    colour: str
    shape: Polygon


@dataclass(frozen=True)
class Place:
    """Where a frame lies on the floor: mirrored in y or not, then turned, then shifted (mm)."""

    angle: float
    x: float
    y: float
    mirror: bool = False
    number: int = 0

    def __call__(self, points: ArrayLike) -> FloatArray:
        flip = (1.0, -1.0 if self.mirror else 1.0)
        return turned(np.asarray(points, dtype=np.float64) * flip, self.angle, self.x, self.y)

    def back(self, points: ArrayLike) -> FloatArray:
        """From the floor into the frame."""
        x, y = (np.asarray(points, dtype=np.float64) - (self.x, self.y)).T
        c, s = np.cos(np.deg2rad(self.angle)), np.sin(np.deg2rad(self.angle))
        return np.column_stack([x * c + y * s, (y * c - x * s) * (-1.0 if self.mirror else 1.0)])


@dataclass(frozen=True)
class Camera:
    """A pinhole camera with two lens terms, in OpenCV's conventions; the floor is z = 0."""

    focal: float
    centre: tuple[float, float]
    turn: FloatArray
    shift: FloatArray
    lens: tuple[float, float]
    width: int
    height: int

    @property
    def matrix(self) -> FloatArray:
        u, v = self.centre
        return np.array([(self.focal, 0.0, u), (0.0, self.focal, v), (0.0, 0.0, 1.0)])

    def to_pixels(self, floor: ArrayLike, z: float | FloatArray = 0.0) -> FloatArray:
        """(n, 2) pixels of (n, 2) floor points at height ``z`` mm."""
        xy = np.atleast_2d(np.asarray(floor, dtype=np.float64))
        points = np.column_stack([xy, np.broadcast_to(z, len(xy))])
        bend = np.array([*self.lens, 0.0, 0.0])
        found, _ = cv2.projectPoints(
            points, cv2.Rodrigues(self.turn)[0], self.shift, self.matrix, bend
        )
        return np.asarray(found, dtype=np.float64).reshape(-1, 2)

    def to_floor(self, pixels: ArrayLike) -> FloatArray:
        """(n, 2) floor points in mm of (n, 2) pixels."""
        points = np.atleast_2d(np.asarray(pixels, dtype=np.float64))
        x, y = ((points - self.centre) / self.focal).T
        reach = np.linspace(0.0, 2.0, 20001)
        bent = reach * (1 + self.lens[0] * reach**2 + self.lens[1] * reach**4)
        end = int(np.argmax(np.diff(bent) <= 0)) or len(reach)  # where the model folds over
        r = np.hypot(x, y)
        ratio = np.interp(r, bent[:end], reach[:end]) / np.maximum(r, 1e-12)
        ratio = np.where(r < 1e-9, 1.0, ratio)
        plane = np.linalg.inv(np.column_stack([self.turn[:, :2], self.shift]))
        a, b, c = (row[0] * x * ratio + row[1] * y * ratio + row[2] for row in plane)
        return np.column_stack([a / c, b / c])
