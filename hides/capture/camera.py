"""A camera above a floor: where each point of the floor is seen, and the way back.

The floor is the plane z = 0 of the floor frame, z up, mm. Pixels have y down, and the centre of
the first one is (0, 0). The model is OpenCV's: a pinhole and two terms for the lens.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import ArrayLike

from hides.outline import FloatArray, turned

UNKNOWNS = 11  # log focal, centre (2), turn (3), shift (3), lens (2)


def rigid(here: FloatArray, there: FloatArray) -> tuple[float, float, float]:
    """Turn in radians and shift in mm that bring (n, 2) mm nearest to others (Procrustes)."""
    a, b = here - here.mean(axis=0), there - there.mean(axis=0)
    angle = float(np.arctan2((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum(), (a * b).sum()))
    x, y = there.mean(axis=0) - turned(here.mean(axis=0)[None], float(np.rad2deg(angle)))[0]
    return angle, float(x), float(y)


@dataclass(frozen=True, eq=False)
class Camera:
    """Where a camera stands and how it sees.

    Attributes
    ----------
    focal, centre : pixels.
    turn, shift : (3, 3) and (3,) mm; a point p of the floor frame is at ``turn @ p + shift``.
    lens : k1, k2.
    """

    focal: float
    centre: tuple[float, float]
    turn: FloatArray
    shift: FloatArray
    lens: tuple[float, float]

    @property
    def height(self) -> float:
        """mm above the floor."""
        return float(-(self.turn.T @ self.shift)[2])

    @property
    def tilt(self) -> float:
        """Degrees between the direction it looks in and straight down."""
        return float(np.rad2deg(np.arccos(np.clip(-self.turn[2, 2], -1.0, 1.0))))

    def to_pixels(self, floor: ArrayLike, height: float = 0.0) -> FloatArray:
        """(n, 2) pixels of (n, 2) points in mm that lie ``height`` mm above the floor.

        Not a number behind the camera, and so far out that the lens terms no longer hold.
        """
        x, y = np.asarray(floor, dtype=np.float64).reshape(-1, 2).T
        r, s = self.turn, self.shift
        a, b, c = (r[i, 0] * x + r[i, 1] * y + (r[i, 2] * height + s[i]) for i in range(3))
        c = np.where(c > 0, c, np.nan)
        a, b = a / c, b / c
        square = a * a + b * b
        square = np.where(self._slope(square) > 0, square, np.nan)
        bend = self.focal * (1 + square * (self.lens[0] + square * self.lens[1]))
        return np.column_stack([a * bend + self.centre[0], b * bend + self.centre[1]])

    def to_floor(self, pixels: ArrayLike, height: float = 0.0) -> FloatArray:
        """(n, 2) points in mm at ``height`` mm above the floor that are seen at (n, 2) pixels.

        Not a number where the line of sight does not meet that plane in front of the camera.
        """
        a, b = self._unbent(np.asarray(pixels, dtype=np.float64).reshape(-1, 2)).T
        r, s = self.turn, self.shift
        plane = np.column_stack([r[:, 0], r[:, 1], r[:, 2] * height + s])
        x, y, z = (m[0] * a + m[1] * b + m[2] for m in np.linalg.inv(plane))
        z = np.where(z > 0, z, np.nan)
        return np.column_stack([x / z, y / z])

    def _unbent(self, pixels: FloatArray) -> FloatArray:
        """Directions without the lens's bend, by Newton's method on the radius."""
        bent = (pixels - self.centre) / self.focal
        far = np.hypot(*bent.T)
        k1, k2 = self.lens
        r = far.copy()
        for _ in range(12):
            square = r * r
            slope = np.maximum(self._slope(square), 0.1)
            r -= (r * (1 + square * (k1 + k2 * square)) - far) / slope
        scale = np.where(far > 1e-12, r / np.where(far > 1e-12, far, 1.0), 1.0)
        return bent * scale[:, None]

    def _slope(self, square: FloatArray) -> FloatArray:
        """How fast the bent radius grows with the true one, whose square is given."""
        k1, k2 = self.lens
        return 1 + square * (3 * k1 + 5 * k2 * square)

    def moved(self, angle: float, x: float, y: float) -> Camera:
        """The same for a floor frame in which its own lies turned (degrees) and shifted (mm)."""
        c, s = np.cos(np.deg2rad(angle)), np.sin(np.deg2rad(angle))
        turn = self.turn @ np.array([(c, s, 0.0), (-s, c, 0.0), (0.0, 0.0, 1.0)])
        return replace(self, turn=turn, shift=self.shift - turn @ np.array([x, y, 0.0]))

    @property
    def vector(self) -> FloatArray:
        """The :data:`UNKNOWNS` as one vector: log of pixels, pixels, radians, mm, numbers."""
        turn = np.ravel(cv2.Rodrigues(self.turn)[0])
        return np.array([np.log(self.focal), *self.centre, *turn, *self.shift, *self.lens])

    @classmethod
    def of(cls, vector: FloatArray) -> Camera:
        """The inverse of :attr:`vector`."""
        turn = np.asarray(cv2.Rodrigues(vector[3:6])[0], dtype=np.float64)
        u, v, k1, k2 = (float(vector[i]) for i in (1, 2, 9, 10))
        return cls(float(np.exp(vector[0])), (u, v), turn, vector[6:9], (k1, k2))
