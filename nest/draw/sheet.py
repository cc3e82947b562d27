"""Sheet: a page measured in millimetres, and the pens that draw on it.

A :class:`Sheet` is a blank page whose unit is exactly 1 mm, with (0, 0) in its lower
left corner and y up. It is itself a :class:`Pen` at 1:1. :meth:`Sheet.view` gives another
pen that draws things of the workshop (a hide, a part) into a rectangle of the page at a
stated scale. Line widths, dashes and type sizes always belong to the page.

A sheet is saved as PNG, PDF or SVG. PDF and SVG have the true size; the same sheet gives
the same bytes every time. This package is the only one that touches matplotlib, and it
never uses its global figures ("pyplot").

>>> sheet = Sheet(100.0, 50.0)
>>> view = sheet.view((10, 10, 80, 30), (0, 0, 800, 300))
>>> view.scale, view.at([[400.0, 150.0]]).tolist()
(0.1, [[50.0, 25.0]])
"""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path as FilePath
from typing import Any, TypeVar

import matplotlib as mpl
import numpy as np
import shapely
from matplotlib.artist import Artist
from matplotlib.figure import Figure
from matplotlib.image import AxesImage
from matplotlib.lines import Line2D
from matplotlib.patches import PathPatch
from matplotlib.path import Path
from matplotlib.patheffects import withStroke
from numpy.typing import ArrayLike, NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from hides.errors import InputError
from hides.files import write_whole
from hides.outline import FloatArray, polygons_of
from nest.draw.words import PAPER, PLAIN, POINT, Type, Words, font_of, words_box

DPI = 220  # of a PNG: 2573 pixels across A4, sharp on a large screen
SCREEN = 110  # in a notebook
PICTURES = (".png", ".pdf", ".svg")
SCALES = (1, 2, 2.5, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 15, 17, 20, 25, 30, 40, 50, 75, 100)

Shape = TypeVar("Shape", bound=BaseGeometry)
Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Style:
    """How a shape or line looks. Empty strings draw nothing; lengths are mm on the page.

    ``hatch`` is one of matplotlib's hatch strings, ``dash`` lengths on and off in turn.
    """

    fill: str = ""
    edge: str = ""
    width: float = 0.2
    dash: tuple[float, ...] = ()
    hatch: str = ""


class Pen:
    """Draws in millimetres of its own frame; see the module's text.

    ``scale`` is page mm per frame mm, ``origin`` the page position (mm) of the frame's (0, 0).
    Shapes and lines show only within ``window`` (page mm), if there is one; words are up to
    whoever writes them. ``layer`` arguments order what lies over what: higher is nearer.
    """

    def __init__(
        self,
        sheet: Sheet,
        scale: float,
        origin: tuple[float, float],
        window: Polygon | None = None,
    ) -> None:
        self.sheet = sheet
        self.scale = scale
        self.origin = origin
        self.window = window

    def at(self, points: ArrayLike) -> FloatArray:
        """Page position in mm of (n, 2) points of this pen's frame."""
        page: FloatArray = np.asarray(points, dtype=np.float64) * self.scale + self.origin
        return page

    def on_page(self, shape: Shape) -> Shape:
        """Carry a shapely geometry of this pen's frame over to the page."""
        moved: Shape = shapely.transform(shape, self.at)
        return moved

    def shade(
        self, shape: shapely.Geometry, style: Style, *, layer: float = 1.0, name: str = ""
    ) -> None:
        """Draw polygons, holes left open. ``name`` becomes the id of the shape in an SVG."""
        polygons = polygons_of(shape)
        if not polygons:
            return
        path = Path.make_compound_path(*(self._ring(r) for p in polygons for r in _rings(p)))
        patch = PathPatch(path, zorder=layer, gid=name or None, **_patch_look(style))
        self._add(patch)

    def line(
        self,
        points: ArrayLike,
        style: Style,
        *,
        closed: bool = False,
        layer: float = 1.0,
        name: str = "",
    ) -> None:
        """Draw a line through (n, 2) points."""
        x, y = self.at(points).T
        if closed:
            x, y = np.append(x, x[0]), np.append(y, y[0])
        line = Line2D(x, y, zorder=layer, gid=name or None, **_line_look(style))
        self._add(line)

    def lines(
        self,
        pieces: Sequence[ArrayLike] | FloatArray,
        style: Style,
        *,
        layer: float = 1.0,
        name: str = "",
    ) -> None:
        """Draw many open lines as one shape, each through (n, 2) points."""
        if len(pieces) == 0:
            return
        path = Path.make_compound_path(*(Path(self.at(piece)) for piece in pieces))
        look = _patch_look(style) | {"facecolor": "none", "capstyle": "round"}
        self._add(PathPatch(path, zorder=layer, gid=name or None, **look))

    def picture(self, pixels: NDArray[np.uint8], box: Box, *, layer: float = 0.5) -> None:
        """Fill ``box`` (min x, min y, max x, max y) with an (h, w, 3) RGB picture, row 0 on top."""
        x0, y0, x1, y1 = self.at(np.reshape(box, (2, 2))).ravel()
        image = AxesImage(self.sheet.axes, extent=(x0, x1, y0, y1), zorder=layer, origin="upper")
        image.set_data(pixels)
        self._add(image)

    def dots(
        self,
        points: ArrayLike,
        diameter: float,
        style: Style,
        *,
        layer: float = 1.0,
        name: str = "",
    ) -> None:
        """Draw a disc of ``diameter`` (page mm) at each of (n, 2) points."""
        x, y = self.at(points).T
        discs = Line2D(
            x,
            y,
            linestyle="none",
            marker="o",
            markersize=diameter / POINT,
            markerfacecolor=style.fill or "none",
            markeredgecolor=style.edge or "none",
            markeredgewidth=style.width / POINT if style.edge else 0.0,
            zorder=layer,
            gid=name or None,
        )
        self._add(discs)

    def arrow(
        self,
        start: Sequence[float] | FloatArray,
        end: Sequence[float] | FloatArray,
        style: Style,
        *,
        both: bool = False,
        head: float = 1.6,
    ) -> None:
        """Draw a straight arrow with a filled head ``head`` mm long on the page."""
        a, b = self.at(np.array([start, end]))
        page = Pen(self.sheet, 1.0, (0.0, 0.0), self.window)
        page.line([a, b], style, layer=3.0)
        for tip, tail in ((b, a), (a, b))[: 2 if both else 1]:
            back = (tail - tip) / max(float(np.hypot(*(tail - tip))), 1e-9) * head
            side = np.array([-back[1], back[0]]) * 0.32
            barb = Polygon([tip, tip + back + side, tip + back - side])
            page.shade(barb, Style(fill=style.edge), layer=3.0)

    def text(
        self,
        place: Sequence[float] | FloatArray,
        words: str,
        style: Type = PLAIN,
        *,
        anchor: str = "left",
        angle: float = 0.0,
        layer: float = 8.0,
        name: str = "",
    ) -> Words:
        """Write one line of words and return the box it fills.

        ``anchor`` says what ``place`` is: the left, centre or right end of the baseline, or
        the middle of the words. ``angle`` in degrees turns them about ``place``.
        """
        x, y = self.at(np.array([place]))[0]
        text = self.sheet.axes.text(
            x,
            y,
            words,
            fontproperties=font_of(style),
            color=style.colour,
            ha={"left": "left", "right": "right"}.get(anchor, "center"),
            va="center_baseline" if anchor == "middle" else "baseline",
            rotation=angle,
            rotation_mode="anchor",
            zorder=layer,
            parse_math=False,
            gid=name or None,
        )
        if style.halo:
            text.set_path_effects([withStroke(linewidth=0.18 * style.size, foreground=style.halo)])
        written = Words(words, words_box((x, y), words, style, anchor=anchor, angle=angle))
        self.sheet.words.append(written)
        return written

    def _add(self, artist: Artist) -> None:
        self.sheet.axes.add_artist(artist)
        if self.window is not None:
            corners = np.asarray(self.window.exterior.coords)
            artist.set_clip_path(Path(corners), self.sheet.axes.transData)

    def _ring(self, ring: shapely.LinearRing) -> Path:
        return Path(self.at(np.asarray(ring.coords)[:, :2]), closed=True)


class Sheet(Pen):
    """A blank page of ``width`` × ``height`` mm; ``title`` and ``keywords`` go into the file's own
    data.

    ``words`` lists all that was written, with its boxes, so that later words can keep clear.
    """

    def __init__(self, width: float, height: float, title: str = "") -> None:
        super().__init__(self, 1.0, (0.0, 0.0))
        self.width = width
        self.height = height
        self.title = title
        self.keywords = ""
        self.words: list[Words] = []
        self.figure = Figure(figsize=(width / 25.4, height / 25.4), facecolor=PAPER)
        self.axes = self.figure.add_axes((0.0, 0.0, 1.0, 1.0), frameon=False)
        self.axes.set(xlim=(0.0, width), ylim=(0.0, height), xticks=(), yticks=())

    def view(self, rect: Box, world: Box, scale: float | None = None, *, cut: bool = False) -> Pen:
        """Give a pen that draws ``world`` centred in ``rect``.

        Parameters
        ----------
        rect : (x, y, width, height) on the page, mm.
        world : (min x, min y, max x, max y) of what is to be drawn, mm.
        scale : page mm per world mm; by default the largest of :data:`SCALES` that fits.
        cut : show nothing beyond ``world``.
        """
        x, y, width, height = rect
        x0, y0, x1, y1 = world
        if scale is None:
            need = max((x1 - x0) / width, (y1 - y0) / height)
            scale = 1.0 / next((s for s in SCALES if s >= need - 1e-9), need)
        middle = (x + width / 2 - scale * (x0 + x1) / 2, y + height / 2 - scale * (y0 + y1) / 2)
        pen = Pen(self, scale, middle)
        if cut:
            pen.window = pen.on_page(shapely.box(x0, y0, x1, y1))
        return pen

    def save(self, path: FilePath | str, *, dpi: int = DPI) -> FilePath:
        """Write the sheet as .png, .pdf or .svg, whole or not at all.

        Raises
        ------
        InputError : the suffix is none of these.
        """
        target = FilePath(path)
        if target.suffix.lower() not in PICTURES:
            raise InputError(
                f"a drawing can't be written as {target.suffix or 'a file without suffix'!r}.",
                mend=f"Use one of {', '.join(PICTURES)}.",
                file=target,
            )
        write_whole(target, self.data(target.suffix.lower()[1:], dpi))
        return target

    def _repr_png_(self) -> bytes:
        """Show the sheet in a notebook."""
        return self.data("png", SCREEN)

    def data(self, kind: str, dpi: int = DPI) -> bytes:
        """The sheet as the bytes of a file; ``kind`` is png, pdf or svg."""
        # No dates and a fixed salt for ids: the same sheet gives the same bytes.
        nothing = {"png": "Software", "pdf": "CreationDate", "svg": "Date"}[kind]
        metadata = {nothing: None, "Title": self.title, "Creator": "Croupon"}
        metadata |= {"Keywords": self.keywords} if self.keywords else {}
        look: Any = {
            "svg.hashsalt": "croupon",
            "pdf.fonttype": 42,
            "path.simplify": False,
            "text.hinting": "no_hinting",  # else a PNG's words are wider than they measure
        }
        out = io.BytesIO()
        with mpl.rc_context(look):
            # a PDF's paper is white by itself, and bare pages can be laid over each other
            back = "none" if kind == "pdf" else "auto"
            self.figure.savefig(out, format=kind, dpi=dpi, metadata=metadata, facecolor=back)
        return _in_mm(out.getvalue(), self) if kind == "svg" else out.getvalue()


def _in_mm(svg: bytes, sheet: Sheet) -> bytes:
    """Turn matplotlib's point units into millimetres: one SVG unit is 1 mm."""
    text = svg.decode()
    head = text[text.index("<svg") : text.index(">", text.index("<svg")) + 1]
    size = f'width="{sheet.width:g}mm" height="{sheet.height:g}mm"'
    ours = (
        f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
        f'{size} viewBox="0 0 {sheet.width:g} {sheet.height:g}" version="1.1">'
    )
    drawn = '<g id="figure_1">'
    scaled = f'<g id="figure_1" transform="scale({POINT:.12g})">'
    text = text.replace(head, ours, 1).replace(drawn, scaled, 1)
    # matplotlib gives the space an outline without data, which some readers stumble over
    return re.sub(r'(<path id="[^"]+")( transform="[^"]+"/>)', r'\1 d="M 0 0"\2', text).encode()


def _rings(polygon: Polygon) -> list[shapely.LinearRing]:
    """Outer ring counter-clockwise and holes clockwise, so that holes stay open when filled."""
    turned_right = shapely.orient_polygons(polygon)
    return [turned_right.exterior, *turned_right.interiors]


def _patch_look(style: Style) -> dict[str, Any]:
    return {
        "facecolor": style.fill or "none",
        "edgecolor": style.edge or "none",
        "linewidth": style.width / POINT if style.edge and style.width else 0.0,
        "linestyle": _dash(style),
        "hatch": style.hatch or None,
        "hatch_linewidth": 0.35,
        "joinstyle": "round",
    }


def _line_look(style: Style) -> dict[str, Any]:
    return {
        "color": style.edge,
        "linewidth": style.width / POINT,
        "linestyle": _dash(style),
        "solid_capstyle": "round",
        "dash_capstyle": "butt",
        "solid_joinstyle": "round",
    }


def _dash(style: Style) -> Any:
    # matplotlib measures dashes in line widths
    return (0.0, [d / style.width for d in style.dash]) if style.dash else "solid"
