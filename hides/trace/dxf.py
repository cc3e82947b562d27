"""The closed curves of a DXF."""

from __future__ import annotations

import logging
from pathlib import Path

import ezdxf.disassemble
import ezdxf.document
import ezdxf.filemanagement
import ezdxf.path
import numpy as np
import shapely
from scipy.spatial import cKDTree
from shapely import LineString

from hides.errors import OutlineError
from hides.outline import FloatArray
from hides.trace.silhouette import (
    FLATNESS,
    LOOSE_ENDS,
    Silhouette,
    check_reach,
    crossed_outline,
    filled,
    open_outline,
    reach,
    silhouette_of,
)

# What ezdxf repairs on reading is no news to the maker; without a handler it goes to stderr.
logging.getLogger("ezdxf").addHandler(logging.NullHandler())

_MM = {1: 25.4, 2: 304.8, 4: 1.0, 5: 10.0, 6: 1000.0, 14: 100.0}  # by $INSUNITS, DXF reference
_CURVES = {"LINE", "ARC", "CIRCLE", "ELLIPSE", "SPLINE", "LWPOLYLINE", "POLYLINE"}


def dxf_drawing(path: Path) -> Silhouette:
    try:
        document = ezdxf.filemanagement.readfile(path)
        curves = _curves(document)
    except Exception as error:  # in a damaged file anything can be missing that ezdxf counts on
        why = str(error) or type(error).__name__
        raise OutlineError(
            f"the DXF can't be read ({why}).", mend="Save it again from the drawing program."
        ) from None
    lines = _flattened(curves)
    if not lines:
        raise OutlineError(
            "the DXF has no line, arc, circle, ellipse, spline or polyline in its model space."
        )
    size = reach(np.concatenate(lines))
    shape = filled(_closed(lines, size * LOOSE_ENDS), evenodd=True)
    if shape.area == 0:
        raise OutlineError("the closed curves in this DXF have no area.")
    code = document.header.get("$INSUNITS", 0)
    return silhouette_of(shape, unit=_MM.get(code), y_down=False, warnings=())


def _curves(document: ezdxf.document.Drawing) -> list[ezdxf.path.Path]:
    """The curves of the model space, blocks resolved, hidden layers left out."""
    hidden = {layer.dxf.name for layer in document.layers if layer.is_off() or layer.is_frozen()}
    paths = [
        ezdxf.path.make_path(entity)
        for entity in ezdxf.disassemble.recursive_decompose(document.modelspace())
        if entity.dxftype() in _CURVES and entity.dxf.layer not in hidden
    ]
    return [path for path in paths if len(path)]


def _flattened(curves: list[ezdxf.path.Path]) -> list[FloatArray]:
    """The curves as (n, 2) points, chords close to them."""
    if not curves:
        return []
    controls = np.array([v.xyz for curve in curves for v in curve.control_vertices()])
    check_reach(controls)
    flatness = max(reach(controls[:, :2]), 1e-9) * FLATNESS
    lines = [[(v.x, v.y) for v in curve.flattening(flatness)] for curve in curves]
    return [np.array(line, dtype=np.float64) for line in lines]


def _closed(lines: list[FloatArray], tolerance: float) -> list[FloatArray]:
    """Chain curves end to end into closed rings.

    Raises
    ------
    OutlineError : the largest chain stays open or crosses another; its gap or the crossing is
        named.
    """
    merged = shapely.line_merge(shapely.union_all(_snapped(lines, tolerance)))
    chains = [np.asarray(chain.coords) for chain in getattr(merged, "geoms", [merged])]
    chains = [chain for chain in chains if len(chain)]
    if not chains:
        return []
    rings = [chain for chain in chains if _is_ring(chain)]
    largest = max(chains, key=reach)
    # Where lines cross, merging stops: at such a place several chains end.
    start, end = (_ending_at(largest[i], rings if _is_ring(largest) else chains) for i in (0, -1))
    if max(start, end) > 2:
        raise crossed_outline(largest[0 if start > 2 else -1])
    if not _is_ring(largest):
        raise open_outline(largest)
    return rings


def _is_ring(chain: FloatArray) -> bool:
    return np.array_equal(chain[0], chain[-1])


def _ending_at(point: FloatArray, chains: list[FloatArray]) -> int:
    """How many ends of chains lie at a point."""
    return sum(np.array_equal(chain[i], point) for chain in chains for i in (0, -1))


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
        if reach(points) > 0:
            snapped.append(LineString(points))
    return snapped
