"""A blade that is dragged: an independent judge of where a trailing tip goes.

The pivot is moved in small steps; after each the tip is pulled straight towards it, to the
length of the link, as a castor is by its axle. Nothing here knows how a pivot's way was made.
Judged itself by closed forms: the tractrix, and a steady circle's √(R² - d²).
"""

import math

import numpy as np
from numba import njit

STEP = 0.008  # mm of the pivot's way


@njit(cache=True)
def _dragged(way, tip, offset):
    tips = np.empty_like(way)
    x, y = tip[0], tip[1]
    for i in range(len(way)):
        dx, dy = way[i, 0] - x, way[i, 1] - y
        pull = 1.0 - offset / max(math.hypot(dx, dy), 1e-12)
        # a castor is pulled, and pushed too where the pivot comes nearer
        x, y = x + pull * dx, y + pull * dy
        tips[i, 0], tips[i, 1] = x, y
    return tips


def walked(points, bulges=None, closed=False, step=STEP):
    """A way as points ``step`` mm apart, arcs followed, and each point's segment."""
    points = np.asarray(points, dtype=float)
    ends = np.roll(points, -1, axis=0)
    count = len(points) if closed else len(points) - 1
    rows, owners = [points[:1]], [np.zeros(1, dtype=int)]
    for i in range(count):
        row = _segment(points[i], ends[i], 0.0 if bulges is None else float(bulges[i]), step)
        rows.append(row)
        owners.append(np.full(len(row), i))
    return np.concatenate(rows), np.concatenate(owners)


def _segment(p, q, bulge, step):
    chord = q - p
    length = math.hypot(*chord)
    if bulge == 0:
        share = np.arange(1, math.ceil(length / step) + 1) / max(math.ceil(length / step), 1)
        return p + share[:, None] * chord
    # the circle through p, the arc's top and q, in complex numbers
    a, b = complex(*p), complex(*q)
    centre = (a + b) / 2 + 1j * (b - a) / 2 * (1 - bulge**2) / (2 * bulge)
    angle = 4 * math.atan(bulge)
    count = max(math.ceil(abs(angle) * abs(a - centre) / step), 1)
    z = centre + (a - centre) * np.exp(1j * angle * np.arange(1, count + 1) / count)
    return np.stack([z.real, z.imag], axis=-1)


def dragged(way, heading, offset):
    """Where the tip is at each of the pivot's places.

    ``way`` (n, 2) mm, close together; ``heading`` degrees, where the blade points at its first.
    """
    h = math.radians(heading)
    tip = way[0] - offset * np.array([math.cos(h), math.sin(h)])
    return _dragged(np.ascontiguousarray(way), tip, offset)


def heading_of(pivot, tip):
    """Degrees, where a blade points."""
    return math.degrees(math.atan2(pivot[1] - tip[1], pivot[0] - tip[0]))
