"""Odd knives of our own invention, whose edge, guard and tip are known because we drew them.

Each is drawn lying along x, butt at 0, tip to the right, y up and the cutting edge below;
:func:`drawn` turns and mirrors them and lets y point down, as drawing files do.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from hides.outline import FloatArray, Outline, turned
from hides.trace import Silhouette
from nest.part import XY

HANDLE_END = 110.0
# Handles, from the butt to there: points along the back, points along the edge.
STRAIGHT = ([(0, 22), (6, 24), (110, 24)], [(0, 2), (6, 0), (110, 0)])
DROPPED = (
    [(-4, 8), (4, 17), (30, 22), (70, 25), (110, 24)],
    [(-6, -8), (6, -12), (30, -2), (70, 2), (110, 1)],
)
SWELLING = ([(0, 20), (15, 25), (55, 27), (110, 23)], [(0, 4), (15, -1), (55, -3), (110, 2)])
GUARDED = (STRAIGHT[0], [(0, 2), (6, 0), (103, 0), (104, -9), (109, -9), (110, 0)])
RISING = (  # the butt curls up behind the back: pistol grips the other way round
    [(-4, 36), (10, 36), (40, 27), (110, 24)],
    [(-4, 16), (10, 12), (40, 3), (110, 0)],
)


@dataclass(frozen=True)
class OddKnife:
    """Points (n, 2) along back and edge from butt to tip, mm; the tip is the last of both."""

    back: tuple[XY, ...]
    edge: tuple[XY, ...]

    @property
    def points(self) -> FloatArray:
        """The outline, (n, 2) mm."""
        return np.array([*self.edge, *self.back[-2::-1]], dtype=float)

    @property
    def tip(self) -> XY:
        return self.back[-1]

    @property
    def butt(self) -> XY:
        """Half way between the outline's first points, which are its end."""
        (ax, ay), (bx, by) = self.back[0], self.edge[0]
        return (ax + bx) / 2, (ay + by) / 2

    @property
    def guard(self) -> float:
        """Mm from the butt, along the line from butt to tip, to where the handles end."""
        along = np.subtract(self.tip, self.butt) / self.length
        return float(along @ np.subtract((HANDLE_END, self.middle), self.butt))

    @property
    def middle(self) -> float:
        """Height of the handle's middle at its end, mm."""
        ends = [np.interp(HANDLE_END, *np.array(line).T) for line in (self.back, self.edge)]
        return float(np.mean(ends))

    @property
    def length(self) -> float:
        """Mm from butt to tip."""
        return float(np.hypot(*np.subtract(self.tip, self.butt)))

    def beside(self, edge: bool) -> XY:
        """A point 5 mm off the middle of the blade, beside its edge or its back."""
        x = (HANDLE_END + self.tip[0]) / 2
        line = np.array(self.edge if edge else self.back)
        return x, float(np.interp(x, *line.T)) + (-5.0 if edge else 5.0)


def _knife(handle, back, edge) -> OddKnife:
    return OddKnife((*handle[0], *back), (*handle[1], *edge))


DROP = ([(180, 23), (205, 20), (222, 13)], [(111, -4), (170, -5), (200, 0), (222, 13)])
WHARNCLIFFE = ([(150, 24), (222, -3)], [(111, -3), (222, -3)])
HAWKBILL = (
    [(160, 24), (190, 15), (208, 0), (214, -14)],
    [(150, 4), (185, 2), (203, -6), (214, -14)],
)
KUKRI = (
    [(150, 26), (180, 18), (210, 4), (236, -20)],
    [(140, 3), (165, -6), (190, -22), (212, -27), (236, -20)],
)

ODD = {
    "drop point": _knife(STRAIGHT, *DROP),
    "drop point, dropped handle": _knife(DROPPED, *DROP),
    "wharncliffe": _knife(STRAIGHT, *WHARNCLIFFE),
    "wharncliffe, dropped handle": _knife(DROPPED, *WHARNCLIFFE),
    "wharncliffe, rising handle": _knife(RISING, *WHARNCLIFFE),
    "wharncliffe with a thumb rise": _knife(
        STRAIGHT, [(114, 28), (124, 28), (132, 24), (160, 24), (222, -3)], [(222, -3)]
    ),
    "sheepsfoot": _knife(
        SWELLING, [(190, 24), (208, 18), (218, 6), (220, -3)], [(112, -3), (220, -3)]
    ),
    "cleaver": _knife(STRAIGHT, [(216, 25), (224, -24)], [(112, -1), (113, -26), (224, -24)]),
    "cleaver, tip above": _knife(
        STRAIGHT, [(222, 25)], [(112, -1), (113, -26), (214, -24), (222, 25)]
    ),
    "kukri-like": _knife(DROPPED, *KUKRI),
    "kukri-like, straight handle": _knife(STRAIGHT, *KUKRI),
    "hawkbill": _knife(STRAIGHT, *HAWKBILL),
    "hawkbill, dropped handle": _knife(DROPPED, *HAWKBILL),
    "recurve": _knife(
        STRAIGHT, [(170, 24), (222, 14)], [(112, -4), (135, 3), (165, -3), (195, -5), (222, 14)]
    ),
    "trailing point": _knife(
        SWELLING,
        [(150, 21), (195, 25), (228, 38)],
        [(112, -3), (160, -4), (195, 3), (215, 18), (228, 38)],
    ),
    "tanto": _knife(STRAIGHT, [(222, 22)], [(112, -3), (196, -3), (222, 22)]),
    "reversed tanto": _knife(
        STRAIGHT, [(190, 24), (222, 2)], [(112, -3), (180, -3), (208, -2), (222, 2)]
    ),
    "low spear": _knife(
        STRAIGHT, [(150, 24), (190, 15), (222, 2)], [(112, -3), (185, -3), (222, 2)]
    ),
    "santoku": _knife(
        SWELLING,
        [(185, 24), (212, 12), (226, -14)],
        [(112, -1), (114, -20), (170, -22), (205, -20), (226, -14)],
    ),
    "humped skinner": _knife(
        DROPPED,
        [(150, 27), (180, 30), (206, 27), (224, 20)],
        [(112, -3), (165, -5), (200, -1), (224, 20)],
    ),
    "broken back": _knife(STRAIGHT, [(170, 30), (226, -2)], [(112, -3), (226, -2)]),
    "straight back": _knife(SWELLING, [(222, 23)], [(112, 0), (185, 0), (205, 6), (222, 23)]),
    "deep heel": _knife(
        SWELLING, [(170, 24), (226, 10)], [(112, 0), (114, -16), (180, -15), (226, 10)]
    ),
    "clip with a guard": _knife(
        GUARDED, [(170, 24), (195, 17), (224, 16)], [(111, -3), (180, -3), (205, 3), (224, 16)]
    ),
    "bird's beak": _knife(
        SWELLING, [(135, 25), (160, 19), (176, 4)], [(130, 6), (155, 8), (176, 4)]
    ),
    "spey": _knife(
        STRAIGHT, [(195, 24), (212, 20), (222, 17)], [(112, -3), (200, -3), (214, 4), (222, 17)]
    ),
}

LIES = [  # degrees; mirrored; the file counts y downwards
    (0, False, False), (0, True, False), (0, False, True), (0, True, True),
    (37, False, False), (200, True, False), (115, False, True), (-80, True, True),
]  # fmt: skip


def drawn(
    odd: OddKnife, angle: float, mirrored: bool, y_down: bool, unit: float | None = None
) -> tuple[Silhouette, "Places"]:
    """A drawing of the knife turned by ``angle`` degrees, and where its places come to lie."""
    flip = np.array((1.0, -1.0 if mirrored else 1.0))

    def there(points):
        return turned(np.reshape(points, (-1, 2)) * flip, angle, 300, -40)

    drawing = Silhouette(Outline.of(there(odd.points)), y_down=y_down, unit=unit)
    return drawing, Places(odd, lambda xy: tuple(drawing.here(there(xy)[0])))


@dataclass(frozen=True)
class Places:
    """Places of a drawn knife in the drawing file's own axes."""

    odd: OddKnife
    there: Callable[[ArrayLike], XY]

    @property
    def lie(self) -> dict[str, XY]:
        """The keys tip and butt."""
        return {"tip": self.there(self.odd.tip), "butt": self.there(self.odd.butt)}

    def beside(self, edge: bool) -> XY:
        """A point beside the edge or the back."""
        return self.there(self.odd.beside(edge))
