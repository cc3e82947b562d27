"""Hide: one piece of leather, and the ground on it where a part may lie.

A hide is its outline with all that is known of the leather inside. From that follow, never
stored: areas, the thickness everywhere, the direction of least stretch everywhere, and
:meth:`Hide.ground`, the region where a part's surface of a given face may lie.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

import contourpy
import numpy as np
import shapely
from shapely import MultiPolygon, Polygon, box
from shapely.geometry.base import BaseGeometry

from hides.errors import InputError
from hides.flaws import FACES, FLAW_KINDS, Flaw, bars, spoils
from hides.outline import FloatArray, Outline, buffered, grown, polygons_of
from hides.stretch import StretchField
from hides.thickness import Need, Reading, Regions, ThicknessMap, Zone, chance_outside
from hides.units import area_unit
from hides.whole import Whole

Polygonal = Polygon | MultiPolygon

PRICED_BY = ("ft2", "dm2", "piece")

THICKNESS_STEP = 8.0  # mm; grid on which thickness is judged. Fields change over hundreds of mm
THICKNESS_INSET = 1.5  # mm; kept clear of the thickness border, for what the grid can't see
STRAIGHTENED = 0.4  # mm; by how much the border may be straightened, on top of THICKNESS_INSET
SLIVER = 400.0  # mm²; smaller islands of ground hold no part


@dataclass(frozen=True, slots=True)
class Price:
    """What the leather cost: ``amount`` in ``currency`` per ft2, dm2 or piece."""

    amount: float
    currency: str
    per: str

    def __post_init__(self) -> None:
        if self.per not in PRICED_BY:
            raise InputError(f"a price is per {', '.join(PRICED_BY)}, got {self.per!r}.")


@dataclass(frozen=True, eq=False)
class Hide:
    """One piece of leather in its own flat frame, grain side up.

    Attributes
    ----------
    name : the maker's name for it.
    piece : one of :data:`hides.stretch.PIECES`.
    tannage : in words, such as "vegetable"; empty where nobody said.
    outline, holes : what can be cut, and the holes in it.
    backbone : (n, 2) mm, the line itself where the piece has one.
    stretch_lines : (n, 2) mm each, the user's directions of least stretch.
    supplier_area : mm², as stamped by the seller.
    parent : name of the hide that a remnant was cut from.
    whole : that hide before anything was cut off it, where more than its name is known; readings
        may then lie off the leather, where it was.
    source, sha256 : the file it was read from, and the digest of its bytes.
    """

    name: str
    piece: str
    tannage: str
    outline: Outline
    holes: tuple[Outline, ...] = ()
    backbone: FloatArray | None = None
    flaws: tuple[Flaw, ...] = ()
    readings: tuple[Reading, ...] = ()
    zones: tuple[Zone, ...] = ()
    stretch_lines: tuple[FloatArray, ...] = ()
    price: Price | None = None
    supplier_area: float | None = None
    parent: str | None = None
    whole: Whole | None = None
    source: Path | None = None
    sha256: str = ""
    _grounds: dict[tuple[str, Need, float], Polygonal] = field(
        default_factory=dict, init=False, repr=False
    )
    _thick: dict[Need, BaseGeometry] = field(default_factory=dict, init=False, repr=False)

    @cached_property
    def polygon(self) -> Polygon:
        """The leather: the outline without its holes."""
        return Polygon(self.outline.points, [hole.points for hole in self.holes])

    @property
    def tanned(self) -> str:
        """The tannage as pages tell it."""
        return self.tannage or "tannage not known"

    @property
    def gross_area(self) -> float:
        """Area of the leather in mm², holes left out."""
        return float(self.polygon.area)

    @cached_property
    def usable_area(self) -> float:
        """Gross area in mm² without the flaws that bar every face, as drawn (no margins)."""
        return float(self.usable.area)

    @cached_property
    def thickness(self) -> ThicknessMap:
        """Thickness at any point; of a side it is known beforehand where it thins."""
        of = self.as_whole
        regions = Regions(of.tail, of.length, of.depth, of.back) if of.piece == "side" else None
        return ThicknessMap(self.readings, self.zones, regions)

    @cached_property
    def stretch(self) -> StretchField:
        """Direction of least stretch at any point."""
        of, lines = self.as_whole, self.stretch_lines
        return StretchField(
            of.piece, of.tail, of.length, of.depth, lines, right=of.right, back=of.back
        )

    @cached_property
    def as_whole(self) -> Whole:
        """What regions are scaled to: what it was cut from, else itself."""
        if self.whole is not None:
            return self.whole
        left, _, right, _ = self.outline.bounds
        length, is_right = right - left, bool(self.polygon.centroid.y < 0)
        return Whole(self.piece, left, 0.0, length, self.outline.area / length, is_right)

    def ground(self, face: str, need: Need, margin: float) -> Polygonal:
        """Where a region of that face may lie.

        Inside the hide by ``margin`` mm from edge and holes, clear of every flaw that bars
        the face by that kind's margin, and where the thickness is allowed
        (:meth:`allowed`). Every point of the result keeps these rules; near their borders
        up to about two millimetres of leather that would keep them are given away.
        """
        key = (face, need, margin)
        if key not in self._grounds:
            self._grounds[key] = self._ground(face, need, margin)
        return self._grounds[key]

    def allowed(self, need: Need) -> Polygonal:
        """Where the thickness meets the need, whatever the flaws."""
        return _ground_of(self.polygon.intersection(self._surely_thick(need)))

    @property
    def paid(self) -> float | None:
        """What the whole piece cost, by its stamped area or, if unstamped, its gross area."""
        if self.price is None:
            return None
        if self.price.per == "piece":
            return self.price.amount
        area = self.gross_area if self.supplier_area is None else self.supplier_area
        return self.price.amount * area / area_unit(self.price.per)

    def cost(self, area: float) -> float | None:
        """Share of the price that ``area`` mm² of this piece bears; the whole bears it all."""
        return None if self.paid is None else self.paid * area / self.gross_area

    @cached_property
    def usable(self) -> BaseGeometry:
        """The leather without the flaws that bar every face, as drawn (no margins)."""
        lost = [f.shape for f in self.flaws if all(bars(f, face) for face in FACES)]
        return self.polygon.difference(shapely.union_all(lost)) if lost else self.polygon

    @cached_property
    def clean(self) -> BaseGeometry:
        """The leather without the flaws that :func:`hides.flaws.spoils` names, as drawn."""
        lost = [flaw.shape for flaw in self.flaws if spoils(flaw)]
        return self.polygon.difference(shapely.union_all(lost)) if lost else self.polygon

    @cached_property
    def _kept_clear(self) -> dict[frozenset[str], BaseGeometry]:
        """Flaws with the margins of their kinds, by the faces that they bar."""
        clear = defaultdict(list)
        for flaw in self.flaws:
            barred = frozenset(face for face in FACES if bars(flaw, face))
            clear[barred].append(grown(flaw.shape, FLAW_KINDS[flaw.kind].margin))
        return {barred: shapely.union_all(shapes) for barred, shapes in clear.items()}

    def _ground(self, face: str, need: Need, margin: float) -> Polygonal:
        barred = [shape for faces, shape in self._kept_clear.items() if face in faces]
        inside = grown(self.polygon, -margin).difference(shapely.union_all(barred))
        return _ground_of(inside.intersection(self._surely_thick(need)))

    def _surely_thick(self, need: Need) -> BaseGeometry:
        """Region, conservative, where the thickness meets the need."""
        if need not in self._thick:
            self._thick[need] = buffered(
                self.thick(need), -THICKNESS_INSET - STRAIGHTENED
            ).simplify(STRAIGHTENED)
        return self._thick[need]

    def thick(self, need: Need) -> BaseGeometry:
        """Where the thickness meets the need as near as a grid of THICKNESS_STEP mm can tell.

        Neither careful nor generous, and not cut to the hide's outline: :meth:`ground` and
        :meth:`allowed` keep clear of its border by THICKNESS_INSET, a bound on areas goes beyond.
        """
        region = self._thick_by_readings(need)
        for zone in self.zones:
            join = shapely.union if zone.meets(need) else shapely.difference
            region = join(region, zone.polygon)
        return region

    def _thick_by_readings(self, need: Need) -> BaseGeometry:
        if not self.readings:
            return box(*self.outline.bounds).buffer(THICKNESS_STEP) if need.unknown else Polygon()
        x, y, mean, deviation = self._sampled
        outside = chance_outside(mean.ravel(), deviation.ravel(), need).reshape(mean.shape)
        lines = contourpy.contour_generator(
            x, y, outside, fill_type=contourpy.FillType.OuterOffset
        ).filled(-1.0, need.risk)
        cuts = [np.split(ring, at[1:-1]) for ring, at in zip(*lines, strict=True)]
        return shapely.union_all([Polygon(rings[0], rings[1:]) for rings in cuts])

    @cached_property
    def _sampled(self) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """x (m,), y (n,), and mean and deviation (n, m) by the readings on a grid over the hide."""
        left, low, right, high = self.outline.bounds
        x = np.arange(left - THICKNESS_STEP, right + 2 * THICKNESS_STEP, THICKNESS_STEP)
        y = np.arange(low - THICKNESS_STEP, high + 2 * THICKNESS_STEP, THICKNESS_STEP)
        points = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
        mean, deviation = self.thickness.field_by_readings(points)
        return x, y, mean.reshape(len(y), len(x)), deviation.reshape(len(y), len(x))


def unpriced(hides: Sequence[Hide]) -> str:
    """Why hides can't be compared by what they cost, a clause; "" where they can."""
    bare = [hide.name for hide in hides if hide.price is None]
    if bare:
        return f"{' and '.join(bare)} {'has' if len(bare) == 1 else 'have'} no price"
    currencies = dict.fromkeys(hide.price.currency for hide in hides if hide.price)
    return f"prices are in {' and '.join(currencies)}" if len(currencies) > 1 else ""


def _ground_of(shape: BaseGeometry) -> Polygonal:
    """The polygons of a shape that are large enough to matter, as one geometry."""
    parts = [p for p in polygons_of(shape) if p.area >= SLIVER]
    return parts[0] if len(parts) == 1 else MultiPolygon(parts)
