"""The closed curves of a DXF."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

import ezdxf.disassemble
import ezdxf.document
import ezdxf.filemanagement
import ezdxf.path
import numpy as np
import shapely
from ezdxf.lldxf.const import DXFError
from scipy.spatial import cKDTree
from shapely import LineString

from hides.errors import OutlineError
from hides.outline import FloatArray
from hides.trace.silhouette import FLATNESS, Drawing, drawing_of, filled

_MM = {1: 25.4, 2: 304.8, 4: 1.0, 5: 10.0, 6: 1000.0, 14: 100.0}  # by $INSUNITS, DXF reference
LOOSE_ENDS = 1e-4  # ends nearer than this share of the drawing's size are one point
_CURVES = {"LINE", "ARC", "CIRCLE", "ELLIPSE", "SPLINE", "LWPOLYLINE", "POLYLINE"}


def dxf_drawing(path: Path) -> Drawing:
    try:
        document = ezdxf.filemanagement.readfile(path)
    except (DXFError, OSError, UnicodeError, ValueError, IndexError) as error:
        raise OutlineError(f"the DXF can't be read ({error}).") from None
    lines = list(_dxf_lines(document))
    if not lines:
        raise OutlineError(
            "the DXF has no line, arc, circle, ellipse, spline or polyline in its model space."
        )
    points = np.concatenate(lines)
    if not np.isfinite(points).all():
        raise OutlineError("a coordinate in the DXF is not a finite number.")
    size = float(np.hypot(*np.ptp(points, axis=0)))
    shape = filled(_closed(lines, size * LOOSE_ENDS), evenodd=True)
    if shape.area == 0:
        raise OutlineError("the closed curves in this DXF have no area.")
    code = document.header.get("$INSUNITS", 0)
    return drawing_of(shape, unit=_MM.get(code), y_down=False, warnings=())


def _dxf_lines(document: ezdxf.document.Drawing) -> Iterator[FloatArray]:
    """The curves of the model space, blocks resolved, as (n, 2) points."""
    hidden = {layer.dxf.name for layer in document.layers if layer.is_off() or layer.is_frozen()}
    entities = list(ezdxf.disassemble.recursive_decompose(document.modelspace()))
    paths = [
        ezdxf.path.make_path(entity)
        for entity in entities
        if entity.dxftype() in _CURVES and entity.dxf.layer not in hidden
    ]
    boxes = [path for path in paths if len(path)]
    if not boxes:
        return
    size = ezdxf.path.bbox(boxes, fast=True).size
    flatness = max(math.hypot(size.x, size.y), 1e-9) * FLATNESS
    for path in boxes:
        yield np.array([(v.x, v.y) for v in path.flattening(flatness)], dtype=np.float64)


def _closed(lines: list[FloatArray], tolerance: float) -> list[FloatArray]:
    """Chain curves end to end into closed rings.

    Raises
    ------
    OutlineError : a chain stays open that is larger than every closed ring; its gap is named.
    """
    merged = shapely.line_merge(shapely.union_all(_snapped(lines, tolerance)))
    chains = list(getattr(merged, "geoms", [merged]))
    rings = [np.asarray(c.coords) for c in chains if c.is_closed]
    largest = max((_reach(ring) for ring in rings), default=0.0)
    for chain in chains:
        ends = np.asarray(chain.coords)[[0, -1]]
        if not chain.is_closed and _reach(np.asarray(chain.coords)) > largest:
            (ax, ay), (bx, by) = ends
            raise OutlineError(
                f"the outline is open: there is a gap of {math.dist(*ends):.3g} units between "
                f"({ax:.6g}, {ay:.6g}) and ({bx:.6g}, {by:.6g}).",
                mend="Close it with a line, or move the ends together.",
            )
    return rings


def _reach(points: FloatArray) -> float:
    return float(np.hypot(*np.ptp(points, axis=0)))


def _snapped(lines: list[FloatArray], tolerance: float) -> list[LineString]:
    """Lines whose ends lie within ``tolerance`` of each other are given the same end."""
    ends = np.array([line[i] for line in lines for i in (0, -1)])
    names = list(range(len(ends)))
    for a, b in sorted(cKDTree(ends).query_pairs(tolerance)):
        names[b] = min(names[b], names[a])
    snapped = []
    for k, line in enumerate(lines):
        points = line.copy()
        points[0], points[-1] = ends[names[2 * k]], ends[names[2 * k + 1]]
        if _reach(points) > 0:
            snapped.append(LineString(points))
    return snapped
