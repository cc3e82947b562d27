"""Find marks: a flattened photo of a hide to its flaws, and to what is doubtful.

1. The light is taken out of the picture (:mod:`hides.capture.marks.colour`), once roughly and
   once more with the marks of the first look left out.
2. What differs from the leather by far more than its own texture does is painted.
3. Painted pixels that a usual gap joins belong together; each such group is split by colour
   where it holds more than one, and each colour's strokes are read as rings, areas and lines
   (:mod:`hides.capture.marks.strokes`).
4. A group whose colour is clear and in the legend is a flaw. Everything else that looks drawn
   is listed as doubtful with what it might be; nothing is dropped but specks and faint blots
   such as leather has by nature. What has the floor's colours all over is a hole.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from scipy.ndimage import distance_transform_edt
from scipy.spatial import cKDTree
from shapely import Polygon

from hides.capture.marks.colour import Chalks, Even
from hides.capture.marks.legend import USUAL_LEGEND, Legend, LegendEntry
from hides.capture.marks.picture import MIXED_RIM, WINDOW, Picture, picture_of
from hides.capture.marks.strokes import STROKE_GAP, Form, forms
from hides.capture.masks import Floats, Mask, dilated, eroded
from hides.capture.pose import Flat
from hides.flaws import Flaw
from hides.outline import Outline

# Colour differences are in CIE 1976 units with lightness weighted. All were chosen on drawn photos
# (tests/bench/marks.py); there is no published source.
STROKE_BLUR = 6.0  # mm; deviation of the blur along strokes before their colours are told apart
NIB = 6.0  # mm; paint is compared with the strongest so near
STROKE_EDGE = 0.45  # of that
WEAK_STRENGTH = 0.3  # of a group's usual strength: what is weaker is looked at by itself
SPECK_AREA = 50.0  # mm²; less paint is no mark
MOST_UNEXPLAINED = 15.0  # greatest difference that a colour may leave unexplained
CLEARLY_OTHER = 4.0  # how much worse every other colour must explain it
SURE_STRENGTH = 10.0  # least colour difference between a sure mark and bare leather
# Below this it is the leather's own; nature draws lines and blots, but hardly ever rings.
LEAST_STRENGTH = {"ring": 6.0, "open ring": 7.0, "area": 8.0, "line": 8.0}
# Creases shine, and light that is too bright for the camera loses its hue: such lines and blots are
# faint, and of no colour in particular.
SHINE_STRENGTH = 12.0
SECOND_COLOUR = 0.15  # of a group's paint: a second colour with more is a mark of its own
FLOOR_REACH = 30.0  # mm; floor so near to what lies at the edge is compared with it
FLOOR_ALIKE = 8.0  # difference of colours up to which they may be one
FLOOR_SHARE = 0.1  # of that floor being alike, what lies at the edge may be floor
FLOOR_SAMPLE = 4000  # pixels of the floor that are known by their colours
FLOOR_MATCH = 4.0  # difference from the nearest of them, up to which a pixel shows the floor
FLOOR_ALL_OVER = 0.85  # of its pixels: the floor is seen by a hole
LARGE_AT_EDGE = 2000.0  # mm²; so large a piece of floor is no slip of the edge
# Notes of flaws that nobody has marked: what may be floor bars all, so that no part lies there.
SEEN_THROUGH = "the floor is seen through it"
AT_EDGE = "floor, or a line along the edge"
UNMARKED = (SEEN_THROUGH, AT_EDGE)


@dataclass(frozen=True, slots=True)
class Doubt:
    """Something drawn that could not be read for sure.

    Attributes
    ----------
    shape : mm, floor frame.
    says : what it looks like ("a pink ring, 80 mm across"), then in a sentence why it is doubtful
        and what to do; without its place.
    flaw : what it is if the best guess is right; None where the legend has no such colour.
    """

    shape: Polygon
    says: str
    flaw: Flaw | None = None


@dataclass(frozen=True, slots=True)
class Marks:
    """Marks on a hide, floor frame in mm."""

    flaws: tuple[Flaw, ...]
    doubtful: tuple[Doubt, ...] = ()


def find(
    flat: Flat,
    outline: Outline,
    legend: Legend = USUAL_LEGEND,
    *,
    papers: Iterable[Polygon] = (),
    ignore: Iterable[Polygon] = (),
) -> Marks:
    """Read the coloured marks on a hide.

    Parameters
    ----------
    flat : the flattened photo, best at 1 mm per pixel.
    outline : the hide's edge, mm, floor frame.
    legend : which colours stand for what.
    papers : the scale sheets' paper, which shows what white is; mm, floor frame. Without any
        the brightest of the photo is taken for white.
    ignore : what lies on the hide and is no mark, such as stickers; mm, floor frame.
    """
    picture = picture_of(flat, outline, papers, ignore)
    if not picture.leather.any():
        return Marks(())
    even, painted = picture.painted()
    chalks = Chalks.on(even.leather, legend.colours)
    found = [
        _judged(drawn, chalks, picture, legend) for drawn in _drawn(painted, even, chalks, picture)
    ]
    return Marks(
        tuple(each for each in found if isinstance(each, Flaw)),
        tuple(each for each in found if isinstance(each, Doubt)),
    )


# --- what is drawn ---------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Drawn:
    """One mark.

    Attributes
    ----------
    form : what was drawn, in a window whose first pixel is ``corner`` (row, column).
    look, bare : (3,) weighted L*a*b*, the usual colour of its stronger half, and of leather.
    floor : share of the floor near it that is of its colour.
    through : share of its own pixels that look like floor.
    """

    form: Form
    corner: tuple[int, int]
    look: Floats
    bare: Floats
    floor: float
    through: float

    @property
    def strength(self) -> float:
        """Colour difference between the mark and bare leather."""
        return float(np.linalg.norm(self.look - self.bare))


@dataclass(frozen=True, eq=False)
class _Window:
    """A group of strokes and what is around it; arrays are (h, w), ``ground`` colours of floor."""

    corner: tuple[int, int]
    looks: Floats
    bare: Floats
    leather: Mask
    floor: Mask
    strokes: Mask
    ground: cKDTree
    scale: float

    @property
    def least(self) -> float:
        """Pixels that a mark has at least."""
        return SPECK_AREA / self.scale**2


def _drawn(painted: Mask, even: Even, chalks: Chalks, picture: Picture) -> Iterator[_Drawn]:
    """All marks, group by group and colour by colour."""
    for window in _groups(painted, even, picture):
        for strokes in _by_colour(window, chalks):
            others = window.strokes & ~dilated(strokes, 1.5)
            yield from _read(window, strokes, others)


def _groups(painted: Mask, even: Even, picture: Picture) -> Iterator[_Window]:
    """Strokes that a usual gap joins."""
    known = even.looks[picture.floor]
    ground = cKDTree(known[:: max(len(known) // FLOOR_SAMPLE, 1)])
    joined = dilated(painted, STROKE_GAP / 2 / picture.scale)
    _, labels, about, _ = cv2.connectedComponentsWithStats(joined.astype(np.uint8))
    pad = int(WINDOW / picture.scale)
    for i, (left, top, width, height, _) in enumerate(about):
        corner = (max(top - pad, 0), max(left - pad, 0))
        view = np.s_[corner[0] : top + height + pad, corner[1] : left + width + pad]
        group = painted[view] & (labels[view] == i)
        window = _Window(
            *(corner, even.looks[view], even.bare, picture.leather[view], picture.floor[view]),
            *(group, ground, picture.scale),
        )
        if i > 0 and group.sum() >= window.least:
            yield window


def _read(window: _Window, strokes: Mask, others: Mask) -> Iterator[_Drawn]:
    """The marks in strokes of one colour, the strong ones and then what is far weaker."""
    looks, bare, scale = window.looks, window.bare, window.scale
    while strokes.sum() >= window.least:
        off = _look(looks[strokes], bare) - bare
        strength = (looks - bare) @ off / np.linalg.norm(off)
        paint = strokes & (strength >= WEAK_STRENGTH * np.linalg.norm(off))
        sharp = _sharpened(paint, strength, scale)
        for form in forms(sharp, others, window.leather, scale):
            own = sharp & dilated(form.shape, 2 * MIXED_RIM / scale)
            if own.any():
                look = _look(looks[own], bare)
                beside = _floor_beside(window, form, look)
                yield _Drawn(form, window.corner, look, bare, beside, _seen_through(window, own))
        strokes = strokes & ~dilated(paint, 2 * MIXED_RIM / scale)


def _seen_through(window: _Window, own: Mask) -> float:
    """Share of a mark's pixels that look like floor, but for its rim, which is mixed."""
    inner = eroded(own, MIXED_RIM / window.scale)
    if not window.ground.n or not inner.any():
        return 0.0
    far, _ = window.ground.query(window.looks[inner], distance_upper_bound=FLOOR_MATCH)
    return float(np.isfinite(far).mean())


def _floor_beside(window: _Window, form: Form, look: Floats) -> float:
    """Share of the floor near a mark that is of its colour."""
    beside = window.looks[window.floor & dilated(form.shape, FLOOR_REACH / window.scale)]
    alike = np.linalg.norm(beside - look, axis=1) < FLOOR_ALIKE
    return float(alike.mean()) if len(alike) else 0.0


def _sharpened(strokes: Mask, strength: Floats, scale: float) -> Mask:
    """Strokes up to where the paint falls to half: the camera's blur widens strong ones."""
    size = 2 * round(NIB / scale) + 1
    most = cv2.dilate(np.where(strokes, strength, 0).astype(np.float32), np.ones((size, size)))
    return np.asarray(strokes & (strength >= STROKE_EDGE * most))


def _look(colours: Floats, bare: Floats) -> Floats:
    """The usual one of the stronger half of (n, 3) colours: edges are half leather."""
    off = np.linalg.norm(colours - bare, axis=1)
    return np.asarray(np.median(colours[off >= np.median(off)], axis=0), dtype=np.float32)


def _by_colour(window: _Window, chalks: Chalks) -> Iterator[Mask]:
    """Split a group's strokes where their colours clearly differ; the rest goes to the nearest."""
    strokes, soft = window.strokes, STROKE_BLUR / window.scale
    share = cv2.GaussianBlur(strokes.astype(np.float32), (0, 0), soft)[strokes]
    total = cv2.GaussianBlur(window.looks * strokes[..., None], (0, 0), soft)[strokes]
    mean = np.asarray(total / np.maximum(share, 1e-6)[:, None], dtype=np.float32)
    off = chalks.explain(mean)
    best, (first, second) = off.argmin(axis=1), np.sort(off, axis=1)[:, :2].T
    clear = (np.linalg.norm(mean - window.bare, axis=1) >= SURE_STRENGTH) & (
        second - first >= CLEARLY_OTHER
    )
    counts = np.bincount(best[clear], minlength=len(chalks.names))
    many = np.flatnonzero(counts >= max(SECOND_COLOUR * strokes.sum(), window.least))
    if len(many) < 2:
        yield strokes
        return
    names = np.full(strokes.shape, -1)
    names[strokes] = np.where(clear, best, -1)
    nearest = np.argmin([distance_transform_edt(names != name) for name in many], axis=0)
    for i in range(len(many)):
        yield strokes & (nearest == i)


# --- what it means ---------------------------------------------------------------------------


def _judged(drawn: _Drawn, chalks: Chalks, picture: Picture, legend: Legend) -> Flaw | Doubt | None:
    """A flaw where colour and form are clear, a doubt where they aren't, None for no mark."""
    form = drawn.form.name
    shape = picture.polygon(drawn.form.shape, drawn.corner)
    if shape is None or shape.area < SPECK_AREA or drawn.strength < LEAST_STRENGTH[form]:
        return None
    off = chalks.explain(drawn.look[None])[0]
    best = int(off.argmin())
    colour = chalks.names[best]
    clear = float(np.partition(off, 1)[1] - off[best]) >= CLEARLY_OTHER
    if "ring" not in form and drawn.strength < SHINE_STRENGTH and not clear:
        return None
    if form == "line" and shape.disjoint(picture.within):
        return Flaw("hole", "through", shape, AT_EDGE)
    at_edge = shape.distance(picture.outline.exterior) < MIXED_RIM
    as_floor = drawn.through >= FLOOR_ALL_OVER and "ring" not in form
    if as_floor and not (at_edge and shape.area > LARGE_AT_EDGE):
        return Flaw("hole", "through", shape, SEEN_THROUGH)
    if off[best] > MOST_UNEXPLAINED:
        says = "Its colour is none of the legend's: add it there, or wipe the mark off."
        return Doubt(shape, f"{_told('', form, shape)}. {says}")
    entry = legend.entry(colour)
    if entry is None:
        says = f"The legend has no {colour}: add it there, or wipe the mark off."
        return Doubt(shape, f"{_told(colour, form, shape)}. {says}")
    flaw = Flaw(entry.flaw, entry.face, shape, f"marked by a {colour} {form}")
    rivals = [i for i in range(len(off)) if not _same(legend.entry(chalks.names[i]), entry)]
    near = min(rivals, key=lambda i: off[i], default=best)
    if near != best and off[near] < off[best] + CLEARLY_OTHER:
        says = f"It may be {chalks.names[near]} too: draw it stronger, or in another colour."
    elif drawn.strength < SURE_STRENGTH:
        says = "It is faint: draw it stronger, or wipe it off."
    elif form == "open ring":
        says = "Close it if all inside is meant."
    elif at_edge and (as_floor or drawn.floor > FLOOR_SHARE):
        says = "It has the colour of the floor beside it: see whether the edge lies right there."
    elif shape.disjoint(picture.within):
        says = "It lies along the edge and may be floor: see whether the edge lies right there."
    else:
        return flaw
    return Doubt(shape, f"{_told(colour, form, shape)}. {says}", flaw)


def _same(one: LegendEntry | None, other: LegendEntry) -> bool:
    """Whether two colours mean the same."""
    return one is not None and (one.flaw, one.face) == (other.flaw, other.face)


def _told(colour: str, form: str, shape: Polygon) -> str:
    """A mark in words: "a red ring, 80 mm across"."""
    left, low, right, high = shape.bounds
    words = f"{colour} {form}".strip()
    article = "an" if words[0] in "aeio" else "a"
    return f"{article} {words}, {max(right - left, high - low):.0f} mm across"
