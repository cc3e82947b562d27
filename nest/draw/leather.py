"""What a picture shows of a hide: ground, thickness, stretch, flaws and the words around it.

Each function draws one thing with a pen whose frame is the hide's, so that a hide picture
and a cut plan show the same leather the same way.
"""

from __future__ import annotations

from collections import Counter

import numpy as np
import shapely
from shapely import LineString, Point, box
from shapely.geometry.base import BaseGeometry

from hides.flaws import FACES, FLAW_KINDS, Flaw, bars
from hides.hide import Hide
from hides.outline import polygons_of
from nest.draw.labels import Labels, has_room
from nest.draw.palette import (
    ALARM,
    BACKBONE,
    FADED,
    FLAW,
    HATCHES,
    HIDE_EDGE,
    HIDE_FILL,
    INK,
    LEADER_DOT,
    LEATHER,
    NOTE,
    OTHER_HATCH,
    PAPER,
    SMALL,
    STRETCH,
    UMBER,
)
from nest.draw.rows import Row, note, stroke, swatch
from nest.draw.sheet import Box, Pen, Sheet, Style
from nest.draw.tints import draw_tints
from nest.draw.words import Type, Words

DOT = 0.9  # page mm, width of a reading's dot
TOLD_APART = 12.0  # page mm between the numbers of a ruler at least
STRETCH_PITCH = 9.0  # page mm between stretch ticks
STRETCH_TICK = 2.6  # page mm, length of one

REGION = Type(9.0, UMBER, halo=LEATHER)
READING = Type(NOTE.size, halo=LEATHER)
STRUCK = Type(NOTE.size, ALARM, halo=LEATHER)
STRIKE = Style(edge=ALARM, width=0.3)
FLAW_CODE = Type(5.2, FLAW, bold=True, halo=PAPER)
EDGE_WORD = Type(6.2, FADED, italic=True)


def draw_ground(pen: Pen, hide: Hide) -> None:
    """Draw the leather with its thickness as tints, and its edge."""
    pen.shade(hide.polygon, HIDE_FILL, layer=1.0, name="hide")
    draw_tints(pen, hide)
    pen.shade(hide.polygon, HIDE_EDGE, layer=5.0, name="hide-edge")


def draw_readings(pen: Pen, hide: Hide, labels: Labels) -> None:
    """Dot every gauge reading on the leather and write its thickness beside it; one that does not
    count is struck out.
    """
    read = zip(hide.readings, hide.thickness.surprises(), strict=True)
    lie = [(r, off) for r, off in read if hide.polygon.dwithin(Point(r.x, r.y), 1.0)]
    for reading, off in lie:
        place, look = (reading.x, reading.y), Style(fill=ALARM if off else INK)
        pen.dots([place], DOT, look, layer=6.0, name="struck-out" if off else "reading")
        labels.obstacles.append(Point(pen.at([place])[0]).buffer(DOT / 2))
    for reading, off in lie:
        place, words = (reading.x, reading.y), f"{reading.thickness:.2f}"
        style = STRUCK if off else READING
        written = labels.near(pen, place, words, style, on_it=False, steps=2)
        if off:
            strike_out(pen, place, written)


def strike_out(pen: Pen, place: tuple[float, float], written: Words | None) -> None:
    """Cross out a reading's dot at ``place`` (mm, hide frame), and the words beside it if any."""
    for arm in (np.array([1.4, 1.4]), np.array([1.4, -1.4])):
        dot = pen.at([place])[0]
        pen.sheet.line([dot - arm, dot + arm], STRIKE, layer=9.5)
    if written is not None:
        left, low, right, high = written.box.bounds
        middle = (low + high) / 2
        pen.sheet.line([(left, middle), (right, middle)], STRIKE, layer=9.5)


def reading_rows(hide: Hide, width: float) -> list[Row]:
    """Legend rows ``width`` mm wide for the readings, and for those that don't count."""
    rows = stroke(LEADER_DOT, "gauge reading, mm", width) if hide.readings else []
    if count := len(hide.readings) - len(hide.thickness.counted):
        words = f"{count} struck out: odd, so of no account until confirmed"
        rows += stroke(STRIKE, words, width)
    return rows


def draw_stretch(pen: Pen, hide: Hide, avoid: BaseGeometry | None = None) -> None:
    """Draw small ticks along the line of least stretch, clear of ``avoid`` and of all words."""
    pitch, half = STRETCH_PITCH / pen.scale, STRETCH_TICK / pen.scale / 2
    x0, y0, x1, y1 = hide.outline.bounds
    places = np.stack(np.meshgrid(np.arange(x0, x1, pitch), np.arange(y0, y1, pitch)), axis=-1)
    points = (places.reshape(-1, 2) + pitch / 2).astype(np.float64)
    clear = hide.polygon if avoid is None else hide.polygon.difference(avoid)
    clear = clear.buffer(-1.3 * half)
    points = points[shapely.contains_xy(clear, points)]
    angle = np.deg2rad(hide.stretch.direction(points))
    reach = half * np.column_stack([np.cos(angle), np.sin(angle)])
    ticks = np.stack([points - reach, points + reach], axis=1)
    words = shapely.union_all([word.box for word in pen.sheet.words])
    on_words = shapely.intersects(words, shapely.linestrings(pen.at(ticks)))
    pen.lines(ticks[~on_words], STRETCH, layer=1.6, name="stretch")
    for line in hide.stretch_lines:
        pen.line(line, Style(edge=STRETCH.edge, width=0.35), layer=1.6)


def draw_flaws(pen: Pen, hide: Hide, *, layer: float = 2.0) -> None:
    """Draw each flaw in the hatch of what it bars; dashed if on the flesh side only.

    ``layer`` is the number of the layer, higher is nearer.
    """
    for number, flaw in enumerate(hide.flaws, 1):
        shape = flaw.shape.intersection(hide.polygon)
        pen.shade(shape, flaw_look(flaw), layer=layer, name=f"flaw:{number}:{flaw.kind}")
    for hole in hide.holes:
        pen.shade(hole.polygon, Style(fill=PAPER, edge=INK, width=0.35), layer=layer, name="hole")


def flaw_marks(pen: Pen, hide: Hide) -> list[BaseGeometry]:
    """Flaws and holes that words would hide, on the page: obstacles to whatever is written."""
    small = [shape for code, shape in _coded(pen, hide) if not has_room(shape, code, FLAW_CODE)]
    return [*small, *(pen.on_page(hole.polygon) for hole in hide.holes)]


def name_flaws(pen: Pen, hide: Hide, labels: Labels) -> None:
    """Write each flaw's code within it where there is much room, else beside it."""
    labels.name(_coded(pen, hide), FLAW_CODE)


def _coded(pen: Pen, hide: Hide) -> list[tuple[str, BaseGeometry]]:
    """The code of each flaw that reaches the leather, and its shape on the page."""
    shown = [(flaw, pen.on_page(flaw.shape.intersection(hide.polygon))) for flaw in hide.flaws]
    return [(flaw_code(flaw.kind), shape) for flaw, shape in shown if polygons_of(shape)]


def flaw_code(kind: str) -> str:
    """Two letters for a kind of flaw, which begin the name of no other kind.

    They are its first two, or its first and the next that does: "sf" is soft and "sr" sore.
    """
    others = {name[:2] for name in FLAW_KINDS if name != kind}
    return next(kind[0] + letter for letter in kind[1:] if kind[0] + letter not in others)


def flaw_look(flaw: Flaw) -> Style:
    """Hatch by the faces it bars, dashed edge on the flesh side."""
    hatch = HATCHES.get(barred(flaw), OTHER_HATCH)
    dash = (1.0, 0.7) if flaw.face == "flesh" else ()
    return Style(edge=FLAW, width=0.25, dash=dash, hatch=hatch)


def barred(flaw: Flaw) -> frozenset[str]:
    """Faces of a part that may not lie on the flaw."""
    return frozenset(face for face in FACES if bars(flaw, face))


def flaw_legend(hide: Hide, width: float) -> list[Row]:
    """Legend rows ``width`` mm wide, one for each kind and side of flaw on the hide."""
    rows: list[Row] = []
    for (kind, side), count in Counter((flaw.kind, flaw.face) for flaw in hide.flaws).items():
        flaw = next(f for f in hide.flaws if (f.kind, f.face) == (kind, side))
        faces = barred(flaw)
        says = "all parts" if faces == set(FACES) else ", ".join(f for f in FACES if f in faces)
        where = " on the flesh" if side == "flesh" else ""
        words = f"{flaw_code(kind)} {kind} × {count}{where}: bars {says or 'nothing'}"
        rows += swatch(flaw_look(flaw), words, width)
    return rows


def draw_edges(pen: Pen, hide: Hide) -> None:
    """Draw the backbone, write backbone, belly, tail and neck round the hide, and its rulers."""
    x0, y0, x1, _ = hide.outline.bounds
    middle = (x0 + x1) / 2
    if hide.backbone is not None:
        pen.line(hide.backbone, BACKBONE, layer=5.5, name="backbone")
    low, high = _sides(hide)
    sheet, apart = pen.sheet, np.array([0.0, 2.8])
    bottom, top = _edges_at(hide.polygon, middle)
    sheet.text(pen.at([(middle, bottom)])[0] - apart, low, EDGE_WORD, anchor="centre")
    sheet.text(pen.at([(middle, top)])[0] + apart / 2, high, EDGE_WORD, anchor="centre")
    sheet.text(pen.at([(x0, y0)])[0] - apart, "← tail", EDGE_WORD)
    sheet.text(pen.at([(x1, y0)])[0] - apart, "neck →", EDGE_WORD, anchor="right")
    draw_rulers(pen, hide.outline.bounds)


def _sides(hide: Hide) -> tuple[str, str]:
    """What lies below and above the hide on the page."""
    _, y0, _, y1 = hide.outline.bounds
    if hide.piece == "side":  # a right side's belly is at y < 0
        return ("backbone", "belly edge") if y1 > -y0 else ("belly edge", "backbone")
    if hide.whole is not None and hide.whole.right:
        return "towards the belly", "towards the backbone"
    both = y0 < -0.25 * y1  # the backbone runs through it
    return "towards the belly" if both else "towards the backbone", "towards the belly"


def draw_rulers(pen: Pen, bounds: Box) -> None:
    """Draw rulers below and left of ``bounds`` that count mm from the frame's origin.

    With them and a tape a place on the page is found on the leather.
    """
    x0, y0, x1, y1 = bounds
    _ruler(pen, (x0, x1), across=(y0, -4.6), upright=False)
    _ruler(pen, (y0, y1), across=(x0, -2.2), upright=True)


def draw_regions(pen: Pen, hide: Hide, labels: Labels, avoid: BaseGeometry | None = None) -> None:
    """Write the regions of a side where they lie, on leather clear of ``avoid``."""
    for name, region in _regions(hide).items():
        clear = region if avoid is None else region.difference(avoid)
        for shape in polygons_of(pen.on_page(clear))[:1]:
            labels.inside(shape, name, REGION)


def _ruler(
    pen: Pen, span: tuple[float, float], *, across: tuple[float, float], upright: bool
) -> None:
    """Ticks every 100 mm of the frame over ``span``, a number at every 500, or at each where there
    is room.

    ``across`` is the line they stand on: a frame coordinate, and page mm away from it.
    """
    start, away = across
    marks = np.arange(np.ceil(span[0] / 100), np.floor(span[1] / 100) + 1) * 100.0
    line = np.column_stack([marks, np.full(len(marks), start)])
    out = np.array([away, 0.0] if upright else [0.0, away])
    told = 100 if 100 * pen.scale >= TOLD_APART else 500
    for mark, place in zip(marks, pen.at(line[:, ::-1] if upright else line) + out, strict=True):
        long = mark % told == 0
        tick = out / abs(away) * (1.4 if long else 0.7)
        pen.sheet.line([place, place + tick], Style(edge=FADED, width=0.15), layer=1.0)
        if long:
            label = place + tick + np.array([-0.6, -0.6] if upright else [0.0, -1.9])
            anchor = "right" if upright else "centre"
            pen.sheet.text(label, f"{mark + 0.0:.0f}", SMALL, anchor=anchor)


def scale_bar(scale: float, width: float) -> list[Row]:
    """A row with a bar of round length, at most ``width`` mm wide, and the scale in words."""
    lengths = (10, 20, 50, 100, 200, 500, 1000)
    step = max((s for s in lengths if 5 * s * scale <= width - 14.0), default=lengths[0])
    wide = step * scale

    def draw(sheet: Sheet, x: float, top: float) -> None:
        for i in range(5):
            look = Style(fill=PAPER if i % 2 else INK, edge=INK, width=0.15)
            piece = box(x + i * wide, top - 4.1, x + (i + 1) * wide, top - 3.0)
            sheet.shade(piece, look, layer=3.0)
        sheet.text((x, top - 2.2), "0", NOTE)
        sheet.text((x + wide, top - 2.2), f"{step}", NOTE, anchor="centre")
        sheet.text((x + 5 * wide, top - 2.2), f"{5 * step} mm", NOTE, anchor="centre")

    return [Row(5.4, draw), *note(f"scale 1 : {1.0 / scale:.4g}", width)]


def _edges_at(shape: BaseGeometry, x: float) -> tuple[float, float]:
    """Lowest and highest y of a shape on the line across at ``x``."""
    _, low, _, high = shape.bounds
    cut = shape.intersection(LineString([(x, low), (x, high)]))
    return (float(cut.bounds[1]), float(cut.bounds[3])) if not cut.is_empty else (low, high)


def _regions(hide: Hide) -> dict[str, BaseGeometry]:
    """Rough regions of a side, as the default stretch field has them; none for other pieces."""
    if hide.piece != "side":
        return {}
    field, (x0, y0, x1, y1) = hide.stretch, hide.outline.bounds
    neck, belly = x0 + 0.61 * field.length, 0.61 * field.depth
    back, low, rim = (y0, belly, y1) if y1 > -y0 else (y1, -belly, y0)
    spans = {
        "BUTT": box(x0, min(back, low), neck, max(back, low)),
        "SHOULDER": box(neck, y0, x1, y1),
        "BELLY": box(x0, min(low, rim), neck, max(low, rim)),
    }
    return {name: span.intersection(hide.polygon) for name, span in spans.items()}
