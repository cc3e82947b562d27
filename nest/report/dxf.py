"""The plan as a DXF drawing, for a cutter's software or a CAD program.

R2000 (AC1015), millimetres, the hide's own frame. Layers:

* ``CUT``: one closed LWPOLYLINE per part, nothing else; corners straight, no arcs;
* ``MARK``: fold, throat, inner and loop lines;
* ``HOLES``: a circle for each stitch hole, and the rim of a drain hole;
* ``HIDE``: the hide's outline and its holes, for laying the leather;
* ``LABEL``: the ids of the parts as text. Switch it off for cutting.

Units are told twice (``$INSUNITS`` 4 and ``$MEASUREMENT`` 1) and the true extents are set,
because programs differ in which of these they believe.
"""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
from ezdxf.document import Drawing
from ezdxf.filemanagement import new
from ezdxf.layouts.layout import Modelspace

from hides.files import write_whole
from hides.hide import Hide
from hides.outline import FloatArray, turned
from nest.cut.formats.dxf import undated
from nest.part import Mark, Part
from nest.plan import Placement, Plan, placed_outline

# Layer -> colour index of the DXF standard: 1 red, 5 blue, 3 green, 8 grey, 7 black or white.
LAYERS = {"CUT": 1, "MARK": 3, "HOLES": 5, "HIDE": 8, "LABEL": 7}
LINES = ("fold", "throat", "inner", "loop")
HOLE = 1.0  # mm, diameter of a stitch hole: a round awl or a 1 mm bit
TEXT = 8.0  # mm, height of a label


def write_dxf(plan: Plan, hide: Hide, path: Path | str, *, hole: float = HOLE) -> None:
    """Write the plan; ``hole`` is the diameter of the stitch holes in mm.

    Raises
    ------
    PlanError : a placement that the plan doesn't define.
    InputError : the file can't be written.
    """
    with undated():
        drawing = _drawing(plan, hide, hole)
        text = io.StringIO()
        drawing.write(text)
        data = drawing.encode(text.getvalue())
    write_whole(Path(path), data)


def _drawing(plan: Plan, hide: Hide, hole: float) -> Drawing:
    drawing = new("R2000", units=4)
    drawing.header["$MEASUREMENT"] = 1
    drawing.header["$LUNITS"] = 2
    for name, colour in LAYERS.items():
        drawing.layers.add(name, color=colour)
    space = drawing.modelspace()
    for ring in (hide.outline, *hide.holes):
        _ring(space, ring.points, "HIDE")
    for placement in plan.placements:
        _ring(space, placed_outline(plan, placement).points, "CUT")
        _draw_marks(space, plan.by_id[placement.id].part, placement, hole)
        _label(space, placement)
    _set_extents(drawing, plan, hide)
    return drawing


def _draw_marks(space: Modelspace, part: Part, placement: Placement, hole: float) -> None:
    for mark in part.marks:
        points = turned(mark.points, placement.angle, placement.x, placement.y)
        if mark.kind == "stitch":
            for point in points.tolist():
                space.add_circle(point, hole / 2, dxfattribs={"layer": "HOLES"})
        elif mark.kind == "drain":
            _ring(space, points, "HOLES")
        elif mark.kind in LINES and len(points) > 1:
            _line(space, points, mark)


def _line(space: Modelspace, points: FloatArray, mark: Mark) -> None:
    attributes = {"layer": "MARK"}
    space.add_lwpolyline(points.tolist(), close=mark.closed, dxfattribs=attributes)


def _ring(space: Modelspace, points: FloatArray, layer: str) -> None:
    space.add_lwpolyline(points.tolist(), close=True, dxfattribs={"layer": layer})


def _label(space: Modelspace, placement: Placement) -> None:
    # R2000 text is one byte a letter; what has no place in it becomes a question mark
    words = placement.id.encode("ascii", "replace").decode()
    text = space.add_text(words, height=TEXT, dxfattribs={"layer": "LABEL"})
    text.set_placement((placement.x, placement.y))


def _set_extents(drawing: Drawing, plan: Plan, hide: Hide) -> None:
    rings = [hide.outline.points, *(placed_outline(plan, p).points for p in plan.placements)]
    low, high = np.min([r.min(0) for r in rings], 0), np.max([r.max(0) for r in rings], 0)
    first, last = (*low.tolist(), 0.0), (*high.tolist(), 0.0)
    drawing.modelspace().reset_extents(first, last)
    drawing.header["$EXTMIN"], drawing.header["$EXTMAX"] = first, last
