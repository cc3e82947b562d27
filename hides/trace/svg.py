"""The filled silhouette of an SVG."""

from __future__ import annotations

import io
import math
import re
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import shapely
import svgelements
from shapely import MultiPolygon

from hides.errors import OutlineError
from hides.outline import FloatArray
from hides.trace.silhouette import (
    FLATNESS,
    Silhouette,
    check_reach,
    filled,
    refuse_unsound,
    silhouette_of,
)

_PX_PER_MM = 96 / 25.4  # CSS Values and Units Level 3, "Absolute lengths": 1 in is 96 px
_SVG = "{http://www.w3.org/2000/svg}"
_NO_PATH_DATA = re.compile(r"[^MmZzLlHhVvCcSsQqTtAa0-9eE+\-.,\s]")  # SVG 1.1, 8.3
MOST_DRAWN = 50_000  # elements once every <use> is followed; a knife's outline takes a few
_HREFS = ("href", "{http://www.w3.org/1999/xlink}href")
_NEVER_SEEN = ("clipPath", "marker", "mask", "pattern")  # drawn only where something refers to it


def svg_drawing(path: Path) -> Silhouette:
    tree = _svg_tree(path)
    with np.errstate(all="ignore"):  # numbers too large for sums are refused by check_reach
        svg = _svg_parsed(tree)
        painted, others = _painted(svg)
        if not painted:
            raise _nothing_filled(others)
        to_own = _to_own(svg)
        paths = [(svgelements.Path(shape) * to_own).reify() for shape in painted]
    check_reach([(p.x, p.y) for path in paths for segment in path for p in _knots(segment)])
    left, top, right, bottom = svgelements.Group.union_bbox(paths) or (0.0, 0.0, 0.0, 0.0)
    size = float(np.hypot(right - left, bottom - top))
    rings = [_rings(path, size * FLATNESS) for path in paths]
    refuse_unsound([ring for some in rings for ring in some], size)
    fills = [
        filled(some, shape.values.get("fill-rule") == "evenodd")
        for some, shape in zip(rings, painted, strict=True)
    ]
    fills = [fill for fill in fills if fill.area > 0]
    if not fills:
        raise OutlineError("the filled shapes in this drawing have no area.")
    fills, warnings = _without_background(fills)
    if any("clip-path" in shape.values or "mask" in shape.values for shape in painted):
        warnings += ("Clip paths and masks are not applied: shapes count in full.",)
    up = shapely.transform(shapely.union_all(fills), lambda xy: xy * (1.0, -1.0))
    return silhouette_of(up, unit=_svg_unit(tree), y_down=True, warnings=warnings)


def _to_own(svg: svgelements.SVG) -> svgelements.Matrix:
    """From svgelements' pixels back to the drawing's own units."""
    try:
        return ~svgelements.Matrix(svg.viewbox_transform or "")
    except ZeroDivisionError:
        raise OutlineError(
            "the page is so large or small that nothing can be told on it.",
            mend="Its width, height and viewBox must make sense.",
            place="<svg>",
        ) from None


def _svg_tree(path: Path) -> ElementTree.Element:
    """The file's XML, checked shape by shape, without what is never drawn in its own place."""
    try:
        root = ElementTree.parse(path).getroot()  # expat itself bounds entity expansion
    except ElementTree.ParseError as error:
        line, column = error.position
        raise OutlineError(
            f"the XML is broken ({error}).", place=f"line {line}, column {column}"
        ) from None
    except (LookupError, UnicodeError, ValueError) as error:
        raise OutlineError(f"the text can't be decoded ({error}).") from None
    if root.tag not in (f"{_SVG}svg", "svg"):
        raise OutlineError(f"the file is XML, but no SVG: it begins with <{_plain(root.tag)}>.")
    _check_page(root)
    _check_uses(root)
    _check_paths(root)
    _resolve_viewports(root)
    for parent in list(root.iter()):
        for child in list(parent):
            if _plain(child.tag) in _NEVER_SEEN:
                parent.remove(child)
    return root


def _plain(tag: object) -> str:
    return str(tag).rpartition("}")[2]


def _check_page(root: ElementTree.Element) -> None:
    """Refuse a page without size, on which nothing is drawn (SVG 1.1, 5.1.2 and 7.7)."""
    for key in ("width", "height", "viewBox"):
        text = root.get(key, "auto").strip()
        if text in ("auto", ""):
            root.attrib.pop(key, None)
        elif not (_numbers(text) if key == "viewBox" else _length(text, 1.0) > 0):
            raise OutlineError(
                f'the page has no size: {key}="{text}".',
                mend="Its width, height and viewBox must be above 0.",
                place="<svg>",
            )


def _check_uses(root: ElementTree.Element) -> None:
    """Refuse drawings that a few ``<use>`` of ``<use>`` blow up."""
    named = {element.get("id"): element for element in root.iter() if element.get("id")}
    sizes: dict[ElementTree.Element, float] = {}
    path, on_path = [root], {root}
    while path:
        element = path[-1]
        needs = list(element)
        if _plain(element.tag) == "use":
            href = next((element.get(key, "") for key in _HREFS if element.get(key)), "")
            needs += [named[href[1:]]] if href[1:] in named else []
        unknown = next((need for need in needs if need not in sizes), None)
        if unknown is not None and unknown not in on_path:
            path.append(unknown)
            on_path.add(unknown)
            continue
        # What refers to itself is told apart later, when it is drawn.
        sizes[element] = 1.0 + sum(sizes.get(need, 0.0) for need in needs)
        on_path.remove(path.pop())
    if sizes[root] > MOST_DRAWN:
        raise OutlineError(
            f"the drawing repeats itself more than {MOST_DRAWN} times over.",
            mend="Keep the knife's outline and leave out what only decorates it.",
            place="<use>",
        )


def _check_paths(root: ElementTree.Element) -> None:
    shapes = (element for element in root.iter() if _plain(element.tag) == "path")
    for number, element in enumerate(shapes, start=1):
        name, data = element.get("id") or f"number {number}", element.get("d") or ""
        try:
            if _NO_PATH_DATA.search(data):  # svgelements would leave out the rest of the path
                raise ValueError(data)
            with np.errstate(all="ignore"):
                box = svgelements.Path(data).bbox()
        except (ValueError, IndexError, TypeError, AttributeError, ArithmeticError):
            box = (math.nan,)
        if box is not None and not all(math.isfinite(side) for side in box):
            raise OutlineError(
                "the path data can't be read: something in it is no number and no command.",
                mend="Save the drawing again.",
                place=f"path {name}",
            )


def _resolve_viewports(root: ElementTree.Element) -> None:
    """Turn nested svg elements and symbols into plain groups with a transform.

    svgelements hands a nested svg's x and y down to its children, and draws a symbol where it
    stands, without its viewBox.
    """
    page = _numbers(root.get("viewBox")) or [0.0, 0.0, 100.0, 100.0]
    for inner in [e for e in root.iter() if _plain(e.tag) == "svg" and e is not root]:
        inner.tag = f"{_SVG}g"
        _fit(inner, _numbers(inner.attrib.pop("viewBox", None)), page)
    symbols = [(p, e) for p in root.iter() for e in list(p) if _plain(e.tag) == "symbol"]
    if symbols:
        defs = ElementTree.SubElement(root, f"{_SVG}defs")
    for parent, symbol in symbols:
        parent.remove(symbol)
        symbol.tag = f"{_SVG}g"
        box = _numbers(symbol.attrib.pop("viewBox", None))
        for use in root.iter(f"{_SVG}use"):
            target = use.get("href") or use.get("{http://www.w3.org/1999/xlink}href")
            if target == f"#{symbol.get('id')}" and box:
                _fit(use, box, page)
        defs.append(symbol)


def _numbers(text: str | None) -> list[float]:
    """The four numbers of a viewBox, or none."""
    try:
        box = [float(n) for n in (text or "").replace(",", " ").split()]
    except ValueError:
        return []
    return box if len(box) == 4 and min(box[2:]) > 0 else []


def _fit(element: ElementTree.Element, box: list[float], page: list[float]) -> None:
    """Replace x, y, width and height by a transform that fits ``box`` in (SVG 1.1, 7.7, 7.8).

    Centred, as large as it fits (xMidYMid meet, the default).
    """
    x, y = (_length(element.attrib.pop(k, "0"), page[n]) for k, n in (("x", 2), ("y", 3)))
    wide = _length(element.attrib.pop("width", "100%"), page[2])
    high = _length(element.attrib.pop("height", "100%"), page[3])
    place = f"translate({x},{y})"
    if box:
        scale = min(wide / box[2], high / box[3])
        x += (wide - scale * box[2]) / 2 - scale * box[0]
        y += (high - scale * box[3]) / 2 - scale * box[1]
        place = f"translate({x},{y}) scale({scale})"
    element.set("transform", f"{element.get('transform', '')} {place}")


def _length(text: str, whole: float) -> float:
    return float(svgelements.Length(text).value(ppi=96, relative_length=whole))


def _svg_parsed(tree: ElementTree.Element) -> svgelements.SVG:
    try:
        source = io.BytesIO(ElementTree.tostring(tree))
        return svgelements.SVG.parse(source, on_error="raise")
    except RecursionError:
        raise OutlineError(
            "groups in this drawing are nested without end, or a 'use' refers to itself.",
            mend="Ungroup the outline.",
        ) from None
    except (ValueError, IndexError, TypeError, AttributeError, ArithmeticError) as error:
        raise OutlineError(f"a shape in this drawing can't be read ({error}).") from None


def _painted(svg: svgelements.SVG) -> tuple[list[svgelements.Shape], set[str]]:
    """The shapes that are filled, and in words what else the drawing holds."""
    painted, others = [], set()
    for element in svg.elements():
        values = getattr(element, "values", None) or {}
        if values.get("visibility") in ("hidden", "collapse"):
            continue
        if isinstance(element, svgelements.Text):
            others.add("text")
        elif isinstance(element, svgelements.Image):
            others.add("pictures")
        elif isinstance(element, svgelements.Shape):
            if _has_paint(element, values):
                painted.append(element)
            else:
                others.add("lines")
    return painted, others


def _has_paint(shape: svgelements.Shape, values: dict[str, object]) -> bool:
    if isinstance(shape, svgelements.SimpleLine) or shape.fill.value is None:
        return False
    clear = any(_zero(values.get(key)) for key in ("fill-opacity", "opacity"))
    return shape.fill.alpha != 0 and not clear


def _zero(text: object) -> bool:
    try:
        return float(str(text).rstrip("%")) == 0
    except ValueError:
        return False


def _nothing_filled(others: set[str]) -> OutlineError:
    if "lines" in others:
        return OutlineError(
            "the drawing holds lines only and no filled shape, so it has no inside.",
            mend="Draw the outline as one closed path and fill it.",
        )
    if others:
        return OutlineError(
            f"the drawing holds only {' and '.join(sorted(others))}, and no filled shape.",
            mend="Turn text into paths, trace pictures, or draw the outline.",
        )
    return OutlineError("the drawing is empty: no shape was found in it.")


def _rings(path: svgelements.Path, flatness: float) -> list[FloatArray]:
    """Each subpath as (n, 2) points, chords within ``flatness`` of the curve."""
    rings = []
    for subpath in path.as_subpaths():
        drawn = [each for each in subpath if each.start is not None and each.end is not None]
        drawn = [each for each in drawn if not isinstance(each, svgelements.Move)]
        if drawn:
            first = np.array([[drawn[0].start.x, drawn[0].start.y]])
            rings.append(np.concatenate([first, *(_flattened(each, flatness) for each in drawn)]))
    return rings


def _flattened(segment: object, flatness: float) -> FloatArray:
    """Points along one segment, its start left out.

    A chord over a step dt of a curve leaves it by at most |second derivative| dt² / 8.
    """
    if isinstance(segment, svgelements.Arc):
        bend = max(segment.rx, segment.ry) * float(segment.sweep) ** 2
    elif isinstance(segment, svgelements.CubicBezier | svgelements.QuadraticBezier):
        xy = np.array([[p.x, p.y] for p in _knots(segment)], dtype=np.float64)
        degree = len(xy) - 1
        bend = degree * (degree - 1) * float(np.hypot(*np.diff(xy, n=2, axis=0).T).max())
    else:
        return np.array([[segment.end.x, segment.end.y]], dtype=np.float64)  # type: ignore[attr-defined]
    steps = min(max(math.ceil(math.sqrt(bend / (8 * flatness))), 1), 2000)
    return np.asarray(segment.npoint(np.linspace(0, 1, steps + 1)[1:]), dtype=np.float64)


def _knots(segment: object) -> list[svgelements.Point]:
    """The points that a segment is given by, in order along it."""
    names = ("start", "control", "control1", "control2", "center", "prx", "pry", "end")
    points = [getattr(segment, name, None) for name in names]
    return [point for point in points if point is not None]


def _without_background(
    fills: list[MultiPolygon],
) -> tuple[list[MultiPolygon], tuple[str, ...]]:
    """Leave out a first rectangle that everything else lies on: the page, not the knife."""
    page, rest = fills[0], fills[1:]
    if rest and page.equals(page.envelope) and page.covers(shapely.union_all(rest)):
        return rest, ("A rectangle behind everything else was taken for the page.",)
    return fills, ()


def _svg_unit(root: ElementTree.Element) -> float | None:
    """Mm per user unit, where the drawing gives its width in a unit of length."""
    sizes = [(root.get(key) or "").strip().lower() for key in ("width", "height")]
    if not sizes[0].endswith(("mm", "cm", "in", "pt", "pc", "q")):
        return None
    box = _numbers(root.get("viewBox"))
    if not box:
        return 1 / _PX_PER_MM
    spans = [_length(size, 0.0) / _PX_PER_MM for size in sizes if size and not size.endswith("%")]
    return min(span / side for span, side in zip(spans, box[2:], strict=False))
