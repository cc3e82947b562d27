"""A program as a DXF drawing: millimetres, bed frame, in the order of its strokes.

Two profiles:

* ``r2000``: R2000 (AC1015), LWPOLYLINE with bulges, closed by flag;
* ``r12``: R12 (AC1009), POLYLINE of straight chords only. What older cutter software reads.

Both tell units twice (``$INSUNITS`` 4 and ``$MEASUREMENT`` 1) and carry the true extents,
because programs differ in which of these they believe. R12 knows neither variable, yet readers
look for them in any drawing, so they are put into its header after the library has written it.
Nothing but polylines is drawn: no splines, circles or blocks. The parts' names are texts on a
layer of their own, which R2000 declares as not plotted.
"""

from __future__ import annotations

import io
import logging
from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np
from ezdxf import options  # type: ignore[attr-defined]
from ezdxf.document import Drawing
from ezdxf.enums import TextEntityAlignment
from ezdxf.filemanagement import new

from nest.cutter.formats.lines import (
    LAYERS,
    NAMES_LAYER,
    NOT_CUT,
    as_seen,
    drawn,
    flattened,
    named,
    remarks,
)
from nest.cutter.program import Program

# it would warn that R12 tells no units, which are put in here all the same
logging.getLogger("ezdxf").setLevel(logging.ERROR)

CHORD = 0.01  # mm, how far a chord of R12 may be off its arc
DIGITS = 6  # of a mm, and of a bulge: 1e-6 of a 100 mm chord is 5e-5 mm of its sagitta
_WIDE = 100  # letters in a line of comment; DXF allows 255
_VERSION = "$ACADVER\n  1\nAC1009\n"
_UNITS = "  9\n$INSUNITS\n 70\n     4\n  9\n$MEASUREMENT\n 70\n     1\n"


def r2000(program: Program) -> bytes:
    """Return the file with LWPOLYLINE and bulges."""
    drawing = _new("R2000", program)
    space = drawing.modelspace()
    for stroke in drawn(program):
        bulges = np.zeros(len(stroke.points)) if stroke.bulges is None else stroke.bulges
        rows = np.round(np.column_stack([stroke.points, bulges]), DIGITS) + 0.0
        layer = {"layer": LAYERS[stroke.work].name}
        space.add_lwpolyline(rows.tolist(), format="xyb", close=stroke.closed, dxfattribs=layer)
    return _bytes(drawing, program)


def r12(program: Program) -> bytes:
    """Return the file with POLYLINE and chords."""
    drawing = _new("R12", program)
    space = drawing.modelspace()
    for stroke in drawn(program):
        points = flattened(stroke, CHORD, program.machine.smallest_step)
        rows = np.round(points[:-1] if stroke.closed else points, DIGITS) + 0.0
        layer = {"layer": LAYERS[stroke.work].name}
        space.add_polyline2d(rows.tolist(), close=stroke.closed, dxfattribs=layer)
    return _bytes(drawing, program).replace(_VERSION.encode(), (_VERSION + _UNITS).encode(), 1)


def _new(version: str, program: Program) -> Drawing:
    with undated():
        drawing = new(version)
    if version != "R12":
        drawing.header["$INSUNITS"] = 4
        drawing.header["$MEASUREMENT"] = 1
        drawing.header["$PLIMMAX"] = program.machine.bed
    drawing.header["$LUNITS"] = 2
    first, last = _extents(program)
    drawing.modelspace().reset_extents(first, last)
    drawing.modelspace().reset_limits((0, 0), program.machine.bed)
    drawing.header["$EXTMIN"], drawing.header["$EXTMAX"] = first, last
    for layer in LAYERS.values():
        drawing.layers.add(layer.name, color=layer.index)
    if program.labels:
        drawing.layers.add(NAMES_LAYER.name, color=NAMES_LAYER.index, plot=False)
    return drawing


def _write_names(drawing: Drawing, program: Program) -> None:
    middle, layer = TextEntityAlignment.MIDDLE_CENTER, {"layer": NAMES_LAYER.name}
    for label in named(program):
        words = label.text.encode("ascii", "replace").decode()
        size, turn = round(label.height, 2), round(label.angle, 2)
        text = drawing.modelspace().add_text(words, height=size, rotation=turn, dxfattribs=layer)
        text.set_placement((round(label.x, DIGITS), round(label.y, DIGITS)), align=middle)


def _extents(program: Program) -> tuple[tuple[float, float, float], tuple[float, float, float]]:
    corners = as_seen(program.machine).counted(np.reshape(program.extents, (2, 2)))
    (x0, y0), (x1, y1) = (np.round(p, DIGITS).tolist() for p in (corners.min(0), corners.max(0)))
    return (x0, y0, 0.0), (x1, y1, 0.0)


def _bytes(drawing: Drawing, program: Program) -> bytes:
    _write_names(drawing, program)
    text = io.StringIO()
    with undated():
        drawing.write(text)
    more = [NOT_CUT] if program.labels else []
    comments = "".join(f"999\n{line}\n" for line in remarks(program, _WIDE, *more))
    return drawing.encode(comments + text.getvalue())


@contextmanager
def undated() -> Iterator[None]:
    """Let ezdxf write fixed dates and ids, so that the same drawing gives the same bytes."""
    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        options.write_fixed_meta_data_for_testing = before
