"""Thickness as a picture: tints from thin (light) to thick (dark), contour lines and numbers.

Where thickness is not known well, dots lie over the tint.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import cast

import contourpy
import numpy as np
import shapely
from matplotlib.colors import to_hex, to_rgb
from shapely import LineString, MultiLineString, Polygon, box
from shapely.geometry.base import BaseGeometry

from hides.hide import Hide
from hides.outline import FloatArray, polygons_of
from nest.draw.labels import Labels
from nest.draw.palette import (
    CONTOUR,
    DOUBT_LOOK,
    LEATHER,
    SMALL,
    THICK,
    THIN,
    UMBER,
    ZONE_EDGE,
)
from nest.draw.rows import Row, note, swatch
from nest.draw.sheet import Pen, Sheet, Style
from nest.draw.words import Type

TINT_STEPS = (0.1, 0.2, 0.5)  # mm of thickness from one tint to the next
MOST_TINTS = 12  # at most so many
FIELD_GRID = 12.0  # mm; thickness is sampled on this grid, which is finer than it changes
DOUBT = 0.3  # mm; half the width of the 90 % interval from which thickness counts as doubtful
NINETY = 1.6449  # deviations from the mean hold 90 % of a normal distribution (from tables)
NUMBERS_INSIDE = 2.5  # page mm; numbers on contour lines keep so far from the hide's edge

LEVEL = Type(4.8, UMBER, halo=LEATHER)


@dataclass(frozen=True, slots=True)
class Tint:
    """A band of thickness, ``low`` to ``high`` mm, and the colour it has on the picture."""

    low: float
    high: float
    colour: str


def tints_of(hide: Hide) -> tuple[Tint, ...]:
    """Bands that cover all that is known of the hide's thickness."""
    known = [edge for zone in hide.zones for edge in (zone.low, zone.high)]
    if hide.readings:
        x, y, mean, _ = _field(hide)
        points = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
        inside = shapely.contains_xy(hide.polygon, points)
        known += list(mean.ravel()[inside])
    if not known:
        return ()
    span = max(known) - min(known)
    step = next((s for s in TINT_STEPS if span / s <= MOST_TINTS - 1), TINT_STEPS[-1])
    first, last = (int(np.floor(t / step + 1e-9)) for t in (min(known), max(known) + step))
    thin, thick = np.array(to_rgb(THIN)), np.array(to_rgb(THICK))
    shares = np.linspace(0.0, 1.0, last - first)
    colours = [to_hex(thin + share * (thick - thin)) for share in shares]
    return tuple(
        Tint(i * step, (i + 1) * step, colour)
        for i, colour in zip(range(first, last), colours, strict=True)
    )


def draw_tints(pen: Pen, hide: Hide) -> None:
    """Fill the hide with its tints: by the readings, and over them the zones as given."""
    tints = tints_of(hide)
    if hide.readings:
        _draw_bands(pen, hide, tints)
    for zone in hide.zones:
        middle, shape = (zone.low + zone.high) / 2, zone.polygon.intersection(hide.polygon)
        colour = next((t.colour for t in tints if t.low <= middle < t.high), THIN)
        pen.shade(shape, Style(fill=colour), layer=1.3)
        pen.shade(shape, ZONE_EDGE, layer=1.4)


def doubtful(hide: Hide, limit: float = DOUBT) -> BaseGeometry:
    """Where the thickness is not known to ± ``limit`` mm with 90 % chance; zones are as given."""
    if not hide.readings:
        return Polygon()
    x, y, _, deviation = _field(hide)
    generator = contourpy.contour_generator(
        x, y, NINETY * deviation, fill_type=contourpy.FillType.OuterOffset
    )
    region: BaseGeometry = _bands(generator, limit, np.inf).intersection(hide.polygon)
    return region.difference(hide.thickness.zoned)


def draw_doubt(pen: Pen, hide: Hide) -> None:
    """Dot the leather whose thickness is doubtful."""
    pen.shade(doubtful(hide), DOUBT_LOOK, layer=1.35, name="doubt")


def doubt_row(hide: Hide, width: float) -> list[Row]:
    """A legend row ``width`` mm wide for it, where there is any."""
    share = doubtful(hide).area / hide.gross_area
    if share < 0.001:
        return []
    words = f"known no better than ±{DOUBT:g} mm (90 %): {share:.0%} of the leather"
    return swatch(DOUBT_LOOK, words, width)


def draw_levels(pen: Pen, hide: Hide, labels: Labels) -> None:
    """Write the thickness on its contour lines and in its zones, where there is room."""
    if hide.readings:
        room = hide.polygon.buffer(-NUMBERS_INSIDE / pen.scale)
        room = cast(Polygon, room.difference(hide.thickness.zoned))
        x, y, mean, _ = _field(hide)
        generator = contourpy.contour_generator(x, y, mean, line_type=contourpy.LineType.Separate)
        for tint in tints_of(hide)[1:]:
            found = cast(Sequence[FloatArray], generator.lines(tint.low))
            lines = MultiLineString(list(found)).intersection(room)
            pieces = [p for p in shapely.get_parts(lines) if isinstance(p, LineString) and p.length]
            if pieces:
                longest = max(pieces, key=lambda piece: piece.length)
                _label_line(pen, longest, f"{tint.low:.1f}", labels)
    for zone in hide.zones:
        for shape in polygons_of(pen.on_page(zone.polygon.intersection(hide.polygon)))[:1]:
            words = f"{zone.name} {zone.low:g}–{zone.high:g}"
            labels.inside(shape, words, LEVEL, angles=(0.0, 90.0))


def ramp(tints: tuple[Tint, ...], width: float) -> list[Row]:
    """A legend row ``width`` mm wide: a box for each tint with the thickness at its borders."""
    if not tints:
        return note("thickness not known", width)
    wide = min(9.0, (width - 10.0) / len(tints))

    def draw(sheet: Sheet, x: float, top: float) -> None:
        for i, tint in enumerate(tints):
            piece = box(x + i * wide, top - 2.8, x + (i + 1) * wide, top - 0.4)
            look = Style(fill=tint.colour, edge=CONTOUR.edge, width=0.15)
            sheet.shade(piece, look, layer=2.0)
        edges = [tint.low for tint in tints] + [tints[-1].high]
        every = 1 if wide >= 6.0 else 2
        for i in range(0, len(edges), every):
            anchor = "centre" if i else "left"
            sheet.text((x + i * wide, top - 5.0), f"{edges[i]:.1f}", SMALL, anchor=anchor)
        sheet.text((x + len(tints) * wide + 1.5, top - 2.2), "mm", SMALL)

    return [Row(6.4, draw)]


def _draw_bands(pen: Pen, hide: Hide, tints: Sequence[Tint]) -> None:
    x, y, mean, _ = _field(hide)
    generator = contourpy.contour_generator(x, y, mean, fill_type=contourpy.FillType.OuterOffset)
    for tint in tints:
        bands = _bands(generator, tint.low, tint.high)
        look = Style(fill=tint.colour, edge=CONTOUR.edge, width=CONTOUR.width)
        pen.shade(bands.intersection(hide.polygon), look, layer=1.2)


def _bands(generator: contourpy.ContourGenerator, low: float, high: float) -> BaseGeometry:
    """Where the sampled values lie between two levels."""
    found = zip(*generator.filled(low, high), strict=True)
    cuts = [np.split(points, offsets[1:-1]) for points, offsets in found]
    return shapely.union_all([Polygon(rings[0], rings[1:]) for rings in cuts])


def _label_line(pen: Pen, line: LineString, words: str, labels: Labels) -> None:
    """Write on the line at the first free of a few places along it."""
    for share in (0.5, 0.35, 0.65, 0.2, 0.8):
        point = line.interpolate(share, normalized=True)
        if labels.near(pen, (point.x, point.y), words, LEVEL):
            return


def _field(hide: Hide) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """x (m,), y (n,), mean and deviation (n, m) by the readings, over the hide's box."""
    x0, y0, x1, y1 = hide.outline.bounds
    step = FIELD_GRID
    x, y = np.arange(x0 - step, x1 + 2 * step, step), np.arange(y0 - step, y1 + 2 * step, step)
    points = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    mean, deviation = hide.thickness.field_by_readings(points)
    return x, y, mean.reshape(len(y), len(x)), deviation.reshape(len(y), len(x))
