"""The pictures in shared/knives/README.md of what keys measure, from a knife and its sheath.

python -m tests.key_pictures
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import shapely
from shapely import LineString, Point, Polygon, box

from hides.outline import FloatArray
from nest.draw.palette import (
    FADED,
    FILLS,
    FOLD,
    HEAD,
    INK,
    KNIFE,
    LEADER,
    LEATHER,
    MARK,
    MEASURE,
    PAPER,
    PATTERN,
    RULE,
    THREAD,
)
from nest.draw.sheet import Pen, Sheet, Style
from nest.draw.words import Type, words_size
from nest.knife import Choices, Knife, read
from nest.part import XY
from nest.sheaths import Sheath, make
from nest.sheaths.section import Section, handle_section
from tests.places import ROOT

PICTURES = {name: ROOT / f".pictures/keys-{name}.svg" for name in ("knife", "sheath")}
KEY, SAID = Type(8.0, INK, bold=True, halo=PAPER), Type(7.0, FADED)
WELT = Style(fill=FILLS[5], edge=INK, width=0.2)
LEATHERS = Style(fill=LEATHER, edge=INK, width=0.28)
HOLE = Style(fill=THREAD)
BELT = Style(edge=FADED, width=0.25, dash=(1.6, 0.9))
NEEDED = Style(edge=MEASURE.edge, width=0.25, dash=(0.8, 0.6))
GUIDE = Style(edge=MEASURE.edge, width=0.08)
KNIFE_SCALE, BODY_SCALE = 0.84, 0.84
WIDE, HIGH = 61.0, 46.0  # mm, a part of the picture that is enlarged
HANDLE_AT = ((0.0, 18.0), (55.0, 22.0), (119.5, 18.0))  # mm; a swell, so that stations show
DRAIN = 5.0  # mm; large enough to be seen


@dataclass(frozen=True, slots=True)
class Shown:
    """A key and what it measures: from ``p`` to ``q`` in mm of the pen's frame.

    ``side`` moves the line off what it measures and ``words`` the key off the line, page mm.
    """

    key: str
    p: XY | FloatArray
    q: XY | FloatArray
    words: XY = (0.0, 2.2)
    side: XY = (0.0, 0.0)


@cache
def knife() -> Knife:
    """The hunter, with a swelled handle."""
    sample = read(ROOT / "shared/knives/heron.knife.toml")
    return replace(sample, handle_thickness=HANDLE_AT)


@cache
def sheath() -> Sheath:
    """The sheath of the hunter as it is in the samples, with a drain hole."""
    sample = read(ROOT / "shared/knives/heron.knife.toml")
    return make(sample, replace(sample.choices, drain=DRAIN))


# --- a knife's keys ----------------------------------------------------------------------------


def along_shown(knife: Knife) -> list[Shown]:
    """What is measured along the silhouette: the butt at the left, its back above."""
    low = -float(knife.outline.bounds[3])
    return [
        Shown("guard", (0.0, low), (knife.guard, low), side=(0.0, -5.0)),
        Shown("length", (0.0, low), (knife.length, low), side=(0.0, -12.0)),
    ]


def thickness_shown(knife: Knife) -> list[Shown]:
    """What is measured across the knife, seen on its back."""
    handle = [
        Shown(f"{mm:g}", (u, -mm / 2), (u, mm / 2), (-4.0, 0.0)) for u, mm in knife.handle_thickness
    ]
    ends = (
        ("blade_thickness", knife.guard, knife.blade_thickness, (10.0, 6.0)),
        ("tip_thickness", knife.length, knife.tip_thickness, (-8.0, 6.0)),
    )
    return handle + [
        Shown(key, (u, -mm / 2), (u, mm / 2), words, (4.0, 0.0)) for key, u, mm, words in ends
    ]


def knife_sheet() -> Sheet:
    """The silhouette, the knife seen on its back, and its handle's section."""
    one = knife()
    sheet = Sheet(225.0, 123.0, "The keys of a knife")
    left = 16.0
    pen = Pen(sheet, KNIFE_SCALE, (left, 108.0))
    ring = one.outline.points * (1.0, -1.0)
    pen.shade(Polygon(ring), KNIFE, layer=2.0)
    for shown in along_shown(one):
        _measure(pen, shown)
    _point(pen, "tip", ring[ring[:, 0].argmax()], (0.0, 7.0))
    _point(pen, "butt", ring[ring[:, 0].argmin()], (-8.0, 6.0))
    u = (one.guard + one.length) / 2
    seen = one.profile(np.array([u]))
    _point(pen, "edge", (u, -float(seen.edge[0]) - 2.0), (12.0, -3.0), "any point on this side")
    back = pen.at([[u, -float(seen.back[0])]])[0]
    sheet.text(back + np.array([-18.0, 2.5]), "the back, which lies at the fold", SAID)
    sheet.text((left, 117.0), "Seen on its side", HEAD)

    pen = Pen(sheet, KNIFE_SCALE, (left, 36.0))
    _draw_on_its_back(pen, one)
    sheet.text((left, 56.0), "Seen on its back", HEAD)
    rows = ", ".join(f"[{u:g}, {mm:g}]" for u, mm in one.handle_thickness)
    sheet.text((left, 49.5), "handle_thickness", KEY)
    sheet.text((left + 29.0, 49.5), f"= [{rows}]: from the butt, thickness", SAID)

    at, thick = one.handle_thickness[1]
    seen = one.profile(np.array([at]))
    sheet.text((left, 18.0), f"Section of the handle, {at:g} from the butt", HEAD)
    for number, roundness in enumerate((1.0, 0.5, 0.0)):
        section = handle_section(seen.back, seen.edge, np.array([thick]), roundness)
        spot = Pen(sheet, 0.45, (left + 90.0 + 45.0 * number, 13.0))
        spot.shade(_lying(section), KNIFE, layer=2.0)
        sheet.text((spot.origin[0], 2.0), f"handle_round = {roundness:g}", KEY, anchor="centre")
    return sheet


def _draw_on_its_back(pen: Pen, knife: Knife) -> None:
    just = knife.guard - 1e-6
    u = np.array([*(min(at, just) for at, _ in knife.handle_thickness), knife.guard, knife.length])
    half = knife.thickness(u) / 2
    pen.shade(Polygon(np.vstack([np.c_[u, half], np.c_[u, -half][::-1]])), KNIFE, layer=2.0)
    for shown in thickness_shown(knife):
        _measure(pen, shown)


def _lying(section: Section) -> Polygon:
    """A section's shape, the hull of its discs and their twins, lying on its flat about (0, 0)."""
    middle = float(section.lower[0] + (section.centres[0, 0, 1] - section.radii[0, 0])) / 2
    discs = [
        Point(depth - middle, side * aside).buffer(radius, quad_segs=16)
        for (aside, depth), radius in zip(section.centres[0], section.radii[0], strict=True)
        for side in (1, -1)
    ]
    corners = [disc for disc in discs if not disc.is_empty] or [
        Point(depth - middle, side * aside)
        for aside, depth in section.centres[0]
        for side in (1, -1)
    ]
    return shapely.union_all(corners).convex_hull


# --- a sheath's keys ---------------------------------------------------------------------------


@dataclass(frozen=True)
class Lines:
    """The lines of a sheath's body that its keys lie between; mm of the body's frame."""

    sheath: Sheath
    throat: float
    guard: float
    seam: FloatArray
    welt: Polygon
    inner: LineString

    @classmethod
    def of(cls, sheath: Sheath, knife: Knife) -> Lines:
        body, welt = sheath.part("body"), sheath.part("welt")
        seam = next(m.points for m in body.marks if m.text == "edge seam, back")
        inner = next(m.points for m in body.marks if m.text == "welt, back")
        own = next(m.points for m in welt.marks if m.text == "edge seam")
        shift = seam[0] - own[0]
        first = sheath.stations[0]
        return cls(
            sheath,
            throat=float(next(m.points for m in body.marks if m.kind == "fold")[0, 0]),
            guard=knife.guard + first.x - first.u,
            seam=seam,
            welt=shapely.transform(welt.outline.polygon, lambda p: p + shift),
            inner=LineString(inner),
        )

    def thumb(self) -> XY:
        """The deepest place of the thumb cut, in the front's throat line."""
        ring = self.sheath.part("body").outline.points
        x, y = ring.T
        wide = self.sheath.fold - y.min()
        cut = ring[(x < self.throat + 30.0) & (y < self.sheath.fold) & (y > y.min() + 0.2 * wide)]
        return cut[cut[:, 0].argmax()]

    def belt(self) -> tuple[float, float]:
        """Where the belt's edges lie, in the middle between the loop's pads."""
        pads = [m.points[:, 0] for m in self.sheath.part("body").marks if m.kind == "loop"]
        middle, half = (pads[0].max() + pads[1].min()) / 2, self.sheath.choices.belt / 2
        return float(middle - half), float(middle + half)

    def across(self, hole: int) -> tuple[FloatArray, FloatArray]:
        """A hole of the seam, and the direction from the welt's inner line out through it."""
        at = self.seam[hole]
        near = np.array(self.inner.interpolate(self.inner.project(Point(at))).coords[0])
        return at, (at - near) / np.hypot(*(at - near))


def body_shown(lines: Lines) -> list[Shown]:
    """What is measured on the whole body."""
    sheath = lines.sheath
    fold = sheath.fold
    marks = sheath.part("body").marks
    out, _, _, top = lines.welt.bounds
    upper, lower = (m.points for m in marks if m.kind == "loop")
    low, high = float(upper[:, 1].min()), float(upper[:, 1].max())
    above, below = float(upper[:, 0].max()), float(lower[:, 0].min())
    arch = float(lower[lower[:, 1] == low, 0].max())
    drain = next(m.points for m in marks if m.kind == "drain")
    thumb = lines.thumb()
    belt = lines.belt()
    return [
        Shown("excess", (out, top), (lines.throat, top), (-12.0, 4.0), (0.0, 2.5)),
        Shown(
            "handle_covered", (lines.throat, fold), (lines.guard, fold), (0.0, -2.4), (0.0, -5.0)
        ),
        Shown("thumb", (lines.throat, thumb[1]), thumb, (-12.0, -5.0)),
        Shown("loop_pad", (float(upper[:, 0].min()), low), (above, low), (1.0, 4.0)),
        Shown("belt + belt_ease", (above, low), (below, low), (0.0, 2.2)),
        Shown("belt", (belt[0], 0.5 * (low + high)), (belt[1], 0.5 * (low + high)), (0.0, 2.2)),
        Shown("loop_width", (arch, low), (arch, high), (11.0, 0.0), (6.0, 0.0)),
        Shown(
            "drain",
            (float(drain[:, 0].min()), fold),
            (float(drain[:, 0].max()), fold),
            (-12.0, -7.0),
        ),
    ]


def edge_shown(lines: Lines) -> list[Shown]:
    """What is measured across the welt, and from it to the blade."""
    choices, fold = lines.sheath.choices, lines.sheath.fold
    blades = [s for s in lines.sheath.stations if s.where == "blade"]
    station = min(blades, key=lambda s: abs(s.slack - choices.clearance))
    hole = int(np.abs(lines.seam[:, 0] - station.x).argmin())
    at, out = lines.across(hole)
    edge = at + choices.margin_mm * out
    over = edge + choices.oversize * out
    other, aside = lines.across(hole - 2)
    inner = other - (choices.welt - choices.margin_mm) * aside
    foot, end = fold + station.needed, fold + station.available
    return [
        Shown("clearance", (station.x, foot), (station.x, end), (12.0, -6.0)),
        Shown("margin", at, edge, (13.0, 0.0)),
        Shown("oversize", edge, over, (12.0, 5.0)),
        Shown("welt", inner, other + choices.margin_mm * aside, (-9.0, 0.0)),
        Shown("stitch", at, lines.seam[hole + 1], (7.0, -7.0)),
    ]


def handle_shown(lines: Lines) -> list[Shown]:
    """The slack where the handle is widest by girth."""
    choices, fold = lines.sheath.choices, lines.sheath.fold
    handles = [s for s in lines.sheath.stations if s.where == "handle"]
    station = min(handles, key=lambda s: abs(s.slack - choices.slack))
    foot, end = fold + station.needed, fold + station.available
    return [Shown("slack", (station.x, foot), (station.x, end), (13.0, 5.0))]


def closed_shown(choices: Choices) -> list[Shown]:
    """What is measured through the closed edge: 0 is the middle of the welt's thickness."""
    half = choices.welt_mm / 2
    return [
        Shown("leather", (3.0, half), (3.0, half + choices.leather), (0.0, 8.0)),
        Shown("welt_thickness", (6.0, -half), (6.0, half), (9.0, -18.0)),
    ]


def sheath_sheet() -> Sheet:
    """The flat body with knife and welt, two places of it enlarged, and the closed edge."""
    one = sheath()
    lines = Lines.of(one, knife())
    sheet = Sheet(225.0, 176.0, "The keys of a sheath")
    pen = Pen(sheet, BODY_SCALE, (10.0 - BODY_SCALE * float(one.knife[:, 0].min()), 117.0))
    _draw_body(pen, lines)
    for x in lines.belt():
        pen.line([(x, one.fold), (x, one.fold + 40.0)], BELT, layer=2.0)
    for shown in body_shown(lines):
        _measure(pen, shown)
    sheet.text((215.0, 168.0), "back half, with knife and welt laid on", SAID, anchor="right")
    sheet.text((215.0, 74.0), "front half, grain side up as well", SAID, anchor="right")
    for title, left, scale, shown, corner, note in (
        ("A: across the welt", 10.0, 2.4, edge_shown(lines), (1.0, 1.0), "the knife"),
        (
            "B: where the handle is widest",
            82.0,
            4.0,
            handle_shown(lines),
            (0.0, 0.0),
            "dashed: what the girth needs",
        ),
    ):
        rect = box(left, 6.0, left + WIDE, 6.0 + HIGH)
        middle = np.array([p for each in shown for p in (each.p, each.q)]).mean(axis=0)
        x, y = np.array([left + WIDE / 2, 6.0 + HIGH / 2]) - scale * middle
        large = Pen(sheet, scale, (x, y), rect)
        _draw_body(large, lines)
        for each in shown:
            _measure(large, each)
        sheet.text((left + 3.0, 8.5), note, SAID)
        sheet.line(rect.exterior.coords, RULE, layer=5.0)
        sheet.text((left, 8.5 + HIGH), title, HEAD)
        size = np.array([WIDE, HIGH]) * BODY_SCALE / scale
        where = pen.at([middle])[0] - size / 2
        sheet.line(box(*where, *(where + size)).exterior.coords, GUIDE, layer=5.0)
        sheet.text(
            where + size * corner + (2.2, 2.2 - 4.4 * corner[1]), title[0], KEY, anchor="middle"
        )
    _draw_closed(sheet, one.choices, 154.0)
    return sheet


def _draw_closed(sheet: Sheet, choices: Choices, left: float) -> None:
    half = choices.welt_mm / 2
    pen = Pen(sheet, 2.4, (left + 14.0, 6.0 + HIGH / 2))
    wide = choices.welt + 8.0
    pen.shade(box(0.0, -half, choices.welt, half), WELT)
    for low in (half, -half - choices.leather):
        pen.shade(box(0.0, low, wide, low + choices.leather), LEATHERS)
    hole = choices.margin_mm
    pen.line([(hole, -half - choices.leather), (hole, half + choices.leather)], FOLD, layer=2.0)
    for shown in closed_shown(choices):
        _measure(pen, shown)
    sheet.text((left, 8.5 + HIGH), "C: through the closed edge", HEAD)


def _draw_body(pen: Pen, lines: Lines) -> None:
    """Body, welt, knife and marks, and what the knife's girth needs at each station of the fit."""
    sheath = lines.sheath
    body = sheath.part("body")
    pen.shade(body.outline.polygon, PATTERN, layer=1.0)
    pen.shade(lines.welt, WELT, layer=1.2)
    pen.shade(Polygon(sheath.knife), KNIFE, layer=1.4)
    for mark in body.marks:
        if mark.kind == "stitch" and mark.text != "loop":
            pen.dots(mark.points, 0.7 if pen.scale < 2.0 else 1.4, HOLE, layer=2.0)
        elif mark.kind in ("fold", "loop", "drain", "inner"):
            look = FOLD if mark.kind == "fold" else MARK
            pen.line(mark.points, look, closed=mark.closed, layer=2.0)
    if pen.scale > 1.0:
        for station in sheath.stations:
            x, y = station.x, sheath.fold + station.needed
            pen.line([(x - 1.5, y), (x + 1.5, y)], NEEDED, layer=3.0)


# --- measures and points -----------------------------------------------------------------------


def _measure(pen: Pen, shown: Shown) -> None:
    """Draw an arrow over what a key measures, ties where it stands off, and the key."""
    page = pen.at([shown.p, shown.q])
    line = page + np.array(shown.side)
    sheet = pen.sheet
    if any(shown.side):
        for start, end in zip(page, line, strict=True):
            sheet.line([start, end], GUIDE, layer=3.0)
    long = float(np.hypot(*(line[1] - line[0])))
    sheet.arrow(line[0], line[1], MEASURE, both=True, head=min(1.6, long / 2.5))
    middle = line.mean(axis=0)
    place = middle + shown.words
    written = sheet.text(place, shown.key, KEY, anchor="middle")
    _lead(sheet, middle, written.box)


def _point(pen: Pen, key: str, place: XY | FloatArray, words: XY, says: str = "") -> None:
    sheet = pen.sheet
    at = pen.at([place])[0]
    sheet.dots([at], 1.4, Style(fill=MEASURE.edge), layer=4.0)
    written = sheet.text(at + np.array(words), key, KEY, anchor="middle")
    _lead(sheet, at, written.box)
    if says:
        right = written.box.bounds[2] + 1.6 + words_size(says, SAID)[0] / 2
        sheet.text((right, at[1] + words[1]), says, SAID, anchor="middle")


def _lead(sheet: Sheet, start: FloatArray, words: Polygon) -> None:
    """A leader from words that stand off to what they name."""
    line = LineString([start, words.centroid.coords[0]]).difference(words.buffer(0.6))
    if line.length > 1.5:
        sheet.line(line.coords, LEADER, layer=4.0)


SHEETS = {"knife": knife_sheet, "sheath": sheath_sheet}


def drawn(name: str) -> bytes:
    """The picture of that name."""
    return SHEETS[name]().data("svg")


if __name__ == "__main__":
    for name, path in PICTURES.items():
        path.write_bytes(drawn(name))
